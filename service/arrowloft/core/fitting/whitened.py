"""Residuals in their uncertainties and their slopes, each from one batch of flights."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.fitting.predictions import Predicted, Predictions
from arrowloft.core.fitting.variants import Family, Variants
from arrowloft.core.flight.aim import TooNear
from arrowloft.core.flight.reach import Unsolved

STEP = 1e-4
"""Step to one side, in the scale of an unknown, on the way to the fit: the slopes are good to
about a ten-thousandth."""

FINE_STEP = 1e-3
"""Step to both sides at the fit: what it leaves out of the slopes is its square, and the
noise of the flights, near 1e-10 of the way, counts a thousand times."""


class TooRough(Unsolved):
    """Arrows arrive, but a path is not exact enough beside what was measured.

    rows: positions of what is not foretold.
    """

    def __init__(self, rows: tuple[int, ...]) -> None:
        super().__init__(f"rows {rows} are foretold too roughly")
        self.rows = rows


@dataclass(frozen=True, kw_only=True)
class Unknowns:
    """Unknowns of a model; arrays (unknowns,), SI.

    start: where the fit begins, within the bounds.  low, high: bounds; infinite where open.
    scale: a change that is about as large as the unknown itself, above zero.
    """

    start: Array
    low: Array
    high: Array
    scale: Array


class Whitened:
    """What is foretold less what was seen, in standard uncertainties, and its slopes.

    A point x is in the scales of the unknowns. Both come of one batch of flights, and what
    was evaluated last is kept, as the solver asks for both at the same point.
    evaluations: how often flights were solved.  refused: how often the model refused a point
        that the solver wanted to try.
    """

    def __init__(self, predictions: Predictions, family: Family, unknowns: Unknowns) -> None:
        self.predictions, self.family, self.unknowns = predictions, family, unknowns
        self.low, self.high = unknowns.low / unknowns.scale, unknowns.high / unknowns.scale
        self.evaluations = 0
        self.refused = 0
        self._rough = np.empty(0, dtype=np.intp)
        self._last: tuple[Array, Array, Array] | None = None

    def residuals(self, x: Array) -> Array:
        """(rows,); infinite where the model refuses the point or an arrow never arrives.

        And where slopes cannot be had, so that the solver comes no closer.
        """
        return self._at(x)[0]

    def slopes(self, x: Array) -> Array:
        """(rows, unknowns) per scale, from steps to one side; raises TooRough, Unsolved."""
        slopes = self._at(x)[1]
        if not np.isfinite(slopes).all():
            if self._rough.size:
                raise TooRough(tuple(self._rough.tolist()))
            raise Unsolved("arrows hardly reach where they were seen")
        return slopes

    def fine_slopes(self, x: Array) -> Array:
        """The same from steps to both sides where the bounds and the model leave room."""
        up, down = np.minimum(x + FINE_STEP, self.high), np.maximum(x - FINE_STEP, self.low)
        points = _one_by_one(x, np.concatenate((up, down)))
        sound = self.family(self._points(points)).sound
        up, down = np.where(np.split(sound, 2), (up, down), x)
        residuals = self._residuals(_one_by_one(x, np.concatenate((up, down))))
        ups, downs = np.split(residuals.T, 2, axis=1)
        with np.errstate(invalid="ignore"):
            slopes = (ups - downs) / np.where(up > down, up - down, np.nan)
        rough = ~np.isfinite(slopes).all(axis=0)
        if rough.any():
            slopes[:, rough] = self.slopes(x)[:, rough]
        return slopes

    def predicted(self, x: Array) -> Predicted:
        """What the model foretells at one point; raises as `Predictions` does.

        And Unsolved where the model refuses the point.
        """
        variants = self.family(self._points(x[:, None]))
        if not variants.sound[0]:
            raise Unsolved("the model refuses these values")
        return self._predicted(variants)

    def accepts(self, x: Array) -> bool:
        """Whether the model takes this point."""
        return bool(self.family(self._points(x[:, None])).sound[0])

    def several(self, points: Array) -> Array:
        """Residuals of points (unknowns, points), (points, rows).

        Infinite where the model refuses one or an arrow never arrives.
        """
        variants = self.family(self._points(points))
        missed = np.full((points.shape[1], self.predictions.observed.size), np.inf)
        sound = np.flatnonzero(variants.sound)
        if sound.size:
            missed[sound] = self.missed(self._predicted(variants.take(sound)))
        missed[~np.isfinite(missed).all(axis=1)] = np.inf
        return missed

    def missed(self, found: Predicted) -> Array:
        """Residuals, (variants, rows)."""
        missed: Array = (found.values - self.predictions.observed) / self.predictions.uncertainty
        return missed

    def _predicted(self, variants: Variants) -> Predicted:
        self.evaluations += 1
        found = self.predictions(variants)
        self._rough = np.flatnonzero(found.rough)
        return found

    def _points(self, x: Array) -> Array:
        return x * self.unknowns.scale[:, None]

    def _residuals(self, points: Array) -> Array:
        """Residuals of points (unknowns, variants) that the model accepts, (variants, rows)."""
        return self.missed(self._predicted(self.family(self._points(points))))

    def _at(self, x: Array) -> tuple[Array, Array]:
        if self._last is None or not np.array_equal(self._last[0], x):
            self._last = (x.copy(), *self._evaluated(x))
        return self._last[1:]

    def _evaluated(self, x: Array) -> tuple[Array, Array]:
        rows = self.predictions.observed.size
        steps = np.where(x + STEP > self.high, -STEP, STEP)
        variants = self.family(self._points(_one_by_one(x, x + steps, itself=True)))
        if variants.sound[0] and not variants.sound.all():
            steps = np.where(variants.sound[1:], steps, -steps)
            variants = self.family(self._points(_one_by_one(x, x + steps, itself=True)))
        refused = np.full(rows, np.inf), np.full((rows, x.size), np.nan)
        if not variants.sound[0]:
            self.refused += 1
            return refused  # the solver takes a shorter step then
        try:
            missed = self.missed(self._predicted(variants))
        except (Unsolved, TooNear):
            return refused
        if not np.isfinite(missed[0]).all():
            return refused
        slopes = (missed[1:] - missed[0]) / steps[:, None]
        slopes[~variants.sound[1:]] = np.nan
        if not np.isfinite(slopes).all():
            self.refused += not variants.sound.all()
            return refused
        return missed[0], slopes.T


def _one_by_one(x: Array, others: Array, *, itself: bool = False) -> Array:
    """Points (unknowns, variants): each has one unknown of `others`, the first ones first.

    others: one value for each unknown, or several such sets in a row.  itself: x comes first.
    """
    sets = others.size // x.size if x.size else 0
    points = np.repeat(x[:, None], others.size, axis=1)
    each = np.tile(np.arange(x.size), sets)
    points[each, np.arange(others.size)] = others
    return np.concatenate((x[:, None], points), axis=1) if itself else points
