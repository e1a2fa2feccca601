"""One flight in detail: points along the path, and its apex."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.aim import LEVELS, TOLERANCE, aim, aimed_flights
from arrowloft.core.flight.aimed import ERROR_SHARE, angle_error, apex_of
from arrowloft.core.flight.collocation import lobatto
from arrowloft.core.flight.goals import Fall, Plane
from arrowloft.core.flight.motion import CONVERGED, Flights, Forces, Goal, Launch, sideways, solve
from arrowloft.core.flight.reach import falling_flights, require_reached
from arrowloft.core.flight.splitting import split
from arrowloft.core.flight.stepping import integrate, tip_of
from arrowloft.core.setup.shot import Shot

DENSE_LEVELS = tuple(level for level in LEVELS if level[0] >= 32)
"""A path is read between its points, where only the many-point rules are as exact as at them."""

STEEPEST = np.radians(45.0)
"""Greatest launch angle accepted, either way from the line of sight."""


class NeverArrives(ValueError):
    """A launch angle whose flight does not come to the asked end."""


class BackwardPath(ValueError):
    """A path that turns back along the line of sight, asked for at steps of distance."""


@dataclass(frozen=True, kw_only=True)
class Trajectory:
    """A path from launch to arrival of the tip; arrays (points,), SI.

    time: since launch.  distance: along the line of sight.  height: over it.
    right: of it.  speed; angle: of the velocity to the line of sight, upward positive.
    drift: of the tip at arrival.  apex_*: highest point over the line of sight.
    error: estimated error of the launch angle, rad, when aimed; of the position at
        arrival, m, when the launch angle was given.
    """

    time: Array
    distance: Array
    height: Array
    right: Array
    speed: Array
    angle: Array
    launch_angle: float
    drift: float
    apex_distance: float
    apex_height: float
    error: float
    airspeed_range: tuple[float, float]


def trajectory(
    shot: Shot,
    *,
    target: float | None = None,
    launch_angle: float | None = None,
    end: float | None = None,
    step: float | None = None,
    samples: int | None = None,
) -> Trajectory:
    """Path of one shot (every member a float), aimed at `target` m or loosed at an angle, rad.

    end: with a launch angle, the plane across the line of sight where the tip's flight
        ends, m; otherwise it ends where the tip comes down to the line of sight.
    step: distance along the line of sight between points, m, from the launch on.
    samples: number of points, equally spaced in time; 101 where neither is given.
    The last point is the arrival.

    Raises TooNear, BeyondReach for a target; NeverArrives for an angle; BackwardPath
    for steps along a path that turns back.
    """
    if (target is None) == (launch_angle is None):
        raise ValueError("give either a target or a launch angle")
    if target is not None:
        path = _path_to(shot, target)
    else:
        assert launch_angle is not None
        path = _path_of(shot, launch_angle, end)
    time = _times(path, step, samples)
    return _trajectory(path, time)


@dataclass(frozen=True)
class Path:
    """A flight that can be read at any time: `at` gives (6, times) position and velocity."""

    shot: Shot
    time: float
    launch_angle: float
    at: Callable[[Array], Array]
    apex: tuple[float, float]
    tip: Array
    error: float
    airspeed_range: tuple[float, float]


def _path_to(shot: Shot, target: float) -> Path:
    distance = np.array([target])
    aimed = aim(shot, distance)
    require_reached(shot, aimed)
    for level in DENSE_LEVELS:
        flights, goal = aimed_flights(shot, distance, np.zeros(1, dtype=bool), level)
        flights = split(flights, goal, level[1])
        error = float(angle_error(flights, goal, distance)[0])
        if error <= TOLERANCE or (level is DENSE_LEVELS[-1] and np.isfinite(error)):
            return _path_from(flights, error)
    flights, _ = falling_flights(shot, aimed.launch_angle)
    return _path_from(flights, float(aimed.error[0]))


def _path_of(shot: Shot, launch_angle: float, end: float | None) -> Path:
    axes = 3 if sideways(shot) else 2
    goal: Goal = Fall(shot.roll) if end is None else Plane(np.array([end]), shot.roll)
    for points, limit in DENSE_LEVELS:
        launch = Launch(
            shot, axes, np.array([launch_angle]), np.zeros(1), _time_guess(shot, launch_angle, end)
        )
        with np.errstate(all="ignore"):  # a flight that never ends may overflow; refused below
            flights = split(solve(shot, launch, goal, lobatto(points), limit), goal, limit)
            time = flights.launch.time
            missed = time**2 * flights.unresolved() * ERROR_SHARE + 1e-9
            missed += flights.left * time * shot.launch_speed
        arrives = end is not None or flights.velocity[-1, 1, 0] < 0.0 < flights.tip()[0, 0]
        if flights.moved[0] <= CONVERGED and missed[0] <= 1e-6 and arrives:
            return _path_from(flights, float(missed[0]))
    return _stepped_path(shot, launch_angle, end)


def _time_guess(shot: Shot, launch_angle: float, end: float | None) -> Array:
    pull = shot.gravity * np.cos(shot.slope)
    if end is not None:
        return np.array([end / (shot.launch_speed * max(np.cos(launch_angle), 0.1))])
    return np.array([max(2.0 * shot.launch_speed * np.sin(launch_angle) / pull, 1e-2)])


def _path_from(flights: Flights, error: float) -> Path:
    axes = flights.launch.axes
    time = float(flights.launch.time[0])
    tip = np.zeros(3)
    tip[:axes] = flights.tip()[:, 0]
    airspeed = flights.airspeed
    apex = apex_of(flights, steps=4)

    def at(times: Array) -> Array:
        states = np.zeros((6, times.size))
        place, velocity, _ = flights.repeated(times.size).read(times / time)
        states[:axes], states[3 : 3 + axes] = place, velocity
        return states

    return Path(
        flights.shot,
        time,
        float(flights.launch.angle[0]),
        at,
        (float(apex[0, 0]), float(apex[1, 0])),
        tip,
        error,
        (float(airspeed.min()), float(airspeed.max())),
    )


def _stepped_path(shot: Shot, launch_angle: float, end: float | None) -> Path:
    """The path by DOP853, for flights too long or too steep for collocation."""

    def arrival(_: float, y: Array) -> float:
        tip = tip_of(shot, y)
        return float(tip[1] if end is None else tip[0] - end)

    def top(_: float, y: Array) -> float:
        return float(y[4])

    arrival.terminal = True  # type: ignore[attr-defined]
    arrival.direction = -1.0 if end is None else 1.0  # type: ignore[attr-defined]
    top.direction = -1.0  # type: ignore[attr-defined]
    flown = integrate(shot, launch_angle, events=(arrival, top), dense_output=True)
    if not len(flown.t_events[0]):
        raise NeverArrives("the arrow's flight at this launch angle does not come to its end")
    states = flown.y.T
    apex = flown.y_events[1][0] if len(flown.t_events[1]) else max(states, key=lambda y: y[1])
    airspeed = Forces(shot, 3).airspeed(states[:, 3:, None])[1]
    return Path(
        shot,
        float(flown.t_events[0][0]),
        launch_angle,
        flown.sol,
        (float(apex[0]), float(apex[1])),
        tip_of(shot, flown.y_events[0][0]),
        1e-6,
        (float(airspeed.min()), float(airspeed.max())),
    )


def _times(path: Path, step: float | None, samples: int | None) -> Array:
    if step is None:
        return np.linspace(0.0, path.time, 101 if samples is None else samples)
    grid = np.linspace(0.0, path.time, 257)
    state = path.at(grid)
    if np.any(state[3] <= 0.0):
        raise BackwardPath("the path turns back along the line of sight")
    way = state[0]
    first = np.floor(way[0] / step + 1e-9) + 1.0
    inner = step * np.arange(first, np.ceil(way[-1] / step - 1e-9))
    return np.concatenate(([0.0], _moments(path, inner, np.interp(inner, way, grid)), [path.time]))


def _moments(path: Path, distance: Array, guess: Array) -> Array:
    """Times at which the balance point is at distances along the line of sight."""
    time = guess
    for _ in range(4):  # quadratic from a guess good to 1e-4: two steps reach rounding
        state = path.at(time)
        time = np.clip(time - (state[0] - distance) / state[3], 0.0, path.time)
    return time


def _trajectory(path: Path, time: Array) -> Trajectory:
    state = path.at(time)
    forward = np.hypot(state[3], state[5])
    return Trajectory(
        time=time,
        distance=state[0],
        height=state[1],
        right=state[2],
        speed=np.sqrt((state[3:] ** 2).sum(axis=0)),
        angle=np.arctan2(state[4], forward),
        launch_angle=path.launch_angle,
        drift=float(path.tip[2]),
        apex_distance=path.apex[0],
        apex_height=path.apex[1],
        error=path.error,
        airspeed_range=path.airspeed_range,
    )
