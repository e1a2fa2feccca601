"""Aim: the low launch angle that brings the tip to the aim point, for many distances at once."""

from collections.abc import Iterator
from dataclasses import fields

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask, Real
from arrowloft.core.flight.aimed import Aimed, angle_error, summary
from arrowloft.core.flight.collocation import lobatto
from arrowloft.core.flight.goals import Aim
from arrowloft.core.flight.guess import flat_fire_guess
from arrowloft.core.flight.motion import CONVERGED, LEFT, Flights, Goal, Launch, sideways, solve
from arrowloft.core.flight.reach import LeftOut, aim_near_reach
from arrowloft.core.flight.splitting import split
from arrowloft.core.setup.shot import Shot, as_lanes, lane_count

BLOCK = 2048
"""Lanes solved together: a block's arrays stay in the processor's cache."""

LEVELS = ((8, 14), (16, 40), (32, 40), (64, 40), (128, 40), (256, 40), (512, 40))
"""Points in time and most iterations, tried in this order until the estimate is met."""

TOLERANCE = 5e-10
"""Estimated error of the launch angle, rad, at which a lane is done."""


def aim(
    shot: Shot,
    distance: Real,
    *,
    windage: bool | Mask = False,
    left_out: LeftOut | None = None,
) -> Aimed:
    """Aim at each distance along the line of sight; all lanes are solved together.

    distance: m, a float or an array of lanes.  windage: yaw the bow as well, so that
    the tip meets the aim point itself; otherwise its miss to the side is `drift`.
    left_out: given, a flight that cannot be followed is left out instead of refused.

    Raises TooNear for a distance that does not lie ahead of the launched tip, Unsolved for
    a flight that drag all but stops. Where a distance is beyond reach its lane is NaN;
    `reach.require_reached` turns that into an error.
    """
    count = lane_count(shot, distance)
    distance = as_lanes(distance, count)
    require_ahead(shot, distance)
    unknown = np.broadcast_to(np.asarray(windage, dtype=bool), (count,))
    blocks = [
        _aim_block(
            shot.take(block) if count > BLOCK else shot, distance[block], unknown[block], left_out
        )
        for block in _blocks(count)
    ]
    return blocks[0] if len(blocks) == 1 else Aimed.joined(blocks)


class TooNear(ValueError):
    """A distance at or behind the tip of the arrow as it leaves the string.

    nearest: the least distance that lies ahead, m.  lanes: those at fault.
    """

    def __init__(self, nearest: float, lanes: tuple[int, ...]) -> None:
        super().__init__(f"the target must be more than {nearest:.3f} m away")
        self.nearest = nearest
        self.lanes = lanes


AHEAD = 0.1
"""Least way from the launched tip to a target, m."""


def nearest_aim(shot: Shot) -> Real:
    """Nearest distance that can be aimed at, m: AHEAD of the launched tip."""
    nearest: Real = shot.launch_forward + np.abs(shot.tip_lead) + AHEAD
    return nearest


def require_ahead(shot: Shot, distance: Array) -> None:
    """Raise TooNear unless each target is far enough ahead of the launched tip."""
    nearest = as_lanes(nearest_aim(shot), distance.size)
    behind = np.flatnonzero(~(distance >= nearest))
    if behind.size:
        raise TooNear(float(nearest[behind].max()), tuple(int(lane) for lane in behind))


def _blocks(count: int) -> Iterator[slice]:
    for start in range(0, count, BLOCK):
        yield slice(start, min(start + BLOCK, count))


def _aim_block(shot: Shot, distance: Array, windage: Mask, left_out: LeftOut | None) -> Aimed:
    flights, goal = aimed_flights(shot, distance, windage, LEVELS[0])
    error = angle_error(flights, goal, distance)
    result = summary(flights, goal, distance, error)
    left = np.flatnonzero(~(error <= TOLERANCE))
    if left.size:
        _refine(result, shot, distance, windage, left, left_out)
    return result


def _refine(
    result: Aimed,
    shot: Shot,
    distance: Array,
    windage: Mask,
    left: Lanes,
    left_out: LeftOut | None,
) -> None:
    """Solve the lanes `left` again with more points each time, then near the reach."""
    near: list[Lanes] = []
    change = Change(left.size)
    change.to(result.launch_angle[left], np.isfinite(result.error[left]))
    for level in LEVELS[1:]:
        solved = _attempt(shot.take(left), distance[left], windage[left], level)
        sound = np.isfinite(solved.error)
        solved.error[:] = np.minimum(solved.error, change.to(solved.launch_angle, sound))
        # At the last level a lane that converged stands, with its error said.
        done = sound if level is LEVELS[-1] else solved.error <= TOLERANCE
        _store(result, solved, left, done)
        # What did not converge with twice the points will not with more.
        near.append(left[~sound])
        left, going = left[sound & ~done], sound & ~done
        if not left.size:
            break
        change.keep(going)
    left = np.concatenate(near)
    if left.size:
        solved = aim_near_reach(shot.take(left), distance[left], windage[left], left_out)
        _store(result, solved, left, np.ones(left.size, dtype=bool))


class Change:
    """Error of the angle from its changes between levels: a kink's error falls with the points.

    About as 1/n^2, unevenly: so the last change or a quarter of the one before, thrice.
    For laws that do not say where their kinks are; the others' flights are split there.
    """

    def __init__(self, lanes: int) -> None:
        self.angle = np.full(lanes, np.nan)
        self.last = np.full(lanes, np.inf)

    def to(self, angle: Array, sound: Mask) -> Array:
        """Estimated error of the new angles; inf until two changes between sound ones."""
        new = np.where(sound, angle, np.nan)
        change = np.abs(new - self.angle)
        change[np.isnan(change)] = np.inf
        error: Array = 3.0 * np.maximum(change, 0.25 * self.last) + LEFT * CONVERGED
        self.angle, self.last = new, change
        return error

    def keep(self, lanes: Mask) -> None:
        """Go on with some of the lanes."""
        self.angle, self.last = self.angle[lanes], self.last[lanes]


def _attempt(shot: Shot, distance: Array, windage: Mask, level: tuple[int, int]) -> Aimed:
    """All lanes at one level, in blocks whose arrays are no larger than the first level's."""
    block = max(BLOCK * LEVELS[0][0] // level[0], 1)
    several = lane_count(shot) > 1
    parts = []
    for start in range(0, distance.size, block):
        lanes = slice(start, start + block)
        part, at = shot.take(lanes) if several else shot, distance[lanes]
        flights, goal = aimed_flights(part, at, windage[lanes], level)
        flights = split(flights, goal, level[1])
        parts.append(summary(flights, goal, at, angle_error(flights, goal, at)))
    return parts[0] if len(parts) == 1 else Aimed.joined(parts)


def _store(result: Aimed, part: Aimed, lanes: Lanes, done: Mask) -> None:
    for item in fields(Aimed):
        getattr(result, item.name)[lanes[done]] = getattr(part, item.name)[done]


def aimed_flights(
    shot: Shot, distance: Array, windage: Mask, level: tuple[int, int]
) -> tuple[Flights, Goal]:
    """One attempt at one level: flights that may or may not have converged.

    windage: lanes whose yaw is unknown too.  level: points in time, most iterations.
    """
    steered = bool(windage.any())
    axes = 3 if steered or sideways(shot) else 2
    angle, time, rate = flat_fire_guess(shot, distance)
    launch = Launch(shot, axes, angle, np.zeros(distance.size), time, rate)
    goal = Aim(distance, shot.roll, windage if steered else None)
    with np.errstate(all="ignore"):  # a lane beyond reach may overflow; it is refused below
        flights = solve(shot, launch, goal, lobatto(level[0]), level[1])
    return flights, goal
