"""An archer's group: how arrows scatter about their mean impact.

Impacts are taken as a bivariate normal distribution in the target plane whose axes are up
and right: two independent standard deviations, about the impact of the mean arrow.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np

LEAST_ARROWS, MOST_ARROWS = 2, 30
"""Arrows of a group whose greatest spread is known."""

# Greatest distance between two of n impacts of a circular normal group, in standard
# deviations: mean and standard deviation, n = 2 to 30. n = 2 is the distance of two points,
# a Rayleigh variable of scale sqrt(2). The others were simulated: see `largest_spread`.
_SPREADS: tuple[tuple[float, float], ...] = (
    (math.sqrt(math.pi), math.sqrt(4.0 - math.pi)),
    (2.4088, 0.8924),
    (2.7933, 0.8562),
    (3.0658, 0.8271),
    (3.2752, 0.8036),
    (3.4442, 0.7842),
    (3.5854, 0.7679),
    (3.7062, 0.7539),
    (3.8116, 0.7418),
    (3.9049, 0.7310),
    (3.9883, 0.7214),
    (4.0638, 0.7128),
    (4.1327, 0.7049),
    (4.1961, 0.6978),
    (4.2545, 0.6912),
    (4.3088, 0.6852),
    (4.3594, 0.6796),
    (4.4068, 0.6744),
    (4.4513, 0.6695),
    (4.4934, 0.6650),
    (4.5332, 0.6608),
    (4.5708, 0.6567),
    (4.6066, 0.6529),
    (4.6408, 0.6493),
    (4.6734, 0.6459),
    (4.7046, 0.6426),
    (4.7344, 0.6395),
    (4.7631, 0.6365),
    (4.7905, 0.6337),
)


@dataclass(frozen=True, kw_only=True)
class Group:
    """The scatter of an archer's arrows, as found on a target.

    distance: where it was shot, m.
    vertical, sideways: standard deviations of the impacts there, m.
    arrows: how many arrows the figure rests on; None where it is not known.
    from_spread: whether it was found from the greatest spread, which says less than the
        standard deviation of the same arrows.

    Raises ValueError for a distance that is not positive, a negative standard deviation,
    fewer than two arrows, and for more than MOST_ARROWS where it is from the spread.
    """

    distance: float
    vertical: float
    sideways: float
    arrows: int | None = None
    from_spread: bool = False

    def __post_init__(self) -> None:
        if not 0.0 < self.distance < math.inf:
            raise ValueError("the distance of a group must be positive")
        if not (0.0 <= self.vertical < math.inf and 0.0 <= self.sideways < math.inf):
            raise ValueError("standard deviations must be finite and not negative")
        if self.arrows is not None and self.arrows < LEAST_ARROWS:
            raise ValueError("a group has at least two arrows")
        if self.from_spread:
            _spread_of(self.arrows)

    @classmethod
    def of_diameter(cls, distance: float, diameter: float, arrows: int) -> Self:
        """The group whose impacts lie at most `diameter` apart, centre to centre, m.

        The same standard deviation up and sideways: diameter / largest_spread(arrows).
        ValueError for a number of arrows outside LEAST_ARROWS to MOST_ARROWS.
        """
        deviation = diameter / largest_spread(arrows)
        return cls(
            distance=distance,
            vertical=deviation,
            sideways=deviation,
            arrows=arrows,
            from_spread=True,
        )

    @classmethod
    def of_impacts(cls, distance: float, up: Sequence[float], right: Sequence[float]) -> Self:
        """The group whose arrows landed at these places, m, counted from any one point.

        Each standard deviation is about the impacts' own mean:
        sqrt(sum (x - mean)^2 / (n - 1)).
        ValueError for fewer than two arrows, or not as many places up as to the right.
        """
        if len(up) != len(right):
            raise ValueError("every impact of a group has a place up and one to the right")
        if len(up) < LEAST_ARROWS:
            raise ValueError("a group has at least two arrows")
        return cls(
            distance=distance,
            vertical=float(np.std(up, ddof=1)),
            sideways=float(np.std(right, ddof=1)),
            arrows=len(up),
        )

    @property
    def angular_vertical(self) -> float:
        """Standard deviation of the launch direction up and down, rad."""
        return self.vertical / self.distance

    @property
    def angular_sideways(self) -> float:
        """Standard deviation of the launch direction sideways, rad."""
        return self.sideways / self.distance

    @property
    def relative_uncertainty(self) -> float | None:
        """Standard uncertainty of the standard deviation as a share of it, for few arrows.

        From the greatest spread: its standard deviation over its mean. Else
        1 / sqrt(4 (n - 1)): the standard deviation of n arrows has n - 1 degrees of freedom
        an axis, two axes are pooled, and with k degrees it is uncertain by 1 / sqrt(2 k).
        None where the number of arrows is not known.
        """
        if self.arrows is None:
            return None
        if self.from_spread:
            mean, deviation = _spread_of(self.arrows)
            return deviation / mean
        return 1.0 / math.sqrt(4.0 * (self.arrows - 1))

    @property
    def unbiased(self) -> float:
        """Factor that makes the standard deviations right in the mean over many such groups.

        That of n arrows is too small by c4 = sqrt(2 / k) G((k + 1) / 2) / G(k / 2), with
        k = n - 1 and the gamma function G: the factor is 1 / c4. 1 where they follow from the
        greatest spread, which allows for that, and where the number is not known.
        """
        if self.arrows is None or self.from_spread:
            return 1.0
        half = 0.5 * (self.arrows - 1)
        return math.sqrt(half) * math.exp(math.lgamma(half) - math.lgamma(half + 0.5))

    @property
    def degrees(self) -> float | None:
        """Degrees of freedom of each standard deviation; None where the number is not known."""
        if self.arrows is None:
            return None
        return spread_degrees(self.arrows) if self.from_spread else self.arrows - 1.0


def largest_spread(arrows: int) -> float:
    """Expected greatest distance between two of n impacts, in standard deviations.

    Of a circular normal group, n = 2 to 30. sqrt(pi) for n = 2; the others have no simple
    closed form and were computed for this table: 20 million simulated groups (numpy's
    default generator, seed 20240611), each grown from 2 impacts to 30, so that all n share
    the same draws. Standard error of a mean: 2.1e-4 at n = 3, falling to 1.4e-4 at n = 30,
    and about 0.7 of that of a standard deviation; the simulated mean of n = 2 was 1.7721.

    ValueError outside LEAST_ARROWS to MOST_ARROWS.
    """
    return _spread_of(arrows)[0]


def spread_degrees(arrows: int) -> float:
    """Degrees of freedom of a standard deviation known from the greatest spread.

    As many as leave the same relative uncertainty, 1 / sqrt(2 k) of k degrees.
    ValueError outside LEAST_ARROWS to MOST_ARROWS.
    """
    mean, deviation = _spread_of(arrows)
    return 0.5 * (mean / deviation) ** 2


def _spread_of(arrows: int | None) -> tuple[float, float]:
    """Mean and standard deviation of the greatest spread."""
    if arrows is None or not LEAST_ARROWS <= arrows <= MOST_ARROWS:
        raise ValueError(f"the greatest spread is known for {LEAST_ARROWS} to {MOST_ARROWS} arrows")
    return _SPREADS[arrows - LEAST_ARROWS]
