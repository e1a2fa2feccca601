"""Paths side by side: parabolas without drag, and each as a trajectory has it."""

import numpy as np
import pytest
from reference_setups import G, coefficient, in_vacuum, recurve

from arrowloft.core.comparing.paths import paths
from arrowloft.core.comparing.setups import Setups
from arrowloft.core.flight.aim import TooNear, aim
from arrowloft.core.flight.trajectory import trajectory
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.laws import LawsByLane


def kinked(flow, arrow):
    reynolds = flow.reynolds(arrow.shaft_diameter)
    return (1.5 + 4e-4 * np.maximum(reynolds - 2.0e4, 0.0)) * cross_section(arrow)


def test_parabolas_without_drag():
    speeds = np.array([50.0, 60.0])
    drag = LawsByLane((coefficient(0.0),), np.zeros(2, dtype=np.intp))
    found = paths(Setups.of(in_vacuum(drag=drag, launch_speed=speeds), [()]), 70.0, 3.5)
    assert found.distance == pytest.approx(np.arange(1, 21) * 3.5)
    for one, speed in enumerate(speeds):
        angle = float(aim(in_vacuum(launch_speed=speed), 70.0).launch_angle[0])
        x = found.distance[:-1]
        expected = x * np.tan(angle) - 0.5 * G * (x / (speed * np.cos(angle))) ** 2
        assert found.height[one, :-1] == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("wind", [0.0, 5.0])
def test_each_is_its_trajectory(wind):
    """Heights of the balance point from the first step after its launch to its arrival."""
    laws, kinks = (coefficient(1.5), kinked, kinked), ((), (2.0e4,), None)
    changes = {
        "launch_forward": 0.9,
        "tip_lead": 0.35,
        "peep_height": 0.1,
        "wind_speed": wind,
        "wind_from": 1.0,
    }
    setups = Setups.of(recurve(drag=LawsByLane.repeated(laws, 1), **changes), kinks)
    found = paths(setups, 60.0, 0.4)
    for one in range(3):
        shot = recurve(drag=laws[one], kinks=kinks[one], **changes)
        flown = trajectory(shot, target=60.0, step=0.4)
        inside = np.isfinite(found.height[one])
        assert found.distance[inside] == pytest.approx(flown.distance[1:-1], abs=1e-9)
        assert found.height[one, inside] == pytest.approx(flown.height[1:-1], abs=1e-7)


def test_a_set_up_that_falls_short_has_no_path():
    laws = (coefficient(1.5), coefficient(20.0))
    found = paths(Setups.of(recurve(drag=LawsByLane.repeated(laws, 1)), [(), ()]), 150.0, 10.0)
    assert np.isfinite(found.height[0, :-1]).all() and np.isnan(found.height[1]).all()


def test_a_target_must_lie_ahead():
    setups = Setups.of(recurve(drag=LawsByLane.repeated(LAW, 1), launch_forward=1.5), [()])
    with pytest.raises(TooNear):
        paths(setups, 1.2, 0.1)


LAW = (coefficient(1.5),)
