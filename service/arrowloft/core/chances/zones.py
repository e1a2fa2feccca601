"""Zones that an arrow should hit, and target faces with their rings."""

from dataclasses import dataclass
from itertools import pairwise


@dataclass(frozen=True, kw_only=True)
class Zone:
    """An ellipse or a rectangle about the aim point, in the target plane; m.

    half_height, half_width: from the aim point to the edge.  round: an ellipse.
    Raises ValueError unless both are positive.
    """

    half_height: float
    half_width: float
    round: bool = True

    def __post_init__(self) -> None:
        if not (self.half_height > 0.0 and self.half_width > 0.0):
            raise ValueError("a zone has a positive height and width")

    @classmethod
    def circle(cls, radius: float) -> "Zone":
        """The circle of a radius, m."""
        return cls(half_height=radius, half_width=radius)


@dataclass(frozen=True, kw_only=True)
class Face:
    """A target face: circles about the aim point, each worth its points.

    radii: m, from the outermost inward, falling.  points: of an arrow within each radius
    and beyond the next, rising.
    touch: by how much an arrow's axis may lie beyond a line and still touch it, m.
    inner: radius of the inner ten, which breaks ties, m; None: there is none.

    Raises ValueError for rings out of order.
    """

    radii: tuple[float, ...]
    points: tuple[float, ...]
    touch: float = 0.0
    inner: float | None = None

    def __post_init__(self) -> None:
        rings = list(zip(self.radii, self.points, strict=True))
        falling = all(
            inner < outer and more > points for (outer, points), (inner, more) in pairwise(rings)
        )
        if not (rings and falling and self.radii[-1] > 0.0):
            raise ValueError("rings must be given from the outermost inward, points rising")

    @classmethod
    def of_ten_rings(cls, diameter: float, lowest: int = 1, touch: float = 0.0) -> "Face":
        """Ten rings of one width, ten points in the middle; the inner ten is half as wide.

        lowest: points of the outermost ring that is printed.
        Source: World Archery, Rulebook, Book 2, target faces (from memory).
        """
        width = diameter / 20.0
        points = range(lowest, 11)
        return cls(
            radii=tuple((11 - ring) * width for ring in points),
            points=tuple(float(ring) for ring in points),
            touch=touch,
            inner=0.5 * width,
        )

    @property
    def zones(self) -> tuple[Zone, ...]:
        """Where the arrow's axis must be, for each ring."""
        return tuple(Zone.circle(radius + self.touch) for radius in self.radii)

    @property
    def steps(self) -> tuple[float, ...]:
        """Points gained on coming from outside into each ring."""
        before = (0.0, *self.points[:-1])
        return tuple(ring - outer for ring, outer in zip(self.points, before, strict=True))
