"""Shares of arrows: how much of a normal scatter falls into a circle or a rectangle.

Impacts are a bivariate normal distribution in the target plane, its axes up and right.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from arrowloft.core.arrays import Array, Lanes, Real

# Beyond this many standard deviations a normal variable has 2.6e-12 of its weight.
_FAR = 7.0
# Below this share of the radius, a standard deviation is lost in the rounding of the slices.
_SMALL = 1e-7
# Nodes of each panel. Measured against much finer panels, for standard deviations of 1e-4 to
# 100 radii: 16 nodes leave 5e-9, 20 1.2e-11, 24 no more than the weight beyond _FAR.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)
# Lanes taken at a time: keeps the slices in the cache.
_BLOCK = 1000


def half_width(share: float) -> float:
    """Half width, in standard deviations, of the rectangle that holds a share of the arrows.

    z such that |up| <= z sd_up and |right| <= z sd_right both hold with probability
    `share`, the two being independent: z = ndtri((1 + sqrt(share)) / 2), where ndtri is the
    quantile of the standard normal distribution. ValueError outside 0 < share < 1.
    """
    if not 0.0 < share < 1.0:
        raise ValueError("the share must lie between 0 and 1")
    return float(ndtri((1.0 + math.sqrt(share)) / 2.0))


def share_in_rectangle(
    bottom: Real,
    top: Real,
    left: Real,
    right: Real,
    vertical: Real,
    sideways: Real,
    up: Real = 0.0,
    aside: Real = 0.0,
) -> Array:
    """Probability that a normal impact falls into a rectangle.

    bottom, top, left, right: its edges, m; up and right positive; any may be infinite.
    vertical, sideways: standard deviations, m; 0 puts every arrow at the mean, and an edge
    counts as inside.  up, aside: the mean impact, m; NaN gives NaN.
    All broadcast; the result has their shape.

    ValueError for a negative standard deviation, a bottom above its top, a left edge to the
    right of its right one.
    """
    if np.any(np.asarray(bottom) > top) or np.any(np.asarray(left) > right):
        raise ValueError("an edge lies beyond its opposite")
    _require_deviations(vertical, sideways)
    high = _between(bottom, top, up, vertical)
    wide = _between(left, right, aside, sideways)
    return np.asarray(high * wide)


def share_in_circle(
    radius: Real, vertical: Real, sideways: Real, up: Real = 0.0, right: Real = 0.0
) -> Array:
    """Probability that a normal impact falls within a radius of the aim point.

    radius: m.  vertical, sideways: standard deviations, m; 0 puts every arrow at the mean
    in that direction, and the circle itself counts as inside; less than 1e-7 of the radius
    counts as 0.  up, right: the mean impact from the aim point, m; NaN gives NaN.
    All broadcast; the result has their shape. Within 1e-9 of the exact probability,
    and 2e-11 where no standard deviation is below 1e-4 of the radius.

    The circle is cut into slices along the direction of the larger standard deviation,
    a = r sin(t) from the middle and reaching h = r cos(t) to either side:

        P = integral of phi((a - m) / s) / s [Phi((h - M) / S) - Phi((-h - M) / S)] h dt

    from -pi/2 to pi/2, by Gauss-Legendre between the t where either factor sets in, peaks
    or ends, so that a group much smaller than the circle, or far off, costs no digits.

    ValueError for a negative radius or standard deviation, or an infinite radius.
    """
    if not np.all((np.asarray(radius) >= 0.0) & (np.asarray(radius) < math.inf)):
        raise ValueError("the radius must be finite and not negative")
    _require_deviations(vertical, sideways)
    given = np.broadcast_arrays(radius, vertical, sideways, up, right)
    r, s_up, s_right, m_up, m_right = (np.asarray(part, dtype=np.float64).ravel() for part in given)
    upright = s_up > s_right
    circle = _Circle(
        r,
        _not_small(np.where(upright, s_right, s_up), r),
        np.where(upright, m_right, m_up),
        _not_small(np.where(upright, s_up, s_right), r),
        np.abs(np.where(upright, m_up, m_right)),
    )
    return circle.share().reshape(given[0].shape)


@dataclass(frozen=True)
class _Circle:
    """Lanes (lanes,) of circle and impact: slices lie along the larger deviation.

    radius; across: standard deviation and mean across the slices; along: those along them,
    the mean never negative, so that the lower tail keeps the digits of small shares.
    """

    radius: Array
    across: Array
    across_mean: Array
    along: Array
    along_mean: Array

    def share(self) -> Array:
        """Probability, lane by lane."""
        known = ~(np.isnan(self.across_mean) | np.isnan(self.along_mean))
        thin = np.flatnonzero(known & (self.across == 0.0))
        usual = np.flatnonzero(known & (self.across > 0.0))
        found = np.full(self.radius.size, math.nan)
        found[thin] = self._lanes(thin)._one_slice()
        for start in range(0, usual.size, _BLOCK):
            block = usual[start : start + _BLOCK]
            found[block] = self._lanes(block)._slices()
        return np.asarray(np.clip(found, 0.0, 1.0))

    def _lanes(self, kept: Lanes) -> "_Circle":
        return _Circle(
            self.radius[kept],
            self.across[kept],
            self.across_mean[kept],
            self.along[kept],
            self.along_mean[kept],
        )

    def _one_slice(self) -> Array:
        """All impacts on one line: the part of it within the circle."""
        aside = np.abs(self.across_mean)
        half = np.sqrt(np.maximum((self.radius - aside) * (self.radius + aside), 0.0))
        inside = _between(-half, half, self.along_mean, self.along)
        return np.where(aside > self.radius, 0.0, inside)

    def _slices(self) -> Array:
        """The quadrature over slices."""
        lane, middle, half = self._panels()
        at = self._lanes(lane)
        angle = middle[:, None] + half[:, None] * _NODES
        radius, s, m, large_s, large_m = (
            part[:, None]
            for part in (at.radius, at.across, at.across_mean, at.along, at.along_mean)
        )
        reach = radius * np.cos(angle)
        density = np.exp(-0.5 * ((radius * np.sin(angle) - m) / s) ** 2) / s * reach
        slices = ndtr((reach - large_m) / large_s) - ndtr((-reach - large_m) / large_s)
        parts = (density * slices) @ _WEIGHTS * half / math.sqrt(2.0 * math.pi)
        total = np.bincount(lane, parts, minlength=self.radius.size)
        return np.asarray(total, dtype=np.float64)

    def _panels(self) -> tuple[Lanes, Array, Array]:
        """Lane, middle and half width in t of the panels that hold any weight."""
        ends = np.array([-_FAR, 0.0, _FAR])[:, None]
        radius = np.maximum(self.radius, np.finfo(float).tiny)
        rise = np.arcsin(np.clip((self.across_mean + ends * self.across) / radius, -1.0, 1.0))
        fall = np.arccos(np.clip((self.along_mean + ends * self.along) / radius, 0.0, 1.0))
        quarter = np.full((1, radius.size), 0.5 * math.pi)
        cuts = np.sort(np.concatenate((-quarter, rise, fall, -fall, quarter)), axis=0)
        low, high = cuts[:-1], cuts[1:]
        heavy = (high > rise[0]) & (low < rise[-1]) & (high > low)
        panel, lane = np.nonzero(heavy)
        low, high = low[panel, lane], high[panel, lane]
        return lane, 0.5 * (low + high), 0.5 * (high - low)


def _not_small(deviation: Array, radius: Array) -> Array:
    return np.where(deviation < _SMALL * radius, 0.0, deviation)


def _require_deviations(*deviations: Real) -> None:
    for deviation in deviations:
        if not np.all((np.asarray(deviation) >= 0.0) & (np.asarray(deviation) < math.inf)):
            raise ValueError("standard deviations must be finite and not negative")


def _between(low: Real, high: Real, mean: Real, deviation: Real) -> Array:
    """Probability that a normal variable lies between; its limit for deviation 0.

    Taken in the lower tail, where small probabilities keep their digits.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        below = np.asarray((low - np.asarray(mean)) / deviation)
        above = np.asarray((high - np.asarray(mean)) / deviation)
        flipped = below + above > 0.0
        found = ndtr(np.where(flipped, -below, above)) - ndtr(np.where(flipped, -above, below))
    if np.all(deviation):
        return np.asarray(found)
    inside = np.where(np.isnan(mean), math.nan, (low <= np.asarray(mean)) & (mean <= high))
    return np.where(np.asarray(deviation) == 0.0, inside, found)
