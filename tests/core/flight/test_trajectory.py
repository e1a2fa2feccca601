"""Paths: their samples, their ends, and the two ways of computing them."""

import numpy as np
import pytest

from arrowloft.core.flight import trajectory as module
from arrowloft.core.flight.aim import TooNear, aim
from arrowloft.core.flight.reach import BeyondReach
from arrowloft.core.flight.stepping import integrate, tip_of
from arrowloft.core.flight.trajectory import BackwardPath, NeverArrives, trajectory
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.shot import Shot

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)


def steady(flow, arrow):
    return 1.9 * cross_section(arrow) + np.zeros(flow.airspeed.shape)


def vacuum(flow, arrow):
    return np.zeros(flow.airspeed.shape)


def shot_of(**changes):
    values = {
        "launch_speed": 60.0,
        "arrow": Arrow(mass=0.022, shaft_diameter=0.0056),
        "drag": steady,
        "air": AIR,
        "peep_height": 0.11,
    }
    return Shot(**{**values, **changes})


WINDY = {
    "wind_speed": 7.0,
    "wind_from": 1.0,
    "slope": 0.3,
    "tip_lead": 0.35,
    "launch_forward": 0.9,
}
SETUPS = pytest.mark.parametrize("changes", [{}, WINDY, {"roll": 0.1, "slope": -0.6}])


@SETUPS
def test_aimed_path_ends_as_aimed(changes):
    shot = shot_of(**changes)
    path, aimed = trajectory(shot, target=50.0, samples=41), aim(shot, 50.0)
    assert path.launch_angle == pytest.approx(aimed.launch_angle[0], abs=1e-9)
    assert path.time[-1] == pytest.approx(aimed.time[0], rel=1e-8)
    assert path.speed[-1] == pytest.approx(aimed.speed[0], rel=1e-8)
    assert path.drift == pytest.approx(aimed.drift[0], abs=1e-7)
    assert path.apex_height == pytest.approx(aimed.apex_height[0], abs=1e-7)
    assert path.apex_distance == pytest.approx(aimed.apex_distance[0], abs=1e-4)


@SETUPS
def test_aimed_path_starts_at_the_string(changes):
    shot = shot_of(**changes)
    path = trajectory(shot, target=50.0)
    angle = path.launch_angle
    along = shot.launch_forward * np.cos(angle) + shot.peep_height * np.sin(angle)
    up = shot.launch_forward * np.sin(angle) - shot.peep_height * np.cos(angle)
    assert path.time[0] == 0.0
    assert path.distance[0] == pytest.approx(along, abs=1e-12)
    assert path.height[0] == pytest.approx(up * np.cos(shot.roll), abs=1e-12)
    assert path.right[0] == pytest.approx(up * np.sin(shot.roll), abs=1e-12)
    assert path.speed[0] == pytest.approx(shot.launch_speed, rel=1e-9)
    assert path.angle[0] == pytest.approx(np.arcsin(np.sin(angle) * np.cos(shot.roll)), abs=1e-9)


def test_samples_are_equally_spaced_in_time():
    path = trajectory(shot_of(), target=50.0, samples=11)
    assert path.time == pytest.approx(np.linspace(0.0, path.time[-1], 11))
    assert trajectory(shot_of(), target=50.0).time.size == 101


@SETUPS
@pytest.mark.parametrize("step", [0.5, 5.0, 7.3, 1000.0])
def test_steps_are_round_distances_between_launch_and_arrival(changes, step):
    path = trajectory(shot_of(**changes), target=50.0, step=step)
    inner = path.distance[1:-1]
    count = np.arange(inner.size) + np.floor(path.distance[0] / step + 1e-9) + 1.0
    assert inner == pytest.approx(step * count, abs=1e-8)
    assert np.all(np.diff(path.distance) > 0.0)
    assert np.diff(path.distance).max() <= step * (1 + 1e-9) or step > 50.0
    assert path.distance[-1] <= 50.0 + 1e-9


def test_a_step_that_divides_the_distance_gives_the_end_once():
    path = trajectory(shot_of(), target=50.0, step=10.0)
    assert path.distance[1:] == pytest.approx([10.0, 20.0, 30.0, 40.0, 50.0])


def test_height_speed_and_angle_belong_together():
    """The path's slope is the velocity's, the speed the path's length per time."""
    path = trajectory(shot_of(**WINDY), target=60.0, samples=4001)
    rate = [np.gradient(part, path.time) for part in (path.distance, path.height, path.right)]
    inside = slice(5, -5)
    assert np.sqrt(sum(r * r for r in rate))[inside] == pytest.approx(path.speed[inside], rel=1e-6)
    slope = np.arctan2(rate[1], np.hypot(rate[0], rate[2]))
    assert slope[inside] == pytest.approx(path.angle[inside], abs=1e-6)


def test_apex_is_the_highest_point():
    path = trajectory(shot_of(**WINDY), target=80.0, samples=20001)
    top = int(np.argmax(path.height))
    assert path.apex_height == pytest.approx(path.height[top], abs=1e-6)
    assert path.apex_distance == pytest.approx(path.distance[top], abs=0.01)
    assert path.apex_height >= path.height.max() - 1e-9


def test_forty_five_degrees_in_a_vacuum():
    """Derived: v^2 / g far, v^2 / 4g high, sqrt(2) v / g long."""
    flown = trajectory(shot_of(drag=vacuum, peep_height=0.0), launch_angle=np.radians(45.0))
    g = 9.80665
    assert flown.distance[-1] == pytest.approx(3600.0 / g, rel=1e-8)
    assert flown.height[-1] == pytest.approx(0.0, abs=1e-6)
    assert flown.apex_height == pytest.approx(3600.0 / (4 * g), rel=1e-8)
    assert flown.time[-1] == pytest.approx(np.sqrt(2.0) * 60.0 / g, rel=1e-8)
    assert np.degrees(flown.angle[-1]) == pytest.approx(-45.0, abs=1e-6)


@SETUPS
@pytest.mark.parametrize("degrees", [3.0, 15.0, 45.0])
def test_without_an_end_it_ends_where_the_tip_comes_down(changes, degrees):
    shot = shot_of(**changes)
    path = trajectory(shot, launch_angle=np.radians(degrees))
    last = integrate(shot, np.radians(degrees), t_eval=[path.time[-1]], max_step=0.05).y[:, -1]
    assert tip_of(shot, last)[1] == pytest.approx(0.0, abs=2e-6)
    assert path.angle[-1] < 0.0
    reached = np.array([path.distance[-1], path.height[-1], path.right[-1]])
    assert reached == pytest.approx(last[:3], abs=2e-6)


@SETUPS
@pytest.mark.parametrize("degrees", [3.0, 15.0, 30.0, 45.0])
def test_reported_error_covers_the_true_one(changes, degrees):
    """Of the position at arrival, against DOP853 at rtol 1e-12 with short steps."""
    shot, angle = shot_of(**changes), np.radians(degrees)
    path = trajectory(shot, launch_angle=angle)
    fine = {"max_step": 0.05, "rtol": 1e-12, "atol": 1e-13}
    last = integrate(shot, angle, t_eval=[path.time[-1]], **fine).y[:, -1]
    reached = np.array([path.distance[-1], path.height[-1], path.right[-1]])
    assert np.abs(reached - last[:3]).max() <= path.error + 1e-10
    assert abs(tip_of(shot, last)[1]) <= path.error + 1e-10
    assert path.error <= 1e-6


@SETUPS
@pytest.mark.parametrize("degrees", [-45.0, -10.0, 0.0, 2.0, 20.0])
def test_with_an_end_the_tip_meets_its_plane(changes, degrees):
    shot, end = shot_of(**changes), 12.0
    path = trajectory(shot, launch_angle=np.radians(degrees), end=end)
    last = integrate(shot, np.radians(degrees), t_eval=[path.time[-1]], max_step=0.05).y[:, -1]
    tip = tip_of(shot, last)
    assert tip[0] == pytest.approx(end, abs=1e-6)
    assert path.drift == pytest.approx(tip[2], abs=1e-6)
    assert path.height[-1] == pytest.approx(last[1], abs=1e-6)


@SETUPS
@pytest.mark.parametrize(
    ("degrees", "end"), [(4.0, None), (40.0, None), (-20.0, 15.0), (8.0, 40.0)]
)
def test_stepping_and_collocation_agree(changes, degrees, end):
    shot, angle = shot_of(**changes), np.radians(degrees)
    usual, stepped = module._path_of(shot, angle, end), module._stepped_path(shot, angle, end)
    assert usual.time == pytest.approx(stepped.time, rel=1e-7)
    assert usual.tip == pytest.approx(stepped.tip, abs=2e-6)
    assert usual.apex == pytest.approx(stepped.apex, abs=1e-3)
    assert usual.apex[1] == pytest.approx(stepped.apex[1], abs=1e-6)
    times = np.linspace(0.0, usual.time, 37)
    assert usual.at(times) == pytest.approx(stepped.at(times), abs=5e-6)


def test_a_downward_angle_without_an_end_never_comes_down_to_the_line():
    for degrees in (-45.0, -5.0, 0.0):
        with pytest.raises(NeverArrives):
            trajectory(shot_of(), launch_angle=np.radians(degrees))


def test_a_plane_beyond_the_flight_is_never_met():
    """At 40 degrees a head wind of 60 m/s turns the arrow back long before 300 m."""
    with pytest.raises(NeverArrives):
        trajectory(
            shot_of(wind_speed=60.0, drag_scale=20.0), launch_angle=np.radians(40.0), end=300.0
        )


def test_a_path_that_turns_back_has_no_steps_of_distance():
    shot = shot_of(wind_speed=40.0, drag_scale=30.0)
    flown = trajectory(shot, launch_angle=np.radians(40.0))
    assert np.diff(flown.distance).min() < 0.0, "the case must turn back, or it shows nothing"
    with pytest.raises(BackwardPath):
        trajectory(shot, launch_angle=np.radians(40.0), step=1.0)


def test_targets_that_cannot_be_aimed_at():
    with pytest.raises(BeyondReach):
        trajectory(shot_of(), target=1000.0)
    with pytest.raises(TooNear):
        trajectory(shot_of(tip_lead=0.4, launch_forward=1.0), target=1.2)


def test_either_a_target_or_an_angle():
    with pytest.raises(ValueError, match="target"):
        trajectory(shot_of())
    with pytest.raises(ValueError, match="target"):
        trajectory(shot_of(), target=20.0, launch_angle=0.1)


def test_airspeed_range_spans_the_path():
    shot = shot_of(wind_speed=5.0, wind_from=0.0)
    path = trajectory(shot, target=60.0, samples=201)
    low, high = path.airspeed_range
    level = path.speed * np.cos(path.angle) + 5.0
    airspeed = np.hypot(level, path.speed * np.sin(path.angle))
    assert low == pytest.approx(airspeed.min(), rel=1e-4)
    assert high == pytest.approx(airspeed.max(), rel=1e-9)
