"""Flyers: single arrows that do not belong to the others of their end."""

import numpy as np
from scipy.special import fdtrc

from arrowloft.core.archer.archer_scatter import READING, archer_scatter
from arrowloft.core.archer.groups import Group
from arrowloft.core.arrays import Array

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
    axes = [up] if right is None else [up, right]
    left = np.arange(up.size)
    taken: list[int] = []
    count = 0
    while len(taken) < up.size // SPARED:
        chances = _chances(distance, [axis[left] for axis in axes], group)
        unlikely = chances.min() * left.size < UNLIKELY
        worst = int(chances.argmin())
        taken.append(int(left[worst]))
        left = np.delete(left, worst)
        if unlikely:
            count = len(taken)
    return sorted(taken[:count])


def _chances(distance: float, axes: list[Array], group: Group | None) -> Array:
    """Chance of each arrow so far from all others, (arrows,); axes: places on each, m."""
    others = axes[0].size - 1
    known = archer_scatter([], group)
    squares = np.zeros(others + 1)
    for places, before in zip(axes, (known.vertical, known.sideways), strict=False):
        away = places - places.mean()
        # Without one of n + 1 arrows: its distance from the others' centre, their squares.
        off = away * (1.0 + 1.0 / others)
        rest = np.maximum((away**2).sum() - away**2 * (1.0 + 1.0 / others), 0.0)
        degrees = before.degrees + others - 1.0
        variance = (before.degrees * (before.deviation * distance) ** 2 + rest) / degrees
        # Arrows in one hole have no scatter, and are not read to nothing.
        squares += off**2 / (np.maximum(variance, READING**2) * (1.0 + 1.0 / others))
    degrees = min(known.vertical.degrees, known.sideways.degrees) + others - 1.0
    return np.asarray(fdtrc(len(axes), degrees, squares / len(axes)), dtype=float)
