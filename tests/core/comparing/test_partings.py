"""Where set-ups part: in closed form without drag, and the same however it is found."""

import numpy as np
import pytest
from reference_setups import AIR, G, coefficient, in_vacuum, recurve
from scipy.optimize import brentq

from arrowloft.core.comparing.partings import (
    parting_aside,
    parting_by_height,
    parting_by_travel,
)
from arrowloft.core.comparing.setups import Setups
from arrowloft.core.comparing.side_by_side import side_by_side
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.laws import LawsByLane
from arrowloft.core.sight.sight import Sight

ROWS = np.linspace(10.0, 90.0, 9)
SPEEDS = np.array([55.0, 55.5, 60.0, 50.0])
SIGHT = Sight(radius=0.85, zero_distance=20.0)


def without_drag(speeds=SPEEDS, kinks=()):
    drag = LawsByLane((coefficient(0.0),), np.zeros(speeds.size, dtype=np.intp))
    return Setups.of(in_vacuum(drag=drag, launch_speed=speeds), [kinks])


def parted_at(tolerance, speed, base=55.0):
    """The impact is x tan(a) (1 - v1^2/v2^2) off, and x tan(a) = (v1^2/g)(1 - cos 2a)."""
    share = abs(tolerance / (1.0 - (base / speed) ** 2)) * G / base**2
    return base**2 / G * np.sqrt(2.0 * share - share**2)


@pytest.mark.parametrize("kinks", [(), None])
@pytest.mark.parametrize("rows", [ROWS, ROWS[[0, 8]], np.linspace(10.0, 90.0, 81)])
def test_height_in_closed_form(rows, kinks):
    found = parting_by_height(side_by_side(without_drag(kinks=kinks), rows).aimed, 0.05)
    for one in (1, 2, 3):
        assert found.distance[one] == pytest.approx(parted_at(0.05, SPEEDS[one]), rel=2e-6)
    assert found.difference[1:] == pytest.approx([0.05, 0.05, -0.05], abs=1e-8)
    assert np.isnan(found.distance[0]) and np.isnan(found.difference[0])


def test_reynolds_numbers_there():
    """Without drag an arrow comes down to the line of sight as fast as it left."""
    found = parting_by_height(side_by_side(without_drag(), ROWS).aimed, 0.05)
    per_speed = AIR.density * 0.0055 / AIR.viscosity
    for numbers in (found.reynolds_at_launch, found.reynolds_at_arrival):
        assert numbers[1:] == pytest.approx(SPEEDS[1:] * per_speed, rel=1e-9)
    for numbers in (found.baseline_at_launch, found.baseline_at_arrival):
        assert numbers[1:] == pytest.approx(np.full(3, 55.0 * per_speed), rel=1e-9)


def test_travel_in_closed_form():
    """Each counts from its own zero mark: the tangents of half asin(g x / v^2) less that."""

    def travel(x, speed):
        tangent = [np.tan(0.5 * np.arcsin(G * at / speed**2)) for at in (x, 20.0)]
        return 0.85 * (tangent[0] - tangent[1])

    found = parting_by_travel(side_by_side(without_drag(), ROWS[1:], sight=SIGHT).aimed, 2e-3)
    for one in (2, 3):
        expected = brentq(
            lambda x, v=SPEEDS[one]: abs(travel(x, v) - travel(x, 55.0)) - 2e-3, 20.0, 90.0
        )
        assert found.distance[one] == pytest.approx(expected, rel=1e-8)
    assert np.isnan(found.distance[1])  # half a m/s makes less than 2 mm by 90 m
    assert found.difference[2] == pytest.approx(-2e-3) and found.difference[3] > 0.0


def test_travel_needs_a_sight():
    with pytest.raises(ValueError, match="sight"):
        parting_by_travel(side_by_side(without_drag(), ROWS).aimed, 1e-3)


def test_never_and_from_the_nearest_on():
    aimed = side_by_side(without_drag(), ROWS).aimed
    assert np.isnan(parting_by_height(aimed, 100.0).distance).all()
    at_once = parting_by_height(aimed, 1e-6)
    assert at_once.distance[1:].tolist() == [10.0] * 3
    assert at_once.difference[2] == pytest.approx(aimed.hits.up[2, 0], abs=1e-9)


def test_at_one_distance():
    aimed = side_by_side(without_drag(), np.array([50.0]), sight=SIGHT).aimed
    found = parting_by_height(aimed, 0.2)
    assert np.isnan(found.distance[1]) and found.distance[2:].tolist() == [50.0, 50.0]
    assert found.difference[2:] == pytest.approx(aimed.hits.up[2:, 0])
    assert np.isnan(parting_by_travel(aimed, 1.0).distance).all()


def test_the_first_of_several_crossings_is_told():
    """More speed with more drag: too high at first, level again, too low at last."""
    laws = (coefficient(1.0), coefficient(4.0))
    setups = Setups.of(
        recurve(launch_speed=np.array([57.0, 58.4]), drag=LawsByLane.repeated(laws, 1)), [(), ()]
    )
    far = np.linspace(8.0, 90.0, 30)
    table = side_by_side(setups, far)
    peak = int(np.argmax(table.up[1]))
    assert 0 < peak < 29 and table.up[1, peak] > 0.01 and table.up[1, -1] < -0.3
    first = parting_by_height(table.aimed, 0.01)
    assert first.distance[1] < far[peak] and first.difference[1] == pytest.approx(0.01)
    later = parting_by_height(table.aimed, 0.1)
    assert later.distance[1] > far[peak] and later.difference[1] == pytest.approx(-0.1)


def kinked(flow, arrow):
    reynolds = flow.reynolds(arrow.shaft_diameter)
    return (1.5 + 4e-4 * np.maximum(reynolds - 2.0e4, 0.0)) * cross_section(arrow)


def test_kinked_laws_are_solved_to_the_same_tolerance():
    """The difference there, from a table of that distance alone, is the tolerance."""
    laws, kinks = (coefficient(1.5), kinked, coefficient(1.6)), ((), (2.0e4,), ())
    setups = Setups.of(recurve(drag=LawsByLane.repeated(laws, 1)), kinks)
    for baseline in (0, 1):
        table = side_by_side(setups, ROWS, baseline=baseline, sight=SIGHT)
        assert not table.aimed.hits.read[1]
        for sought, of in ((parting_by_height, "up"), (parting_by_travel, "travel_difference")):
            found = sought(table.aimed, 1e-3)
            other = 1 - baseline
            assert 10.0 < found.distance[other] < 90.0
            there = side_by_side(setups, found.distance[[other]], baseline=baseline, sight=SIGHT)
            assert abs(getattr(there, of)[other, 0]) == pytest.approx(1e-3, abs=1e-6)
            assert found.reynolds_at_arrival[other] == pytest.approx(
                there.reynolds_at_arrival[other, 0], rel=1e-6
            )


def test_looked_for_within_the_reach_only():
    setups = Setups.of(
        recurve(drag=LawsByLane.repeated((coefficient(1.5), coefficient(20.0)), 1)), [(), ()]
    )
    table = side_by_side(setups, np.linspace(30.0, 160.0, 14), sight=SIGHT)
    height = parting_by_height(table.aimed, 20.0)
    assert 30.0 < height.distance[1] < table.farthest[1]
    assert height.difference[1] == pytest.approx(-20.0, abs=1e-6)
    assert np.isnan(parting_by_travel(table.aimed, 10.0).distance[1])
    beyond = side_by_side(setups, np.linspace(150.0, 170.0, 3))
    assert np.isnan(parting_by_height(beyond.aimed, 0.01).distance[1])


@pytest.mark.parametrize("law", [coefficient(1.9), kinked])
def test_aside_in_a_cross_wind(law):
    """Nearly equal in height, apart in the wind; the difference there is the tolerance."""
    changes = {"wind_speed": 8.0, "wind_from": 0.5 * np.pi, "launch_speed": np.array([57.0, 57.4])}
    kinks = [(), (2.0e4,) if law is kinked else ()]
    setups = Setups.of(
        recurve(drag=LawsByLane.repeated((coefficient(1.5), law), 1), **changes), kinks
    )
    table = side_by_side(setups, ROWS)
    assert table.aimed.hits.read[1] == (law is not kinked)
    found = parting_aside(table.aimed, 0.02)
    assert 10.0 < found.distance[1] < 90.0
    assert found.difference[1] == pytest.approx(-0.02, abs=1e-6)
    there = side_by_side(setups, found.distance[[1]])
    assert there.right[1, 0] == pytest.approx(-0.02, abs=3e-6)
    known = parting_aside(there.aimed, 0.01)
    assert known.distance[1] == there.distance[0]
    assert np.isnan(parting_aside(side_by_side(without_drag(), ROWS).aimed, 1e-5).distance).all()
