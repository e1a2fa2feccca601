"""The ground under the arrow's path: heights above it, level with the eye or on a slope (SI).

In the vertical plane of the line of sight, x level and y up from the eye, the ground runs
from the archer's feet (0, -eye height) straight to below the aim point,
(R cos(slope), R sin(slope) - target height). Rises and hollows bend it: vertical heights
over that straight line, joined by straight lines. A point of the line-of-sight frame is at

    x = s cos(slope) - n sin(slope),  y = s sin(slope) + n cos(slope).
"""

from dataclasses import dataclass, field
from typing import Self

import numpy as np

from arrowloft.core.arrays import Array

STEEPEST = np.tan(np.radians(80.0))
"""Steepest ground, as rise over run: beyond it eye and target heights are slips."""

ASLANT = 0.1
"""Least gain of distance along the line of sight per level way along the ground: below it
a plane across the line of sight hardly meets the ground at one place."""

_FAR = 2000.0  # m; how far the straight line is followed beyond either end


class Upright(ValueError):
    """Ground that would stand upright, or along the planes across the line of sight."""


@dataclass(frozen=True)
class Low:
    """Where a path runs low over the ground, m.

    height: the least height above the ground; below zero the arrow has met it.
    distance: where, along the line of sight.
    distances, heights: of the whole path, (points,).
    """

    height: float
    distance: float
    distances: Array
    heights: Array

    def below(self, height: float, before: float = np.inf) -> tuple[float, float] | None:
        """First and last distance at which the path is lower than a height; None: nowhere.

        Read between the points on straight lines, those up to the distance `before`.
        """
        over = self.heights[self.distances <= before] - height
        low = np.flatnonzero(over < 0.0)
        if not low.size:
            return None
        first, last = int(low[0]), int(low[-1])
        return self._crossing(over, first, first - 1), self._crossing(over, last, last + 1)

    def _crossing(self, over: Array, inside: int, outside: int) -> float:
        """Where the path crosses between a low point and its neighbour, or ends."""
        if not 0 <= outside < over.size:
            return float(self.distances[inside])
        share = over[inside] / (over[inside] - over[outside])
        way = self.distances[outside] - self.distances[inside]
        return float(self.distances[inside] + share * way)


@dataclass(frozen=True, kw_only=True)
class Ground:
    """The ground from the archer's feet to below the aim point.

    slope: of the line of sight, rad.  target: distance of the aim point, m.
    x, y: corners of the ground, level and up from the eye, m, (corners,), x increasing.
    """

    slope: float
    target: float
    x: Array = field(repr=False)
    y: Array = field(repr=False)

    @classmethod
    def under(
        cls,
        slope: float,
        target: float,
        eye_height: float,
        target_height: float,
        rises: tuple[tuple[float, float], ...] = (),
    ) -> Self:
        """The ground under a line of sight.

        eye_height, target_height: of eye and aim point, vertically above the ground, m.
        rises: distance along the line of sight of the point straight above, increasing
            and between eye and target, and vertical height over the straight line, m.
        Raises Upright.
        """
        end = target * np.cos(slope), target * np.sin(slope) - target_height
        tilt = (end[1] + eye_height) / end[0]
        at = np.array([distance * np.cos(slope) for distance, _ in rises])
        bent = np.array([height for _, height in rises])
        x = np.concatenate(([-_FAR, 0.0], at, [end[0], end[0] + _FAR]))
        y = tilt * x - eye_height
        y[2:-2] += bent
        steep = np.diff(y) / np.diff(x)
        gains = np.cos(slope) + steep * np.sin(slope)
        if np.abs(steep).max() > STEEPEST or gains.min() < ASLANT:
            raise Upright("the ground would stand upright")
        return cls(slope=slope, target=target, x=x, y=y)

    def height(self, distance: Array, up: Array) -> Array:
        """Vertical height above the ground of points of the line-of-sight frame, m."""
        x, y = self._level(distance, up)
        return y - np.interp(x, self.x, self.y)

    def up(self, distance: float, height: float) -> float:
        """Find n of the point in the plane at `distance` whose vertical height is `height`, m.

        The points of that height run parallel to the ground, corner by corner, and their
        distance along the line of sight increases with x: one of them lies in the plane.
        """
        cosine, sine = np.cos(self.slope), np.sin(self.slope)
        y = self.y + height
        x = np.interp(distance, self.x * cosine + y * sine, self.x)
        return float(np.interp(x, self.x, y) * cosine - x * sine)

    def low(self, distance: Array, up: Array) -> Low:
        """Where a path, given by points in order of x, runs low over the ground.

        The path is smooth and the ground has corners, so the path is read there too.
        """
        x, y = self._level(distance, up)
        corners = self.x[(self.x > x[0]) & (self.x < x[-1])]
        order = np.argsort(np.concatenate((x, corners)), kind="stable")
        along = np.concatenate((distance, np.interp(corners, x, distance)))[order]
        heights = np.concatenate((y, np.interp(corners, x, y)))[order]
        level = np.concatenate((x, corners))[order]
        heights = heights - np.interp(level, self.x, self.y)
        lowest = int(np.argmin(heights))
        return Low(float(heights[lowest]), float(along[lowest]), along, heights)

    def _level(self, distance: Array, up: Array) -> tuple[Array, Array]:
        cosine, sine = np.cos(self.slope), np.sin(self.slope)
        return distance * cosine - up * sine, distance * sine + up * cosine
