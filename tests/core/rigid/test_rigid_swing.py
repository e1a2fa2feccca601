"""Frequency and damping: linear theory in closed form, and what flown angles show."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference_setups import AIR, coefficient
from rigid_setups import LARGE, SMALL, heavy, light, released, without_cross_flow

from arrowloft.core.rigid.flown import meet
from arrowloft.core.rigid.history import close_history, measured_swing
from arrowloft.core.rigid.linear import Swing, characteristic, drag_rate, swing
from arrowloft.core.rigid.motion import RigidMotion
from arrowloft.core.rigid.oscillation import measured, needed_points, settled_at


def flown_swing(rigid, release, way=80.0):
    """The swing read off a flight without gravity, straight at the planes."""
    motion = RigidMotion(rigid)
    met, path = meet(motion, motion.start(release, np.zeros(1)), np.array([way]), keep=True)
    expected = swing(rigid, rigid.shot.launch_speed)
    return measured_swing(motion, path, float(met.time[0]), expected), expected


@pytest.mark.parametrize("make", [light, heavy])
@pytest.mark.parametrize("drag", [0.0, 2.5])
@pytest.mark.parametrize("cause", ["pitch", "yaw", "pitch_rate", "yaw_rate"])
def test_a_small_swing_flies_as_linear_theory_says(make, drag, cause) -> None:
    """Frequency and damping within 1e-4, without cross flow, gravity and spin."""
    rigid = without_cross_flow(make(drag=coefficient(drag), gravity=0.0))
    size = 2e-3 if cause in ("pitch", "yaw") else 0.03
    found, expected = flown_swing(rigid, released(**{cause: size}))
    assert found.wave == pytest.approx(expected.wave, rel=1e-4)
    assert found.decay == pytest.approx(expected.decay, rel=5e-4)
    assert found.damping_ratio == pytest.approx(expected.damping_ratio, rel=5e-4)


def test_it_does_so_in_a_bent_path_and_in_wind() -> None:
    """Gravity and wind move the rest about which it swings, and little else."""
    rigid = without_cross_flow(heavy(wind_speed=3.0, wind_from=1.2))
    found, expected = flown_swing(rigid, released(pitch=5e-3, yaw_rate=0.1), way=60.0)
    assert found.wave == pytest.approx(expected.wave, rel=2e-3)
    assert found.decay == pytest.approx(expected.decay, rel=1e-2)


def test_the_classical_forms() -> None:
    """Without drag and lift's small coupling: w^2 = rho V^2 A C_Na margin / (2 I), and the decay
    rho V A (C_Na / m + sum C x^2 / I) / 4: derived, for small angles."""
    rigid, speed = light(drag=coefficient(0.0)), 57.0
    air, body = rigid.air, rigid.body
    half = 0.5 * 1.225 * air.cross_section
    margin = float(air.static_margin(np.zeros(1))[0])
    natural = speed * np.sqrt(half * air.stations.moment(0) * margin / body.transverse_inertia)
    damping = 0.5 * speed * half
    damping *= air.stations.moment(0) / body.mass + air.stations.moment(2) / body.transverse_inertia
    found = swing(rigid, speed)
    assert found.decay * speed == pytest.approx(damping)
    assert 2.0 * np.pi * found.frequency(speed) == pytest.approx(
        np.sqrt(natural**2 - damping**2), rel=2e-3
    )
    assert found.damping_ratio == pytest.approx(damping / natural, rel=2e-3)


@pytest.mark.parametrize("make", [light, heavy])
def test_the_closed_form_is_the_eigenvalue_of_the_loads(make) -> None:
    """Roots of the characteristic equation against the Jacobian of the loads, by differences."""
    rigid = without_cross_flow(make(drag=coefficient(0.0), gravity=0.0))
    motion, speed = RigidMotion(rigid), rigid.shot.launch_speed
    base, step = motion.start(released(), np.zeros(1)), 1e-6
    rows = [4, 7, 11]  # rising velocity, rise of the axis, turning about the right

    def rates(shift):
        return motion.rates(base + shift)[rows, 0]

    jacobian = np.empty((3, 3))
    for column, row in enumerate(rows):
        shift = np.zeros((12, 1))
        shift[row] = step
        jacobian[:, column] = (rates(shift) - rates(-shift)) / (2.0 * step)
    roots = np.linalg.eigvals(jacobian)
    first, second = characteristic(rigid, speed)
    expected = np.roots([1.0, first, second]) * speed
    # The third, zero, is the freedom to fly in another direction.
    found = roots[np.argsort(np.abs(roots))]
    assert abs(found[0]) < 1e-3
    assert np.sort_complex(found[1:]) == pytest.approx(np.sort_complex(expected), rel=1e-5)


def test_magnitudes_derived_beforehand() -> None:
    """2.2 Hz (20 g, small vanes) to 4.7 Hz (26 g, large, 85 m/s), damping ratio 0.08 to 0.11,
    settled after 27 to 51 m: derived for other dimensions of arrow. Here 2.35 and 4.42 Hz, 0.078
    and 0.095, 1/e left after 49 and 32 m and a third after 54 and 35 m."""
    slow, fast = swing(light(), 57.0), swing(heavy(), 85.0)
    assert slow.frequency(57.0) == pytest.approx(2.2, rel=0.1)
    assert fast.frequency(85.0) == pytest.approx(4.7, rel=0.1)
    for found in (slow, fast):
        assert 0.95 * 0.08 < found.damping_ratio < 0.11
        assert 27.0 < found.distance_to(float(np.exp(-1.0))) < 51.0


def test_a_wide_swing_is_damped_more() -> None:
    """The shaft's cross flow grows with the angle: it brakes, and shortens the margin."""
    decays = [
        flown_swing(light(gravity=0.0), released(pitch=np.radians(angle)))[0].decay
        for angle in (0.05, 1.0, 3.0)
    ]
    expected = swing(light(), 57.0).decay
    assert decays[0] == pytest.approx(expected, rel=1e-2)
    assert decays[0] < decays[1] < decays[2]


def test_what_does_not_swing() -> None:
    thick = light(air=replace(AIR, density=1e6), drag=coefficient(0.0))
    assert swing(thick, 57.0) is None
    assert not Swing(wave=0.2, decay=-0.1).distance_to(0.5) < np.inf


def test_the_share_that_drag_takes_a_metre() -> None:
    """v' = -x v along the way: rho Cd A / (2 m)."""
    rigid = light(drag_scale=1.5)
    area = 1.5 * 2.0 * np.pi / 4 * 0.0055**2
    assert drag_rate(rigid, 57.0) == pytest.approx(1.225 * area / (2 * 0.020))


@settings(max_examples=50, deadline=None)
@given(
    wave=st.floats(0.15, 0.4),
    decay=st.floats(0.0, 0.05),
    phase=st.floats(-3.0, 3.0),
    rest=st.floats(-0.01, 0.01),
    drift=st.floats(-1e-4, 1e-4),
    guess=st.floats(0.8, 1.25),
)
def test_an_oscillation_is_read_off_exactly(wave, decay, phase, rest, drift, guess) -> None:
    expected = Swing(wave=wave * guess, decay=decay)
    way = np.linspace(0.0, 60.0, needed_points(60.0, expected))
    size = 0.02 * np.exp(-decay * way)
    pitch = size * np.cos(wave * way + phase) + rest + drift * way
    yaw = 0.4 * size * np.sin(wave * way + phase) - rest
    found = measured(way, pitch, yaw)
    assert found.wave == pytest.approx(wave, rel=1e-6)
    assert found.decay == pytest.approx(decay, abs=1e-7)


def test_what_is_too_short_or_too_calm_shows_nothing() -> None:
    expected = Swing(wave=0.25, decay=0.02)
    assert needed_points(0.7 * expected.length, expected) == 0
    way = np.linspace(0.0, 60.0, needed_points(60.0, expected))
    assert measured(way, 0.0 * way, 0.0 * way) is None
    assert measured(way[:12], np.ones(12), np.ones(12)) is None
    assert measured(way, np.exp(-0.3 * way), 0.0 * way) is None  # creeps home


def test_settled_is_for_good() -> None:
    distance = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
    angle = np.array([5.0, 1.0, 3.0, 1.0, 0.5])
    assert settled_at(distance, angle, 2.0) == pytest.approx(2.5)
    assert settled_at(distance, angle, 4.0) == pytest.approx(0.25)
    assert settled_at(distance, angle, 6.0) == 0.0
    assert settled_at(distance, angle, 0.4) is None


def test_larger_vanes_swing_faster_and_settle_sooner() -> None:
    small, large = swing(light(SMALL), 57.0), swing(light(LARGE), 57.0)
    assert large.wave > 1.2 * small.wave and large.decay > 1.2 * small.decay


def test_the_close_history_ends_where_it_is_told() -> None:
    motion = RigidMotion(light())
    start = motion.start(released(pitch=0.02), np.array([0.05]))
    met, path = meet(motion, start, np.array([30.0]), keep=True)
    found = close_history(motion, path, float(met.time[0]))
    tip = found.distance[-1] + 0.29 * met.state[6, 0]
    assert tip == pytest.approx(30.0, abs=1e-9)
    assert found.angle == pytest.approx(np.hypot(found.pitch, found.yaw), rel=1e-3)
