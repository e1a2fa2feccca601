"""A re-mounted sight: parabolas in a vacuum, a sight displaced and found again, signs, screws."""

import math
from dataclasses import replace

import numpy as np
import pytest
from cant_setups import shot_of, vacuum
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from arrowloft.core.archer.archer_scatter import ArcherScatter, Scatter, archer_scatter
from arrowloft.core.archer.landed import Landed
from arrowloft.core.archer.significance import evidence, more_arrows, together
from arrowloft.core.flight.aim import TooNear, aim
from arrowloft.core.flight.geometry import windage_travel
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import BeyondReach
from arrowloft.core.learning.sight_shift import NeverThere, sight_shift
from arrowloft.core.sight.sight import Scale, Sight, Thread

G = 9.80665
RADIUS = 0.84
SIGHT = Sight(radius=RADIUS, zero_distance=18.0)
DIALLED = Sight(
    radius=RADIUS,
    zero_distance=18.0,
    elevation=Thread(travel_per_turn=1.2e-3, clicks_per_turn=12),
    windage=Thread(travel_per_turn=1e-3, clicks_per_turn=8),
    scale=Scale(reading_at_zero=18.0, travel_per_unit=5e-3),
)
SCATTER = ArcherScatter(
    vertical=Scatter(deviation=1.2e-3, degrees=11.0),
    sideways=Scatter(deviation=0.9e-3, degrees=7.0),
    assumed=False,
)
FROM_THE_EYE = shot_of(drag=vacuum, peep_height=0.0, launch_forward=0.0, tip_lead=0.0)
WINDY = shot_of(slope=0.4, wind_speed=5.0, wind_from=1.1)


def landed(up, right=None, distance=40.0, arrows=6):
    return Landed(distance=distance, up=up, right=right, arrows=arrows)


def shift_of(up, right=None, shot=None, sight=SIGHT, distance=40.0, arrows=6, **more):
    return sight_shift(
        shot or shot_of(), sight, landed(up, right, distance, arrows), SCATTER, **more
    )


# Where the pin is: closed forms


def tangent(up, distance, way, speed=57.0):
    """Low launch angle's tangent in a vacuum: up = way tan(a) - g way^2 / (2 v^2 cos(a)^2),
    `way` being the distance in the plane of a yawed flight."""
    pull = G * way**2 / (2.0 * speed**2)
    return (way - math.sqrt(way**2 - 4.0 * pull * (up + pull))) / (2.0 * pull)


@settings(max_examples=60, deadline=None)
@given(
    distance=st.floats(5.0, 90.0), up=st.floats(-2.0, 2.0), right=st.none() | st.floats(-2.0, 2.0)
)
def test_in_a_vacuum_it_is_the_difference_of_two_parabolas(distance, up, right):
    found = shift_of(up, right, shot=FROM_THE_EYE, distance=distance)
    way = math.hypot(distance, right or 0.0)
    was, now = tangent(0.0, distance, distance), tangent(up, distance, way)
    assert found.vertical.move.travel == pytest.approx(RADIUS * (was - now), abs=2e-8)
    assert math.tan(found.landed_angle) == pytest.approx(now, abs=2e-8)
    if right is None:
        assert found.sideways is None
        assert found.landed_yaw == found.yaw == 0.0
        return
    # right = D tan(yaw), and the pin stands radius tan(yaw) / cos(a) to the left of the line.
    expected = RADIUS * right / distance * math.hypot(1.0, now)
    assert found.sideways.move.travel == pytest.approx(expected, abs=2e-8)


def test_a_centred_group_moves_nothing():
    for shot in (shot_of(), WINDY):
        found = shift_of(0.0, 0.0, shot=shot)
        assert found.vertical.move.travel == pytest.approx(0.0, abs=1e-10)
        assert found.sideways.move.travel == pytest.approx(0.0, abs=1e-10)
        assert found.vertical.evidence.p_value == found.sideways.evidence.p_value == 1.0
        assert found.p_value == 1.0 and not found.real


def test_the_pin_follows_the_arrows():
    """High: the pin goes up; to the right: it goes to the right (common practice, no source)."""
    for up, right in ((0.1, -0.1), (-0.1, 0.1)):
        found = shift_of(up, right)
        assert found.vertical.move.travel * up < 0.0
        assert found.sideways.move.travel * right > 0.0
        # Close to the straight line through eye, pin and target.
        assert found.vertical.move.travel == pytest.approx(-up * RADIUS / 40.0, rel=0.05)
        assert found.sideways.move.travel == pytest.approx(right * RADIUS / 40.0, rel=0.05)


SHOTS = pytest.mark.parametrize(
    "shot", [shot_of(), WINDY, shot_of(slope=-0.7, wind_speed=3.0, wind_from=4.0)]
)


@SHOTS
@pytest.mark.parametrize(("up", "right"), [(0.03, -0.02), (-0.5, 0.4), (1.5, 1.0)])
def test_loosed_with_that_pin_the_arrow_meets_the_centre(shot, up, right):
    """The aimed pin moved back by the travel: its angles, flown, come to the group's centre."""
    found = shift_of(up, right, shot=shot)
    aimed = aim(shot, 40.0, windage=True)
    angle = math.atan(math.tan(aimed.launch_angle[0]) - found.vertical.move.travel / RADIUS)
    set_to = windage_travel(RADIUS, aimed.launch_angle[0], aimed.yaw[0])
    yaw = math.atan(-(set_to - found.sideways.move.travel) / RADIUS * math.cos(angle))
    hit = impacts(shot, angle, 40.0, yaw=yaw)
    assert hit.up[0] == pytest.approx(up, abs=3e-7)
    assert hit.right[0] == pytest.approx(right, abs=3e-7)


@SHOTS
def test_a_displaced_sight_is_found_at_every_distance(shot):
    """A sight put back lower and to the right on the bow: the same move mends all its marks."""
    low, side = 1.7e-3, 0.8e-3
    distances = np.array([18.0, 30.0, 55.0])
    aimed = aim(shot, distances, windage=True)
    angle = np.arctan(np.tan(aimed.launch_angle) + low / RADIUS)
    stands = windage_travel(RADIUS, aimed.launch_angle, aimed.yaw) + side
    yaw = np.arctan(-stands / RADIUS * np.cos(angle))
    hit = impacts(shot, angle, distances, yaw=yaw)
    for place in zip(hit.up, hit.right, distances, strict=True):
        found = sight_shift(shot, SIGHT, landed(*place), SCATTER)
        assert found.vertical.move.travel == pytest.approx(-low, abs=2e-8)
        assert found.marks_move == found.vertical.move.travel
        assert found.sideways.move.travel == pytest.approx(-side, abs=2e-8)


def test_the_side_left_out_does_not_change_the_height():
    assert shift_of(0.2).vertical.move.travel == pytest.approx(
        shift_of(0.2, 0.0).vertical.move.travel, abs=1e-10
    )


def test_drift_is_taken_as_cancelled():
    found = shift_of(0.0, 0.0, shot=WINDY)
    assert found.drift == pytest.approx(float(aim(WINDY, 40.0).drift[0]), abs=1e-9)
    assert abs(found.drift) > 0.05
    assert shift_of(0.0, 0.0).drift == 0.0


# What it is worth


@SHOTS
def test_uncertainties_are_carried_over_by_the_slope_at_the_centre(shot):
    up, right, step = 0.2, -0.1, 1e-3
    found = shift_of(up, right, shot=shot)
    for axis, ahead, behind in (
        ("vertical", (up + step, right), (up - step, right)),
        ("sideways", (up, right + step), (up, right - step)),
    ):
        slope = abs(
            getattr(shift_of(*ahead, shot=shot), axis).move.travel
            - getattr(shift_of(*behind, shot=shot), axis).move.travel
        ) / (2.0 * step)
        one = getattr(found, axis)
        centre = getattr(SCATTER, axis).centre(40.0, 6)
        assert one.evidence.uncertainty == centre
        # To first order of each axis by itself, and slopes over a tenth of a milliradian.
        assert one.move.uncertainty == pytest.approx(centre * slope, rel=2e-3)
        assert one.move.least == pytest.approx(one.evidence.least * slope, rel=2e-3)


def test_each_axis_is_tested_at_its_part_of_the_level():
    found = shift_of(0.05, 0.03, confidence=0.9)
    assert found.level == pytest.approx(0.05)
    assert found.confidence == 0.9
    assert found.vertical.evidence == evidence(0.05, SCATTER.vertical, 40.0, 6, found.level)
    assert found.sideways.evidence == evidence(0.03, SCATTER.sideways, 40.0, 6, found.level)
    both = together(found.vertical.evidence.p_value, found.sideways.evidence.p_value)
    assert found.p_value == both
    alone = shift_of(0.05, confidence=0.9)
    assert alone.level == pytest.approx(0.1)
    assert alone.p_value == alone.vertical.evidence.p_value


def test_what_is_real_depends_on_the_confidence():
    # t = 2.3 at 11 degrees up and 2.2 at 7 sideways: p = 0.042 and 0.064, together 0.019.
    up, right = (2.3 * SCATTER.vertical.centre(40.0, 6), 2.2 * SCATTER.sideways.centre(40.0, 6))
    found = shift_of(up, right)
    assert not (found.vertical.evidence.real or found.sideways.evidence.real)
    assert found.real
    assert found.p_value == pytest.approx(0.019, abs=2e-3)
    # Together they have the whole level: t = 2 either way makes p = 0.037.
    less = shift_of(2.0 / 2.3 * up, 2.0 / 2.2 * right)
    assert less.level < less.p_value < 0.05 and less.real
    assert shift_of(up, right, confidence=0.9).vertical.evidence.real
    assert shift_of(up).vertical.evidence.real  # alone it has the whole level
    assert not shift_of(up, right, confidence=0.99).real


def test_more_arrows_make_it_real():
    few, many = (shift_of(0.04, 0.0, arrows=n) for n in (2, 40))
    assert not few.vertical.evidence.real and many.vertical.evidence.real
    assert few.vertical.evidence.more_arrows > 0 == many.vertical.evidence.more_arrows


def test_arrows_in_one_hole_by_an_archer_without_scatter():
    sure = Scatter(deviation=0.0, degrees=3.0)
    hole = Landed.of_arrows(40.0, np.full(3, 0.02), np.zeros(3))
    found = sight_shift(
        shot_of(), DIALLED, hole, ArcherScatter(vertical=sure, sideways=sure, assumed=False)
    )
    assert found.vertical.evidence.real and not found.sideways.evidence.real
    # The centre is read to a millimetre: 20 of them are t = 20.
    told, move = found.vertical.evidence, found.vertical.move
    assert (told.uncertainty, told.statistic) == pytest.approx((1e-3, 20.0))
    assert move.uncertainty == pytest.approx(abs(move.travel) / 20.0, rel=1e-3)
    assert move.least == pytest.approx(move.uncertainty * told.least / 1e-3)
    assert found.p_value == pytest.approx(together(2.0 * stats.t.sf(20.0, 3), 1.0))
    assert found.real
    usual = sight_shift(shot_of(), DIALLED, hole, archer_scatter([hole]))
    assert 0.0 < usual.vertical.evidence.p_value < 1.0


# Screws and scales


def test_clicks_are_the_nearest_and_leave_the_rest():
    found = shift_of(0.213, -0.187, sight=DIALLED)
    for axis, turn, clicks in ((found.vertical, 1.2e-3, 12), (found.sideways, 1e-3, 8)):
        move, click = axis.move, turn / clicks
        assert move.turns == pytest.approx(move.travel / turn)
        assert isinstance(move.clicks, int) and move.clicks == round(move.travel / click)
        assert move.clicks * click + move.remaining == pytest.approx(move.travel, abs=1e-15)
        assert abs(move.remaining) <= 0.5 * click
        assert move.clicks_uncertainty == pytest.approx(move.uncertainty / click)
        assert move.least_clicks == pytest.approx(move.least / click)
        assert axis.evidence.least / move.click == pytest.approx(move.least_clicks)


def test_one_click_on_the_target_is_what_a_click_moves_the_arrow():
    found = shift_of(0.0, 0.0, sight=DIALLED)
    aimed = aim(shot_of(), 40.0)
    clicked = math.atan(math.tan(aimed.launch_angle[0]) + 1e-4 / RADIUS)
    rise = impacts(shot_of(), clicked, 40.0).up[0]
    assert found.vertical.move.click == pytest.approx(rise, rel=1e-3)
    aside = math.atan(1.25e-4 / RADIUS * math.cos(aimed.launch_angle[0]))
    moved = impacts(shot_of(), aimed.launch_angle, 40.0, yaw=aside).right[0]
    assert found.sideways.move.click == pytest.approx(moved, rel=1e-3)


def test_arrows_to_tell_one_click():
    coarse = replace(DIALLED, elevation=Thread(travel_per_turn=4e-3, clicks_per_turn=4))
    move = shift_of(0.0, 0.0, sight=coarse).vertical.move
    expected = more_arrows(move.click, SCATTER.vertical, 40.0, 6, 0.025)
    assert move.click_arrows == expected > 0
    assert shift_of(0.0, 0.0, sight=DIALLED).vertical.move.click_arrows is None


@pytest.mark.parametrize("down", [True, False])
def test_the_zero_shows_the_move(down):
    scale = Scale(reading_at_zero=18.0, travel_per_unit=5e-3, increases_down=down)
    found = shift_of(0.2, 0.1, sight=replace(DIALLED, scale=scale))
    change = (1.0 if down else -1.0) * found.marks_move / 5e-3
    assert found.zero.reading == pytest.approx(18.0 + change)
    assert found.reading_change == pytest.approx(change)
    assert found.zero.clicks == found.vertical.move.clicks < 0
    assert found.zero.turns == found.vertical.move.turns


def test_what_the_sight_lacks_is_none():
    found = shift_of(0.2, 0.1)
    for move in (found.vertical.move, found.sideways.move):
        assert move.turns is move.clicks is move.click is move.click_arrows is None
        assert move.clicks_uncertainty is move.least_clicks is None
        assert move.remaining == 0.0
    assert (
        found.zero.reading is found.zero.clicks is found.zero.turns is found.reading_change is None
    )
    no_clicks = replace(SIGHT, elevation=Thread(travel_per_turn=1e-3))
    move = shift_of(0.2, sight=no_clicks).vertical.move
    assert move.turns == pytest.approx(1e3 * move.travel)
    assert move.clicks is None and move.remaining == 0.0


# Size, figures, refusals


def test_a_set_up_twice_the_size_shifts_twice_as_far():
    """Froude: lengths by 2 and speed by sqrt(2) in a vacuum leave all angles as they are."""
    small = shot_of(drag=vacuum, launch_forward=0.8, tip_lead=0.0)
    large = small.with_(launch_speed=57.0 * math.sqrt(2.0), peep_height=0.23, launch_forward=1.6)
    one = shift_of(0.1, 0.05, shot=small)
    other = sight_shift(large, replace(SIGHT, radius=2 * RADIUS), landed(0.2, 0.1, 80.0), SCATTER)
    for axis in ("vertical", "sideways"):
        mine, twice = getattr(one, axis), getattr(other, axis)
        assert twice.move.travel == pytest.approx(2.0 * mine.move.travel, abs=1e-8)
        assert twice.move.uncertainty == pytest.approx(2.0 * mine.move.uncertainty, rel=1e-5)
        assert twice.evidence.p_value == pytest.approx(mine.evidence.p_value, rel=1e-12)


def test_it_says_how_well_it_was_solved_and_how_fast_it_flew():
    found = shift_of(0.3, 0.1, shot=WINDY)
    aimed = aim(WINDY, 40.0, windage=True)
    assert 0.0 < found.error < 1e-9
    assert 0.0 < found.position_error <= 1e-7
    least, greatest = found.airspeed_range
    assert least <= aimed.least_airspeed[0] and greatest >= aimed.greatest_airspeed[0]
    assert (least, greatest) == pytest.approx(
        (aimed.least_airspeed[0], aimed.greatest_airspeed[0]), rel=1e-2
    )


def test_a_place_that_no_arrow_comes_to():
    weak = shot_of(launch_speed=30.0)  # it reaches 84.4 m
    for up, distance in ((3.0, 82.0), (5.0, 80.0), (5.0, 2.0)):
        with pytest.raises(NeverThere):
            shift_of(up, 0.0, shot=weak, distance=distance)
    # Just within: the low one of two launch angles, below the one that reaches farthest.
    found = shift_of(2.0, 0.0, shot=weak, distance=82.0)
    assert found.launch_angle < found.landed_angle < math.radians(44.0)
    assert impacts(weak, found.landed_angle, 82.0).up[0] == pytest.approx(2.0, abs=3e-7)


@pytest.mark.parametrize(("error", "distance"), [(BeyondReach, 500.0), (TooNear, 1.0)])
def test_a_distance_that_cannot_be_aimed_at(error, distance):
    with pytest.raises(error):
        shift_of(0.1, distance=distance)
