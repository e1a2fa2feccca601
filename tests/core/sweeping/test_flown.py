"""Columns of many set-ups: closed forms in vacuum, one by one by `aim`, and laws by lane."""

from dataclasses import replace

import numpy as np
import pytest
from reference_setups import AIR, G, coefficient, elevation_through, in_vacuum, recurve

from arrowloft.core.flight import reach as reach_module
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.reach import reach
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.laws import LawsByLane
from arrowloft.core.sweeping import flown as module
from arrowloft.core.sweeping.flown import QUANTITIES, Pin, flown
from arrowloft.core.sweeping.lanes import LawOfLanes, some

SPEEDS = np.linspace(45.0, 75.0, 7)
DISTANCES = np.array([30.0, 18.0, 70.0])
SMOOTH = ((),)


def test_without_drag_the_angle_of_each_speed_has_a_closed_form():
    """sin 2a = g d / v^2; t = d / (v cos a); the speed at arrival is that of the launch."""
    found = flown(in_vacuum(launch_speed=SPEEDS), 7, DISTANCES, QUANTITIES[1:2], SMOOTH).columns
    speed, way = np.repeat(SPEEDS, 3), np.tile(DISTANCES, 7)
    angle = 0.5 * np.arcsin(G * way / speed**2)
    assert found["launch_angle"] == pytest.approx(angle, rel=1e-9)
    more = flown(
        in_vacuum(launch_speed=SPEEDS), 7, DISTANCES, ("time", "speed", "apex_height"), SMOOTH
    ).columns
    assert more["time"] == pytest.approx(way / (speed * np.cos(angle)), rel=1e-9)
    assert more["speed"] == pytest.approx(speed, rel=1e-9)
    assert more["apex_height"] == pytest.approx((speed * np.sin(angle)) ** 2 / (2 * G), rel=1e-9)


def test_travel_counts_from_each_set_up_s_own_zero():
    radius = np.linspace(0.7, 0.9, 7)
    shot = in_vacuum(launch_speed=SPEEDS)
    found = flown(shot, 7, DISTANCES, ("travel",), SMOOTH, Pin(radius, 18.0)).columns["travel"]
    speed, way = np.repeat(SPEEDS, 3), np.tile(DISTANCES, 7)
    angle, zero = (elevation_through(speed, d, 0.0) for d in (way, 18.0))
    expected = np.repeat(radius, 3) * (np.tan(angle) - np.tan(zero))
    assert found == pytest.approx(expected, rel=1e-8, abs=1e-12)
    assert np.abs(found[1::3]).max() < 1e-12
    with pytest.raises(ValueError, match="pin"):
        flown(shot, 7, DISTANCES, ("travel",), SMOOTH)


def test_each_row_is_its_set_up_aimed_by_itself():
    lanes = {
        "launch_speed": SPEEDS,
        "arrow": Arrow(mass=np.linspace(0.018, 0.03, 7), shaft_diameter=0.0055),
        "slope": np.radians(np.linspace(-40.0, 40.0, 7)),
        "wind_speed": np.linspace(0.0, 8.0, 7),
        "wind_from": 1.0,
        "tip_lead": 0.3,
    }
    whole = recurve(**lanes)
    found = flown(whole, 7, DISTANCES, [q for q in QUANTITIES if q != "travel"], SMOOTH)
    for setup in range(7):
        alone = aim(whole.take(slice(setup, setup + 1)), DISTANCES)
        rows = slice(3 * setup, 3 * setup + 3)
        for name in ("launch_angle", "time", "speed", "descent_angle", "drift", "apex_distance"):
            expected = pytest.approx(getattr(alone, name), rel=1e-9, abs=1e-12)
            assert found.columns[name][rows] == expected
        mass = whole.arrow.mass[setup]
        assert found.columns["momentum"][rows] == pytest.approx(mass * alone.speed, rel=1e-9)
        assert found.columns["energy"][rows] == pytest.approx(mass * alone.speed**2 / 2, rel=1e-9)
        assert found.columns["launch_speed"][rows].tolist() == [SPEEDS[setup]] * 3
        assert found.greatest_airspeed[rows] == pytest.approx(alone.greatest_airspeed)


@pytest.mark.parametrize("laws_at_once", [True, False])
def test_laws_of_lanes_fly_as_each_by_itself(laws_at_once):
    factors = np.linspace(1.0, 3.0, 7)

    def law_of(lanes):
        return lambda flow, arrow: np.full(
            flow.airspeed.shape, factors[lanes] * cross_section(arrow)
        )

    if laws_at_once:
        law, kinks = LawOfLanes.all(7, law_of), SMOOTH
    else:
        law = LawsByLane(tuple(coefficient(value) for value in factors), np.arange(7))
        kinks = SMOOTH * 7
    shot = recurve(drag=law, launch_speed=SPEEDS)
    found = flown(shot, 7, DISTANCES, ("launch_angle",), kinks).columns["launch_angle"]
    expected = np.concatenate(
        [
            aim(
                recurve(drag=coefficient(factors[i]), launch_speed=SPEEDS[i]), DISTANCES
            ).launch_angle
            for i in range(7)
        ]
    )
    assert found == pytest.approx(expected, rel=1e-9)


def test_only_what_is_wanted_is_flown(monkeypatch):
    flights = []

    def counted(shot, at, **more):
        flights.append(at.size)
        return aim(shot, at, **more)

    monkeypatch.setattr(module, "aim", counted)
    shot = recurve(launch_speed=SPEEDS)
    flown(shot, 7, DISTANCES, ("time",), SMOOTH, Pin(0.8, 18.0))
    assert flights == [21]
    flown(shot, 7, DISTANCES, ("travel",), SMOOTH, Pin(0.8, 18.0))
    assert flights == [21, 21, 7]


def test_what_is_beyond_reach_is_nan_and_the_rest_is_not():
    shot = recurve(launch_speed=np.array([20.0, 57.0, 35.0]))
    found = flown(shot, 3, np.array([50.0, 110.0]), ("time",), SMOOTH)
    assert np.isnan(found.columns["time"]).tolist() == [True, True, False, False, False, True]
    assert np.isnan(found.greatest_airspeed).tolist() == np.isnan(found.columns["time"]).tolist()
    assert 0.0 < found.error < 5e-9


@pytest.mark.parametrize("first", ["travel", "time"])
def test_a_zero_beyond_reach_takes_the_travel_alone(first):
    """Whatever the order of columns: flights to the distances arrive all the same."""
    wanted = (first, "time" if first == "travel" else "travel")
    zero = np.array([18.0, 400.0, 18.0])
    shot = recurve(launch_speed=np.array([57.0, 57.0, 12.0]))
    found = flown(shot, 3, np.array([20.0, 30.0]), wanted, SMOOTH, Pin(0.8, zero))
    assert tuple(found.columns) == wanted
    assert found.reached.tolist() == [True] * 4 + [False] * 2
    assert found.zero_missed.tolist() == [False, True, True]
    assert np.isnan(found.columns["travel"]).tolist() == [False] * 2 + [True] * 4
    assert np.isnan(found.columns["time"]).tolist() == [False] * 4 + [True] * 2


@pytest.mark.parametrize("laws_at_once", [True, False])
def test_a_lane_that_nothing_follows_spoils_no_other(monkeypatch, laws_at_once):
    """Near the reach of a weak bow, where no launch angle is found to come down."""
    whole = reach_module._ranges

    def none_of_the_weak(shot, angle, lanes, windage, left_out=None):
        weak = np.broadcast_to(shot.launch_speed, (lanes.max() + 1,))[lanes] < 40.0
        return np.where(weak, np.nan, whole(shot, angle, lanes, windage, left_out))

    far = 0.999 * reach(recurve(launch_speed=31.0)).distance[0]
    monkeypatch.setattr(reach_module, "_ranges", none_of_the_weak)
    speeds = np.array([57.0, 31.0, 60.0, 31.0, 12.0])
    drag = coefficient(2.0)
    if laws_at_once:
        drag = LawsByLane((drag, coefficient(2.0)), np.array([0, 1, 1, 0, 0]))
    shot = recurve(drag=drag, launch_speed=speeds)
    found = flown(shot, 5, np.array([far]), ("time",), SMOOTH * 2)
    plain = aim(recurve(drag=coefficient(2.0), launch_speed=speeds[[0, 2]]), far).time
    assert found.columns["time"][[0, 2]] == pytest.approx(plain, rel=1e-9)
    assert np.isnan(found.columns["time"][[1, 3, 4]]).all()
    assert found.unsolved.tolist() == [False, True, False, True, False]
    assert found.reached.tolist() == [True, False, True, False, False]
    assert 0.0 < found.error < 5e-9
    with pytest.raises(reach_module.Unsolved):  # as everywhere else
        aim(shot.take(np.array([1])).with_(drag=coefficient(2.0)), far)


def test_some_lanes_of_a_dataclass():
    air = replace(AIR, temperature=np.array([280.0, 290.0, 300.0]))
    taken = some(air, np.array([2, 0]))
    assert taken.temperature.tolist() == [300.0, 280.0] and taken.pressure == AIR.pressure
    assert some(AIR, slice(0, 1)) is AIR
