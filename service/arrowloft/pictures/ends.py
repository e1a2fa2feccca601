"""Curves named at their ends: labels beside a panel, spread so that none covers another.

A label has before it a piece of its curve's line, so that nothing is told by colour alone.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.pictures.frame import FAINT, INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Style = Mapping[str, Any]

LINE = 0.152
"""Inches from one line of a label to the next."""

BETWEEN = 0.07
"""Inches between two labels."""

LEADER, SAMPLE, SPACE = 0.3, 0.34, 0.09
"""Inches: of the leader to the label, of the piece of line, and to the text."""

CROSS = 9.0
"""Size of the cross over a mark, points."""

_NAMED, _EXTREME = 12, 3
"""Curves up to which all are named; of more, so many at either end."""

_COLOURS = (
    *("#0b4f8a", "#a2470f", "#0f6b57", "#8c1d40"),
    *("#6a2a78", "#5d5a10", "#2f6fb3", "#4d4d4d"),
)
_DASHES: tuple[Any, ...] = (
    "solid",
    (0, (6, 1.5)),
    (0, (2.5, 1.3)),
    (0, (6, 1.5, 1, 1.5)),
    (0, (1, 1.1)),
    (0, (6, 1.5, 1, 1.5, 1, 1.5)),
    (0, (10, 2.5)),
    (0, (3, 1.2, 3, 1.2, 1, 1.2)),
)
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "p", "<", ">", "h", "*")


def line_style(index: int) -> Style:
    """Colour and dashes of the curve at this position; 64 differ."""
    count = len(_COLOURS)
    return {
        "color": _COLOURS[index % count],
        "linestyle": _DASHES[(index + index // count) % count],
        "linewidth": 1.4,
    }


@dataclass(frozen=True)
class End:
    """A curve's name.

    x, y: where the curve ends, in the panel's units.  name: lines of the label, in the
    curve's colour.  said: lines under it.
    style: of the curve; marker: its marks, empty for none.
    crossed: a cross lies over the mark.
    """

    x: float
    y: float
    name: Sequence[str]
    said: Sequence[str]
    style: Style
    marker: str = ""
    crossed: bool = False

    @property
    def height(self) -> float:
        """Inches that it takes."""
        return LINE * len((*self.name, *self.said)) + BETWEEN


def named(ends: Sequence[float], always: int | None = None) -> list[int]:
    """Positions of the curves that are named, of those whose end is a number.

    Of more than a dozen those that end highest and lowest, and `always`.
    """
    known = [index for index, end in enumerate(ends) if np.isfinite(end)]
    if len(known) <= _NAMED:
        return known
    order = sorted(known, key=lambda index: (ends[index], index))
    some = {*order[:_EXTREME], *order[-_EXTREME:]}
    return sorted(some if always is None else some | {always})


def spread(wanted: Sequence[float], heights: Sequence[float], room: float) -> Array:
    """Middles of labels nearest to those wanted, least squares, none over another, within room.

    Neighbours that would overlap make a block about their mean, as in monotone regression.
    Where the room is less than the heights together, the last ones stand beyond it.
    """
    order = sorted(range(len(wanted)), key=lambda index: (wanted[index], index))
    tall = np.array([heights[index] for index in order])
    offset = np.cumsum(tall) - 0.5 * tall
    blocks: list[tuple[float, int]] = []
    for place, index in enumerate(order):
        mean, size = wanted[index] - float(offset[place]), 1
        while blocks and blocks[-1][0] >= mean:
            before, many = blocks.pop()
            mean, size = (before * many + mean * size) / (many + size), many + size
        blocks.append((mean, size))
    starts = np.repeat([mean for mean, _ in blocks], [size for _, size in blocks])
    spare = max(0.0, room - float(tall.sum()))
    found = np.empty(len(order))
    found[order] = np.clip(starts, 0.0, spare) + offset
    return found


def needed(ends: Sequence[End]) -> float:
    """Inches that all labels take, one over the other."""
    return sum(one.height for one in ends)


def draw_ends(axes: "Axes", size: tuple[float, float], ends: Sequence[End], name: str) -> None:
    """Labels to the right of a panel whose limits are set.

    size: of the panel, inches.  name: begins the ids of the labels.
    """
    from arrowloft.pictures.writing import MIDDLE, write

    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    wide, tall = size
    y = [(one.y - low) / (high - low) for one in ends]
    middles = spread([tall * one for one in y], [one.height for one in ends], tall) / tall
    for index, one in enumerate(ends):
        x, middle = (one.x - left) / (right - left), float(middles[index])
        _leader(axes, (x, y[index]), middle, wide, one.style)
        _sample(axes, middle, wide, one, f"{name}-{index}-sample")
        lines = (*one.name, *one.said)
        top = middle + 0.5 * LINE * (len(lines) - 1) / tall
        for row, text in enumerate(lines):
            write(
                axes,
                (1.0 + (LEADER + SAMPLE + SPACE) / wide, top - row * LINE / tall),
                text,
                transform=axes.transAxes,
                rise=MIDDLE,
                color=one.style["color"] if row < len(one.name) else INK,
                gid=f"{name}-{index}-{row}",
            )


def _leader(
    axes: "Axes", end: tuple[float, float], middle: float, wide: float, style: Style
) -> None:
    from matplotlib.lines import Line2D

    x, y = end
    out = 1.0 + LEADER / wide
    if x < 0.999:  # it ends within the panel
        inner = Line2D([x, 1.0], [y, y], color=FAINT, linewidth=0.7, clip_on=False, zorder=1)
        inner.set_transform(axes.transAxes)
        axes.add_line(inner)
    line = Line2D(
        [max(x, 1.0), out - 0.06 / wide, out],
        [y, middle, middle],
        color=style["color"],
        linewidth=0.6,
        clip_on=False,
    )
    line.set_transform(axes.transAxes)
    axes.add_line(line)


def _sample(axes: "Axes", middle: float, wide: float, one: End, name: str) -> None:
    from matplotlib.lines import Line2D

    first = 1.0 + LEADER / wide
    xs = [first, first + 0.5 * SAMPLE / wide, first + SAMPLE / wide]
    line = Line2D(
        xs, [middle] * 3, marker=one.marker or None, markevery=[1], markersize=4.5, **one.style
    )
    line.set_gid(name)
    lines = [line]
    if one.crossed:
        how = {"color": one.style["color"], "linestyle": "none", "markersize": CROSS}
        lines.append(Line2D(xs[1:2], [middle], marker="x", zorder=2.1, gid=f"{name}-cross", **how))
    for each in lines:
        each.set_clip_on(False)
        each.set_transform(axes.transAxes)
        axes.add_line(each)
