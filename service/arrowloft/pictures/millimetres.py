"""Drawings at true size: lines, texts and squares placed in millimetres on a sheet of paper.

x goes right and y goes down from the sheet's upper left corner. Two writers take them, each
to its own file format, so that what is laid out once is the same in both.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Literal

from arrowloft.pictures.quantities import drawable, folded

FONT = "DejaVuSans"

CAPITAL = 0.73
"""Height of its capitals and digits, as a share of the size of the letters."""

INCH = 25.4

_MORE = "…"

_TURNS = re.compile("[\u200e\u200f\u202a-\u202e\u2066-\u2069]")
"""Marks, embeddings, overrides and isolates of the bidirectional algorithm (UAX 9)."""


_SHAPED = re.compile(
    "[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefe\U00010800-\U00010fff\U0001e800-\U0001efff"
    "\u0900-\u109f\u1100-\u11ff\u1780-\u18af]"
)
"""Signs that are not set one after the other from left to right as they are written: those of
the areas for writing from right to left (Unicode's DerivedBidiClass), which are turned and
joined; and of South and South East Asia, Tibet, Mongolia, and the parts of Hangul, which are
put together."""

_BOX = "\u25a1"


@dataclass(frozen=True, kw_only=True)
class Line:
    """A straight line from (x1, y1) to (x2, y2), mm.

    width: mm.  dashed, grey: as a line is along which the sheet is cut.
    name: by which it is found in the drawing; empty: it has none.
    """

    x1: float
    y1: float
    x2: float
    y2: float
    width: float = 0.2
    dashed: bool = False
    grey: bool = False
    name: str = ""


@dataclass(frozen=True, kw_only=True)
class Text:
    """One line of text, its anchor at (x, y) on the line that the letters stand on, mm.

    size: of the letters, mm.
    """

    x: float
    y: float
    text: str
    size: float
    anchor: Literal["start", "middle", "end"] = "start"
    name: str = ""


@dataclass(frozen=True, kw_only=True)
class Bars:
    """Black bars of one height, side by side and one under the other on a square grid.

    left, top: of the grid, mm.  unit: of the grid, and height of a bar, mm.
    bars: column, row and length of each, in units.
    """

    left: float
    top: float
    unit: float
    bars: tuple[tuple[int, int, int], ...]
    name: str = ""


Mark = Line | Text | Bars


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """One sheet.

    width, height: of the paper, mm.  title, description: read out where it cannot be seen.
    """

    width: float
    height: float
    title: str
    description: str
    marks: tuple[Mark, ...]


@lru_cache(maxsize=1)
def font() -> Any:
    """The font that is measured and embedded: the one that charts are lettered with.

    Its file comes with the plotting library, which need not be imported for it.
    """
    from reportlab.pdfbase.ttfonts import TTFont

    spec = find_spec("matplotlib")
    assert spec is not None and spec.origin is not None
    file = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf" / f"{FONT}.ttf"
    return TTFont(FONT, str(file))


def text_width(text: str, size: float) -> float:
    """How wide a line of text is, mm, its letters set side by side without kerning."""
    return float(font().stringWidth(text, size))


def measure(size: float) -> Callable[[str], float]:
    """What tells how wide a text of that size is, mm."""
    return lambda text: text_width(text, size)


def cut_short(text: str, wide: float, size: float) -> str:
    """A line of text no wider than that, mm: what is too much gives way to an ellipsis."""
    if text_width(text, size) <= wide:
        return text
    while text and text_width(text + _MORE, size) > wide:
        text = text[:-1]
    return text.rstrip() + _MORE


def visible(text: str) -> str:
    """A caller's text as letters set side by side can show it.

    Without signs that turn the direction of what stands after them, and with a box for each
    that must be turned, joined or put together. An SVG's reader might do that; a PDF's does
    not, and the two are to be the same sheet.
    """
    return _SHAPED.sub(_BOX, _TURNS.sub("", text))


def boxes_in(text: str) -> bool:
    """Whether some sign of a caller's text is drawn as a box."""
    return drawable(_SHAPED.sub(_BOX, text)) != text


def lines_of(text: str, wide: float, size: float, most: int) -> list[str]:
    """A caller's text in lines no wider than that, mm, and no more of them than `most`."""
    lines = folded(visible(text), wide, measure(size))
    if len(lines) > most:
        lines = [*lines[: most - 1], cut_short(f"{lines[most - 1]}{_MORE}", wide, size)]
    return [line for line in lines if line]


def cut_lines(left: float, top: float, wide: float, tall: float, name: str) -> list[Mark]:
    """A rectangle to cut along, mm, with the word over it. name: begins those of its sides."""
    right, bottom = left + wide, top + tall
    sides = {
        "top": (left, top, right, top),
        "right": (right, top, right, bottom),
        "bottom": (left, bottom, right, bottom),
        "left": (left, top, left, bottom),
    }
    lines = [
        Line(x1=x1, y1=y1, x2=x2, y2=y2, width=0.15, dashed=True, grey=True, name=f"{name}-{side}")
        for side, (x1, y1, x2, y2) in sides.items()
    ]
    return [*lines, Text(x=left + 0.5 * wide, y=top - 0.7, text="cut", size=2.0, anchor="middle")]


def arrow(x: float, start: float, end: float) -> list[Mark]:
    """An upright arrow at x from a height on the sheet to another, mm."""
    back = end - 1.1 if end > start else end + 1.1
    ends = ((x, start), (x - 0.75, back), (x + 0.75, back))
    return [Line(x1=x1, y1=y1, x2=x, y2=end, width=0.3) for x1, y1 in ends]
