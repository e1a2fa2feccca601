"""Equations of motion: balances of energy and momentum, symmetries, closed forms."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference_setups import AIR, coefficient
from rigid_setups import SMALL, heavy, light, released
from scipy.integrate import solve_ivp

from arrowloft.core.rigid.motion import RigidMotion, attitude, cross, dot
from arrowloft.core.setup.flow import cross_section

SPINNING = replace(SMALL, offset=np.radians(2.0))
ROUGH = {"pitch": 0.05, "yaw": -0.08, "pitch_rate": 1.5, "yaw_rate": 2.0, "spin": 80.0}


def follow(motion, start, times):
    """States (12, times) of one lane, by another of SciPy's integrators than the core's."""
    flown = solve_ivp(
        lambda _, y: motion.rates(y[:, None])[:, 0],
        (0.0, times[-1]),
        start[:, 0],
        "LSODA",
        t_eval=times,
        rtol=1e-10,
        atol=1e-12,
    )
    assert flown.success
    return flown.y


def turning(motion, state):
    """Turning rate (3, ...), rad/s."""
    axis, momentum = state[6:9], state[9:]
    return momentum - dot(axis, momentum) * axis + motion.spin(state) * axis


def energy(motion, state):
    """Kinetic energy of flight and of turning, and potential energy, J."""
    body = motion.rigid.body
    across = turning(motion, state) - motion.spin(state) * state[6:9]
    turned = body.transverse_inertia * dot(across, across)
    turned += body.axial_inertia * motion.spin(state) ** 2
    height = -(motion.gravity * state[:3]).sum(axis=0)
    return 0.5 * body.mass * dot(state[3:6], state[3:6]) + 0.5 * turned + body.mass * height


def test_in_a_vacuum_energy_and_angular_momentum_stay_and_the_axis_precesses() -> None:
    """Torque-free symmetric body (derived): the axis circles the angular momentum H at |H| / I."""
    rigid = light(SPINNING, air=replace(AIR, density=0.0))
    # A stout body's axis circles widely.
    rigid = replace(rigid, body=replace(rigid.body, axial_inertia=6e-4))
    motion = RigidMotion(rigid)
    times = np.linspace(0.0, 1.2, 40)
    start = motion.start(released(**ROUGH), np.array([0.1]))
    state = follow(motion, start, times)
    assert energy(motion, state) == pytest.approx(np.full(40, energy(motion, start)[0]), rel=1e-9)
    assert state[9:] == pytest.approx(np.repeat(start[9:], 40, axis=1), rel=1e-12)
    momentum = start[9:, 0]
    rate = np.linalg.norm(momentum)
    pole = momentum / rate
    axis = start[6:9, 0]
    along = (axis @ pole) * pole
    aside = axis - along
    expected = (
        along[:, None]
        + np.outer(aside, np.cos(rate * times))
        + np.outer(np.cross(pole, aside), np.sin(rate * times))
    )
    assert rate * 1.2 > 20.0 and np.linalg.norm(aside) > 0.04
    assert state[6:9] == pytest.approx(expected, abs=1e-7)
    assert motion.spin(state) == pytest.approx(np.full(40, 80.0))


@pytest.mark.parametrize("wind", [0.0, 6.0])
def test_the_air_s_power_is_what_the_energy_changes_by(wind) -> None:
    """d(kinetic + potential)/dt = F . v + M . w, along the flight."""
    motion = RigidMotion(light(SPINNING, wind_speed=wind, wind_from=1.0))
    grid = np.linspace(0.0, 0.9, 1801)
    state = follow(motion, motion.start(released(**ROUGH), np.array([0.06])), grid)
    loads = motion.loads(state)
    power = dot(loads.force, state[3:6]) + dot(loads.moment, turning(motion, state))
    # Simpson's sums over every second point.
    thirds = (grid[1] - grid[0]) / 3.0 * (power[:-2:2] + 4.0 * power[1:-1:2] + power[2::2])
    work = np.concatenate(([0.0], np.cumsum(thirds)))
    have = energy(motion, state)[::2]
    assert have - have[0] == pytest.approx(work, abs=1e-7 * have[0])
    assert (have[0] - have[-1]) / have[0] > 0.05


def test_the_air_only_takes_from_an_arrow_that_no_vane_spins() -> None:
    """Seen from the air, forces and moments brake every motion: power is never positive."""
    motion = RigidMotion(heavy())
    rng = np.random.default_rng(1)
    start = motion.start(
        released(pitch=rng.uniform(-0.5, 0.5, 300), yaw=rng.uniform(-0.5, 0.5, 300)), np.zeros(300)
    )
    start[9:] += rng.normal(0.0, 5.0, (3, 300))
    loads = motion.loads(start)
    power = dot(loads.force, start[3:6]) + dot(loads.moment, turning(motion, start))
    assert (power < 0.0).all()


@pytest.mark.parametrize("degrees", [0.5, 5.0, 30.0])
def test_a_held_arrow_is_pushed_as_the_coefficients_say(degrees) -> None:
    """No turning: normal force q A C_N, moment that times the static margin, axial force along."""
    rigid = heavy()
    motion, angle = RigidMotion(rigid), np.radians([degrees])
    state = motion.start(released(yaw=angle[0]), np.zeros(1))
    loads = motion.loads(state)
    push = 0.5 * 1.225 * 85.0**2 * rigid.air.cross_section
    normal = push * rigid.air.normal_force(angle)[0]
    square = np.array([-np.sin(angle[0]), 0.0, np.cos(angle[0])])  # to the axis, to the right
    drag = push * 1.6 * -np.array([np.cos(angle[0]), 0.0, np.sin(angle[0])])
    assert loads.force[:, 0] == pytest.approx(normal * square + drag, rel=1e-9, abs=1e-12)
    margin = rigid.air.static_margin(angle)[0]
    # The air pushes the tail to the right, which turns the tip to the left: about up.
    assert loads.moment[:, 0] == pytest.approx([0.0, normal * margin, 0.0], rel=1e-9, abs=1e-12)
    assert loads.incidence == pytest.approx(angle)


def test_a_turning_arrow_is_braked_by_each_part_s_own_speed() -> None:
    """No slip at the balance point: moment k V C2 w, and the shaft's by the cube of its ends."""
    rigid = light()
    motion, rate = RigidMotion(rigid), 3.0
    loads = motion.loads(motion.start(released(pitch_rate=rate), np.zeros(1)))
    half, air = 0.5 * 1.225, rigid.air
    vanes = half * air.cross_section * 57.0 * (air.stations.slope @ air.stations.arm**2) * rate
    # Integral of |x|^3 over the shaft, by its ends.
    ends = (air.rear**4 + air.front**4) / 4.0
    shaft = half * 1.1 * 0.0055 * ends * rate**2
    assert loads.moment[:, 0] == pytest.approx([0.0, 0.0, -vanes - shaft], rel=2e-3, abs=1e-15)


def test_spin_comes_to_its_closed_form() -> None:
    """p = p1 + (p0 - p1) exp(-t / T), T = I_a / (rho / 2 V slope r2), at constant speed."""
    rigid = light(SPINNING, drag=coefficient(0.0), gravity=0.0)
    motion = RigidMotion(rigid)
    times = np.linspace(0.0, 1.5, 30)
    state = follow(motion, motion.start(released(spin=-50.0), np.zeros(1)), times)
    rolling = rigid.air.rolling
    terminal = rolling.spin_per_speed() * 57.0
    rate = 0.5 * 1.225 * 57.0 * rolling.slope * rolling.second / rigid.body.axial_inertia
    expected = terminal + (-50.0 - terminal) * np.exp(-rate * times)
    assert motion.spin(state) == pytest.approx(expected, rel=1e-6)
    assert terminal > 200.0 and rate * 1.5 > 4.0


@settings(max_examples=20, deadline=None)
@given(
    pitch=st.floats(-0.3, 0.3),
    yaw=st.floats(-0.3, 0.3),
    spin=st.floats(-300.0, 300.0),
    blows_from=st.floats(-3.0, 3.0),
)
def test_left_mirrors_right(pitch, yaw, spin, blows_from) -> None:
    """Wind, yaw, offset and spin mirrored, all is mirrored but what is mirrored is no different."""
    release = {"pitch": pitch, "pitch_rate": 2.0}
    sides = []
    for sign in (1.0, -1.0):
        vanes = replace(SMALL, offset=sign * 0.03)
        motion = RigidMotion(light(vanes, wind_speed=5.0, wind_from=sign * blows_from))
        start = motion.start(
            released(**release, yaw=sign * yaw, yaw_rate=sign * 1.5, spin=sign * spin),
            np.array([0.05]),
        )
        sides.append((start, motion.rates(start)))
    # Polar vectors turn their right, the axial one its other two.
    mirror = np.array([1, 1, -1] * 3 + [-1, -1, 1])[:, None]
    for one, other in zip(*sides, strict=True):
        assert one == pytest.approx(mirror * other, rel=1e-12, abs=1e-12)


def test_without_gravity_no_plane_is_better_than_another() -> None:
    """Pitch or yaw, or both: the same swing turned about the line."""
    motion = RigidMotion(light(gravity=0.0))
    times, angle = np.linspace(0.0, 0.5, 11), 0.7
    swings = []
    for pitch, yaw in ((1.0, 0.0), (0.0, 1.0), (np.sin(angle), np.cos(angle))):
        rates = {"pitch_rate": 2.0 * pitch, "yaw_rate": 2.0 * yaw}
        start = motion.start(released(**rates), np.zeros(1))
        swings.append(follow(motion, start, times))
    up, right, both = swings
    assert up[1] == pytest.approx(right[2], abs=1e-9) and abs(up[1]).max() > 0.01
    assert both[1] == pytest.approx(np.sin(angle) * up[1], abs=1e-9)
    assert both[2] == pytest.approx(np.cos(angle) * up[1], abs=1e-9)


def test_a_release_is_what_it_says() -> None:
    """Tip up and right, rates that bring it there, along the arrow's own line."""
    motion, line = RigidMotion(light(launch_forward=0.9, peep_height=0.1)), 0.2
    asked = {"pitch": 0.03, "yaw": 0.02, "pitch_rate": 0.5, "yaw_rate": -0.3, "spin": 40.0}
    state = motion.start(released(**asked), np.array([line]))
    pitch, yaw, angle = attitude(state[3:6], state[6:9])
    assert (pitch[0], yaw[0]) == pytest.approx((0.03, 0.02), rel=1e-3)
    assert np.cos(angle[0]) == pytest.approx(np.cos(0.03) * np.cos(0.02))
    assert state[3:6, 0] == pytest.approx(57.0 * np.array([np.cos(line), np.sin(line), 0.0]))
    assert state[:2, 0] == pytest.approx(
        [0.9 * np.cos(line) + 0.1 * np.sin(line), 0.9 * np.sin(line) - 0.1 * np.cos(line)]
    )
    assert motion.spin(state)[0] == pytest.approx(40.0)
    later = state[6:9] + 1e-6 * motion.rates(state)[6:9]
    later_pitch, later_yaw, _ = attitude(state[3:6], later)
    turned = [(later_pitch - pitch)[0] / 1e-6, (later_yaw - yaw)[0] / 1e-6]
    assert turned == pytest.approx([0.5, -0.3], rel=3e-3)


def test_attitude_is_read_off_the_motion_through_the_air() -> None:
    through = np.array([[3.0], [4.0], [0.0]])
    axis = np.array([[np.cos(1.0)], [np.sin(1.0)], [0.0]])
    pitch, yaw, angle = attitude(through, axis)
    assert (pitch[0], yaw[0]) == pytest.approx((1.0 - np.arctan2(4.0, 3.0), 0.0))
    assert angle[0] == pytest.approx(abs(pitch[0]))


def leaning(flow, arrow):
    return (2.0 + 5.0 * np.sin(flow.incidence) ** 2) * cross_section(arrow) + 0.0 * flow.airspeed


def test_a_law_s_area_is_that_of_the_force_along_the_shaft() -> None:
    """Whatever the law makes of the angle; the normal force is added, square to the shaft."""
    angle = np.radians(10.0)
    for law, axial in ((leaning, 2.0 + 5.0 * np.sin(angle) ** 2), (coefficient(2.0), 2.0)):
        rigid = light(drag=law)
        motion = RigidMotion(rigid)
        state = motion.start(released(yaw=angle), np.zeros(1))
        force = motion.loads(state).force[:, 0]
        push = 0.5 * 1.225 * 57.0**2 * rigid.air.cross_section
        assert -force @ state[6:9, 0] / push == pytest.approx(axial, rel=1e-9)
        whole = axial * np.cos(angle)
        whole += float(rigid.air.normal_force(np.array([angle]))[0]) * np.sin(angle)
        assert -force[0] / push == pytest.approx(whole, rel=1e-9)


def test_a_scaled_drag_is_a_greater_coefficient() -> None:
    state = RigidMotion(light()).start(released(yaw=0.1, pitch_rate=1.0), np.zeros(1))
    scaled = RigidMotion(light(drag_scale=1.5)).loads(state)
    greater = RigidMotion(light(drag=coefficient(3.0))).loads(state)
    assert scaled.force == pytest.approx(greater.force, rel=1e-12)
    assert not np.allclose(scaled.force, RigidMotion(light()).loads(state).force, rtol=1e-3)


def test_the_law_is_handed_the_angle_and_the_airspeed() -> None:
    seen = []

    def watching(flow, arrow):
        seen.append(flow)
        return coefficient(2.0)(flow, arrow)

    motion = RigidMotion(light(drag=watching, wind_speed=5.0, wind_from=0.0))
    seen.clear()
    loads = motion.loads(motion.start(released(yaw=[0.1, 0.3]), np.zeros(2)))
    (flow,) = seen
    assert flow.incidence == pytest.approx([0.1, 0.3])
    assert flow.airspeed == pytest.approx([62.0, 62.0])
    assert loads.incidence is flow.incidence


def test_the_vector_product() -> None:
    rng = np.random.default_rng(2)
    one, other = rng.normal(size=(2, 3, 5))
    assert cross(one, other) == pytest.approx(np.cross(one.T, other.T).T)
