"""Proven marks of one set-up, and what they add to the travel that is predicted for it."""

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.interpolate import PchipInterpolator

from arrowloft.core.arrays import Array, Mask
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.marks import MarkTable, mark_table
from arrowloft.core.sight.sight import Sight

_SAME = 1e-6
"""How near to the zero distance a mark is that distance's own, m."""


@dataclass(frozen=True, kw_only=True)
class ProvenMarks:
    """Marks that were shot or calibrated, nearest first: m.

    distance: ascending.  travel: of the pin from the zero distance's mark, down positive.
    """

    distance: Array
    travel: Array


@dataclass(frozen=True, kw_only=True)
class Correction:
    """What proven marks add to the predicted travel, over the distance.

    Between its points a monotone cubic (Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5,
    1984) never leaves the two values beside it; it is a straight line between two points and
    a constant with one. Before the first point and beyond the last it is held constant. The
    scale keeps the model's shape so: a few marks move and bend it slowly, and do not shape
    it by themselves.

    distance: of its points, m, ascending.  added: at each, m, down positive.
    """

    distance: Array
    added: Array

    def at(self, distance: Array) -> Array:
        """What is added at each distance, m; of the shape of `distance`."""
        if self.distance.size == 0:
            return np.zeros(distance.shape)
        if self.distance.size == 1:
            return np.full(distance.shape, self.added[0])
        inside = np.clip(distance, self.distance[0], self.distance[-1])
        added: Array = PchipInterpolator(self.distance, self.added)(inside)
        return added


NO_CORRECTION = Correction(distance=np.empty(0), added=np.empty(0))


@dataclass(frozen=True, kw_only=True)
class Proof:
    """Proven marks beside what is predicted for the set-up that they were proven with.

    foretold: predicted marks at their distances.  zero_distance: that travel counts from, m.
    added: at each mark, given less predicted travel, m.
    correction: through the marks. Travel counts from the zero distance, which is proven by
        that alone: it is a point too, and nothing is added there, unless its own mark is
        among those given.
    """

    marks: ProvenMarks
    foretold: MarkTable
    zero_distance: float
    added: Array = field(init=False)
    correction: Correction = field(init=False)

    def __post_init__(self) -> None:
        distance, added = self.marks.distance, self.marks.travel - self.foretold.travel
        object.__setattr__(self, "added", added)
        if not self._zero_given.any():
            at = int(np.searchsorted(distance, self.zero_distance))
            distance = np.insert(distance, at, self.zero_distance)
            added = np.insert(added, at, 0.0)
        object.__setattr__(self, "correction", Correction(distance=distance, added=added))

    @property
    def _zero_given(self) -> Mask:
        given: Mask = np.abs(self.marks.distance - self.zero_distance) <= _SAME
        return given

    @property
    def zero_shift(self) -> float:
        """Travel given for the zero distance's own mark; 0 where none is, m."""
        return float(np.sum(self.added[self._zero_given]))

    @property
    def misfit(self) -> Array:
        """What each mark is off its prediction, both counted from the zero's mark as given, m.

        A zero that moved moves all marks with it, and is no fault of theirs.
        """
        return self.added - self.zero_shift

    @property
    def residual(self) -> Array:
        """What the correction misses each mark by, m."""
        residual: Array = self.correction.at(self.marks.distance) - self.added
        return residual


def prove(
    shot: Shot,
    sight: Sight,
    marks: ProvenMarks,
    *,
    speed_uncertainty: float = 0.0,
    drag_uncertainty: float = 0.0,
) -> Proof:
    """Proven marks, one or more, of one shot (every member a float) beside their prediction.

    The uncertainties are those of `mark_table`.  Raises TooNear, BeyondReach, Unsolved,
    whose lanes count the marks, then the zero distance.
    """
    foretold = mark_table(
        shot,
        replace(sight, pins=()),
        marks.distance,
        speed_uncertainty=speed_uncertainty,
        drag_uncertainty=drag_uncertainty,
    )
    return Proof(marks=marks, foretold=foretold, zero_distance=sight.zero_distance)
