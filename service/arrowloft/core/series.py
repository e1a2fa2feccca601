"""Chebyshev series: what is solved at a few points, read anywhere between them."""

from functools import lru_cache

import numpy as np

from arrowloft.core.arrays import Array


@lru_cache(maxsize=16)
def chebyshev(count: int) -> tuple[Array, Array]:
    """Chebyshev-Lobatto points on [-1, 1]; matrix (points, terms) from values to a series."""
    points: Array = -np.cos(np.pi * np.arange(count) / (count - 1)).astype(np.float64)
    values = np.polynomial.chebyshev.chebvander(points, count - 1)
    to_series: Array = np.linalg.inv(values).T.astype(np.float64)
    return points, to_series


def terms(at: Array, count: int) -> Array:
    """Chebyshev polynomials T_0 .. T_(count - 1), (terms, *at.shape), by their recurrence."""
    found = np.empty((count, *at.shape))
    found[0], found[1] = 1.0, at
    twice = 2.0 * at
    for k in range(2, count):
        np.multiply(twice, found[k - 1], out=found[k])
        found[k] -= found[k - 2]
    return found


def left_out(series: Array) -> float:
    """What series (..., terms) leave out, the worst of them.

    The last pair of terms, times its decay from the pair before.
    """
    size = np.abs(series)
    last, before = size[..., -2:].sum(axis=-1), size[..., -4:-2].sum(axis=-1)
    return float(np.max(3.0 * last * np.minimum(last / (before + 1e-300), 1.0)))
