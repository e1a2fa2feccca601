"""How far a shot can reach, and aim close to that, where the impact hardly rises with the angle."""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from scipy.optimize import elementwise

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.flight.aimed import ERROR_SHARE, Aimed, summary
from arrowloft.core.flight.collocation import lobatto
from arrowloft.core.flight.goals import Fall
from arrowloft.core.flight.motion import CONVERGED, Flights, Goal, Launch, sideways, solve
from arrowloft.core.flight.splitting import split
from arrowloft.core.flight.stepping import range_of_angle
from arrowloft.core.setup.shot import Shot, as_lanes, lane_count

POINTS = 32
"""Collocation points of a flight that comes down to the line of sight."""

MOST_STEPPED = 24
"""Most flights that one round integrates step by step, about 10 ms each: those that fall
back are of bows too weak or drags too strong to aim at all, and wait for a refusal."""

ROOT = 1e-10
"""Distance to which the root of a launch angle is found, m, with room."""

ITERATIONS = 120
"""Most iterations of such a flight: drag contracts less over the whole arc."""

SEARCH = 12
"""Launch angles tried at once in each round of the search for the reach."""


class BeyondReach(ValueError):
    """A distance that no launch angle reaches.

    farthest: the farthest reachable distance along the line of sight, m.
    lanes: positions of those asked for in vain.
    case: which of several winds or slopes leaves them out of reach; None: there is but one.
    """

    def __init__(self, farthest: float, lanes: tuple[int, ...], case: int | None = None) -> None:
        super().__init__(f"the farthest reachable distance is {farthest:.2f} m")
        self.farthest = farthest
        self.lanes = lanes
        self.case = case


class Unsolved(RuntimeError):
    """A flight that no method here follows, such as one that drag all but stops."""


MOST_STEPPED_IN_ALL = 120
"""Most flights integrated step by step where unsolved lanes are left out, about a second."""


class LeftOut:
    """Unsolved lanes are left out: their `error` is infinite, all else NaN.

    For many set-ups at once, of which one that hardly flies must not refuse the others. What
    they may cost is bounded: `steppable` says how many more flights may be integrated step
    by step; once none may, the rest of such lanes counts as unsolved.
    """

    def __init__(self) -> None:
        self.steppable = MOST_STEPPED_IN_ALL


@dataclass(frozen=True)
class Reach:
    """Farthest distances along the line of sight, m, and their launch angles, rad, (lanes,)."""

    distance: Array
    launch_angle: Array


def require_reached(shot: Shot, aimed: Aimed) -> None:
    """Raise BeyondReach, naming the farthest distance, unless every lane is reached."""
    missed = np.flatnonzero(~aimed.reached)
    if missed.size:
        first = shot.take(missed[:1])
        farthest = float(reach(first).distance[0])
        raise BeyondReach(farthest, tuple(int(lane) for lane in missed))


def reach(shot: Shot, windage: Mask | None = None, left_out: LeftOut | None = None) -> Reach:
    """Farthest distance along the line of sight at which the tip can come down to it.

    windage: lanes in which the bow is yawed to meet the aim point sideways too.

    The distance against the launch angle has one maximum; rounds of SEARCH angles close
    in on it, and a parabola through the last three gives it. Steeply downhill before a strong
    wind, arrows loosed higher than some angle never come down to the line of sight, and those
    just below it come down ever farther away: then it is the farthest that was found.
    Raises Unsolved where no angle comes down, unless such lanes are left out: NaN.
    """
    count = lane_count(shot)
    lost = np.zeros(count, dtype=bool)
    lanes = np.arange(count)
    top = np.pi / 2 - as_lanes(shot.slope, count)
    low, high = 0.02 * top, 0.98 * top
    for _ in range(3):
        grid = np.linspace(low, high, SEARCH)
        ranges = _ranges(shot, grid.ravel(), np.tile(lanes, SEARCH), windage, left_out)
        ranges = ranges.reshape(SEARCH, count)
        lost |= np.isnan(ranges).all(axis=0)
        if lost.any():
            if left_out is None:
                raise Unsolved("no launch angle was found that comes down to the line of sight")
            ranges[:, lost] = 0.0
        best = np.clip(np.nanargmax(ranges, axis=0), 1, SEARCH - 2)
        low, high = grid[best - 1, lanes], grid[best + 1, lanes]
    around = [ranges[best + step, lanes] for step in (-1, 0, 1)]
    found = _top_of_parabola(np.array((low, grid[best, lanes], high)), np.array(around))
    found.distance[lost] = np.nan
    return found


def _steppable(asked: int, left_out: LeftOut | None) -> int:
    """How many of some flights may be integrated step by step; they are taken off."""
    if left_out is None:
        return min(asked, MOST_STEPPED)
    allowed = min(asked, MOST_STEPPED, max(left_out.steppable, 0))
    left_out.steppable -= asked
    return allowed


def _top_of_parabola(angles: Array, ranges: Array) -> Reach:
    step = (angles[2] - angles[0]) / 2.0
    tilt = (ranges[2] - ranges[0]) / 2.0
    bend = ranges[2] - 2.0 * ranges[1] + ranges[0]
    shift = np.clip(np.where(bend < 0.0, -tilt / np.where(bend < 0.0, bend, 1.0), 0.0), -1.0, 1.0)
    top = ranges[1] + shift * (tilt + 0.5 * shift * bend)
    # Where one of the three never comes down there is no parabola.
    whole = np.isfinite(top)
    farthest = np.fmax.reduce(ranges)
    at = np.take_along_axis(angles, np.nanargmax(ranges, axis=0)[None], axis=0)[0]
    return Reach(np.where(whole, top, farthest), np.where(whole, angles[1] + shift * step, at))


def falling_flights(shot: Shot, angle: Array, windage: Mask | None = None) -> tuple[Flights, Goal]:
    """Flights at given launch angles until the tip comes down to the line of sight."""
    axes = 3 if windage is not None or sideways(shot) else 2
    pull = shot.gravity * np.cos(shot.slope)
    time = np.maximum(2.0 * shot.launch_speed * np.sin(angle) / pull, 1e-3)
    launch = Launch(shot, axes, angle, np.zeros(angle.size), as_lanes(time, angle.size))
    goal = Fall(shot.roll, windage)
    with np.errstate(all="ignore"):  # an angle too low to come down is refused below
        flights = solve(shot, launch, goal, lobatto(POINTS), ITERATIONS)
        flights = split(flights, goal, ITERATIONS)
    return flights, goal


def _ranges(
    shot: Shot,
    angle: Array,
    lanes: Lanes,
    windage: Mask | None,
    left_out: LeftOut | None = None,
) -> Array:
    """Distance at which the tip comes down to the line of sight, m, (lanes,)."""
    part = shot.take(lanes) if lane_count(shot) > 1 else shot
    steered = None if windage is None else windage[lanes]
    flights, _ = falling_flights(part, angle, steered)
    tip = flights.tip()
    # A flight that never rises to the line of sight has its fall in the past or at launch.
    sound = (flights.moved <= CONVERGED) & (flights.velocity[-1, 1] < 0.0) & (tip[0] > 0.0)
    distance: Array = np.where(sound, tip[0], np.nan)
    unsound = np.flatnonzero(~sound)
    for lane in unsound[: _steppable(unsound.size, left_out)]:
        distance[lane] = range_of_angle(part.take(slice(lane, lane + 1)), float(angle[lane]))
    return distance


def aim_near_reach(
    shot: Shot, distance: Array, windage: Mask, left_out: LeftOut | None = None
) -> Aimed:
    """Aim where the ordinary iteration does not settle: NaN beyond reach, else the low angle.

    The distance at which the tip comes down rises with the launch angle up to the reach;
    its root in between is bracketed and found lane by lane (Chandrupatla's method).
    Raises Unsolved where no root is bracketed, unless such lanes are left out.
    """
    count = distance.size
    if windage.any() and not windage.all():  # the reach is then each lane's own
        shot = shot.with_(launch_speed=as_lanes(shot.launch_speed, count))
    steered = windage if windage.any() else None
    limit = reach(shot, steered, left_out)
    top = np.broadcast_to(limit.launch_angle, (count,))
    far = np.broadcast_to(limit.distance, (count,))
    angle = np.full(count, np.nan)
    inside = np.flatnonzero(distance <= far)
    if inside.size:
        angle[inside] = _low_angles(shot, distance, inside, top, steered, left_out)
        inside = inside[np.isfinite(angle[inside])]
    result = _falling_summary(shot, distance, angle, inside, steered, left_out)
    if left_out is not None:
        # Beyond a reach of which not every flight could be looked at is no verdict.
        known = distance > far if left_out.steppable >= 0 else np.zeros(count, dtype=bool)
        result.error[~known & np.isnan(result.launch_angle)] = np.inf
    return result


def _low_angles(
    shot: Shot,
    distance: Array,
    inside: Lanes,
    top: Array,
    windage: Mask | None,
    left_out: LeftOut | None,
) -> Array:
    def excess(angle: Array, lane: Array) -> Array:
        lanes = lane.astype(np.intp)
        # An angle too low to rise to the line of sight has no range at all.
        return np.nan_to_num(_ranges(shot, angle, lanes, windage, left_out)) - distance[lanes]

    lanes = inside.astype(float)
    low = 0.3 * top[inside]
    for _ in range(6):
        short = excess(low, lanes) < 0.0
        if short.all():
            break
        low = np.where(short, low, 0.6 * low)
    tolerances = {"xatol": 1e-13, "xrtol": 1e-13, "fatol": 1e-11, "frtol": 0.0}
    found: Any = elementwise.find_root(  # type: ignore[call-overload]
        excess, (low, top[inside]), args=(lanes,), tolerances=tolerances, maxiter=80
    )
    # At the reach itself both ends may lie on one side by a rounding: the top is the root.
    close = np.abs(excess(top[inside], lanes)) < 1e-6
    # And a root must be one: the range jumps where the path begins to rise to the line.
    met = found.success & (np.abs(found.f_x) < 1e-6)
    angle = np.where(met, found.x, np.where(close, top[inside], np.nan))
    if left_out is None and np.isnan(angle).any():
        raise Unsolved("no launch angle was found for a distance within reach")
    result: Array = angle
    return result


def _lever(
    shot: Shot,
    flights: Flights,
    angle: Array,
    inside: Lanes,
    windage: Mask | None,
    left_out: LeftOut | None,
) -> Array:
    """Rise of the impact in the target plane per launch angle, m/rad, by a difference.

    Where the tip comes down a little farther, the path passes the plane that much times
    its steepness above the line of sight.
    """
    step = 1e-5
    farther = _ranges(shot, angle + step, inside, windage, left_out) - flights.tip()[0]
    falling: Array = flights.velocity[-1, 1] / flights.velocity[-1, 0]
    lever: Array = -falling * farther / step
    return lever


def _falling_summary(
    shot: Shot,
    distance: Array,
    angle: Array,
    inside: Lanes,
    windage: Mask | None,
    left_out: LeftOut | None,
) -> Aimed:
    result = Aimed.unreached(distance)
    if not inside.size:
        return result
    steered = None if windage is None else windage[inside]
    flights, goal = falling_flights(shot.take(inside), angle[inside], steered)
    sound = flights.moved <= CONVERGED
    if left_out is None and not sound.all():
        raise Unsolved("a flight near the farthest reachable distance did not converge")
    goal.lever = _lever(shot, flights, angle[inside], inside, windage, left_out)
    way = np.abs(distance[inside])
    missed = flights.launch.time**2 * flights.unresolved() * ERROR_SHARE
    missed += flights.left * way + ROOT
    # At the reach the lever is nothing and the angle is known to the root of the miss only.
    lever = np.maximum(np.abs(goal.lever), np.sqrt(missed * way))
    solved = summary(flights, goal, distance[inside], missed / lever)
    for item in fields(Aimed):
        getattr(result, item.name)[inside[sound]] = getattr(solved, item.name)[sound]
    return result
