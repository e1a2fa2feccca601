"""Quantile functions against closed forms, and the part of a distribution that is kept."""

import numpy as np
import pytest
from scipy.special import ndtr

from arrowloft.core.sweeping.distributions import LogNormal, Normal, Uniform

SHARES = np.linspace(0.001, 0.999, 41)
NORMAL = Normal(mean=3.0, standard_deviation=0.5)
LOG_NORMAL = LogNormal(median=0.02, factor=1.2)
UNIFORM = Uniform(start=-1.0, end=3.0)


@pytest.mark.parametrize("whole", [NORMAL, LOG_NORMAL, UNIFORM])
def test_a_quantile_has_its_share_below(whole):
    found = [whole.share_below(value) for value in whole.quantile(SHARES)]
    assert found == pytest.approx(SHARES, rel=1e-12)
    assert whole.share_below(np.inf) == 1.0 and whole.share_below(-np.inf) == 0.0
    assert whole.kept() == 1.0


def test_closed_forms():
    one = ndtr(1.0)
    assert NORMAL.quantile(np.array([0.5, one])) == pytest.approx([3.0, 3.5], rel=1e-12)
    found = LOG_NORMAL.quantile(np.array([1.0 - one, 0.5, one]))
    assert found == pytest.approx([0.02 / 1.2, 0.02, 0.02 * 1.2], rel=1e-12)
    assert UNIFORM.quantile(np.array([0.25])) == pytest.approx([0.0], abs=1e-15)
    assert LOG_NORMAL.share_below(-1.0) == LOG_NORMAL.share_below(0.0) == 0.0


@pytest.mark.parametrize(
    "cut",
    [
        Normal(mean=3.0, standard_deviation=0.5, low=2.9),
        Normal(mean=3.0, standard_deviation=0.5, low=2.0, high=3.1),
        LogNormal(median=0.02, factor=1.2, high=0.021),
    ],
)
def test_what_is_cut_off_leaves_the_shape_of_the_rest(cut):
    """P(x < t | low < x < high) = (F(t) - F(low)) / (F(high) - F(low))."""
    values = cut.quantile(SHARES)
    assert (values > cut.low).all() and (values < cut.high).all()
    below = np.array([cut.share_below(value) for value in values])
    start = cut.share_below(cut.low)
    assert (below - start) / cut.kept() == pytest.approx(SHARES, rel=1e-9)
    ends = cut.quantile(np.array([2.0**-54, 1.0 - 2.0**-53]))
    assert cut.low <= ends[0] < ends[1] <= cut.high
