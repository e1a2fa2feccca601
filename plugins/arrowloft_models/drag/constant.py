"""One drag coefficient at all speeds."""

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
    cross_section,
    holds,
    parameter,
)
from arrowloft_models.drag.none import NO_DRAG


@dataclass(frozen=True, kw_only=True)
class Constant(DragModel):
    """One drag coefficient at all speeds, on the shaft cross-section: Cd*A = Cd * pi d^2 / 4.

    Right where the flight stays in one regime of the boundary layer. Measured target arrows
    lie between 1.3 (laminar) and 2.6 (turbulent). The uncertainty, unless given, is 14 %: half
    the spread between two vane sizes measured at one Reynolds number (1.56 and 2.05).
    """

    name = "constant"
    version = "1"
    sources = (
        Source("Definition of the drag coefficient: D = 1/2 rho u^2 Cd A", "derived"),
        Source(
            "Ortiz et al., Proceedings (MDPI) 49(1):56, 2020: Cd 1.56 and 2.05 with small and "
            "large straight vanes at Reynolds number 1.2e4 on the diameter",
            doi="10.3390/proceedings2020049056",
        ),
    )
    example = MappingProxyType({"coefficient": 1.9})
    default_uncertainty = 0.14
    by_lane = True

    coefficient: Real = parameter(
        "Drag coefficient on the shaft cross-section.", low=0.0, high=20.0, free=True
    )
    uncertainty: Real | None = parameter(
        "Standard uncertainty of the coefficient as a share of it; 0.14 unless given.",
        default=None,
        low=0.0,
        high=1.0,
    )

    def kinks(self) -> tuple[float, ...]:
        """Return none: the law is smooth."""
        return ()

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        """Cd * pi d^2 / 4, m2, of the shape of flow.airspeed."""
        return np.full(flow.airspeed.shape, self.coefficient * cross_section(arrow))

    def relative_uncertainty(self) -> Real:
        """Return the caller's, or the default."""
        return self.default_uncertainty if self.uncertainty is None else self.uncertainty

    def notes(self, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
        """Say that the air was left out, where the coefficient is zero in any lane."""
        return () if holds(self.coefficient != 0) else (NO_DRAG,)
