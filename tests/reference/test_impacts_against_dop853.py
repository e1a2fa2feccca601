"""Impacts held against an independent integrator: SciPy's DOP853 at rtol 1e-12, world frame.

Arrows are loosed in the oracle at the same angles; where their tips meet the plane is
compared. ARROWLOFT_SWEEP=2000 in the environment runs that many random cases a law.
"""

import os

import numpy as np
import pytest

from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.geometry import arrow_line
from arrowloft.core.flight.impacts import POOR, impacts
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.setup_change import setup_change
from arrowloft.core.sight.sight import Sight
from arrowloft.plugin import Registry, guarded_kinks, guarded_law

REQUIRED = 1e-5
"""Greatest error of an impact, m: a hundredth of a millimetre."""

FOUND = 1e-7
"""Greatest true error over some thousands of such cases is a tenth of this."""

ORACLE = 1e-10
"""What the oracle itself may be wrong by, m: tightened tenfold, it moves by less."""

CASES = int(os.environ.get("ARROWLOFT_SWEEP", "12"))

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
ARROW = Arrow(mass=0.021, shaft_diameter=0.0055, length=0.72, balance_point=0.41)

LAWS = Registry.discover().names("drag")


def shot_of(name, **changes):
    """A shot with an installed drag model and its example parameters."""
    registry = Registry.discover()
    model = registry.build("drag", name, registry.get("drag", name).example)
    values = {"launch_speed": 57.0, "peep_height": 0.115, **changes}
    return Shot(arrow=ARROW, drag=guarded_law(model), kinks=guarded_kinks(model), air=AIR, **values)


def random_shot(rng, name):
    """Slopes to 60 degrees, wind to 12 m/s, roll to 45 degrees, 40 to 120 m/s."""
    steep = rng.choice([0.0, 60.0, -60.0, rng.uniform(-60.0, 60.0)])
    return shot_of(
        name,
        launch_speed=float(rng.uniform(40.0, 120.0)),
        peep_height=float(rng.choice([0.0, rng.uniform(0.05, 0.15)])),
        launch_forward=float(rng.uniform(0.0, 1.0)),
        tip_lead=float(rng.choice([0.0, rng.uniform(-0.2, 0.4)])),
        slope=float(np.radians(steep)),
        wind_speed=float(rng.choice([0.0, rng.uniform(0.0, 12.0)])),
        wind_from=float(rng.uniform(0.0, 2.0 * np.pi)),
        roll=float(rng.choice([0.0, rng.uniform(-np.pi / 4, np.pi / 4)])),
    )


def launched_tip(independent, shot, angle, yaw):
    """The farther of the tip's places along the line of sight: on the string, and let go."""
    start = independent.start(shot, angle, yaw)
    frame = independent.axes(shot)
    line = arrow_line(np.array([angle]), yaw, shot.roll)[0][0, 0]
    held = (frame @ start[:3])[0] + shot.tip_lead * line
    return max(held, (frame @ independent.tip(shot, start))[0])


def check(independent, shot, angle, plane, yaw=0.0, required=REQUIRED):
    """One impact is the oracle's, and its estimate covers the difference."""
    found, flown = impacts(shot, angle, plane, yaw=yaw), independent.fly(shot, angle, plane, yaw)
    if flown is None:
        assert not found.arrived[0]
        return
    missed = np.hypot(found.up[0] - flown.tip[1], found.right[0] - flown.tip[2])
    assert missed <= required
    assert missed <= found.error[0] + ORACLE, "the estimate does not cover the true error"
    assert found.error[0] <= POOR, "an estimate that says nothing is no estimate"
    assert found.time[0] == pytest.approx(flown.time, rel=1e-8, abs=1e-9)
    assert found.speed[0] == pytest.approx(flown.speed, rel=1e-8)
    steep = np.arctan2(flown.velocity[1], flown.velocity[0])
    assert found.angle[0] == pytest.approx(steep, abs=1e-8)


@pytest.mark.parametrize("name", LAWS)
def test_random_shots(independent, name):
    rng = np.random.default_rng([3, LAWS.index(name)])
    for _ in range(CASES):
        shot = random_shot(rng, name)
        yaw, distance = float(rng.uniform(-0.1, 0.1)), float(rng.uniform(5.0, 120.0))
        aimed = aim(shot.with_(roll=0.0), distance)
        if not aimed.reached[0]:
            continue
        angle = float(aimed.launch_angle[0])
        nearest = launched_tip(independent, shot, angle, yaw)
        check(
            independent,
            shot,
            angle,
            float(rng.uniform(nearest + 1e-9, 1.2 * distance)),
            yaw,
            FOUND,
        )


@pytest.mark.parametrize("name", LAWS)
def test_high_arcs(independent, name):
    """Launch angles to 45 degrees: planes far below, far above, and never met."""
    rng = np.random.default_rng([4, LAWS.index(name)])
    for _ in range(CASES // 2):
        shot, angle = random_shot(rng, name), float(rng.uniform(-0.2, np.pi / 4))
        check(
            independent, shot, angle, float(rng.uniform(2.0, 250.0)), float(rng.uniform(-0.1, 0.1))
        )


@pytest.mark.parametrize("name", LAWS)
def test_weak_bows_and_strong_drag(independent, name):
    rng = np.random.default_rng([5, LAWS.index(name)])
    for _ in range(max(CASES // 4, 2)):
        shot = random_shot(rng, name).with_(
            launch_speed=float(rng.uniform(12.0, 50.0)), drag_scale=float(rng.uniform(1.0, 20.0))
        )
        check(independent, shot, float(rng.uniform(0.0, 0.5)), float(rng.uniform(2.0, 40.0)))


@pytest.mark.parametrize("name", LAWS)
def test_planes_a_hair_beyond_the_launched_tip(independent, name):
    rng = np.random.default_rng([6, LAWS.index(name)])
    for _ in range(CASES):
        shot = random_shot(rng, name).with_(wind_speed=float(rng.uniform(0.0, 12.0)))
        angle, yaw = float(rng.uniform(-0.1, 0.6)), float(rng.uniform(-0.1, 0.1))
        plane = launched_tip(independent, shot, angle, yaw) + 10.0 ** rng.uniform(-8.0, 0.0)
        if plane > 0.05:
            check(independent, shot, angle, float(plane), yaw, FOUND)


@pytest.mark.parametrize("name", LAWS)
def test_near_the_reach(independent, name):
    """Where the impact hardly rises with the angle, the angle given is flown all the same."""
    shot = shot_of(name, launch_speed=45.0, tip_lead=0.3, launch_forward=0.9)
    for angle in (0.6, 0.7, np.pi / 4):
        far = independent.fly(shot, angle).tip[0]
        for share in (0.5, 0.99, 1.0, 1.05):
            check(independent, shot, angle, share * far)


# --- a change of set-up --------------------------------------------------------------------

SIGHT = Sight(radius=0.86, zero_distance=18.0)


@pytest.mark.parametrize("second_law", LAWS)
def test_the_second_set_up_hits_where_the_oracle_says(independent, second_law):
    rng = np.random.default_rng([7, LAWS.index(second_law)])
    first = random_shot(rng, "constant").with_(roll=0.0, slope=0.1)
    second = random_shot(rng, second_law).with_(roll=0.0, slope=0.2)
    distances = np.array([10.0, 30.0, 60.0, 90.0])
    change = setup_change(first, second, SIGHT, distances)
    for row, distance in enumerate(distances):
        old, new = independent.aim(first, distance), independent.aim(second, distance)
        pin = first.peep_height - SIGHT.radius * np.tan(old.angle)
        held = np.arctan((second.peep_height - pin) / SIGHT.radius)
        hit = independent.fly(second, held, distance)
        assert change.up[row] == pytest.approx(hit.tip[1], abs=REQUIRED / 10)
        assert change.right[row] == pytest.approx(hit.tip[2], abs=REQUIRED / 10)
        new_pin = second.peep_height - SIGHT.radius * np.tan(new.angle)
        assert change.move[row] == pytest.approx(pin - new_pin, abs=1e-8)
        assert change.drift[row] == pytest.approx(old.drift, abs=1e-7)
        assert change.new_drift[row] == pytest.approx(new.drift, abs=1e-7)
        assert change.new_speed[row] == pytest.approx(new.speed, rel=1e-8)
