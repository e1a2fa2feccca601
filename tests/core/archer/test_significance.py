"""Whether a centre is off: Student's test, noncentral t by quadrature, simulated groups."""

import math

import numpy as np
import pytest
from scipy import stats

from arrowloft.core.archer.archer_scatter import Scatter
from arrowloft.core.archer.significance import (
    MOST_MORE,
    POWER,
    evidence,
    least_told,
    more_arrows,
    student,
    together,
    told,
)

DISTANCE = 30.0
DEGREES = [1.0, 1.83, 2.0, 5.0, 17.5, 120.0]
LEVELS = [0.5, 0.05, 0.025, 0.0005]


def of_arrows(places):
    """The scatter that rests on these arrows alone."""
    return Scatter(deviation=places.std(ddof=1) / DISTANCE, degrees=places.size - 1.0)


@pytest.mark.parametrize("arrows", [2, 3, 6, 30])
def test_it_is_students_test_of_one_sample(arrows):
    rng = np.random.default_rng(arrows)
    for centre in (0.0, 0.02, -0.2):
        places = rng.normal(centre, 0.03, arrows)
        found = evidence(float(places.mean()), of_arrows(places), DISTANCE, arrows, 0.05)
        other = stats.ttest_1samp(places, 0.0)
        assert found.statistic == pytest.approx(other.statistic, rel=1e-12)
        assert found.p_value == pytest.approx(other.pvalue, rel=1e-12)
        assert found.degrees == other.df
        assert found.real == (other.pvalue <= 0.05)
        assert found.uncertainty == pytest.approx(stats.sem(places), rel=1e-12)


def test_a_known_scatter_is_a_normal_test():
    """Many degrees of freedom: 1.96 and 2.576 standard uncertainties leave 5 % and 1 %."""
    for size, chance in ((1.959964, 0.05), (2.575829, 0.01)):
        assert student(-size, 1.0, 1e9)[1] == pytest.approx(chance, rel=1e-5)


def test_both_axes_together_are_fishers_product():
    for one, other in ((0.3, 0.004), (1.0, 1.0), (0.049, 0.8), (1e-9, 1e-5)):
        expected = stats.combine_pvalues([one, other], method="fisher").pvalue
        assert together(one, other) == pytest.approx(expected, rel=1e-9)
        assert together(one, other) == together(other, one)
    assert together(0.0, 0.7) == 0.0


def chance_told(size, degrees, level):
    """P(T > t) by quadrature over the scatter found: a normal tail for each, chi-squared."""
    critical = stats.t.isf(level / 2.0, degrees)
    nodes, weights = np.polynomial.legendre.leggauss(400)
    found = np.sqrt(stats.chi2.ppf(0.5 * (nodes + 1.0), degrees) / degrees)
    return float(0.5 * weights @ stats.norm.sf(critical * found - size))


@pytest.mark.parametrize("degrees", DEGREES)
@pytest.mark.parametrize("level", LEVELS)
def test_the_chance_of_being_told(degrees, level):
    for size in (0.0, 1.0, 2.8, 6.0, 20.0):
        expected = chance_told(size, degrees, level)
        assert told(size, degrees, level) == pytest.approx(expected, abs=2e-5)
    assert told(0.0, degrees, level) == pytest.approx(level / 2.0, rel=1e-9)
    assert told(math.inf, degrees, level) == pytest.approx(1.0)


@pytest.mark.parametrize("degrees", DEGREES)
@pytest.mark.parametrize("level", LEVELS)
def test_the_least_shift_is_told_with_the_power(degrees, level):
    least = least_told(degrees, level)
    # The quadrature itself is good to 1e-4 with one degree of freedom, far better with more.
    assert chance_told(least, degrees, level) == pytest.approx(POWER, abs=2e-4)


def test_the_least_shift_of_a_known_scatter():
    # The upper 2.5 % and 20 % points of the normal distribution.
    assert least_told(1e6, 0.05) == pytest.approx(1.959964 + 0.841621, rel=1e-5)


@pytest.mark.parametrize(
    ("size", "degrees", "arrows"), [(0.02, 2.0, 1), (0.01, 12.0, 3), (0.03, 5.0, 6)]
)
def test_no_fewer_arrows_would_tell(size, degrees, arrows):
    scatter = Scatter(deviation=0.03 / DISTANCE, degrees=degrees)
    more = more_arrows(size, scatter, DISTANCE, arrows, 0.025)
    assert more is not None and more > 0

    def chance(count):
        return chance_told(size / 0.03 * math.sqrt(arrows + count), degrees + count, 0.025)

    assert chance(more) >= POWER - 2e-5
    assert chance(more - 1) < POWER


def test_arrows_for_a_known_scatter():
    """n = ((1.960 + 0.842) s / size)^2, rounded up: 31.4 for half a standard deviation."""
    scatter = Scatter(deviation=0.03 / DISTANCE, degrees=1e7)
    assert more_arrows(0.015, scatter, DISTANCE, 1, 0.05) == 31
    assert more_arrows(-0.015, scatter, DISTANCE, 20, 0.05) == 12
    assert more_arrows(0.015, scatter, DISTANCE, 32, 0.05) == 0


def test_what_no_number_tells():
    scatter = Scatter(deviation=0.03 / DISTANCE, degrees=1e7)
    # 0.2 standard deviations want 196.2 arrows, 0.198 of them 200.2.
    assert more_arrows(0.2 * 0.03, scatter, DISTANCE, 1, 0.05) == 196
    assert more_arrows(0.197 * 0.03, scatter, DISTANCE, 1, 0.05) is None
    assert more_arrows(0.0, scatter, DISTANCE, 5, 0.05) is None
    assert evidence(1e-5, scatter, DISTANCE, 5, 0.05).more_arrows is None
    assert MOST_MORE == 200


def test_what_is_told_wants_no_more():
    scatter = Scatter(deviation=0.03 / DISTANCE, degrees=20.0)
    found = evidence(0.03, scatter, DISTANCE, 6, 0.05)  # t = 2.45, told with a chance below 0.8
    assert found.real and found.more_arrows == 0
    assert more_arrows(0.03, scatter, DISTANCE, 6, 0.05) > 0


def test_a_shift_without_any_uncertainty_is_certain():
    assert student(-0.001, 0.0, 10.0) == (-math.inf, 0.0)
    assert student(0.0, 0.0, 10.0) == (0.0, 1.0)


def test_no_scatter_at_all_is_a_millimetre():
    """To which a centre is read, of however many arrows."""
    sure = Scatter(deviation=0.0, degrees=10.0)
    for arrows in (1, 3, 100):
        off = evidence(-0.001, sure, DISTANCE, arrows, 0.05)
        assert (off.uncertainty, off.statistic, off.real) == (1e-3, -1.0, False)
        assert off.p_value == pytest.approx(2.0 * stats.t.cdf(-1.0, 10.0), rel=1e-12)
        assert off.least == pytest.approx(1e-3 * least_told(10.0, 0.05), rel=1e-12)
    on = evidence(0.0, sure, DISTANCE, 3, 0.05)
    assert (on.statistic, on.p_value, on.real, on.more_arrows) == (0.0, 1.0, False, None)
    assert evidence(0.02, sure, DISTANCE, 3, 0.05).real


def test_no_number_of_arrows_tells_less_than_can_be_read():
    """2.80 mm is the least shift that is told to the millimetre; 2 mm of scatter come down to
    that with four arrows."""
    scatter = Scatter(deviation=0.002 / DISTANCE, degrees=1e7)
    for arrows in (1, 4, 50):
        assert more_arrows(0.0027, scatter, DISTANCE, arrows, 0.05) is None
        assert more_arrows(0.0029, scatter, DISTANCE, arrows, 0.05) == max(4 - arrows, 0)


def test_only_ratios_of_lengths_count():
    one = evidence(0.03, Scatter(deviation=0.001, degrees=7.0), 30.0, 4, 0.025)
    same = evidence(0.12, Scatter(deviation=0.002, degrees=7.0), 60.0, 4, 0.025)
    assert same.statistic == pytest.approx(one.statistic, rel=1e-14)
    assert same.p_value == pytest.approx(one.p_value, rel=1e-12)
    assert same.least == pytest.approx(4.0 * one.least, rel=1e-12)
    assert same.more_arrows == one.more_arrows
    mirrored = evidence(-0.03, Scatter(deviation=0.001, degrees=7.0), 30.0, 4, 0.025)
    assert mirrored.statistic == -one.statistic
    assert (mirrored.p_value, mirrored.more_arrows) == (one.p_value, one.more_arrows)


# Simulated groups


def within_chance(hits, tries, chance):
    """Whether so many hits may come of such a chance: one honest case in 10 000 fails."""
    return stats.binomtest(hits, tries, chance).pvalue > 1e-4


def p_values(rng, shift, arrows, known, tries=4000):
    """Groups of arrows about a shift; their scatter pooled with a known group of `known`
    degrees, which is another draw each time."""
    found = []
    for _ in range(tries):
        places = rng.normal(shift, 1.0, arrows)
        squares = rng.chisquare(known) + ((places - places.mean()) ** 2).sum()
        degrees = known + arrows - 1.0
        scatter = Scatter(deviation=math.sqrt(squares / degrees) / DISTANCE, degrees=degrees)
        t, p = student(places.mean(), scatter.centre(DISTANCE, arrows), degrees)
        found.append(math.copysign(p, t))
    return np.array(found)


@pytest.mark.parametrize(("arrows", "known"), [(1, 2.0), (3, 5.0), (6, 23.0)])
def test_false_alarms_are_as_many_as_said(arrows, known):
    rng = np.random.default_rng(20)
    up, right = (np.abs(p_values(rng, 0.0, arrows, known)) for _ in range(2))
    for level in (0.05, 0.3):
        assert within_chance(int((up <= level).sum()), up.size, level)
        # Two axes at half the level each: 1 - (1 - level / 2)^2, no more than the level.
        either = (np.minimum(up, right) <= level / 2.0).sum()
        assert within_chance(int(either), up.size, 1.0 - (1.0 - level / 2.0) ** 2)
        joint = sum(together(*both) <= level for both in zip(up, right, strict=True))
        assert within_chance(joint, up.size, level)


@pytest.mark.parametrize(("arrows", "known"), [(2, 4.0), (6, 23.0)])
def test_the_least_shift_is_seen_as_often_as_said(arrows, known):
    """Its scatter known: the least shift in true standard uncertainties."""
    shift = least_told(known + arrows - 1.0, 0.05) / math.sqrt(arrows)
    p = p_values(np.random.default_rng(21), shift, arrows, known)
    assert within_chance(int(((p > 0.0) & (p <= 0.05)).sum()), p.size, POWER)


def test_with_so_many_more_arrows_the_shift_is_told():
    arrows, known, shift = 3, 6.0, 0.7
    scatter = Scatter(deviation=1.0 / DISTANCE, degrees=known + arrows - 1.0)
    more = more_arrows(shift, scatter, DISTANCE, arrows, 0.05)
    assert more is not None
    p = p_values(np.random.default_rng(22), shift, arrows + more, known)
    hits = ((p > 0.0) & (p <= 0.05)).sum()
    chance = chance_told(shift * math.sqrt(arrows + more), known + arrows + more - 1.0, 0.05)
    assert POWER - 2e-5 <= chance < POWER + 0.03
    assert within_chance(int(hits), p.size, chance)
