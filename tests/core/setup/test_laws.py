"""Several drag laws side by side answer each lane as they would alone."""

from dataclasses import replace

import numpy as np
import pytest
from reference_setups import AIR, coefficient, compound, recurve

from arrowloft.core.flight.aim import TooNear, aim
from arrowloft.core.flight.aim_each import aim_each
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import Flow, cross_section
from arrowloft.core.setup.laws import LawsByLane, alike

SPEEDS = np.linspace(40.0, 80.0, 15).reshape(3, 5)
WHICH = np.array([1, 0, 1, 0, 2])


def rising(flow, arrow):
    """A coefficient that grows with the Reynolds number, of a lane's own diameter and air."""
    return 1e-4 * flow.reynolds(arrow.shaft_diameter) * cross_section(arrow)


def kinked(flow, arrow):
    """Constant below Reynolds number 19,000 on the diameter, rising above it."""
    reynolds = flow.reynolds(arrow.shaft_diameter)
    return (1.5 + 4e-4 * np.maximum(reynolds - 1.9e4, 0.0)) * cross_section(arrow)


def tilted(flow, arrow):
    return (1.0 + flow.incidence) * cross_section(arrow) + np.zeros(flow.airspeed.shape)


def test_each_lane_is_answered_by_its_own_law_with_its_own_values():
    laws = (rising, coefficient(2.0), tilted)
    arrow = Arrow(mass=0.02, shaft_diameter=np.linspace(0.005, 0.006, 5))
    flow = Flow(SPEEDS, np.linspace(1.0, 1.3, 5), AIR.viscosity, 340.0, incidence=SPEEDS / 1e3)
    area = LawsByLane(laws, WHICH)(flow, arrow)
    for lane, law in enumerate(WHICH):
        alone = Flow(
            SPEEDS[:, [lane]], flow.density[lane], AIR.viscosity, 340.0, SPEEDS[:, [lane]] / 1e3
        )
        one = replace(arrow, shaft_diameter=arrow.shaft_diameter[lane])
        assert area[:, [lane]] == pytest.approx(laws[law](alone, one), rel=1e-15)


def test_taken_lanes_keep_their_laws():
    law = LawsByLane.repeated((coefficient(1.0), coefficient(2.0)), 2)
    arrow = Arrow(mass=0.02, shaft_diameter=0.0055)
    shot = recurve(drag=law).take(np.array([3, 0]))
    area = shot.drag(Flow(SPEEDS[:, :2], 1.2, 1.8e-5, 340.0), arrow) / cross_section(arrow)
    assert area == pytest.approx(np.tile([2.0, 1.0], (3, 1)))


def test_a_law_for_all_lanes_is_asked_once():
    asked = []

    def counting(flow, arrow):
        asked.append(flow.airspeed.shape)
        return coefficient(1.5)(flow, arrow)

    LawsByLane((rising, counting), np.ones(5, dtype=np.intp))(
        Flow(SPEEDS, 1.2, 1.8e-5, 340.0), Arrow(mass=0.02, shaft_diameter=0.0055)
    )
    assert asked == [(3, 5)]


def test_laws_of_the_same_kinks_are_grouped():
    groups = list(alike(((), (1e4,), (), None), np.array([3, 0, 1, 2, 0])))
    assert [(kinks, lanes.tolist()) for kinks, lanes in groups] == [
        ((), [1, 3, 4]),
        ((1e4,), [2]),
        (None, [0]),
    ]


def test_aimed_side_by_side_is_aimed_alone():
    laws, kinks = (coefficient(2.0), kinked, rising), ((), (1.9e4,), ())
    which = np.array([0, 1, 2, 1, 0, 2])
    distance = np.array([18.0, 70.0, 50.0, 30.0, 90.0, 25.0])
    speed = np.array([57.0, 56.0, 60.0, 58.0, 57.0, 65.0])
    together = aim_each(recurve(launch_speed=speed, drag=LawsByLane(laws, which)), distance, kinks)
    for lane, law in enumerate(which):
        alone = aim(
            recurve(launch_speed=speed[lane], drag=laws[law], kinks=kinks[law]), distance[lane]
        )
        assert together.launch_angle[lane] == pytest.approx(alone.launch_angle[0], abs=2e-10)
        assert together.speed[lane] == pytest.approx(alone.speed[0], rel=1e-9)
        assert together.error[lane] < 1e-9


def test_too_near_names_the_lane_asked_for():
    which = np.array([0, 1, 0])
    shot = compound(launch_forward=1.5, drag=LawsByLane((coefficient(1.0), kinked), which))
    with pytest.raises(TooNear) as caught:
        aim_each(shot, np.array([20.0, 20.0, 1.2]), ((), (1.9e4,)))
    assert caught.value.lanes == (2,)


def test_impacts_take_laws_by_lane():
    which = np.array([0, 1, 1])
    angle, plane = np.radians([2.0, 2.5, 3.0]), np.array([40.0, 50.0, 60.0])
    laws = (coefficient(2.0), rising)
    together = impacts(recurve(drag=LawsByLane(laws, which)), angle, plane)
    alone = [
        impacts(recurve(drag=laws[law]), angle[i], plane[i]).up[0] for i, law in enumerate(which)
    ]
    assert together.up == pytest.approx(alone, abs=1e-7)
