"""Flat fire: flight so short or so flat that gravity does not change the airspeed.

Mechanics of a point mass in still air: dv/dx = -(rho * CdA(v) / (2 m)) * v.
"""

import numpy as np

from arrowloft.core.arrays import Array, Real
from arrowloft.core.flight.collocation import lobatto
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import DragLaw, Flow
from arrowloft.core.setup.gravity import STANDARD

_NODES = 8
# ln v settles at about (k x)^n / n!, so eight nodes and twelve rounds serve k x up to about 1.
_ROUNDS = 12
_SETTLED = 1e-11  # last change of ln v at the nodes; what is left is smaller by about k x
_SHORTEST = 2.0**-40  # share of the way; a jump in the law then counts for 1e-12 of it
_RESOLVED = 2e-11  # share of ln v in the two highest Legendre terms of the decay
_SLOWEST, _FASTEST = 1e-3, 1e4  # m/s; a law is asked nothing beyond, where it may overflow
_SERIES_BELOW = 0.05  # |2 k x| under which the drop's closed form would lose digits
_SERIES_TERMS = 9  # leaves 0.05^9 / 11! of the sum, far below the rounding of a float


class FlatFireError(ArithmeticError):
    """No finite speed exists at that distance, or the drag law gives no finite area."""


def carry_speed(speed: Real, distance: Real, air: Air, arrow: Arrow, drag: DragLaw) -> Real:
    """Speed after `distance` m of flat flight in still air, m/s; negative: back to the bow.

    Solves d(ln v)/dx = -rho * CdA(v) / (2 m) from `speed`, m/s. For a constant CdA the
    result is speed * exp(-k * distance), k = rho * CdA / (2 m). Relative error at most
    1e-10 for a smooth law: collocation on Lobatto nodes, iterated to rest and checked by
    its highest Legendre terms; where the check fails (a kink in the law, a long way
    through strong drag), the way is split until it holds. The law is asked for speeds
    between 1 mm/s and 10 km/s only.

    Shapes: numbers or arrays of lanes, (n,), mixed; numbers in, a number out.
    Raises ValueError for a speed that is not positive and finite or a distance that is
    not finite; FlatFireError where the law gives no finite area or, going back, the
    speed grows without bound.
    Source: Newton's second law along a straight line (derived).
    """
    parts = (arrow.mass, arrow.shaft_diameter, air.density, air.viscosity, air.speed_of_sound)
    shape = np.broadcast(speed, distance, *parts).shape
    start, way = _lanes(speed, shape), _lanes(distance, shape)
    if not ((start > 0) & (start < np.inf) & (np.abs(way) < np.inf)).all():
        raise ValueError("speed must be positive and finite, and distance finite")
    log_start = np.log(start)
    log_end = _carry(log_start, way, air, arrow, drag)
    if not (log_end <= np.maximum(log_start, np.log(_FASTEST))).all():
        raise FlatFireError("the speed grows without bound on the way back to the bow")
    end = start * np.exp(log_end - log_start)
    return end.reshape(shape) if shape else end[0]


def _lanes(value: Real, shape: tuple[int, ...]) -> Array:
    """One float per lane; a single lane for a number."""
    lanes = np.empty(shape or (1,))
    lanes[...] = value
    return lanes


def _decay(log_speed: Array, air: Air, arrow: Arrow, drag: DragLaw) -> Array:
    """-d(ln v)/dx = rho * CdA / (2 m), 1/m, of the shape of log_speed."""
    airspeed = np.minimum(np.maximum(np.exp(log_speed), _SLOWEST), _FASTEST)
    airspeed.flags.writeable = False
    area = drag(Flow(airspeed, air.density, air.viscosity, air.speed_of_sound), arrow)
    return area * (air.density / (2 * arrow.mass))


def _carry(log_start: Array, way: Array, air: Air, arrow: Arrow, drag: DragLaw) -> Array:
    """Ln v at the end, over steps short enough for the nodes; in most flights a single one."""
    decay = _decay(log_start, air, arrow, drag)
    if not np.isfinite(decay).all():
        raise FlatFireError("the drag law gives no finite drag area at the start")
    log_speed, done, step = log_start, 0.0, 1.0
    while done < 1.0:
        end = _step(log_speed, decay, step * way, air, arrow, drag)
        if end is not None:
            (log_speed, decay), done = end, done + step
            step = min(2 * step, 1.0 - done)
        elif step > _SHORTEST:
            step /= 2
        else:
            raise FlatFireError("no finite speed exists at that distance under this drag law")
    return log_speed


def _step(
    log_start: Array, decay_start: Array, way: Array, air: Air, arrow: Arrow, drag: DragLaw
) -> tuple[Array, Array] | None:
    """Ln v and its decay at the end of a step; None where nodes or rounds do not suffice."""
    rule = lobatto(_NODES)
    running, highest = rule.running[:_NODES], rule.coefficients[-2:]
    log_speed = log_start - rule.points[:, None] * (way * decay_start)
    with np.errstate(over="ignore"):
        for _ in range(_ROUNDS):
            decay = _decay(log_speed, air, arrow, drag)
            renewed = log_start - way * (running @ decay)
            change = np.abs(renewed - log_speed).max()
            log_speed = renewed
            if change <= _SETTLED:
                break
        else:
            return None
    if np.abs(way * (highest @ decay)).max() > _RESOLVED:
        return None
    return log_speed[-1], decay[-1]


def flat_fire_speed(speed: Real, decay: Real, distance: Real) -> Real:
    """Speed v0 exp(-k x), m/s, for a constant decay k = rho Cd A / (2 m), 1/m (derived)."""
    result: Real = speed * np.exp(-np.multiply(decay, distance))
    return result


def flat_fire_time(speed: Real, decay: Real, distance: Real) -> Real:
    """Time (exp(k x) - 1) / (k v0), s, for a constant decay k, 1/m; x / v0 as k -> 0 (derived)."""
    exponent = np.multiply(decay, distance, dtype=float)
    safe = np.where(exponent == 0, 1.0, exponent)
    growth = np.where(exponent == 0, 1.0, np.expm1(exponent) / safe)
    result: Real = (np.divide(distance, speed) * growth)[()]
    return result


def flat_fire_drop(speed: Real, decay: Real, distance: Real, gravity: Real = STANDARD) -> Real:
    """Drop g (exp(2 k x) - 1 - 2 k x) / (4 k^2 v0^2), m, below a level line of departure.

    For a constant decay k, 1/m; g x^2 / (2 v0^2) as k -> 0 (derived: y'' = -g / v^2).
    """
    twice = 2 * np.multiply(decay, distance, dtype=float)
    small = np.abs(twice) < _SERIES_BELOW
    series = np.ones_like(twice)
    for order in range(_SERIES_TERMS + 2, 2, -1):
        series = 1 + series * twice / order
    safe = np.where(small, 1.0, twice)
    closed = 2 * (np.expm1(safe) - safe) / safe**2
    vacuum = gravity / 2 * np.divide(distance, speed) ** 2
    result: Real = (vacuum * np.where(small, series, closed))[()]
    return result
