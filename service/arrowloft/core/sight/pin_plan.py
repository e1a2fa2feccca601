"""The best fixed pins over a span of distances: the largest error is as small as can be.

Each distance x is shot with the pin that errs least there, held on the aim point: an arrow
loosed at the pin's launch angle a passes at the height H(x, a). An error of at most e at x
wants a pin among the angles A(x) = [a(x, -e), a(x, e)], which bring the arrow to those heights.
The fewest pins for all distances are the fewest angles that hit every A(x). The least upper
end of the A(x) that are not yet hit is such an angle, again and again: this is the classical
stabbing of intervals, and leaves none fewer whatever the order of the A(x); close to the
archer, where the marks fall with distance, they come in any.  e is halved down to where the
pins just suffice; a pin that has room to spare then is centred over what it serves.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import brentq, elementwise

from arrowloft.core.arrays import Array, Mask
from arrowloft.core.flight.aim import aim, require_ahead
from arrowloft.core.flight.reach import BeyondReach, reach
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.held_heights import HeldHeights, Inverse
from arrowloft.core.sight.sight_window import NEAR_REACH, Span

MARKS = 33
"""Distances whose marks say between which angles the pins are."""

ROOM = 0.02
"""How much wider than that the table of heights is, as a share."""

GRID = 1001
"""Distances at which the angles are looked at, even in the logarithm: the error left is
the least to about 1e-5 of itself (measured)."""

PIECES = 129
"""Distances at which one pin's span is looked at to centre the pin."""

ROUNDS = 32
"""Halvings of the error, to 1e-9 of what equal steps leave."""

LOOK = 2001
"""Distances at which the error that pins leave is looked at."""

FULL_LEVER = 0.6
"""Rise of the impact per angle, as a share of the distance, that is far from the reach's
nothing: the reach need not be searched then."""


class CloseToReach(ValueError):
    """A span that ends so close to the reach that marks run away; farthest: where it may, m."""

    def __init__(self, farthest: float) -> None:
        super().__init__(f"pins are placed up to {farthest:.2f} m")
        self.farthest = farthest


@dataclass(frozen=True, kw_only=True)
class Service:
    """What pins do over a span of distances, each shot with the pin that errs least there.

    spans: (from, to) of the distances that each pin serves, m, in order.
    worst, at: greatest error of each pin there, m, and its distance; 0 and NaN where a pin
        serves none.
    """

    spans: list[list[Span]]
    worst: Array
    at: Array

    @property
    def worst_pin(self) -> int:
        """Which of the pins errs most."""
        return int(self.worst.argmax())


@dataclass(frozen=True, kw_only=True)
class PinPlan:
    """The best pins, and pins in equal steps beside them; SI.

    near, far: the span of distances.
    launch_angle: of the best pins, rising, (pins,).
    mark: farthest distance of the span for which each is the mark.
    rising: whether the arrow rises through the line of sight there, close to the archer.
    service, equal_service: what the best pins and those in equal steps do.
    equal: distances of the pins in equal steps.
    error: estimated error of an angle, rad.  position_error: of a height, m.
    """

    near: float
    far: float
    launch_angle: Array
    mark: Array
    rising: Mask
    service: Service
    equal: Array
    equal_service: Service
    error: float
    position_error: float
    airspeed_range: tuple[float, float]


def best_pins(shot: Shot, count: int, near: float, far: float) -> PinPlan:
    """The best `count` pins of one shot (every member a float) over near to far, m.

    Raises TooNear for `near`, BeyondReach for `far`, CloseToReach, Unsolved.
    """
    _require_room(shot, near, far)
    equal = equal_steps(count, near, far)
    ways = np.concatenate((equal, np.geomspace(near, far, MARKS)))
    aimed = aim(shot, np.clip(ways, near, far))
    low, high = float(aimed.launch_angle.min()), float(aimed.launch_angle.max())
    room = ROOM * (high - low) + 1e-6
    heights = HeldHeights.flown(shot, (near, far), (low - room, high + room))
    equal_service = served(heights, aimed.launch_angle[:count])
    angles = centred(heights, stabbed(heights, count, float(equal_service.worst.max())))
    mark, rising = _marks(heights, angles)
    slow, fast = zip(heights.airspeed_range, aimed.airspeed_range, strict=True)
    return PinPlan(
        near=near,
        far=far,
        launch_angle=angles,
        mark=mark,
        rising=rising,
        service=served(heights, angles),
        equal=equal,
        equal_service=equal_service,
        error=float(aimed.error.max()) + heights.error / near,
        position_error=heights.error,
        airspeed_range=(min(slow), max(fast)),
    )


def _require_room(shot: Shot, near: float, far: float) -> None:
    """Raise TooNear, BeyondReach or CloseToReach for the ends of the span."""
    require_ahead(shot, np.array([near]))
    there = aim(shot, far)
    if there.reached.all() and float(there.lever[0]) >= FULL_LEVER * far:
        return
    farthest = float(reach(shot).distance[0])
    if not there.reached.all():
        raise BeyondReach(farthest, (0,))
    if far > NEAR_REACH * farthest:
        raise CloseToReach(NEAR_REACH * farthest)


def equal_steps(count: int, near: float, far: float) -> Array:
    """Distances of pins in equal steps, both ends among them, m; one pin: the middle."""
    return np.array([0.5 * (near + far)]) if count == 1 else np.linspace(near, far, count)


def stabbed(heights: HeldHeights, count: int, enough: float) -> Array:
    """Angles of at most `count` pins, rad, that leave the least error; `enough` they can.

    Each is as high as it may be: the nearest of its distances err by all of it.
    """
    inverse = heights.inverse(np.geomspace(heights.near, heights.far, GRID))
    rows = np.ones(GRID)
    low, high = 0.0, enough * (1.0 + 1e-9)
    best = _fewest(*inverse.bounds(high * rows), count)
    assert best is not None, "equal steps are pins as well"
    for _ in range(ROUNDS):
        middle = 0.5 * (low + high)
        found = _fewest(*inverse.bounds(middle * rows), count)
        if found is None:
            low = middle
        else:
            high, best = middle, found
    return np.array(best)


def _fewest(low: Array, high: Array, most: int) -> list[float] | None:
    """The fewest angles that hit every [low, high], rising; None where `most` do not.

    low, high: along the distances, (rows,), straight between two of them. Hit by angles up to
    `pin` are exactly the intervals that begin at or below it: those that end before it have
    been hit by the pins before.
    """
    pins: list[float] = []
    pin = -np.inf
    left = low > pin
    while left.any():
        if len(pins) == most:
            return None
        pin = float(high[left].min())
        edges = np.flatnonzero(left[1:] != left[:-1])
        if edges.size:
            share = (pins[-1] - low[edges]) / (low[edges + 1] - low[edges])
            pin = min(pin, float((high[edges] + share * (high[edges + 1] - high[edges])).min()))
        pins.append(pin)
        left = low > pin
    return pins


def centred(heights: HeldHeights, angles: Array) -> Array:
    """The angles, each moved so that it errs as little as it can over what it serves, rad.

    As many as serve any distance: a pin that errs least nowhere is left out.
    """
    pieces = [spans for spans in served(heights, angles).spans if spans]
    ways = [
        np.concatenate([np.linspace(first, last, PIECES) for first, last in spans])
        for spans in pieces
    ]
    return np.array([_middle(heights.inverse(way)) for way in ways])


def _middle(inverse: Inverse) -> float:
    """The angle whose greatest error over the rows is least, rad.

    The error at which the angles that each row allows begin to have one in common: that one.
    """
    rows = np.ones(len(inverse.heights))

    def apart(error: float) -> float:
        least, most = inverse.bounds(error * rows)
        return float(least.max() - most.min())

    most = float(np.abs(inverse.heights).max())
    error = brentq(apart, 0.0, most, xtol=1e-12)
    return float(inverse.bounds(error * rows)[0].max())


def served(heights: HeldHeights, angles: Array) -> Service:
    """What pins at these launch angles do over the span of the heights."""
    grid = np.linspace(heights.near, heights.far, LOOK)
    up = heights.at(grid, angles)
    owner = np.abs(up).argmin(axis=0)
    turn = np.flatnonzero(owner[1:] != owner[:-1])
    edges = _even(heights, angles[owner[turn]], angles[owner[turn + 1]], grid[turn], grid[turn + 1])
    ends = [heights.near, *edges.tolist(), heights.far]
    who = owner[np.concatenate((turn, [LOOK - 1]))].tolist()
    spans: list[list[Span]] = [[] for _ in angles]
    worst, at = np.zeros(angles.size), np.full(angles.size, np.nan)
    for pin, first, last in zip(who, ends[:-1], ends[1:], strict=True):
        spans[pin].append((first, last))
        error, where = _most(heights, angles[pin : pin + 1], grid, up[pin], (first, last))
        if not error <= worst[pin] or np.isnan(at[pin]):
            worst[pin], at[pin] = error, where
    return Service(spans=spans, worst=worst, at=at)


def _even(heights: HeldHeights, one: Array, other: Array, low: Array, high: Array) -> Array:
    """Distances between low and high at which two pins err alike, m, (pairs,)."""

    def gap(way: Array, one: Array, other: Array) -> Array:
        return np.abs(heights.pairs(way, one)) - np.abs(heights.pairs(way, other))

    return _root(gap, low, high, one, other)


def _root(function: Any, low: Array, high: Array, *beside: Array) -> Array:
    """Roots of a function of distance, one in each bracket, m."""
    if not low.size:
        return low
    found: Any = elementwise.find_root(function, (low, high), args=beside)
    root: Array = found.x
    return root


def _most(
    heights: HeldHeights, angle: Array, grid: Array, up: Array, span: Span
) -> tuple[float, float]:
    """Greatest error of one pin over a span, m, and where: at an end, or at the top of an arc."""
    inside = (grid > span[0]) & (grid < span[1])
    ways = np.concatenate(([span[0]], grid[inside], [span[1]]))
    ends = np.abs(heights.at(np.array(span), angle)[0])
    size = np.concatenate((ends[:1], np.abs(up[inside]), ends[1:]))
    top = int(size.argmax())
    if 1 < top < size.size - 2:
        before, here, after = size[top - 1 : top + 2]
        bend = before - 2.0 * here + after
        shift = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
        return float(here + 0.25 * (after - before) * shift), float(
            ways[top] + shift * (grid[1] - grid[0])
        )
    return float(size[top]), float(ways[top])


def _marks(heights: HeldHeights, angles: Array) -> tuple[Array, Mask]:
    """The farthest distance for which each angle is the mark, m; where the arrow rises there.

    An angle that is centred over some distances is the mark of one of them.
    """
    grid = np.linspace(heights.near, heights.far, LOOK)
    over = heights.at(grid, angles) > 0.0
    step = LOOK - 2 - (over[:, 1:] != over[:, :-1])[:, ::-1].argmax(axis=1)
    found = _root(heights.pairs, grid[step], grid[step + 1], angles)
    return found, over[np.arange(angles.size), step + 1]
