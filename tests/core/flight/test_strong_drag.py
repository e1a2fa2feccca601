"""Arrows that drag all but stops, paths that only fall: cases that once went wrong."""

import numpy as np
import pytest

from arrowloft.core.flight import reach
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.reach import BeyondReach
from arrowloft.core.flight.stepping import range_of_angle
from arrowloft.core.flight.trajectory import trajectory
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.sight import Sight

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
SIGHT = Sight(radius=0.85, zero_distance=18.0)


def shot(speed, mass, diameter, coefficient, slope):
    def law(flow, arrow):
        return np.full(flow.airspeed.shape, coefficient * cross_section(arrow))

    return Shot(
        launch_speed=speed,
        arrow=Arrow(mass=mass, shaft_diameter=diameter),
        drag=law,
        kinks=(),
        air=AIR,
        peep_height=0.115,
        launch_forward=0.9,
        tip_lead=0.3,
        slope=np.radians(slope),
    )


@pytest.mark.parametrize(
    ("setup", "distance"),
    [
        ((45.0, 0.009, 0.0097, 2.4, -44.0), 150.0),
        ((45.0, 0.009, 0.0097, 2.4, -44.0), 160.0),
        ((112.0, 0.0035, 0.0141, 1.0, 38.0), 50.0),
        ((112.0, 0.0035, 0.0141, 1.0, 38.0), 70.0),
        ((84.0, 0.027, 0.0059, 1.9, -60.0), 1000.0),
    ],
)
def test_a_flight_that_loses_most_of_its_speed_is_still_aimed(setup, distance):
    one = shot(*setup)
    aimed = aim(one, np.array([distance]))
    # Stepped through, the tip comes down to the line of sight at the distance.
    assert range_of_angle(one, float(aimed.launch_angle[0])) == pytest.approx(distance, abs=1e-4)


@pytest.mark.parametrize("slope", [45.0, 0.0, -45.0])
def test_a_long_table_beyond_reach_costs_a_few_searches_not_one_a_row(slope, monkeypatch):
    stepped = []
    original = reach.range_of_angle
    monkeypatch.setattr(
        reach, "range_of_angle", lambda *given: stepped.append(1) or original(*given)
    )
    with pytest.raises(BeyondReach) as refused:
        mark_table(shot(57.0, 0.020, 0.0055, 2.0, slope), SIGHT, np.arange(5.0, 1000.0))
    assert len(stepped) <= 40
    # Every row beyond the farthest distance is named, and no other.
    beyond = np.flatnonzero(np.arange(5.0, 1000.0) > refused.value.farthest)
    assert refused.value.lanes == tuple(beyond)


def test_an_arrow_that_drag_stops_is_refused_with_its_reach():
    with pytest.raises(BeyondReach) as refused:
        mark_table(shot(84.0, 0.001, 0.020, 20.0, 0.0), SIGHT, np.array([5.0]))
    # Drag area 20 * pi/4 * 0.02^2: the speed falls by a factor e every 0.26 m.
    assert 1.0 < refused.value.farthest < 3.0


def test_the_highest_point_of_a_path_that_only_falls_is_its_start():
    path = trajectory(shot(142.0, 0.020, 0.008, 2.6, 0.0), launch_angle=np.radians(-27), end=23.0)
    assert path.apex_height == path.height[0] == path.height.max()
    assert path.apex_distance == path.distance[0]


def test_the_apex_of_a_long_arc_under_strong_drag():
    one = shot(60.0, 0.010, 0.009, 2.5, 0.0)
    path = trajectory(one, launch_angle=np.radians(42), samples=4001)
    top = int(path.height.argmax())
    assert path.apex_height == pytest.approx(path.height[top], abs=1e-4)
    assert path.apex_distance == pytest.approx(path.distance[top], abs=0.05)
    assert path.apex_height >= path.height.max() - 1e-9


def test_a_lane_that_is_done_early_is_not_lost_while_others_go_on():
    # It stopped moving at all, and zero over zero once made its error NaN.
    one = shot(91.0, 0.026, 0.0057, 2.95, 38.0).with_(wind_speed=26.2, wind_from=6.0)
    distances = np.arange(10.0, 168.0)
    aimed = aim(one, distances)
    assert np.all(aimed.points[:100] > 0)
    alone = aim(one, distances[5:6])
    assert aimed.launch_angle[5] == pytest.approx(alone.launch_angle[0], abs=1e-9)


def test_a_reach_without_bound_is_the_farthest_found():
    """Before a wind of 36 m/s down a slope of 60 degrees a falling arrow flies flatter than the
    line of sight: loosed high enough it never comes down to it. Once the reach was NaN."""
    windy = shot(84.0, 0.0246, 0.0058, 1.9, -60.0).with_(wind_speed=36.0, wind_from=np.pi)
    found = reach.reach(windy)
    assert found.distance[0] > 2000.0
    angle = float(found.launch_angle[0])
    assert range_of_angle(windy, angle) == pytest.approx(found.distance[0], rel=0.02)
    assert np.isnan(range_of_angle(windy, angle + 0.1))
