"""Where the numbers of obstacles stand: in a strip over a view, none on another."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from arrowloft.pictures.ends import spread
from arrowloft.pictures.frame import text_width

ROW = 0.19
"""Inches that a row of numbers takes."""

_ROWS = 3
"""Rows at most: numbers that find no place share one."""

_AROUND = 0.13
"""Inches that a number takes besides its signs, with its frame."""

_ASIDE = 0.45
"""Inches that a number stands aside of its obstacle, at most."""

_RUNS = 3
"""Runs of numbers that are told where several share a place; of more, their count."""


@dataclass(frozen=True)
class Number:
    """A place in the strip.

    which: positions of its obstacles.  middle: inches from the panel's left edge.  row: 0 is the
    nearest to the panel.
    """

    which: tuple[int, ...]
    middle: float
    row: int

    @property
    def text(self) -> str:
        """What stands there."""
        return _text(self.which)


def numbers(places: Sequence[float], wide: float) -> list[Number]:
    """The strip's numbers, from left to right.

    places: of the obstacles, inches from the panel's left edge.  wide: of the panel, inches.
    """
    order = sorted(range(len(places)), key=lambda index: (places[index], index))
    groups: list[tuple[int, ...]] = [(index,) for index in order]
    while len(groups) > 1:
        for rows in range(1, _ROWS + 1):
            found = _in_rows(groups, places, wide, rows)
            if found is not None:
                return found
        groups = _joined(groups, places)
    return [Number(group, _middle(group, places), 0) for group in groups]


def _in_rows(
    groups: Sequence[tuple[int, ...]], places: Sequence[float], wide: float, rows: int
) -> list[Number] | None:
    """Groups shared out among so many rows; None: they have no room, or one is too far aside."""
    wanted = [_middle(group, places) for group in groups]
    widths = [text_width(_text(group)) + _AROUND for group in groups]
    found = [0.0] * len(groups)
    for row in range(rows):
        some = slice(row, None, rows)
        if sum(widths[some]) > wide:
            return None
        found[some] = spread(wanted[some], widths[some], wide).tolist()
    if any(abs(a - b) > _ASIDE for a, b in zip(found, wanted, strict=True)):
        return None
    return [
        Number(group, middle, place % rows)
        for place, (group, middle) in enumerate(zip(groups, found, strict=True))
    ]


def _joined(groups: Sequence[tuple[int, ...]], places: Sequence[float]) -> list[tuple[int, ...]]:
    """Groups with those two as one that stand nearest together, the smaller ones first."""
    middles = [_middle(group, places) for group in groups]
    costs = [
        (right - left + 0.01) * (len(groups[place]) + len(groups[place + 1]))
        for place, (left, right) in enumerate(pairwise(middles))
    ]
    at = int(np.argmin(costs))
    return [*groups[:at], (*groups[at], *groups[at + 1]), *groups[at + 2 :]]


def _middle(group: Sequence[int], places: Sequence[float]) -> float:
    return 0.5 * (places[group[0]] + places[group[-1]])


def _text(which: Sequence[int]) -> str:
    """Numbers from 1 on, those that follow each other as a run."""
    runs = list[list[int]]()
    for number in sorted(index + 1 for index in which):
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    if len(runs) > _RUNS:
        return f"{len(which)} obstacles"
    return ", ".join(_run(run) for run in runs)


def _run(run: Sequence[int]) -> str:
    return str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}"
