"""Linear theory of the swinging arrow: small angles, speed nearly constant, in closed form."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.rigid.motion import RigidShot
from arrowloft.core.setup.flow import Flow


@dataclass(frozen=True, kw_only=True)
class Swing:
    """A damped oscillation along the way through the air.

    wave: radians of it a metre.  decay: of its size a metre, 1/m.
    """

    wave: float
    decay: float

    @property
    def length(self) -> float:
        """Distance of one oscillation, m."""
        return float(2.0 * np.pi / self.wave)

    @property
    def damping_ratio(self) -> float:
        """Share of the critical damping."""
        return float(self.decay / np.hypot(self.decay, self.wave))

    def frequency(self, speed: float) -> float:
        """Oscillations a second at a speed, 1/s."""
        return speed / self.length

    def distance_to(self, share: float) -> float:
        """Distance after which its size is this share of the first, m; inf where it grows."""
        return float(-np.log(share) / self.decay) if self.decay > 0.0 else float("inf")


def swing(rigid: RigidShot, speed: float) -> Swing | None:
    """The oscillation that linear theory foretells at a speed; None where it does not swing.

    With s the way, k = rho A / 2, C0, C1, C2 the sums of slope arm^n, x the drag's rate
    k C_D / m, and the angle a = e^(lambda s):

        a' = q (1 + k C1 / m) - (k C0 / m - x) a
        q' = (k C1 / I) a - (k C2 / I - x) q

    where q is the turning a metre: the speed itself falls by x of itself a metre. The lift that
    bends the path has the slope C_L_alpha = C_N_alpha - C_D, because the axial force of an arrow
    that points up pulls it down. So lambda^2 + lambda (l + d) + l d - (k C1 / I) (1 + k C1 / m)
    = 0 with l = k C0 / m - x, d = k C2 / I - x. The shaft's cross flow, a square of the angle,
    and the spin have no part. Derived, after Murphy, Free Flight Motion of Symmetric Missiles
    (1963), from memory.
    """
    first, second = characteristic(rigid, speed)
    discriminant = second - 0.25 * first**2
    if discriminant <= 0.0:
        return None
    return Swing(wave=float(np.sqrt(discriminant)), decay=0.5 * first)


def characteristic(rigid: RigidShot, speed: float) -> tuple[float, float]:
    """The coefficients b, c of lambda^2 + b lambda + c = 0, 1/m and 1/m2."""
    shot, body, air = rigid.shot, rigid.body, rigid.air
    half = 0.5 * float(shot.air.density) * air.cross_section
    force, moment, damping = (half * air.stations.moment(n) for n in range(3))
    mass, inertia = body.mass, body.transverse_inertia
    braked = drag_rate(rigid, speed)
    lifting, damped = force / mass - braked, damping / inertia - braked
    restoring = -moment / inertia * (1.0 + moment / mass)
    return lifting + damped, lifting * damped + restoring


def drag_rate(rigid: RigidShot, speed: float) -> float:
    """Share of the speed that drag takes a metre, rho Cd A / (2 m), without incidence, 1/m."""
    shot, air = rigid.shot, rigid.shot.air
    flow = Flow(np.array([speed]), air.density, air.viscosity, air.speed_of_sound, 0.0)
    area = float(shot.drag(flow, shot.arrow)[0]) * float(shot.drag_scale)
    return 0.5 * float(air.density) * area / rigid.body.mass
