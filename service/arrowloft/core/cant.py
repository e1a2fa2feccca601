"""Cant: how level a bow must be held for its arrows to stay within an allowance.

Each distance is aimed with the bow level; then the bow is rolled about the line of sight,
the aim point and the mark held, and the whole flight is followed again. The shift of an
impact is counted from where the level bow's arrow meets the target plane, wind and all.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from arrowloft.core.aim import aim
from arrowloft.core.arrays import Array
from arrowloft.core.flight import sideways
from arrowloft.core.groups import Group
from arrowloft.core.impacts import impacts
from arrowloft.core.reach import BeyondReach, reach, require_reached
from arrowloft.core.roll_series import MOST_ROLL, RolledShot, rolled
from arrowloft.core.shares import share_in_circle
from arrowloft.core.shot import Shot
from arrowloft.core.spirit_level import false_roll


@dataclass(frozen=True, kw_only=True)
class Allowance:
    """How far an impact may be off: a radius, m, or an angle seen from the eye, rad."""

    radius: float = 0.0
    angle: float = 0.0

    def at(self, distance: Array) -> Array:
        """The radius at each distance, m: radius + distance tan(angle), one of them zero."""
        allowed: Array = self.radius + distance * np.tan(self.angle)
        return allowed


@dataclass(frozen=True, kw_only=True)
class CantTable:
    """What cant does at each distance; rows in the order asked, SI.

    distance, allowance: (rows,), m.  cants: (cants,), rad, top limb to the right positive.
    right, up, displacement: shift of the impact and its size, (rows, cants), m; NaN where
        the canted bow's arrow never comes to the target plane.
    max_cant_left, max_cant_right: largest cant to either side within the allowance, (rows,),
        rad, as magnitudes; NaN where none up to 45 degrees leaves it.
    max_cant: the smaller of the two.
    rolled: the shot, to ask for other cants.
    """

    distance: Array
    allowance: Array
    cants: Array
    right: Array
    up: Array
    displacement: Array
    max_cant: Array
    max_cant_left: Array
    max_cant_right: Array
    rolled: RolledShot

    @property
    def error(self) -> float:
        """Estimated error of any shift, m."""
        return self.rolled.error

    @property
    def airspeed_range(self) -> tuple[float, float]:
        """Least and greatest airspeed flown, m/s."""
        return self.rolled.airspeed_range


def cant_table(shot: Shot, distances: Array, cants: Array, allowance: Allowance) -> CantTable:
    """Shifts of one shot (every member a float, its roll 0) at each distance, m, and cant, rad.

    Cants lie within 45 degrees either way (else ValueError). Without drag a cant b at a
    distance moves the impact D sin(b) sideways and D (1 - cos(b)) down, D being the drop
    below the line of departure; here every flight is whole.

    Raises TooNear, BeyondReach, Unsolved, whose lanes count the distances.
    """
    if np.any(np.abs(cants) > MOST_ROLL):
        raise ValueError("a cant lies beyond 45 degrees")
    flown = rolled(shot, distances)
    right, up = flown.shift(cants)
    allowed = allowance.at(distances)
    right_most = left_most = flown.largest_roll(allowed, 1)
    if sideways(shot):  # else the left is the right's mirror image
        left_most = flown.largest_roll(allowed, -1)
    return CantTable(
        distance=distances,
        allowance=allowed,
        cants=cants,
        right=right,
        up=up,
        displacement=np.hypot(right, up),
        max_cant=np.fmin(left_most, right_most),
        max_cant_left=left_most,
        max_cant_right=right_most,
        rolled=flown,
    )


_FARTHEST_ROLL = 5.0
"""Standard deviations of the roll that are looked at: 6e-7 of the shots are beyond."""

_COARSE, _MOST_NODES, _MOST_SHARES = 17, 81, 20_000
"""Rolls that an average takes, and shares (12 us each) that one table takes.

The sum over even steps of a normal variable, 0.6 standard deviations at 17 rolls, is exact
to a rounding for what is as smooth as a sine; shares have edges as narrow as the group
and want finer steps."""


def _normal_rolls(scatter: float, count: int) -> tuple[Array, Array]:
    """Rolls, rad, and weights that average over a normal roll; none beyond 45 degrees."""
    at = np.linspace(-_FARTHEST_ROLL, _FARTHEST_ROLL, count)
    weights = np.exp(-0.5 * at**2)
    return np.clip(scatter * at, -MOST_ROLL, MOST_ROLL), weights / weights.sum()


def roll_spread(shot: RolledShot, scatter: float) -> Array:
    """Standard deviation of the sideways shift that a scatter of the roll makes, (rows,), m.

    scatter: standard deviation of the roll about level, rad; the roll is taken as normal,
    and as 45 degrees beyond that. NaN where an arrow so rolled never arrives.
    """
    rolls, weights = _normal_rolls(scatter, _COARSE)
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
    sideways = group.angular_sideways * table.distance
    inside = added = part = None
    if scatter is not None:
        added = roll_spread(table.rolled, scatter)
        part = added / sideways
        inside = _share_rolled(table, vertical, sideways, scatter, part)
    return GroupTable(
        group_vertical=vertical,
        group_sideways=sideways,
        share_level=share_in_circle(table.allowance, vertical, sideways),
        share_rolled=inside,
        roll_spread=added,
        roll_share=part,
    )


def _share_rolled(
    table: CantTable, vertical: Array, sideways: Array, scatter: float, part: Array
) -> Array:
    # Steps of the roll that move the impact by 1.2 standard deviations of the group leave
    # exp(-2 pi^2 / 1.2^2) = 1e-6 of an edge.
    steps = 2.0 * _FARTHEST_ROLL / 1.2 * float(np.nanmax(part, initial=0.0))
    most = min(_MOST_NODES, max(_MOST_SHARES // part.size, _COARSE))
    count = int(np.clip(2 * np.ceil(0.5 * steps) + 1, _COARSE, most))
    rolls, weights = _normal_rolls(scatter, count)
    right, up = table.rolled.shift(rolls)
    radius, high, wide = (v[:, None] for v in (table.allowance, vertical, sideways))
    share = np.nan_to_num(share_in_circle(radius, high, wide, up, right), nan=0.0)
    average: Array = share @ weights
    return average


NEAREST, USUAL, FARTHEST = 1.0, 100.0, 1000.0
"""Distances, m, between which a share is looked for; up to the usual ones first, which
spares the long flights that take most of the time."""

_OF_REACH = 0.98
_FIRST, _AGAIN = 24, 9
"""Distances of the first round of that search and of the two that close in: the last steps
are 0.4 % where the first ones cover 1 to 400 m, and the share is nearly a power of the
distance there."""


def matters_from(shot: Shot, group: Group, scatter: float, share: float) -> float:
    """Distance, m, from which roll adds `share` of the group's sideways spread, or more.

    The least d with roll_spread(d) >= share * group_sideways(d), between the nearest
    distance that can be shot (1 m at least) and 0.98 of the reach (1000 m at most); good
    to 1e-4 of itself. The nearest where it is so from there on; NaN where it never is.

    Raises Unsolved.
    """

    def part_at(distance: Array) -> Array:
        spread = roll_spread(rolled(shot, distance), scatter)
        part: Array = spread / (group.angular_sideways * distance) / share
        return part

    near = max(NEAREST, float(shot.launch_forward + np.abs(shot.tip_lead)) + 0.1)
    try:
        found = _first_one(part_at, near, USUAL)
    except BeyondReach:
        found = float("nan")
    if not np.isnan(found):
        return found
    far = min(FARTHEST, _OF_REACH * float(reach(shot).distance[0]))
    return _first_one(part_at, near, far) if far > near else float("nan")


def _first_one(value_at: Callable[[Array], Array], near: float, far: float) -> float:
    """Where a value that grows with the distance comes to 1; `near` if beyond it there."""
    for count in (_FIRST, _AGAIN, _AGAIN):
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


@dataclass(frozen=True, kw_only=True)
class LevelTable:
    """What a level that is off does; a row for each slope and distance, slope by slope, SI.

    slope, distance, launch_angle; false_roll: roll of the bow whose bubble is centred, rad;
    right, up: shift of the impact by it, m.  All (rows,).
    error: estimated error of any shift, m.  airspeed_range: flown, m/s.
    """

    slope: Array
    distance: Array
    launch_angle: Array
    false_roll: Array
    right: Array
    up: Array
    error: float
    airspeed_range: tuple[float, float]


def level_table(
    shot: Shot, slopes: Array, distances: Array, second_axis: float, third_axis: float
) -> LevelTable:
    """False rolls of a level that is off, and their shifts, at slopes, rad, and distances, m.

    second_axis, third_axis: as in `spirit_level.false_roll`, rad. Each is aimed at its
    slope with the bow level, then flown with the bow rolled until the bubble is centred.

    Raises TooNear, BeyondReach, Unsolved, whose lanes are the rows.
    """
    slope, distance = np.repeat(slopes, distances.size), np.tile(distances, slopes.size)
    inclined = shot.with_(slope=slope)
    aimed = aim(inclined, distance)
    require_reached(inclined, aimed)
    angle = aimed.launch_angle
    roll = np.broadcast_to(false_roll(second_axis, third_axis, slope, angle), slope.shape)
    both = shot.with_(slope=np.tile(slope, 2), roll=np.concatenate((roll, np.zeros(slope.size))))
    met = impacts(both, np.tile(angle, 2), np.tile(distance, 2))
    right, up = (v[: slope.size] - v[slope.size :] for v in (met.right, met.up))
    least, greatest = met.airspeed_range
    return LevelTable(
        slope=slope,
        distance=distance,
        launch_angle=angle,
        false_roll=roll,
        right=right,
        up=up,
        error=2.0 * float(np.nanmax(met.error)) + float(np.max(aimed.error * distance)),
        airspeed_range=(least, greatest),
    )
