"""Paths read at planes and at times: against closed forms and against the core's impacts."""

import numpy as np
import pytest
from reference_setups import AIR, G, coefficient, in_vacuum, recurve

from arrowloft.core.fitting.paths import aimed_paths, paths_of, paths_to
from arrowloft.core.flight.aim import TooNear, aim
from arrowloft.core.flight.geometry import arrow_line
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section

ONE = np.zeros(1, dtype=np.intp)


def lanes(value):
    return np.atleast_1d(np.array(value, dtype=float))


def test_planes_without_drag_are_those_of_the_parabola():
    shot = in_vacuum(peep_height=0.1, launch_forward=0.8)
    angle, distance = 0.04, np.array([5.0, 20.0, 60.0])
    paths = paths_to(shot, lanes(angle), lanes(0.0), lanes(60.0))
    drop, time, speed = paths.at_planes(np.repeat(ONE, 3), distance)
    start = 0.8 * np.cos(angle) + 0.1 * np.sin(angle)
    flown = (distance - start) / (57.0 * np.cos(angle))
    assert time == pytest.approx(flown, abs=1e-10)
    # The line of departure falls behind by gravity's fall alone.
    assert drop == pytest.approx(0.5 * G * flown**2, abs=1e-8)
    rising = 57.0 * np.sin(angle) - G * flown
    assert speed == pytest.approx(np.hypot(57.0 * np.cos(angle), rising), abs=1e-9)


def test_many_readings_are_read_as_few_are():
    """More than are taken together, of two lanes."""
    distance = np.linspace(2.0, 60.0, 700)
    which = np.repeat((0, 1), 700)
    shot = in_vacuum(launch_speed=np.array([57.0, 40.0]))
    paths = paths_to(shot, np.zeros(2), np.zeros(2), lanes((60.0, 60.0)))
    drop, time, _ = paths.at_planes(which, np.tile(distance, 2))
    flown = np.concatenate((distance / 57.0, distance / 40.0))
    assert time == pytest.approx(flown, abs=1e-10)
    assert drop == pytest.approx(0.5 * G * flown**2, abs=1e-8)


def test_places_without_drag_are_those_of_the_parabola():
    shot = in_vacuum(peep_height=0.1, launch_forward=0.8)
    angle, yaw, time = 0.04, 0.02, np.array([-0.1, 0.0, 0.3, 1.0])
    paths = paths_of(shot, lanes(angle), lanes(yaw), lanes(1.0))
    found = paths.at_times(np.repeat(ONE, 4), time, np.zeros(4, dtype=bool))
    line, up = arrow_line(lanes(angle), lanes(yaw))
    straight = (0.8 + 57.0 * time) * line - 0.1 * up
    fallen = 0.5 * G * np.maximum(time, 0.0) ** 2
    assert found == pytest.approx(straight - np.outer((0.0, 1.0, 0.0), fallen), abs=1e-9)


def test_planes_agree_with_impacts():
    """In wind, on a slope, yawed, with a tip ahead: the two routes share the forces alone."""
    shot = recurve(
        launch_speed=np.array([57.0, 90.0]),
        peep_height=0.11,
        launch_forward=0.9,
        tip_lead=0.35,
        slope=0.3,
        wind_speed=np.array([6.0, 0.0]),
        wind_from=1.0,
    )
    angle, yaw = np.array([0.03, 0.05]), np.array([0.0, -0.01])
    distance = np.array([1.0, 2.0, 15.0, 70.0])
    paths = paths_to(shot, angle, yaw, lanes((70.0, 70.0)))
    which = np.repeat((0, 1), 4)
    drop, time, speed = paths.at_planes(which, np.tile(distance, 2))
    met = impacts(shot.take(which), angle[which], np.tile(distance, 2), yaw=yaw[which])
    line, up = arrow_line(angle[which], yaw[which])
    along = (met.distance + 0.11 * up[0]) / line[0]
    assert time == pytest.approx(met.time, abs=2e-9)
    assert drop == pytest.approx(along * line[1] - 0.11 * up[1] - met.up, abs=2e-7)
    assert speed == pytest.approx(met.speed, abs=1e-7)
    assert time[0] == 0.0 and speed[0] == 57.0 and drop[0] == 0.0  # still on the string


def test_the_tip_is_where_the_air_turns_it():
    shot = recurve(tip_lead=0.4, wind_speed=5.0, wind_from=np.pi / 2)
    paths = paths_of(shot, lanes(0.05), lanes(0.0), lanes(0.5))
    twice, time = np.repeat(ONE, 2), np.full(2, 0.5)
    balance, tip = paths.at_times(twice, time, np.array([False, True])).T
    assert np.linalg.norm(tip - balance) == pytest.approx(0.4, abs=1e-12)
    assert tip[2] - balance[2] > 0.02  # into the wind from the right
    flown = paths.at_times(twice, time + np.array((-1e-5, 1e-5)), np.zeros(2, dtype=bool))
    through = (flown[:, 1] - flown[:, 0]) / 2e-5 + (0.0, 0.0, 5.0)
    assert (tip - balance) / 0.4 == pytest.approx(through / np.linalg.norm(through), abs=1e-6)


def test_aimed_paths_are_those_of_the_aim():
    shot = recurve(peep_height=0.1, tip_lead=0.3, launch_forward=0.9)
    distance = np.array([18.0, 50.0, 90.0])
    found = aimed_paths(shot.with_(launch_speed=np.full(3, 57.0)), np.zeros(3), distance)
    assert found.angles == pytest.approx(aim(shot, distance).launch_angle, abs=2e-9)


def test_what_never_comes_is_nan():
    slow = recurve(launch_speed=np.array([20.0, 57.0]), slope=0.9)
    paths = paths_to(slow, np.zeros(2), np.zeros(2), lanes((90.0, 90.0)))
    assert paths.found.tolist() == [False, True]
    met = paths.at_planes(np.array([0, 1]), lanes((90.0, 90.0)))
    assert np.isnan(met[:, 0]).all() and np.isfinite(met[:, 1]).all()
    assert np.isnan(aimed_paths(recurve(), np.zeros(1), lanes(300.0)).angles).all()
    with pytest.raises(TooNear):
        aimed_paths(recurve(launch_forward=1.0), np.zeros(1), lanes(0.9))


def test_a_kink_is_followed_closely_enough():
    """A law that doubles within the flight, against impacts, which split the flight there."""
    arrow = Arrow(mass=0.02, shaft_diameter=0.0055)
    knot = 1.225 * 0.0055 * 54.0 / AIR.viscosity

    def law(flow, _):
        reynolds = flow.reynolds(0.0055)
        steep = np.minimum(np.abs(reynolds - knot) / 2000.0, 1.0)
        return (1.3 + 1.3 * steep) * cross_section(arrow)

    shot = recurve(drag=law, kinks=(knot,))
    met = impacts(shot, lanes(0.03), lanes(60.0))
    drop, time, speed = paths_to(shot, lanes(0.03), lanes(0.0), lanes(60.0)).at_planes(
        ONE, lanes(60.0)
    )
    assert 60.0 * np.tan(0.03) - drop == pytest.approx(met.up, abs=1e-5)
    assert time == pytest.approx(met.time, abs=2e-7)
    assert speed == pytest.approx(met.speed, abs=1e-5)


def test_airspeeds_are_those_on_the_way():
    paths = paths_to(recurve(drag=coefficient(3.0)), lanes(0.0), lanes(0.0), lanes(40.0))
    least, greatest = paths.airspeeds[:, 0]
    assert greatest == pytest.approx(57.0) and 50.0 < least < 55.0


def test_a_path_is_found_as_exactly_as_is_asked():
    """A law with kinks that no polynomial follows: rough for a tenth of a millimetre."""

    def law(flow, arrow):
        return (1.0 + np.abs(np.sin(0.5 * flow.airspeed))) * cross_section(arrow)

    shot = recurve(drag=law, kinks=None)
    one = np.zeros(1)
    exact, loose = (paths_to(shot, one, one, lanes(80.0), allowed) for allowed in (1e-4, 0.1))
    assert exact.rough.tolist() == [True] and exact.found.tolist() == [False]
    assert loose.rough.tolist() == [False] and loose.found.tolist() == [True]
    # What never arrives is neither.
    never = paths_to(recurve(launch_speed=20.0, slope=0.9), one, one, lanes(90.0))
    assert not never.rough.any() and not never.found.any()
