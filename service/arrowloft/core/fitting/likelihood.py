"""How likely observations are under a fit, and which of several fits says most with least."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincc

from arrowloft.core.arrays import Array

FINEST = 1e-6
"""Differences of the criterion are told to this: below it lies the rounding of the flights, which
another machine does otherwise."""


@dataclass(frozen=True, kw_only=True)
class Likelihood:
    """Judgement of one fit to n rows by k unknowns, normal errors of known size.

    chi_square: sum of r^2, r the residuals in their standard uncertainties.
    degrees: n - k.  chance: of so large a chi^2 where the model is right; NaN without degrees.
    log_likelihood: ln L = -1/2 sum(r^2 + ln(2 pi sigma^2)), sigma in SI.
    aic = 2 k - 2 ln L: the spread is known, and 2 k is then for a linear model what chi^2 on
    new observations exceeds that on the fitted ones by, whatever n.
    aicc = aic + 2 k (k + 1) / (n - k - 1), which holds where the spread is itself estimated
    from the residuals; NaN where n < k + 2.
    bic = k ln n - 2 ln L.

    Sources: Akaike, IEEE Trans. Autom. Control 19 (1974) 716-723; Hurvich, Tsai, Biometrika
    76 (1989) 297-307; Schwarz, Ann. Statist. 6 (1978) 461-464 (all from memory).
    """

    chi_square: float
    degrees: int
    chance: float
    log_likelihood: float
    aic: float
    aicc: float
    bic: float

    @property
    def stretch(self) -> float:
        """Factor on the stated uncertainties that makes chi^2 its degrees; NaN without any."""
        return float(np.sqrt(self.chi_square / self.degrees)) if self.degrees else float("nan")


def likelihood(residuals: Array, uncertainty: Array, unknowns: int) -> Likelihood:
    """Judge residuals (rows,) with standard uncertainties (rows,), SI."""
    rows = residuals.size
    chi_square = float(((residuals / uncertainty) ** 2).sum())
    log_likelihood = -0.5 * (chi_square + float(np.log(2.0 * np.pi * uncertainty**2).sum()))
    degrees, nan = rows - unknowns, float("nan")
    aic = 2.0 * unknowns - 2.0 * log_likelihood
    spare = degrees - 1
    return Likelihood(
        chi_square=chi_square,
        degrees=degrees,
        chance=float(gammaincc(0.5 * degrees, 0.5 * chi_square)) if degrees else nan,
        log_likelihood=log_likelihood,
        aic=aic,
        aicc=aic + 2.0 * unknowns * (unknowns + 1) / spare if spare > 0 else nan,
        bic=unknowns * float(np.log(rows)) - 2.0 * log_likelihood,
    )


@dataclass(frozen=True, kw_only=True)
class Ranking:
    """Fits by what they lose of the truth, the least first; in the order of the fits.

    difference: of AIC to the least, to `FINEST`.  weight: exp(-difference / 2), as shares of
    their sum.  order: positions of the fits, the best first; equal ones in their own order.
    """

    difference: Array
    weight: Array
    order: tuple[int, ...]


def ranking(fits: Sequence[Likelihood]) -> Ranking:
    """Rank fits to the same rows, at least one, by AIC."""
    values = np.array([fit.aic for fit in fits])
    difference = np.round((values - values.min()) / FINEST) * FINEST
    weight = np.exp(-0.5 * difference)
    order = np.argsort(difference, kind="stable")
    return Ranking(
        difference=difference,
        weight=weight / weight.sum(),
        order=tuple(order.tolist()),
    )
