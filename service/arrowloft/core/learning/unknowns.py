"""What the range may teach about a set-up, and what is known of it before: the prior."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array

NAMES = ("speed", "drag", "peep_height", "radius", "zero", "windage")
"""The unknowns, in the order of every array of them.

speed: launch speed, m/s.  drag: factor on the drag area.  peep_height, radius: as in
`Shot` and `Sight`, m.  zero: how much higher the pin stands at the zero mark than the mark
of the zero distance asks for, m.  windage: how far the pin stands to the right of where
it ought to, m.
"""

SPEED, DRAG, PEEP_HEIGHT, RADIUS, ZERO, WINDAGE = range(len(NAMES))


@dataclass(frozen=True, kw_only=True)
class Prior:
    """What is known before a shot: independent normal distributions, SI.

    speed, peep_height, radius: most likely values; the drag's factor is 1, the zero's and
        the windage's error are 0.
    *_uncertainty: standard uncertainties, of speed and drag as shares: these two are normal
        in their logarithms, so that they stay positive. 0: known exactly, never learned.

    Raises ValueError for a value that is not positive and for a negative uncertainty.
    """

    speed: float
    speed_uncertainty: float
    drag_uncertainty: float
    peep_height: float
    peep_height_uncertainty: float
    radius: float
    radius_uncertainty: float
    zero_uncertainty: float
    windage_uncertainty: float

    def __post_init__(self) -> None:
        if not (self.speed > 0.0 and self.radius > 0.0):
            raise ValueError("speed and radius must be positive")
        if not (np.isfinite(self.uncertainties) & (self.uncertainties >= 0.0)).all():
            raise ValueError("uncertainties must be finite and not negative")

    @property
    def uncertainties(self) -> Array:
        """Standard uncertainty of each unknown, those of speed and drag as shares."""
        return np.array([getattr(self, f"{name}_uncertainty") for name in NAMES])

    def values(self, x: Array) -> Array:
        """Unknowns (6, ...) for x (6, ...): distances from the prior in its uncertainties.

        speed = v0 exp(u x), drag = exp(u x); the others m + u x.
        """
        shift = (self.uncertainties * x.T).T
        return np.array(
            (
                self.speed * np.exp(shift[SPEED]),
                np.exp(shift[DRAG]),
                self.peep_height + shift[PEEP_HEIGHT],
                self.radius + shift[RADIUS],
                shift[ZERO],
                shift[WINDAGE],
            )
        )

    def rates(self, x: Array) -> Array:
        """Change of each unknown per x, (6,), at x (6,)."""
        rates = self.uncertainties.copy()
        rates[: DRAG + 1] *= self.values(x)[: DRAG + 1]
        return rates
