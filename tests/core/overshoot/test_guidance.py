"""Quoted overshoot distances, the least elevations beyond a distance, and the arcs of a scene."""

import math

import numpy as np
import pytest

from arrowloft.core.overshoot.carry import carry_at
from arrowloft.core.overshoot.guidance import QUOTED, STYLES, fitting, least_elevations
from arrowloft.core.overshoot.scene import Loose, arc
from arrowloft.core.overshoot.terrain import Terrain
from arrowloft.core.setup.air import air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.shot import Shot

AIR = air(temperature=288.15, pressure=101325.0, relative_humidity=0.5)[0]
ARROW = Arrow(mass=0.023, shaft_diameter=0.0056, length=0.72, balance_point=0.41)
YARD = 0.9144
LEVEL = Terrain.under(1.5)


def shot(area: float = 5e-5, **changes: float) -> Shot:
    """A level shot; area: constant drag area, m2."""
    members = {"launch_speed": 60.0, "peep_height": 0.0, **changes}
    return Shot(
        arrow=ARROW, air=AIR, drag=lambda flow, _: np.full_like(flow.airspeed, area), **members
    )


@pytest.mark.parametrize("target", [5.0, 60 * YARD, 60 * YARD + 1e-3, 90.0])
def test_every_target_has_one_distance_for_each_style(target: float) -> None:
    for style in STYLES:
        [one] = fitting(target, style)
        assert one.style == style
    assert [one.style for one in fitting(target)] == list(STYLES)


def test_the_two_for_fingers_meet_at_sixty_yards() -> None:
    """110 yd from the line is 50 yd behind a target at 60 yd."""
    near, far, _ = QUOTED
    assert near.distance(60 * YARD) == pytest.approx(far.distance(60 * YARD), abs=1e-9)


def test_the_least_elevation_in_a_vacuum() -> None:
    """Level with the launch, sin 2a = g R / v2."""
    ground = Terrain.under(1e-9)
    ways = np.array([100.0, 250.0, 360.0, 370.0])
    found = least_elevations(shot(0.0), ground, 0.0, math.radians(45), ways)
    expected = 0.5 * np.arcsin(9.80665 * ways[:3] / 3600)
    assert found[:3] == pytest.approx(expected, abs=3e-5)
    assert np.isnan(found[3])  # v2 / g is 367.1 m


def test_the_least_elevation_only_just_goes_beyond() -> None:
    ways = np.array([120.0, 150.0])
    ridge = Terrain.under(1.5, ((100.0, 0.0), (118.0, 6.0), (140.0, -4.0)))
    for ground in (LEVEL, ridge):
        found = least_elevations(shot(), ground, 0.0, math.radians(42), ways)
        assert (carry_at(shot(), found, ground).distance > ways).all()
        lower = np.linspace(0.0, 1.0, 400)[:, None] * (found - 5e-5)
        for way, angles in zip(ways, lower.T, strict=True):
            assert (carry_at(shot(), angles, ground).distance <= way).all()


def test_what_already_lands_beyond_needs_no_more() -> None:
    found = least_elevations(shot(), LEVEL, 0.2, 0.7, np.array([30.0]))
    assert found == pytest.approx([0.2], abs=0)
    steep = least_elevations(shot(), LEVEL, 0.9, 0.7, np.array([30.0]))
    assert steep == pytest.approx([0.9], abs=0)


@pytest.mark.parametrize("wind_from", [0.0, 2.0])
def test_an_arc_ends_where_its_arrow_lands(wind_from: float) -> None:
    windy = shot(wind_speed=6.0, wind_from=wind_from, tip_lead=0.3, launch_forward=0.8, slope=0.1)
    elevations = np.array([-0.1, 0.05, 0.4, 1.2])
    landed = carry_at(windy, elevations, LEVEL)
    for index, elevation in enumerate(elevations):
        time = float(landed.time[index])
        path = arc(windy, Loose(kind="release", elevation=elevation, high=0.0, time=time))
        assert path.distance[-1] == pytest.approx(landed.distance[index], abs=2e-3)
        assert path.right[-1] == pytest.approx(landed.right[index], abs=2e-3)
        assert path.height[-1] == pytest.approx(-1.5, abs=2e-3)
        assert (path.height[:-1] > -1.5).all()


def test_an_arrow_in_the_ground_as_it_leaves_has_an_arc_without_length() -> None:
    path = arc(shot(), Loose(kind="draw", elevation=-1.0, high=-1.0, time=0.0))
    assert np.ptp(path.distance) < 0.1 and np.ptp(path.height) < 0.1
