"""Elementary functions of a parameter that is a number, or one number a lane.

Of a number by the standard library, which takes a tenth of NumPy's time over it.
"""

import math

import numpy as np

from arrowloft.plugin import Real


def log(value: Real) -> Real:
    """Natural logarithm."""
    return np.log(value) if isinstance(value, np.ndarray) else math.log(value)


def sin(value: Real) -> Real:
    """Sine, of rad."""
    return np.sin(value) if isinstance(value, np.ndarray) else math.sin(value)


def cos(value: Real) -> Real:
    """Cosine, of rad."""
    return np.cos(value) if isinstance(value, np.ndarray) else math.cos(value)


def hypot(one: Real, other: Real) -> Real:
    """Root of the sum of the squares."""
    return np.hypot(one, other) if _by_lane(one, other) else math.hypot(one, other)


def lesser(one: Real, other: Real) -> Real:
    """The lesser of both."""
    return np.minimum(one, other) if _by_lane(one, other) else min(one, other)


def greater(one: Real, other: Real) -> Real:
    """The greater of both."""
    return np.maximum(one, other) if _by_lane(one, other) else max(one, other)


def _by_lane(one: Real, other: Real) -> bool:
    return isinstance(one, np.ndarray) or isinstance(other, np.ndarray)
