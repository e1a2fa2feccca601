"""The number types of the core: a float, an array of lanes, or either."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]
"""Floats in SI units; the last axis, where there is one, is the lanes."""

Real: TypeAlias = float | Array
"""One value for all lanes, or one value a lane."""

Lanes: TypeAlias = NDArray[np.intp]
"""Positions of lanes."""

Mask: TypeAlias = NDArray[np.bool_]
"""Whether something holds, lane by lane."""
