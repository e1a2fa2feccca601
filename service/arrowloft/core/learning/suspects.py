"""Which few observations, left out, leave the rest in peace: exact about several slips at once.

One slip bends a fit toward itself, and two can bend it so far that sound observations look
worse than they do. So sets of observations are weighed as a whole, from the smallest on.
With the whitened residuals r of a set's rows at the fit and their part H of the hat matrix,

    d^2 = r^T (1 - H)^-1 r

is the set's squared distance from what all others and the prior foretell of it, and what
the sum of squares falls by where the set is left out. Where a robust loss has given the
rows less weight, W, both are of the rows by its root, and

    d^2 = u^T ((1 - H)^-1 - 1 + W)^-1 u,  u = (1 - H)^-1 r

for an observation still claims its own uncertainty, however little the fit heeds it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import comb

import numpy as np
from scipy.special import chdtrc, fdtrc

from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.learning.calibration import Calibration
from arrowloft.core.learning.observations import End, Observation

UNLIKELY = 0.01
"""Chance, over all observations, at which sound ones are told not to fit."""

TOLD_APART = 6.0
"""By how much more leaving the worst set out must lower the sum of squares than leaving out
another of its size: odds of 20 to 1 for either of two equally likely slips."""

MOST_SETS = 5000
"""Most sets of one size that are weighed: some 20 microseconds each."""


@dataclass(frozen=True, kw_only=True)
class Foretold:
    """Observations against what the others foretell of them; arrays (observations,).

    distance: d, in standard uncertainties.
    chance: of so large a distance, were all well.
    """

    distance: Array
    chance: Array

    @property
    def sound(self) -> bool:
        """Whether none is so far off that chance does not explain it."""
        return bool((self.chance * self.chance.size >= UNLIKELY).all())


def foretold(fit: Calibration, observations: Sequence[Observation]) -> Foretold:
    """Each observation of a fit against all others of it and the prior."""
    rows = list(rows_of(observations))
    squares = [squared_distance(fit, own) for own in rows]
    chances = [
        chance_of(square, own.size, float(fit.degrees[own].min()))
        for square, own in zip(squares, rows, strict=True)
    ]
    return Foretold(distance=np.sqrt(np.array(squares)), chance=np.array(chances))


def squared_distance(fit: Calibration, rows: Lanes) -> float:
    """d^2 of some rows of a fit, as above."""
    own, weight = fit.design[rows], fit.weight[rows]
    whitened = np.sqrt(weight) * fit.residuals[rows] / fit.deviation[rows]
    spread = np.linalg.inv(np.eye(rows.size) - own @ fit.covariance @ own.T)
    miss = spread @ whitened
    square = float(miss @ np.linalg.solve(spread - np.diag(1.0 - weight), miss))
    return max(square, 0.0)


def sets_of(
    fit: Calibration,
    observations: Sequence[Observation],
    size: int,
    smaller: tuple[int, ...] = (),
) -> tuple[tuple[int, ...], list[tuple[int, ...]]]:
    """The worst set of a size, and the sets that cannot be told from it, itself among them.

    smaller: the worst set of one less; where there are more than MOST_SETS, only those that
    hold it are weighed.
    """
    rows, every = list(rows_of(observations)), range(len(observations))
    if comb(len(every), size) <= MOST_SETS:
        sets = list(combinations(every, size))
    else:
        sets = [tuple(sorted((*smaller, index))) for index in every if index not in smaller]
    squares = np.array(
        [squared_distance(fit, np.concatenate([rows[index] for index in one])) for one in sets]
    )
    worst = int(squares.argmax())
    alike = np.flatnonzero(squares > max(squares[worst] - TOLD_APART, 0.0))
    return sets[worst], [sets[index] for index in alike]


def chance_of(square: float, rows: int, degrees: float) -> float:
    """Chance of a sum of squares of so many rows; Fisher's F where the scatter is uncertain."""
    if np.isinf(degrees):
        return float(chdtrc(rows, square))
    return float(fdtrc(rows, degrees, square / rows))


def rows_of(observations: Sequence[Observation]) -> Iterator[Lanes]:
    """The rows of `Predictions.observed` that belong to each observation."""
    ends = [item for item in observations if isinstance(item, End)]
    side = len(ends)
    reading = side + sum(end.landed.right is not None for end in ends)
    end = 0
    for item in observations:
        if not isinstance(item, End):
            yield np.array([reading])
            reading += 1
            continue
        if item.landed.right is None:
            yield np.array([end])
        else:
            yield np.array([end, side])
            side += 1
        end += 1
