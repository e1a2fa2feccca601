"""One scale of a printed sheet: ticks at true size, their numbers, and lines to cut along."""

from dataclasses import dataclass
from itertools import count, pairwise

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.sight.printed import Strip
from arrowloft.pictures.ends import spread
from arrowloft.pictures.millimetres import (
    CAPITAL,
    Line,
    Mark,
    Text,
    arrow,
    cut_lines,
    lines_of,
)
from arrowloft.pictures.quantities import Quantities, digits

WIDE = 22.0
"""Of a strip, mm."""

HEAD, END = 16.0, 3.2
"""From the upper cut line to the first tick, and from the last one to the lower, mm."""

UNDER = 5.2
"""Room under the lower cut line, for how long the scale is, mm."""

_NUMBER = 3.0
_PITCH = 2.9
_OUT = 6.0
"""Of the numbers: their size, the least distance from one to the next, and how far one may
stand from its tick, mm."""

_LONG, _MIDDLE, _SHORT = 7.0, 5.2, 3.6
"""Ticks with a number, half way between two of those, and others, mm."""

_BESIDE, _LED = 8.2, 11.2
"""From the edge to a number beside its tick, and to one with a leader, mm."""

_PAD = 1.2
_LABELS = 3
_LABEL, _LABEL_LINE, _LABEL_TOP = 2.4, 2.9, 3.2
_SMALL, _SMALL_LINE, _SMALL_TOP = 2.0, 2.15, 2.5
"""Lines of the label at most; size, from line to line, and the first below the cut line, mm: of
a label alone, and of one with a word under it."""


@dataclass(frozen=True)
class Numbers:
    """Which ticks have their number written, and where each number's middle stands.

    ticks: positions in the strip.  middle: mm below the first tick.
    every: 1 where all that should have a number have one; n where every nth has.
    """

    ticks: list[int]
    middle: Array
    every: int

    @classmethod
    def of(cls, strip: Strip) -> "Numbers":
        """Numbers spread so that none covers another, and fewer where that takes them too far."""
        ticks = np.flatnonzero(strip.numbered).tolist()
        below = _below(strip)
        low = -END + 0.5
        room = float(below.max()) + 2 * -low
        for every in count(1):
            some = ticks[::every]
            middle = spread((below[some] - low).tolist(), [_PITCH] * len(some), room) + low
            fits = _PITCH * len(some) <= room + 1e-9
            if len(some) <= 1 or (fits and np.abs(middle - below[some]).max() <= _OUT):
                break
        return cls(some, middle, every)

    def led(self, strip: Strip) -> bool:
        """Whether some number does not stand beside its tick."""
        moved = np.abs(self.middle - _below(strip)[self.ticks])
        return bool((moved > 0.02).any())


def span(strip: Strip) -> float:
    """From the first tick to the last, mm."""
    return float(_below(strip).max())


def tall(strip: Strip) -> float:
    """From cut line to cut line, mm."""
    return HEAD + span(strip) + END


def _below(strip: Strip) -> Array:
    """Of each tick below the uppermost, mm."""
    below: Array = 1e3 * (strip.position - strip.position.min())
    return below


def shows_zero(strip: Strip) -> bool:
    """Whether position 0 stands on the strip."""
    zero = -1e3 * float(strip.position.min())
    return -END + 1.0 <= zero <= span(strip) + END - 1.0


def draw_strip(
    strip: Strip, place: int, left: float, top: float, figures: Quantities
) -> list[Mark]:
    """The strip between cut lines, the upper left corner of which stands at (left, top), mm.

    place: of the strip on the sheet; stands in the names of its marks.
    """
    side = 1.0 if strip.numbers_right else -1.0
    edge = left if strip.numbers_right else left + WIDE
    first = top + HEAD
    under = top + tall(strip)
    return [
        *cut_lines(left, top, WIDE, tall(strip), f"strip-{place}"),
        *_head(strip, place, left, top, figures),
        *_ticks(strip, place, edge, side, first),
        *_numbers(strip, place, edge, side, first, figures),
        *(_zero(strip, place, edge, side, first) if shows_zero(strip) else []),
        *(
            Text(
                x=left + 0.5 * WIDE, y=under + down, text=text, size=2.0, anchor="middle", name=name
            )
            for down, text, name in (
                (2.4, "first to last tick", ""),
                (4.8, f"{span(strip):.2f} mm", f"span-{place}"),
            )
        ),
    ]


def _head(strip: Strip, place: int, left: float, top: float, figures: Quantities) -> list[Mark]:
    """Label, unit, and which way is farther."""
    right = strip.numbers_right
    y = top + 12.0
    down = strip.position[-1] >= strip.position[0]
    start, end = (y - 2.4, y + 0.5) if down else (y + 0.5, y - 2.4)
    beside, across = (left + _PAD + 0.8, 1.0) if right else (left + WIDE - _PAD - 0.8, -1.0)
    return [
        *_label(strip, place, left + _PAD, top),
        *arrow(beside, start, end),
        Text(
            x=beside + 1.9 * across,
            y=y,
            text="farther",
            size=2.3,
            anchor="start" if right else "end",
            name=f"farther-{place}",
        ),
        Text(
            x=beside + across * (WIDE - 2 * _PAD - 0.8),
            y=y,
            text=figures.chosen["distance"],
            size=2.8,
            anchor="end" if right else "start",
            name=f"unit-{place}",
        ),
    ]


def _label(strip: Strip, place: int, left: float, top: float) -> list[Mark]:
    """What the strip is called, and the word on it."""
    size, step, y = _LABEL, _LABEL_LINE, top + _LABEL_TOP
    if strip.word:
        size, step, y = _SMALL, _SMALL_LINE, top + _SMALL_TOP
    lines = lines_of(strip.label, WIDE - 2 * _PAD, size, _LABELS)
    named = [(line, f"label-{place}-{row}") for row, line in enumerate(lines)]
    if strip.word:
        named.append((f"({strip.word})", f"word-{place}"))
    return [
        Text(x=left, y=y + step * row, text=line, size=size, name=name)
        for row, (line, name) in enumerate(named)
    ]


def _ticks(strip: Strip, place: int, edge: float, side: float, first: float) -> list[Mark]:
    numbered = np.flatnonzero(strip.numbered)
    middles = {
        (low + high) // 2
        for low, high in pairwise(numbered.tolist())
        if (high - low) % 2 == 0 and high - low > 2
    }
    marks: list[Mark] = []
    for index, below in enumerate(_below(strip).tolist()):
        long = _LONG if strip.numbered[index] else _MIDDLE if index in middles else _SHORT
        y, end = first + below, edge + side * long
        name = f"tick-{place}-{index}"
        marks.append(Line(x1=edge, y1=y, x2=end, y2=y, width=0.18, name=name))
    return marks


def _numbers(
    strip: Strip, place: int, edge: float, side: float, first: float, figures: Quantities
) -> list[Mark]:
    numbers = Numbers.of(strip)
    led = numbers.led(strip)
    x = edge + side * (_LED if led else _BESIDE)
    below, marks = _below(strip), list[Mark]()
    for index, middle in zip(numbers.ticks, numbers.middle.tolist(), strict=True):
        if led:
            start, end = edge + side * _LONG, x - side * 0.6
            y1, y2 = first + float(below[index]), first + middle
            marks.append(Line(x1=start, y1=y1, x2=end, y2=y2, width=0.12))
        marks.append(
            Text(
                x=x,
                y=first + middle + 0.5 * CAPITAL * _NUMBER,
                text=digits(float(figures.read(strip.distance[index], "distance")), 4),
                size=_NUMBER,
                anchor="start" if side > 0 else "end",
                name=f"number-{place}-{index}",
            )
        )
    return marks


def _zero(strip: Strip, place: int, edge: float, side: float, first: float) -> list[Mark]:
    """A small triangle at the edge opposite to the ticks, which points at position 0."""
    far, y = edge + side * (WIDE - 0.4), first - 1e3 * float(strip.position.min())
    tip = far - side * 1.5
    corners = ((far, y - 0.7), (tip, y), (far, y + 0.7), (far, y - 0.7))
    return [
        Line(x1=x1, y1=y1, x2=x2, y2=y2, width=0.15, name=f"zero-{place}-{part}")
        for part, ((x1, y1), (x2, y2)) in enumerate(pairwise(corners))
    ]
