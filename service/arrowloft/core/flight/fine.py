"""Distances beside those asked for, so that a curve over distance is one."""

import numpy as np

from arrowloft.core.arrays import Array

BETWEEN = 60
"""Distances put between the nearest and the farthest: 2 to 3 percent from one to the next."""


def finely(distances: Array, between: int = BETWEEN) -> Array:
    """The distances, m, rising and each once, with `between` others in steps of equal ratio."""
    low, high = float(distances.min()), float(distances.max())
    return np.union1d(distances, np.geomspace(low, high, between + 2)[1:-1] if high > low else [])
