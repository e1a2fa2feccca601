"""Skin friction and pressure drag of an arrow's parts, each a plain function.

Friction coefficients are means over the length, on the wetted area. Where no name is
given the form is from S. Niskanen, OpenRocket technical documentation, 2013 (published).
"""

from typing import Final

import numpy as np

from arrowloft.plugin import Array, Real
from arrowloft_models._lanes import sin

BASE: Final = 0.12
"""Base drag coefficient, on the base's area; its rise with Mach^2 is below 0.02 for arrows."""

LEADING_EDGE: Final = {"rounded": 0.0, "square": 0.85}
"""Coefficient on the edge's frontal area; 0.85 from memory of the same text."""

TRAILING_EDGE: Final = {"square": BASE, "rounded": BASE / 2.0, "tapered": 0.0}
"""Coefficient on the edge's frontal area."""

BLUNTNESS: Final = {"ogive": 0.0, "hemisphere": 0.01, "flat": 0.8}
"""Pressure drag coefficient of a point that has no joint angle, on the cross-section (Hoerner)."""

SERIES: Final = (1.32823, 0.34716, -0.05471)
"""Mean laminar friction * sqrt(Re_L) in powers of the curvature xi: see `laminar_shaft`."""

TOP_CURVATURE: Final = -SERIES[1] / (2.0 * SERIES[2])
"""Where the series stops rising, xi = 3.2 (arrows: 0.3 to 0.8); its value there is kept beyond."""

LEAST_TURBULENT_REYNOLDS: Final = 1.0e4
"""Below it the turbulent coefficient is held, as in the source."""


def laminar_plate(reynolds: Array) -> Array:
    """Blasius: C_F = 1.328 / sqrt(Re), for a plate's own chord."""
    return SERIES[0] / np.sqrt(reynolds)


def laminar_shaft(reynolds: Array, slenderness: Real) -> Array:
    """Laminar friction of a cylinder in axial flow, with Reynolds number on its length.

    C_F sqrt(Re_L) = 1.32823 + 0.34716 xi - 0.05471 xi^2, xi = 4 (L/a) / sqrt(Re_L);
    slenderness = L/a, length over radius. The form is Seban & Bond, J. Aero. Sci. 18 (1951)
    671, and Kelly 21 (1954) 634 (from memory); the coefficients are derived: the boundary
    layer's equations expanded to second order in xi.
    """
    root = np.sqrt(reynolds)
    curvature = np.minimum(4.0 * slenderness / root, TOP_CURVATURE)
    zeroth, first, second = SERIES
    return (zeroth + (first + second * curvature) * curvature) / root


def turbulent_plate(reynolds: Array) -> Array:
    """C_F = 1 / (1.50 ln Re - 5.6)^2, smooth surface, turbulent from the front.

    Used for the shaft as well: with a curvature term the sum overshoots measured arrows.
    """
    inverse_root = 1.5 * np.log(np.maximum(reynolds, LEAST_TURBULENT_REYNOLDS)) - 5.6
    return 1.0 / (inverse_root * inverse_root)


def point_coefficient(shape: str, joint_angle: Real | None) -> Real:
    """Pressure drag coefficient of the point: 0.8 sin^2 of a cone's joint angle, or by shape."""
    if joint_angle is not None:
        return BLUNTNESS["flat"] * sin(joint_angle) ** 2
    return BLUNTNESS[shape]
