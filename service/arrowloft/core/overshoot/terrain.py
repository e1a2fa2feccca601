"""The ground along a shooting range, from the archer's feet to far behind the target (SI)."""

from dataclasses import dataclass
from typing import Self

import numpy as np

from arrowloft.core.arrays import Array


@dataclass(frozen=True, kw_only=True)
class Terrain:
    """Ground that is the same across the range: straight lines between its corners.

    x: of the corners, level way from the eye toward the target, increasing, m, (corners,).
    y: their height above the eye, m.  Before the first and behind the last it is level.
    """

    x: Array
    y: Array

    @classmethod
    def under(cls, eye_height: float, heights: tuple[tuple[float, float], ...] = ()) -> Self:
        """The ground under an eye that is `eye_height` above the archer's feet, m.

        heights: level distance from the archer, increasing and above 0, and height of the
            ground there over the archer's feet, m.
        Raises ValueError for distances out of order, for an eye that is not above the
        ground, and for a number that is not finite.
        """
        corners = np.array([(0.0, 0.0), *heights], dtype=np.float64)
        if not (np.isfinite(corners).all() and np.isfinite(eye_height)):
            raise ValueError("distances and heights of the ground must be finite")
        if not eye_height > 0.0:
            raise ValueError("the eye must be above the ground")
        if not (np.diff(corners[:, 0]) > 0.0).all():
            raise ValueError("distances along the ground must be above 0 and increase")
        return cls(x=corners[:, 0].copy(), y=corners[:, 1] - eye_height)

    def height(self, x: Array) -> Array:
        """Height of the ground above the eye at level ways x, m, of the shape of x."""
        found: Array = np.interp(x, self.x, self.y)
        return found

    def rise(self, x: Array) -> Array:
        """Rise over run of the ground at level ways x; at a corner, of the ground behind it."""
        steepness = np.concatenate(([0.0], np.diff(self.y) / np.diff(self.x), [0.0]))
        found: Array = steepness[np.searchsorted(self.x, x, side="right")]
        return found

    @property
    def lowest(self) -> float:
        """Height above the eye of the lowest ground, m; below zero where it lies below."""
        return float(self.y.min())

    @property
    def highest(self) -> float:
        """Height above the eye of the highest ground, m."""
        return float(self.y.max())
