"""Legendre-Gauss-Lobatto points on [0, 1] and the matrices that integrate through them.

Both ends are points, so that a law's kink close to an end is seen; quadrature
over the whole interval is exact to degree 2n - 3.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial import legendre
from scipy.special import roots_jacobi

from arrowloft.core.arrays import Array


@dataclass(frozen=True)
class Rule:
    """A set of n points on [0, 1] with its matrices; rows are results, columns the points.

    points: (n,), ascending, 0 and 1 among them.
    running: (n + 1, n); row i < n integrates the interpolant from 0 to point i;
        the last row is its double integral from 0 to 1, the weights of (1 - t) f.
    double: (n, n); row i integrates the interpolant twice, from 0 to point i.
    coefficients: (n, n); values at the points -> Legendre coefficients on [-1, 1].
    weights: (n,) barycentric weights.  middle: (n,), values at the points -> value at 1/2.
    """

    points: Array
    running: Array
    double: Array
    coefficients: Array
    weights: Array
    middle: Array

    def basis(self, at: Array) -> Array:
        """Lagrange basis at times `at` (m,) in [0, 1] -> (n, m), barycentric form."""
        gap = at - self.points[:, None]
        gap += 1e-300  # at a point itself the share becomes 1 instead of 0 / 0
        share: Array = self.weights[:, None] / gap
        share /= share.sum(axis=0)
        return share


@lru_cache(maxsize=16)
def lobatto(count: int) -> Rule:
    """The rule of `count` >= 3 points. Source: Abramowitz and Stegun, 25.4.32 (published)."""
    inner = np.sort(roots_jacobi(count - 2, 1.0, 1.0)[0])
    x: Array = np.concatenate(([-1.0], inner, [1.0])).astype(np.float64)
    values: Array = np.asarray(legendre.legvander(x, count + 1), dtype=np.float64)
    coefficients: Array = np.asarray(np.linalg.inv(values[:, :count]), dtype=np.float64)
    once = _integrals(values, count) / 2.0
    twice = _integrals_twice(values, count) / 4.0
    double = twice @ coefficients
    running = np.vstack((once @ coefficients, double[-1]))
    running[0] = 0.0
    double[0] = 0.0
    middle = legendre.legvander(np.zeros(1), count - 1)[0] @ coefficients
    parts = ((x + 1.0) / 2.0, running, double, coefficients, _barycentric(x), middle)
    for array in parts:
        array.flags.writeable = False
    return Rule(*parts)


def _integrals(values: Array, count: int) -> Array:
    """Integrals of P_0 .. P_(count-1) from -1 to x, with values = P_0 .. P_(count+1) at x."""
    result = np.empty((len(values), count))
    result[:, 0] = values[:, 1] + 1.0
    for k in range(1, count):
        result[:, k] = (values[:, k + 1] - values[:, k - 1]) / (2 * k + 1)
    return result


def _integrals_twice(values: Array, count: int) -> Array:
    """Double integrals of P_0 .. P_(count-1) from -1 to x."""
    wide: Array = np.asarray(legendre.legvander(values[:, 1], count + 2), dtype=np.float64)
    once = _integrals(wide, count + 1)
    result = np.empty((len(values), count))
    result[:, 0] = once[:, 1] + once[:, 0]
    for k in range(1, count):
        result[:, k] = (once[:, k + 1] - once[:, k - 1]) / (2 * k + 1)
    return result


def _barycentric(x: Array) -> Array:
    """Barycentric weights by logarithms, since the plain product overflows for many points."""
    gap = x[:, None] - x[None, :]
    np.fill_diagonal(gap, 1.0)
    size = -np.log(np.abs(gap)).sum(axis=1)
    sign = np.sign(gap).prod(axis=1)
    weights: Array = sign * np.exp(size - size.max())
    return weights
