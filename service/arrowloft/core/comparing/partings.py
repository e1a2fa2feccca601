"""Partings: the distance from which on a set-up differs from the baseline by more than a tolerance.

Found between the distances asked for, not at them: from series where these hold, else from
fans of marched flights.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.comparing.side_by_side import AimedSetups

READ_AT = 65
"""Distances at which a difference is looked at for its first excess."""

SETTLED, CLOSE = 1e-10, 1e-11
"""Miss of the tolerance, m, or width of a bracket as a share of the distance, that is a root."""

MOST_STEPS = 40
"""Most steps to that; it takes about eight."""

SHORT_OF_REACH = 1e-3
"""How much short of a set-up's reach it is looked at last, m: the reach is known less well."""

AMPLE = 1e3
"""Difference of an arrow that never arrives, m."""


@dataclass(frozen=True)
class Parting:
    """Where set-ups part from the baseline; arrays (set-ups,), NaN where they never do.

    distance: the first at which the difference reaches the tolerance, m; the nearest asked
        for where it is greater there already.
    difference: of the impact, upward or right positive, or of the travel, down positive, m; NaN
        where the arrow falls short of the target altogether.
    reynolds_at_launch, reynolds_at_arrival: of each set-up there, by its own mark.
    baseline_at_launch, baseline_at_arrival: of the baseline there.
    """

    distance: Array
    difference: Array
    reynolds_at_launch: Array
    reynolds_at_arrival: Array
    baseline_at_launch: Array
    baseline_at_arrival: Array


def parting_by_height(aimed: AimedSetups, tolerance: float) -> Parting:
    """Where the impact with the baseline's mark is farther off than the tolerance, m."""
    return _parting(aimed, _Sought(tolerance, lambda gaps: gaps.up, AMPLE))


def parting_aside(aimed: AimedSetups, tolerance: float) -> Parting:
    """Where the impact with the baseline's mark is farther aside than the tolerance, m."""
    # What never arrives parts by its height; it is nowhere aside.
    return _parting(aimed, _Sought(tolerance, lambda gaps: gaps.right, 0.0))


def parting_by_travel(aimed: AimedSetups, tolerance: float) -> Parting:
    """Where the travel of the pin from its zero mark differs by more than the tolerance, m.

    Raises ValueError without a sight.
    """
    if aimed.sight is None:
        raise ValueError("travel needs a sight")
    # What was not aimed at, right at the reach, is no excess.
    return _parting(aimed, _Sought(tolerance, lambda gaps: gaps.travel, 0.0))


_Gap = Callable[[Array, Lanes], Array]


@dataclass(frozen=True)
class _Sought:
    """A tolerance, m, of which difference, and what counts for one that is NaN."""

    tolerance: float
    of: Callable[["_Gaps"], _Gap]
    unknown: float


class _Gaps(ABC):
    """Differences from the baseline at any distance, m, (lanes,); `which`: each lane's set-up."""

    def __init__(self, aimed: AimedSetups) -> None:
        self.aimed = aimed

    @abstractmethod
    def aims(self, distance: Array, which: Lanes) -> tuple[Array, Array]:
        """Launch angle, rad, and airspeed at arrival, m/s; NaN where out of reach."""

    @abstractmethod
    def up(self, distance: Array, which: Lanes) -> Array:
        """Height of the impact with the baseline's mark, above the baseline's."""

    @abstractmethod
    def right(self, distance: Array, which: Lanes) -> Array:
        """How far the impact with the baseline's mark is to the right of the baseline's."""

    def travel(self, distance: Array, which: Lanes) -> Array:
        """Travel of the pin from the zero mark, each its own, beyond the baseline's."""
        sight, zero = self.aimed.sight, np.tan(self.aimed.zero_angle)
        assert sight is not None
        base = np.full(which.size, self.aimed.baseline)
        own, others = (np.tan(self.aims(distance, each)[0]) - zero[each] for each in (which, base))
        travel: Array = sight.radius * (own - others)
        return travel


class _Read(_Gaps):
    """Read from series."""

    def aims(self, distance: Array, which: Lanes) -> tuple[Array, Array]:
        curves = self.aimed.curves
        assert curves is not None
        return curves.angle(distance, which), curves.arrival_airspeed(distance, which)

    def up(self, distance: Array, which: Lanes) -> Array:
        curves = self.aimed.curves
        assert curves is not None
        return self.aimed.hits.up_at(curves.span, distance, which)

    def right(self, distance: Array, which: Lanes) -> Array:
        curves = self.aimed.curves
        assert curves is not None
        return self.aimed.hits.right_at(curves.span, distance, which)


class _Known(_Gaps):
    """Of the one distance that was asked for."""

    def aims(self, distance: Array, which: Lanes) -> tuple[Array, Array]:
        aims = self.aimed.rows.aims
        return aims[0, which, 0], aims[3, which, 0]

    def up(self, distance: Array, which: Lanes) -> Array:
        up: Array = self.aimed.hits.up[which, 0]
        return up

    def right(self, distance: Array, which: Lanes) -> Array:
        right: Array = self.aimed.hits.right[which, 0]
        return right


class _Marched(_Gaps):
    """Read from fans; the baseline, and whatever else they hold of, from series."""

    def aims(self, distance: Array, which: Lanes) -> tuple[Array, Array]:
        found = self._aims(distance, which)
        return found[0], found[1]

    def up(self, distance: Array, which: Lanes) -> Array:
        return self._loosed(distance, which)[0]

    def right(self, distance: Array, which: Lanes) -> Array:
        right: Array = self._loosed(distance, which)[1] - self._base(distance)[2]
        return right

    def _base(self, distance: Array) -> Array:
        return self._aims(distance, np.full(distance.size, self.aimed.baseline))

    def _aims(self, distance: Array, which: Lanes) -> Array:
        """Launch angle, airspeed at arrival and drift, (3, lanes)."""
        curves, fans = self.aimed.curves, self.aimed.fans
        assert fans is not None
        found = np.empty((3, which.size))
        smooth = np.zeros(which.size, dtype=bool)
        if curves is not None:
            smooth = np.isfinite(curves.error[which])
            part = distance[smooth], which[smooth]
            for row, read in enumerate((curves.angle, curves.arrival_airspeed, curves.drift)):
                found[row, smooth] = read(*part)
        fan, at = fans.place[which[~smooth]], distance[~smooth]
        series = fans.aiming(at, fan)
        angle = series.angle()
        marched = series.at(angle)
        found[:, ~smooth] = angle, marched.airspeed, marched.right
        return found

    def _loosed(self, distance: Array, which: Lanes) -> tuple[Array, Array]:
        """Where the tip comes up and to the right with the baseline's mark."""
        fans = self.aimed.fans
        assert fans is not None
        fan = fans.place[which]
        kept = self._base(distance)[0]
        read = fans.about(kept, distance, fan).at(kept)
        return read.up, read.right


def _parting(aimed: AimedSetups, sought: _Sought) -> Parting:
    """The first excess of each set-up, and what the flow is like there."""
    found = Parting(*np.full((6, aimed.setups.count), np.nan))
    every = np.arange(aimed.setups.count)
    # One that falls short of the nearest distance has nothing to compare.
    near = ~(aimed.rows.farthest < aimed.distances.min() + SHORT_OF_REACH)
    others = every[(every != aimed.baseline) & aimed.rows.followed & near]
    read = aimed.hits.read[others]
    points = READ_AT if aimed.curves is not None else 1
    for gaps, which in (
        (_Read(aimed), others[read]),
        (_Known(aimed) if aimed.fans is None else _Marched(aimed), others[~read]),
    ):
        if which.size:
            _find(found, gaps, which, sought, points)
    return found


def _find(found: Parting, gaps: _Gaps, which: Lanes, sought: _Sought, points: int) -> None:
    gap = sought.of(gaps)

    def excess(distance: Array, some: Lanes) -> Array:
        size = np.abs(gap(distance, some))
        return np.where(np.isnan(size), sought.unknown, size) - sought.tolerance

    grid = _grid(gaps.aimed, which, points)
    distance = _first_excess(excess, which, grid)
    part = np.flatnonzero(np.isfinite(distance))
    if not part.size:
        return
    at, own = distance[part], which[part]
    found.distance[own], found.difference[own] = at, gap(at, own)
    base = np.full(own.size, gaps.aimed.baseline)
    for each, launch, arrival in (
        (own, found.reynolds_at_launch, found.reynolds_at_arrival),
        (base, found.baseline_at_launch, found.baseline_at_arrival),
    ):
        angle, airspeed = gaps.aims(at, each)
        launched = gaps.aimed.setups.launch_airspeed(angle, each)
        launch[own] = gaps.aimed.setups.reynolds(launched, each)
        arrival[own] = gaps.aimed.setups.reynolds(airspeed, each)


def _grid(aimed: AimedSetups, which: Lanes, points: int) -> Array:
    """Distances to look at, up to a set-up's reach where it is short, (set-ups, points)."""
    low, high = float(aimed.distances.min()), float(aimed.distances.max())
    ends = np.fmin(high, aimed.rows.farthest[which] - SHORT_OF_REACH)
    if points == 1:
        return ends[:, None]
    grid = np.geomspace(np.full(ends.size, low), ends, points, axis=1)
    grid[:, 0], grid[:, -1] = low, ends
    return grid


def _first_excess(excess: _Gap, which: Lanes, grid: Array) -> Array:
    """First distance at which each set-up's excess is above zero, m; NaN: none, (set-ups,)."""
    each, points = np.arange(which.size), grid.shape[1]
    over = excess(grid.ravel(), np.repeat(which, points)).reshape(grid.shape)
    first = np.argmax(over > 0.0, axis=1)
    found = np.where(over[each, first] > 0.0, grid[each, first], np.nan)
    some = np.flatnonzero(np.isfinite(found) & (first > 0))
    if some.size:
        ends = np.array((first[some] - 1, first[some]))
        found[some] = _closed_in(
            lambda distance: excess(distance, which[some]), grid[some, ends], over[some, ends]
        )
    return found


def _closed_in(excess: Callable[[Array], Array], at: Array, over: Array) -> Array:
    """Roots in brackets, by false position that halves the value of an end which stays.

    at: (2, lanes), m; the excess `over` is not above zero at the first, and is at the second.
    """
    (near, far), (under, above) = at, over
    last = np.zeros(near.size)
    for _ in range(MOST_STEPS):
        # The made-up difference of an arrow that never arrives tells its side and no more.
        share = np.where(above < 0.5 * AMPLE, -under / (above - under), 0.5)
        middle: Array = near + share * (far - near)
        value = excess(middle)
        side = np.where(value > 0.0, 1.0, -1.0)
        stays = np.where(side == last, 0.5, 1.0)
        near, far = np.where(side > 0.0, near, middle), np.where(side > 0.0, middle, far)
        under, above = (
            np.where(side > 0.0, stays * under, value),
            np.where(side > 0.0, value, stays * above),
        )
        last = side
        if np.all((np.abs(value) <= SETTLED) | (far - near <= CLOSE * far)):
            break
    return middle
