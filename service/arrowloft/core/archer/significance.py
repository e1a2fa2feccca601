"""Whether a group's centre is off by more than its scatter explains, and what would tell."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import nctdtr, stdtr, stdtrit

from arrowloft.core.archer.archer_scatter import Scatter
from arrowloft.core.arrays import Array

POWER = 0.8
"""Chance with which a shift is to be told, and its side, before it counts as one that a
group would show (common practice in planning measurements)."""

MOST_MORE = 200
"""Most further arrows that are looked at."""


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """What the centre of some arrows says of a shift along one axis, against none.

    shift: of the centre, m.  uncertainty: standard uncertainty of it, m.
    degrees: of freedom of that.  statistic: t, the shift in standard uncertainties.
    p_value: chance of a centre at least so far off, either way, without any shift.
    real: whether that is at most the level of the test.
    least: smallest shift, m, that such arrows would show, and its side, with the chance POWER.
    more_arrows: how many more arrows would tell a shift as large as this one so: 0 where it
        is real already; None where MOST_MORE would not.
    """

    shift: float
    uncertainty: float
    degrees: float
    statistic: float
    p_value: float
    real: bool
    least: float
    more_arrows: int | None


def evidence(
    shift: float, scatter: Scatter, distance: float, arrows: int, level: float
) -> Evidence:
    """Test the centre of so many arrows at a distance, m, against no shift at all.

    level: chance, 0 to 1, that a shift is called real where there is none.
    """
    uncertainty = scatter.centre(distance, arrows)
    statistic, p_value = student(shift, uncertainty, scatter.degrees)
    real = p_value <= level
    return Evidence(
        shift=shift,
        uncertainty=uncertainty,
        degrees=scatter.degrees,
        statistic=statistic,
        p_value=p_value,
        real=real,
        least=uncertainty * least_told(scatter.degrees, level),
        more_arrows=0 if real else more_arrows(shift, scatter, distance, arrows, level),
    )


def student(shift: float, uncertainty: float, degrees: float) -> tuple[float, float]:
    """T and its two-sided p-value, of a shift with a standard uncertainty, m.

    t = shift / uncertainty, infinite where a shift is certain. It is Student's test of one
    sample where the uncertainty s / sqrt(n) rests on its n arrows alone.
    """
    statistic = _in_units_of(uncertainty, shift)
    return statistic, float(2.0 * stdtr(degrees, -abs(statistic)))


def together(one: float, other: float) -> float:
    """p-value of both axes together: p q (1 - ln(p q)) of their p-values p and q.

    The chance that two independent uniform variables have no larger a product: Fisher,
    Statistical Methods for Research Workers, 1932, section 21.1 (from memory).
    """
    product = one * other
    return product * (1.0 - math.log(product)) if product > 0.0 else 0.0


def told(size: float, degrees: float, level: float) -> float:
    """Chance that a two-sided t test at the level tells a shift, and its side.

    size: the shift in standard uncertainties, at least 0; t is then noncentral.
    """
    return float(_told(np.array(size), np.array(degrees), level))


def least_told(degrees: float, level: float) -> float:
    """Shift, in standard uncertainties, that is told, and its side, with the chance POWER."""
    critical = float(stdtrit(degrees, 1.0 - 0.5 * level))

    def lacks(size: float) -> float:
        return told(size, degrees, level) - POWER

    # A scatter estimated three times too large is seldom with a single degree of freedom.
    return float(brentq(lacks, 0.0, 3.0 * critical + 5.0, xtol=1e-9))


def more_arrows(
    size: float, scatter: Scatter, distance: float, arrows: int, level: float
) -> int | None:
    """Fewest further arrows at the distance that tell a shift of this size, m, from none.

    So that all of them together would show it, and its side, with the chance POWER; each
    further arrow, its place being noted, adds a degree of freedom. None where MOST_MORE
    would not do.
    """
    more = np.arange(MOST_MORE + 1.0)
    # Each by itself: beyond some number a centre is read no better.
    centres = [scatter.centre(distance, arrows + count) for count in range(MOST_MORE + 1)]
    sizes = abs(size) / np.array(centres)
    enough = np.flatnonzero(_told(sizes, scatter.degrees + more, level) >= POWER)
    return int(enough[0]) if enough.size else None


def _in_units_of(uncertainty: float, shift: float) -> float:
    """The shift in standard uncertainties; infinite where it is certain."""
    if uncertainty > 0.0:
        return shift / uncertainty
    return math.copysign(math.inf, shift) if shift else 0.0


CERTAIN = 1e6
"""Standard uncertainties beyond which a shift is certain for any test."""


def _told(size: Array, degrees: Array, level: float) -> Array:
    """As `told`, of arrays."""
    critical = stdtrit(degrees, 1.0 - 0.5 * level)
    return np.asarray(1.0 - nctdtr(degrees, np.minimum(size, CERTAIN), critical))
