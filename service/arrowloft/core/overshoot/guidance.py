"""Overshoot distances as a national body's rules of 2014 gave them, and shots that exceed them.

Quoted, not derived: they were written for low shots, and nothing here says that they are
enough. Which rules hold at a ground is for its governing body, its insurer and the law.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.overshoot.carry import carry_at
from arrowloft.core.overshoot.terrain import Terrain
from arrowloft.core.setup.shot import Shot

Style = Literal["fingers", "release-aid"]
STYLES: tuple[Style, ...] = ("fingers", "release-aid")

SOURCE = "A national archery body's rules of 2014"
STANDING = "quoted"

_YARD = 0.9144  # m; international yard and pound agreement, 1959
_SAME = 1e-9
"""Distances closer than this, m, are the same one written in two units."""

_TRIED, _CLOSER, _ROUNDS = 65, 9, 3
"""Elevations tried over the whole span, then in each round around the first that goes beyond:
a span of 45 deg comes down to 0.0014 deg."""


@dataclass(frozen=True, kw_only=True)
class Quoted:
    """One quoted overshoot distance.

    code: its name in replies.  style: how the string is let go.  wording: as quoted.
    beyond, up_to: level distance of the targets it is for, m; the first not included.
    from_line: from the shooting line, m.  behind_target: or behind the target, m.
    """

    code: str
    style: Style
    wording: str
    beyond: float = 0.0
    up_to: float = np.inf
    from_line: float | None = None
    behind_target: float | None = None

    def distance(self, target: float) -> float:
        """Its distance from the shooting line, m, for a target at a level distance, m."""
        if self.from_line is not None:
            return self.from_line
        assert self.behind_target is not None
        return target + self.behind_target


QUOTED = (
    Quoted(
        code="fingers-to-60-yd",
        style="fingers",
        wording="Fingers, targets to 60 yd: at least 110 yd from the shooting line.",
        up_to=60 * _YARD,
        from_line=110 * _YARD,
    ),
    Quoted(
        code="fingers-beyond-60-yd",
        style="fingers",
        wording="Fingers, targets beyond 60 yd: at least 50 yd behind the target.",
        beyond=60 * _YARD,
        behind_target=50 * _YARD,
    ),
    Quoted(
        code="release-aid",
        style="release-aid",
        wording="Release aid: at least 150 yd from the shooting line.",
        from_line=150 * _YARD,
    ),
)


def fitting(target: float, style: Style | None = None) -> tuple[Quoted, ...]:
    """Those quoted for a target at a level distance, m, and a style; every style where None."""
    return tuple(
        one
        for one in QUOTED
        if one.beyond + _SAME < target <= one.up_to + _SAME and style in (None, one.style)
    )


def least_elevations(
    shot: Shot, terrain: Terrain, low: float, high: float, distances: Array
) -> Array:
    """Least elevation whose arrow lands beyond each distance, m; rad, NaN where none does.

    shot: every member a float; its slope plays no part.  low, high: elevations searched, rad, such
    as that of the mark and that of the farthest carry.

    The landing distance need not rise all the way: over a hollow an arrow loosed a little
    higher lands nearer. The first of _TRIED elevations that goes beyond is taken, then the
    first between it and the one below.
    """
    found = np.full(distances.size, np.nan)
    grid = np.linspace(low, max(low, high), _TRIED)
    landed = carry_at(shot, grid, terrain).distance
    for index, distance in enumerate(distances):
        beyond = np.flatnonzero(landed > distance)
        if beyond.size:
            first = int(beyond[0])
            inside = grid[max(first - 1, 0)]
            found[index] = _closer(shot, terrain, inside, grid[first], distance)
    return found


def _closer(shot: Shot, terrain: Terrain, inside: float, outside: float, distance: float) -> float:
    """The least elevation that lands beyond, from one that does not and one that does, rad."""
    for _ in range(_ROUNDS):
        if inside == outside:  # the least that was searched
            break
        grid = np.linspace(inside, outside, _CLOSER)
        # The upper end is known to land beyond.
        beyond = carry_at(shot, grid[1:-1], terrain).distance > distance
        first = 1 + (int(np.argmax(beyond)) if beyond.any() else beyond.size)
        inside, outside = grid[first - 1], grid[first]
    return float(outside)
