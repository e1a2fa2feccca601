"""How an arrow's mass is spread along it: balance point and moments of inertia (SI).

Positions count from the nock throat toward the tip.
"""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array

USUAL_NOCK_SHARE = 0.06
"""Mass of nock and vanes as a share of the arrow's, where nothing is known of them: 1.2 g of
20 g (common practice)."""


class DoesNotBalance(ValueError):
    """Raised where no shaft, point and nock of positive mass balance as the arrow does."""


@dataclass(frozen=True, kw_only=True)
class Parts:
    """What an arrow is made of, arrays (parts,), at least one.

    mass: kg.  position: of each centre of mass, m.  length: over which each is spread evenly
    along the shaft, m.  radius: at which it sits about the shaft's axis, m.

    Raises ValueError for shapes that do not fit, masses that are not positive, and lengths or
    radii that are negative or not finite.
    """

    mass: Array
    position: Array
    length: Array
    radius: Array

    def __post_init__(self) -> None:
        shapes = {item.shape for item in (self.mass, self.position, self.length, self.radius)}
        if len(shapes) > 1 or self.mass.ndim != 1 or not self.mass.size:
            raise ValueError("give mass, position, length and radius of each part, at least one")
        if not (np.isfinite(self.mass).all() and (self.mass > 0.0).all()):
            raise ValueError("masses must be positive and finite")
        if not np.isfinite(self.position).all():
            raise ValueError("positions must be finite")
        for spread in (self.length, self.radius):
            if not (np.isfinite(spread).all() and (spread >= 0.0).all()):
                raise ValueError("lengths and radii must be finite and not negative")


@dataclass(frozen=True, kw_only=True)
class Body:
    """Mass properties of a slender arrow, symmetric about its axis.

    mass: kg.  balance_point: m.
    transverse_inertia, axial_inertia: about the balance point, across and along the shaft,
        kg m2; to fly, both must be above zero.
    """

    mass: float
    balance_point: float
    transverse_inertia: float
    axial_inertia: float


def body_of(parts: Parts) -> Body:
    """Add up parts, each a thin ring of radius r spread evenly over its length l.

    x_b = sum m x / sum m;  across: sum m ((x - x_b)^2 + l^2 / 12 + r^2 / 2);  along: sum m r^2.
    """
    mass = float(parts.mass.sum())
    balance = float(parts.mass @ parts.position) / mass
    arms = (parts.position - balance) ** 2 + parts.length**2 / 12.0 + parts.radius**2 / 2.0
    return Body(
        mass=mass,
        balance_point=balance,
        transverse_inertia=float(parts.mass @ arms),
        axial_inertia=float(parts.mass @ parts.radius**2),
    )


def estimated_parts(
    *,
    mass: float,
    length: float,
    balance_point: float,
    diameter: float,
    point_mass: float | None = None,
) -> Parts:
    """Parts that weigh and balance as the arrow does: nock end, shaft, point, in this order.

    The shaft is a uniform tube over the whole length, the point (with its insert) sits at the
    tip and what nock and vanes weigh at the nock throat. Balance asks for

        m_point - m_nock = m (2 x_b / l - 1)

    so one more thing must be known: the point's mass, or else m_nock = USUAL_NOCK_SHARE m.
    A gram more at both ends adds l^2 / 3 of a gram to the inertia across the shaft: a sixth
    for an arrow of 20 g.

    Raises DoesNotBalance where one of the three would have to weigh nothing or less; nock or
    point alone may weigh nothing.
    """
    difference = mass * (2.0 * balance_point / length - 1.0)
    if point_mass is None:
        nock = max(USUAL_NOCK_SHARE * mass, -difference)
        point = nock + difference
    else:
        point, nock = point_mass, point_mass - difference
    shaft = mass - point - nock
    # A microgram is rounding.
    if nock < -1e-9 or shaft <= 1e-9:
        raise DoesNotBalance("no shaft, point and nock of positive mass balance like this")
    masses = np.array([max(nock, 1e-12), shaft, max(point, 1e-12)])
    return Parts(
        mass=masses,
        position=np.array([0.0, 0.5 * length, length]),
        length=np.array([0.0, length, 0.0]),
        # A solid point's mass sits at its radius of gyration about the axis, r / sqrt(2).
        radius=0.5 * diameter * np.array([1.0, 1.0, np.sqrt(0.5)]),
    )
