"""Slopes, winds and changes of set-up against the independent integrator, for every drag law.

ARROWLOFT_SWEEP=200 in the environment runs that many random set-ups a law instead of a few.
"""

import os

import numpy as np
import pytest

from arrowloft.core.flight.aim import TOLERANCE, aim
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.setup_change import setup_change
from arrowloft.core.sight.sight import Sight
from arrowloft.core.sight.slopes import slope_table
from arrowloft.core.sight.wind_table import wind_table
from arrowloft.plugin import Registry, guarded_kinks, guarded_law

CLOSE = 1e-5
"""Greatest error of an impact, m."""

CASES = int(os.environ.get("ARROWLOFT_SWEEP", "3"))

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
ARROW = Arrow(mass=0.0226, shaft_diameter=0.0057, length=0.72, balance_point=0.41)

FLOOR = 1e-10
"""What the oracle itself may miss by, m; over the distance, in an angle, rad."""

every_law = pytest.mark.parametrize("name", Registry.discover().names("drag"))


def random_shot(name, rng):
    registry = Registry.discover()
    model = registry.build("drag", name, registry.get("drag", name).example)
    return Shot(
        drag=guarded_law(model),
        kinks=guarded_kinks(model),
        arrow=ARROW,
        air=AIR,
        launch_speed=float(rng.uniform(50.0, 100.0)),
        peep_height=float(rng.uniform(0.0, 0.15)),
        launch_forward=float(rng.uniform(0.0, 1.0)),
        tip_lead=float(rng.uniform(0.0, 0.4)),
        wind_speed=float(rng.uniform(0.0, 8.0)),
        wind_from=float(rng.uniform(0.0, 6.28)),
    )


def height(independent, shot, angle, distance):
    return independent.fly(shot, float(angle), float(distance)).tip[1]


@every_law
def test_slopes(independent, name):
    """Its mark hits; the level's marks, found by the oracle itself, miss as said."""
    rng = np.random.default_rng(41)
    for _ in range(CASES):
        shot = random_shot(name, rng)
        distances = rng.uniform([15.0, 50.0], [30.0, 90.0])
        table = slope_table(shot, distances, np.radians(rng.uniform([-60.0, 5.0], [-5.0, 60.0])))
        for row in range(4):
            distance, slope = float(table.distance[row]), float(table.slope[row])
            hill = shot.with_(slope=slope)
            flown = independent.fly(hill, float(table.launch_angle[row]), distance)
            assert flown.tip[1] == pytest.approx(0.0, abs=CLOSE)
            assert flown.tip[2] == pytest.approx(table.drift[row], abs=CLOSE)
            for found, at in (
                (table.horizontal_up, distance * np.cos(slope)),
                (table.slant_up, distance),
            ):
                mark = independent.aim(shot, at).angle
                expected = height(independent, hill, mark, distance)
                assert found[row] == pytest.approx(expected, abs=CLOSE)
            if np.isfinite(table.level_distance[row]):
                same = height(independent, shot, table.launch_angle[row], table.level_distance[row])
                assert same == pytest.approx(0.0, abs=CLOSE)
            assert table.position_error < 1e-6 and table.error < 1e-7


@every_law
def test_winds(independent, name):
    """Still-air marks, found by the oracle, miss as said; the changes bring the tip back."""
    rng = np.random.default_rng(43)
    for _ in range(CASES):
        shot = random_shot(name, rng).with_(
            slope=float(np.radians(rng.uniform(-45.0, 45.0))), wind_speed=0.0
        )
        distances = rng.uniform([3.0, 50.0], [30.0, 90.0])
        winds = rng.uniform(0.5, 15.0, 1), rng.uniform(0.0, 6.28, 2)
        table = wind_table(shot, distances, *winds)
        for row in range(4):
            distance = float(table.distance[row])
            windy = shot.with_(
                wind_speed=float(table.wind_speed[row]), wind_from=float(table.wind_from[row])
            )
            still = independent.aim(shot, distance).angle
            flown = independent.fly(windy, still, distance)
            assert flown.tip[1:] == pytest.approx((table.up[row], table.drift[row]), abs=CLOSE)
            assert flown.time == pytest.approx(table.time[row], abs=1e-7)
            angle = still + float(table.launch_angle_change[row])
            back = independent.fly(windy, angle, distance, float(table.windage_angle[row]))
            assert back.tip[1:] == pytest.approx((0.0, 0.0), abs=CLOSE)
        assert table.position_error < 1e-6 and table.error < 1e-7


# --- the estimates must cover the errors ------------------------------------------------------


def hidden(shot):
    """The same law, but where it bends is not told."""
    return shot.with_(kinks=None)


@every_law
@pytest.mark.parametrize("tell", [Shot.with_, hidden], ids=["kinks told", "hidden"])
def test_the_errors_said_of_slopes_cover_the_misses(independent, name, tell):
    """The level marks' own error, at most TOLERANCE, comes in by the distance."""
    rng = np.random.default_rng(47)
    shot = tell(random_shot(name, rng))
    distance, slope = float(rng.uniform(20.0, 90.0)), float(np.radians(rng.uniform(-60.0, 60.0)))
    table = slope_table(shot, np.array([distance]), np.array([slope]))
    hill = shot.with_(slope=slope)
    assert table.error > 0.0 and table.position_error > 0.0
    missed = abs(independent.aim(hill, distance).angle - table.launch_angle[0])
    assert missed <= table.error + FLOOR / distance
    for found, at in (
        (table.horizontal_up, distance * np.cos(slope)),
        (table.slant_up, distance),
    ):
        expected = height(independent, hill, independent.aim(shot, at).angle, distance)
        assert abs(found[0] - expected) <= table.position_error + TOLERANCE * distance + FLOOR


@every_law
@pytest.mark.parametrize("tell", [Shot.with_, hidden], ids=["kinks told", "hidden"])
def test_the_errors_said_of_winds_cover_the_misses(independent, name, tell):
    rng = np.random.default_rng(53)
    shot = tell(random_shot(name, rng)).with_(slope=float(rng.uniform(-0.7, 0.7)), wind_speed=0.0)
    distance, speed, comes_from = rng.uniform([20.0, 1.0, 0.0], [90.0, 12.0, 6.28])
    table = wind_table(shot, np.array([distance]), np.array([speed]), np.array([comes_from]))
    assert table.error > 0.0 and table.position_error > 0.0
    windy = shot.with_(wind_speed=float(speed), wind_from=float(comes_from))
    still = float(aim(shot, distance).launch_angle[0])
    flown = independent.fly(windy, still, distance)
    missed = np.hypot(flown.tip[1] - table.up[0], flown.tip[2] - table.drift[0])
    assert missed <= table.position_error + FLOOR
    assert abs(independent.aim(shot, distance).angle - still) <= table.error + FLOOR / distance
    angle, yaw = still + table.launch_angle_change[0], float(table.windage_angle[0])
    back = independent.fly(windy, angle, distance, yaw)
    # An angle moves the tip by no more than about the distance for each radian.
    assert np.hypot(*back.tip[1:]) <= 2.0 * table.error * distance + FLOOR


@every_law
@pytest.mark.parametrize("tell", [Shot.with_, hidden], ids=["kinks told", "hidden"])
def test_the_errors_said_of_a_change_of_set_up_cover_the_misses(independent, name, tell):
    rng = np.random.default_rng(59)
    first, second = (tell(random_shot(name, rng)) for _ in range(2))
    distance = float(rng.uniform(20.0, 90.0))
    sight = Sight(radius=0.86, zero_distance=20.0)
    found = setup_change(first, second, sight, np.array([distance]))
    assert found.error > 0.0 and found.position_error > 0.0
    flown = independent.fly(second, float(found.held_angle[0]), distance)
    missed = np.hypot(flown.tip[1] - found.up[0], flown.tip[2] - found.right[0])
    assert missed <= found.position_error + FLOOR
    for shot, angle in ((first, found.launch_angle), (second, found.new_launch_angle)):
        missed = abs(independent.aim(shot, distance).angle - angle[0])
        assert missed <= found.error + FLOOR / distance
