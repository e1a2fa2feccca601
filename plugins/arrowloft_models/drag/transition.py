"""Laminar and turbulent drag coefficients, blended over the band where the layer changes."""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from arrowloft.plugin import (
    Array,
    Arrow,
    DragModel,
    Flow,
    Note,
    ParameterError,
    Real,
    Source,
    Validity,
    cross_section,
    holds,
    parameter,
)
from arrowloft_models._lanes import hypot
from arrowloft_models.drag._blend import turbulent_share, undecided


@dataclass(frozen=True, kw_only=True)
class Transition(DragModel):
    """A laminar coefficient below a band of Reynolds numbers, a turbulent one above it.

    Cd = Cl + (Ct - Cl) * Phi(3 s), on the shaft cross-section; s runs from -1 to 1 over the band
    in the logarithm of the Reynolds number on the shaft diameter, Phi is the normal distribution.
    It has no kink anywhere, and at the band's ends it is within 0.2 % of the step from Cl to Ct.

    Within the band an arrow's attitude and point decide, so the true coefficient may be anything
    between the two; the reply says so where the flight comes near it. The uncertainty, unless
    given, is that of an even chance between Cl and Ct, (Ct - Cl) / sqrt(12) of their mean,
    together with 14 % for the vanes: 24 % for the default coefficients.
    """

    name = "transition"
    version = "1"
    sources = (
        Source(
            "Miyazaki, KAKEN 18K03943, research report, 2020: Cd 1.3 laminar and 2.6 turbulent "
            "near Reynolds number 2e4, attitude decides between them"
        ),
        Source(
            "Miyazaki et al., Sports Engineering 16 (2013) 43-54: turbulent above 1.2e4 with a "
            "bluff point, either layer between 1e4 and 2e4",
            "from memory",
            doi="10.1007/s12283-012-0102-y",
        ),
        Source(
            "Ortiz et al., Proceedings (MDPI) 49(1):56, 2020: the layer of a slowing arrow turns "
            "laminar near 1.8e4; Cd 1.56 and 2.05 with small and large vanes at 1.2e4",
            doi="10.3390/proceedings2020049056",
        ),
    )
    validity = (
        Validity(
            "reynolds",
            6.0e3,
            6.0e4,
            "note",
            "Arrows were measured between about 10,000 and 20,000; farther out the slow change of "
            "skin friction with speed outgrows the stated uncertainty.",
        ),
    )
    default_uncertainty = 0.24
    by_lane = True

    laminar: Real = parameter(
        "Drag coefficient with a laminar boundary layer.",
        default=1.3,
        low=0.0,
        high=20.0,
        free=True,
    )
    turbulent: Real = parameter(
        "Drag coefficient with a turbulent boundary layer.",
        default=2.6,
        low=0.01,
        high=20.0,
        free=True,
    )
    band_low: Real = parameter(
        "Reynolds number on the shaft diameter at which the layer begins to change.",
        default=1.2e4,
        low=1.0e2,
        high=1.0e6,
    )
    band_high: Real = parameter(
        "Reynolds number on the shaft diameter above which the layer is turbulent.",
        default=2.0e4,
        low=1.0e2,
        high=1.0e6,
    )
    uncertainty: Real | None = parameter(
        "Standard uncertainty of the drag as a share of it; from the coefficients unless given.",
        default=None,
        low=0.0,
        high=1.0,
    )

    def __post_init__(self) -> None:
        """Raise ParameterError where the band or the coefficients are out of order."""
        if not holds(self.band_low < self.band_high):
            raise ParameterError("band_high", "must be above band_low; widen the band")
        if not holds(self.laminar <= self.turbulent):
            raise ParameterError("turbulent", "must not be below laminar; exchange the two")

    def kinks(self) -> tuple[float, ...]:
        """Return none: the law is smooth."""
        return ()

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        """Cd(Re) * pi d^2 / 4, m2, of the shape of flow.airspeed."""
        reynolds = np.maximum(flow.reynolds(arrow.shaft_diameter), 1.0)
        share = turbulent_share(reynolds, self.band_low, self.band_high)
        area = cross_section(arrow)
        return np.asarray(area * (self.laminar + (self.turbulent - self.laminar) * share))

    def relative_uncertainty(self) -> Real:
        """Return the caller's, or the spread of the coefficients and of the vanes together."""
        if self.uncertainty is not None:
            return self.uncertainty
        mean = 0.5 * (self.laminar + self.turbulent)
        return hypot((self.turbulent - self.laminar) / sqrt(12.0) / mean, 0.14)

    def notes(self, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
        """Say so where the flown Reynolds numbers lie in or near the band."""
        consequence = (
            f"the drag coefficient may be anything from {np.min(self.laminar):.4g} to "
            f"{np.max(self.turbulent):.4g}; verify the marks by shooting, or measure the "
            "speed at two distances."
        )
        return undecided(flow, arrow, self.band_low, self.band_high, consequence)
