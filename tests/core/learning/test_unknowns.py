"""The prior: its values and their rates, and what it refuses."""

import math

import numpy as np
import pytest
from calibration_setups import prior

from arrowloft.core.learning.unknowns import NAMES

X = np.array([0.5, -1.0, 2.0, -0.5, 1.5, -2.0])


def test_values_lie_so_many_uncertainties_from_the_prior():
    assert prior().values(np.zeros(6)) == pytest.approx([84.0, 1.0, 0.115, 0.86, 0.0, 0.0])
    expected = [
        84.0 * math.exp(0.035 * 0.5),
        math.exp(-0.3),
        0.115 + 0.006,
        0.86 - 0.004,
        7.5e-4,
        -2e-3,
    ]
    assert prior().values(X) == pytest.approx(expected, rel=1e-12)


def test_values_of_many_points_stand_side_by_side():
    several = prior().values(np.stack((X, np.zeros(6), -X), axis=1))
    assert several.shape == (6, 3)
    for lane, x in enumerate((X, 0.0 * X, -X)):
        assert several[:, lane] == pytest.approx(prior().values(x), rel=1e-15)


def test_speed_and_drag_stay_positive():
    assert (prior(speed_uncertainty=0.5).values(np.full(6, -9.0))[:2] > 0.0).all()


def test_rates_are_the_slopes_of_the_values():
    step = 1e-5 * np.eye(6)
    slopes = [
        (prior().values(X + row) - prior().values(X - row))[index] / 2e-5
        for index, row in enumerate(step)
    ]
    assert prior().rates(X) == pytest.approx(slopes, rel=1e-7)
    assert prior().rates(np.zeros(6)).tolist() == [84.0 * 0.035, 0.3, 0.003, 0.008, 5e-4, 1e-3]


@pytest.mark.parametrize("changes", [{"speed": 0.0}, {"speed": math.nan}, {"radius": -0.8}])
def test_what_is_not_positive_is_refused(changes):
    with pytest.raises(ValueError, match="must be positive"):
        prior(**changes)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("value", [-1e-9, math.nan, math.inf])
def test_uncertainties_are_finite_and_not_negative(name, value):
    with pytest.raises(ValueError, match="finite and not negative"):
        prior(**{f"{name}_uncertainty": value})
    assert prior(**{f"{name}_uncertainty": 0.0}).uncertainties[NAMES.index(name)] == 0.0
