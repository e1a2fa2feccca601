"""How many of a nearly normal scatter's arrows fall into a zone.

Impacts that follow from many small causes are nearly, but not quite, a bivariate normal
distribution. With f0 the normal density of their mean and covariance and He the Hermite
polynomials of the whitened impact (x, y), Edgeworth's expansion to second order is

    f = f0 [1 + C3 + C4 + C3 C3 / 2],   Cn = sum over i + j = n of k_ij He_i(x) He_j(y) / (i! j!)

with the third and fourth cumulants k, products of He_i being formal: He_i He_k -> He_(i+k).
Over a slice of the zone at x, y from l to h, each term has a closed form,

    integral of He_j(y) phi(y) dy = He_(j-1)(l) phi(l) - He_(j-1)(h) phi(h),

and the slices are summed by Gauss-Legendre. Of the next order, C3 C4 and C3 C3 C3 / 6 follow
from the same cumulants, C5 does not: the size of those two, and of the second order times
that of the third cumulant, says how far off the result may be.

Source: McCullagh, Tensor Methods in Statistics, 1987, chapter 5 (from memory).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import TypeAlias

import numpy as np
from scipy.special import ndtr

from arrowloft.core.arrays import Array, Mask
from arrowloft.core.chances.quadratic_forms import Cumulants
from arrowloft.core.chances.zones import Zone

_Terms: TypeAlias = dict[tuple[int, int], Array]
"""Coefficients (rows,) by the degrees in x and in y."""

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(64)

_FAR = 8.0
"""Standard deviations from the mean beyond which nothing is left, 1e-15."""

_THINNEST = 1e-6
"""Least standard deviation, as a share of the zone: thinner scatters are taken as this."""

_BENT_MOST = 6.0
"""A cumulant of the whitened impact beyond this has no expansion worth its name."""

_THIN, _PANELS = 0.018, 16
"""Where the slices' ends pass the scatter within less than _THIN of all slices, so many times
as many are summed."""


@dataclass(frozen=True, kw_only=True)
class Share:
    """Probability of the zone and its estimated error, each (rows,)."""

    probability: Array
    error: Array


def normal_share(zone: Zone, mean: Array, covariance: Array) -> Array:
    """Probability of the zone for a normal scatter, (rows,).

    mean: (2, rows).  covariance: (2, 2, rows).
    """
    frame = _Frame.of(zone, mean, covariance)
    found: Array = _integrals(zone, frame, [{(0, 0): np.ones(mean.shape[1])}])[0]
    return np.clip(found, 0.0, 1.0)


def share_in_zone(zone: Zone, cumulants: Cumulants) -> Share:
    """Probability of the zone for a nearly normal scatter.

    error: about the size of the next order, most often above it (the tests say how often);
        1 where the scatter is nothing like normal.
    """
    frame = _Frame.of(zone, cumulants.mean, cumulants.covariance)
    whitened = cumulants.mapped(frame.whitening)
    third, fourth = _terms(whitened.third, 3), _terms(whitened.fourth, 4)
    squared = _product(third, third, 0.5)
    normal = {(0, 0): np.ones(cumulants.mean.shape[1])}
    next_order = _product(third, fourth), _product(squared, third, 1.0 / 3.0)
    first, *second, mixed, cubed = _integrals(
        zone, frame, [_sum(normal, third), fourth, squared, *next_order]
    )
    found = first + sum(second)
    bent = _size(whitened.third)
    # Apart, as what happens to cancel here does not a little farther on.
    error = np.abs(mixed) + np.abs(cubed) + bent / 6.0 * np.abs(second).sum(axis=0)
    wild = np.maximum(bent, _size(whitened.fourth)) > _BENT_MOST
    return Share(
        probability=np.clip(found, 0.0, 1.0),
        error=np.where(wild, 1.0, np.minimum(error + np.maximum(-found, 0.0), 1.0)),
    )


def _integrals(zone: Zone, frame: "_Frame", several: Sequence[_Terms]) -> Array:
    """Over the zone, of each of several sums of terms, (sums, rows)."""
    degree = max(i + j for terms in several for i, j in terms)
    thin = frame.thin(zone)
    found = np.empty((len(several), thin.size))
    for rows, panels in ((~thin, 1), (thin, _PANELS)):
        if rows.any():
            slices = _Slices.of(zone, frame.rows(rows), degree, panels)
            for at, terms in enumerate(several):
                chosen = {degrees: values[rows] for degrees, values in terms.items()}
                found[at, rows] = slices.integral(chosen)
    return found


def _size(tensor: Array) -> Array:
    found: Array = np.abs(tensor.reshape(-1, tensor.shape[-1])).max(axis=0)
    return found


def _terms(tensor: Array, degree: int) -> _Terms:
    """C_n of a symmetric tensor of cumulants (2, ..., 2, rows)."""
    return {
        (degree - j, j): tensor[(0,) * (degree - j) + (1,) * j]
        / (math.factorial(degree - j) * math.factorial(j))
        for j in range(degree + 1)
    }


def _product(one: _Terms, other: _Terms, factor: float = 1.0) -> _Terms:
    found: _Terms = {}
    for (i, j), left in one.items():
        for (k, m), right in other.items():
            found[i + k, j + m] = found.get((i + k, j + m), 0.0) + factor * left * right
    return found


def _sum(*several: _Terms) -> _Terms:
    found: _Terms = {}
    for terms in several:
        for degrees, values in terms.items():
            found[degrees] = found.get(degrees, 0.0) + values
    return found


@dataclass(frozen=True)
class _Frame:
    """The zone's own frame: its half extents are 1, and slices lie at constant X.

    A round zone is turned so that X and Y do not depend on each other; X is the one that
    scatters less, so that slices see a wide scatter along them.
    mean: (2, rows) of X and Y.  deviation: of X, and of Y for given X, (2, rows).
    tilt: change of Y's mean with X, (rows,).
    whitening: (2, 2, rows), from up and right to standard variables x, y.
    """

    mean: Array
    deviation: Array
    tilt: Array
    whitening: Array

    @classmethod
    def of(cls, zone: Zone, mean: Array, covariance: Array) -> "_Frame":
        half = np.array([zone.half_height, zone.half_width])
        scaled = covariance / np.outer(half, half)[:, :, None]
        axes = _principal(scaled) if zone.round else _swapped(scaled)
        turned = np.einsum("iar,jbr,abr->ijr", axes, axes, scaled)
        map_ = axes / half[None, :, None]
        first = np.maximum(turned[0, 0], _THINNEST**2)
        tilt = np.where(zone.round, 0.0, turned[0, 1] / first)
        second = np.maximum(turned[1, 1] - tilt * turned[0, 1], _THINNEST**2)
        deviation = np.sqrt(np.array([first, second]))
        whitening = map_ / deviation[:, None]
        whitening[1] -= tilt * map_[0] / deviation[1]
        return cls(np.einsum("iar,ar->ir", map_, mean), deviation, tilt, whitening)

    def rows(self, chosen: Mask) -> "_Frame":
        """Some of the rows."""
        return _Frame(*(getattr(self, item.name)[..., chosen] for item in fields(self)))

    def ends(self, zone: Zone) -> tuple[Array, Array]:
        """From where to where slices are summed, (rows,); of a round zone the angle t.

        There X = sin(t): the slices' ends are then smooth in t.
        """
        reach = _FAR * self.deviation[0]
        low, high = np.clip([self.mean[0] - reach, self.mean[0] + reach], -1.0, 1.0)
        return (np.arcsin(low), np.arcsin(high)) if zone.round else (low, high)

    def thin(self, zone: Zone) -> Mask:
        """Rows in which the slices' ends pass the scatter along them in few slices."""
        low, high = self.ends(zone)
        passed = (high - low) * (1.0 if zone.round else np.abs(self.tilt))
        found: Mask = self.deviation[1] < _THIN * passed
        return found


def _principal(covariance: Array) -> Array:
    """Rotations (2, 2, rows) to principal axes, the lesser variance first."""
    turn = 0.5 * np.arctan2(2.0 * covariance[0, 1], covariance[0, 0] - covariance[1, 1])
    sine, cosine = np.sin(turn), np.cos(turn)  # the first axis at `turn` has the larger variance
    return np.array([[-sine, cosine], [cosine, sine]])


def _swapped(covariance: Array) -> Array:
    """Axes as they are or swapped, (2, 2, rows), the lesser variance first."""
    swap = (covariance[1, 1] < covariance[0, 0]).astype(float)
    return np.array([[1.0 - swap, swap], [swap, 1.0 - swap]])


@dataclass(frozen=True)
class _Slices:
    """Slices of the zone: weights, and what each degree of Hermite polynomial gives in them.

    along: He_i(x), by degree, (rows, nodes).  across: integral of He_j(y) phi(y) over the
    slice, by degree.  weight: of each slice, phi(x) dx, (rows, nodes).
    """

    weight: Array
    along: list[Array]
    across: list[Array]

    @classmethod
    def of(cls, zone: Zone, frame: _Frame, degree: int, panels: int) -> "_Slices":
        """Slices at Gauss-Legendre nodes of so many panels."""
        (middle, aside), (deviation, spread) = frame.mean[..., None], frame.deviation[..., None]
        low, high = frame.ends(zone)
        nodes, weights = _panelled(panels)
        at = 0.5 * (low + high)[:, None] + 0.5 * (high - low)[:, None] * nodes
        width = 0.5 * (high - low)[:, None] * weights
        place, half = (np.sin(at), np.cos(at)) if zone.round else (at, np.ones_like(at))
        if zone.round:
            width = width * half
        x = (place - middle) / deviation
        centre = aside + frame.tilt[:, None] * (place - middle)
        ends = (half - centre) / spread, (-half - centre) / spread
        return cls(width / deviation * _phi(x), _hermite(x, degree), _across(*ends, degree))

    def integral(self, terms: Mapping[tuple[int, int], Array]) -> Array:
        """Sum over the zone of the terms' Hermite polynomials with the normal density, (rows,)."""
        total = np.zeros(len(self.weight))
        for i in {degrees[0] for degrees in terms}:
            slices = sum(
                values[:, None] * self.across[j] for (k, j), values in terms.items() if k == i
            )
            total += np.einsum("rn,rn,rn->r", self.weight, self.along[i], slices)
        return total


def _panelled(panels: int) -> tuple[Array, Array]:
    """Nodes and weights of Gauss-Legendre on equal panels of -1 .. 1."""
    middles = (2.0 * np.arange(panels) + 1.0) / panels - 1.0
    nodes = (middles[:, None] + _NODES / panels).ravel()
    return nodes, np.tile(_WEIGHTS / panels, panels)


def _across(top: Array, bottom: Array, degree: int) -> list[Array]:
    """Integrals of He_j phi from bottom to top, by degree."""
    # Taken in the lower tail, where small probabilities keep their digits.
    flipped = top + bottom > 0.0
    whole = ndtr(np.where(flipped, -bottom, top)) - ndtr(np.where(flipped, -top, bottom))
    if degree == 0:
        return [whole]
    above, below = _phi(top), _phi(bottom)
    ends = zip(_hermite(top, degree - 1), _hermite(bottom, degree - 1), strict=True)
    return [whole, *(below * low - above * high for high, low in ends)]


def _phi(x: Array) -> Array:
    density: Array = np.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi)
    return density


def _hermite(x: Array, degree: int) -> list[Array]:
    """Hermite polynomials He_0 .. He_degree by their recurrence."""
    found = [np.ones_like(x), x]
    for n in range(1, degree):
        found.append(x * found[n] - n * found[n - 1])
    return found[: degree + 1]
