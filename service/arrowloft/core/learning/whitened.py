"""Observations against predictions, in standard uncertainties, and how these change."""

import numpy as np

from arrowloft.core.archer.archer_scatter import ArcherScatter
from arrowloft.core.arrays import Array, Mask, Real
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.learning.observations import Predictions
from arrowloft.core.learning.unknowns import DRAG, NAMES, RADIUS, SPEED, WINDAGE, Prior

STEPS = (1e-4, 1e-3, 1e-4, 1e-4, 1e-5, 1e-5)
"""Steps of the central differences, one an unknown: shares for speed and drag, else m."""

WIDE = 0.05
"""Uncertainty of the speed, as a share, from which on the fit's start is looked for."""

SLOWEST, THICKEST, NARROWEST = 0.25, 8.0, 0.5
"""Factors on launch speed, drag and radius beyond which, downward, upward and downward, no
fit goes: flights of slow arrows in thick air take long, and no bow is so far off its prior."""

STARTS = np.linspace(-2.0, 2.0, 17)
"""Where the start is looked for: launch speeds, in their standard uncertainties."""


class NeverArrives(ValueError):
    """Arrows that, as the set-up is assumed, never come to where they were seen.

    ends: positions of these among the ends.
    """

    def __init__(self, ends: tuple[int, ...]) -> None:
        super().__init__("these arrows never come to their target")
        self.ends = ends


def deviations(predictions: Predictions, scatter: ArcherScatter) -> tuple[Array, Mask, Array]:
    """Standard uncertainty of each row, whether it comes of the scatter, its degrees."""
    up = [
        scatter.vertical.centre(end.landed.distance, end.landed.arrows)
        if end.uncertainty is None
        else end.uncertainty
        for end in predictions.ends
    ]
    aside = [predictions.ends[index].landed for index in predictions.aside]
    right = [scatter.sideways.centre(landed.distance, landed.arrows) for landed in aside]
    speeds = [reading.uncertainty for reading in predictions.readings]
    scattered = [end.uncertainty is None for end in predictions.ends]
    scattered += [True] * len(right) + [False] * len(speeds)
    degrees = [scatter.vertical.degrees] * len(up) + [scatter.sideways.degrees] * len(right)
    degrees += [np.inf] * len(speeds)
    rows = np.array([*up, *right, *speeds], dtype=float)
    from_scatter = np.array(scattered, dtype=bool)
    return rows, from_scatter, np.where(from_scatter, np.array(degrees), np.inf)


class Whitened:
    """Residuals and their Jacobian in standard uncertainties, the prior's rows last.

    Both come of one batch of flights: the point itself and a step either way along each
    unknown; what was evaluated last is kept, as the solver asks for both at the same point.

    deviation: standard uncertainty of each row.  scattered: whether it comes of the
    archer's scatter, and degrees: of freedom of that, inf for the others; (rows,).
    inflation: factor on the variances of what was seen; (rows,) or of all, then the largest.
    """

    def __init__(
        self,
        prior: Prior,
        predictions: Predictions,
        scatter: ArcherScatter,
        inflation: Real = 1.0,
    ) -> None:
        self.prior, self.predictions = prior, predictions
        self.inflation = float(np.max(inflation, initial=1.0))
        sound, self.scattered, self.degrees = deviations(predictions, scatter)
        self.deviation = np.sqrt(inflation) * sound
        self.observed = predictions.observed
        self.evaluations = 0
        uncertainties = prior.uncertainties
        free = np.flatnonzero(uncertainties > 0.0)
        if not predictions.aside.size:
            free = free[free != WINDAGE]
        self._free, self._step = free, np.array(STEPS)[free] / uncertainties[free]
        self._last: tuple[Array, Array, Array] | None = None

    def start(self) -> Array:
        """Where to start: the prior, or the launch speed that suits best where it is vague.

        Raises as `calibrate` does.
        """
        x = np.zeros(len(NAMES))
        if self.prior.speed_uncertainty > WIDE:
            some = np.zeros((len(NAMES), STARTS.size))
            some[SPEED] = STARTS
            miss = (self.predictions(self.prior.values(some)) - self.observed) / self.deviation
            cost = np.einsum("lr,lr->l", miss, miss) + STARTS**2
            if np.isfinite(cost).any():
                x = some[:, int(np.nanargmin(cost))]
        self._require_arrival(x)
        return x

    def _require_arrival(self, x: Array) -> None:
        """Raise as `calibrate` does unless all arrows come to where they were seen."""
        try:
            if np.isfinite(self.residuals(x)).all():
                return
        except Unsolved:
            # Many steps about the point are too many flights to follow one by one.
            pass
        values = self.prior.values(x)
        found = self.predictions(values[:, None])[0]
        self.predictions.require_reached(values)
        lost = np.flatnonzero(np.isnan(found[: len(self.predictions.ends)]))
        if lost.size:
            raise NeverArrives(tuple(lost.tolist()))
        raise Unsolved("arrows hardly reach their target")

    def residuals(self, x: Array) -> Array:
        """(rows + 6,)."""
        return self._at(x)[0]

    def jacobian(self, x: Array) -> Array:
        """(rows + 6, 6); raises Unsolved where a step away the arrows no longer arrive."""
        jacobian = self._at(x)[1]
        if not np.isfinite(jacobian).all():
            raise Unsolved("arrows hardly reach their target")
        return jacobian

    def _credible(self, x: Array) -> bool:
        """Whether the unknowns are such that a bow and an arrow may have them."""
        told = [SPEED, DRAG, RADIUS]
        before = self.prior.values(np.zeros(x.size))[told]
        slow, thick, narrow = self.prior.values(x)[told] / before
        return bool(slow >= SLOWEST and thick <= THICKEST and narrow >= NARROWEST)

    def _at(self, x: Array) -> tuple[Array, Array]:
        if self._last is None or not np.array_equal(self._last[0], x):
            self._last = (x.copy(), *self._evaluated(x))
        return self._last[1:]

    def _evaluated(self, x: Array) -> tuple[Array, Array]:
        if not self._credible(x):
            # The solver takes a shorter step then; nothing is flown that takes seconds.
            rows = self.deviation.size + x.size
            return np.full(rows, np.inf), np.full((rows, x.size), np.nan)
        self.evaluations += 1
        free, steps = self._free, np.diag(self._step)
        points = np.repeat(x[:, None], 1 + 2 * free.size, axis=1)
        points[free, 1 : 1 + free.size] += steps
        points[free, 1 + free.size :] -= steps
        predicted = (self.predictions(self.prior.values(points)) - self.observed) / self.deviation
        up, down = predicted[1 : 1 + free.size], predicted[1 + free.size :]
        rows = self.deviation.size
        jacobian = np.zeros((rows + x.size, x.size))
        jacobian[:rows, free] = ((up - down) / (2.0 * self._step[:, None])).T
        jacobian[rows:] = np.eye(x.size)
        return np.concatenate((predicted[0], x)), jacobian
