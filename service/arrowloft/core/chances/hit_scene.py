"""What a picture of hits shows: chances over distance, and how far is sensible (SI)."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.chances.hit_probability import Aiming, HitProbability, hit_probability
from arrowloft.core.chances.sensible_distance import Sensible
from arrowloft.core.chances.zones import Face, Zone

_BETWEEN = 29
"""Distances at which a curve is computed, besides those asked for."""


@dataclass(frozen=True, kw_only=True)
class Scene:
    """All that is drawn.

    asked: distances asked for, rising, m.  curve: chances at those and between them.
    aiming, target: what is loosed at what.
    wanted, farthest: probability wanted, and how far it holds; None: not asked for.
    cautions: sentences that belong under the picture.
    """

    asked: Array
    curve: HitProbability
    aiming: Aiming
    target: Zone | Face
    wanted: float | None
    farthest: Sensible | None
    cautions: tuple[str, ...]


def curve_over(
    aiming: Aiming, target: Zone | Face, asked: Array, farthest: Sensible | None
) -> HitProbability:
    """The chances at the distances asked for, at the farthest sensible one, and between them.

    Raises BeyondReach, TooNear, Unsolved where one of those asked for does.
    """
    ends = asked
    if farthest is not None and np.isfinite(farthest.distance):
        ends = np.append(ends, farthest.distance)
    low, high = float(ends.min()), float(ends.max())
    between = np.geomspace(low, high, _BETWEEN)[1:-1] if high > low else asked
    return hit_probability(aiming, target, np.unique(np.concatenate((ends, between))))
