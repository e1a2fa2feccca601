"""Outlines of patches of directions and of ground."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from scipy.spatial import ConvexHull

from arrowloft.core.arrays import Array, Mask

Bound: TypeAlias = Callable[[Array], Array]
"""Lowest or highest direction of a patch at bearings, rad."""

COLUMNS = 25
"""Bearings at which a stretch of a patch is bounded from below and above."""

PARTS = 48
"""The longest edge of a patch is drawn by as many points; others by their share."""

ROW = float(np.radians(2.0))
"""rad; a patch that is filled has directions no farther apart than that in a column."""

_AROUND = np.arange(8) * np.pi / 4.0
"""Ways from a place to its eight neighbours around it, rad."""


@dataclass(frozen=True, kw_only=True)
class Window:
    """Directions that end in a target: from left to right, and all up to `top`, rad."""

    left: float
    right: float
    top: float


@dataclass(frozen=True)
class Columns:
    """A patch of directions: at each bearing the lowest and the highest, rad, (columns,).

    Bearings never fall; a column of no height holds nothing and parts the patch.
    """

    bearing: Array
    low: Array
    high: Array

    @property
    def open(self) -> Mask:
        """Whether a column holds any direction, (columns,) bool."""
        return self.high > self.low

    def outline(self) -> tuple[Array, Array]:
        """Bearings and heights around the patch, clockwise with up above, not closed.

        Along the highest to the right, back along the lowest. Parts that lie apart are
        joined by straight lines, forth and back. Empty for a patch that holds nothing.
        """
        if not self.open.any():
            return np.empty(0), np.empty(0)
        beside = self._with_tips
        bearing, low, high = (part[beside] for part in (self.bearing, self.low, self.high))
        tips = ~self.open[beside]
        corners = np.concatenate((bearing, bearing[::-1])), np.concatenate((high, low[::-1]))
        return _drawn(*corners, np.concatenate((tips, tips[::-1])))

    def filled(self) -> tuple[Array, Array, float]:
        """Bearings and heights all over the patch, and how far apart neighbours are at most, rad.

        (directions,) each. Empty for a patch that holds nothing.
        """
        beside = self._with_tips
        bearing, low, high = (part[beside] for part in (self.bearing, self.low, self.high))
        if not bearing.size:
            return bearing, low, 0.0
        tall = float((high - low).max())
        rows = int(np.ceil(tall / ROW)) + 1
        heights = low + (high - low) * np.linspace(0.0, 1.0, rows)[:, None]
        apart = float(np.diff(self.bearing).max())  # closed columns, not the gap they leave
        return np.tile(bearing, rows), heights.ravel(), max(apart, tall / max(rows - 1, 1))

    @property
    def _with_tips(self) -> Mask:
        """Columns that are open, and those of no height beside them: the tips of their part."""
        held = self.open
        beside = held.copy()
        beside[1:] |= held[:-1]
        beside[:-1] |= held[1:]
        return beside


def ellipse(across: float, up: float, window: Window | None, ceiling: float = np.inf) -> Columns:
    """Directions within half axes `across` and `up` of the middle, less a window, rad.

    ceiling: none is higher than that over the middle.
    """

    def half(bearing: Array) -> Array:
        part: Array = up * np.sqrt(np.maximum(1.0 - (bearing / across) ** 2, 0.0))
        return part

    edges: tuple[float, ...] = ()
    if window is not None and abs(window.top) < up:  # where its top leaves the ellipse
        reach = across * np.sqrt(1.0 - (window.top / up) ** 2)
        edges = (-reach, reach)
    low, high = (lambda b: -half(b)), (lambda b: np.minimum(half(b), ceiling))
    return _columns(_stretches(across, window, edges), window, low, high)


def box(
    across: float, up: float, window: Window | None, down: float = 0.0, columns: int = COLUMNS
) -> Columns:
    """Directions from `down` below the middle to `up` above it, to either side, less a window.

    columns: on a stretch of bearings.
    """
    low, high = (lambda b: np.full_like(b, -down)), (lambda b: np.full_like(b, up))
    return _columns(_stretches(across, window, ()), window, low, high, columns)


def _stretches(across: float, window: Window | None, edges: tuple[float, ...]) -> Array:
    """Ends of stretches of bearings on which the bounds are smooth, (stretches + 1,)."""
    ends = [-across, across, *edges]
    if window is not None:
        ends += [window.left, window.right]
    found: Array = np.unique(np.clip(ends, -across, across))
    return found


def enough_columns(across: float) -> int:
    """Columns on a stretch that leave no more than ROW between them, or COLUMNS if fewer."""
    wanted = int(np.ceil(np.pi * across / ROW)) + 1  # the middle ones lie pi/2 times as far apart
    return min(max(wanted, 5), COLUMNS)


def _columns(
    ends: Array, window: Window | None, low: Bound, high: Bound, count: int = COLUMNS
) -> Columns:
    """Columns on every stretch, closer at its ends; those in the window begin above it."""
    spread = 0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, count))
    bearings, lows, highs = ([np.empty(0)] for _ in range(3))
    for start, end in pairwise(ends.tolist()):
        bearing = start + (end - start) * spread
        bottom, top = low(bearing), high(bearing)
        if window is not None and window.left < 0.5 * (start + end) < window.right:
            bottom = np.minimum(np.maximum(bottom, window.top), top)
        bearings.append(bearing)
        lows.append(bottom)
        highs.append(top)
    return Columns(*(np.concatenate(part) for part in (bearings, lows, highs)))


def _drawn(across: Array, up: Array, tips: Mask) -> tuple[Array, Array]:
    """Points along the edges of a closed line of corners; one for an edge between two tips."""
    ahead_across, ahead_up = (np.roll(part, -1) - part for part in (across, up))
    size = max(float(np.ptp(across)), float(np.ptp(up)))
    parts = np.ceil(PARTS * np.hypot(ahead_across, ahead_up) / size).astype(np.intp)
    parts = np.where(tips & np.roll(tips, -1), 1, np.maximum(parts, 1))
    edge = np.repeat(np.arange(across.size), parts)
    share = (np.arange(edge.size) - np.repeat(np.cumsum(parts) - parts, parts)) / parts[edge]
    return across[edge] + share * ahead_across[edge], up[edge] + share * ahead_up[edge]


def beyond(distance: Array, right: Array, line: float) -> tuple[Array, Array]:
    """The part of a patch of ground from a line across the range on, by its outline, open.

    Sutherland and Hodgman's clipping: points on the near side are left out, and one is put
    where an edge crosses the line. Empty for a patch that lies before it.
    """
    inside = distance >= line
    ahead, aside = np.roll(distance, -1), np.roll(right, -1)
    crosses = inside != np.roll(inside, -1)
    share = (line - distance) / np.where(crosses, ahead - distance, 1.0)
    across = right + share * (aside - right)
    # Each point, and after it the crossing of the edge that begins there.
    kept = np.stack((inside, crosses), axis=1).ravel()
    ways = np.stack((distance, np.full_like(distance, line)), axis=1).ravel()
    sides = np.stack((right, across), axis=1).ravel()
    return ways[kept], sides[kept]


def hull(distance: Array, right: Array, room: float) -> tuple[Array, Array]:
    """The least convex outline with `room` around every place, m, open."""
    reach = room / np.cos(0.5 * (_AROUND[1] - _AROUND[0]))  # of a polygon about the circle
    ways = (distance[:, None] + reach * np.cos(_AROUND)).ravel()
    sides = (right[:, None] + reach * np.sin(_AROUND)).ravel()
    corners = ConvexHull(np.column_stack((ways, sides))).vertices
    return ways[corners], sides[corners]


def signed_size(distance: Array, right: Array) -> float:
    """Area inside an open outline, m2, positive when clockwise from above (Gauss's formula)."""
    ahead, aside = np.roll(distance, -1), np.roll(right, -1)
    return float(0.5 * np.sum(distance * aside - ahead * right))
