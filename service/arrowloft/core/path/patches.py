"""Solid patches across the line of sight, and how far a passing arrow keeps from them.

A patch is a rectangle in a plane perpendicular to the line of sight: n is up, z right. An
arrow that passes that plane sweeps the segment from where its tip meets it to where its
nock does; shaft and vanes make it as thick as the envelope, a radius about its axis.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask

EDGES = ("bottom", "top", "left", "right")
"""The edges, in the order in which results count them."""

FAR = 1e9
"""Where an unbounded edge is put, m: beyond all that an arrow meets, and still a number."""


@dataclass(frozen=True, kw_only=True)
class Patches:
    """Rectangles, one a lane: bottom < top along n, left < right along z, m; may be infinite."""

    bottom: Array
    top: Array
    left: Array
    right: Array

    def box(self) -> Array:
        """Edges in the order of EDGES with FAR for the infinite, (4, lanes)."""
        return np.clip(np.array((self.bottom, self.top, self.left, self.right)), -FAR, FAR)

    def wider(self, axes: int) -> "Patches":
        """The same with `axes` axes added, so that each stands against many segments."""
        shape = (-1,) + (1,) * axes
        return Patches(
            bottom=self.bottom.reshape(shape),
            top=self.top.reshape(shape),
            left=self.left.reshape(shape),
            right=self.right.reshape(shape),
        )

    def take(self, lanes: Lanes) -> "Patches":
        """Some of the lanes."""
        return Patches(
            bottom=self.bottom[lanes],
            top=self.top[lanes],
            left=self.left[lanes],
            right=self.right[lanes],
        )


@dataclass(frozen=True, kw_only=True)
class Swept:
    """Segments swept in the planes of patches: where tip and nock meet them, m, arrays."""

    tip_up: Array
    tip_right: Array
    nock_up: Array
    nock_right: Array

    @property
    def extent(self) -> tuple[Array, Array, Array, Array]:
        """Lowest, highest, leftmost and rightmost of each segment, m."""
        return (
            np.minimum(self.tip_up, self.nock_up),
            np.maximum(self.tip_up, self.nock_up),
            np.minimum(self.tip_right, self.nock_right),
            np.maximum(self.tip_right, self.nock_right),
        )

    def moves(self, other: "Swept") -> Array:
        """Greatest way of an end from this segment to the other, m."""
        tip = np.hypot(self.tip_up - other.tip_up, self.tip_right - other.tip_right)
        nock = np.hypot(self.nock_up - other.nock_up, self.nock_right - other.nock_right)
        return np.maximum(tip, nock)

    def take(self, lanes: Any) -> "Swept":
        """Some of the segments: anything that indexes their arrays."""
        return Swept(
            tip_up=self.tip_up[lanes],
            tip_right=self.tip_right[lanes],
            nock_up=self.nock_up[lanes],
            nock_right=self.nock_right[lanes],
        )


def margins(swept: Swept, patches: Patches, envelope: float) -> Array:
    """Free space between arrow and patch, m; zero or less where they touch. Shapes broadcast.

    Outside, the Euclidean distance from the segment to the rectangle; where they overlap,
    minus the least move up, down, left or right that frees the segment. The envelope's
    radius comes off both. It is continuous in every argument.
    """
    box = patches.box()
    touching = _overlap(swept, box)
    apart = np.where(touching, -_depths(swept, box).min(axis=0), _distance(swept, box))
    margin: Array = apart - envelope
    return margin


def nearest_edges(swept: Swept, patches: Patches) -> Lanes:
    """The edge nearest the arrow, as an index into EDGES.

    Outside, the edge beyond which the whole segment lies farthest; where they overlap, the
    edge over which the least move frees it.
    """
    box = patches.box()
    low, high, leftmost, rightmost = swept.extent
    gaps = np.array((box[0] - high, low - box[1], box[2] - rightmost, leftmost - box[3]))
    best = np.where(_overlap(swept, box), -_depths(swept, box), gaps)
    nearest: Lanes = np.argmax(best, axis=0)
    return nearest


def _overlap(swept: Swept, box: Array) -> Mask:
    """Whether segment and rectangle share a point: no axis of theirs separates the two."""
    low, high, leftmost, rightmost = swept.extent
    apart = (low > box[1]) | (high < box[0]) | (leftmost > box[3]) | (rightmost < box[2])
    sides = _sides(swept, box)
    apart |= (sides.min(axis=0) > 0.0) | (sides.max(axis=0) < 0.0)
    overlap: Mask = ~apart
    return overlap


def _sides(swept: Swept, box: Array) -> Array:
    """On which side of the segment's line each corner lies, by cross products, (4, ...)."""
    rise, aside = swept.nock_up - swept.tip_up, swept.nock_right - swept.tip_right
    return np.array(
        [
            aside * (box[n] - swept.tip_up) - rise * (box[z] - swept.tip_right)
            for n in (0, 1)
            for z in (2, 3)
        ]
    )


def _depths(swept: Swept, box: Array) -> Array:
    """Moves down, up, left and right that free an overlapping segment, (4, ...)."""
    up, right = (swept.tip_up, swept.nock_up), (swept.tip_right, swept.nock_right)
    low, high = _range_within(up, right, box[2], box[3])
    leftmost, rightmost = _range_within(right, up, box[0], box[1])
    return np.array((high - box[0], box[1] - low, rightmost - box[2], box[3] - leftmost))


def _range_within(
    of: tuple[Array, Array], along: tuple[Array, Array], first: Array, last: Array
) -> tuple[Array, Array]:
    """Range of one coordinate over that part of the segment whose other lies in a band."""
    step = along[1] - along[0]
    still = np.abs(step) < 1e-12  # m: nothing against the radius of a shaft
    step = np.where(still, 1.0, step)
    ends = (first - along[0]) / step, (last - along[0]) / step
    enters = np.where(still, 0.0, np.clip(np.minimum(*ends), 0.0, 1.0))
    leaves = np.where(still, 1.0, np.clip(np.maximum(*ends), 0.0, 1.0))
    way = of[1] - of[0]
    one, other = of[0] + enters * way, of[0] + leaves * way
    return np.minimum(one, other), np.maximum(one, other)


def _distance(swept: Swept, box: Array) -> Array:
    """Euclidean distance of a segment from a rectangle that it does not overlap.

    The nearest points of two such shapes include an end of the one or a corner of the other.
    """
    ends = [
        _from_box(swept.tip_up, swept.tip_right, box),
        _from_box(swept.nock_up, swept.nock_right, box),
    ]
    corners = [_from_segment(swept, box[n], box[z]) for n in (0, 1) for z in (2, 3)]
    distance: Array = np.minimum.reduce(ends + corners)
    return distance


def _from_box(up: Array, right: Array, box: Array) -> Array:
    above = np.maximum(np.maximum(box[0] - up, up - box[1]), 0.0)
    aside = np.maximum(np.maximum(box[2] - right, right - box[3]), 0.0)
    distance: Array = np.hypot(above, aside)
    return distance


def _from_segment(swept: Swept, up: Array, right: Array) -> Array:
    rise, aside = swept.nock_up - swept.tip_up, swept.nock_right - swept.tip_right
    length = rise * rise + aside * aside
    along = (up - swept.tip_up) * rise + (right - swept.tip_right) * aside
    share = np.clip(along / np.where(length > 0.0, length, 1.0), 0.0, 1.0)
    distance: Array = np.hypot(
        swept.tip_up + share * rise - up, swept.tip_right + share * aside - right
    )
    return distance
