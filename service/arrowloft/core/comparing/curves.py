"""Set-ups aimed over a range of distances, and read between those solved from series.

As `flight.distances` does for one shot, but with all set-ups in one batch: they are solved
at a few Chebyshev points of the logarithm of the distance.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.comparing.setups import Setups
from arrowloft.core.flight.aim import BLOCK, TOLERANCE, aimed_flights
from arrowloft.core.flight.aimed import angle_error
from arrowloft.core.flight.distances import FEW, KNOTS, STEP, terms_at_few
from arrowloft.core.flight.motion import Flights, Goal
from arrowloft.core.series import chebyshev, left_out, terms
from arrowloft.core.setup.shot import Shot


class Aims(NamedTuple):
    """What is read of aimed flights, all of one shape: as in `Aimed`."""

    launch_angle: Array
    time: Array
    speed: Array
    arrival_airspeed: Array
    drift: Array
    lever: Array


CLOSE = np.array([TOLERANCE, 1e-7, 1e-6, 1e-6, 1e-7, 1e-5])
"""What the series may leave out of each, SI: no more than a reply resolves."""


@dataclass(frozen=True)
class Span:
    """Distances from low to high, m, by their logarithm."""

    low: float
    high: float

    def knots(self, count: int) -> Array:
        """Chebyshev points of the logarithm of the distance, both ends among them."""
        low, high = np.log(self.low), np.log(self.high)
        found: Array = np.exp(0.5 * (low + high) + 0.5 * (high - low) * chebyshev(count)[0])
        found[0], found[-1] = self.low, self.high
        return found

    def terms(self, distance: Array, count: int) -> Array:
        """Chebyshev polynomials at distances, (count, distances)."""
        low, high = np.log(self.low), np.log(self.high)
        return terms((2.0 * np.log(distance) - low - high) / (high - low), count)

    def read(self, series: Array, distance: Array, which: Lanes) -> Array:
        """Of series (set-ups, terms), the value of the set-up `which` at each distance."""
        at = self.terms(distance, series.shape[-1])
        value: Array = np.einsum("lt,tl->l", series[which], at)
        return value


@dataclass(frozen=True)
class Curves:
    """Aimed set-ups over a span; the rows of every array are the set-ups.

    aims: series, in the order of `Aims`, (quantities, set-ups, terms).
    changes: series of the changes of the launch angle, rad, per relative change of speed
        and of drag, (2, set-ups, FEW).
    error: estimated error of any launch angle, rad; inf where the series do not hold: a
        kink of the law is passed, or the span ends near the reach or beyond it.
    least_airspeed, greatest_airspeed: m/s.
    """

    span: Span
    aims: Array
    changes: Array
    error: Array
    least_airspeed: Array
    greatest_airspeed: Array

    @classmethod
    def blank(cls, span: Span, count: int) -> "Curves":
        """Set-ups not yet solved."""
        return cls(
            span,
            np.zeros((len(Aims._fields), count, KNOTS[-1][0])),
            np.zeros((2, count, FEW)),
            np.full(count, np.inf),
            np.full(count, np.nan),
            np.full(count, np.nan),
        )

    def angle(self, distance: Array, which: Lanes) -> Array:
        """Launch angle of the set-up `which` at each distance, rad, (lanes,)."""
        return self.span.read(self.aims[0], distance, which)

    def drift(self, distance: Array, which: Lanes) -> Array:
        """Drift of the set-up `which` at each distance, right positive, m, (lanes,)."""
        return self.span.read(self.aims[4], distance, which)

    def arrival_airspeed(self, distance: Array, which: Lanes) -> Array:
        """Airspeed of the set-up `which` at arrival, m/s, (lanes,)."""
        return self.span.read(self.aims[3], distance, which)

    def rows(self, which: Lanes, distances: Array) -> tuple[Array, Array]:
        """Aims and changes of some set-ups at each distance, (..., set-ups, distances)."""
        at = self.span.terms(distances, self.aims.shape[-1])
        return self.aims[:, which] @ at, self.changes[:, which] @ at[:FEW]


def aimed_over(setups: Setups, span: Span) -> Curves:
    """Aim all set-ups over the span, with more distances where the first are too coarse."""
    result = Curves.blank(span, setups.count)
    left, known = np.arange(setups.count), setups.kinks_known()
    for knots, level in KNOTS:
        again = [left[:0]]
        block = BLOCK // (knots + 2 * FEW)
        for alike in (left[known[left]], left[~known[left]]):
            for first in range(0, alike.size, block):
                part = alike[first : first + block]
                again.append(part[_solve(result, setups, part, knots, level)])
        left = np.concatenate(again)
    return result


def _solve(result: Curves, setups: Setups, part: Lanes, knots: int, level: tuple[int, int]) -> Mask:
    """Solve some set-ups, and store what is good; those for which more distances may help.

    All of them say where their laws have kinks, or none does.
    """
    some, few = setups.some(part), result.span.knots(FEW)
    asked = np.concatenate((result.span.knots(knots), few, few))
    distance, shape = np.tile(asked, part.size), (part.size, asked.size)
    shot = _varied(some, shape, knots)
    flights, goal = aimed_flights(shot, distance, np.zeros(distance.size, dtype=bool), level)
    error = angle_error(flights, goal, distance).reshape(shape).max(axis=1)
    with np.errstate(all="ignore"):  # a set-up that does not reach them all may hold anything
        aims = _aims(flights, goal).reshape(-1, *shape)
        series = aims[..., :knots] @ chebyshev(knots)[1]
        missed = left_out(series)
        varied = aims[0, :, knots:].reshape(-1, 2, FEW).swapaxes(0, 1)
        changes = (varied - series[0] @ terms_at_few(knots)) / STEP @ chebyshev(FEW)[1]
        error = error + missed[0]
        close = (missed <= CLOSE[:, None]).all(axis=0) & (error <= TOLERANCE)
    airspeed = flights.airspeed.reshape(-1, *shape)[..., :knots]
    least, greatest = airspeed.min(axis=(0, 2)), airspeed.max(axis=(0, 2))
    smooth = np.isfinite(error) & ~some.passes_kink(least, greatest)
    good = smooth & close
    done = part[good]
    result.aims[:, done, :knots], result.changes[:, done] = series[:, good], changes[:, good]
    result.error[done] = error[good]
    result.least_airspeed[done], result.greatest_airspeed[done] = least[good], greatest[good]
    again: Mask = smooth & ~good
    return again


def _varied(setups: Setups, shape: tuple[int, int], knots: int) -> Shot:
    """Lanes of each set-up: as it is, then a little faster, then with a little more drag."""
    speed, drag = np.ones((2, *shape))
    speed[:, knots : knots + FEW] += STEP
    drag[:, knots + FEW :] += STEP
    shot = setups.lanes(np.repeat(np.arange(shape[0]), shape[1]))
    return shot.with_(
        launch_speed=shot.launch_speed * speed.ravel(),
        drag_scale=shot.drag_scale * drag.ravel(),
        kinks=() if setups.kinks_known()[0] else None,
    )


def _aims(flights: Flights, goal: Goal) -> Array:
    """What is read of the flights, in the order of `Aims`, (quantities, lanes)."""
    launch, velocity = flights.launch, flights.velocity[-1]
    speed = np.sqrt(np.einsum("cl,cl->l", velocity, velocity))
    drift = flights.tip()[2] if launch.axes == 3 else np.zeros(speed.size)
    return np.array((launch.angle, launch.time, speed, flights.airspeed[-1], drift, goal.lever))
