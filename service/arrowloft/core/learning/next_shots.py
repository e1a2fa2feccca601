"""What to shoot next: the distance and the arrows that make wanted marks surest; when to stop.

Arrows not shot yet have no place to learn from, but how much they will teach is known
before. n of them at a distance, with the response b of the impact to the unknowns and the
archer's scatter s, leave of the covariance P

    P' = P - P b b^T P / (b^T P b + s^2 / n)

so that the mean of the wanted marks' variances over their tolerances squared, tr(P W) with
W the mean of the outer products of their responses over their tolerances, falls by
b^T P W P b / (b^T P b + s^2 / n).
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from arrowloft.core.archer.archer_scatter import READING, Scatter
from arrowloft.core.arrays import Array, Mask
from arrowloft.core.learning.calibration import Calibration
from arrowloft.core.learning.corrected_marks import effective_degrees

MOST_ENDS = 12
"""Ends that a plan looks ahead."""

SAFE = 0.5
"""How far from the aim point 95 % of arrows may land, up or down, m, where an end is advised:
half the height of a common butt. Arrows off the butt are lost, or worse."""

ALIKE = 0.05
"""A distance whose arrows take away as much of the mean square doubt as the best ones do, but
for this share, is as good: the nearest of these is taken, where arrows are least easily lost."""


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """Marks that the archer cares about.

    response: change of the impact's height per x with the mark as it is, (rows, 6), m.
    tolerance: height that the impact may be off, (rows,), m.
    confidence: with which each mark must be within it.
    """

    response: Array
    tolerance: Array
    confidence: float

    @property
    def weights(self) -> Array:
        """W: mean outer product of the responses over the tolerances, (6, 6)."""
        shares = self.response / self.tolerance[:, None]
        weights: Array = shares.T @ shares / len(shares)
        return weights

    def sure(self, known: "Known") -> bool:
        """Whether every mark is within its tolerance with the confidence."""
        spread = self.response @ known.covariance
        variance = np.einsum("ru,ru->r", spread, self.response)
        # No more than all of it comes of the scatter, as in `doubt`.
        entering = np.minimum(np.einsum("ru,uv,rv->r", spread, known.scattered, spread), variance)
        degrees = effective_degrees(variance, entering**2 / known.degrees)
        quantile = stdtrit(degrees, 0.5 * (1.0 + self.confidence))
        return bool((quantile * np.sqrt(variance) <= self.tolerance).all())


@dataclass(frozen=True, kw_only=True)
class Known:
    """What is known at one time.

    covariance: of x, (6, 6).
    scattered: information on x that rests on the archer's scatter, (6, 6).
    degrees: of freedom of that scatter.
    """

    covariance: Array
    scattered: Array
    degrees: float

    @classmethod
    def of(cls, calibration: Calibration, scatter: Scatter) -> "Known":
        """What a calibration has left, with the archer's scatter up and down."""
        design = calibration.design[calibration.scattered]
        return cls(
            covariance=calibration.covariance,
            scattered=design.T @ design,
            degrees=scatter.degrees,
        )

    def after(self, response: Array, noise: float, arrows: int) -> "Known":
        """What is known once arrows have landed with this response and this uncertainty."""
        gain = self.covariance @ response
        return Known(
            covariance=self.covariance - np.outer(gain, gain) / (response @ gain + noise**2),
            scattered=self.scattered + np.outer(response, response) / noise**2,
            degrees=self.degrees + arrows - 1.0,
        )


@dataclass(frozen=True, kw_only=True)
class Butts:
    """Distances that can be shot.

    distance: (distances,), m.
    response: change of the impact's height per x with the mark as it is, (distances, 6), m.
    scatter: standard deviation of one arrow's height there, (distances,), m.
    """

    distance: Array
    response: Array
    scatter: Array

    def safe(self, known: "Known") -> Mask:
        """Whether arrows shot with the marks as they are known stay on a butt, (distances,)."""
        marks = np.einsum("du,uv,dv->d", self.response, known.covariance, self.response)
        safe: Mask = 2.0 * np.sqrt(marks + self.scatter**2) <= SAFE
        return safe

    def noise(self, arrows: int) -> Array:
        """Standard uncertainty of the centre of so many arrows, (distances,), m."""
        noise: Array = np.maximum(self.scatter / np.sqrt(arrows), READING)
        return noise


@dataclass(frozen=True, kw_only=True)
class NextEnd:
    """One end of a plan.

    index: of the distance among the butts.  arrows: how many.
    doubt: root of the mean variance over tolerance squared of the wanted marks after it.
    """

    index: int
    arrows: int
    doubt: float


@dataclass(frozen=True, kw_only=True)
class Advice:
    """What to shoot next.

    done: whether all wanted marks are sure already.
    doubt: root of the mean variance over tolerance squared of the wanted marks now.
    choices: the same after a full end at each of the butts, (distances,); NaN where a
        response is not known, so near the reach: such butts are no part of a plan.
    safe: whether arrows shot there now would stay on a butt, (distances,) bool.
    plan: the ends that lead there, the first of them the next; empty where done.
    enough: whether the plan leads there within MOST_ENDS ends.
    """

    done: bool
    doubt: float
    choices: Array
    safe: Mask
    plan: tuple[NextEnd, ...]
    enough: bool

    @property
    def arrows(self) -> int:
        """Arrows of the whole plan."""
        return sum(end.arrows for end in self.plan)


def advise(known: Known, wanted: Wanted, butts: Butts, arrows: int) -> Advice:
    """The next end, and those after it until all wanted marks are sure.

    arrows: most of an end.  Each end is shot where it lessens the doubt of the wanted marks
    most, of the butts that are safe by then, or at the nearest where none is; the last one
    with no more arrows than it needs.
    """
    weights = wanted.weights
    choices = _doubts(known, weights, butts, arrows)
    done = sure = wanted.sure(known)
    plan: list[NextEnd] = []
    left = known
    while not sure and len(plan) < MOST_ENDS and np.isfinite(choices).any():
        index = _best(_falls(left, weights, butts, arrows), butts.safe(left), butts.distance)
        count, left, sure = _shoot(left, wanted, butts, index, arrows)
        plan.append(NextEnd(index=index, arrows=count, doubt=_doubt(left, weights)))
    return Advice(
        done=done,
        doubt=_doubt(known, weights),
        choices=choices,
        safe=butts.safe(known),
        plan=tuple(plan),
        enough=sure,
    )


def _doubt(known: Known, weights: Array) -> float:
    return float(np.sqrt(np.einsum("uv,uv->", known.covariance, weights)))


def _falls(known: Known, weights: Array, butts: Butts, arrows: int) -> Array:
    """By how much a full end at each of the butts lessens the mean square doubt, (distances,)."""
    gains = butts.response @ known.covariance
    spread = np.einsum("du,du->d", gains, butts.response) + butts.noise(arrows) ** 2
    falls: Array = np.einsum("du,uv,dv->d", gains, weights, gains) / spread
    return falls


def _doubts(known: Known, weights: Array, butts: Butts, arrows: int) -> Array:
    """The doubt after a full end at each of the butts, (distances,)."""
    left = _doubt(known, weights) ** 2 - _falls(known, weights, butts, arrows)
    doubts: Array = np.sqrt(np.maximum(left, 0.0))
    return doubts


def _best(falls: Array, safe: Mask, distance: Array) -> int:
    """The butt to shoot at: the nearest of the safe ones that take away most doubt."""
    told = np.where(safe & np.isfinite(falls), falls, -np.inf)
    if not np.isfinite(told).any():
        return int(distance.argmin())
    good = np.flatnonzero(told >= (1.0 - ALIKE) * told.max())
    return int(good[distance[good].argmin()])


def _shoot(
    known: Known, wanted: Wanted, butts: Butts, index: int, arrows: int
) -> tuple[int, Known, bool]:
    """An end at one of the butts: its arrows, what is known then, whether all is sure."""

    def left(count: int) -> Known:
        return known.after(butts.response[index], float(butts.noise(count)[index]), count)

    if not wanted.sure(left(arrows)):
        return arrows, left(arrows), False
    fewest = next(count for count in range(1, arrows + 1) if wanted.sure(left(count)))
    return fewest, left(fewest), True
