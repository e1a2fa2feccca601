"""The axes of a panel: marks, figures and a name along its left and its lower edge.

The library's own make five artists of each mark, and measure all figures twice.
"""

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal

from arrowloft.pictures.frame import FAINT, INK, text_width

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_MARK, _PAD, _APART = 3.0, 3.5, 4.0
"""Points: length of a mark, from there to its figure, and from the figures to the name."""

_FINEST = 12
"""Decimals that a figure has, at most."""

_UNDER = 0.5
"""The library draws this before all that has no order of its own."""


def bare(axes: "Axes") -> None:
    """Leave away the library's own axes, and the edges above and at the right."""
    axes.xaxis.set_visible(False)
    axes.yaxis.set_visible(False)
    axes.spines[["top", "right"]].set_visible(False)


def across(
    axes: "Axes", places: Sequence[float], name: str, *, lines: bool = False, apart: float = _APART
) -> None:
    """The axis along the lower edge.

    lines: whether faint ones go up the panel.  apart: points from the figures to the name.
    """
    from arrowloft.pictures.writing import ASCENT, DESCENT, write

    if lines:
        _lines(axes, [[(place, 0.0), (place, 1.0)] for place in places], axes.get_xaxis_transform())
    how: dict[str, Any] = {"transform": axes.get_xaxis_transform(), "zorder": _UNDER}
    _marks(axes, places, [0.0] * len(places), 3, how)
    down = _MARK + _PAD + ASCENT
    for place, text in zip(places, numbers(places), strict=True):
        write(axes, (place, 0.0), text, before=0.5, rise=-down, **how)
    how["transform"] = axes.transAxes
    write(axes, (0.5, 0.0), name, before=0.5, rise=-down - DESCENT - apart - ASCENT, **how)


def upward(
    axes: "Axes", places: Sequence[float], texts: Sequence[str], name: str, *, lines: bool = False
) -> None:
    """The axis along the left edge.

    texts: at the marks.  name: may have two lines.  lines: whether faint ones cross the panel.
    """
    from arrowloft.pictures.writing import ASCENT, DESCENT, MIDDLE, write

    if lines:
        _lines(axes, [[(0.0, place), (1.0, place)] for place in places], axes.get_yaxis_transform())
    how: dict[str, Any] = {"transform": axes.get_yaxis_transform(), "zorder": _UNDER}
    _marks(axes, [0.0] * len(places), places, 0, how)
    for place, text in zip(places, texts, strict=True):
        left = -_MARK - _PAD
        write(axes, (0.0, place), text, before=1.0, aside=left, rise=MIDDLE, **how)
    widest = 72.0 * max(map(text_width, texts), default=0.0)
    left = -_MARK - _PAD - widest - _APART - DESCENT
    how["transform"] = axes.transAxes
    for line in reversed(name.split("\n")):
        write(axes, (0.0, 0.5), line, before=0.5, aside=left, upward=True, **how)
        left -= 1.2 * ASCENT + DESCENT


def numbers(places: Sequence[float]) -> list[str]:
    """Marks in figures, all to the decimals that the finest needs."""
    least = 1e-3 * min((b - a for a, b in pairwise(places)), default=abs(sum(places)))
    fits = (n for n in range(_FINEST) if all(abs(round(p, n) - p) <= least for p in places))
    decimals = next(fits, _FINEST)
    return [f"{round(place, decimals) + 0.0:.{decimals}f}" for place in places]


def sides(places: Iterable[float]) -> list[str]:
    """Ways aside in figures, left and right of 0 told apart."""
    return [f"{abs(v):g}{' L' if v < 0 else ' R' if v > 0 else ''}" for v in places]


def _marks(
    axes: "Axes", x: Sequence[float], y: Sequence[float], marker: Literal[0, 3], how: dict[str, Any]
) -> None:
    """marker: the library's number of a short line to the left, 0, or down, 3."""
    from matplotlib.lines import Line2D

    style: dict[str, Any] = {"linestyle": "none", "markersize": _MARK, "markeredgewidth": 0.8}
    axes.add_artist(Line2D(x, y, marker=marker, color=INK, clip_on=False, **style, **how))


def _lines(axes: "Axes", ends: Sequence[Sequence[tuple[float, float]]], transform: Any) -> None:
    from matplotlib.collections import LineCollection

    axes.add_artist(
        LineCollection(ends, colors=FAINT, linewidths=0.4, transform=transform, zorder=_UNDER)
    )
