"""Where laws part, and by how much, against the independent integrator.

ARROWLOFT_SWEEP=50 in the environment runs that many random set-ups instead of a few.
"""

import os

import numpy as np
import pytest

from arrowloft.core.comparing.partings import parting_by_height, parting_by_travel
from arrowloft.core.comparing.paths import paths
from arrowloft.core.comparing.setups import Setups
from arrowloft.core.comparing.side_by_side import side_by_side
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.laws import LawsByLane
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.sight import Sight
from arrowloft.plugin import Registry, guarded_kinks, guarded_law

CASES = int(os.environ.get("ARROWLOFT_SWEEP", "2"))

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
ARROW = Arrow(mass=0.0226, shaft_diameter=0.0057, length=0.72, balance_point=0.41)
SIGHT = Sight(radius=0.86, zero_distance=20.0)
ROWS = np.array([20.0, 33.0, 50.0, 70.0, 85.0])

CLOSE = 1e-6
"""Greatest error of an impact, m."""


def models():
    """Every installed law: name, law, kinks."""
    registry = Registry.discover()
    for name in registry.names("drag"):
        model = registry.build("drag", name, registry.get("drag", name).example)
        yield name, guarded_law(model), guarded_kinks(model)


NAMES, LAWS, KINKS = zip(*models(), strict=True)


def random_case(rng):
    """All laws in one set-up, and each as a shot of its own."""
    shot = Shot(
        drag=LAWS[0],
        arrow=ARROW,
        air=AIR,
        launch_speed=float(rng.uniform(50.0, 85.0)),
        peep_height=float(rng.uniform(0.0, 0.15)),
        launch_forward=float(rng.uniform(0.0, 1.0)),
        tip_lead=float(rng.uniform(0.0, 0.4)),
        slope=float(rng.uniform(-0.5, 0.5)),
        wind_speed=float(rng.uniform(0.0, 6.0)),
        wind_from=float(rng.uniform(0.0, 6.28)),
    )
    setups = Setups.of(shot.with_(drag=LawsByLane.repeated(LAWS, 1)), KINKS)
    return setups, [shot.with_(drag=law) for law in LAWS]


@pytest.mark.parametrize("baseline", ["constant", "table"])
def test_impacts_with_the_baseline_s_mark(independent, baseline):
    rng = np.random.default_rng(11)
    base = NAMES.index(baseline)
    for _ in range(CASES):
        setups, shots = random_case(rng)
        found = side_by_side(setups, ROWS, baseline=base)
        for row in (1, 4):
            distance = float(ROWS[row])
            angle = independent.aim(shots[base], distance).angle
            own = independent.fly(shots[base], angle, distance)
            for one, shot in enumerate(shots):
                flown = independent.fly(shot, angle, distance)
                assert found.up[one, row] == pytest.approx(flown.tip[1], abs=CLOSE)
                aside = flown.tip[2] - own.tip[2]
                assert found.right[one, row] == pytest.approx(aside, abs=CLOSE)


CORNERS = np.linspace(1.6e4, 3.4e4, 60)
SCATTERED = 1.8 + 0.1 * np.random.default_rng(4).standard_normal(60)


def jagged(flow, arrow):
    """Sixty corners, as of readings in a tunnel that scatter by a twentieth."""
    reynolds = flow.reynolds(arrow.shaft_diameter)
    return np.interp(reynolds, CORNERS, SCATTERED) * cross_section(arrow)


def constant(flow, arrow):
    """A coefficient of 1.8."""
    return np.full(flow.airspeed.shape, 1.8 * cross_section(arrow))


def test_many_kinks_are_told_to_some_hundredths_of_a_millimetre(independent):
    rng = np.random.default_rng(15)
    setups, (shot, *_) = random_case(rng)
    drag = LawsByLane.repeated((constant, jagged), 1)
    setups = Setups.of(setups.shot.with_(drag=drag, launch_speed=70.0), [(), tuple(CORNERS)])
    found = side_by_side(setups, ROWS)
    assert not found.aimed.hits.read[1] and found.position_error < 1e-4
    flying = [shot.with_(drag=law, launch_speed=70.0) for law in (constant, jagged)]
    for row in (0, 2, 4):
        angle = float(found.launch_angle[0, row])
        own, met = (independent.fly(one, angle, float(ROWS[row])).tip for one in flying)
        assert found.up[1, row] == pytest.approx(met[1], abs=2e-5)
        assert found.right[1, row] == pytest.approx(met[2] - own[2], abs=2e-5)


@pytest.mark.parametrize("baseline", ["constant", "table"])
def test_they_part_where_the_oracle_says(independent, baseline):
    """There the difference is the tolerance; before, it has never been as much."""
    rng = np.random.default_rng(12)
    base = NAMES.index(baseline)
    for _ in range(CASES):
        setups, shots = random_case(rng)
        found = parting_by_height(side_by_side(setups, ROWS, baseline=base).aimed, 0.02)
        parted = np.flatnonzero(found.distance > ROWS[0])
        assert parted.size
        for one in parted[:3]:
            for share in (1.0, 0.95, 0.5):
                distance = ROWS[0] + share * (float(found.distance[one]) - ROWS[0])
                angle = independent.aim(shots[base], distance).angle
                up = abs(independent.fly(shots[one], angle, distance).tip[1])
                if share == 1.0:
                    assert up == pytest.approx(0.02, abs=CLOSE)
                else:
                    assert up < 0.02
            flown = independent.fly(
                shots[one],
                independent.aim(shots[one], found.distance[one]).angle,
                float(found.distance[one]),
            )
            reynolds = _reynolds(independent, shots[one], flown.velocity)
            assert found.reynolds_at_arrival[one] == pytest.approx(reynolds, rel=1e-7)


def _reynolds(independent, shot, velocity):
    """On the shaft diameter, of a velocity seen along the line of sight."""
    through = np.linalg.norm(velocity - independent.axes(shot) @ independent.wind(shot))
    return AIR.density * through * ARROW.shaft_diameter / AIR.viscosity


def test_travel_parts_where_the_oracle_says(independent):
    rng = np.random.default_rng(13)
    setups, shots = random_case(rng)
    found = parting_by_travel(side_by_side(setups, ROWS, sight=SIGHT).aimed, 1e-4)
    one = int(np.flatnonzero(found.distance > ROWS[0])[0])

    def travel(shot):
        there, zero = (
            np.tan(independent.aim(shot, at).angle) for at in (found.distance[one], 20.0)
        )
        return SIGHT.radius * (there - zero)

    assert travel(shots[one]) - travel(shots[0]) == pytest.approx(found.difference[one], abs=1e-9)
    assert abs(found.difference[one]) == pytest.approx(1e-4, rel=1e-6)


def test_paths(independent):
    """Heights of the balance point, from the oracle's steps to a plane that moves on."""
    rng = np.random.default_rng(14)
    setups, shots = random_case(rng)
    found = paths(setups, 60.0, 20.0)
    for one, shot in enumerate(shots):
        angle = independent.aim(shot, 60.0).angle
        # Without a tip ahead of it, what meets a plane is the balance point itself.
        bare = shot.with_(tip_lead=0.0)
        for point, distance in enumerate(found.distance[:2]):
            flown = independent.fly(bare, angle, float(distance))
            assert found.height[one, point] == pytest.approx(flown.tip[1], abs=CLOSE)
