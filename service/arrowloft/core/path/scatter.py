"""How an archer's arrows scatter on their way, what they may touch, what must be free (SI).

An archer's scatter is one of directions: on the way it grows like the levers, the way of
the impact per launch angle and per yaw. Both are taken so that at the target they are the
group's standard deviations per distance, times that distance. That the scatter comes
from uneven speed in part, which shows less on the way, is left out.
"""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.archer.groups import Group
from arrowloft.core.archer.shares import half_width, share_in_rectangle
from arrowloft.core.arrays import Array
from arrowloft.core.path.clearance import Loosed, Passage
from arrowloft.core.path.patches import Patches, Swept


@dataclass(frozen=True, kw_only=True)
class Scatter:
    """Standard deviations of the arrow's position in planes on its way, m, (planes,)."""

    vertical: Array
    sideways: Array

    @classmethod
    def of(cls, group: Group, loosed: Loosed, passage: Passage) -> "Scatter":
        """The group's scatter where the arrow passes.

        Each is angular R lever(d) / lever(R), R being the target's distance and the levers
        those of its direction.
        """
        aside = float(loosed.at_target.side_lever[0])
        per_vertical = group.angular_vertical * loosed.target / loosed.lever
        per_sideways = group.angular_sideways * loosed.target / aside
        return cls(
            vertical=per_vertical * np.abs(passage.lever),
            sideways=per_sideways * np.abs(passage.side_lever),
        )


@dataclass(frozen=True, kw_only=True)
class Corridor:
    """Edges of what must be free, m from the line of sight, (planes,); up and right positive."""

    bottom: Array
    top: Array
    left: Array
    right: Array


def corridor(swept: Swept, envelope: float, scatter: Scatter | None, share: float) -> Corridor:
    """What must be free for a share of the arrows; for the mean arrow where scatter is None.

    The segment that the mean arrow sweeps, its envelope, and the half widths that hold the
    share of a normal scatter, up and sideways at once.
    """
    low, high, leftmost, rightmost = swept.extent
    wide = 0.0 if scatter is None else half_width(share)
    vertical = envelope + (0.0 if scatter is None else wide * scatter.vertical)
    sideways = envelope + (0.0 if scatter is None else wide * scatter.sideways)
    return Corridor(
        bottom=low - vertical,
        top=high + vertical,
        left=leftmost - sideways,
        right=rightmost + sideways,
    )


def touch_chance(swept: Swept, patches: Patches, envelope: float, scatter: Scatter) -> Array:
    """Probability that an arrow of the group touches each patch, (patches,).

    The patch is grown by the segment's extent and by the envelope, corners taken square,
    which counts a little too much as a touch; the share of the scatter that falls into it.
    """
    low, high, leftmost, rightmost = swept.extent
    return share_in_rectangle(
        patches.bottom - high - envelope,
        patches.top - low + envelope,
        patches.left - rightmost - envelope,
        patches.right - leftmost + envelope,
        scatter.vertical,
        scatter.sideways,
    )
