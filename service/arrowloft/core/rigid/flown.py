"""Flights of rigid arrows, stepped by SciPy's DOP853: many lanes as one set of equations."""

from collections.abc import Callable
from copy import copy
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from scipy.integrate import DOP853, OdeSolution

from arrowloft.core.arrays import Array
from arrowloft.core.rigid.linear import characteristic
from arrowloft.core.rigid.motion import SHORTEST_SPIN_UP, SIZE, RigidMotion

RTOL, ATOL = 1e-7, 1e-9
"""Of the stepper: 5e-7 m of an impact at 70 m and 2e-6 m at 190 m against 1e-12 (measured)."""

STEEPEST = np.radians(45.0)
"""Incidence up to which the forces are computed."""

MOST_CALLS = 6_000
"""Most evaluations of the equations in one solve: a usual flight takes 700."""

MOST_WORK = 9.5e5
"""Most of evaluations times (_FIXED + arrows) in one solve: a second at most (measured)."""

_FIXED = 400
"""Arrows that would take as long as what an evaluation takes at least (measured)."""

_ROOM = 1.4
"""What a flight may take of what was foreseen for the most."""

_LEAST, _PER_RADIAN, _PER_SPIN_UP = 350, 14, 2.4
"""Evaluations of a flight, of a radian of its swing, and of a way over which its spin comes to
rest: within a third from 20 to 235 m and from small vanes to kites (measured)."""

DEEPEST = -20.0
"""m over the line of sight; an arrow that has fallen so far below misses every target."""

LONGEST_FLIGHT = 60.0
"""s; as in `flight.stepping`."""


class TooOblique(ValueError):
    """An arrow that meets the air at more than STEEPEST.

    distance: where, m.  lane: which arrow of the batch.
    """

    def __init__(self, distance: float, lane: int = 0) -> None:
        super().__init__("the arrow meets the air at more than 45 degrees")
        self.distance = distance
        self.lane = lane


class TooBusy(ValueError):
    """Arrows that it would take too long to follow.

    cause: "swing" where they swing too often, "spin" where they do as tops, "steps" where the
        steps get so small on the way, as with a drag law that jumps.  swings: about how often.
    """

    def __init__(self, cause: Literal["swing", "spin", "steps"], swings: float = 0.0) -> None:
        super().__init__("the flight takes too many steps")
        self.cause = cause
        self.swings = swings


class FallsShort(ValueError):
    """An arrow that does not come to its plane. planes: such distances, m."""

    def __init__(self, planes: tuple[float, ...]) -> None:
        super().__init__("the arrow does not come to its distance")
        self.planes = planes


@dataclass(frozen=True)
class Met:
    """Where tips meet their planes: time (lanes,), s, and the states then (12, lanes)."""

    time: Array
    state: Array


@dataclass(frozen=True)
class Path:
    """The flight of one arrow that can be read at any time up to `end`, s."""

    end: float
    solution: OdeSolution

    def at(self, times: Array) -> Array:
        """States (12, times)."""
        return np.asarray(self.solution(times))


def require_affordable(motion: RigidMotion, lanes: int, distance: float, spin: float) -> None:
    """Raise TooBusy where the flights of so many lanes over a distance, m, would take too long.

    spin: the greatest of the release, rad/s.  Swings by linear theory, and as a top's.
    """
    rigid = motion.rigid
    shot, body = rigid.shot, rigid.body
    speed = float(shot.launch_speed)
    swinging = float(np.sqrt(np.abs(characteristic(rigid, speed)[1]))) * distance
    spin = max(abs(spin), abs(rigid.air.rolling.spin_per_speed()) * speed)
    turning = spin / speed * body.axial_inertia / body.transverse_inertia * distance
    spinning_up = rigid.air.rolling.stiffness(float(shot.air.density), body.axial_inertia)
    spinning_up = min(spinning_up, 1.0 / SHORTEST_SPIN_UP) * distance
    radians = swinging + turning
    calls = _LEAST + max(_PER_RADIAN * radians, _PER_SPIN_UP * spinning_up)
    if _too_much(calls, lanes):
        raise TooBusy("spin" if turning > swinging else "swing", radians / (2.0 * np.pi))


def _too_much(calls: float, lanes: int, room: float = 1.0) -> bool:
    return calls > room * MOST_CALLS or calls * (_FIXED + lanes) > room * MOST_WORK


def meet(
    motion: RigidMotion, start: Array, planes: Array, *, keep: bool = False
) -> tuple[Met, Path | None]:
    """Fly lanes from `start` (12, lanes) until each tip has met its plane, m (lanes,).

    keep: the path of lane 0 as well, up to its meeting.
    Raises TooOblique, TooBusy, FallsShort.
    """
    lead = float(motion.rigid.shot.tip_lead)
    lanes = start.shape[1]

    def flat(_: float, y: Array) -> Array:
        return motion.rates(y.reshape(SIZE, lanes)).ravel()

    solver = DOP853(flat, 0.0, start.ravel(), LONGEST_FLIGHT, rtol=RTOL, atol=ATOL)
    times, states = np.full(lanes, np.nan), np.full(start.shape, np.nan)
    knots: list[float] = [0.0]
    pieces: list[Any] = []
    while np.isnan(times).any():
        waiting = np.isnan(times)
        _require_flying(solver, motion, np.where(waiting, planes, np.nan))
        before = solver.t
        solver.step()
        state = solver.y.reshape(SIZE, lanes)
        passed = np.flatnonzero(waiting & (state[0] + lead * state[6] >= planes))
        kept = keep and waiting[0]
        if kept or passed.size:
            dense = solver.dense_output()
            for lane in passed:
                found = _meeting(dense, (before, solver.t), int(lane), lead, float(planes[lane]))
                times[lane], states[:, lane] = found, dense(found).reshape(SIZE, lanes)[:, lane]
        if kept:
            knots.append(solver.t)
            pieces.append(_first_lane(dense, lanes))
    path = Path(float(times[0]), OdeSolution(np.array(knots), pieces)) if keep else None
    return Met(times, states), path


def _first_lane(dense: Any, lanes: int) -> Any:
    """The part of a step's interpolant that is lane 0's: all of it takes 150 kB a step."""
    one = copy(dense)
    one.F, one.y_old = dense.F[:, ::lanes].copy(), dense.y_old[::lanes].copy()
    return one


def onward(motion: RigidMotion, start: Array, plane: float) -> Path:
    """Fly one lane on from a state (12,) until its tip meets a plane, m, or as far as it can.

    It ends sooner, without a word, where the arrow falls too deep, turns back, or meets the air
    at more than STEEPEST.
    """
    lead = float(motion.rigid.shot.tip_lead)

    def flat(_: float, y: Array) -> Array:
        return motion.rates(y[:, None])[:, 0]

    solver = DOP853(flat, 0.0, start, LONGEST_FLIGHT, rtol=RTOL, atol=ATOL)
    knots: list[float] = [0.0]
    pieces: list[Any] = []
    while solver.status == "running" and solver.nfev <= MOST_CALLS:
        solver.step()
        y = solver.y
        knots.append(solver.t)
        pieces.append(solver.dense_output())
        lost = y[3] <= 0.0 or y[1] < DEEPEST or motion.incidence(y[:, None])[0] > STEEPEST
        if lost or y[0] + lead * y[6] >= plane:
            break
    return Path(float(solver.t), OdeSolution(np.array(knots), pieces))


def _require_flying(solver: Any, motion: RigidMotion, ahead: Array) -> None:
    """Raise unless lanes may go on. ahead: their planes, m, NaN where they are met."""
    waiting = np.isfinite(ahead)
    state = solver.y.reshape(SIZE, ahead.size)
    steep = np.flatnonzero(waiting & ~(motion.incidence(state) <= STEEPEST))
    if steep.size:
        raise TooOblique(float(state[0, steep[0]]), int(steep[0]))
    lost = waiting & ((state[3] <= 0.0) | (state[1] < DEEPEST))
    if solver.status != "running":
        lost = waiting
    if lost.any():
        raise FallsShort(tuple(float(plane) for plane in np.unique(ahead[lost])))
    if _too_much(solver.nfev, ahead.size, _ROOM):
        raise TooBusy("steps")


def _meeting(
    dense: Callable[[float], Array], span: tuple[float, float], lane: int, lead: float, plane: float
) -> float:
    """Time in a step at which a lane's tip meets its plane: secant steps, kept in the step."""

    def over(time: float) -> float:
        state = dense(time).reshape(SIZE, -1)[:, lane]
        return float(state[0] + lead * state[6] - plane)

    low, high = span
    old, miss_old = low, over(low)
    time, miss = high, over(high)
    for _ in range(20):  # the tip's way is nearly straight: four or five reach rounding
        if miss == miss_old:
            break
        step = miss * (time - old) / (miss - miss_old)
        old, miss_old = time, miss
        time = min(max(time - step, low), high)
        if abs(step) < 1e-14:
            break
        miss = over(time)
    return time
