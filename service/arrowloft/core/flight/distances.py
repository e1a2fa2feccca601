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

from arrowloft.core.arrays import Array, Mask
from arrowloft.core.flight.aim import LEVELS, TOLERANCE, aim, aimed_flights, require_ahead
from arrowloft.core.flight.aimed import Aimed, angle_error, summary
from arrowloft.core.flight.motion import Flights, Forces, Launch, sideways
from arrowloft.core.flight.reach import require_reached
from arrowloft.core.series import chebyshev, left_out, terms
from arrowloft.core.setup.shot import Shot

KNOTS = ((16, LEVELS[0]), (24, LEVELS[1]))
"""Distances solved for a table and the level at which; the second where the first is too coarse."""

FEW = 9
"""Distances at which the sensitivities of a table are solved: enough for three digits."""

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

    Raises TooNear, BeyondReach, Unsolved.
    """
    require_ahead(shot, distances)
    for knots, level in KNOTS:
        if distances.size > knots:
            spread = _spread(shot, distances, knots, level)
            if spread is not None:
                return spread
    return _each(shot, distances)


@dataclass(frozen=True)
class Variants:
    """Variants of a shot, solved side by side: shot, distances, and lanes with windage.

    In this order: as it is, `full` lanes; a little faster, and with a little more drag,
    `few` lanes each; and, where anything pushes sideways, with the bow yawed until the
    tip meets the aim point, `full` lanes.
    """

    shot: Shot
    distance: Array
    windage: Mask
    full: int
    few: int

    @classmethod
    def of(cls, shot: Shot, full: Array, few: Array) -> "Variants":
        """The lanes for these distances."""
        faster, thicker = slice(full.size, -few.size), slice(full.size + few.size, None)
        distance = np.concatenate((full, few, few))
        factors = np.ones((2, distance.size))
        factors[0, faster] += STEP
        factors[1, thicker] += STEP
        windage = np.zeros(distance.size, dtype=bool)
        if sideways(shot):
            distance = np.concatenate((distance, full))
            factors = np.concatenate((factors, np.ones((2, full.size))), axis=1)
            windage = np.concatenate((windage, np.ones(full.size, dtype=bool)))
        varied = shot.with_(
            launch_speed=shot.launch_speed * factors[0], drag_scale=shot.drag_scale * factors[1]
        )
        return cls(varied, distance, windage, full.size, few.size)

    def plain(self, values: Array) -> Array:
        """Of values (..., lanes), those of the shot as it is, (..., full)."""
        return values[..., : self.full]

    def changes(self, angle: Array, plain: Array) -> Array:
        """Changes of the angle per relative change of speed and of drag, (2, few).

        angle: of all lanes.  plain: of the shot as it is, at the few distances.
        """
        varied = angle[self.full : self.full + 2 * self.few].reshape(2, self.few)
        change: Array = (varied - plain) / STEP
        return change

    def steered(self, yaw: Array) -> Array:
        """Yaw of the lanes with windage; zero where nothing pushes sideways, (full,)."""
        if not self.windage.any():
            return np.zeros(self.full)
        return yaw[self.full + 2 * self.few :]


def _each(shot: Shot, distances: Array) -> Aims:
    """Every row by itself."""
    variants = Variants.of(shot, distances, distances)
    aimed = _at_once(variants)
    if aimed is None:
        # The shot as it is comes first: a table that it does not reach ends there.
        require_reached(shot, aim(shot, distances))
        aimed = aim(variants.shot, variants.distance, windage=variants.windage)
    plain = aimed.lanes(slice(0, variants.full))
    change = variants.changes(aimed.launch_angle, plain.launch_angle)
    return Aims(plain, variants.steered(aimed.yaw), Sensitivity(*change))


def _at_once(variants: Variants) -> Aimed | None:
    """All lanes at the first level, for a short table; None where that is not good enough."""
    if variants.full > KNOTS[0][0]:  # a longer one comes here since the first level failed
        return None
    distance = variants.distance
    flights, goal = aimed_flights(variants.shot, distance, variants.windage, LEVELS[0])
    error = angle_error(flights, goal, distance)
    return summary(flights, goal, distance, error) if error.max() <= TOLERANCE else None


def _spread(shot: Shot, distances: Array, knots: int, level: tuple[int, int]) -> Aims | None:
    """The rows from series over solved distances; None where those are not good enough."""
    low, high = np.log(distances.min()), np.log(distances.max())
    if high - low < 1e-9:
        return None
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    (points, to_series), (few, few_to_series) = chebyshev(knots), chebyshev(FEW)
    variants = Variants.of(shot, np.exp(middle + half * points), np.exp(middle + half * few))
    flights, goal = aimed_flights(variants.shot, variants.distance, variants.windage, level)
    error = angle_error(flights, goal, variants.distance)
    angle = variants.plain(flights.launch.angle) @ to_series
    worst = float(error.max() + left_out(angle))
    if not worst <= TOLERANCE:
        return None
    at_rows = terms((np.log(distances) - middle) / half, knots)
    goal.lever = variants.plain(goal.lever) @ to_series @ at_rows
    rows = _at_rows(flights, shot, to_series, at_rows)
    aimed = summary(rows, goal, distances, np.full(distances.size, worst))
    at_few = angle @ terms_at_few(knots)
    change = variants.changes(flights.launch.angle, at_few) @ few_to_series
    yaw = variants.steered(flights.launch.yaw) @ to_series @ at_rows
    return Aims(aimed, yaw, Sensitivity(*(change @ at_rows[:FEW])))


@lru_cache(maxsize=8)
def terms_at_few(count: int) -> Array:
    """`terms` at the FEW points."""
    return terms(chebyshev(FEW)[0], count)


def _at_rows(flights: Flights, shot: Shot, to_series: Array, at_rows: Array) -> Flights:
    """Flights at the rows from the first lanes solved, one for each term."""
    launch, points, full = flights.launch, flights.acceleration.shape[0], len(at_rows)
    held = flights.acceleration[..., :full].reshape(-1, full) @ to_series
    acceleration = (held @ at_rows).reshape(points, launch.axes, -1)
    known = np.array((launch.angle[:full], launch.yaw[:full], launch.time[:full]))
    angle, yaw, time = known @ to_series @ at_rows
    rows = Launch(shot, launch.axes, angle, yaw, time)
    velocity = time * flights.grid.integrals(acceleration)[:-1] + shot.launch_speed * rows.line
    # One range of airspeeds for all rows, that of the solved distances, which hold both ends.
    flown = flights.airspeed[:, :full]
    airspeed = np.broadcast_to(np.array([[flown.min()], [flown.max()]]), (2, angle.size))
    forces, still = Forces(shot, launch.axes), np.zeros(angle.size)
    return Flights(shot, forces, flights.grid, rows, acceleration, velocity, airspeed, still, still)
