"""Legendre-Gauss-Lobatto points on [0, 1] and the matrices that integrate through them.

Both ends are points, so that a law's kink close to an end is seen; quadrature
over the whole interval is exact to degree 2n - 3.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

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
    pairs: (4, n), the middle two and the last two rows of the coefficients.
    weights: (n,) barycentric weights.  middle: (n,), values at the points -> value at 1/2.
    """

    points: Array
    running: Array
    double: Array
    coefficients: Array
    pairs: Array
    weights: Array
    middle: Array

    @property
    def times(self) -> Array:
        """Shares of the flight's time at the points, (n, 1)."""
        return self.points[:, None]

    def integrals(self, values: Array) -> Array:
        """Running integrals at the points, and last the double one, of values (n, axes, lanes)."""
        return applied(self.running, values)

    def read(self, at: Array, values: Array) -> tuple[Array, Array, Array]:
        """Values (n, axes, lanes), and their single and double integrals, at times (lanes,)."""
        basis = self.basis(at)
        once, twice = self.running[:-1].T @ basis, self.double.T @ basis
        return _weighted(basis, values), _weighted(once, values), _weighted(twice, values)

    def halfway(self, values: Array) -> Array:
        """Values (n, lanes) at half the time, (lanes,)."""
        half: Array = self.middle @ values
        return half

    def unresolved(self, values: Array) -> Array:
        """Size, (lanes,), of what smooth values (n, axes, lanes) hold beyond the points.

        The double integral over [0, 1] feels Legendre coefficients of degree 2n - 3 and
        up. They are guessed from the last pair, times the decay from the middle pair to
        the last: fast for a smooth function, hardly any where a kink leaves an
        algebraic tail.
        """
        size = np.abs(applied(self.pairs, values)).max(axis=1)
        inner, last = size[0] + size[1], size[2] + size[3]
        left: Array = last * np.minimum(last / (inner + 1e-300), 1.0)
        return left

    def between(self, *values: Array) -> tuple[Array, ...]:
        """Widths of the cells between points (cells, 1), and values at their middles."""
        basis = self.basis(0.5 * (self.points[1:] + self.points[:-1])).T
        return np.diff(self.points)[:, None], *(applied(basis, v) for v in values)

    def repeated(self, count: int) -> "Rule":
        """The rule for `count` lanes: itself."""
        return self

    def last_pair(self, values: Array) -> Array:
        """Size, (lanes,), of the last two Legendre coefficients of values (n, axes, lanes)."""
        size: Array = np.abs(applied(self.pairs[2:], values)).max(axis=1).sum(axis=0)
        return size

    def basis(self, at: Array) -> Array:
        """Lagrange basis at times `at` (m,) in [0, 1] -> (n, m), barycentric form."""
        gap = at - self.points[:, None]
        gap += 1e-300  # at a point itself the share becomes 1 instead of 0 / 0
        share: Array = self.weights[:, None] / gap
        share /= share.sum(axis=0)
        return share


class Panels:
    """Several panels in a row on [0, 1], each with the points of one rule; widths by lane.

    edges: (panels + 1, lanes), ascending from 0 to 1. The function may have a kink at
    an edge: both panels that meet there hold a point on it. Same methods as Rule.
    """

    def __init__(self, rule: Rule, edges: Array) -> None:
        self.rule = rule
        self.edges = edges
        self.widths = np.diff(edges, axis=0)
        panels, lanes = self.widths.shape
        inner = self.edges[:-1, None] + self.widths[:, None] * rule.times
        self.times: Array = inner.reshape(panels * rule.points.size, lanes)
        self.points: Array = self.times

    def _by_panel(self, values: Array) -> Array:
        panels = len(self.widths)
        return values.reshape(panels, -1, *values.shape[1:])

    def integrals(self, values: Array) -> Array:
        """As Rule.integrals: each panel goes on from the sum of those before it."""
        parts = self._by_panel(values)
        width = self.widths[:, None, None]
        inside = np.stack([applied(self.rule.running, part) for part in parts])
        once = inside[:, :-1] * width
        before = _sums_before(once[:, -1])
        twice = (before * self.widths[:, None] + inside[:, -1] * width[:, 0] ** 2).sum(axis=0)
        once += before[:, None]
        return np.concatenate((once.reshape(values.shape), twice[None]))

    def read(self, at: Array, values: Array) -> tuple[Array, Array, Array]:
        """As Rule.read, within the panel that holds each lane's time."""
        parts = self._by_panel(values)
        lanes = np.arange(at.size)
        which = (at >= self.edges[1:-1]).sum(axis=0)
        width = self.widths[which, lanes]
        held = np.moveaxis(parts[which, :, :, lanes], 0, -1)
        here, once, twice = self.rule.read((at - self.edges[which, lanes]) / width, held)
        inside = np.stack([applied(self.rule.running[-2:], part) for part in parts])
        gained = _sums_before(inside[:, 0] * self.widths[:, None])
        way = gained * self.widths[:, None] + inside[:, 1] * self.widths[:, None] ** 2
        speed = np.moveaxis(gained[which, :, lanes], 0, -1)
        place = np.moveaxis(_sums_before(way)[which, :, lanes], 0, -1)
        local = (at - self.edges[which, lanes]) * speed
        return here, speed + width * once, place + local + width**2 * twice

    def halfway(self, values: Array) -> Array:
        """As Rule.halfway."""
        half = np.full(values.shape[1], 0.5)
        middle: Array = self.read(half, values[:, None])[0][0]
        return middle

    def between(self, *values: Array) -> tuple[Array, ...]:
        """As Rule.between, panel by panel; the widths by lane."""
        parts = [
            self.rule.between(*held) for held in zip(*map(self._by_panel, values), strict=True)
        ]
        widths = [part[0] * width for part, width in zip(parts, self.widths, strict=True)]
        inner = (np.concatenate(found) for found in list(zip(*parts, strict=True))[1:])
        return np.concatenate(widths), *inner

    def last_pair(self, values: Array) -> Array:
        """As Rule.last_pair: the sum over the panels, each by its width."""
        parts = [self.rule.last_pair(part) for part in self._by_panel(values)]
        total: Array = (np.array(parts) * self.widths).sum(axis=0)
        return total

    def repeated(self, count: int) -> "Panels":
        """The panels of one lane for `count` lanes."""
        return Panels(self.rule, np.broadcast_to(self.edges, (len(self.edges), count)))

    def unresolved(self, values: Array) -> Array:
        """As Rule.unresolved: the sum over the panels, each by its width."""
        parts = [self.rule.unresolved(part) for part in self._by_panel(values)]
        total: Array = (np.array(parts) * self.widths).sum(axis=0)
        return total


Grid: TypeAlias = Rule | Panels
"""Points in time over one flight."""


def applied(matrix: Array, values: Array) -> Array:
    """Matrix (m, points) applied to values (points, axes, lanes)."""
    points, axes, lanes = values.shape
    return (matrix @ values.reshape(points, axes * lanes)).reshape(-1, axes, lanes)


def _weighted(basis: Array, values: Array) -> Array:
    """Sum over the points of basis (n, lanes) times values (n, axes, lanes)."""
    total: Array = np.einsum("nl,ncl->cl", basis, values)
    return total


def _sums_before(parts: Array) -> Array:
    """For each panel, the sum over the panels before it, along the first axis."""
    before: Array = np.cumsum(parts, axis=0) - parts
    return before


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
    pairs = coefficients[[count // 2 - 1, count // 2, -2, -1]]
    parts = ((x + 1.0) / 2.0, running, double, coefficients, pairs, _barycentric(x), middle)
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
