"""Which observations do not fit: slips of a sign or a unit, flyers, contradictions.

Each is held against what all the others and the prior foretell of it (`suspects`). The
fewest that leave the rest in peace are set aside, if no other as few would; else they are
said to contradict each other.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from arrowloft.core.archer.archer_scatter import ArcherScatter
from arrowloft.core.arrays import Array, Real
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.learning.calibration import Calibration, Loss, calibrate, fitted, weighed_anew
from arrowloft.core.learning.observations import Observation, Predictions
from arrowloft.core.learning.slips import SIGNS, Slip, put_right
from arrowloft.core.learning.suspects import (
    UNLIKELY,
    Foretold,
    chance_of,
    foretold,
    rows_of,
    sets_of,
)
from arrowloft.core.learning.unknowns import NAMES, WINDAGE, Prior
from arrowloft.core.learning.whitened import Whitened
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.sight import Sight

SPARED = 3
"""At most one observation in so many is set aside: beyond that the set-up itself is wrong."""

GROSS = 8.0
"""Standard uncertainties from which on an observation is a slip whatever else there is: up to
half of all are set aside then, and even a single one, against the prior alone."""

WILD = 20.0
"""Standard uncertainties from the prior from which on an observation is no part of any fit:
fits to such take seconds to settle, where they do."""

_SIZE = len(NAMES)

FEW = 4
"""Contradicting observations up to which a slip is looked for that would explain each."""

EXPLAINED = 0.05
"""Chance at which a slip, put right, is taken to explain an observation."""


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

    @property
    def clean(self) -> bool:
        """Whether all fits, each by itself and as a whole."""
        return not self.aside and not self.contradicting and self.goodness.chance >= UNLIKELY


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
    """What is calibrated: the set-up as assumed, the prior, the archer's scatter.

    slips: of the pen, that are looked for in what does not fit.
    """

    shot: Shot
    sight: Sight
    prior: Prior
    scatter: ArcherScatter
    loss: Loss = "squares"
    slips: tuple[Slip, ...] = SIGNS

    def whitened(self, observations: Sequence[Observation], inflation: Real = 1.0) -> Whitened:
        """These observations against what the set-up predicts of them."""
        predictions = Predictions(self.shot, self.sight.zero_distance, observations)
        return Whitened(self.prior, predictions, self.scatter, inflation)

    def fit(self, observations: Sequence[Observation]) -> Calibration:
        """`calibrate` for these observations."""
        return calibrate(
            self.shot, self.sight, self.prior, observations, self.scatter, loss=self.loss
        )


def judged_calibration(case: Case, observations: Sequence[Observation]) -> Judged:
    """Calibrate, setting aside what does not fit.

    At most one observation in SPARED, or one in two where they are GROSS. Observations that
    scatter about the fit more than they should are trusted that much less: they are fitted
    anew with their variances inflated, and the prior counts for more.

    Raises as `calibrate` does; the ends that NeverArrives counts are those of `observations`.
    """
    fit, inside, kept, aside, doubtful = _sorted_out(case, observations)
    suspects = [kept[place] for place in doubtful]
    goodness = _goodness(fit)
    alone = _without_each(case, observations, kept, suspects)
    if suspects or goodness.chance < UNLIKELY:
        fit = _inflated(case, [observations[index] for index in kept], fit)
        fit = _spread(fit, [other.x for other in alone.values()])
    return Judged(
        calibration=fit,
        kept=tuple(kept),
        foretold=_all_foretold(case, fit, observations, kept, inside),
        aside=tuple(aside),
        contradicting=tuple(suspects),
        slips={index: _slips(case, fit, observations[index]) for index in aside}
        | {index: _slips(case, other, observations[index]) for index, other in alone.items()},
        goodness=goodness,
    )


def _sorted_out(
    case: Case, observations: Sequence[Observation]
) -> tuple[Calibration, Foretold, list[int], list[int], tuple[int, ...]]:
    """The fit to those kept, and what they foretell of each other.

    And positions: of those kept, of those set aside and, among the kept, of those that
    contradict each other.
    """
    whitened = case.whitened(observations)
    aside = _wild(whitened, observations)
    kept = [index for index in range(len(observations)) if index not in aside]
    while True:
        some = [observations[index] for index in kept]
        try:
            fit = case.fit(some) if aside else fitted(whitened, case.loss)
        except Unsolved:
            wildest = _wildest(case, some)
            if wildest is None or len(aside) >= _most_aside(len(observations), gross=True):
                raise
            aside.append(kept.pop(wildest))
            continue
        inside = foretold(fit, some)
        gross = bool(inside.distance.max(initial=0.0) > GROSS)
        room = _most_aside(len(observations), gross) - len(aside)
        out, doubtful = _suspects(case, fit, some, inside, room)
        if not out:
            return fit, inside, kept, aside, doubtful
        aside += [kept[place] for place in out]
        kept = [index for place, index in enumerate(kept) if place not in out]


def judged_anew(case: Case, judged: Judged, observations: Sequence[Observation]) -> Judged:
    """What was judged clean, with another scatter of the archer."""
    try:
        fit = weighed_anew(judged.calibration, case.whitened(observations))
    except Unsolved:
        fit = None
    if fit is None:
        return judged_calibration(case, observations)
    found, goodness = foretold(fit, observations), _goodness(fit)
    if not found.sound or goodness.chance < UNLIKELY:
        return judged_calibration(case, observations)
    return replace(judged, calibration=fit, foretold=found, goodness=goodness)


def _without_each(
    case: Case, observations: Sequence[Observation], kept: Sequence[int], suspects: Sequence[int]
) -> dict[int, Calibration]:
    """Fits without each of the suspects, where these are FEW and the fits settle."""
    found = {}
    for index in suspects if len(suspects) <= FEW else ():
        with suppress(Unsolved):
            found[index] = case.fit([observations[other] for other in kept if other != index])
    return found


def _spread(fit: Calibration, others: Sequence[Array]) -> Calibration:
    """The fit, as unsure as its distance from other fits that are as likely."""
    covariance = fit.covariance.copy()
    for x in others:
        covariance += np.outer(x - fit.x, x - fit.x)
    return replace(fit, covariance=covariance)


def _suspects(
    case: Case,
    fit: Calibration,
    observations: Sequence[Observation],
    inside: Foretold,
    room: int,
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Positions to set aside, and positions that contradict each other; one of them empty.

    room: how many may be set aside. The fewest are, whose leaving makes the rest sound and
    that are told apart from other sets as small.
    """
    if inside.sound:
        return (), ()
    worst: tuple[int, ...] = ()
    for size in range(1, min(max(room, 1), len(observations)) + 1):
        worst, alike = sets_of(fit, observations, size, worst)
        rest = [item for index, item in enumerate(observations) if index not in worst]
        if _makes_sound(case, rest):
            return (worst, ()) if size <= room and len(alike) == 1 else ((), _all_of(alike))
    bad = np.flatnonzero(inside.chance * inside.chance.size < UNLIKELY)
    return (), tuple(bad.tolist())


def _makes_sound(case: Case, rest: Sequence[Observation]) -> bool:
    try:
        return foretold(case.fit(rest), rest).sound
    except Unsolved:
        return False


def _all_of(sets: Sequence[tuple[int, ...]]) -> tuple[int, ...]:
    return tuple(sorted({index for one in sets for index in one}))


def _most_aside(observations: int, gross: bool) -> int:
    """How many observations may be set aside."""
    return max(observations // 2, 1) if gross else observations // SPARED


def _inflated(case: Case, observations: Sequence[Observation], fit: Calibration) -> Calibration:
    """The fit with variances that make the sums of squares what they are on average.

    Heights and speeds by themselves, and places to the side: the one does not tell of the
    other. As it is where that does not settle.
    """
    square = fit.weight * (fit.residuals / fit.deviation) ** 2
    aside = np.zeros(square.size, dtype=bool)
    ends = len(fit.predictions.ends)
    aside[ends : ends + fit.predictions.aside.size] = True
    inflation = np.ones(square.size)
    for rows, prior in ((aside, fit.x[WINDAGE:]), (~aside, fit.x[:WINDAGE])):
        if rows.any():
            inflation[rows] = max((square[rows].sum() + prior @ prior) / rows.sum(), 1.0)
    try:
        return fitted(case.whitened(observations, inflation), case.loss)
    except Unsolved:
        return fit


def _wild(whitened: Whitened, observations: Sequence[Observation]) -> list[int]:
    """Positions of those too far off what the prior foretells for a fit to be tried.

    None where they are more than half: then the prior is to blame. What never comes there
    is left to the fit, which says so.
    """
    try:
        distance = _against(whitened, np.zeros(_SIZE), np.eye(_SIZE), observations).distance
    except Unsolved:
        return []
    wild = np.flatnonzero(np.isfinite(distance) & (distance > WILD))
    return wild.tolist() if wild.size <= _most_aside(len(observations), gross=True) else []


def _wildest(case: Case, observations: Sequence[Observation]) -> int | None:
    """Position of the one farthest from what the prior alone foretells; None where not GROSS.

    For observations so far off that no fit to them settles.
    """
    distance = foretold_from_outside(case, case.fit([]), observations).distance
    farthest = int(distance.argmax())
    return farthest if distance[farthest] > GROSS else None


def foretold_from_outside(
    case: Case, fit: Calibration, observations: Sequence[Observation]
) -> Foretold:
    """Observations that are not a part of the fit against what it foretells of them."""
    try:
        return _against(case.whitened(observations), fit.x, fit.covariance, observations)
    except Unsolved:
        if len(observations) > 1:
            return _joined([foretold_from_outside(case, fit, [one]) for one in observations])
        return Foretold(distance=np.array([np.inf]), chance=np.array([0.0]))


def _against(
    whitened: Whitened, x: Array, covariance: Array, observations: Sequence[Observation]
) -> Foretold:
    """Observations against what x, of this covariance, foretells of them.

    Raises Unsolved where an arrow, or one a step away, hardly comes there.
    """
    rows = whitened.deviation.size
    miss, design = whitened.residuals(x)[:rows], whitened.jacobian(x)[:rows]
    squares, chances = [], []
    for own in rows_of(observations):
        spread = np.eye(own.size) + design[own] @ covariance @ design[own].T
        square = float(miss[own] @ np.linalg.solve(spread, miss[own]))
        # An arrow that never comes there is foretold least of all.
        squares.append(square if np.isfinite(square) else np.inf)
        chances.append(chance_of(squares[-1], own.size, float(whitened.degrees[own].min())))
    return Foretold(distance=np.sqrt(np.array(squares)), chance=np.array(chances))


def _joined(parts: Sequence[Foretold]) -> Foretold:
    """Several one after another."""
    return Foretold(
        distance=np.concatenate([part.distance for part in parts]),
        chance=np.concatenate([part.chance for part in parts]),
    )


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
    tried = list(put_right(observation, case.slips))
    if not tried:
        return ()
    slips, righted = zip(*tried, strict=True)
    found = foretold_from_outside(case, fit, righted)
    likeliest = np.argsort(found.distance)
    return tuple(slips[i].name for i in likeliest if found.chance[i] >= EXPLAINED)


def _goodness(fit: Calibration) -> Goodness:
    whitened = fit.residuals / fit.deviation
    total = float(whitened @ (fit.weight * whitened) + fit.x @ fit.x)
    rows = whitened.size
    chance = chance_of(total, rows, float(fit.degrees.min())) if rows else 1.0
    return Goodness(chi_square=total, degrees=rows, chance=chance)
