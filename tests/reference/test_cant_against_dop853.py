"""Cant held against an independent integrator: SciPy's DOP853 at rtol 1e-12, world frame.

The bow is aimed by the core, then loosed in the oracle at that angle, level and rolled; the
oracle's own shift is the truth. ARROWLOFT_SWEEP=200 tries that many set-ups a law.
"""

import os

import numpy as np
import pytest

from arrowloft.core.flight.reach import reach
from arrowloft.core.level.cant import Allowance, cant_table
from arrowloft.core.level.spirit_level import level_table
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.shot import Shot
from arrowloft.plugin import Registry, guarded_kinks, guarded_law

EXACT = 1e-5
"""Greatest error of an impact, m, for every law; 1e-6 is usual."""

ORACLE = 1e-9
"""What the difference of two of the oracle's impacts may be wrong by, m."""

CASES = int(os.environ.get("ARROWLOFT_SWEEP", "4"))

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
ARROW = Arrow(mass=0.021, shaft_diameter=0.0055, length=0.72, balance_point=0.41)

REGISTRY = Registry.discover()


def any_shot(rng, name):
    model = REGISTRY.build("drag", name, REGISTRY.get("drag", name).example)
    return Shot(
        launch_speed=float(rng.uniform(45.0, 110.0)),
        arrow=ARROW,
        drag=guarded_law(model),
        kinks=guarded_kinks(model),
        air=AIR,
        peep_height=float(rng.uniform(0.0, 0.15)),
        launch_forward=float(rng.uniform(0.0, 1.0)),
        tip_lead=float(rng.uniform(0.0, 0.4)),
        slope=float(rng.uniform(-1.0, 1.0)),
        wind_speed=float(rng.choice([0.0, rng.uniform(0.0, 12.0)])),
        wind_from=float(rng.uniform(0.0, 2.0 * np.pi)),
    )


def true_shift(independent, shot, angle, distance, roll):
    """Right and up, m, by the oracle."""
    rolled, level = (independent.fly(shot.with_(roll=r), angle, distance).tip for r in (roll, 0.0))
    return rolled[2] - level[2], rolled[1] - level[1]


@pytest.mark.parametrize("rows", [40, 3], ids=["series over distance", "each distance"])
@pytest.mark.parametrize("name", sorted(REGISTRY.names("drag")))
def test_shifts_and_largest_cants(independent, name, rows):
    rng = np.random.default_rng([len(name), rows])
    for _ in range(CASES):
        shot = any_shot(rng, name)
        far = min(float(rng.choice([70.0, 120.0])), 0.9 * float(reach(shot).distance[0]))
        distances = np.linspace(rng.uniform(3.0, 15.0), far, rows)
        cants = np.array([rng.uniform(-np.pi / 4, np.pi / 4), np.radians(3.0)])
        allowance = Allowance(radius=float(rng.uniform(0.02, 0.3)))
        found = cant_table(shot, distances, cants, allowance)
        assert found.error < EXACT
        for row in rng.integers(0, rows, 2):
            place = float(found.rolled.launch_angle[row]), float(distances[row])
            for cant, right, up in zip(cants, found.right[row], found.up[row], strict=True):
                truth = true_shift(independent, shot, *place, cant)
                error = max(abs(truth[0] - right), abs(truth[1] - up))
                assert error < EXACT
                assert error <= found.error + ORACLE
            for side, most in ((-1, found.max_cant_left[row]), (1, found.max_cant_right[row])):
                roll = side * (np.pi / 4 if np.isnan(most) else most)
                size = np.hypot(*true_shift(independent, shot, *place, roll))
                if np.isnan(most):
                    assert size < allowance.radius + EXACT
                else:
                    assert size == pytest.approx(allowance.radius, abs=found.error + ORACLE)


def test_the_launch_angle_is_the_level_bow_s(independent):
    """What is held while the bow rolls: the oracle's own aim."""
    shot = any_shot(np.random.default_rng(3), "constant")
    distances = np.linspace(20.0, 60.0, 30)
    found = cant_table(shot, distances, np.zeros(1), Allowance(radius=0.1))
    for row in (0, 13, 29):
        aimed = independent.aim(shot, distances[row])
        assert found.rolled.launch_angle[row] == pytest.approx(aimed.angle, abs=1e-8)


def test_a_level_that_is_off(independent):
    shot = any_shot(np.random.default_rng(5), "component")
    slopes, distances = np.radians([-30.0, 15.0]), np.array([20.0, 55.0])
    found = level_table(shot, slopes, distances, np.radians(0.7), np.radians(-2.0))
    for row in range(4):
        inclined = shot.with_(slope=float(found.slope[row]))
        place = float(found.launch_angle[row]), float(found.distance[row])
        right, up = true_shift(independent, inclined, *place, float(found.false_roll[row]))
        assert found.right[row] == pytest.approx(right, abs=found.error + ORACLE)
        assert found.up[row] == pytest.approx(up, abs=found.error + ORACLE)
    assert found.error < 1e-6
