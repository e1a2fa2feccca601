"""Equations of motion of rigid, slender, finned bodies in the line-of-sight frame.

The state of a lane is place, velocity, the axis a from nock to tip (a unit vector) and the
angular momentum over the inertia across the shaft, h, three components each. As the body is
symmetric about its axis, these say all but its roll angle, hold at every attitude, and keep
the angular momentum exactly where nothing turns the arrow:

    dx/dt = v,  m dv/dt = m g + F,  da/dt = h x a,  I dh/dt = M

with spin p = (h . a) I / I_a and turning rate w = h - (h . a) a + p a.
"""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.geometry import arrow_line, gravity_vector, wind_vector
from arrowloft.core.rigid.aerodynamics import Aerodynamics
from arrowloft.core.rigid.body import Body
from arrowloft.core.setup.flow import Flow
from arrowloft.core.setup.shot import Shot

SIZE = 12
"""Components of a lane's state."""

_STRIPS = 8
"""Gauss-Legendre points of the cross flow along the shaft: its force is a square of the local
speed; where that turns over on the shaft, eight points miss 0.4 % of it (measured)."""

SHORTEST_SPIN_UP = 1.0
"""Way over which the spin comes to its steady value at the soonest, m. Vanes so large that they
would do it sooner would cost a step every few millimetres, and change little else: a spin of
300 rad/s turns the swing by about a thousandth of a radian over that way."""


@dataclass(frozen=True, kw_only=True)
class RigidShot:
    """A shot of one lane, and what makes its arrow more than a point mass."""

    shot: Shot
    body: Body
    air: Aerodynamics


@dataclass(frozen=True, kw_only=True)
class Release:
    """How arrows leave the string, each a (lanes,) array.

    pitch, yaw: of the shaft out of the arrow's line, tip up and tip right positive, rad:
        nock low and nock left.  pitch_rate, yaw_rate: the same way, rad/s.
    spin: clockwise as the archer sees it, rad/s.
    """

    pitch: Array
    yaw: Array
    pitch_rate: Array
    yaw_rate: Array
    spin: Array


@dataclass(frozen=True)
class Loads:
    """Force (3, lanes), N, and moment about the balance point (3, lanes), N m, of the air.

    swing: velocity of the axis, da/dt, 1/s, (3, lanes).
    incidence: (lanes,), rad.  airspeed: (lanes,), m/s.
    """

    force: Array
    moment: Array
    swing: Array
    incidence: Array
    airspeed: Array


def cross(one: Array, other: Array) -> Array:
    """Vector product of vectors (3, ...); numpy's own takes five times as long."""
    a, b, c = one
    x, y, z = other
    found = np.empty_like(one)
    found[0], found[1], found[2] = b * z - c * y, c * x - a * z, a * y - b * x
    return found


def dot(one: Array, other: Array) -> Array:
    """Scalar product of vectors (3, ...)."""
    return np.asarray(np.einsum("c...,c...->...", one, other))


class RigidMotion:
    """Loads and rates of many arrows of one shot, each lane in its own state."""

    def __init__(self, rigid: RigidShot) -> None:
        self.rigid = rigid
        shot, air = rigid.shot, rigid.air
        self.gravity = np.array(gravity_vector(shot.gravity, shot.slope), dtype=float)[:, None]
        wind = wind_vector(shot.wind_speed, shot.wind_from, shot.slope)
        self.wind = np.array(wind, dtype=float)[:, None]
        half = 0.5 * float(shot.air.density)
        self.half = half
        stiffness = air.rolling.stiffness(float(shot.air.density), rigid.body.axial_inertia)
        self.roll = half * air.rolling.slope / max(1.0, SHORTEST_SPIN_UP * stiffness)
        self.linear = [half * air.cross_section * air.stations.moment(n) for n in range(3)]
        nodes, weights = np.polynomial.legendre.leggauss(_STRIPS)
        middle, reach = 0.5 * (air.rear + air.front), 0.5 * (air.front - air.rear)
        self.places = (middle + reach * nodes)[:, None]
        self.strips = half * air.cross_flow * 0.5 * weights
        self.levers = self.strips * self.places[:, 0]

    def start(self, release: Release, launch_angle: Array) -> Array:
        """States (12, lanes) of arrows that leave along lines above the line of sight, rad."""
        shot = self.rigid.shot
        line, up = arrow_line(launch_angle, 0.0, shot.roll)
        right = cross(line, up)
        place = shot.launch_forward * line - shot.peep_height * up
        rising, aside = np.sin(release.pitch), np.cos(release.pitch) * np.sin(release.yaw)
        ahead = np.cos(release.pitch) * np.cos(release.yaw)
        axis = ahead * line + rising * up + aside * right
        turning = release.pitch_rate * right - release.yaw_rate * up
        across = turning - dot(turning, axis) * axis
        share = self.rigid.body.axial_inertia / self.rigid.body.transverse_inertia
        momentum = across + share * release.spin * axis
        return np.concatenate((place, shot.launch_speed * line, axis, momentum))

    def spin(self, state: Array) -> Array:
        """Spin (lanes,), rad/s, clockwise as the archer sees it."""
        body = self.rigid.body
        return dot(state[9:], state[6:9]) * (body.transverse_inertia / body.axial_inertia)

    def incidence(self, state: Array) -> Array:
        """Angle (lanes,) between the axis and the motion through the air, rad."""
        return self._slip(state)[3]

    def _slip(self, state: Array) -> tuple[Array, Array, Array, Array]:
        """Motion through the air, its parts along the axis and across it, and its angle."""
        axis = state[6:9]
        through = state[3:6] - self.wind
        ahead = dot(through, axis)
        aside = through - ahead * axis
        return through, ahead, aside, np.arctan2(np.sqrt(dot(aside, aside)), ahead)

    def loads(self, state: Array) -> Loads:
        """What the air does to each lane in its state (12, lanes)."""
        axis, momentum = state[6:9], state[9:]
        through, ahead, aside, incidence = self._slip(state)
        airspeed = np.sqrt(dot(through, through))
        swing = cross(momentum, axis)  # how much more each metre ahead of the balance point slips
        force, torque = self._normal(ahead, aside, swing)
        force -= np.copysign(self._axial(airspeed, incidence), ahead) * axis
        moment = cross(axis, torque) + self._roll(ahead, self.spin(state)) * axis
        return Loads(force, moment, swing, incidence, airspeed)

    def rates(self, state: Array) -> Array:
        """Time derivative of states (12, lanes)."""
        loads, body = self.loads(state), self.rigid.body
        found = np.empty_like(state)
        found[:3] = state[3:6]
        found[3:6] = self.gravity + loads.force / body.mass
        found[6:9] = loads.swing
        found[9:] = loads.moment / body.transverse_inertia
        return found

    def _normal(self, ahead: Array, aside: Array, swing: Array) -> tuple[Array, Array]:
        """Normal force, and its sum times the arm: each station by its own local slip."""
        still, first, second = self.linear
        pull = -np.abs(ahead)
        force = pull * (still * aside + first * swing)
        torque = pull * (first * aside + second * swing)
        slip = aside[:, None, :] + self.places * swing[:, None, :]
        pushed = np.sqrt(dot(slip, slip)) * slip
        force -= np.einsum("s,csl->cl", self.strips, pushed)
        torque -= np.einsum("s,csl->cl", self.levers, pushed)
        return force, torque

    def _axial(self, airspeed: Array, incidence: Array) -> Array:
        """Force back along the shaft, N: the drag law's area is that of the axial force."""
        shot, air = self.rigid.shot, self.rigid.shot.air
        flow = Flow(airspeed, air.density, air.viscosity, air.speed_of_sound, incidence)
        return self.half * shot.drag_scale * shot.drag(flow, shot.arrow) * airspeed**2

    def _roll(self, ahead: Array, spin: Array) -> Array:
        """Torque about the axis, N m: each strip of a vane meets the air at offset - p r / V."""
        rolling = self.rigid.air.rolling
        driven = rolling.offset * np.abs(ahead) * rolling.first - spin * rolling.second
        return self.roll * np.abs(ahead) * driven


def attitude(through: Array, axis: Array) -> tuple[Array, Array, Array]:
    """Pitch and yaw of the axis out of the motion through the air, and the total angle, rad.

    through, axis: (3, ...). Up is square to the motion, in the plane that holds the
    perpendicular of the line of sight as well; right is square to both.
    """
    forward = through / np.sqrt(dot(through, through))
    n = np.zeros_like(forward)
    n[1] = 1.0
    up = n - forward[1] * forward
    up /= np.sqrt(dot(up, up))
    right = cross(forward, up)
    ahead, rises, aside = dot(axis, forward), dot(axis, up), dot(axis, right)
    return (
        np.arctan2(rises, ahead),
        np.arctan2(aside, ahead),
        np.arctan2(np.hypot(rises, aside), ahead),
    )
