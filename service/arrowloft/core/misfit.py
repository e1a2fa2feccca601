"""Which observation does not fit the others: a flyer, a slip of the sign or of a unit.

An observation is held against what all the others and the prior foretell of it. With the
whitened residuals r of its rows at the fit and their part H = A P A^T of the hat matrix,
the squared distance from that foretelling, in its own standard uncertainties, is

    d^2 = r^T (1 - H)^-1 r

which is also what the sum of squares falls by where the observation is left out. Where a
robust loss has given the rows less weight, W, both are of the rows by its root, and

    d^2 = u^T ((1 - H)^-1 - 1 + W)^-1 u,  u = (1 - H)^-1 r

for the observation still claims its own uncertainty, however little the fit heeds it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import chdtrc, fdtrc

from arrowloft.core.archer_scatter import ArcherScatter
from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.calibration import Calibration, Loss, calibrate
from arrowloft.core.observations import End, Observation, Predictions
from arrowloft.core.reach import Unsolved
from arrowloft.core.shot import Shot
from arrowloft.core.sight import Sight
from arrowloft.core.slips import put_right
from arrowloft.core.unknowns import Prior
from arrowloft.core.whitened import Whitened, deviations

UNLIKELY = 0.01
"""Chance, over all observations, at which sound ones are told not to fit."""

TOLD_APART = 6.0
"""By how much more leaving the worst one out must lower the sum of squares than leaving out
another: odds of 20 to 1 for either of two equally likely slips."""

SPARED = 3
"""At most one observation in so many is set aside: beyond that the set-up itself is wrong."""

GROSS = 8.0
"""Standard uncertainties from which on an observation is a slip whatever else there is: up to
half of all are set aside then, and even a single one, against the prior alone."""

EXPLAINED = 0.05
"""Chance at which a slip, put right, is taken to explain an observation."""


@dataclass(frozen=True, kw_only=True)
class Foretold:
    """Observations against what the others foretell of them; arrays (observations,).

    distance: d, in standard uncertainties.
    chance: of so large a distance, were all well.
    """

    distance: Array
    chance: Array


@dataclass(frozen=True, kw_only=True)
class Judged:
    """A calibration whose observations were judged.

    calibration: the fit to those kept.  kept: their positions, in order.
    foretold: of every observation, in the order given.
    aside: positions of those set aside, in the order they were.
    contradicting: positions of those of which one or more are wrong, without telling which.
    slips: position -> names of slips, any of which would explain it, likeliest first.
    goodness: of the fit as a whole.
    """

    calibration: Calibration
    kept: tuple[int, ...]
    foretold: Foretold
    aside: tuple[int, ...]
    contradicting: tuple[int, ...]
    slips: dict[int, tuple[str, ...]]
    goodness: "Goodness"


@dataclass(frozen=True, kw_only=True)
class Goodness:
    """How well a fit fits: the sum of squares with the prior's part, its chance.

    degrees: how many values it rests on, which is what the sum is on average.
    """

    chi_square: float
    degrees: int
    chance: float


@dataclass(frozen=True, kw_only=True)
class Case:
    """What is calibrated: the set-up as assumed, the prior, the archer's scatter."""

    shot: Shot
    sight: Sight
    prior: Prior
    scatter: ArcherScatter
    loss: Loss = "squares"

    def fit(self, observations: Sequence[Observation]) -> Calibration:
        """`calibrate` for these observations."""
        return calibrate(
            self.shot, self.sight, self.prior, observations, self.scatter, loss=self.loss
        )


def judged_calibration(case: Case, observations: Sequence[Observation]) -> Judged:
    """Calibrate, setting aside what does not fit.

    At most one observation in SPARED, or one in two where they are GROSS. Observations that
    scatter about the fit more than they should inflate all variances.

    Raises as `calibrate` does; the ends that NeverArrives counts are those of `observations`.
    """
    kept, aside = list(range(len(observations))), list[int]()
    while True:
        some = [observations[index] for index in kept]
        try:
            fit = case.fit(some)
        except Unsolved:
            wildest = _wildest(case, some)
            if wildest is None or len(aside) >= _most_aside(len(observations), gross=True):
                raise
            aside.append(kept.pop(wildest))
            continue
        inside = foretold(fit, some)
        suspects = [kept[place] for place in suspicious(inside)]
        gross = bool(inside.distance.max(initial=0.0) > GROSS)
        if len(suspects) != 1 or len(aside) >= _most_aside(len(observations), gross):
            break
        kept.remove(suspects[0])
        aside += suspects
    goodness = _goodness(fit)
    if suspects or goodness.chance < UNLIKELY:
        fit = replace(fit, inflation=max(goodness.chi_square / max(goodness.degrees, 1), 1.0))
    return Judged(
        calibration=fit,
        kept=tuple(kept),
        foretold=_all_foretold(case, fit, observations, kept, inside),
        aside=tuple(aside),
        contradicting=tuple(suspects),
        slips={index: _slips(case, fit, observations[index]) for index in aside}
        | {index: _slips_within(case, observations, kept, index) for index in suspects},
        goodness=goodness,
    )


def _most_aside(observations: int, gross: bool) -> int:
    """How many observations may be set aside."""
    return max(observations // 2, 1) if gross else observations // SPARED


def _wildest(case: Case, observations: Sequence[Observation]) -> int | None:
    """Position of the one farthest from what the prior alone foretells; None where not GROSS.

    For observations so far off that no fit to them settles.
    """
    distance = foretold_from_outside(case, case.fit([]), observations).distance
    farthest = int(distance.argmax())
    return farthest if distance[farthest] > GROSS else None


def foretold(fit: Calibration, observations: Sequence[Observation]) -> Foretold:
    """Each observation of a fit against all others of it and the prior."""
    whitened = np.sqrt(fit.weight) * fit.residuals / fit.deviation
    squares, chances = [], []
    for rows in rows_of(observations):
        own = fit.design[rows]
        spread = np.linalg.inv(np.eye(rows.size) - own @ fit.covariance @ own.T)
        miss = spread @ whitened[rows]
        spread -= np.diag(1.0 - fit.weight[rows])
        squares.append(max(float(miss @ np.linalg.solve(spread, miss)), 0.0))
        chances.append(_chance(squares[-1], rows.size, float(fit.degrees[rows].min())))
    return Foretold(distance=np.sqrt(np.array(squares)), chance=np.array(chances))


def foretold_from_outside(
    case: Case, fit: Calibration, observations: Sequence[Observation]
) -> Foretold:
    """Observations that are not a part of the fit against what it foretells of them."""
    try:
        return _from_outside(case, fit, observations)
    except Unsolved:
        if len(observations) > 1:
            return _joined([foretold_from_outside(case, fit, [one]) for one in observations])
        return Foretold(distance=np.array([np.inf]), chance=np.array([0.0]))


def _from_outside(case: Case, fit: Calibration, observations: Sequence[Observation]) -> Foretold:
    """As above; raises Unsolved where an arrow, or one a step away, hardly comes there."""
    predictions = Predictions(case.shot, case.sight.zero_distance, observations)
    deviation, _, degrees = deviations(predictions, case.scatter)
    whitened = Whitened(case.prior, predictions, deviation)
    rows = deviation.size
    miss, design = whitened.residuals(fit.x)[:rows], whitened.jacobian(fit.x)[:rows]
    squares, chances = [], []
    for own in rows_of(observations):
        spread = np.eye(own.size) + design[own] @ fit.covariance @ design[own].T
        square = float(miss[own] @ np.linalg.solve(spread, miss[own]))
        # An arrow that never comes there is foretold least of all.
        squares.append(square if np.isfinite(square) else np.inf)
        chances.append(_chance(squares[-1], own.size, float(degrees[own].min())))
    return Foretold(distance=np.sqrt(np.array(squares)), chance=np.array(chances))


def _joined(parts: Sequence[Foretold]) -> Foretold:
    """Several one after another."""
    return Foretold(
        distance=np.concatenate([part.distance for part in parts]),
        chance=np.concatenate([part.chance for part in parts]),
    )


def suspicious(found: Foretold) -> list[int]:
    """Positions of what does not fit: one, or those that cannot be told apart; none."""
    if not found.chance.size or found.chance.min() * found.chance.size >= UNLIKELY:
        return []
    square = found.distance**2
    # Far enough off, several have no chance at all: of these the farthest is the worst.
    worst = float(square[found.chance == found.chance.min()].max())
    return [int(index) for index in np.flatnonzero(square > max(worst - TOLD_APART, 0.0))]


def _all_foretold(
    case: Case,
    fit: Calibration,
    observations: Sequence[Observation],
    kept: Sequence[int],
    inside: Foretold,
) -> Foretold:
    """Those kept and those set aside, in the order given."""
    others = sorted(set(range(len(observations))) - set(kept))
    if not others:
        return inside
    outside = foretold_from_outside(case, fit, [observations[index] for index in others])
    both, order = _joined([inside, outside]), np.argsort(np.array([*kept, *others]))
    return Foretold(distance=both.distance[order], chance=both.chance[order])


def _slips(case: Case, fit: Calibration, observation: Observation) -> tuple[str, ...]:
    """Names of slips which, put right, let the observation fit a calibration without it."""
    slips, righted = zip(*put_right(observation), strict=True)
    found = foretold_from_outside(case, fit, righted)
    likeliest = np.argsort(found.distance)
    return tuple(slips[i].name for i in likeliest if found.chance[i] >= EXPLAINED)


def _slips_within(
    case: Case, observations: Sequence[Observation], kept: Sequence[int], index: int
) -> tuple[str, ...]:
    """The same for one that is a part of the fit: against a fit of the others."""
    fit = case.fit([observations[other] for other in kept if other != index])
    return _slips(case, fit, observations[index])


def _goodness(fit: Calibration) -> Goodness:
    whitened = fit.residuals / fit.deviation
    total = float(whitened @ (fit.weight * whitened) + fit.x @ fit.x)
    rows = whitened.size
    chance = _chance(total, rows, float(fit.degrees.min())) if rows else 1.0
    return Goodness(chi_square=total, degrees=rows, chance=chance)


def _chance(square: float, rows: int, degrees: float) -> float:
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
