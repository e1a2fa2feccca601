"""What the air does to a slender finned body: slopes of its normal force, and where they act.

Coefficients refer to the shaft's cross-section A = pi d^2 / 4; an arm counts from the balance
point, ahead positive. All of it is derived for small angles and good to about 30 %.
"""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.rigid.body import Body

NOSE_SLOPE = 2.0
"""Slope of the nose's normal force, 1/rad: slender body, any shape that ends as wide as the
shaft (Barrowman 1967; Niskanen, OpenRocket technical documentation, 2013, published)."""

CROSS_FLOW = 1.1
"""Coefficient of the shaft's drag across its axis, on its side area: a cylinder in cross flow.
1.1 in Niskanen 2013, who quotes Galejs and Hoerner (published). The largest uncertainty here: a
shaft that is nearly along the air may be braked across it by much less, or by more where its
boundary layer is laminar."""

MOST_CROSS_FLOW = 2.0
"""No long cylinder has more."""

NOSE_CENTRE = 2.0
"""Centre of the nose's normal force behind the tip, in shaft diameters: two thirds of a cone of
three diameters; a diameter more or less moves the static margin by a thousandth of the length."""

_MANY_VANES = {5: 0.948, 6: 0.913}
"""What vanes so close together lose of their force (Niskanen 2013, published)."""

FEWEST_VANES, MOST_VANES = 3, max(_MANY_VANES)
"""Fewer than three vanes do not steady every direction alike."""


@dataclass(frozen=True, kw_only=True)
class Vanes:
    """Flat vanes around the shaft, each a rectangle of its mean height.

    count: FEWEST_VANES to MOST_VANES.  length: along the shaft, m.  height: above it, m.
    position: nock throat to the rear edge, m.
    offset: angle at which they stand to the shaft, rad; positive spins the arrow clockwise
        as the archer sees it.
    """

    count: int
    length: float
    height: float
    position: float
    offset: float = 0.0

    def __post_init__(self) -> None:
        if not FEWEST_VANES <= self.count <= MOST_VANES:
            raise ValueError(f"{FEWEST_VANES} to {MOST_VANES} vanes are computed")


@dataclass(frozen=True, kw_only=True)
class Stations:
    """Where normal force grows in proportion to the angle: vanes, then nose, arrays (2,).

    slope: of each normal force, 1/rad, on the cross-section.  arm: m.
    """

    slope: Array
    arm: Array

    def moment(self, power: int) -> float:
        """Sum of slope arm^power, m^power: 0 the force, 1 its moment, 2 the damping."""
        return float(self.slope @ self.arm**power)


@dataclass(frozen=True, kw_only=True)
class Rolling:
    """What the vanes do about the shaft's axis.

    slope: of one vane's force per angle and per its own area, times count and length, m.
    first, second: integrals of r and of r^2 over a vane's height, m2 and m3.
    offset: rad.
    """

    slope: float
    first: float
    second: float
    offset: float

    def stiffness(self, density: float, axial_inertia: float) -> float:
        """Share of its distance from the steady spin that the spin loses a metre, 1/m.

        rho / 2 slope (r^2) / I_a: the arrow comes to the steady spin over the inverse of it.
        """
        return 0.5 * density * self.slope * self.second / axial_inertia

    def spin_per_speed(self) -> float:
        """Spin at which the torque vanishes, per speed through the air, rad/m.

        A strip at radius r meets the air at offset - p r / V: p / V = offset (r) / (r^2).
        """
        return self.offset * self.first / self.second


@dataclass(frozen=True, kw_only=True)
class Aerodynamics:
    """All that the air does to one arrow, beside its drag.

    cross_section: m2.  stations: normal force in proportion to the angle.
    cross_flow: side area times its coefficient, m2, spread evenly from `rear` to `front`, arms
        in m.
    """

    cross_section: float
    stations: Stations
    rolling: Rolling
    cross_flow: float
    rear: float
    front: float

    def normal_force(self, angle: Array) -> Array:
        """Coefficient at angles, rad, up to 45 deg: C_Na sin a cos a + cross flow sin^2 a."""
        sine = np.sin(angle)
        linear = self.stations.moment(0) * sine * np.cos(angle)
        return np.asarray(linear + self.cross_flow / self.cross_section * np.abs(sine) * sine)

    def static_margin(self, angle: Array) -> Array:
        """Centre of pressure behind the balance point at angles, rad, m.

        -(C_Na's moment cos a + cross flow's moment sin a) / (C_Na cos a + cross flow sin a).
        """
        across = self.cross_flow / self.cross_section * np.abs(np.sin(angle))
        along = np.cos(angle)
        middle = 0.5 * (self.rear + self.front)
        force = self.stations.moment(0) * along + across
        return np.asarray(-(self.stations.moment(1) * along + across * middle) / force)


def vane_slope(vanes: Vanes, diameter: float) -> float:
    """Slope of the normal force of all vanes on a shaft, 1/rad, on the cross-section.

    K 4 n (h / d)^2 / (1 + sqrt(1 + (h / l)^2)) with K = (1 + t)^2, t = r / (h + r), for the
    shaft between them: Barrowman 1967 for unswept rectangles, after Diederich's slope of low
    aspect ratio. 1 + t is the vanes' own share, as Barrowman has it; the other 1 + t is what
    they carry over onto the shaft, in slender-body theory (Pitts, Nielsen, Kaattari, NACA
    Report 1307, 1957, from memory), taken to act where the vanes do. From five vanes on, less
    (Niskanen 2013).
    """
    return _one_slope(vanes, diameter) * 0.5 * vanes.count * _between(vanes, diameter)


def aerodynamics(
    body: Body, vanes: Vanes, *, length: float, diameter: float, cross_flow: float = CROSS_FLOW
) -> Aerodynamics:
    """The arrow's coefficients and arms, m, from its body, vanes and shaft.

    Vanes act at a quarter of their length behind their front edge (Barrowman 1967).
    cross_flow: coefficient of the shaft's cross flow; 0 leaves what linear theory knows.
    """
    area = np.pi / 4 * diameter**2
    slope = np.array([vane_slope(vanes, diameter), NOSE_SLOPE])
    place = np.array(
        [vanes.position + 0.75 * vanes.length, length - min(NOSE_CENTRE * diameter, 0.5 * length)]
    )
    radius, top = 0.5 * diameter, 0.5 * diameter + vanes.height
    # Strips share a vane's force evenly over its area; the shaft between them adds no torque.
    per_area = _one_slope(vanes, diameter) * area / (vanes.length * vanes.height)
    return Aerodynamics(
        cross_section=area,
        stations=Stations(slope=slope, arm=place - body.balance_point),
        rolling=Rolling(
            slope=per_area * vanes.count * vanes.length,
            first=0.5 * (top**2 - radius**2),
            second=(top**3 - radius**3) / 3.0,
            offset=vanes.offset,
        ),
        cross_flow=cross_flow * diameter * length,
        rear=-body.balance_point,
        front=length - body.balance_point,
    )


def _one_slope(vanes: Vanes, diameter: float) -> float:
    """Slope of one vane's force per its own angle, on the cross-section, 1/rad."""
    ratio = vanes.height / vanes.length
    return float(8.0 * (vanes.height / diameter) ** 2 / (1.0 + np.sqrt(1.0 + ratio**2)))


def _between(vanes: Vanes, diameter: float) -> float:
    """Factor of the shaft between the vanes, which also carries force, and of their number."""
    radius = 0.5 * diameter
    shaft = 1.0 + radius / (vanes.height + radius)
    return shaft**2 * _MANY_VANES.get(vanes.count, 1.0)
