"""The archer's usual roll: what it adds to a group, and from which distance on it matters."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import erf, erfc

from arrowloft.core.archer.groups import Group
from arrowloft.core.archer.shares import share_in_circle
from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.flight.aim import nearest_aim
from arrowloft.core.flight.motion import sideways
from arrowloft.core.flight.reach import BeyondReach, reach
from arrowloft.core.level.cant import CantTable
from arrowloft.core.level.roll_series import MOST_ROLL, RolledShot, rolled
from arrowloft.core.setup.shot import Shot

_FARTHEST_ROLL = 5.0
"""Standard deviations of the roll that its spread looks at: 6e-7 of the shots are beyond."""

_EVEN_ROLLS = 17
"""Rolls that a spread takes: the sum over even steps of a normal variable, 0.6 standard
deviations here, is exact to a rounding for what is as smooth as a sine."""


def _normal_rolls(scatter: float) -> tuple[Array, Array]:
    """Rolls, rad, and weights that average over a normal roll; none beyond 45 degrees."""
    at = np.linspace(-_FARTHEST_ROLL, _FARTHEST_ROLL, _EVEN_ROLLS)
    weights = np.exp(-0.5 * at**2)
    return np.clip(scatter * at, -MOST_ROLL, MOST_ROLL), weights / weights.sum()


def roll_spread(shot: RolledShot, scatter: float) -> Array:
    """Standard deviation of the sideways shift that a scatter of the roll makes, (rows,), m.

    scatter: standard deviation of the roll about level, rad; the roll is taken as normal,
    and as 45 degrees beyond that. NaN where an arrow so rolled never arrives.
    """
    rolls, weights = _normal_rolls(scatter)
    right, _ = shot.shift(rolls)
    mean = right @ weights
    spread: Array = np.sqrt((right - mean[:, None]) ** 2 @ weights)
    return spread


@dataclass(frozen=True, kw_only=True)
class GroupTable:
    """An archer's group at each distance, with and without roll; (rows,), SI.

    group_vertical, group_sideways: standard deviations, grown in proportion to distance, m.
    share_level: share of arrows within the allowance of their mean, the bow held level.
    share_rolled: the same with the usual roll; roll_spread: standard deviation that roll
        adds sideways, m; roll_share: as a share of group_sideways. None without a scatter;
        the last two NaN where a rolled arrow never arrives (it counts as outside).
    """

    group_vertical: Array
    group_sideways: Array
    share_level: Array
    share_rolled: Array | None
    roll_spread: Array | None
    roll_share: Array | None


def group_table(table: CantTable, group: Group, scatter: float | None = None) -> GroupTable:
    """The group at the table's distances; scatter: standard deviation of the roll, rad.

    With roll, the share is that of a group about the shifted impact, averaged over a
    normal roll: the roll must not be in the group already.
    """
    vertical = group.angular_vertical * table.distance
    wide = group.angular_sideways * table.distance
    inside = added = part = None
    if scatter is not None:
        added = roll_spread(table.rolled, scatter)
        part = added / wide
        inside = _share_rolled(table, group, scatter)
    return GroupTable(
        group_vertical=vertical,
        group_sideways=wide,
        share_level=share_in_circle(table.allowance, vertical, wide),
        share_rolled=inside,
        roll_spread=added,
        roll_share=part,
    )


_EDGE = 6.0
"""Standard deviations of the group by which the edge of the allowance is wide: a mean impact
that far inside or outside leaves 2e-8 of the arrows on the other side."""

_LAST_ROLL = 6.5
"""Standard deviations of the roll at which shares end: 8e-11 of the shots are beyond."""

_NO_SHARE = 1e-7
"""Share of the shots below which rolls beyond 45 degrees are left out."""

_NODES, _NODE_WEIGHTS = np.polynomial.legendre.leggauss(20)
"""Rolls across the edge; they leave 2e-6 of a share (measured)."""


_MOST_ROWS, _ROW_STEP, _ROUGH = 96, 0.02, 1e-5
"""Rows worked out one by one; step of the logarithm of the distance at which more rows are,
which leaves 1e-5 of a share (measured); share of the shots beyond 45 degrees from which the
shares are not smooth enough in the distance for that."""


def _share_rolled(table: CantTable, group: Group, scatter: float) -> Array:
    """Share of arrows within the allowance with the usual roll, (rows,); as `group_table`."""
    distance, first, rows = np.unique(table.distance, return_index=True, return_inverse=True)
    few = distance.size <= _MOST_ROWS or erfc(MOST_ROLL / scatter / np.sqrt(2.0)) > _ROUGH
    kept = np.arange(distance.size) if few else _apart(np.log(distance))
    chosen = first[kept]
    # In still air the sides mirror each other.
    sides = (1, -1) if sideways(table.rolled.shot) else (1,)
    parts = [
        _share_of_side(table.rolled.rows(chosen), table.allowance[chosen], group, scatter, side)
        for side in sides
    ]
    share: Array = np.mean(parts, axis=0)
    if not few:
        spline = CubicSpline(np.log(distance[kept]), share)
        share = np.clip(spline(np.log(distance)), 0.0, 1.0)
    return share[rows]


def _apart(at: Array) -> Lanes:
    """Of ascending values, the least so many that each lies within a step between two of them."""
    kept = [0]
    for row in range(1, at.size - 1):
        if at[row + 1] - at[kept[-1]] > _ROW_STEP:
            kept.append(row)
    return np.array([*kept, at.size - 1])


def _share_of_side(
    flown: RolledShot, allowance: Array, group: Group, scatter: float, side: int
) -> Array:
    """That share among arrows of bows rolled to one side, (rows,).

    The shift grows with the roll: up to one roll the whole group is inside, from another
    on it is outside. Between the two, share times normal density is integrated by
    Gauss-Legendre, so that its nodes are as close as the group is narrow. Rolls beyond 45
    degrees are taken as 45.
    """
    vertical, wide = (
        angular * flown.distance for angular in (group.angular_vertical, group.angular_sideways)
    )
    edge = _EDGE * np.maximum(vertical, wide)
    inner, outer = allowance - edge, allowance + edge
    last = min(MOST_ROLL, _LAST_ROLL * scatter)

    def roll_to(displacement: Array) -> Array:
        return np.fmin(flown.largest_roll(displacement, side), last)

    start = np.where(inner > 0.0, roll_to(np.where(inner > 0.0, inner, outer)), 0.0)
    end = roll_to(outer)
    half = 0.5 * (end - start)
    rolls = (0.5 * (start + end))[:, None] + half[:, None] * _NODES
    beyond = float(erfc(MOST_ROLL / scatter / np.sqrt(2.0)))
    if beyond > _NO_SHARE:
        rolls = np.concatenate((rolls, np.full((start.size, 1), MOST_ROLL)), axis=1)
    right, up = flown.shift(side * rolls)
    radius, high, broad = (v[:, None] for v in (allowance, vertical, wide))
    inside = np.nan_to_num(share_in_circle(radius, high, broad, up, right), nan=0.0)
    density = np.sqrt(2.0 / np.pi) / scatter * np.exp(-0.5 * (rolls / scatter) ** 2)
    weights = half[:, None] * _NODE_WEIGHTS * density[:, : _NODES.size]
    share: Array = erf(start / scatter / np.sqrt(2.0))
    share += (inside[:, : _NODES.size] * weights).sum(axis=1)
    return share + beyond * inside[:, -1] if beyond > _NO_SHARE else share


NEAREST, USUAL, FARTHEST = 1.0, 100.0, 300.0
"""Distances, m, between which a share is looked for; up to the usual ones first, which
spares the long flights that take most of the time."""

OF_REACH = 0.9
"""Share of the reach at which that search ends: nearer to it flights are hard to follow."""

_NEAR_ROUNDS, _FAR_ROUNDS = (24, 9, 9), (9, 9)
"""Distances of the rounds of that search, each closing in on a step of the one before: the
last steps are 0.3 % up to the usual distances and 2 % beyond, and the share is nearly a power
of the distance there."""


def matters_from(shot: Shot, group: Group, scatter: float, share: float) -> float:
    """Distance, m, from which roll adds `share` of the group's sideways spread, or more.

    The least d with roll_spread(d) >= share * group_sideways(d), between the nearest
    distance that can be shot (1 m at least) and 0.9 of the reach (300 m at most); good
    to 1e-4 of itself. The nearest where it is so from there on; NaN where it never is.

    Raises Unsolved.
    """

    def part_at(distance: Array) -> Array:
        spread = roll_spread(rolled(shot, distance), scatter)
        part: Array = spread / (group.angular_sideways * distance) / share
        return part

    near = max(NEAREST, float(nearest_aim(shot)))
    try:
        found = _first_one(part_at, near, USUAL, _NEAR_ROUNDS)
    except BeyondReach as beyond:
        return _first_one(part_at, near, OF_REACH * beyond.farthest, _NEAR_ROUNDS)
    if found < OF_REACH * USUAL:  # the reach is beyond the usual distances
        return found
    end = min(FARTHEST, OF_REACH * float(reach(shot).distance[0]))
    if np.isnan(found) and end > USUAL:
        return _first_one(part_at, USUAL, end, _FAR_ROUNDS)
    return found if found <= end else float("nan")


def _first_one(
    value_at: Callable[[Array], Array], near: float, far: float, rounds: tuple[int, ...]
) -> float:
    """Where a value that grows with the distance comes to 1; `near` if beyond it there."""
    if not far > near:
        return float("nan")
    for count in rounds:
        grid = np.geomspace(near, far, count)
        grid[0], grid[-1] = near, far
        value = value_at(grid)
        passed = np.flatnonzero(value >= 1.0)
        if not passed.size:
            return float("nan")
        first = int(passed[0])
        if first == 0:
            return near
        near, far = float(grid[first - 1]), float(grid[first])
    low, high = np.log(value[first - 1]), np.log(value[first])
    return float(near * (far / near) ** (low / (low - high)))
