"""Drag coefficient over Reynolds number, from measured points."""

from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

import numpy as np
from scipy.interpolate import PchipInterpolator

from arrowloft.plugin import (
    Array,
    Arrow,
    DragModel,
    Flow,
    ParameterError,
    Real,
    Source,
    Validity,
    as_read_only,
    cross_section,
    parameter,
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Table(DragModel):
    """Drag coefficient read from points over the Reynolds number on the shaft diameter.

    A monotone cubic (PCHIP) runs through the points, in Re itself: it has a continuous slope
    and never leaves the span of two neighbouring coefficients. Outside the points the
    coefficient of the nearest end holds, and the reply says so. Cd*A = Cd(Re) * pi d^2 / 4.
    The uncertainty, unless given, is 5 %: an assumption about one's own measurements.
    """

    name = "table"
    version = "1"
    sources = (
        Source(
            "Fritsch, Butland, A method for constructing local monotone piecewise cubic "
            "interpolants, SIAM J. Sci. Stat. Comput. 5 (1984) 300-304",
            "from memory",
            doi="10.1137/0905021",
        ),
    )
    example = MappingProxyType(
        {"reynolds": (1.0e4, 1.4e4, 2.0e4, 4.0e4), "coefficient": (1.6, 1.5, 2.6, 2.3)}
    )
    default_uncertainty = 0.05
    by_lane = True

    reynolds: Array = parameter(
        "Reynolds numbers on the shaft diameter, increasing.",
        array=True,
        least=2,
        low=1.0,
        high=1.0e7,
    )
    coefficient: Array = parameter(
        "Drag coefficients on the shaft cross-section, one for each Reynolds number.",
        array=True,
        free=True,
        least=2,
        low=0.0,
        high=20.0,
    )
    uncertainty: Real | None = parameter(
        "Standard uncertainty of the coefficients as a share of them; 0.05 unless given.",
        default=None,
        low=0.0,
        high=1.0,
    )

    def __post_init__(self) -> None:
        """Raise ParameterError for fewer than two points, unequal lengths, a wrong order."""
        for name in ("reynolds", "coefficient"):
            object.__setattr__(self, name, as_read_only(getattr(self, name)))
        if self.reynolds.size < 2:
            raise ParameterError("reynolds", "needs at least two points; add some")
        if self.reynolds.shape != self.coefficient.shape:
            counts = f"{self.coefficient.size} values for {self.reynolds.size} Reynolds numbers"
            raise ParameterError("coefficient", f"has {counts}; give one for each")
        if not np.all(np.diff(self.reynolds) > 0.0):
            raise ParameterError("reynolds", "must increase from point to point; sort the points")

    @cached_property
    def _curve(self) -> PchipInterpolator:
        # Coefficients that differ by next to nothing overflow a harmonic mean, rightly to slope 0.
        with np.errstate(over="ignore", under="ignore"):
            return PchipInterpolator(self.reynolds, self.coefficient)

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        """Cd(Re) * pi d^2 / 4, m2, of the shape of flow.airspeed."""
        reynolds = flow.reynolds(arrow.shaft_diameter)
        inside = np.minimum(np.maximum(reynolds, self.reynolds[0]), self.reynolds[-1])
        # Rounding may put the curve a hair below a coefficient of zero.
        return np.asarray(cross_section(arrow) * np.maximum(self._curve(inside), 0.0))

    def kinks(self) -> tuple[float, ...]:
        """Return the points: the curve bends anew at each, and stops at the ends."""
        return tuple(self.reynolds.tolist())

    def relative_uncertainty(self) -> Real:
        """Return the caller's, or the default."""
        return self.default_uncertainty if self.uncertainty is None else self.uncertainty

    def limits(self) -> tuple[Validity, ...]:
        """Return the range of the points."""
        low, high = float(self.reynolds[0]), float(self.reynolds[-1])
        reason = "The points end there; the coefficient of the last one is held beyond."
        return (Validity("reynolds", low, high, "note", reason),)
