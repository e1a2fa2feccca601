"""Predictions of what is seen on the range: closed forms in a vacuum, signs, mark tables."""

import math
from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import (
    ARROW,
    YARD,
    coefficient,
    ends,
    marks,
    parabola,
    plain_shot,
    seen,
    sight,
    unknowns,
    vacuum,
)
from scipy.optimize import brentq

from arrowloft.core.flight.aim import TooNear
from arrowloft.core.learning.observations import Predictions, SpeedReading, stacked
from arrowloft.core.learning.unknowns import DRAG, NAMES
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.gravity import STANDARD
from arrowloft.core.sight.marks import mark_table

VACUUM = plain_shot(drag=vacuum, launch_forward=0.0, tip_lead=0.0)
DISTANCES = [20 * YARD, 40 * YARD, 60 * YARD, 80 * YARD]
TRAVEL = {18.0: -0.002, 35.0: 0.010, 55.0: 0.021, 73.0: 0.050}
PRECISE = 1e-7  # m, of an impact: TOLERANCE of core/flight/impacts.py


def by_hand(truth, zero_distance, distance, travel, windage=0.0):
    """Impact of one arrow: the pin's place in the bow sets the arrow's line."""
    speed, _, peep_height, radius, zero, aside = truth

    def at_zero(angle):
        return parabola(angle, zero_distance, speed, peep_height)[0]

    zero_angle = brentq(at_zero, 0.0, 0.3, xtol=1e-15, rtol=1e-14)
    # In the bow the eye sees the pin ahead (r), below (r tan a) and beside (W): the line of
    # sight. Along the arrow's line that is cos a cos b, to its right -sin b.
    angle = math.atan(math.tan(zero_angle) + (travel - zero) / radius)
    yaw = -math.atan((windage + aside) / radius * math.cos(angle))
    return parabola(angle, distance, speed, peep_height, yaw)


TRUTHS = {
    "as assumed": {},
    "faster": {"speed": 92.0},
    "peep higher": {"peep_height": 0.125},
    "longer radius": {"radius": 0.90},
    "pin high at zero": {"zero": 2e-3},
    "pin to the right": {"windage": 3e-3},
    "all at once": {
        "speed": 71.0,
        "peep_height": 0.1,
        "radius": 0.8,
        "zero": -1e-3,
        "windage": 2e-3,
    },
}


@pytest.mark.parametrize("changes", TRUTHS.values(), ids=TRUTHS)
def test_without_drag_an_arrow_lands_where_a_parabola_does(changes):
    truth = unknowns(**changes)
    shot_ends = ends(VACUUM, TRAVEL, 0.0, 0.0)
    shot_ends = [
        replace(end, windage_travel=windage)
        for end, windage in zip(shot_ends, (0.0, 1e-3, -2e-3, 5e-4), strict=True)
    ]
    found = seen(VACUUM, sight(), shot_ends, truth)
    expected = [
        by_hand(truth, 20 * YARD, end.landed.distance, end.travel, end.windage_travel)
        for end in shot_ends
    ]
    ups, rights = zip(*expected, strict=True)
    assert found == pytest.approx([*ups, *rights], abs=PRECISE)


def test_many_unknowns_at_once_are_each_by_themselves():
    shot_ends = ends(plain_shot(), TRAVEL, 0.0, [0.0, None, 0.0, None])
    reading = SpeedReading(shot=plain_shot(), distance=3.0, speed=84.0, uncertainty=0.5)
    predict = Predictions(plain_shot(), 20 * YARD, [*shot_ends, reading])
    several = np.array([unknowns(**changes) for changes in TRUTHS.values()]).T
    together = predict(several)
    assert together.shape == (len(TRUTHS), 4 + 2 + 1)
    alone = [predict(several[:, lane : lane + 1])[0] for lane in range(len(TRUTHS))]
    assert together == pytest.approx(np.array(alone), abs=PRECISE)


@pytest.mark.parametrize(
    ("changes", "side"),
    [
        ({"speed": 86.0}, 1.0),
        ({"drag": 1.1}, -1.0),
        ({"zero": 1e-3}, -1.0),
    ],
)
def test_signs_of_the_unknowns_beyond_the_zero(changes, side):
    # Faster: high. More drag: low. A pin that stands high at the zero mark sends arrows low.
    shot_ends = ends(plain_shot(), marks(plain_shot(), sight(), DISTANCES[1:]), 0.0)
    up = seen(plain_shot(), sight(), shot_ends, unknowns(**changes))
    assert (side * up > 1e-3).all()


def test_a_pin_moved_down_or_left_sends_arrows_up_or_right():
    low, left = ends(plain_shot(), {40.0: 0.012}, 0.0, 0.0)[0], -2e-3
    aside = replace(low, windage_travel=left)
    higher = replace(low, travel=0.014)
    up, moved_up, same, right, same_right, moved_right = seen(
        plain_shot(), sight(), [low, higher, aside], unknowns()
    )
    # A pin's way over the radius, times the distance, within the 4 % that the arrow's place
    # ahead of the eye and the drag take away.
    assert moved_up - up == pytest.approx(2e-3 / 0.86 * 40.0, rel=0.04)
    assert moved_right - right == pytest.approx(2e-3 / 0.86 * 40.0, rel=0.04)
    assert same == pytest.approx(up, abs=1e-5)
    assert same_right == right == 0.0


def test_only_ends_whose_place_to_the_side_was_noted_have_one():
    shot_ends = ends(plain_shot(), TRAVEL, [0.1, 0.2, 0.3, 0.4], [0.01, None, None, -0.02])
    reading = SpeedReading(shot=plain_shot(), distance=3.0, speed=83.0, uncertainty=0.5)
    # Whatever the order of the observations: heights, places to the side, speeds.
    predict = Predictions(plain_shot(), 20 * YARD, [reading, *shot_ends])
    assert predict.aside.tolist() == [0, 3]
    assert predict.observed.tolist() == [0.1, 0.2, 0.3, 0.4, 0.01, -0.02, 83.0]
    found = predict(unknowns(windage=1e-3)[:, None])[0]
    alone = [
        seen(plain_shot(), sight(), [shot_ends[index]], unknowns(windage=1e-3))[1]
        for index in (0, 3)
    ]
    assert found[4:6] == pytest.approx(alone, abs=PRECISE)
    assert found[4:6] == pytest.approx(
        [-1e-3 / 0.86 * distance for distance in (18.0, 73.0)], rel=0.04
    )


ANOTHER = {"speed": 77.0, "drag": 1.4, "peep_height": 0.13, "radius": 0.8}


@pytest.mark.parametrize("changes", [{}, ANOTHER], ids=["as assumed", "another"])
def test_marks_of_the_table_centre_the_arrows_at_every_distance(changes):
    zero, aside = 7e-4, -3e-4
    speed, drag, peep_height, radius, *_ = unknowns(**changes)
    shot = plain_shot(slope=0.2, wind_speed=4.0, wind_from=1.0)
    real = shot.with_(launch_speed=speed, drag_scale=drag, peep_height=peep_height)
    table = mark_table(real, sight(radius=radius), np.linspace(8.0, 90.0, 30))
    # The pin stands too high and to one side, and is set lower and back by as much.
    still = ends(shot, [(row, pin + zero) for row, pin in zip(*_columns(table), strict=True)], 0.0)
    steered = [
        replace(end, windage_travel=windage - aside, landed=replace(end.landed, right=0.0))
        for end, windage in zip(still, table.windage_travel.tolist(), strict=True)
    ]
    truth = unknowns(**changes, zero=zero, windage=aside)
    # The heights of those not steered: without any yaw, as the table's angles are.
    straight = seen(shot, sight(), still, unknowns(**changes, zero=zero))
    assert straight == pytest.approx(np.zeros(30), abs=1e-6)
    up, right = seen(shot, sight(), steered, truth).reshape(2, 30)
    assert right == pytest.approx(np.zeros(30), abs=1e-6)
    # Turned into the wind an arrow meets a little more of it.
    assert up == pytest.approx(np.zeros(30), abs=3e-4)


def _columns(table):
    return table.distance.tolist(), table.travel.tolist()


def test_a_straight_flight_slows_down_exponentially():
    # Almost without gravity: v exp(-k x), x the way of the balance point.
    shot = plain_shot(gravity=1e-7, peep_height=0.0)
    readings = [
        SpeedReading(shot=shot, distance=distance, speed=84.0, uncertainty=0.5)
        for distance in (2.0, 30.0, 70.0)
    ]
    truth = unknowns(peep_height=0.0, speed=80.0, drag=1.3)
    decay = 1.225 * 1.3 * 1.8 * cross_section(ARROW) / (2.0 * ARROW.mass)
    expected = [80.0 * math.exp(-decay * (reading.distance - 1.0)) for reading in readings]
    assert seen(shot, sight(), readings, truth) == pytest.approx(expected, rel=1e-9)


def test_a_drag_assumed_already_is_scaled_once_more():
    twice = seen(
        plain_shot(drag_scale=2.0),
        sight(),
        ends(plain_shot(drag_scale=2.0), TRAVEL, 0.0),
        unknowns(drag=0.5),
    )
    assert twice == pytest.approx(
        seen(plain_shot(), sight(), ends(plain_shot(), TRAVEL, 0.0), unknowns()), abs=PRECISE
    )


def other_conditions():
    """Shots on slopes, in winds and in thin air."""
    thin = replace(plain_shot().air, density=0.95)
    return [
        plain_shot(slope=0.5),
        plain_shot(slope=-0.6, wind_speed=5.0, wind_from=0.0),
        plain_shot(air=thin, wind_speed=6.0, wind_from=1.2),
        plain_shot(gravity=9.79),
    ]


def test_every_end_has_its_own_conditions_and_the_zero_those_of_the_set_up():
    travel = marks(plain_shot(), sight(), [30.0, 40.0, 50.0, 60.0])
    own = [
        ends(shot, {distance: pin}, 0.0, 0.0)[0]
        for shot, (distance, pin) in zip(other_conditions(), travel.items(), strict=True)
    ]
    together = seen(plain_shot(), sight(), own, unknowns(speed=82.0))
    alone = np.array([seen(plain_shot(), sight(), [end], unknowns(speed=82.0)) for end in own])
    assert together == pytest.approx(alone.T.ravel(), abs=PRECISE)
    level = seen(plain_shot(), sight(), ends(plain_shot(), travel, 0.0), unknowns(speed=82.0))
    # Each condition shows: on slopes and in thin air it flies higher, the head wind 5 m/s.
    assert (np.abs(together[:4] - level) > 1e-3).all()
    # Had the zero been sighted in in the end's own conditions, it would come elsewhere.
    assert abs(seen(own[0].shot, sight(), own[:1], unknowns(speed=82.0))[0] - together[0]) > 1e-2


def test_readings_have_their_own_conditions():
    readings = [
        SpeedReading(shot=shot, distance=50.0, speed=80.0, uncertainty=0.5)
        for shot in other_conditions()
    ]
    together = seen(plain_shot(), sight(), readings, unknowns())
    alone = [seen(plain_shot(), sight(), [reading], unknowns())[0] for reading in readings]
    assert together == pytest.approx(alone, rel=1e-9)
    assert np.unique(together.round(3)).size == 4


def test_stacked_shots_keep_what_they_share_and_lie_side_by_side():
    several = stacked(other_conditions())
    assert several.launch_speed == 84.0
    assert several.slope.tolist() == [0.5, -0.6, 0.0, 0.0]
    assert several.wind_from.tolist() == [0.0, 0.0, 1.2, 0.0]
    assert several.gravity.tolist() == [STANDARD, STANDARD, STANDARD, 9.79]
    assert several.air.density.tolist() == [1.225, 1.225, 0.95, 1.225]
    assert several.air.viscosity == 1.789e-5
    assert stacked([plain_shot(drag=VACUUM.drag)]) == plain_shot(drag=VACUUM.drag)


def test_an_arrow_that_does_not_come_is_not_a_number():
    # 20 m/s carries an arrow 20 m up at most; at a slope of 1.2 rad 60 m away is 56 m up.
    steep = ends(plain_shot(slope=1.2), {60.0: 0.02}, 0.0)
    near = ends(plain_shot(), {20.0: 0.0}, 0.0, 0.0)
    reading = SpeedReading(shot=plain_shot(), distance=200.0, speed=70.0, uncertainty=0.5)
    predict = Predictions(plain_shot(), 20 * YARD, [*steep, *near, reading])
    found = predict(np.array([unknowns(speed=20.0), unknowns()]).T)
    assert np.isnan(found).tolist() == [[True, False, False, True], [False] * 4]


def test_without_a_zero_nothing_is_foretold():
    # In a vacuum 10 m/s carries no farther than v^2 / g = 10.2 m.
    near = ends(VACUUM, {5.0: 0.0}, 0.0)
    predict = Predictions(VACUUM, 20.0, near)
    found = predict(np.array([unknowns(speed=10.0), unknowns()]).T)
    assert np.isnan(found).tolist() == [[True], [False]]


def test_a_reading_behind_the_arrow_is_refused():
    reading = SpeedReading(shot=plain_shot(), distance=0.5, speed=84.0, uncertainty=0.5)
    predict = Predictions(plain_shot(), 20 * YARD, [reading])
    with pytest.raises(TooNear) as caught:
        predict(unknowns()[:, None])
    assert caught.value.lanes == (1,)


def test_readings_alone_and_ends_alone_and_nothing_at_all():
    reading = SpeedReading(shot=plain_shot(), distance=2.0, speed=84.0, uncertainty=0.5)
    truth = np.array([unknowns(), unknowns(drag=1.1)]).T
    assert Predictions(plain_shot(), 20.0, [reading])(truth).shape == (2, 1)
    assert Predictions(plain_shot(), 20.0, ends(plain_shot(), TRAVEL, 0.0))(truth).shape == (2, 4)
    empty = Predictions(plain_shot(), 20.0, [])
    assert empty(truth).shape == (2, 0)
    assert empty.observed.shape == (0,)


def test_the_unknowns_are_in_their_order():
    assert NAMES[DRAG] == "drag"
    heavy = seen(
        plain_shot(drag=coefficient(3.6)),
        sight(),
        ends(plain_shot(drag=coefficient(3.6)), TRAVEL, 0.0),
        unknowns(),
    )
    doubled = seen(plain_shot(), sight(), ends(plain_shot(), TRAVEL, 0.0), unknowns(drag=2.0))
    assert doubled == pytest.approx(heavy, abs=PRECISE)
