"""One fixed pin for many distances: where its arrow stays inside a zone of some height.

The pin is held on the middle of the zone, whatever the distance: the launch angle stays,
and the arrow passes the plane of a target at distance x at the height H(x) over the line of
sight. It is inside while |H(x)| <= half the zone. H bends downward all the way, so that an
arc taller than the zone leaves two spans, one before and one behind its top.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from scipy.optimize import elementwise

from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.flight.aim import aim, nearest_aim, require_ahead
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.flight.reach import reach, require_reached
from arrowloft.core.series import chebyshev, left_out, terms
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.held_heights import Fit, loosed
from arrowloft.core.sight.level_marks import STEEP, steepness
from arrowloft.core.sight.sight_window import NEAR_REACH, Span

FARTHEST = 150.0
"""Distance, m, at which a search ends that is not told where to."""

KNOTS = (16, 32, 64, 128)
"""Planes that each arrow is flown to; more where a series leaves out too much."""

GRID = 1001
"""Distances at which a path is looked at. Over 150 m, what comes and goes between two of them
rises by less than 1e-5 m over an edge of the zone."""


@dataclass(frozen=True, kw_only=True)
class PinSpans:
    """What each pin is good for; one entry a pin, SI.

    aimed: the flights to the pins' own distances.
    spans: (from, to) of the distances in which the arrow is inside the zone, m, in order.
    own: index of the span that holds the pin's own distance; None where it was not searched.
    near, far: the distances searched, m.
    position_error: estimated error of a height, m.  airspeed_range: flown, m/s.
    """

    aimed: Aimed
    spans: list[list[Span]]
    own: list[int | None]
    near: float
    far: float
    position_error: float
    airspeed_range: tuple[float, float]


def nearest_searched(shot: Shot) -> float:
    """Where a search begins that is not told where from, m."""
    return max(float(nearest_aim(shot)) + 1e-9, STEEP * abs(float(shot.peep_height)))


def farthest_searched(shot: Shot) -> float:
    """Where a search ends that is not told where to, m: FARTHEST, or NEAR_REACH of the reach."""
    # Without its kinks a law is flown several times faster, and good to 1e-4 of the reach.
    smooth = shot.with_(kinks=())
    if aim(smooth, FARTHEST / NEAR_REACH).reached.all():
        return FARTHEST
    return NEAR_REACH * float(reach(smooth).distance[0])


def searched(shot: Shot, pins: Array, near: float | None = None, far: float | None = None) -> Span:
    """Ends of the distances in which the spans of pins, m, are looked for, m.

    near, far: as asked; left out, from as near as can be aimed to FARTHEST or NEAR_REACH of
    the reach, and to the farthest pin at least.  Raises Unsolved.
    """
    return (
        nearest_searched(shot) if near is None else near,
        max(farthest_searched(shot), float(pins.max())) if far is None else far,
    )


def pin_spans(
    shot: Shot,
    pins: Array,
    zone: float,
    near: float | None = None,
    far: float | None = None,
) -> PinSpans:
    """Spans of distances in which pins keep the arrow inside a zone.

    shot: every member a float.  pins: distances for which they are set, m.
    zone: height of the zone, m, whose middle is the aim point.
    near, far: distances between which spans are looked for, m; left out, as `searched` has it.

    Raises TooNear, BeyondReach, Unsolved; the lanes of the first two count the pins, then
    comes `near` for the one, `far` for the other.
    """
    near, far = searched(shot, pins, near, far)
    require_ahead(shot, np.concatenate((pins, [near])))
    flown = aim(shot, np.concatenate((pins, [far])))
    require_reached(shot, flown)
    aimed = flown.lanes(slice(0, pins.size))
    paths = Paths.flown(shot, aimed.launch_angle, near, _ends(shot, aimed, zone, near, far))
    spans = _spans(paths, 0.5 * zone)
    slow, fast = zip(paths.airspeed_range, aimed.airspeed_range, strict=True)
    return PinSpans(
        aimed=aimed,
        spans=spans,
        own=[_holding(some, float(pin)) for some, pin in zip(spans, pins, strict=True)],
        near=near,
        far=far,
        position_error=paths.error,
        airspeed_range=(min(slow), max(fast)),
    )


def _ends(shot: Shot, aimed: Aimed, zone: float, near: float, far: float) -> Array:
    """How far each path is followed, m: to where it has fallen out of the zone for certain.

    Behind a mark at which it falls, a path that bends downward lies below its tangent there.
    One that is out before `near` is followed back from there, out all the way.
    """
    falls = -steepness(shot, aimed.speed, aimed.descent_angle)
    with np.errstate(divide="ignore"):
        out = aimed.distance + 0.5 * zone / falls
    out = np.where(falls > 0.0, out, far)
    ends: Array = np.minimum(out, far)
    return ends


@dataclass(frozen=True, kw_only=True)
class Paths:
    """Heights of arrows loosed at held angles, against the distance, one series an arrow.

    near, far: ends of the distances, m; far is (arrows,).
    series: (arrows, terms).  error: estimated error of a height, m.
    """

    near: float
    far: Array
    series: Array
    error: float
    airspeed_range: tuple[float, float]

    @classmethod
    def flown(cls, shot: Shot, angles: Array, near: float, far: Array) -> "Paths":
        """One shot loosed at each angle. Raises Unsolved."""
        fit = Fit.good(_paths(shot, angles, near, far))
        return cls(
            near=near,
            far=far,
            series=fit.series,
            error=fit.error,
            airspeed_range=fit.flown.airspeed_range,
        )

    def grid(self, number: Array) -> Array:
        """Heights at the same numbers, -1 for near and 1 for far, (arrows, numbers)."""
        heights: Array = self.series @ terms(number, self.series.shape[1])
        return heights

    def points(self, arrows: Lanes, number: Array) -> Array:
        """Heights of one number for each of some arrows."""
        known = terms(number, self.series.shape[1])
        heights: Array = np.einsum("lk,kl->l", self.series[arrows], known)
        return heights

    def distance(self, arrows: Lanes, number: Array) -> Array:
        """The distances that numbers of some arrows stand for, m."""
        way: Array = 0.5 * ((1.0 - number) * self.near + (1.0 + number) * self.far[arrows])
        return way


def _paths(shot: Shot, angles: Array, near: float, far: Array) -> Iterator[Fit]:
    """Paths as series, each time of more terms than before."""
    for knots in KNOTS:
        number, to_series = chebyshev(knots)
        planes = near + 0.5 * (1.0 + number) * (far - near)[:, None]
        met = loosed(shot, np.repeat(angles, knots), planes.ravel())
        series = met.up.reshape(planes.shape) @ to_series
        yield Fit(series=series, missed=float(left_out(series).max()), flown=met)


def _spans(paths: Paths, half: float) -> list[list[Span]]:
    """The spans of each path inside the zone, whose edges lie at `half` up and down."""
    arrows, number = _crossings(paths, half)
    found = []
    for arrow in range(paths.far.size):
        marks = np.concatenate(([-1.0], np.sort(number[arrows == arrow]), [1.0]))
        lanes = np.full(marks.size, arrow)
        ends = paths.distance(lanes, marks).tolist()
        middle = paths.points(lanes[1:], 0.5 * (marks[1:] + marks[:-1]))
        inside = (np.abs(middle) <= half).tolist()
        found.append([span for span, within in zip(pairwise(ends), inside, strict=True) if within])
    return found


def _crossings(paths: Paths, half: float) -> tuple[Lanes, Array]:
    """Where paths cross the zone's edges: which arrow, and the number."""
    grid = np.linspace(-1.0, 1.0, GRID)
    over = paths.grid(grid) - np.array([half, -half])[:, None, None] > 0.0
    edge, arrows, step = np.nonzero(over[..., 1:] != over[..., :-1])
    level, ends = np.where(edge == 0, half, -half), (grid[step], grid[step + 1])
    if not arrows.size:
        return arrows, level

    def over_edge(number: Array, level: Array, arrow: Array) -> Array:
        return paths.points(arrow.astype(np.intp), number) - level

    found: Any = elementwise.find_root(over_edge, ends, args=(level, arrows.astype(float)))
    return arrows, found.x


def _holding(spans: list[Span], distance: float) -> int | None:
    """Which of the spans holds a distance; an edge may lie a rounding beside it."""
    for index, (first, last) in enumerate(spans):
        if first - 1e-6 <= distance <= last + 1e-6:
            return index
    return None
