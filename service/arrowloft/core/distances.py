"""Aim over many distances of one shot, at a cost that hardly grows with their number.

Marks are smooth in the distance: on the logarithm of the distance even the short end,
where the angle goes like peep height / distance, is an entire function. So a table is
solved at a few Chebyshev points of log(distance) and its flights, accelerations and
all, are interpolated to the rows; where the interpolation does not hold (a law's kink,
distances near the reach) every row is solved by itself.
"""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.aim import LEVELS, TOLERANCE, aim, aimed_flights, require_ahead
from arrowloft.core.aimed import Aimed, angle_error, summary
from arrowloft.core.arrays import Array
from arrowloft.core.flight import Flights, Forces, Launch, sideways
from arrowloft.core.reach import require_reached
from arrowloft.core.shot import Shot

KNOTS = 20
"""Distances solved for a table; its rows are interpolated when there are more."""

STEP = 1e-4
"""Relative change of speed or drag for the derivative of an angle."""


@dataclass(frozen=True)
class Sensitivity:
    """Change of the launch angle per relative change of an input, rad, (rows,)."""

    speed: Array
    drag: Array


@dataclass(frozen=True)
class Aims:
    """Aimed flights at the rows, windage yaw at the rows (rad), sensitivities."""

    aimed: Aimed
    yaw: Array
    sensitivity: Sensitivity


def aim_at_distances(shot: Shot, distances: Array) -> Aims:
    """Aim one shot (every member a float) at each distance, m, in the order given.

    Raises TooNear, BeyondReach.
    """
    require_ahead(shot, distances)
    if distances.size > KNOTS:
        spread = _spread(shot, distances)
        if spread is not None:
            return spread
    return _each(shot, distances)


def _varied(shot: Shot, count: int) -> Shot:
    """Three shots of `count` lanes each: as it is, slightly faster, with slightly more drag."""
    faster = np.repeat([1.0, 1.0 + STEP, 1.0], count)
    thicker = np.repeat([1.0, 1.0, 1.0 + STEP], count)
    return shot.with_(launch_speed=shot.launch_speed * faster, drag_scale=shot.drag_scale * thicker)


def _sensitivity(angles: Array) -> Sensitivity:
    plain, faster, thicker = angles
    return Sensitivity((faster - plain) / STEP, (thicker - plain) / STEP)


def _each(shot: Shot, distances: Array) -> Aims:
    count = distances.size
    aimed = aim(_varied(shot, count), np.tile(distances, 3))
    plain = aimed.lanes(slice(0, count))
    require_reached(shot, plain)
    yaw = aim(shot, distances, windage=True).yaw if sideways(shot) else np.zeros(count)
    return Aims(plain, yaw, _sensitivity(aimed.launch_angle.reshape(3, count)))


def _spread(shot: Shot, distances: Array) -> Aims | None:
    """The rows from KNOTS solved distances; None where that is not good enough."""
    low, high = np.log(distances.min()), np.log(distances.max())
    if high - low < 1e-9:
        return None
    knots = np.cos(np.pi * np.arange(KNOTS) / (KNOTS - 1))[::-1]
    at = np.exp(low + (knots + 1.0) * (high - low) / 2.0)
    flights, goal = aimed_flights(_varied(shot, KNOTS), np.tile(at, 3), False, LEVELS[0])
    error = angle_error(flights, goal, np.tile(at, 3))
    angles = flights.launch.angle.reshape(3, KNOTS)
    worst = error[:KNOTS].max() + _left_out(angles[0], knots)
    if not (worst <= TOLERANCE and np.isfinite(error).all()):
        return None
    yaw = _windage(shot, at)
    if yaw is None:
        return None
    matrix = _interpolation(knots, 2.0 * (np.log(distances) - low) / (high - low) - 1.0)
    rows = _interpolated(flights, matrix, shot)
    goal.lever = goal.lever[:KNOTS] @ matrix
    aimed = summary(rows, goal, distances, np.full(distances.size, worst))
    return Aims(aimed, yaw @ matrix, _sensitivity(angles @ matrix))


def _windage(shot: Shot, at: Array) -> Array | None:
    if not sideways(shot):
        return np.zeros(at.size)
    flights, goal = aimed_flights(shot, at, True, LEVELS[0])
    error = angle_error(flights, goal, at)
    return flights.launch.yaw if error.max() <= TOLERANCE else None


def _left_out(values: Array, knots: Array) -> float:
    """What the interpolation leaves out: twice its last two Chebyshev coefficients."""
    coefficients = np.polynomial.chebyshev.chebvander(knots, knots.size - 1)
    last = np.linalg.solve(coefficients, values)[-2:]
    return float(2.0 * np.abs(last).sum())


def _interpolation(knots: Array, at: Array) -> Array:
    """Matrix (knots, rows) that takes values at the knots to the rows, barycentric."""
    weights = (-1.0) ** np.arange(knots.size)
    weights[[0, -1]] *= 0.5
    gap = at - knots[:, None]
    gap[np.abs(gap) < 1e-15] = 1e-15
    share = weights[:, None] / gap
    share /= share.sum(axis=0)
    return share


def _interpolated(flights: Flights, matrix: Array, shot: Shot) -> Flights:
    """Flights at the rows from the first KNOTS lanes of those solved."""
    launch = flights.launch
    acceleration = flights.acceleration[..., :KNOTS] @ matrix
    angle, yaw, time = (v[:KNOTS] @ matrix for v in (launch.angle, launch.yaw, launch.time))
    rows = Launch(shot, launch.axes, angle, yaw, time)
    points, axes, count = acceleration.shape
    running = flights.rule.running[:-1] @ acceleration.reshape(points, axes * count)
    velocity = time * running.reshape(points, axes, count) + shot.launch_speed * rows.line
    forces, still = Forces(shot, axes), np.zeros(count)
    airspeed = forces.airspeed(velocity)[1]
    return Flights(shot, forces, flights.rule, rows, acceleration, velocity, airspeed, still)
