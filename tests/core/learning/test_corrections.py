"""What an end asks for: shot again with it, limits of the scatter, and Student's own figures."""

from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import ends, marks, only, plain_shot, prior, scatter, seen, sight
from scipy import stats

from arrowloft.core.archer.archer_scatter import ArcherScatter, Scatter
from arrowloft.core.flight.reach import BeyondReach
from arrowloft.core.learning.calibration import calibrate
from arrowloft.core.learning.corrected_marks import corrected_marks
from arrowloft.core.learning.corrections import NOISE, corrections
from arrowloft.core.setup.air import Air

SHOT, SIGHT = plain_shot(), sight()
MARKS = marks(SHOT, SIGHT, [18.288, 30.0, 50.0, 70.0])
# What turns out to be true, in the prior's uncertainties: all of it off.
TRUE = np.array([-0.8, 0.6, -0.5, 0.7, 1.2, -0.9])
HILL = plain_shot(slope=0.5, air=Air(263.15, 101325.0, 0.0, 1.341, 1.67e-5, 325.2))
GALE = plain_shot(wind_speed=9.0, wind_from=np.pi / 3.0)


def fitted(x=TRUE, observations=(), known=None, by=None):
    """A calibration that has come to x; to what the observations say where x is None."""
    fit = calibrate(SHOT, SIGHT, known or prior(), observations, by or scatter())
    return fit if x is None else replace(fit, x=x)


def shot_again(fit, observations):
    """The observations, their arrows where the fitted set-up sends them: up and right."""
    blank = [replace(end, landed=replace(end.landed, right=0.0)) for end in observations]
    places = seen(SHOT, SIGHT, blank, fit.values)
    count = len(blank)
    return [
        replace(end, landed=replace(end.landed, up=float(up), right=float(right)))
        for end, up, right in zip(blank, places[:count], places[count:], strict=True)
    ]


def moved(end, travel=0.0, windage=0.0):
    return replace(end, travel=end.travel + travel, windage_travel=end.windage_travel + windage)


CONDITIONS = pytest.mark.parametrize("shot", [SHOT, HILL, GALE], ids=["plain", "hill", "gale"])


@CONDITIONS
@pytest.mark.parametrize("off", [0.01, -0.01])
def test_a_nudge_brings_the_centre_to_the_aim_point(shot, off):
    """The impact is linear in the travel but for the square of how far it is off."""
    fit = fitted()
    first = shot_again(fit, ends(shot, {d: t + off for d, t in MARKS.items()}, 0.0))
    found = corrections(fit, SHOT, SIGHT, first, scatter())
    again = shot_again(fit, [moved(e, n) for e, n in zip(first, found.nudge, strict=True)])
    for before, after in zip(first, again, strict=True):
        distance = before.landed.distance
        assert abs(before.landed.up) > 5e-3 * distance
        curvature = 2.0 * before.landed.up**2 / distance
        assert abs(after.landed.up) < curvature + 1e-3 * abs(before.landed.up)


@CONDITIONS
@pytest.mark.parametrize("off", [4e-3, -4e-3])
def test_a_windage_nudge_brings_the_centre_to_the_side_of_it(shot, off):
    fit = fitted()
    pins = [moved(end, windage=off) for end in ends(shot, MARKS, 0.0)]
    first = shot_again(fit, pins)
    found = corrections(fit, SHOT, SIGHT, first, scatter())
    turned = [moved(e, 0.0, n) for e, n in zip(first, found.windage_nudge, strict=True)]
    for before, after in zip(first, shot_again(fit, turned), strict=True):
        # The way is 3 % longer than the distance where gravity pulls back along the slope.
        assert abs(after.landed.right) < 0.03 * abs(before.landed.right) + 1e-9
        assert abs(before.landed.right) > 1e-4 * before.landed.distance


@CONDITIONS
def test_a_move_is_to_the_mark_that_the_fit_asks_for(shot):
    """Both moved, the fitted set-up hits the aim point, in the end's own conditions."""
    fit = fitted()
    first = shot_again(fit, [moved(end, 2e-3, 1e-3) for end in ends(shot, MARKS, 0.0)])
    found = corrections(fit, SHOT, SIGHT, first, scatter())
    last = [
        moved(end, up, aside)
        for end, up, aside in zip(first, found.move, found.windage_move, strict=True)
    ]
    for end in shot_again(fit, last):
        assert end.landed.up == pytest.approx(0.0, abs=1e-6)
        assert end.landed.right == pytest.approx(0.0, abs=1e-6)


def test_a_move_does_not_depend_on_where_the_arrows_landed():
    fit = fitted()
    high, low = (
        corrections(fit, SHOT, SIGHT, ends(SHOT, MARKS, up, up), scatter()) for up in (0.1, -0.2)
    )
    assert high.move.tolist() == low.move.tolist()
    assert high.windage_move.tolist() == low.windage_move.tolist()
    assert high.nudge == pytest.approx(-0.5 * low.nudge, rel=1e-12)


@pytest.mark.parametrize("deviation", [1e-5, 3e-4, 3e-3, 1.0])
def test_a_move_trusts_the_end_by_its_share_of_the_doubt(deviation):
    """Only the zero uncertain, by 0.5 mm: the move is nudge b^2 / (b^2 + s^2 / n)."""
    by = scatter(deviation)
    end = ends(SHOT, {50.0: MARKS[50.0]}, 0.02)
    known = only("zero")
    fit = fitted(None, end, known, by)
    found = corrections(fit, SHOT, SIGHT, end, by)
    lift = found.nudge[0] / -0.02
    spread = max(deviation * 50.0 / np.sqrt(3.0), 1e-3) * lift
    share = 5e-4**2 / (5e-4**2 + spread**2)
    assert found.move[0] == pytest.approx(share * found.nudge[0], rel=2e-3, abs=1e-9)
    assert found.move_uncertainty[0] == pytest.approx(5e-4 * np.sqrt(1.0 - share), rel=2e-3)


def test_a_moves_uncertainty_is_that_of_the_mark():
    observations = ends(SHOT, MARKS, [0.02, 0.05, -0.03, 0.1])
    fit = fitted(None, observations)
    found = corrections(fit, SHOT, SIGHT, observations, scatter())
    table = corrected_marks(fit, SHOT, SIGHT, np.array([*MARKS]))
    assert found.move_uncertainty == pytest.approx(table.uncertainty, rel=1e-6)
    assert found.move + list(MARKS.values()) == pytest.approx(table.travel, abs=1e-9)


def test_uncertainties_are_those_of_the_centres():
    by = ArcherScatter(
        vertical=Scatter(deviation=1e-3, degrees=5.0),
        sideways=Scatter(deviation=2e-3, degrees=9.0),
        assumed=False,
    )
    observations = ends(SHOT, MARKS, 0.1, 0.1, [1, 4, 9, 16])
    found = corrections(fitted(), SHOT, SIGHT, observations, by)
    distances, arrows = np.array([*MARKS]), np.array([1, 4, 9, 16])
    centres = 1e-3 * distances / np.sqrt(arrows)
    assert found.nudge_uncertainty / np.abs(found.nudge) == pytest.approx(centres / 0.1)
    sides = 2.0 * centres / 0.1
    assert found.windage_nudge_uncertainty / found.windage_nudge == pytest.approx(sides)


@pytest.mark.parametrize("degrees", [1.0, 2.0, 7.5, np.inf])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_beyond_the_scatter_is_students_limit(degrees, sign):
    """One hair within and one without; up and down by one scatter, sideways by another."""
    by = ArcherScatter(
        vertical=Scatter(deviation=1e-3, degrees=degrees),
        sideways=Scatter(deviation=2e-3, degrees=degrees + 1.0),
        assumed=False,
    )
    for factor, expected in ((1.0 - 1e-6, False), (1.0 + 1e-6, True)):
        off = sign * factor * 0.025
        up = off * stats.t.ppf(1.0 - 0.5 * NOISE, degrees)
        right = 2.0 * off * stats.t.ppf(1.0 - 0.5 * NOISE, degrees + 1.0)
        end = ends(SHOT, {50.0: MARKS[50.0]}, up, right, 4)
        found = corrections(fitted(), SHOT, SIGHT, end, by)
        assert found.beyond_scatter.tolist() == [expected]
        assert found.windage_beyond_scatter.tolist() == [expected]


def test_of_marks_that_are_right_one_in_twenty_is_told_to_be_off():
    rng = np.random.default_rng(12)
    count = 4000
    where = [(50.0, MARKS[50.0])] * count
    up, right = 1e-3 * 50.0 / np.sqrt(3.0) * rng.standard_normal((2, count))
    found = corrections(fitted(), SHOT, SIGHT, ends(SHOT, where, up, right), scatter())
    for beyond in (found.beyond_scatter, found.windage_beyond_scatter):
        assert abs(beyond.mean() - NOISE) < 4.0 * np.sqrt(NOISE * (1.0 - NOISE) / count)


def test_a_stated_uncertainty_takes_the_scatters_place():
    """It is known as it stands: normal, whatever is known of the archer's scatter."""
    end = ends(SHOT, {50.0: MARKS[50.0]}, 0.0196, 0.01)[0]
    pair = [replace(end, uncertainty=uncertainty) for uncertainty in (0.01, 0.0099999)]
    found = corrections(fitted(), SHOT, SIGHT, pair, scatter(degrees=2.0))
    pair_of = found.nudge_uncertainty / np.abs(found.nudge)
    assert pair_of == pytest.approx([0.01 / 0.0196, 0.0099999 / 0.0196])
    limits = 0.0196 / np.array([0.01, 0.0099999])
    assert found.beyond_scatter.tolist() == (limits > stats.norm.ppf(0.975)).tolist()
    assert not found.windage_beyond_scatter.any()


def test_a_centre_is_not_read_to_nothing():
    """No scatter known at all: a millimetre off says nothing, three do."""
    hair = ends(SHOT, [(50.0, MARKS[50.0])] * 2, [1e-3, 3e-3], [-1e-3, -3e-3])
    found = corrections(fitted(), SHOT, SIGHT, hair, scatter(0.0))
    assert found.beyond_scatter.tolist() == [False, True]
    assert found.windage_beyond_scatter.tolist() == [False, True]
    assert found.nudge_uncertainty[0] == pytest.approx(abs(found.nudge[0]), rel=1e-9)


def test_a_side_not_noted_says_nothing():
    mixed = ends(SHOT, MARKS, 0.1, [0.5, None, 0.5, None])
    found = corrections(fitted(), SHOT, SIGHT, mixed, scatter())
    assert found.windage_beyond_scatter.tolist() == [True, False, True, False]
    for values in (
        found.windage_nudge,
        found.windage_nudge_uncertainty,
        found.windage_move,
    ):
        assert np.isnan(values).tolist() == [False, True, False, True]
    assert np.isfinite(found.nudge).all()


def test_beyond_reach_there_is_no_mark():
    """40 m/s carry 163 m at most without drag: the end's own distance has no mark to move to."""
    slow = plain_shot(launch_speed=40.0)
    fit = replace(calibrate(slow, SIGHT, prior(speed=40.0), [], scatter()), x=np.zeros(6))
    pair = ends(slow, {50.0: 0.0, 170.0: 0.0}, 0.1)
    found = corrections(fit, slow, SIGHT, pair, scatter())
    assert np.isfinite([found.move[0], found.move_uncertainty[0], found.nudge[0]]).all()
    assert np.isnan([found.move[1], found.move_uncertainty[1]]).all()
    far = sight(zero_distance=170.0)
    with pytest.raises(BeyondReach):
        corrections(fit, slow, far, pair[:1], scatter())
