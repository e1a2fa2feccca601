"""Aim over many distances of one shot, at a cost that hardly grows with their number.

Marks are smooth in the distance: on the logarithm of the distance even the short end,
where the angle goes like peep height / distance, is an entire function. So a table is
solved at a few Chebyshev points of log(distance) and its flights, accelerations and
all, are interpolated to the rows; where the interpolation does not hold (a law's kink,
distances near the reach) every row is solved by itself.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from arrowloft.core.aim import LEVELS, TOLERANCE, aim, aimed_flights, require_ahead
from arrowloft.core.aimed import Aimed, angle_error, summary
from arrowloft.core.arrays import Array, Mask
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


PLAIN, FASTER, THICKER, STEERED = range(4)
"""Variants of a shot that a table solves side by side: as it is, a little faster, with a
little more drag, and with the bow yawed until the tip meets the aim point sideways."""


def _variants(shot: Shot, at: Array) -> tuple[Shot, Array, Mask]:
    """Lanes of every variant at each distance: shot, distances, lanes with windage.

    Without anything that pushes sideways the yaw is zero and STEERED is left out.
    """
    count, kinds = at.size, 4 if sideways(shot) else 3
    factors = np.ones((2, kinds, count))
    factors[0, FASTER] += STEP
    factors[1, THICKER] += STEP
    speed, drag = factors.reshape(2, kinds * count)
    steered = np.zeros((kinds, count), dtype=bool)
    steered[STEERED:] = True
    varied = shot.with_(launch_speed=shot.launch_speed * speed, drag_scale=shot.drag_scale * drag)
    return varied, np.concatenate((at,) * kinds), steered.ravel()


def _aims(aimed: Aimed, angles: Array, yaws: Array) -> Aims:
    """The aims, from launch angles and yaws (variants, rows)."""
    change = Sensitivity(
        (angles[FASTER] - angles[PLAIN]) / STEP, (angles[THICKER] - angles[PLAIN]) / STEP
    )
    steered = yaws[STEERED] if len(yaws) > STEERED else np.zeros(aimed.distance.size)
    return Aims(aimed, steered, change)


def _each(shot: Shot, distances: Array) -> Aims:
    count = distances.size
    varied, lanes, steered = _variants(shot, distances)
    aimed = aim(varied, lanes, windage=steered)
    plain = aimed.lanes(slice(0, count))
    require_reached(shot, plain)
    return _aims(plain, aimed.launch_angle.reshape(-1, count), aimed.yaw.reshape(-1, count))


def _spread(shot: Shot, distances: Array) -> Aims | None:
    """The rows from KNOTS solved distances; None where that is not good enough."""
    low, high = np.log(distances.min()), np.log(distances.max())
    if high - low < 1e-9:
        return None
    knots, to_series = _knots()
    varied, lanes, steered = _variants(shot, np.exp(low + (knots + 1.0) * (high - low) / 2.0))
    flights, goal = aimed_flights(varied, lanes, steered, LEVELS[0])
    error = angle_error(flights, goal, lanes)
    angles = flights.launch.angle.reshape(-1, KNOTS) @ to_series
    # The series leaves out about as much as its last coefficients still hold.
    worst = error.max() + 2.0 * np.abs(angles[PLAIN, -2:]).sum()
    if not worst <= TOLERANCE:
        return None
    terms = _terms(2.0 * (np.log(distances) - low) / (high - low) - 1.0)
    yaws = flights.launch.yaw.reshape(-1, KNOTS) @ to_series
    rows = _at_rows(flights, to_series, terms, shot)
    goal.lever = goal.lever[:KNOTS] @ to_series @ terms
    aimed = summary(rows, goal, distances, np.full(distances.size, worst))
    return _aims(aimed, angles @ terms, yaws @ terms)


@lru_cache(maxsize=1)
def _knots() -> tuple[Array, Array]:
    """Chebyshev-Lobatto points on [-1, 1]; matrix (knots, terms) from values to a series."""
    knots: Array = -np.cos(np.pi * np.arange(KNOTS) / (KNOTS - 1)).astype(np.float64)
    values = np.polynomial.chebyshev.chebvander(knots, KNOTS - 1)
    to_series: Array = np.linalg.inv(values).T.astype(np.float64)
    return knots, to_series


def _terms(at: Array) -> Array:
    """Chebyshev polynomials T_0 .. T_(KNOTS - 1), (terms, rows), by their recurrence."""
    terms = np.empty((KNOTS, at.size))
    terms[0], terms[1] = 1.0, at
    twice = 2.0 * at
    for k in range(2, KNOTS):
        np.multiply(twice, terms[k - 1], out=terms[k])
        terms[k] -= terms[k - 2]
    return terms


def _at_rows(flights: Flights, to_series: Array, terms: Array, shot: Shot) -> Flights:
    """Flights at the rows from the first KNOTS lanes of those solved."""
    launch, points = flights.launch, flights.acceleration.shape[0]
    held = flights.acceleration[..., :KNOTS].reshape(-1, KNOTS) @ to_series
    acceleration = (held @ terms).reshape(points, launch.axes, -1)
    known = np.array((launch.angle[:KNOTS], launch.yaw[:KNOTS], launch.time[:KNOTS]))
    angle, yaw, time = known @ to_series @ terms
    rows = Launch(shot, launch.axes, angle, yaw, time)
    velocity = time * flights.grid.integrals(acceleration)[:-1] + shot.launch_speed * rows.line
    # One range of airspeeds for all rows, that of the knots, which hold both ends.
    low, high = flights.airspeed[:, :KNOTS].min(), flights.airspeed[:, :KNOTS].max()
    airspeed = np.broadcast_to(np.array([[low], [high]]), (2, angle.size))
    forces, still = Forces(shot, launch.axes), np.zeros(angle.size)
    return Flights(shot, forces, flights.grid, rows, acceleration, velocity, airspeed, still)
