"""Which targets can be shot past an obstacle, the line of sight kept."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.flight.aim import aim, nearest_aim
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import Unsolved, reach, require_reached
from arrowloft.core.path.clearance import arriving
from arrowloft.core.path.patches import Patches, Swept, margins
from arrowloft.core.series import chebyshev, left_out, terms
from arrowloft.core.setup.shot import Shot

KNOTS = (24, 64)
"""Targets solved for a search; the second number where the first is too coarse: for laws with
kinks and in the neighbourhood of the reach, where the angle goes like the root of what is
left to it. Up to NEAR_REACH the 64 leave out about 1e-6 m (measured)."""

LEFT_OUT = 1e-6
"""What a series of positions may leave out, m."""

ANGLE_LEFT_OUT = 1e-8
"""What the series of launch angles may leave out, rad."""

WORST = 1e-3
"""What the series may leave out at all, m: no more than is seen of an arrow in flight."""

GRID = 201
"""Targets at which a search looks; it looks closer where a touch may hide between two."""

CLOSER = 16
"""Parts of a step that may hide a touch."""

HALVINGS = 26
"""Halvings of a step, to 1e-8 of it: the end of a span then is as good as the positions."""

NEAR_REACH = 0.95
"""Share of the reach at which a search ends at the latest."""

EASY = 0.3
"""Rise of the impact per angle, as a share of the distance, that is far from the reach's
nothing: the reach need not be searched then, which costs more than all the rest."""

BEYOND = 1.001
"""A target just beyond an obstacle, as a multiple of the obstacle's distance."""


@dataclass(frozen=True, kw_only=True)
class ClearTargets:
    """Targets for which obstacles are clear; one entry an obstacle.

    nearest, farthest: the targets searched, m, (obstacles,).
    spans: (from, to) of the targets that are clear, m, in order.
    error: what the series of positions and angles behind them leave out, m.
    """

    nearest: Array
    farthest: Array
    spans: list[list[tuple[float, float]]]
    error: float


def farthest_target(shot: Shot, wanted: float, *, aim_off: bool = False) -> float:
    """How far a search goes, m: as far as wanted, or to NEAR_REACH of the reach.

    Raises TooNear, Unsolved.
    """
    aimed = aim(shot, np.array([wanted]), windage=aim_off)
    if float(aimed.lever[0]) >= EASY * wanted:  # NaN, beyond reach, is not
        return wanted
    steered = np.ones(1, dtype=bool) if aim_off else None
    limit = NEAR_REACH * float(reach(shot, steered).distance[0])
    return min(wanted, limit)


def clear_targets(
    shot: Shot,
    nock_lead: float,
    distance: Array,
    patches: Patches,
    envelope: float,
    farthest: float,
    *,
    aim_off: bool = False,
) -> ClearTargets:
    """Target distances for which each obstacle is clear, the line of sight kept.

    shot: every member a float.  distance: of the obstacles, m, (obstacles,).
    farthest: where the search ends, m; every target up to there must be in reach, and
    the obstacles must lie before it.  aim_off: whether the bow is turned into the wind.
    Raises BeyondReach, Unsolved.

    It starts just beyond the obstacle, or where an arrow just loosed can be aimed at all.
    Launch angles, and what tip and nock do at an obstacle's plane, are smooth in the
    logarithm of the target's distance: both are solved at Chebyshev points, all obstacles
    together. The margin is then read on a grid and its changes of sign are halved down.
    """
    least = 1.01 * float(nearest_aim(shot))
    far = np.full(distance.size, max(farthest, least, 1.0))
    near = np.minimum(np.maximum(np.maximum(BEYOND * distance, least), 1.0), far)
    middle, half = 0.5 * np.log(near * far), 0.5 * np.log(far / near)
    angles = _Angles.solved(shot, float(near.min()), float(far[0]), aim_off)
    found = _Positions.solved(shot, nock_lead, distance, middle, half, angles)
    spans = []
    for row, ends in enumerate(_clear_spans(found, patches, envelope)):
        way = np.exp(middle[row] + half[row] * np.array(ends))
        way = np.where(np.abs(ends) < 1.0, way, np.where(np.less(ends, 0.0), near[row], far[row]))
        spans.append([(float(first), float(last)) for first, last in way])
    error = found.missed + angles.missed * farthest
    if not error <= WORST:
        raise Unsolved("the path past an obstacle was not followed for every target")
    return ClearTargets(nearest=near, farthest=far, spans=spans, error=error)


@dataclass(frozen=True)
class _Angles:
    """Launch angle and yaw against the logarithm of the target's distance, as series.

    series: (2, terms).  missed: what they leave out, rad.
    """

    middle: float
    half: float
    series: Array
    missed: float

    @classmethod
    def solved(cls, shot: Shot, nearest: float, farthest: float, aim_off: bool) -> "_Angles":
        middle = 0.5 * float(np.log(nearest * farthest))
        half = max(0.5 * float(np.log(farthest / nearest)), 1e-9)
        for knots in KNOTS:
            points, to_series = chebyshev(knots)
            at = np.clip(np.exp(middle + half * points), nearest, farthest)
            aimed = aim(shot, at, windage=aim_off)
            require_reached(shot, aimed)
            series = np.array((aimed.launch_angle, aimed.yaw)) @ to_series
            missed = float(left_out(series).max())
            if missed <= ANGLE_LEFT_OUT:
                break
        return cls(middle, half, series, missed)

    def at(self, logarithm: Array) -> Array:
        """Launch angles and yaws for targets whose distances have these logarithms, rad."""
        numbers = np.clip((logarithm - self.middle) / self.half, -1.0, 1.0)
        angles: Array = np.tensordot(self.series, terms(numbers, self.series.shape[1]), axes=1)
        return angles


@dataclass(frozen=True)
class _Positions:
    """Tip's and nock's up and right at each obstacle's plane against the target.

    A target is a number from -1, the nearest, to 1, the farthest, on a logarithmic scale.
    series: (4, obstacles, terms).  missed: what they leave out, m.
    """

    series: Array
    missed: float

    @classmethod
    def solved(
        cls,
        shot: Shot,
        nock_lead: float,
        distance: Array,
        middle: Array,
        half: Array,
        angles: _Angles,
    ) -> "_Positions":
        # What the angles needed, the positions do.
        for knots in [count for count in KNOTS if count >= angles.series.shape[1]]:
            points, to_series = chebyshev(knots)
            angle, yaw = angles.at(middle[:, None] + half[:, None] * points)
            series = _positions(shot, nock_lead, distance, angle, yaw) @ to_series
            missed = float(left_out(series).max())
            if missed <= LEFT_OUT:
                break
        return cls(series, missed)

    def grid(self, at: Array) -> Swept:
        """At the same numbers for every obstacle, (obstacles, numbers)."""
        return _swept(self.series @ terms(at, self.series.shape[-1]))

    def points(self, rows: Lanes, at: Array) -> Swept:
        """At one number for each of the rows."""
        polynomials = terms(at, self.series.shape[-1])
        return _swept(np.einsum("crk,kr->cr", self.series[:, rows], polynomials))


def _swept(values: Array) -> Swept:
    return Swept(tip_up=values[0], tip_right=values[1], nock_up=values[2], nock_right=values[3])


def _positions(shot: Shot, nock_lead: float, distance: Array, angle: Array, yaw: Array) -> Array:
    """Tip's up and right, nock's up and right, (4, obstacles, targets)."""
    count = angle.size
    leads = np.repeat((float(shot.tip_lead), nock_lead), count)
    planes = np.tile(np.repeat(distance, angle.shape[1]), 2)
    angles, yaws = np.tile(angle.ravel(), 2), np.tile(yaw.ravel(), 2)
    met = arriving(impacts(shot.with_(tip_lead=leads), angles, planes, yaw=yaws))
    parts = [met.up[:count], met.right[:count], met.up[count:], met.right[count:]]
    return np.array(parts).reshape(4, *angle.shape)


def _clear_spans(found: _Positions, patches: Patches, envelope: float) -> list[Array]:
    """Spans of numbers from -1 to 1 in which each obstacle is clear, (spans, 2)."""
    rows, at, clear = _looked_at(found, patches, envelope)
    turn = np.flatnonzero((rows[1:] == rows[:-1]) & (clear[1:] != clear[:-1]))
    low, high, before = at[turn], at[turn + 1], clear[turn]
    here, faced = rows[turn], patches.take(rows[turn])
    for _ in range(HALVINGS if turn.size else 0):
        middle = 0.5 * (low + high)
        same = (margins(found.points(here, middle), faced, envelope) > 0.0) == before
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    ends = np.where(before, low, high)  # on the clear side
    spans = []
    for row in range(patches.bottom.size):
        inner = ends[here == row].tolist()
        marks = [-1.0, *inner] if clear[rows == row][0] else inner
        marks = [*marks, 1.0] if len(marks) % 2 else marks
        spans.append(np.reshape(marks, (-1, 2)))
    return spans


def _looked_at(found: _Positions, patches: Patches, envelope: float) -> tuple[Lanes, Array, Mask]:
    """Rows, numbers and whether they are clear: the grid, and closer where a touch may hide.

    A margin changes by no more than an end of the segment moves; so an obstacle can have
    come and gone between two clear targets only if their margins sum to less than that.
    """
    grid = np.linspace(-1.0, 1.0, GRID)
    swept = found.grid(grid)
    margin = margins(swept, patches.wider(1), envelope)
    moves = swept.take(np.s_[:, 1:]).moves(swept.take(np.s_[:, :-1]))
    first, second = margin[:, :-1], margin[:, 1:]
    row, step = np.nonzero((first > 0.0) & (second > 0.0) & (first + second <= moves))
    parts = np.arange(1, CLOSER) / CLOSER
    closer = (grid[step][:, None] + (grid[1] - grid[0]) * parts).ravel()
    their = np.repeat(row, parts.size)
    inner = margins(found.points(their, closer), patches.take(their), envelope)
    rows = np.concatenate((np.repeat(np.arange(len(margin)), GRID), their))
    at = np.concatenate((np.tile(grid, len(margin)), closer))
    clear = np.concatenate((margin.ravel(), inner)) > 0.0
    order = np.lexsort((at, rows))
    return rows[order], at[order], clear[order]
