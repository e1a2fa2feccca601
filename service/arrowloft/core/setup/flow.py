"""The air's motion past an arrow: what a drag law is given."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from arrowloft.core.arrays import Array, Real
from arrowloft.core.setup.equipment import Arrow


@dataclass(frozen=True)
class Flow:
    """Air moving past the arrow.

    airspeed: |velocity - wind|, m/s, any shape, read-only; the last axis is the lanes.
    density kg/m3, viscosity Pa s, speed_of_sound m/s: a float or an array of lanes.
    incidence: between the shaft's axis and the air's motion past it, rad, at least 0; a
        float or an array that broadcasts to the airspeed. A point mass, as all flights but
        the rigid one take the arrow for, lies along the air: 0. At an incidence a law's area
        is that of the axial force, along the shaft's axis: rho / 2 V^2 times the area. It must
        leave out the induced drag, the normal force's part along the air's motion, which the
        rigid flight adds by itself.
    """

    airspeed: Array
    density: Real
    viscosity: Real
    speed_of_sound: Real
    incidence: Real = 0.0

    def reynolds(self, length: Real) -> Array:
        """Re = density * airspeed * length / viscosity, for a length in m."""
        return self.airspeed * (self.density * length / self.viscosity)

    def mach(self) -> Array:
        """Airspeed over the speed of sound."""
        return self.airspeed / self.speed_of_sound


DragLaw: TypeAlias = Callable[[Flow, Arrow], Array]
"""(flow, arrow) -> drag area Cd*A in m2, of the shape of flow.airspeed."""


def cross_section(arrow: Arrow) -> Real:
    """Shaft cross-section A = pi d^2 / 4, m2: the area that drag coefficients refer to."""
    return np.pi / 4 * arrow.shaft_diameter**2
