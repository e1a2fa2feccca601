"""A model fitted to measured flights: nonlinear least squares within bounds.

With r(x) what is foretold less what was seen, in standard uncertainties, the fit has the
least chi^2 = r.r; its covariance is (J^T J)^-1 with J = dr/dx.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import least_squares

from arrowloft.core.arrays import Array, Mask
from arrowloft.core.fitting.likelihood import Likelihood, likelihood
from arrowloft.core.fitting.predictions import Predicted, Predictions
from arrowloft.core.fitting.variants import Family
from arrowloft.core.fitting.whitened import Unknowns, Whitened
from arrowloft.core.flight.aim import TooNear
from arrowloft.core.flight.reach import Unsolved

VARIANTS, FEWEST, MOST = 160, 8, 30
"""Variants of a model that a fit may fly, and least and most evaluations of it, however many
each flies: it takes five to eight where the observations tell the unknowns."""

STATIONARY = 1e-2
"""How far a fit that is given up may be from the least sum, in its own standard
uncertainties, to count as one."""

AT_BOUND = 1e-5
"""Distance from a bound, in the scale of an unknown, that counts as none."""

LEAST_TOLD = 0.1
"""Change of all that is foretold, in standard uncertainties, when unknowns change by as much
as they are large; below it their uncertainty is ten times themselves: nothing is told."""

SILENT = 1e-3
"""The same before the fit, where it may still be far from the least sum: then it is not tried."""

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
    """

    def __init__(self, unknowns: tuple[int, ...], *, together: bool) -> None:
        super().__init__(f"unknowns {unknowns} are not told")
        self.unknowns = unknowns
        self.together = together


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
    at_low, at_high: whether each has come to rest at its bound, (unknowns,) bool.
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

    Raises TooFew, NeverArrives, NotTold, Unsettled; TooNear and Unsolved where the flights
    cannot be solved as the model starts, and whatever the family raises.
    """
    rows, count = predictions.observed.size, unknowns.start.size
    if rows < count:
        raise TooFew(f"{rows} rows, {count} unknowns")
    whitened = Whitened(predictions, family, unknowns)
    x = unknowns.start / unknowns.scale
    lost = np.flatnonzero(~np.isfinite(whitened.predicted(x).values[0]))
    if lost.size:
        raise NeverArrives(tuple(lost.tolist()))
    slopes = np.empty((rows, 0))
    settled = True
    if count:
        _require_heard(whitened.slopes(x) * np.maximum(np.abs(x), 1.0))
        x, settled = _least(whitened, x)
        slopes = whitened.fine_slopes(x)
    at_low, at_high = x - whitened.low < AT_BOUND, whitened.high - x < AT_BOUND
    free = ~(at_low | at_high)
    size = np.maximum(np.abs(x), 1.0)
    _require_told(slopes[:, free] * size[free], np.flatnonzero(free))
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
            predictions.observed - found.values[0], predictions.uncertainty, count
        ),
        reynolds=found.reynolds,
        evaluations=whitened.evaluations,
    )


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


def _least(whitened: Whitened, start: Array) -> tuple[Array, bool]:
    """Where the sum is least, and whether it is."""
    found: Any = least_squares(
        whitened.residuals,
        start,
        jac=whitened.slopes,
        bounds=(whitened.low, whitened.high),
        method="trf",
        x_scale="jac",
        xtol=1e-6,
        ftol=1e-6,
        gtol=1e-10,
        max_nfev=min(max(VARIANTS // (start.size + 1), FEWEST), MOST),
    )
    settled = found.success
    if not settled:
        inner = found.active_mask == 0
        slopes, fall = found.jac[:, inner], found.grad[inner]
        step = np.linalg.lstsq(slopes.T @ slopes, -fall, rcond=None)[0]
        settled = -step @ fall <= STATIONARY**2
    return np.asarray(found.x, dtype=float), bool(settled)


def _require_heard(slopes: Array) -> None:
    """Raise NotTold for unknowns that do next to nothing to the predictions as they start."""
    silent = np.sqrt(np.einsum("ru,ru->u", slopes, slopes)) < SILENT
    if silent.any():
        raise NotTold(tuple(np.flatnonzero(silent).tolist()), together=False)


def _require_told(slopes: Array, which: Any) -> None:
    """Raise NotTold unless slopes (rows, unknowns), per size of the unknowns, tell them all."""
    if not which.size:
        return
    length = np.sqrt(np.einsum("ru,ru->u", slopes, slopes))
    silent = length < LEAST_TOLD
    if silent.any():
        raise NotTold(tuple(which[silent].tolist()), together=False)
    _, told, directions = np.linalg.svd(slopes, full_matrices=False)
    _, alike, other = np.linalg.svd(slopes / length, full_matrices=False)
    for values, ways, least in ((alike, other, ALIKE), (told, directions, LEAST_TOLD)):
        if values[-1] < least:
            share = np.abs(ways[-1])
            named = which[share >= PART * share.max()]
            raise NotTold(tuple(named.tolist()), together=named.size > 1)
