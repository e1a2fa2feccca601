"""Flights marched in steps and fans of them: parabolas, the order of the steps, the reach."""

import numpy as np
import pytest
from reference_setups import G, coefficient, in_vacuum, recurve

from arrowloft.core.comparing.fanning import fans_of
from arrowloft.core.comparing.marching import STORED, Areas, march
from arrowloft.core.comparing.setups import Setups
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import reach
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.laws import LawsByLane

ANGLES = np.array([0.02, 0.1, 0.3])
WINDY = {"wind_speed": 9.0, "wind_from": 1.2}


def marched(shot, end, steps, angles=ANGLES):
    lanes = shot.with_(launch_speed=np.full(angles.size, shot.launch_speed))
    areas = Areas.of(lanes, np.full(angles.size, 1.3 * shot.launch_speed))
    each = np.arange(angles.size)
    return march(lanes, areas, each, angles, np.full(angles.size, end), steps)


def read(flights, distance):
    return flights.read(np.full(flights.start.size, distance), np.arange(flights.start.size))


def test_parabolas_without_drag():
    speed, distance = 57.0, 60.0
    found = read(marched(in_vacuum(launch_speed=speed), 61.0, STORED), distance)
    time = distance / (speed * np.cos(ANGLES))
    assert found[0] == pytest.approx(time, rel=1e-9)
    assert found[1] == pytest.approx(distance * np.tan(ANGLES) - 0.5 * G * time**2, abs=1e-7)
    assert found[3] == pytest.approx(speed * np.cos(ANGLES))
    assert found[4] == pytest.approx(speed * np.sin(ANGLES) - G * time)


@pytest.mark.parametrize("slope", [0.0, 0.3])
def test_each_is_the_flight_of_the_solver(slope):
    """Tip ahead of the balance point, peep over the arrow, wind from the side."""
    more = {"tip_lead": 0.4, "launch_forward": 0.7, "peep_height": 0.1, "slope": slope, **WINDY}
    shot = recurve(drag=coefficient(1.8), kinks=(), **more)
    met = impacts(shot, ANGLES, np.full(3, 60.0))
    found = read(marched(shot, 61.0, 1024), 60.0)
    for row, name in ((0, "time"), (1, "up"), (2, "right")):
        assert found[row] == pytest.approx(getattr(met, name), abs=2e-7), name


def test_an_arrow_that_turns_back_comes_nowhere():
    shot = recurve(drag=coefficient(30.0), slope=1.2)
    found = read(marched(shot, 200.0, 1024), 190.0)
    assert np.isnan(found).all()


def jagged(flow, arrow):
    """Sixty corners, as of readings in a tunnel that scatter by a tenth."""
    reynolds = flow.reynolds(arrow.shaft_diameter)
    return np.interp(reynolds, CORNERS, SCATTERED) * cross_section(arrow)


CORNERS = np.linspace(1.2e4, 2.6e4, 60)
SCATTERED = 1.8 + 0.1 * np.random.default_rng(4).standard_normal(60)


def test_half_the_step_leaves_a_quarter_of_what_kinks_do():
    heights = [
        read(marched(recurve(drag=jagged), 81.0, STORED * n), 80.0)[1] for n in (2, 4, 8, 64)
    ]
    errors = [np.abs(height - heights[-1]).max() for height in heights[:-1]]
    assert errors[0] < 2e-4 and errors[2] < 2e-5 and errors[2] < 0.2 * errors[0]


@pytest.mark.parametrize(
    "more",
    [
        {},
        {"slope": 0.35},
        {"slope": 0.35, "wind_speed": 10.0, "wind_from": 1.2},
        {"slope": -0.5, "wind_speed": 15.0, "wind_from": 0.0},
        {"slope": -0.5, "wind_speed": 8.0, "wind_from": 3.0},
    ],
)
@pytest.mark.parametrize("value", [0.5, 6.0, 20.0])
def test_the_reach_is_that_of_the_search(more, value):
    shot = recurve(drag=coefficient(value), kinks=(), **more)
    expected = float(reach(shot).distance[0])
    setups = Setups.of(shot.with_(drag=LawsByLane.repeated((shot.drag,), 1)), [()])
    distances = np.linspace(10.0, 1.3 * expected, 9)
    fans = fans_of(setups, np.array([0]), distances, 0, changes=False)
    assert fans.farthest[0] == pytest.approx(expected, abs=2e-3)
