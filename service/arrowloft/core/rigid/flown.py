"""Flights of rigid arrows, stepped by SciPy's DOP853: many lanes as one set of equations."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.integrate import DOP853, OdeSolution

from arrowloft.core.arrays import Array
from arrowloft.core.rigid.motion import SIZE, RigidMotion

RTOL, ATOL = 1e-8, 1e-9
"""Of the stepper: 2e-7 m of an impact at 70 m against 1e-12 (measured)."""

STEEPEST = np.radians(45.0)
"""Incidence up to which the forces are computed."""

MOST_CALLS = 5_000
"""Most evaluations of the equations in one solve: a usual flight takes 1,000, one of
450 m with a scattered release 2,500."""

DEEPEST = -20.0
"""m over the line of sight; an arrow that has fallen so far below misses every target."""

LONGEST_FLIGHT = 60.0
"""s; as in `flight.stepping`."""


class TooOblique(ValueError):
    """An arrow that meets the air at more than STEEPEST. distance: where, m."""

    def __init__(self, distance: float) -> None:
        super().__init__("the arrow meets the air at more than 45 degrees")
        self.distance = distance


class TooBusy(ValueError):
    """An arrow that swings so fast, or flies so long, that its flight takes too many steps."""


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
    """A batch that can be read at any time up to `end`: `at(times)` is (12, lanes, times)."""

    end: float
    lanes: int
    solution: OdeSolution

    def at(self, times: Array) -> Array:
        """States (12, lanes, times)."""
        return np.asarray(self.solution(times)).reshape(SIZE, self.lanes, times.size)


def meet(
    motion: RigidMotion, start: Array, planes: Array, *, keep: bool = False
) -> tuple[Met, Path | None]:
    """Fly lanes from `start` (12, lanes) until each tip has met its plane, m (lanes,).

    keep: the whole path as well, at some cost; up to the last meeting.
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
        if keep or passed.size:
            dense = solver.dense_output()
            knots.append(solver.t)
            pieces.append(dense)
            for lane in passed:
                found = _meeting(dense, (before, solver.t), int(lane), lead, float(planes[lane]))
                times[lane], states[:, lane] = found, dense(found).reshape(SIZE, lanes)[:, lane]
    path = None
    if keep:
        path = Path(float(times.max()), lanes, OdeSolution(np.array(knots), pieces))
    return Met(times, states), path


def _require_flying(solver: Any, motion: RigidMotion, ahead: Array) -> None:
    """Raise unless lanes may go on. ahead: their planes, m, NaN where they are met."""
    waiting = np.isfinite(ahead)
    state = solver.y.reshape(SIZE, ahead.size)
    incidence = motion.loads(state).incidence
    steep = np.flatnonzero(waiting & ~(incidence <= STEEPEST))
    if steep.size:
        raise TooOblique(float(state[0, steep[0]]))
    lost = waiting & ((state[3] <= 0.0) | (state[1] < DEEPEST))
    if solver.status != "running":
        lost = waiting
    if lost.any():
        raise FallsShort(tuple(float(plane) for plane in np.unique(ahead[lost])))
    if solver.nfev > MOST_CALLS:
        raise TooBusy("the flight takes too many steps")


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
