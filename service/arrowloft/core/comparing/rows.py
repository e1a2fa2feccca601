"""Aimed flights of set-ups at distances, and as they are read from fans."""

from dataclasses import dataclass, fields

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.comparing.curves import Aims
from arrowloft.core.comparing.fanning import VARIED
from arrowloft.core.comparing.fans import Fans
from arrowloft.core.comparing.setups import Setups

NOWHERE = 0.01
"""Reach of a set-up whose flights cannot be followed, m."""

ALONG = 49
"""Distances at which the airspeed is read along a flight."""


@dataclass(frozen=True)
class Rows:
    """Aimed flights, a row of every array for each set-up; NaN where out of reach.

    aims: in the order of `Aims`, (quantities, set-ups, distances).
    changes: of the launch angle, rad, per relative change of speed and of drag, (2, ...).
    farthest: distance that a set-up reaches, m, where that is not all; else NaN.
    followed: whether a set-up's flights could be solved.
    error: estimated error of any launch angle, rad.
    least_airspeed, greatest_airspeed: m/s; NaN where no distance is reached.
    """

    aims: Array
    changes: Array
    farthest: Array
    followed: Mask
    error: Array
    least_airspeed: Array
    greatest_airspeed: Array

    @classmethod
    def blank(cls, count: int, distances: int, *, followed: bool = True) -> "Rows":
        """Rows to be filled."""
        return cls(
            np.full((len(Aims._fields), count, distances), np.nan),
            np.full((2, count, distances), np.nan),
            np.full(count, np.nan),
            np.full(count, followed),
            np.zeros(count),
            np.full(count, np.nan),
            np.full(count, np.nan),
        )

    def store(self, part: "Rows", which: Lanes) -> None:
        """Fill in some of the set-ups."""
        for item in fields(self):
            values = getattr(self, item.name)
            if values.ndim > 1:
                values[:, which] = getattr(part, item.name)
            else:
                values[which] = getattr(part, item.name)


def rows_from_fans(setups: Setups, fans: Fans, which: Lanes, distances: Array) -> Rows:
    """Rows of the set-ups `which` at distances, m, from their fans."""
    fan = fans.place[which]
    result = Rows.blank(which.size, distances.size)
    grid = np.repeat(distances[:, None], fan.size, axis=1)
    grid = np.where(
        grid <= np.where(np.isnan(fans.farthest), np.inf, fans.farthest)[fan], grid, np.nan
    )
    series = fans.aiming(grid, fan)
    angle = series.angle()
    read = series.at(angle)
    found = Aims(angle, read.time, read.speed, read.airspeed, read.right, read.lever)
    result.aims[:] = np.array(found).swapaxes(1, 2)
    if fans.varied is not None:
        plain, *varied = (fans.aiming(grid, fan, variant).angle() for variant in range(3))
        result.changes[:] = (np.array(varied) - plain).swapaxes(1, 2) / VARIED
    # What gets nowhere at all is no flight.
    result.followed[:] = ~(fans.farthest[fan] < NOWHERE)
    result.farthest[:] = np.where(result.followed, fans.farthest[fan], np.nan)
    with np.errstate(invalid="ignore"):
        lever = np.fmin.reduce(np.abs(read.lever), axis=0)
        error = np.minimum(fans.error[fan] / lever, 1.0)
    result.error[:] = np.nan_to_num(error)
    _airspeeds(result, setups, fans, which, distances)
    return result


def _airspeeds(result: Rows, setups: Setups, fans: Fans, which: Lanes, distances: Array) -> None:
    """Fill in the airspeeds along the nearest and the farthest flight that reaches its distance."""
    fan, angle = fans.place[which], result.aims[0]
    hit = np.isfinite(angle)
    reached = np.where(hit, distances, np.nan)
    for pick in (np.fmin.reduce, np.fmax.reduce):
        end = pick(reached, axis=1)
        column = np.argmax(reached == end[:, None], axis=1)
        own = angle[np.arange(which.size), column]
        share = np.linspace(0.02, 1.0, ALONG)[:, None]
        many = np.broadcast_to(own, (ALONG, own.size))
        along = fans.about(many, share * end, fan).at(many)
        launched = setups.launch_airspeed(own, which)
        every = np.concatenate((along.airspeed, launched[None]))
        result.least_airspeed[:] = np.fmin(result.least_airspeed, np.fmin.reduce(every, axis=0))
        result.greatest_airspeed[:] = np.fmax(
            result.greatest_airspeed, np.fmax.reduce(every, axis=0)
        )
