"""Drag from the speeds of one arrow measured at two distances."""

from dataclasses import dataclass
from math import sqrt
from types import MappingProxyType

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
    holds,
    parameter,
)
from arrowloft_models._lanes import hypot, lesser, log

READING_SHARE = 0.002
"""Uncertainty of a speed whose reading error is not given: shot-to-shot, Tuijn & Kooi 1992."""


@dataclass(frozen=True, kw_only=True)
class TwoSpeed(DragModel):
    """A constant drag area from the speeds of this arrow at two distances, in still air.

    In flat flight v2 = v1 exp(-k (x2 - x1)) with k = rho Cd*A / (2 m), so that
    Cd*A = 2 m ln(v1 / v2) / (rho (x2 - x1)). The mass is the arrow's; the density is that of the
    day of the measurement, or of this request's air. The uncertainty follows from those of the
    readings, 0.2 % of each speed unless given:
    u^2 = ((u1/v1)^2 + (u2/v2)^2) / ln(v1/v2)^2 + (ux / (x2 - x1))^2.
    """

    name = "two-speed"
    version = "1"
    sources = (
        Source("Equation of motion under drag alone, integrated over distance", "derived"),
        Source(
            "Tuijn, Kooi, Eur. J. Phys. 13 (1992) 127-134: launch speed repeats to 0.2 %",
        ),
    )
    example = MappingProxyType(
        {"speed_near": 57.0, "speed_far": 53.0, "distance_near": 2.0, "distance_far": 50.0}
    )
    # That of a loss of 8 % between readings good to 0.2 %: a usual case over 70 m.
    default_uncertainty = 0.034
    by_lane = True

    speed_near: Real = parameter("Speed at the near distance.", "speed", low=5.0, high=200.0)
    speed_far: Real = parameter("Speed at the far distance.", "speed", low=5.0, high=200.0)
    distance_near: Real = parameter(
        "Distance of the first reading, from anywhere on the line.", "length", low=0.0, high=500.0
    )
    distance_far: Real = parameter(
        "Distance of the second reading, from the same place.", "length", low=0.0, high=500.0
    )
    air_density: Real | None = parameter(
        "Density of the air at the measurement; that of the request's air unless given.",
        "density",
        default=None,
        low=0.2,
        high=2.0,
    )
    speed_uncertainty: Real | None = parameter(
        "Standard uncertainty of each speed; 0.2 % of it unless given.",
        "speed",
        default=None,
        low=0.0,
        high=20.0,
    )
    distance_uncertainty: Real = parameter(
        "Standard uncertainty of the way between the two readings.",
        "length",
        default=0.0,
        low=0.0,
        high=10.0,
    )
    uncertainty: Real | None = parameter(
        "Standard uncertainty of the drag as a share of it; from the readings unless given.",
        default=None,
        low=0.0,
        high=1.0,
    )

    def __post_init__(self) -> None:
        """Raise ParameterError where the readings show no loss of speed over a distance."""
        if not holds(self.distance_near < self.distance_far):
            raise ParameterError(
                "distance_far", "must be beyond distance_near; exchange the readings"
            )
        if not holds(self.speed_far < self.speed_near):
            raise ParameterError(
                "speed_far", "must be below speed_near, as drag slows the arrow; measure again"
            )

    def kinks(self) -> tuple[float, ...]:
        """Return none: the law is smooth."""
        return ()

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        """2 m ln(v1 / v2) / (rho (x2 - x1)), m2, of the shape of flow.airspeed."""
        density = flow.density if self.air_density is None else self.air_density
        loss = 2.0 * log(self.speed_near / self.speed_far)
        area = arrow.mass * loss / (density * (self.distance_far - self.distance_near))
        return np.full(flow.airspeed.shape, area)

    def relative_uncertainty(self) -> Real:
        """Return the caller's, or that of the readings carried through the equation, 1 at most."""
        if self.uncertainty is not None:
            return self.uncertainty
        if self.speed_uncertainty is None:
            speeds: Real = sqrt(2.0) * READING_SHARE
        else:
            speeds = self.speed_uncertainty * hypot(1.0 / self.speed_near, 1.0 / self.speed_far)
        way = self.distance_uncertainty / (self.distance_far - self.distance_near)
        return lesser(1.0, hypot(speeds / log(self.speed_near / self.speed_far), way))

    def notes(self, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
        """Say so where the readings are too close to tell the drag; of lanes, by the worst."""
        share = np.max(self.relative_uncertainty())
        if share <= 0.25:
            return ()
        message = (
            f"The two speeds are so close that the drag is uncertain by {100 * share:.0f} %: "
            "measure farther apart, or take the mean of more shots."
        )
        return (Note("speeds-too-close", message),)
