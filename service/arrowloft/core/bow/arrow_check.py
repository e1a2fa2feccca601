"""An arrow held against common practice: mass for the draw weight, balance, energy (SI)."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Mask, Real
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.reach import Unsolved, reach, require_reached
from arrowloft.core.setup.equipment import LEAST_MASS_PER_DRAW_WEIGHT
from arrowloft.core.setup.shot import Shot

ROUNDING = 1e-9
"""Share by which an arrow may miss its least mass before it is called light: what conversions
of units leave."""

STEP = 1e-3
"""Relative change of launch speed and drag for the derivative of the speed at arrival: its
square is what a central difference leaves out, 1e-10 of the speed is what a flight may be off."""

MOST_DOUBT = 0.5
"""Standard uncertainty of the launch speed, as a share of it, from which no uncertainty of the
speed at arrival follows in proportion."""


@dataclass(frozen=True, kw_only=True)
class MassCheck:
    """An arrow's mass beside the least one for its bow.

    per_draw_weight: mass over peak draw weight, kg/N.
    least: least mass, kg.  margin: mass - least, kg, negative where the arrow is light.
    light: whether it is lighter than the least mass.
    """

    per_draw_weight: float
    least: float
    margin: float
    light: bool


def mass_check(
    mass: float, draw_weight: float, least_per_draw_weight: float = LEAST_MASS_PER_DRAW_WEIGHT
) -> MassCheck:
    """Hold a mass, kg, against least mass = least_per_draw_weight * draw weight.

    draw_weight: peak force of the draw, N.  least_per_draw_weight: kg/N; by common practice
    5 grains per pound-force.
    """
    least = least_per_draw_weight * draw_weight
    return MassCheck(
        per_draw_weight=mass / draw_weight,
        least=least,
        margin=mass - least,
        light=mass < least * (1.0 - ROUNDING),
    )


def front_of_centre(balance_point: Real, length: Real) -> Real:
    """How far the balance point lies ahead of the middle, in percent: FOC = 100 (B - L/2) / L.

    balance_point: nock throat to balance point, B, m.  length: L, m. By the trade's
    definition L runs from the nock throat to the end of the shaft, point excluded (from
    memory). A uniform rod has 0; a rod with a share s of all its mass at its end has 50 s.
    """
    share: Real = 100.0 * (balance_point - 0.5 * length) / length
    return share


@dataclass(frozen=True, kw_only=True)
class Carried:
    """What an arrow carries: energy E = m v^2 / 2 in J, momentum p = m v in kg m/s.

    *_uncertainty: standard uncertainties m v u and m u of a speed that is uncertain by u, the
    mass being exact.
    """

    energy: Real
    energy_uncertainty: Real
    momentum: Real
    momentum_uncertainty: Real

    @classmethod
    def of(cls, mass: float, speed: Real, speed_uncertainty: Real) -> "Carried":
        """Of an arrow of a mass, kg, at a speed known to a standard uncertainty, m/s."""
        return cls(
            energy=0.5 * mass * speed**2,
            energy_uncertainty=mass * speed * speed_uncertainty,
            momentum=mass * speed,
            momentum_uncertainty=mass * speed_uncertainty,
        )


@dataclass(frozen=True, kw_only=True)
class Arrivals:
    """What an arrow has left at each distance; arrays (rows,), SI.

    time: launch to arrival of the tip.  speed: of the balance point then, over the ground.
    energy, momentum: as in `Carried`.
    *_uncertainty: standard uncertainties, the mass being exact; NaN where an arrow slower
        and with more drag by one of them would not arrive, or that is of the speed's size.
    energy_lost, momentum_lost: on the way, as shares of those at launch; negative where the
        arrow gains, as it does falling steeply.
    error: estimated numerical error of any launch angle, rad.
    airspeed_range: least and greatest airspeed flown, m/s.
    """

    distance: Array
    time: Array
    speed: Array
    speed_uncertainty: Array
    energy: Array
    energy_uncertainty: Array
    energy_lost: Array
    energy_lost_uncertainty: Array
    momentum: Array
    momentum_uncertainty: Array
    momentum_lost: Array
    error: float
    airspeed_range: tuple[float, float]


def arrivals(
    shot: Shot, distances: Array, *, speed_uncertainty: float = 0.0, drag_uncertainty: float = 0.0
) -> Arrivals:
    """Aim one shot (every member a float) at each distance, m, and see what arrives.

    speed_uncertainty: standard uncertainty of the launch speed, m/s.
    drag_uncertainty: of the drag area, as a share of it; independent of the other.

    Raises TooNear, BeyondReach, Unsolved; the lanes of the first two count `distances`.
    """
    aimed = aim(shot, distances)
    require_reached(shot, aimed)
    start, speed = float(shot.launch_speed), aimed.speed
    doubt = speed_uncertainty / start
    by_speed, by_drag = np.full((2, distances.size), np.nan)
    near = ~_beyond_weaker(shot, distances, doubt, drag_uncertainty)
    if near.any():
        by_speed[near], by_drag[near] = _changes(shot, distances[near])
    known = np.hypot(by_speed * doubt, by_drag * drag_uncertainty)
    kept = speed / start
    # A faster launch raises both speeds: the share that is kept hardly changes.
    kept_known = np.hypot((by_speed - speed) * doubt, by_drag * drag_uncertainty) / start
    return Arrivals(
        distance=distances,
        time=aimed.time,
        speed=speed,
        speed_uncertainty=known,
        **vars(Carried.of(float(shot.arrow.mass), speed, known)),
        energy_lost=1.0 - kept**2,
        energy_lost_uncertainty=2.0 * kept * kept_known,
        momentum_lost=1.0 - kept,
        error=float(aimed.error.max()),
        airspeed_range=aimed.airspeed_range,
    )


def _changes(shot: Shot, distances: Array) -> tuple[Array, Array]:
    """Changes of the speed at arrival per relative change of launch speed and of drag, m/s.

    Every arrow is aimed anew. NaN where one of them does not come there, as may be at the very
    reach of a shot that is known better than to STEP.
    """
    rows = distances.size
    speed, drag = np.ones((4, rows)), np.ones((4, rows))
    speed[0] += STEP
    speed[1] -= STEP
    drag[2] += STEP
    drag[3] -= STEP
    varied = shot.with_(
        launch_speed=shot.launch_speed * speed.ravel(), drag_scale=shot.drag_scale * drag.ravel()
    )
    faster, slower, thicker, thinner = aim(varied, np.tile(distances, 4)).speed.reshape(4, rows)
    return (faster - slower) / (2.0 * STEP), (thicker - thinner) / (2.0 * STEP)


def _beyond_weaker(shot: Shot, distances: Array, speed: float, drag: float) -> Mask:
    """Distances that the arrow does not reach, slower and with more drag by these shares.

    There the speed at arrival is no straight line in either, and may be none at all.
    """
    if speed > MOST_DOUBT:
        return np.ones(distances.size, dtype=bool)
    weaker = shot.with_(
        launch_speed=shot.launch_speed * (1.0 - speed), drag_scale=shot.drag_scale * (1.0 + drag)
    )
    try:
        if aim(weaker, float(distances.max())).reached.all():
            return np.zeros(distances.size, dtype=bool)
        beyond: Mask = distances > reach(weaker).distance[0]
        return beyond
    except Unsolved:  # it hardly flies
        return np.ones(distances.size, dtype=bool)
