"""Heights of arrows loosed at held angles, against distance and angle, as one smooth table.

H(x, a): where the tip of an arrow loosed at the launch angle a passes the plane at the
distance x, from the line of sight, up positive. A path is nearly a parabola in x, and H is
nearly straight in a: few flights tell all of them.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Self

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.impacts import Impacts, impacts
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.series import chebyshev, left_out, terms
from arrowloft.core.setup.shot import Shot

KNOTS = ((12, 10), (24, 12), (48, 16), (96, 20))
"""Distances and angles flown; the next where the table leaves out more than LEFT_OUT."""

LEFT_OUT = 1e-6
"""What a series may leave out of a height, m, to be good at once. Where a path leaves a zone
by a hundredth of its way at least, it leaves 1e-4 m to the edge."""

WORST = 1e-4
"""What it may leave out at all, m: no more than is seen of an arrow in flight."""

NODES = 16
"""Angles between which the table is inverted."""


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A series through the heights of arrows loosed at held angles.

    series: terms along its axes.  missed: what it leaves out of a height, m.
    flown: the arrows that it goes through.
    """

    series: Array
    missed: float
    flown: Impacts

    @classmethod
    def good(cls, fits: Iterable[Self]) -> Self:
        """The first of ever finer ones that leaves out LEFT_OUT at most, or else the last.

        Raises Unsolved where that leaves out more than WORST.
        """
        for fit in fits:
            if fit.missed <= LEFT_OUT:
                break
        if not fit.missed <= WORST:
            raise Unsolved("the paths of held arrows were not followed over the distances")
        return fit

    @property
    def error(self) -> float:
        """Estimated error of a height read from the series, m."""
        return self.missed + float(self.flown.error.max())


def loosed(shot: Shot, angles: Array, planes: Array) -> Impacts:
    """Arrows loosed at angles, rad, to planes, m. Raises Unsolved where one never comes there."""
    met = impacts(shot, angles, planes)
    if not met.arrived.all():
        raise Unsolved("an arrow loosed with another distance's mark never comes there")
    return met


@dataclass(frozen=True, kw_only=True)
class HeldHeights:
    """Heights for distances `near` to `far`, m, and launch angles `low` to `high`, rad.

    series: (terms in distance, terms in angle).  error: estimated error of a height, m.
    airspeed_range: least and greatest airspeed flown, m/s.
    """

    near: float
    far: float
    low: float
    high: float
    series: Array
    error: float
    airspeed_range: tuple[float, float]

    @classmethod
    def flown(
        cls, shot: Shot, distances: tuple[float, float], angles: tuple[float, float]
    ) -> "HeldHeights":
        """One shot (every member a float), loosed at angles between two, to planes between two.

        Raises Unsolved where some arrow never comes to its plane, or the table is too coarse.
        """
        fit = Fit.good(_tables(shot, distances, angles))
        return cls(
            near=distances[0],
            far=distances[1],
            low=angles[0],
            high=angles[1],
            series=fit.series,
            error=fit.error,
            airspeed_range=fit.flown.airspeed_range,
        )

    def at(self, distance: Array, angle: Array) -> Array:
        """Heights, m, of an arrow of each angle, rad, at each distance, m: (angles, distances)."""
        along = terms(_within(self.near, self.far, distance), self.series.shape[0])
        across = terms(_within(self.low, self.high, angle), self.series.shape[1])
        heights: Array = across.T @ (self.series.T @ along)
        return heights

    def pairs(self, distance: Array, angle: Array) -> Array:
        """Height at each distance, m, of the arrow loosed at the angle beside it, rad."""
        along = terms(_within(self.near, self.far, distance), self.series.shape[0])
        across = terms(_within(self.low, self.high, angle), self.series.shape[1])
        heights: Array = (along * (self.series @ across)).sum(axis=0)
        return heights

    def inverse(self, distance: Array) -> "Inverse":
        """The launch angles that bring the arrow to given heights at these distances, m.

        Raises Unsolved where a higher angle brings some arrow lower, as beyond the reach.
        """
        angles = _between(self.low, self.high, chebyshev(NODES)[0])
        heights = self.at(distance, angles).T
        if not (np.diff(heights, axis=1) > 0.0).all():
            raise Unsolved("close to the reach the impact does not rise with the angle")
        return Inverse.of(angles, heights)


def _tables(
    shot: Shot, distances: tuple[float, float], angles: tuple[float, float]
) -> Iterator[Fit]:
    """Tables of heights, each finer than the one before."""
    for far_knots, angle_knots in KNOTS:
        x, from_x = chebyshev(far_knots)
        a, from_a = chebyshev(angle_knots)
        planes = np.repeat(_between(*distances, x), angle_knots)
        met = loosed(shot, np.tile(_between(*angles, a), far_knots), planes)
        heights = met.up.reshape(far_knots, angle_knots)
        along, across = heights.T @ from_x, heights @ from_a
        missed = max(float(left_out(along).max()), float(left_out(across).max()))
        yield Fit(series=from_x.T @ across, missed=missed, flown=met)


@dataclass(frozen=True)
class Inverse:
    """Launch angle against height, one row a distance: interpolated between nodes.

    angles: (nodes,), rad.  heights: (rows, nodes), m, rising.  weights: barycentric, alike.
    """

    angles: Array
    heights: Array
    weights: Array

    @classmethod
    def of(cls, angles: Array, heights: Array) -> "Inverse":
        """Weights 1 / prod(H_k - H_j), each row scaled: only their ratios count."""
        span = heights[:, -1:] - heights[:, :1]
        apart = (heights[:, :, None] - heights[:, None, :]) / span[..., None]
        apart[:, np.arange(angles.size), np.arange(angles.size)] = 0.25
        weights = 1.0 / np.prod(4.0 * apart, axis=2)
        return cls(angles, heights, weights)

    def at(self, height: Array) -> Array:
        """Angles, rad, that bring the arrow to a height, m, each row its own, (rows,).

        A height outside the row's nodes gives the angle at its end.
        """
        inside = np.clip(height, self.heights[:, 0], self.heights[:, -1])
        apart = inside[:, None] - self.heights
        # At a node itself its weight outgrows all others.
        share = self.weights / np.where(apart == 0.0, 1e-200, apart)
        angle: Array = (share @ self.angles) / share.sum(axis=1)
        return angle

    def bounds(self, height: Array) -> tuple[Array, Array]:
        """Least and greatest angles that keep within a height, m, of the line of sight."""
        return self.at(-height), self.at(height)


def _between(low: float, high: float, number: Array) -> Array:
    """Numbers from -1 to 1 as values from low to high, which the ends are exactly."""
    values: Array = 0.5 * ((1.0 - number) * low + (1.0 + number) * high)
    return values


def _within(low: float, high: float, value: Array) -> Array:
    numbers: Array = (2.0 * value - low - high) / (high - low)
    return numbers
