"""Drag whose coefficient falls with a power of the Reynolds number."""

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from arrowloft.plugin import (
    Array,
    Arrow,
    DragModel,
    Flow,
    Note,
    Real,
    Source,
    Validity,
    cross_section,
    parameter,
)

LAMINAR_EXPONENT = 0.5
"""Skin friction of a laminar layer falls with Re^(-1/2); nothing on an arrow falls faster."""


@dataclass(frozen=True, kw_only=True)
class PowerLaw(DragModel):
    """A drag coefficient that falls with a power of the Reynolds number.

    Cd = C (Re / Re0)^(-n) on the shaft cross-section, Cd*A = Cd pi d^2 / 4, with
    Re = rho u d / mu on the shaft diameter.

    An arrow's drag is part skin friction, which falls with Re^(-1/2) under a laminar layer and
    with Re^(-1/5) under a turbulent one, and part pressure drag of point, nock and vanes, which
    hardly falls at all. One power stands for the mixture as long as the layer does not change:
    n is 0 for pressure drag alone and 0.5 for laminar friction alone. Speeds measured along the
    flight tell C; they tell n only where the arrow loses much of its speed.

    In flat flight, with k = rho C A / (2 m) and w the airspeed at Re0, the speed falls as
    v^n = v0^n - n k w^n x.
    """

    name = "power-law"
    version = "1"
    sources = (
        Source(
            "Blasius, Grenzschichten in Fluessigkeiten mit kleiner Reibung, 1908: laminar skin "
            "friction falls with the square root of the Reynolds number",
            "from memory",
        ),
        Source(
            "Prandtl, Ueber den Reibungswiderstand stroemender Luft, 1927: turbulent skin "
            "friction falls with its fifth root",
            "from memory",
        ),
        Source(
            "Ortiz et al., Proceedings (MDPI) 49(1):56, 2020: Cd 1.56 and 2.05 with small and "
            "large straight vanes at Reynolds number 1.2e4 on the diameter",
            doi="10.3390/proceedings2020049056",
        ),
        Source("Equation of motion in flat flight, integrated over distance", "derived"),
    )
    validity = (
        Validity(
            "reynolds",
            6.0e3,
            6.0e4,
            reason="One power holds for one state of the boundary layer; arrows were measured "
            "between about 10,000 and 20,000.",
        ),
    )
    example = MappingProxyType({"coefficient": 1.8, "exponent": 0.3})
    # Half the spread between the two vane sizes of the source: no one knows which yours are like.
    default_uncertainty = 0.14
    by_lane = True

    coefficient: float = parameter(
        "Drag coefficient on the shaft cross-section at the reference Reynolds number.",
        low=0.01,
        high=20.0,
        free=True,
    )
    exponent: float = parameter(
        "Power with which the coefficient falls: 0 for pressure drag alone, 0.2 for a turbulent "
        "layer, 0.5 for a laminar one.",
        default=0.25,
        low=0.0,
        high=1.0,
        free=True,
    )
    reference_reynolds: float = parameter(
        "Reynolds number on the shaft diameter at which the coefficient holds.",
        default=1.2e4,
        low=1.0e3,
        high=1.0e6,
    )
    uncertainty: float = parameter(
        "Standard uncertainty of the coefficient as a share of it.",
        default=0.14,
        low=0.0,
        high=1.0,
    )

    def kinks(self) -> tuple[float, ...]:
        """Return none: the law is smooth at every speed that an arrow has."""
        return ()

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        """C (Re / Re0)^(-n) pi d^2 / 4, m2, of the shape of flow.airspeed."""
        # A power of zero has no end: below Re 1, where no arrow flies, the coefficient stays.
        reynolds = np.maximum(flow.reynolds(arrow.shaft_diameter), 1.0)
        falling = (reynolds / self.reference_reynolds) ** -self.exponent
        return np.asarray(self.coefficient * cross_section(arrow) * falling)

    def relative_uncertainty(self) -> Real:
        """Return the caller's, or the default."""
        return self.uncertainty

    def notes(self, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
        """Say so where the coefficient falls faster than friction can make it."""
        if not np.any(self.exponent > LAMINAR_EXPONENT):
            return ()
        message = (
            "The coefficient falls faster than the skin friction of a laminar layer alone "
            "would: measure the speeds again, or keep the exponent at 0.5 or below."
        )
        return (Note("power-too-steep", message),)
