"""Distributions of what is varied, by their quantile functions, and the part of them kept."""

from abc import ABC, abstractmethod
from dataclasses import dataclass
from math import exp, inf, log

import numpy as np
from scipy.special import ndtr, ndtri

from arrowloft.core.arrays import Array


@dataclass(frozen=True, kw_only=True)
class Distribution(ABC):
    """A distribution of one number, of which what lies within low to high is kept.

    Cut off, the rest keeps its shape: P(x < t | low < x < high).
    """

    low: float = -inf
    high: float = inf

    @property
    @abstractmethod
    def centre(self) -> float:
        """Median of the whole distribution."""

    @abstractmethod
    def share_below(self, value: float) -> float:
        """Probability below a value, of the whole distribution."""

    @abstractmethod
    def whole(self, share: Array) -> Array:
        """Quantiles of the whole distribution at shares in (0, 1)."""

    def kept(self) -> float:
        """Probability within low to high."""
        return self.share_below(self.high) - self.share_below(self.low)

    def quantile(self, share: Array) -> Array:
        """Quantiles at shares in (0, 1), (n,), of the part that is kept."""
        if self.low == -inf and self.high == inf:
            return self.whole(share)
        inside = self.share_below(self.low) + share * self.kept()
        # Rounding may lead a quantile of the very end over it.
        return np.clip(self.whole(inside), self.low, self.high)


@dataclass(frozen=True, kw_only=True)
class Normal(Distribution):
    """Normal: mean and standard deviation, which is positive."""

    mean: float
    standard_deviation: float

    @property
    def centre(self) -> float:
        """The mean."""
        return self.mean

    def share_below(self, value: float) -> float:
        """Phi((x - mean) / standard deviation)."""
        return float(ndtr((value - self.mean) / self.standard_deviation))

    def whole(self, share: Array) -> Array:
        """Mean + standard deviation Phi^-1(share)."""
        return self.mean + self.standard_deviation * ndtri(share)


@dataclass(frozen=True, kw_only=True)
class LogNormal(Distribution):
    """Log-normal: ln x is normal about ln(median), with the standard deviation ln(factor).

    median > 0, factor > 1: two thirds lie between median / factor and median * factor.
    """

    median: float
    factor: float

    @property
    def centre(self) -> float:
        """The median."""
        return self.median

    def share_below(self, value: float) -> float:
        """Phi(ln(x / median) / ln(factor))."""
        if value <= 0.0:
            return 0.0
        return 1.0 if value == inf else float(ndtr(log(value / self.median) / log(self.factor)))

    def whole(self, share: Array) -> Array:
        """Median * factor^(Phi^-1(share))."""
        return np.exp(log(self.median) + log(self.factor) * ndtri(share))

    def mean(self) -> float:
        """Median * exp(ln(factor)^2 / 2), of the whole distribution."""
        return self.median * exp(0.5 * log(self.factor) ** 2)


@dataclass(frozen=True, kw_only=True)
class Uniform(Distribution):
    """All values from `start` to `end` alike."""

    start: float
    end: float

    @property
    def centre(self) -> float:
        """Halfway."""
        return 0.5 * (self.start + self.end)

    def share_below(self, value: float) -> float:
        """Share of the way from start to end, 0 before and 1 behind."""
        return float(np.clip((value - self.start) / (self.end - self.start), 0.0, 1.0))

    def whole(self, share: Array) -> Array:
        """Start + share (end - start)."""
        return self.start + share * (self.end - self.start)
