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
    middle_up, middle_right: of the group's middle from the asked release's hit, (distances,).
    up_by, right_by: owed to each cause alone, (distances, 4), in the order of CAUSES.
    bend: how far hits at twice the scatter lie from a straight line, as a share of how far
        they move, (distances,); 0 where nothing scatters.
    """

    group_up: Array
    group_right: Array
    middle_up: Array
    middle_right: Array
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
    of the stencil's. With z standard deviations of one cause a hit moves by

        a z + c z^3 + b z^2,

    the odd part through the stencil, the even one by least squares; a normal z then makes the
    variance a^2 + 6 a c + 15 c^2 + 2 b^2 and moves the middle by b. Independent causes add.
    What two causes do only together is left out: against 3000 random releases a group is right
    to 1 % where it bends little, 4 % too small at 0.02 rad and 0.3 rad/s each way (measured).
    """
    moved = (hits[:, :, 2:] - hits[:, :, :1]).reshape(2, -1, len(CAUSES), MULTIPLES.size)
    far_low, low, high, far_high = np.moveaxis(moved, 3, 0)
    near, far = 0.5 * (high - low), 0.5 * (far_high - far_low)
    cubic = (far - 2.0 * near) / 6.0
    slope = near - cubic
    square = (0.5 * (high + low) + 2.0 * (far_high + far_low)) / 17.0
    variance = slope**2 + 6.0 * slope * cubic + 15.0 * cubic**2 + 2.0 * square**2
    left = np.abs(moved - slope[..., None] * MULTIPLES)[..., [0, 3]].max(axis=3)
    size = 2.0 * np.sqrt((slope**2).sum(axis=(0, 2)))
    bent = np.sqrt((left**2).sum(axis=(0, 2)))
    group, middle = np.sqrt(variance.sum(axis=2)), square.sum(axis=2)
    return Scattered(
        group_up=group[0],
        group_right=group[1],
        middle_up=middle[0],
        middle_right=middle[1],
        up_by=np.sqrt(variance[0]),
        right_by=np.sqrt(variance[1]),
        bend=np.divide(bent, size, out=np.zeros_like(size), where=size > 0.0),
    )
