"""The interval in which a chance of a hit lies, the group being known from few arrows."""

import numpy as np
import pytest
from calibration_setups import plain_shot
from scipy import stats

from arrowloft.core.archer.groups import Group
from arrowloft.core.chances.aim_errors import AimErrors, Movement
from arrowloft.core.chances.hit_probability import (
    BEGINS,
    CONFIDENCE,
    Aiming,
    Archer,
    hit_probability,
)
from arrowloft.core.chances.zones import Zone

DISTANCES = np.array([15.0, 30.0, 50.0, 70.0])
RADIUS, SD = 0.1, 0.04
CIRCLE = Zone.circle(RADIUS)
NOTHING = AimErrors()
ALL = AimErrors(
    speed=0.5,
    roll=0.02,
    range=0.5,
    range_share=0.03,
    wind_along=1.0,
    wind_across=1.0,
    mark_distances=np.array([10.0, 100.0]),
    mark_angles=np.array([1e-3, 5e-4]),
    movement=Movement(away=0.3, right=0.2, scatter=0.3, delay=0.1),
)
TAILS = (0.5 * (1.0 - CONFIDENCE), 0.5 * (1.0 + CONFIDENCE))


def group(**changes):
    return Group(**{"distance": 30.0, "vertical": SD, "sideways": SD, **changes})


def spread(deviation, arrows):
    """A group of that standard deviation, known from its greatest spread."""
    return group(vertical=deviation, sideways=deviation, arrows=arrows, from_spread=True)


def chances(of, errors=NOTHING, distances=DISTANCES, zone=CIRCLE):
    aiming = Aiming(shot=plain_shot(), archer=Archer(group=of), errors=errors)
    return hit_probability(aiming, zone, distances)


def rayleigh(deviation):
    return -np.expm1(-0.5 * (RADIUS / deviation) ** 2)


def true_ends(deviation, degrees):
    """Largest and least true deviation, s sqrt(k / x), x chi-squared quantiles."""
    return [deviation * np.sqrt(degrees / stats.chi2.ppf(tail, degrees)) for tail in TAILS]


@pytest.mark.parametrize("arrows", [2, 3, 12, 100])
@pytest.mark.parametrize("errors", [NOTHING, ALL])
def test_the_interval_holds_the_probability(arrows, errors) -> None:
    found = chances(group(arrows=arrows), errors)
    assert (found.low <= found.probability).all() and (found.probability <= found.high).all()
    assert (found.low >= 0.0).all() and (found.high <= 1.0).all()
    assert (found.high > found.low).all()


def test_a_spread_tells_one_deviation_for_both_axes() -> None:
    """Rayleigh at either end of it."""
    of = spread(SD, 8)
    found = chances(of)
    for deviation, end in zip(true_ends(SD, of.degrees), (found.low, found.high), strict=True):
        assert end == pytest.approx(rayleigh(deviation * DISTANCES / 30.0), abs=1e-9)


def test_deviations_tell_one_an_axis() -> None:
    """Each axis at the ends of its own interval, a product of normals; changes in quadrature."""
    up, right, arrows = 0.03, 0.06, 8
    of = group(vertical=up, sideways=right, arrows=arrows)
    found = chances(
        of, distances=np.array([30.0]), zone=Zone(half_height=0.07, half_width=0.09, round=False)
    )

    def within(half, deviation):
        return 2.0 * stats.norm.cdf(half / deviation) - 1.0

    tall, wide = within(0.07, up * of.unbiased), within(0.09, right * of.unbiased)
    for side, end in enumerate((found.low, found.high)):
        taller = within(0.07, true_ends(up, arrows - 1.0)[side]) * wide
        wider = within(0.09, true_ends(right, arrows - 1.0)[side]) * tall
        change = np.hypot(taller - tall * wide, wider - tall * wide)
        assert end[0] == pytest.approx(tall * wide + (2 * side - 1) * change, abs=1e-9)


@pytest.mark.parametrize("deviation", [0.04, 0.07])
def test_a_diameter_covers_the_truth(deviation) -> None:
    """Of 4000 groups of six the true probability lies in nine of ten intervals.

    A group alone grows in proportion: as a row each, farther off by what it is larger.
    """
    arrows, many = 6, 4000
    impacts = np.random.default_rng(11).normal(0.0, deviation, (2, many, arrows))
    apart = np.hypot(*(impacts[..., :, None] - impacts[..., None, :])).max(axis=(1, 2))
    one = Group.of_diameter(30.0, 0.1, arrows)
    # Where the group of 100 mm is as large as each of the others at 30 m; the flight plays no part.
    where = 30.0 * np.quantile(apart, np.linspace(0.005, 0.995, 100)) / 0.1
    found = chances(one, distances=where)
    truth = rayleigh(deviation)
    covered = (found.low <= truth) & (truth <= found.high)
    assert covered.mean() == pytest.approx(CONFIDENCE, abs=0.03)


def test_impacts_one_by_one_cover_the_truth() -> None:
    """As above, the deviations of either axis from the impacts of six arrows."""
    arrows, many, deviation = 6, 300, 0.05
    impacts = np.random.default_rng(12).normal(0.0, deviation, (many, 2, arrows))
    covered = 0
    for up, right in impacts.std(axis=2, ddof=1):
        of = group(vertical=up, sideways=right, arrows=arrows)
        found = chances(of, distances=np.array([30.0]))
        covered += bool(found.low[0] <= rayleigh(deviation) <= found.high[0])
    assert covered / many == pytest.approx(CONFIDENCE, abs=0.05)


def test_arrows_one_by_one_say_more_than_their_diameter() -> None:
    """From six on, wherever they miss often; of twelve everywhere but where hardly any does."""
    for arrows, distances in ((6, [60.0, 90.0]), (12, [25.0, 40.0, 90.0])):
        single = group(arrows=arrows)
        alike = SD * single.unbiased
        widths = [
            np.ptp([found.low, found.high], axis=0)
            for found in (
                chances(of, distances=np.array(distances)) for of in (single, spread(alike, arrows))
            )
        ]
        assert (widths[0] < widths[1]).all()


def test_more_arrows_say_more() -> None:
    few, some, many = (
        np.ptp([found.low, found.high], axis=0)
        for found in (chances(group(arrows=arrows), ALL) for arrows in (5, 10, 40))
    )
    assert (few > some).all() and (some > many).all()
    unsaid = chances(group())
    assert np.isnan(unsaid.low).all() and np.isnan(unsaid.high).all()


def test_the_error_lies_beyond_either_end() -> None:
    """Of so many arrows that nothing else is left of the interval."""
    found = chances(group(arrows=10**9), ALL)
    assert found.probability - found.low == pytest.approx(found.error, abs=1e-5)
    assert found.high - found.probability == pytest.approx(found.error, abs=1e-5)
    assert (found.error > 5e-5).all()
    moves = Movement(scatter=0.01, delay=float(found.time[2]))
    begins = chances(group(arrows=10**9), AimErrors(speed=1.0, movement=moves))
    assert begins.high[2] - begins.low[2] > 2.0 * BEGINS - 1e-5
