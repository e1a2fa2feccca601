"""Rigid flights against other formulations: body axes with a quaternion, and linear theory alone.

Nothing of the equations of motion is shared with the core: the first turns a quaternion and
keeps turning rates in the body's own axes (Euler's equations), adds up the cross flow over 2000
strips and is stepped by an implicit method; the second is one complex equation a transverse
component, stepped by another.
"""

from dataclasses import replace

import numpy as np
import pytest
from rigid_setups import SMALL, heavy, light, released, without_cross_flow
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation

from arrowloft.core.flight.aim import aim
from arrowloft.core.rigid.flown import meet
from arrowloft.core.rigid.motion import RigidMotion
from arrowloft.core.rigid.rigid_flight import POSITION_ERROR, OneRelease, rigid_flight
from arrowloft.core.setup.flow import Flow

RELEASE = {"pitch": 0.03, "yaw": -0.05, "pitch_rate": 0.6, "yaw_rate": 0.9, "spin": 60.0}
EVENLY = (np.arange(2000) + 0.5) / 1000 - 1.0, np.full(2000, 1.0 / 2000)
"""Places along the shaft, -1 to 1, and the share of it that each stands for."""
AS_THE_CORE = (lambda nodes, weights: (nodes, 0.5 * weights))(*np.polynomial.legendre.leggauss(8))


def wind_of(shot):
    """Velocity of the air: it comes from `wind_from`, clockwise from ahead as seen from above."""
    toward = shot.wind_from + np.pi
    return shot.wind_speed * np.array([np.cos(toward), 0.0, np.sin(toward)])


def body_axes(angle, release):
    """Rotation whose columns are tip, up and right of the released arrow, level line of sight."""
    line = Rotation.from_euler("z", angle)
    nose = Rotation.from_euler("y", -release["yaw"]) * Rotation.from_euler("z", release["pitch"])
    return line * nose


def body_frame_rates(rigid, strips):
    """dy/dt for place, velocity, quaternion and turning rates in the body's axes."""
    shot, body, air = rigid.shot, rigid.body, rigid.air
    rho, gravity = shot.air.density, np.array([0.0, -shot.gravity, 0.0])
    places, shares = strips
    middles = 0.5 * (air.rear + air.front) + 0.5 * places * (air.front - air.rear)
    inertia = np.array([body.axial_inertia, body.transverse_inertia, body.transverse_inertia])
    weight = 0.5 * rho * air.cross_flow * shares

    def of(_, y):
        turn = Rotation.from_quat(y[6:10])
        spinning = y[10:]
        relative = y[3:6] - wind_of(shot)
        u, v, w = turn.inv().apply(relative)
        slip = np.stack((v + spinning[2] * middles, w - spinning[1] * middles))
        strip = -weight * np.hypot(*slip) * slip
        force = np.array([0.0, strip[0].sum(), strip[1].sum()])
        moment = np.array([0.0, -(middles * strip[1]).sum(), (middles * strip[0]).sum()])
        for slope, arm in zip(air.stations.slope, air.stations.arm, strict=True):
            local = np.array([v + spinning[2] * arm, w - spinning[1] * arm])
            push = -0.5 * rho * air.cross_section * slope * u * local
            force[1:] += push
            moment[1:] += np.array([-arm * push[1], arm * push[0]])
        rolling = air.rolling
        driven = rolling.offset * u * rolling.first - spinning[0] * rolling.second
        moment[0] += 0.5 * rho * u * rolling.slope * driven
        speed = np.linalg.norm(relative)
        lean = np.arctan2(np.hypot(v, w), u)
        flow = Flow(np.array([speed]), rho, shot.air.viscosity, 340.0, lean)
        pull = 0.5 * rho * float(shot.drag(flow, shot.arrow)[0]) * speed
        force[0] -= pull * speed
        pushed = turn.apply(force)
        x, y_, z, s = y[6:10]
        p, q, r = spinning
        quaternion = 0.5 * np.array(
            [
                s * p + y_ * r - z * q,
                s * q + z * p - x * r,
                s * r + x * q - y_ * p,
                -x * p - y_ * q - z * r,
            ]
        )
        euler = (moment - np.cross(spinning, inertia * spinning)) / inertia
        return np.concatenate((y[3:6], gravity + pushed / body.mass, quaternion, euler))

    return of


def fly_body_frame(rigid, angle, distance, release, strips):
    """Time, place of the tip and airspeed where it meets the plane; level line of sight."""
    shot = rigid.shot
    turn = body_axes(angle, release)
    line = np.array([np.cos(angle), np.sin(angle), 0.0])
    up = np.array([-np.sin(angle), np.cos(angle), 0.0])
    place = shot.launch_forward * line - shot.peep_height * up
    right = np.array([0.0, 0.0, 1.0])
    rates = turn.inv().apply(release["pitch_rate"] * right - release["yaw_rate"] * up)
    rates[0] = release["spin"]
    start = np.concatenate((place, shot.launch_speed * line, turn.as_quat(), rates))

    def tip(y):
        return y[:3] + shot.tip_lead * Rotation.from_quat(y[6:10]).apply([1.0, 0.0, 0.0])

    def arrival(_, y):
        return tip(y)[0] - distance

    arrival.terminal = True
    flown = solve_ivp(
        body_frame_rates(rigid, strips),
        (0.0, 10.0),
        start,
        "LSODA",
        events=arrival,
        rtol=1e-9,
        atol=1e-11,
    )
    y = flown.y_events[0][0]
    return flown.t_events[0][0], tip(y), np.linalg.norm(y[3:6]), y[10]


@pytest.mark.parametrize(
    ("make", "wind", "strips", "near"),
    [
        (light, 0.0, EVENLY, 1e-4),
        (heavy, 4.0, EVENLY, 1e-4),
        (light, 4.0, AS_THE_CORE, POSITION_ERROR),
        (heavy, 0.0, AS_THE_CORE, POSITION_ERROR),
    ],
)
def test_against_euler_s_equations_in_body_axes(make, wind, strips, near) -> None:
    """0.1 mm at 50 m against 2000 strips along the shaft, and the error stated against eight."""
    vanes = replace(SMALL, offset=0.02)
    rigid = make(vanes, wind_speed=wind, wind_from=1.1, peep_height=0.1, launch_forward=0.8)
    target = 50.0
    found = rigid_flight(
        rigid, OneRelease(**RELEASE), target=target, distances=np.array([]), threshold=0.01
    )
    point = aim(rigid.shot, target)
    angle = float(point.launch_angle[0])
    time, tip, speed, spin = fly_body_frame(rigid, angle, target, RELEASE, strips)
    shifts = found.shifts
    assert shifts.shift_up[0] == pytest.approx(tip[1], abs=near)
    assert shifts.shift_right[0] == pytest.approx(tip[2] - point.drift[0], abs=near)
    assert max(abs(shifts.shift_up[0]), abs(shifts.shift_right[0])) > 0.05
    assert shifts.time_difference[0] + point.time[0] == pytest.approx(time, abs=0.02 * near)
    assert shifts.speed_difference[0] + point.speed[0] == pytest.approx(speed, abs=10.0 * near)
    assert found.history.spin[-1] == pytest.approx(spin, rel=near)


@pytest.mark.parametrize("spin", [0.0, 400.0])
def test_against_the_complex_linear_equation(spin) -> None:
    """a' = (1 + k C1 / m) q - (k C0 / m - x) a and q' = (k C1 / I) a - (k C2 / I - x) q + i P q.

    Small angles up + i right, a metre along the way; P = p I_a / (I V) couples them (small: here
    a hundred times the inertia about the axis makes it seen). The spin stays: no vane turns it.
    """
    rigid = without_cross_flow(light(gravity=0.0))
    body = replace(rigid.body, axial_inertia=100.0 * rigid.body.axial_inertia)
    air = replace(rigid.air, rolling=replace(rigid.air.rolling, slope=0.0))
    rigid = replace(rigid, body=body, air=air)
    half = 0.5 * rigid.shot.air.density * air.cross_section
    c0, c1, c2 = (half * air.stations.moment(n) for n in range(3))
    braking = half * 2.0 / body.mass
    ratio = body.axial_inertia / body.transverse_inertia
    release = {"pitch": 1e-3, "yaw": -2e-3, "pitch_rate": 0.02, "yaw_rate": 0.05}

    def of(s, y):
        a, q = y[:2]
        speed = 57.0 * np.exp(-braking * s)
        coupling = spin * ratio / speed
        return np.array(
            [
                (1.0 + c1 / body.mass) * q - (c0 / body.mass - braking) * a,
                c1 / body.transverse_inertia * a
                - (c2 / body.transverse_inertia - braking) * q
                + 1j * coupling * q,
                (c0 * a - c1 * q) / body.mass - braking * a,  # direction of the path
                y[2],  # and where it leads
            ]
        )

    start = [
        release["pitch"] + 1j * release["yaw"],
        (release["pitch_rate"] + 1j * release["yaw_rate"]) / 57.0,
        0.0,
        0.0,
    ]
    way = 40.0
    linear = solve_ivp(of, (0.0, way), np.array(start, dtype=complex), rtol=1e-9, atol=1e-12).y[
        :, -1
    ]
    motion = RigidMotion(rigid)
    lead = rigid.shot.tip_lead
    state = motion.start(released(**release, spin=spin), np.zeros(1))
    met, _ = meet(motion, state, np.array([way + lead]))
    found = met.state[:, 0]
    angles = found[6] ** -1 * (found[7] + 1j * found[8]) - (found[4] + 1j * found[5]) / found[3]
    assert angles == pytest.approx(linear[0], abs=2e-4 * abs(start[0]))
    assert found[1] + 1j * found[2] == pytest.approx(linear[3], rel=2e-3)
    assert motion.spin(met.state)[0] == pytest.approx(spin, abs=1e-6)


def test_the_spin_couples_up_and_right() -> None:
    """Without it a swing in the vertical plane stays there; an arrow's own spin is small."""
    rigid = without_cross_flow(heavy(gravity=0.0))
    for spin, low, high in ((0.0, 0.0, 1e-12), (300.0, 1e-5, 1e-2)):
        release = OneRelease(pitch=0.01, spin=spin)
        found = rigid_flight(rigid, release, target=40.0, distances=np.array([]), threshold=0.01)
        share = np.abs(found.history.yaw).max() / np.abs(found.history.pitch).max()
        assert low <= share <= high
