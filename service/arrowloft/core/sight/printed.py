"""What a printed sheet of sight scales shows: strips with ticks, a card, and its paper (SI)."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from arrowloft.core.arrays import Array, Mask

Paper = Literal["a4", "letter"]

PAPERS: Mapping[Paper, tuple[float, float]] = MappingProxyType(
    {"a4": (0.210, 0.297), "letter": (0.2159, 0.2794)}
)
"""Width and height, m: ISO 216, and 8.5 by 11 inches (ANSI/ASME Y14.1)."""

LONGEST: Mapping[Paper, float] = MappingProxyType({"a4": 0.205, "letter": 0.1875})
"""Longest strip from its first to its last tick, m, that leaves room for title and ruler."""

MOST_STRIPS, MOST_CARD_ROWS = 4, 25
"""How many fit on a sheet."""


@dataclass(frozen=True, kw_only=True)
class Strip:
    """One scale.

    label: as the caller named it.
    distance: of each tick, m, ascending.
    position: of each tick along the strip, m, from the zero distance's mark, towards the
    foot of the strip positive; strictly monotonic.
    numbered: whether each tick carries its distance as a number.
    numbers_right: whether the numbers stand to the right of the ticks.
    word: what stands under the label, such as that nothing proves it; may be empty.
    """

    label: str
    distance: Array
    position: Array
    numbered: Mask
    numbers_right: bool = True
    word: str = ""


@dataclass(frozen=True, kw_only=True)
class Card:
    """A pocket card: one row a distance; None for a column that it lacks.

    label: of the strip that it belongs to.
    distance, travel: m; travel of the pin from the zero distance, down positive.
    clicks, reading: of the sight.
    drift: m, right positive, in a wind of `wind_speed`, m/s, from `wind_from`, rad; NaN where
    the arrow never arrives.
    windage_clicks: that cancel it, pin to the right positive.
    greatest_roll: rad, either way, at which the impact leaves a circle of `allowance`, m of
    diameter, about the aim point; NaN where no roll up to `roll_tried`, rad, does.
    """

    label: str
    distance: Array
    travel: Array
    clicks: Array | None = None
    reading: Array | None = None
    drift: Array | None = None
    windage_clicks: Array | None = None
    greatest_roll: Array | None = None
    wind_speed: float | None = None
    wind_from: float | None = None
    allowance: float | None = None
    roll_tried: float | None = None


@dataclass(frozen=True, kw_only=True)
class PrintedSheet:
    """All that stands on one sheet.

    title, date: as the caller gave them; may be empty.
    request: what computes the sheet again, as text, for the code; None: no code.
    said: sentences under it, the cautions among them.
    """

    paper: Paper
    title: str
    date: str
    strips: tuple[Strip, ...]
    card: Card | None
    request: str | None
    said: tuple[str, ...]
