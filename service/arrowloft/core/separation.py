"""Whether observations tell speed and drag apart, by themselves, and what would.

Faster arrows and arrows that drag less ask for nearly the same marks. What the
observations alone say of the two is the covariance of the fit with their priors taken
away, those of the sight and of the zero being kept: (A^T A + D)^-1, D having zeros for
speed and drag and ones for the others.
"""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.calibration import Calibration
from arrowloft.core.unknowns import DRAG, NAMES, SPEED

TELLING = {SPEED: 0.02, DRAG: 0.15}
"""Standard uncertainties, shares, up to which an unknown counts as told: a guess from a bow's
rating is no better for the speed, what drag models claim no better for the drag."""


@dataclass(frozen=True, kw_only=True)
class Separation:
    """What the observations alone say of speed and drag.

    speed, drag: standard uncertainties as shares; inf where they say nothing.
    correlation: of the two; NaN where either says nothing.
    """

    speed: float
    drag: float
    correlation: float

    @property
    def told(self) -> bool:
        """Whether both are told."""
        return self.speed <= TELLING[SPEED] and self.drag <= TELLING[DRAG]


def separation(calibration: Calibration, *more: Array) -> Separation:
    """What is told of speed and drag by the observations, and by `more` rows of a design.

    more: responses to x over their standard uncertainty, each (6,), of what might be seen.
    """
    uncertainties = calibration.prior.uncertainties
    design = np.vstack((calibration.design, *more))
    free = [item for item in (SPEED, DRAG) if uncertainties[item] > 0.0]
    kept = np.ones(len(NAMES))
    kept[free] = 0.0
    values, vectors = np.linalg.eigh(design.T @ design + np.diag(kept))
    # What lies along a direction of no information is not told at all.
    blind = values < 1e-12 * values.max()
    inverse = (vectors[:, ~blind] / values[~blind]) @ vectors[:, ~blind].T
    covariance = inverse * np.outer(uncertainties, uncertainties)
    lost = np.abs(vectors[:, blind]).max(axis=1, initial=0.0) > 1e-6
    speed, drag = (
        np.inf if lost[item] else float(np.sqrt(covariance[item, item])) for item in (SPEED, DRAG)
    )
    sound = np.isfinite(speed * drag) and speed > 0.0 and drag > 0.0
    return Separation(
        speed=speed,
        drag=drag,
        correlation=float(covariance[SPEED, DRAG]) / (speed * drag) if sound else np.nan,
    )


def speed_reading(calibration: Calibration, uncertainty: float) -> Array:
    """Row of the design for the launch speed read with a standard uncertainty, m/s, (6,)."""
    row = np.zeros(len(NAMES))
    row[SPEED] = calibration.prior.rates(calibration.x)[SPEED] / uncertainty
    return row
