"""What pictures over distance share: the axis, named rows, bands, the shot in words."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.setup.shot import Shot
from arrowloft.pictures.ends import Style
from arrowloft.pictures.frame import INK
from arrowloft.pictures.quantities import Quantities, digits, padded

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SAFELY = "Prove a mark by shooting it where every arrow comes down safely."

_NAMED = 7
"""Rows that have a label, at most."""

_MARKED = 25
"""Rows that have a mark on the curve, at most; of more, only those with a label."""

_APART = 0.3
"""A row nearer to the first or the last one than so many steps is left out between them."""

_LEVEL = 1e-9
"""Slope that counts as none, rad."""

_HATCH = "/////"
_THIN: dict[str, Any] = {"colors": "#8f8f8a", "linewidths": 0.4}
_BAND: dict[str, Any] = {"facecolor": "#dfe9f2", "edgecolor": "#7c98b3", "linewidth": 0.5}


def x_ends(figures: Quantities, distance: Array) -> tuple[float, float]:
    """Ends of the horizontal axis, in the reader's unit."""
    low, high = (float(figures.read(at, "distance")) for at in (distance.min(), distance.max()))
    return padded(low, high, 0.015) if high > low else (0.9 * low, 1.1 * low)


def x_name(figures: Quantities) -> str:
    """Name of the horizontal axis."""
    return f"distance ({figures.chosen['distance']})"


def parts(size: tuple[float, float]) -> float:
    """Into how many parts the vertical axis of a panel of this size, inches, is divided."""
    return min(max(1.3 * size[1], 2.5), 4.0)


def named_rows(figures: Quantities, distance: Array, most: int = _NAMED) -> list[int]:
    """Positions of rows to be named: the nearest, the farthest, others spread between them.

    Those between are at round distances in the reader's unit, where there are enough of them.
    distance: rising, each once.
    """
    if distance.size <= most:
        return list(range(distance.size))
    between = _round_rows(figures.read(distance, "distance"), most - 2)
    if not between:
        wanted = np.linspace(distance[0], distance[-1], most)[1:-1]
        between = [int(np.argmin(np.abs(distance - one))) for one in wanted]
    return sorted({0, *between, distance.size - 1})


def _round_rows(distance: Array, most: int) -> list[int]:
    """Rows at multiples of one step, of those well between the first and the last.

    None where the finest step that makes no more than `most` makes less than half as many.
    """
    low, high = float(distance[0]), float(distance[-1])
    ten = 10.0 ** math.floor(math.log10((high - low) / (most + 2)))
    for step in (ten * one for one in (1.0, 2.0, 2.5, 5.0, 10.0, 20.0)):
        off = np.abs(distance - step * np.round(distance / step))
        apart = np.minimum(distance - low, high - distance) >= _APART * step
        rows = np.flatnonzero((off <= 1e-6 * step) & apart)
        if rows.size <= most:
            return rows.tolist() if 2 * rows.size >= most else []
    return []


def marked_rows(figures: Quantities, distance: Array, most: int = _NAMED) -> list[int]:
    """Positions of rows that have a mark on the curve; most: that are named."""
    few = distance.size <= _MARKED
    return list(range(distance.size)) if few else named_rows(figures, distance, most)


def some_named(named: int, every: int, what: str) -> list[str]:
    """What is said where not all have a label."""
    return [f"Not all {what} have a label: {named} of {every} do."] if named < every else []


def band(axes: "Axes", x: Array, low: Array, high: Array, name: str) -> None:
    """A hatched band between two curves; a bar where there is one distance. name: its id."""
    if x.size == 1:
        axes.plot(
            [x[0]] * 2, [low[0], high[0]], "-", color=_BAND["edgecolor"], linewidth=5, gid=name
        )
        return
    axes.fill_between(x, low, high, hatch=_HATCH, zorder=0.8, gid=name, **_BAND)


def end_marked(x: Array, style: Style, shape: str) -> Style:
    """A curve's style, with a mark where one point makes no line."""
    return {**style, "marker": shape} if x.size == 1 else style


def thin(axes: "Axes", x: Array, curves: Sequence[Array], name: str) -> None:
    """Curves that have no label, as thin lines, or dashes where there is one point.

    name: their id.
    """
    if not curves:
        return
    if x.size == 1:
        y = [float(curve[0]) for curve in curves]
        axes.plot([x[0]] * len(y), y, "_", color=_THIN["colors"], markersize=9, gid=name)
        return
    from matplotlib.collections import LineCollection

    axes.add_collection(
        LineCollection([np.column_stack((x, curve)) for curve in curves], gid=name, **_THIN)
    )


def doubt_of(figures: Quantities, si: float, dimension: str) -> str:
    """A standard uncertainty to two digits, with its unit."""
    return f"± {digits(float(figures.read(si, dimension)), 2)} {figures.chosen[dimension]}"


def shot_in_words(figures: Quantities, shot: Shot, *, wind: bool = True) -> str:
    """The arrow and its launch, the slope, and the wind where it plays a part; no full stop."""
    mass, speed = float(cast(float, shot.arrow.mass)), float(shot.launch_speed)
    said = [f"Arrow of {figures.text(mass, 'mass')}, launched at {figures.text(speed, 'speed')}"]
    slope = float(shot.slope)
    if abs(slope) > _LEVEL:
        way = "uphill" if slope > 0.0 else "downhill"
        said.append(f"{figures.text(abs(slope), 'angle')} {way}")
    if wind and float(shot.wind_speed):
        said.append(f"in {wind_in_words(figures, float(shot.wind_speed), float(shot.wind_from))}")
    return ", ".join(said)


_SIDES = ((0.0, "ahead"), (0.25, "the right"), (0.5, "behind"), (0.75, "the left"))
"""Share of a turn, clockwise from the target -> where a wind comes from."""


CLOCKWISE = ", clockwise from the target"
"""How the angle counts from which a wind comes."""


def wind_from(figures: Quantities, angle: float) -> str:
    """Where a wind blows from: in a word where one fits, else the angle alone, as in a label."""
    turn = angle / (2.0 * math.pi) % 1.0
    for share, word in _SIDES:
        if abs((turn - share + 0.5) % 1.0 - 0.5) < 1e-9:
            return word
    return figures.text(angle, "angle")


def wind_in_words(figures: Quantities, speed: float, angle: float) -> str:
    """A wind by its speed and where it comes from, and how an angle counts."""
    way = wind_from(figures, angle)
    counts = CLOCKWISE if way not in dict(_SIDES).values() else ""
    return f"a wind of {figures.text(speed, 'speed')} from {way}{counts}"


def listed(texts: Sequence[str]) -> str:
    """Texts in a row, `and` before the last."""
    *first, last = texts
    return f"{', '.join(first)} and {last}" if first else last


def zero_line(axes: "Axes", name: str) -> None:
    """A thin line at 0. name: its id."""
    axes.axhline(0.0, color=INK, linewidth=0.7, zorder=1, gid=name)
