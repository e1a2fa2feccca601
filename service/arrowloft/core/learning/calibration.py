"""Calibration: speed, drag and sight fitted to what was seen on the range, prior included.

Nonlinear least squares. With x the distance of the unknowns from the prior, in its
standard uncertainties, and r(x) what is predicted less what was seen, in the standard
uncertainties of what was seen, the fit has the least

    1/2 (sum rho(r_i^2) + x.x)

whose covariance is (J^T W J + 1)^-1, with J = dr/dx and W = rho' (1 for least squares).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from scipy.optimize import least_squares

from arrowloft.core.archer.archer_scatter import ArcherScatter
from arrowloft.core.arrays import Array, Mask
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.learning.observations import Observation, Predictions
from arrowloft.core.learning.unknowns import DRAG, NAMES, PEEP_HEIGHT, RADIUS, SPEED, Prior
from arrowloft.core.learning.whitened import Whitened
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.sight import Sight

Loss = Literal["squares", "huber", "cauchy"]

HUBER, CAUCHY = 1.345, 2.385
"""Residuals, in standard uncertainties, from which on a robust loss weighs less: 95 % as
efficient as least squares where all is normal (Huber 1964; Holland and Welsch 1977; from
memory)."""

MOST_EVALUATIONS = 60
"""Most evaluations of a fit; it takes three or four."""

TOLERANCES = (1e-3, 1e-6, 1e-9, 1e-12)
"""Least relative fall of the sum that a fit goes on for, tried in this order until it is
stationary: observations that fit badly make it slow."""

STATIONARY = 1e-2
"""How far the fit may be from the least sum before its last step, in its own standard
uncertainties, as the slope left there foretells."""


class Unsettled(Unsolved):
    """A fit that does not come to the least sum."""


@dataclass(frozen=True, kw_only=True)
class Calibration:
    """A fit; the rows of its arrays are those of `Predictions.observed`, SI.

    prior, predictions: what went in.
    x: the fit, in the prior's standard uncertainties from it, (6,).
    covariance: of x, (6, 6).
    observed, predicted, deviation: what was seen, what the fit predicts, and the standard
        uncertainty of what was seen, (rows,).
    design: d predicted / dx over the deviation, (rows, 6), each row by the square root of
        its weight.
    weight: of each row: 1, or less where a robust loss trusts it less, (rows,).
    scattered: rows whose deviation comes of the archer's scatter, (rows,) bool.
    degrees: of freedom of that scatter, (rows,); inf for the others.
    evaluations: how often the observations were predicted.
    inflation: largest factor on the variances of what was seen, already in all of these,
        where it scatters about a fit more than its uncertainties allow (Birge 1932; from
        memory).
    """

    prior: Prior
    predictions: Predictions
    x: Array
    covariance: Array
    observed: Array
    predicted: Array
    deviation: Array
    design: Array
    weight: Array
    scattered: Mask
    degrees: Array
    evaluations: int
    inflation: float

    @property
    def values(self) -> Array:
        """The unknowns fitted, (6,), SI."""
        return self.prior.values(self.x)

    @property
    def uncertainties(self) -> Array:
        """Their standard uncertainties, (6,), SI; of speed in m/s, of drag in its factor."""
        return np.sqrt(np.diag(self.covariance)) * self.prior.rates(self.x)

    @property
    def correlations(self) -> Array:
        """Correlations of the fitted unknowns, (6, 6)."""
        root = np.sqrt(np.diag(self.covariance))
        correlations: Array = self.covariance / np.outer(root, root)
        return correlations

    @property
    def learned(self) -> Array:
        """Share of each unknown's prior variance that the observations took away, (6,).

        0 for what is known exactly, and where observations in doubt have added to it.
        """
        known = self.prior.uncertainties == 0.0
        return np.where(known, 0.0, np.maximum(1.0 - np.diag(self.covariance), 0.0))

    @property
    def residuals(self) -> Array:
        """What was seen less what the fit predicts, (rows,), SI."""
        return self.observed - self.predicted

    def shot(self, shot: Shot) -> Shot:
        """The set-up with what was fitted."""
        return shot.with_(
            launch_speed=float(self.values[SPEED]),
            drag_scale=float(self.values[DRAG]) * shot.drag_scale,
            peep_height=float(self.values[PEEP_HEIGHT]),
        )

    def sight(self, sight: Sight) -> Sight:
        """The sight with what was fitted; its zero error is not a part of it."""
        return replace(sight, radius=float(self.values[RADIUS]))


def calibrate(
    shot: Shot,
    sight: Sight,
    prior: Prior,
    observations: Sequence[Observation],
    scatter: ArcherScatter,
    *,
    loss: Loss = "squares",
) -> Calibration:
    """Fit the unknowns of one set-up (every member of the shot a float) to observations.

    Raises NeverArrives, BeyondReach or TooNear where the set-up as assumed cannot have been
    shot so (lanes: the zero distance, then the speed readings), and Unsettled where the fit
    does not settle.
    """
    predictions = Predictions(shot, sight.zero_distance, observations)
    return fitted(Whitened(prior, predictions, scatter), loss)


def fitted(whitened: Whitened, loss: Loss = "squares") -> Calibration:
    """The fit to whitened observations; raises as `calibrate` does."""
    deviation = whitened.deviation
    x, rows = whitened.start(), deviation.size
    for tolerance in TOLERANCES:
        fit = _least_squares(whitened, x, loss, tolerance)
        x, slope = fit.x, whitened.jacobian(fit.x)[:rows]
        # One step more costs no flight, as all that it asks for is known.
        last = -_covariance(slope, _weights(loss, fit.fun[:rows])) @ fit.grad
        if -last @ fit.grad <= STATIONARY**2:
            break
    else:
        raise Unsettled("the calibration does not settle")
    miss = fit.fun[:rows] + slope @ last
    weight = _weights(loss, miss)
    return Calibration(
        prior=whitened.prior,
        predictions=whitened.predictions,
        x=x + last,
        covariance=_covariance(slope, weight),
        observed=whitened.observed,
        predicted=whitened.observed + miss * deviation,
        deviation=deviation,
        design=np.sqrt(weight)[:, None] * slope,
        weight=weight,
        scattered=whitened.scattered,
        degrees=whitened.degrees,
        evaluations=whitened.evaluations,
        inflation=whitened.inflation,
    )


NEAR = 0.3
"""Longest last step of a fit weighed anew, in its own standard uncertainties: it leaves one of
a hundredth or two (measured)."""


def weighed_anew(fit: Calibration, whitened: Whitened) -> Calibration | None:
    """A least-squares fit whose observations are as sure as `whitened` has them.

    By one Gauss-Newton step, which costs no flight, or by two where the first is longer
    than NEAR; None where the second is as well, and for a robust loss.
    """
    if (fit.weight != 1.0).any():
        return None
    rows = fit.deviation.size
    factor = fit.deviation / whitened.deviation
    miss = factor * (fit.predicted - fit.observed) / fit.deviation
    found, length = _stepped(fit, whitened, fit.x, miss, factor[:, None] * fit.design)
    if length > NEAR:
        x = found.x
        miss, slope = whitened.residuals(x)[:rows], whitened.jacobian(x)[:rows]
        found, length = _stepped(fit, whitened, x, miss, slope)
    return found if length <= NEAR else None


def _stepped(
    fit: Calibration, whitened: Whitened, x: Array, miss: Array, slope: Array
) -> tuple[Calibration, float]:
    """The fit one Gauss-Newton step from x, and the step's length in standard uncertainties."""
    covariance = _covariance(slope, fit.weight)
    rise = slope.T @ miss + x
    step = -covariance @ rise
    found = replace(
        fit,
        x=x + step,
        covariance=covariance,
        predicted=fit.observed + (miss + slope @ step) * whitened.deviation,
        deviation=whitened.deviation,
        degrees=whitened.degrees,
        design=slope,
    )
    return found, float(np.sqrt(-step @ rise))


def _least_squares(whitened: Whitened, start: Array, loss: Loss, tolerance: float) -> Any:
    return least_squares(
        whitened.residuals,
        start,
        jac=whitened.jacobian,
        method="trf",
        loss=_loss(loss, whitened.deviation.size),
        xtol=1e-6,
        ftol=tolerance,
        gtol=1e-8,
        max_nfev=MOST_EVALUATIONS,
    )


def _covariance(slope: Array, weight: Array) -> Array:
    """(J^T W J + 1)^-1, (6, 6)."""
    information = slope.T @ (weight[:, None] * slope) + np.eye(len(NAMES))
    return np.asarray(np.linalg.inv(information), dtype=float)


def _loss(loss: Loss, rows: int) -> Any:
    """The loss of the first rows, (3, all): rho(z), rho', rho''; the prior's stay squares."""
    if loss == "squares":
        return "linear"
    rho = _huber if loss == "huber" else _cauchy

    def of(z: Array) -> Array:
        found = np.array((z, np.ones(z.size), np.zeros(z.size)))
        found[:, :rows] = rho(z[:rows])
        return found

    return of


def _huber(z: Array) -> Array:
    """Rho of Huber: z inside, 2 c sqrt(z) - c^2 outside."""
    root = np.sqrt(np.maximum(z, HUBER**2))
    inside = z <= HUBER**2
    return np.array(
        (
            np.where(inside, z, 2.0 * HUBER * root - HUBER**2),
            np.where(inside, 1.0, HUBER / root),
            np.where(inside, 0.0, -0.5 * HUBER / root**3),
        )
    )


def _cauchy(z: Array) -> Array:
    """Rho of Cauchy: c^2 ln(1 + z / c^2)."""
    less = 1.0 / (1.0 + z / CAUCHY**2)
    return np.array((-(CAUCHY**2) * np.log(less), less, -(less**2) / CAUCHY**2))


def _weights(loss: Loss, residuals: Array) -> Array:
    """Each residual's weight, rho'."""
    if loss == "squares":
        return np.ones(residuals.size)
    rho = _huber if loss == "huber" else _cauchy
    weight: Array = rho(residuals**2)[1]
    return weight
