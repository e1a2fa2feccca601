"""A model fitted to measured flights: nonlinear least squares within bounds.

With r(x) what is foretold less what was seen, in standard uncertainties, the fit has the
least chi^2 = r.r; its covariance is (J^T J)^-1 with J = dr/dx.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from arrowloft.core.arrays import Array, Mask
from arrowloft.core.fitting.likelihood import Likelihood, likelihood
from arrowloft.core.fitting.predictions import Predicted, Predictions
from arrowloft.core.fitting.search import least_at_edge, least_sum
from arrowloft.core.fitting.variants import Family
from arrowloft.core.fitting.whitened import TooRough, Unknowns, Whitened
from arrowloft.core.flight.aim import TooNear
from arrowloft.core.flight.reach import Unsolved

AT_BOUND = 1e-5
"""Distance from a bound, in the scale of an unknown, that counts as none."""

LEAST_TOLD = 0.1
"""Change of all that is foretold, in standard uncertainties, when unknowns change by as much
as they are large; below it their uncertainty is ten times themselves: nothing is told."""

ALIKE = 1e-6
"""Share by which what unknowns do to the predictions may differ and count as the same: what
the flights' noise leaves of slopes that are the same in truth."""

PART = 0.3
"""Least share of an unknown in a combination, of the largest one's, to be named with it."""


class NeverArrives(ValueError):
    """The model as it starts foretells nothing for some rows; rows: their positions."""

    def __init__(self, rows: tuple[int, ...]) -> None:
        super().__init__(f"rows {rows} are never reached")
        self.rows = rows


class NotTold(ValueError):
    """The observations do not tell some unknowns.

    unknowns: positions of those.  together: only a combination of them is not told.
    tried: other values of them that were tried, as they did nothing where the fit starts.
    """

    def __init__(self, unknowns: tuple[int, ...], *, together: bool, tried: int = 0) -> None:
        super().__init__(f"unknowns {unknowns} are not told")
        self.unknowns = unknowns
        self.together = together
        self.tried = tried


class TooFew(ValueError):
    """Fewer rows than unknowns."""


class Unsettled(Unsolved):
    """A fit that does not come to the least sum.

    refused: the model refused points on the way, so that the least sum may lie beyond them.
    """

    def __init__(self, *, refused: bool) -> None:
        super().__init__("the fit does not settle")
        self.refused = refused


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A fit, SI.

    values: the unknowns, (unknowns,).
    covariance: of them, (unknowns, unknowns); NaN for those at a bound, which are held there
        for the others.
    at_low, at_high: whether each has come to rest at its bound, or at the edge of what the
        model takes, (unknowns,) bool; it is then exactly there, and the likelihood does not
        count it as an unknown.
    size: of each unknown, to compare its uncertainty with, (unknowns,).
    predicted: what the fit foretells, (rows,).
    likelihood: how well that suits what was seen.
    reynolds: least and greatest Reynolds number flown on the shaft diameter.
    evaluations: how often flights were solved.
    """

    values: Array
    covariance: Array
    at_low: Mask
    at_high: Mask
    size: Array
    predicted: Array
    likelihood: Likelihood
    reynolds: tuple[float, float]
    evaluations: int

    @property
    def found(self) -> int:
        """How many unknowns were found, those at a bound left out."""
        return int((~(self.at_low | self.at_high)).sum())

    @property
    def uncertainties(self) -> Array:
        """Standard uncertainties of the unknowns, (unknowns,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def correlations(self) -> Array:
        """Correlations of the unknowns, (unknowns, unknowns)."""
        root = self.uncertainties
        correlations: Array = self.covariance / np.outer(root, root)
        return correlations


def fit(predictions: Predictions, family: Family, unknowns: Unknowns) -> Fit:
    """Fit the unknowns of one model to all rows of the predictions.

    Raises TooFew, NeverArrives, TooRough, NotTold, Unsettled; TooNear and Unsolved where the
    flights cannot be solved as the model starts, and whatever the family raises.
    """
    rows, count = predictions.observed.size, unknowns.start.size
    if rows < count:
        raise TooFew(f"{rows} rows, {count} unknowns")
    whitened = Whitened(predictions, family, unknowns)
    x = unknowns.start / unknowns.scale
    _require_foretold(whitened.predicted(x))
    slopes = np.empty((rows, 0))
    settled, tried = True, 0
    if count:
        least = least_sum(whitened, x)
        if not least.settled and whitened.refused:
            least = least_at_edge(whitened, least.x)
        x, settled, tried = _snapped(whitened, least.x), least.settled, least.tried
        slopes = whitened.fine_slopes(x)
    at_low, at_high = x <= whitened.low, x >= whitened.high
    free = ~(at_low | at_high)
    size = np.maximum(np.abs(x), 1.0)
    _require_told(slopes[:, free] * size[free], np.flatnonzero(free), tried)
    if not settled:
        raise Unsettled(refused=whitened.refused > 0)
    inner = np.linalg.inv(slopes[:, free].T @ slopes[:, free])
    covariance = np.full((count, count), np.nan)
    covariance[np.ix_(free, free)] = inner
    x, found = _last_step(whitened, x, free, inner @ slopes[:, free].T)
    return Fit(
        values=x * unknowns.scale,
        covariance=covariance * np.outer(unknowns.scale, unknowns.scale),
        at_low=at_low,
        at_high=at_high,
        size=size * unknowns.scale,
        predicted=found.values[0],
        likelihood=likelihood(
            predictions.observed - found.values[0], predictions.uncertainty, int(free.sum())
        ),
        reynolds=found.reynolds,
        evaluations=whitened.evaluations,
    )


def _require_foretold(found: Predicted) -> None:
    """Raise TooRough or NeverArrives where something is not foretold."""
    if found.rough.any():
        raise TooRough(tuple(np.flatnonzero(found.rough).tolist()))
    lost = np.flatnonzero(~np.isfinite(found.values[0]))
    if lost.size:
        raise NeverArrives(tuple(lost.tolist()))


def _snapped(whitened: Whitened, x: Array) -> Array:
    """The point with what is next to a bound at it, where the model takes that."""
    low, high = whitened.low, whitened.high
    there = np.where(x - low < AT_BOUND, low, np.where(high - x < AT_BOUND, high, x))
    return there if whitened.accepts(there) else x


def _last_step(whitened: Whitened, x: Array, free: Mask, inverse: Array) -> tuple[Array, Predicted]:
    """The fit after one Gauss-Newton step with the fine slopes, where that is no worse."""
    found = whitened.predicted(x)
    if not free.any():
        return x, found
    before = whitened.missed(found)[0]
    step = np.zeros(x.size)
    step[free] = -inverse @ before
    later = np.clip(x + step, whitened.low, whitened.high)
    try:
        new = whitened.predicted(later)
    except (TooNear, Unsolved):
        return x, found
    after = whitened.missed(new)[0]
    return (later, new) if after @ after <= before @ before else (x, found)


def _require_told(slopes: Array, which: Any, tried: int) -> None:
    """Raise NotTold unless slopes (rows, unknowns), per size of the unknowns, tell them all."""
    if not which.size:
        return
    length = np.sqrt(np.einsum("ru,ru->u", slopes, slopes))
    silent = length < LEAST_TOLD
    if silent.any():
        raise NotTold(tuple(which[silent].tolist()), together=False, tried=tried)
    _, told, directions = np.linalg.svd(slopes, full_matrices=False)
    _, alike, other = np.linalg.svd(slopes / length, full_matrices=False)
    for values, ways, least in ((alike, other, ALIKE), (told, directions, LEAST_TOLD)):
        if values[-1] < least:
            share = np.abs(ways[-1])
            named = which[share >= PART * share.max()]
            raise NotTold(tuple(named.tolist()), together=named.size > 1)
