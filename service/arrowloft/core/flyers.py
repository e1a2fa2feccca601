"""Flyers: single arrows that do not belong to the others of their end."""

import numpy as np
from scipy.special import fdtrc

from arrowloft.core.archer_scatter import archer_scatter
from arrowloft.core.arrays import Array
from arrowloft.core.groups import Group
from arrowloft.core.landed import Landed
from arrowloft.core.whitened import LEAST_DEVIATION

UNLIKELY = 0.005
"""Chance, over all arrows of an end, at which a sound one is taken for a flyer."""

SPARED = 3
"""At most one arrow in so many is a flyer."""


def flyers(
    distance: float, up: Array, right: Array | None = None, group: Group | None = None
) -> list[int]:
    """Positions of the flyers among the arrows of one end: places up and right, (arrows,), m.

    An arrow is held against the centre and the scatter of the others, their scatter pooled
    with the archer's known before: with n others

        F = mean over the axes of (x - centre)^2 / (s^2 (1 + 1/n))

    follows Fisher's distribution of (axes, degrees of the scatter). The farthest is taken
    out and the others are judged again, up to one in SPARED; the flyers are all those taken
    out up to the last that did not belong: two on the same side hide each other from the
    first look (Rosner 1983, generalised extreme Studentised deviate; from memory).
    """
    left = list(range(up.size))
    taken: list[int] = []
    count = 0
    while len(taken) < up.size // SPARED:
        chances = [_chance(distance, up, right, left, index, group) for index in left]
        unlikely = min(chances) * len(left) < UNLIKELY
        taken.append(left.pop(int(np.argmin(chances))))
        if unlikely:
            count = len(taken)
    return sorted(taken[:count])


def _chance(
    distance: float,
    up: Array,
    right: Array | None,
    left: list[int],
    index: int,
    group: Group | None,
) -> float:
    """Chance of an arrow so far from the others of those left."""
    others = [other for other in left if other != index]
    landed = Landed.of_arrows(distance, up[others], None if right is None else right[others])
    scatter = archer_scatter([landed], group)
    axes = [(up[index] - landed.up, scatter.vertical)]
    if right is not None and landed.right is not None:
        axes.append((right[index] - landed.right, scatter.sideways))
    spread = 1.0 + 1.0 / len(others)
    # Arrows in one hole have no scatter, and are not read to nothing.
    deviations = [max(s.deviation * distance, LEAST_DEVIATION) for _, s in axes]
    squares = [off**2 / (s**2 * spread) for (off, _), s in zip(axes, deviations, strict=True)]
    degrees = min(s.degrees for _, s in axes)
    return float(fdtrc(len(axes), degrees, np.mean(squares)))
