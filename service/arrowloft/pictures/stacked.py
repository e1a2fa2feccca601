"""Panels one under the other, with words over and under them, and room for names at the right."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from arrowloft.pictures.axis import across, bare, numbers, upward
from arrowloft.pictures.ends import LEADER, SAMPLE, SPACE
from arrowloft.pictures.frame import Form, drawn, wrapped
from arrowloft.pictures.quantities import drawable, ticks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEFT, PLOT, NAMES = 0.85, 5.35, 2.65
"""Inches: margin for the vertical axis, width of the panels, and of the names beside them."""

WIDE = LEFT + PLOT + LEADER + SAMPLE + SPACE + NAMES + 0.12

_HEAD, _OVER, _UNDER, _FOOT = 0.36, 0.3, 0.62, 0.1
_LINE, _APART = 0.165, 0.05
_EDGE = 0.2
"""Inches: to the title's foot; over a panel for its title, under it for its axis; under all;
from line to line and from paragraph to paragraph; and left of the words."""


@dataclass(frozen=True)
class Panel:
    """One panel.

    name: its id.  title: over it.  height: inches.  draw: fills axes of that size, inches.
    strip: inches between its axes and its title.
    """

    name: str
    title: str
    height: float
    draw: Callable[["Axes", tuple[float, float]], None]
    strip: float = 0.0


def stacked(
    name: str,
    title: str,
    head: Sequence[str],
    panels: Sequence[Panel],
    foot: Sequence[str],
    description: str,
    form: Form,
) -> bytes:
    """The picture.  head, foot: paragraphs over and under the panels."""
    room = WIDE - 2 * _EDGE
    over, under = ([wrapped(drawable(text), room) for text in words] for words in (head, foot))
    top = _HEAD + _tall(over) + 0.1
    whole = (
        top + sum(_OVER + one.strip + one.height + _UNDER for one in panels) + _tall(under) + _FOOT
    )
    size = (WIDE, whole)

    def draw(figure: "Figure") -> None:
        from arrowloft.pictures.writing import write

        write(figure, (_EDGE / WIDE, 1 - 0.3 / whole), title, size=13.0, bold=True)
        _paragraphs(figure, size, _HEAD, over)
        at = top
        for one in panels:
            at += _OVER + one.strip
            _draw_panel(figure, size, at, one)
            at += one.height + _UNDER
        _paragraphs(figure, size, at, under)

    return drawn(name, size, draw, title, description, form)


def _tall(paragraphs: Sequence[Sequence[str]]) -> float:
    return sum(_LINE * len(lines) + _APART for lines in paragraphs)


def _paragraphs(
    figure: "Figure", size: tuple[float, float], top: float, paragraphs: Sequence[Sequence[str]]
) -> None:
    """Lines of text, `top` inches below the sheet's upper edge."""
    from arrowloft.pictures.writing import write

    for lines in paragraphs:
        for line in lines:
            top += _LINE
            write(figure, (_EDGE / size[0], 1 - top / size[1]), line)
        top += _APART


def _draw_panel(figure: "Figure", size: tuple[float, float], top: float, one: Panel) -> None:
    from arrowloft.pictures.writing import write

    low = size[1] - top - one.height
    axes = figure.add_axes((LEFT / size[0], low / size[1], PLOT / size[0], one.height / size[1]))
    bare(axes)
    axes.patch.set_gid(one.name)
    place = (0.0, 1.0 + (0.1 + one.strip) / one.height)
    write(axes, place, one.title, transform=axes.transAxes, bold=True)
    one.draw(axes, (PLOT, one.height))


def rule(
    axes: "Axes",
    x: tuple[float, float],
    y: tuple[float, float],
    names: tuple[str, str],
    parts: float,
    told: Callable[[Sequence[float]], Sequence[str]] = numbers,
) -> None:
    """Set both axes' ends, their marks, faint lines across, and their names.

    y: the lower end first, which need not be the lesser.  parts: of the vertical axis, at
    least.  told: what stands at its marks.
    """
    axes.set_xlim(*x)
    axes.set_ylim(*y)
    across(axes, ticks(*x, 6), names[0])
    places = ticks(min(y), max(y), parts)
    upward(axes, places, told(places), names[1], lines=True)
