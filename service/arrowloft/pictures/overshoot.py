"""The picture of an overshoot: from above and from the side, to one scale."""

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from arrowloft.core.overshoot.scene import Scene
from arrowloft.pictures import overshoot_panels as panels
from arrowloft.pictures import overshoot_words as words
from arrowloft.pictures.axis import bare
from arrowloft.pictures.frame import INK, Form, Strip, drawn, nice_step, wrapped
from arrowloft.pictures.overshoot_sheet import Frame, Sheet

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEFT, _RIGHT, _NARROWEST = 1.1, 0.2, 9.6
_HEAD, _FOOT = 0.68, 0.14
_TICKS, _BAR = 0.5, 0.42
"""Inches: margins, and the least width, for the words; room below a panel for ticks and bar."""

_LINE, _APART = 0.165, 0.05
"""Inches: from line to line of the cautions, and more between two of them."""


class _Panel(NamedTuple):
    """A view: its frame, its height, how it is drawn, and its strips of labels, inches."""

    frame: Frame
    height: float
    draw: Callable[["Axes", Sheet], None]
    over: Strip | None
    under: Strip | None
    below: float
    """Room under it for ticks, inches."""
    bar: str
    """What the scale bar below it is called; empty: it has none."""

    @property
    def wide(self) -> float:
        """Of the panel and of the labels that stand out to its right."""
        low, high = self.frame.x
        strips = [one.right for one in (self.over, self.under) if one is not None]
        return max(high * self.frame.inches, *strips) - low * self.frame.inches

    @property
    def above(self) -> float:
        """Of the labels over it."""
        return 0.0 if self.over is None else self.over.height

    @property
    def whole(self) -> float:
        """From top to bottom, with all that belongs to it."""
        under = 0.0 if self.under is None else self.under.height
        return self.above + self.height + under + self.below + (_BAR if self.bar else 0.0)


def picture(scene: Scene, chosen: Mapping[str, str], form: Form) -> bytes:
    """The scene as a picture.

    chosen: unit of each dimension; those of distance, angle, speed and mass are used.
    """
    sheet = Sheet.of(scene, chosen)
    views = _views(sheet)
    wide = max(_NARROWEST, _LEFT + max(one.wide for one in views) + _RIGHT)
    said = [wrapped(text, wide - 0.4) for text in words.cautions(sheet)]
    foot = sum(_LINE * len(lines) + _APART for lines in said) + _FOOT
    size = (wide, _HEAD + sum(one.whole for one in views) + foot)

    def draw(figure: "Figure") -> None:
        from arrowloft.pictures.writing import write

        left = 0.2 / size[0]
        write(figure, (left, 1 - 0.28 / size[1]), words.TITLE, size=13.0, bold=True)
        write(figure, (left, 1 - 0.5 / size[1]), words.subtitle(sheet))
        top = _HEAD
        for one in views:
            _draw_view(figure, size, top, one, sheet)
            top += one.whole
        _draw_cautions(figure, size, top, said)

    return drawn("overshoot", size, draw, words.TITLE, words.described(sheet), form)


def _draw_cautions(
    figure: "Figure", size: tuple[float, float], top: float, said: Sequence[Sequence[str]]
) -> None:
    """Paragraphs of lines, `top` inches below the sheet's upper edge."""
    from arrowloft.pictures.writing import write

    for lines in said:
        for line in lines:
            top += _LINE
            write(figure, (0.2 / size[0], 1 - top / size[1]), line)
        top += _APART


def _views(sheet: Sheet) -> list[_Panel]:
    """The views from top to bottom."""
    plan = sheet.plan
    over = Strip(panels.over_plan(sheet), plan.inches)
    under = Strip(panels.under_side(sheet), plan.inches)
    high = plan.inches * (sheet.side[1] - sheet.side[0])
    wide = plan.inches * (plan.aside[1] - plan.aside[0])
    both = "along, across and up"
    views = [
        _Panel(plan, wide, panels.draw_plan, over, None, _TICKS, ""),
        _Panel(plan, high, panels.draw_side, None, under, 0.0, both),
    ]
    closer = sheet.closer
    if closer is not None:
        named = Strip(panels.over_closer(sheet), closer.inches)
        wide = closer.inches * (closer.aside[1] - closer.aside[0])
        views.append(
            _Panel(closer, wide, panels.draw_closer, named, None, _TICKS, "in the closer view")
        )
    return views


def _draw_view(
    figure: "Figure", size: tuple[float, float], top: float, one: _Panel, sheet: Sheet
) -> None:
    """One view with its labels, `top` inches below the sheet's upper edge."""
    frame = one.frame
    wide = frame.inches * (frame.x[1] - frame.x[0])
    low = size[1] - top - one.above - one.height
    box = (_LEFT / size[0], low / size[1], wide / size[0], one.height / size[1])
    axes = figure.add_axes(box)
    bare(axes)
    one.draw(axes, sheet)
    # Up on the sheet is where y ends: to the left, seen from above.
    first, last = axes.get_ylim()
    outward = 1.0 if last > first else -1.0
    if one.over is not None:
        one.over.draw(axes, last, outward)
    if one.under is not None:
        one.under.draw(axes, first, -outward)
    if one.bar:
        _scale_bar(figure, size, size[1] - top - one.whole + 0.5 * _BAR, one, sheet.unit)


def _scale_bar(
    figure: "Figure", size: tuple[float, float], height: float, one: _Panel, unit: str
) -> None:
    from matplotlib.lines import Line2D

    from arrowloft.pictures.writing import MIDDLE, write

    length = nice_step(one.frame.x[1] - one.frame.x[0], 5)
    left, high = _LEFT / size[0], height / size[1]
    right = left + length * one.frame.inches / size[0]
    bar = Line2D([left, right], [high] * 2, color=INK, linewidth=2.0, marker="|", markersize=7)
    bar.set_gid("scale-bar" if one.under is not None else "closer-scale-bar")
    figure.add_artist(bar)
    text = f"{length:g} {unit}, {one.bar}"
    write(figure, (right + 0.12 / size[0], high), text, rise=MIDDLE)
