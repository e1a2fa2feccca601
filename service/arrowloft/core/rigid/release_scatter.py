"""What a release that scatters does to a group: sensitivities of the hit, flown in one batch."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array

CAUSES = ("pitch", "yaw", "pitch_rate", "yaw_rate")
"""What scatters, in the order of every array here."""

MULTIPLES = np.array([-2.0, -1.0, 1.0, 2.0])
"""Standard deviations at which each cause is flown."""

BENT = 0.1
"""Share of a group's size by which it may differ from the linear one without a word."""


@dataclass(frozen=True, kw_only=True)
class Scattered:
    """A group made by the release alone, its causes independent and normal; m.

    group_up, group_right: standard deviations of the hit, (distances,).
    up_by, right_by: owed to each cause alone, (distances, 4), in the order of CAUSES.
    bend: how far hits at twice the scatter lie from a straight line, as a share of how far
        they move, (distances,); 0 where nothing scatters.
    """

    group_up: Array
    group_right: Array
    up_by: Array
    right_by: Array
    bend: Array


def stencil(deviation: Array) -> Array:
    """Changes of the release to fly, (16, 4): each cause alone at each multiple.

    deviation: standard deviation of each cause, (4,).
    """
    return np.concatenate([np.outer(MULTIPLES, row) for row in np.diag(deviation)])


def scattered(hits: Array) -> Scattered:
    """The group from hits flown at the stencil's changes.

    hits: up and right (2, distances, 18): of the asked release, of one that plays no part,
    of the stencil's. Per standard deviation a hit moves by

        (8 (h+1 - h-1) - (h+2 - h-2)) / 12,

    the central difference of fourth order; independent causes add by their squares.
    """
    moved = (hits[:, :, 2:] - hits[:, :, :1]).reshape(2, -1, len(CAUSES), MULTIPLES.size)
    far_low, low, high, far_high = np.moveaxis(moved, 3, 0)
    slope = (8.0 * (high - low) - (far_high - far_low)) / 12.0
    group = np.sqrt((slope**2).sum(axis=2))
    left = np.abs(moved - slope[..., None] * MULTIPLES)[..., [0, 3]].max(axis=3)
    size = 2.0 * np.sqrt((group**2).sum(axis=0))
    bent = np.sqrt((left**2).sum(axis=(0, 2)))
    return Scattered(
        group_up=group[0],
        group_right=group[1],
        up_by=np.abs(slope[0]),
        right_by=np.abs(slope[1]),
        bend=np.divide(bent, size, out=np.zeros_like(size), where=size > 0.0),
    )
