"""The pocket card of a printed sheet: a table of a row a distance, and what its columns mean."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.sight.printed import Card
from arrowloft.pictures.millimetres import (
    Line,
    Mark,
    Text,
    cut_lines,
    cut_short,
    lines_of,
    text_width,
)
from arrowloft.pictures.over_distance import wind_from
from arrowloft.pictures.quantities import Quantities

_COLUMN, _LEAST = 13.4, 66.0
"""Width of a column, and of the narrowest card, mm."""

_PAD = 1.6
_TITLE, _NAME, _CELL, _NOTE = 2.9, 2.3, 2.9, 2.1
_ROW, _LINE = 3.8, 2.75
"""Padding, sizes of letters, and from line to line, of the table and of the notes, mm."""

_NONE = "–"
"""What stands in a cell that has no value."""

_GROUP = 5
"""Rows from one thin line across to the next."""


@dataclass(frozen=True)
class Column:
    """One column: what stands over it, its cells, and what it means.

    name: one or two lines.  unit: empty for a number.
    """

    name: tuple[str, ...]
    unit: str
    cells: tuple[str, ...]
    meaning: str = ""


def columns(card: Card, figures: Quantities) -> list[Column]:
    """What stands on the card, from left to right."""
    unit = figures.chosen
    tenth = _places(1e-4, "length", figures)
    found = [
        Column(("distance",), unit["distance"], _distances(card, figures)),
        Column(
            ("mark",),
            unit["length"],
            _signed(figures.read(card.travel, "length"), tenth),
            "mark: travel of the pin from the zero distance, down positive.",
        ),
    ]
    if card.clicks is not None:
        cells = _signed(card.clicks, _whole(card.clicks))
        found.append(Column(("clicks",), "", cells, "clicks: of the sight, for that travel."))
    if card.reading is not None:
        cells = tuple(_fixed(value, 2) for value in card.reading.tolist())
        found.append(Column(("reading",), "", cells, "reading: of the sight's own scale."))
    if card.drift is not None:
        cells = _signed(figures.read(card.drift, "length"), _places(1e-3, "length", figures))
        none = f"; {_NONE}: no arrow arrives" if np.isnan(card.drift).any() else ""
        meaning = f"drift: of the impact in {_wind(card, figures)}, right positive{none}."
        found.append(Column(("drift",), unit["length"], cells, meaning))
    if card.windage_clicks is not None:
        cells = _signed(card.windage_clicks, _whole(card.windage_clicks))
        meaning = "windage: clicks that cancel this drift, pin to the right positive."
        found.append(Column(("windage", "clicks"), "", cells, meaning))
    if card.greatest_roll is not None:
        found.append(_level(card, card.greatest_roll, figures))
    return found


def _distances(card: Card, figures: Quantities) -> tuple[str, ...]:
    values = figures.read(card.distance, "distance").tolist()
    places = next(
        n for n in (0, 1, 2) if n == 2 or all(abs(v - round(v, n)) < 1e-6 for v in values)
    )
    return tuple(_fixed(value, places) for value in values)


def _wind(card: Card, figures: Quantities) -> str:
    """The wind that the drift is of."""
    if card.wind_speed is None or card.wind_from is None:
        return "the wind"
    speed, way = figures.text(card.wind_speed, "speed"), wind_from(figures, card.wind_from)
    turned = " clockwise from ahead" if way[0].isdigit() else ""
    return f"a wind of {speed} from {way}{turned}"


def _level(card: Card, roll: Array, figures: Quantities) -> Column:
    """How level the bow must be held."""
    places = _places(math.radians(0.1), "angle", figures)
    tried = "" if card.roll_tried is None else figures.text(card.roll_tried, "angle")
    more = f">{tried.split()[0]}" if tried else "any"
    values = figures.read(roll, "angle").tolist()
    cells = tuple(more if math.isnan(value) else f"±{_fixed(value, places)}" for value in values)
    circle = "the circle"
    if card.allowance is not None:
        circle = f"a circle of {figures.text(card.allowance, 'length')} across"
    meaning = f"level: roll of the bow to either side that takes the impact out of {circle}"
    none = f"; {more}: none up to {tried} does" if tried and np.isnan(roll).any() else ""
    return Column(("level",), figures.chosen["angle"], cells, f"{meaning}{none}.")


def _places(step: float, dimension: str, figures: Quantities) -> int:
    """Decimals that tell values a step apart, SI, in the reader's unit."""
    return max(0, math.ceil(-math.log10(float(figures.read(step, dimension))) - 1e-9))


def _whole(values: Array) -> int:
    """No decimals for whole numbers, one for others."""
    known = values[np.isfinite(values)]
    return 0 if np.all(known == np.rint(known)) else 1


def _fixed(value: float, places: int) -> str:
    """With so many decimals, and no sign before a zero."""
    return f"{round(value, places) + 0.0:.{places}f}" if math.isfinite(value) else _NONE


def _signed(values: Array, places: int) -> tuple[str, ...]:
    """The same with a plus before what is more than zero."""
    texts = [_fixed(value, places) for value in values.tolist()]
    more = [
        value > 0.0 and float(text) > 0.0
        for value, text in zip(values.tolist(), texts, strict=True)
    ]
    return tuple(f"+{text}" if plus else text for text, plus in zip(texts, more, strict=True))


class Placed:
    """The card, placed on a sheet."""

    def __init__(self, card: Card, left: float, top: float, room: float, figures: Quantities):
        """left, top: of its upper left corner.  room: greatest width; all mm."""
        self.left, self.top = left, top
        self.columns = columns(card, figures)
        self.wide = min(room, max(_LEAST, _COLUMN * len(self.columns) + 2 * _PAD))
        inner = self.wide - 2 * _PAD
        self.title = lines_of(card.label, inner, _TITLE, 1)
        meanings = " ".join(one.meaning for one in self.columns if one.meaning)
        self.notes = lines_of(meanings, inner, _NOTE, 20)
        self.names = max(len(one.name) for one in self.columns)
        self.rows = len(self.columns[0].cells)

    @property
    def right(self) -> float:
        """Its right cut line, mm."""
        return self.left + self.wide

    @property
    def body(self) -> float:
        """Where its rows begin, mm."""
        return self.top + 5.6 + 2.8 * (self.names + 1) + 0.6

    @property
    def bottom(self) -> float:
        """Its lower cut line, mm."""
        return self.body + _ROW * self.rows + 1.2 + _LINE * len(self.notes) + 1.2

    def marks(self) -> list[Mark]:
        """All of it."""
        found = cut_lines(self.left, self.top, self.wide, self.bottom - self.top, "card")
        for line in self.title:
            x, y = self.left + _PAD, self.top + 4.2
            found.append(Text(x=x, y=y, text=line, size=_TITLE, name="card-label"))
        found += self._rules()
        for place, column in enumerate(self.columns):
            found += self._column(place, column)
        for row, line in enumerate(self.notes):
            y = self.body + _ROW * self.rows + 1.2 + _LINE * (row + 0.8)
            x = self.left + _PAD
            found.append(Text(x=x, y=y, text=line, size=_NOTE, name=f"card-note-{row}"))
        return found

    def _rules(self) -> list[Mark]:
        """Lines across: under the names, and every few rows."""
        left, right = self.left + _PAD, self.right - _PAD
        rows = [*range(0, self.rows, _GROUP), self.rows]
        return [
            Line(x1=left, y1=y, x2=right, y2=y, width=0.25 if row in (0, self.rows) else 0.08)
            for row in rows
            for y in [self.body + _ROW * row]
        ]

    def _column(self, place: int, column: Column) -> list[Mark]:
        wide = (self.wide - 2 * _PAD) / len(self.columns)
        middle = self.left + _PAD + wide * (place + 0.5)
        over: Sequence[str] = [*column.name, column.unit and f"({column.unit})"]
        over = [""] * (self.names + 1 - len(over)) + [*over]
        marks: list[Mark] = [
            Text(
                x=middle,
                y=self.top + 5.6 + 2.8 * (row + 0.8),
                text=cut_short(line, wide - 0.4, _NAME),
                size=_NAME,
                anchor="middle",
                name=f"card-name-{place}-{row}",
            )
            for row, line in enumerate(over)
            if line
        ]
        widest = max(text_width(cell, _CELL) for cell in column.cells)
        size = _CELL * min(1.0, (wide - 1.0) / widest)
        end = middle + 0.5 * widest * size / _CELL
        return marks + [
            Text(
                x=end,
                y=self.body + _ROW * (row + 0.76),
                text=cell,
                size=size,
                anchor="end",
                name=f"cell-{row}-{place}",
            )
            for row, cell in enumerate(column.cells)
        ]


def in_words(card: Card, figures: Quantities) -> str:
    """The card for those who cannot see it."""
    found = columns(card, figures)
    heads = [" ".join(one.name) + (f" ({one.unit})" if one.unit else "") for one in found]
    rows = zip(*(one.cells for one in found), strict=True)
    table = "; ".join(", ".join(row) for row in rows)
    meanings = " ".join(one.meaning for one in found if one.meaning)
    return f"Card “{card.label}”: {', '.join(heads)}: {table}. {meanings}"
