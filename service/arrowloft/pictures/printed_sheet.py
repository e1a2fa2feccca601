"""A sheet of sight scales at true size: strips, a pocket card, a code and a check ruler."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from arrowloft.core.sight.printed import PAPERS, PrintedSheet
from arrowloft.pictures import printed_words as words
from arrowloft.pictures.frame import Form
from arrowloft.pictures.millimetres import (
    Drawing,
    Line,
    Mark,
    Text,
    cut_short,
    lines_of,
    text_width,
    visible,
)
from arrowloft.pictures.millimetres_pdf import as_pdf
from arrowloft.pictures.millimetres_svg import as_svg
from arrowloft.pictures.printed_card import Placed
from arrowloft.pictures.printed_code import QUIET, Code, codes
from arrowloft.pictures.printed_strip import UNDER, WIDE, draw_strip, tall
from arrowloft.pictures.quantities import Quantities, drawable, readable

EDGE = 6.0
"""Margin of the sheet, mm: many printers leave 5 mm white."""

TOP = 22.4
"""Upper cut lines, mm below the sheet's edge."""

_BETWEEN, _ASIDE = 3.0, 5.0
"""From strip to strip, and from the last of them to the card, mm."""

_TITLE, _DATE = 4.2, 3.2
"""Sizes of letters, mm."""

_DATE_ROOM = 46.0

RULER = 100.0
_RULER_ROOM = 12.5
"""Length of the ruler; and its height with its numbers and what parts it from the texts, mm."""

_SAID = (2.3, 2.1, 1.95, 1.8)
"""Sizes of the letters of what is said: the first that leaves room for all, mm."""

_LINE = 1.24
"""From line to line, as a share of the size."""


def picture(sheet: PrintedSheet, chosen: Mapping[str, str], form: Form) -> bytes:
    """The sheet at true size, as SVG in millimetres or as PDF; the same bytes every time.

    chosen: unit of each dimension; those of distance, length, angle and speed are used.
    """
    drawing = laid_out(sheet, Quantities(chosen))
    return as_svg(drawing) if form == "svg" else as_pdf(drawing)


def laid_out(sheet: PrintedSheet, figures: Quantities) -> Drawing:
    """Where everything stands."""
    width, height = (1e3 * side for side in PAPERS[sheet.paper])
    right, left = width - EDGE, EDGE
    marks = _head(sheet, right)
    low = TOP
    for place, strip in enumerate(sheet.strips):
        marks += draw_strip(strip, place, left, TOP, figures)
        left += WIDE + _BETWEEN
        low = max(low, TOP + tall(strip) + UNDER)
    left += _ASIDE - _BETWEEN
    card = None
    if sheet.card is not None:
        card = Placed(sheet.card, left, TOP, right - left, figures)
        marks += card.marks()
        low = max(low, card.bottom)
    said = [*sheet.said, *words.notes(sheet, coded=True)]
    foot = _Foot.of(said, right, height, low)
    code = _code(sheet, left, right, foot.top, card)
    if code is None:
        said = [*sheet.said, *words.notes(sheet, coded=False)]
        foot = _Foot.of(said, right, height, low)
    marks += [*(code or ()), *foot.marks()]
    return Drawing(
        width=width,
        height=height,
        title=readable(words.title(sheet)),
        description=words.described(sheet, figures, said, coded=code is not None),
        marks=tuple(marks),
    )


def _head(sheet: PrintedSheet, right: float) -> list[Mark]:
    """Title and date."""
    room = right - EDGE - (_DATE_ROOM + 4.0 if sheet.date.strip() else 0.0)
    marks: list[Mark] = [
        Text(x=EDGE, y=10.6 + 5.2 * row, text=line, size=_TITLE, name=f"title-{row}")
        for row, line in enumerate(lines_of(words.title(sheet), room, _TITLE, 2))
    ]
    if sheet.date.strip():
        date = cut_short(drawable(visible(" ".join(sheet.date.split()))), _DATE_ROOM, _DATE)
        marks.append(Text(x=right, y=10.6, text=date, size=_DATE, anchor="end", name="date"))
    return marks


def _code(
    sheet: PrintedSheet, left: float, right: float, low: float, card: Placed | None
) -> list[Mark] | None:
    """The request's code: beside the card where there is room, or else below it.

    None where there is no request, or no room for its code.
    """
    beside = left if card is None else card.right + 2.0
    below = TOP if card is None else card.bottom + 1.0
    for code in codes(sheet.request) if sheet.request is not None else ():
        for x, y in ((beside, TOP), (left, below)):
            if x + code.side > right:
                continue
            marks, bottom = _captioned(code, x, y, right)
            if bottom <= low:
                return marks
    return None


_CAPTION, _CAPTION_LINE, _CAPTION_ROOM = 2.1, 2.7, 70.0
"""Of the words under the code: size, from line to line, and greatest width, mm."""


def _captioned(code: Code, left: float, top: float, right: float) -> tuple[list[Mark], float]:
    """The code with what to do with it, and where that ends, mm."""
    x, under = left + QUIET * code.module, top + code.side
    lines = lines_of(words.SCAN, min(right - x, _CAPTION_ROOM), _CAPTION, 9)
    caption: list[Mark] = [
        Text(x=x, y=y, text=line, size=_CAPTION, name=f"scan-{row}")
        for row, line in enumerate(lines)
        for y in [under + 1.6 + _CAPTION_LINE * row]
    ]
    return [code.drawn(left, top), *caption], under + 0.8 + _CAPTION_LINE * len(lines)


@dataclass(frozen=True)
class _Foot:
    """The ruler, how to print, and under them what is said.

    top: its upper edge.  right: of the sheet's room; mm.
    """

    top: float
    right: float
    size: float
    lines: tuple[str, ...]

    @classmethod
    def of(cls, said: Sequence[str], right: float, height: float, low: float) -> "_Foot":
        """At the sheet's foot, its letters as large as what ends at `low` leaves room for."""
        text = " ".join(said)
        for size in _SAID:
            lines = lines_of(text, right - EDGE, size, 1000)
            top = height - EDGE - _RULER_ROOM - _LINE * size * len(lines)
            if top >= low + 1.0:
                break
        else:
            most = int((height - EDGE - _RULER_ROOM - low - 1.0) / (_LINE * size))
            lines = lines_of(text, right - EDGE, size, max(1, most))
            top = height - EDGE - _RULER_ROOM - _LINE * size * len(lines)
        return cls(top, right, size, tuple(lines))

    def marks(self) -> list[Mark]:
        """All of it."""
        first, step = self.top + _RULER_ROOM, _LINE * self.size
        return [
            *_ruler(EDGE + 2.0, self.top + 9.0),
            *_how_to_print(EDGE + RULER + 16.0, self.top + 4.6, self.right),
            *(
                Text(x=EDGE, y=first + step * (row + 0.75), text=line, size=self.size, name=name)
                for row, line in enumerate(self.lines)
                for name in [f"said-{row}"]
            ),
        ]


def _ruler(left: float, base: float) -> list[Mark]:
    """A ruler of 100 mm, its line at the height `base`, a tick each millimetre."""
    line = Line(x1=left, y1=base, x2=left + RULER, y2=base, width=0.18, name="ruler")
    marks: list[Mark] = [line]
    for at in range(int(RULER) + 1):
        long = 5.0 if at % 10 == 0 else 3.6 if at % 5 == 0 else 2.4
        x, name = left + at, f"ruler-{at}"
        marks.append(Line(x1=x, y1=base, x2=x, y2=base - long, width=0.15, name=name))
        if at % 10 == 0:
            marks.append(Text(x=x, y=base - 5.8, text=str(at), size=2.4, anchor="middle"))
    x = left + RULER + 0.5 * text_width("100", 2.4) + 0.8
    return [*marks, Text(x=x, y=base - 5.8, text="mm", size=2.4)]


def _how_to_print(left: float, top: float, right: float) -> list[Mark]:
    lines = lines_of(words.PRINT, right - left, 3.0, 3)
    return [
        Text(x=left, y=top + 3.9 * row, text=line, size=3.0, name=f"print-{row}")
        for row, line in enumerate(lines)
    ]
