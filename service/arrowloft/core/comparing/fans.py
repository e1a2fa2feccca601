"""Set-ups aimed and loosed from fans of marched flights: where series over distances do not hold.

Each set-up is marched at some launch angles. At any distance the impact is a smooth function
of the angle, whatever the law's kinks: a polynomial through neighbours in the fan gives the
angle that hits, where another angle hits, and how far any of them reaches.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.comparing.marching import Marched
from arrowloft.core.series import terms

WINDOW = 8
"""Neighbours of a fan that a polynomial goes through."""

SHIFTS = (2, 4, -2, -4)
"""How far a window is moved where not all of it gets to a distance."""

HALVINGS = 44
"""Bisections of a launch angle: to 1e-13 rad."""


class Read(NamedTuple):
    """What is read of a fan at launch angles: as in `Marched.read`, then the lever, m/rad."""

    time: Array
    up: Array
    right: Array
    speed: Array
    airspeed: Array
    lever: Array


class Series(NamedTuple):
    """Chebyshev series in the launch angle over windows of fans.

    terms: of what `Marched.read` gives, (7, ..., fans, WINDOW).
    middle, half: of the windows, rad, (..., fans).
    """

    terms: Array
    middle: Array
    half: Array

    def angle(self) -> Array:
        """Low launch angle, rad, at which the tip is on the line of sight; NaN: there is none."""
        up = self.terms[1]
        top = self._top()
        low = np.where(_at(up, np.full_like(top, -1.0)) < 0.0, -1.0, np.nan)
        high = np.where(_at(up, top) >= 0.0, top, np.nan)
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            over = _at(up, middle) > 0.0
            low, high = np.where(over, low, middle), np.where(over, middle, high)
        found: Array = self.middle + 0.5 * (low + high) * self.half
        return found

    def highest(self) -> Array:
        """Greatest height of the tip at any launch angle, m."""
        return _at(self.terms[1], self._top())

    def at(self, angle: Array) -> Read:
        """What is read at launch angles, rad, (..., fans); NaN outside the windows."""
        place = (angle - self.middle) / self.half
        place = np.where(np.abs(place) <= 1.0 + 1e-9, place, np.nan)
        time, up, right, ahead, rise, aside, airspeed = (_at(each, place) for each in self.terms)
        lever = _at(_slope(self.terms[1]), place) / self.half
        speed = np.sqrt(ahead**2 + rise**2 + aside**2)
        return Read(time, up, right, speed, airspeed, lever)

    def _top(self) -> Array:
        """Place up to which the height rises with the angle; 1 where it does all along."""
        slope = _slope(self.terms[1])
        low, high = -np.ones(slope.shape[:-1]), np.ones(slope.shape[:-1])
        whole = _at(slope, high) > 0.0
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            rises = _at(slope, middle) > 0.0
            low, high = np.where(rises, middle, low), np.where(rises, high, middle)
        return np.where(whole, 1.0, 0.5 * (low + high))


@dataclass(frozen=True)
class Fans:
    """Fans of some set-ups.

    place: position of each of all set-ups among the fans; -1: it has none.
    marched: `size` flights for each fan in turn.
    varied: as many less closely, as many again with a little more speed, and with a little
        more drag, where changes were asked for.
    size: launch angles of a fan, evenly apart.
    low, high: their ends, rad, (fans,).
    looked_at, rough: distances, m, and about the angles that hit there, rad, (some, fans).
    farthest: distance that each set-up reaches, m; NaN: all that were asked for.
    error: estimated error of an impact, m, (fans,).
    """

    place: Lanes
    marched: Marched
    varied: Marched | None
    size: int
    low: Array
    high: Array
    looked_at: Array
    rough: Array
    farthest: Array
    error: Array

    def aiming(self, distance: Array, fan: Lanes, variant: int | None = None) -> Series:
        """Series about the angles that hit, at distances (..., fans), m.

        variant: of those varied, 1 with more speed, 2 with more drag.
        """
        about = np.empty(distance.shape)
        for index, each in enumerate(fan):
            about[..., index] = np.interp(
                distance[..., index], self.looked_at[:, each], self.rough[:, each]
            )
        return self.about(about, distance, fan, variant)

    def about(
        self, angle: Array, distance: Array, fan: Lanes, variant: int | None = None
    ) -> Series:
        """Series about launch angles, rad, at distances, m, (..., fans) both."""
        spacing = (self.high - self.low)[fan] / (self.size - 1)
        place = np.nan_to_num((angle - self.low[fan]) / spacing)
        most = self.size - WINDOW
        first = np.clip(np.rint(place - 0.5 * (WINDOW - 1)), 0, most).astype(np.intp)
        found = self._windows(first, distance, fan, variant)
        # Low flights may have turned back before they get there, and steep ones.
        wanted = first
        for shift in SHIFTS:
            turned = np.isnan(found[1]).any(axis=-1) & np.isfinite(distance + angle)
            if not turned.any():
                break
            again = np.clip(wanted + shift, 0, most)
            others = self._windows(again, np.where(turned, distance, np.nan), fan, variant)
            first = np.where(turned, again, first)
            found = np.where(turned[..., None], others, found)
        half = 0.5 * (WINDOW - 1) * spacing
        middle = self.low[fan] + spacing * first + half
        return Series(found, middle, np.broadcast_to(half, middle.shape))

    def _windows(self, first: Lanes, distance: Array, fan: Lanes, variant: int | None) -> Array:
        marched = self.marched if variant is None else self.varied
        assert marched is not None
        start = ((variant or 0) * self.low.size + fan) * self.size
        flights = (start + first)[..., None] + np.arange(WINDOW)
        read = marched.read(np.broadcast_to(distance[..., None], flights.shape), flights)
        found: Array = read @ _to_series()
        return found


@lru_cache(maxsize=1)
def _to_series() -> Array:
    """Matrix from values at points evenly apart to a Chebyshev series."""
    points = np.linspace(-1.0, 1.0, WINDOW)
    values = np.polynomial.chebyshev.chebvander(points, WINDOW - 1)
    matrix: Array = np.linalg.inv(values).T.astype(np.float64)
    return matrix


def _at(series: Array, place: Array) -> Array:
    """Series (..., terms) at places on [-1, 1], (...)."""
    value: Array = np.einsum("t...,...t->...", terms(place, series.shape[-1]), series)
    return value


def _slope(series: Array) -> Array:
    """Series of the derivatives."""
    slope: Array = np.polynomial.chebyshev.chebder(series, axis=-1).astype(np.float64)
    return slope
