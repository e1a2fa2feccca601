"""Whether observations tell speed and drag apart, by themselves, and what would.

Faster arrows and arrows that drag less ask for nearly the same marks. What the
observations alone say of the two is the covariance of the fit with their priors taken
away, those of the sight and of the zero being kept: (A^T A + D)^-1, D having zeros for
speed and drag and ones for the others.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.learning.calibration import Calibration
from arrowloft.core.learning.next_shots import Butts
from arrowloft.core.learning.unknowns import DRAG, NAMES, SPEED

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


READING = 0.3048
"""Standard uncertainty of a chronograph's reading, m/s: 1 ft/s, half the span within which
ASTM F1544 wants shots to agree (quoted)."""


Kind = Literal["speed-reading", "two-speed-readings", "arrows"]


@dataclass(frozen=True, kw_only=True)
class Prospect:
    """Something more that might be seen, and what would then be told.

    kind: a reading of the launch speed; that and another at a butt; or an end of arrows.
    index: of the butt; None for the launch speed alone.
    """

    kind: Kind
    index: int | None
    then: Separation


def prospects(
    calibration: Calibration, butts: Butts, arrows: int, speeds: Array
) -> tuple[Prospect, ...]:
    """What more readings or arrows would tell of speed and drag.

    A reading of the launch speed; that and one at the longest butt; and the end that tells
    most of the drag.  speeds: of arrival at the butts, (butts,), m/s.
    """
    launch = speed_reading(calibration)
    noise = butts.noise(arrows)
    thens = [
        separation(calibration, response / sigma)
        for response, sigma in zip(butts.response, noise, strict=True)
    ]
    best, far = int(np.argmin([then.drag for then in thens])), int(butts.distance.argmax())
    arriving = arrival_reading(calibration, float(speeds[far]))
    return (
        Prospect(kind="speed-reading", index=None, then=separation(calibration, launch)),
        Prospect(
            kind="two-speed-readings", index=far, then=separation(calibration, launch, arriving)
        ),
        Prospect(kind="arrows", index=best, then=thens[best]),
    )


def speed_reading(calibration: Calibration, uncertainty: float = READING) -> Array:
    """Row of the design for the launch speed read with a standard uncertainty, m/s, (6,)."""
    row = np.zeros(len(NAMES))
    row[SPEED] = calibration.prior.rates(calibration.x)[SPEED] / uncertainty
    return row


def arrival_reading(calibration: Calibration, speed: float, uncertainty: float = READING) -> Array:
    """Row of the design for a speed v read on arrival, m/s, (6,).

    v = v0 exp(-k x) of a flat path: v grows in proportion to v0, and falls by ln(v0 / v) of
    itself per share of the drag.
    """
    row = np.zeros(len(NAMES))
    shares = calibration.prior.uncertainties
    row[SPEED] = shares[SPEED]
    row[DRAG] = -np.log(float(calibration.values[SPEED]) / speed) * shares[DRAG]
    return row * speed / uncertainty
