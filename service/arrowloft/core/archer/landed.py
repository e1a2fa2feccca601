"""Where arrows landed that were shot with one mark: their centre, and how they scattered."""

import math
from dataclasses import dataclass
from typing import Self

from arrowloft.core.archer.groups import LEAST_ARROWS, largest_spread, spread_degrees
from arrowloft.core.arrays import Array


@dataclass(frozen=True, kw_only=True)
class Landed:
    """Arrows shot with one mark at one distance, as found on the target.

    distance: m.  arrows: how many.
    up, right: their centre from the aim point, m; right None where it was not noted.
    vertical, sideways: standard deviations found from these very arrows, m; None where not
        known, as of a single arrow.
    degrees: degrees of freedom of each of these; 0 where there are none.

    Raises ValueError for a distance that is not positive, fewer than one arrow, a negative
    standard deviation, negative degrees of freedom.
    """

    distance: float
    up: float
    right: float | None = None
    arrows: int = 1
    vertical: float | None = None
    sideways: float | None = None
    degrees: float = 0.0

    def __post_init__(self) -> None:
        if not 0.0 < self.distance < math.inf:
            raise ValueError("the distance must be positive")
        if self.arrows < 1:
            raise ValueError("at least one arrow")
        if any(scatter is not None and scatter < 0.0 for scatter in (self.vertical, self.sideways)):
            raise ValueError("standard deviations are not negative")
        if self.degrees < 0.0:
            raise ValueError("degrees of freedom are not negative")

    @classmethod
    def of_arrows(cls, distance: float, up: Array, right: Array | None = None) -> Self:
        """The arrows one by one: places from the aim point, (arrows,), m.

        ValueError for no arrow at all, and where some lack their place to the right.
        """
        if not up.size:
            raise ValueError("at least one arrow")
        if right is not None and right.shape != up.shape:
            raise ValueError("as many places to the right as up")
        several = up.size >= LEAST_ARROWS
        return cls(
            distance=distance,
            up=float(up.mean()),
            right=None if right is None else float(right.mean()),
            arrows=up.size,
            vertical=float(up.std(ddof=1)) if several else None,
            sideways=float(right.std(ddof=1)) if several and right is not None else None,
            degrees=up.size - 1.0,
        )

    @classmethod
    def of_deviations(
        cls,
        distance: float,
        up: float,
        right: float | None,
        arrows: int,
        vertical: float,
        sideways: float | None = None,
    ) -> Self:
        """A centre with standard deviations of these arrows about it, m.

        ValueError for fewer than LEAST_ARROWS.
        """
        if arrows < LEAST_ARROWS:
            raise ValueError("one arrow has no standard deviation")
        return cls(
            distance=distance,
            up=up,
            right=right,
            arrows=arrows,
            vertical=vertical,
            sideways=sideways,
            degrees=arrows - 1.0,
        )

    @classmethod
    def of_diameter(
        cls, distance: float, up: float, right: float | None, arrows: int, diameter: float
    ) -> Self:
        """A centre with the greatest distance between two of the arrows, m.

        Their standard deviation up and sideways is diameter / largest_spread(arrows), with
        the degrees of freedom of a standard deviation that is known as well.
        ValueError for a number of arrows outside LEAST_ARROWS to MOST_ARROWS.
        """
        deviation = diameter / largest_spread(arrows)
        return cls(
            distance=distance,
            up=up,
            right=right,
            arrows=arrows,
            vertical=deviation,
            sideways=deviation,
            degrees=spread_degrees(arrows),
        )
