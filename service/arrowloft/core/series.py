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


def left_out(series: Array) -> Array:
    """What series (..., terms) leave out, each of them: (...); NaN where a term is.

    The terms go on as their last pairs fall off, by a ratio r: last r / (1 - r), and three
    times that. A pair may be small by chance, where a wavy series changes its sign: so what
    the two pairs before it foretell counts as well.
    """
    size = np.abs(series)
    last, before, first = (size[..., -n : size.shape[-1] - n + 2].sum(axis=-1) for n in (2, 4, 6))
    with np.errstate(invalid="ignore"):
        ratio = np.minimum(before / (first + 1e-300), 0.99)
        ratio = np.maximum(ratio, np.minimum(last / (before + 1e-300), 0.99))
        missed: Array = 3.0 * np.maximum(last, before * ratio) * ratio / (1.0 - ratio)
    return missed
