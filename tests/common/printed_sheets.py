"""Sheets of sight scales, filled a little, well, and to the brim; all of it invented."""

import json
import math
from dataclasses import replace
from typing import Any

import numpy as np

from arrowloft.core.sight.printed import LONGEST, Card, Paper, PrintedSheet, Strip

METRIC = {"distance": "m", "length": "mm", "angle": "deg", "speed": "m/s"}
IMPERIAL = {"distance": "yd", "length": "in", "angle": "deg", "speed": "ft/s"}

SAID = (
    "These marks are predicted, not measured: prove them by shooting where every arrow comes "
    "down safely, first close to the target, before one is trusted.",
    "Keep to the ground's rules, the governing body's and the makers' charts, and to local law.",
    "Glue the strip where nothing rubs on it, and look at it again after the sight was moved.",
)

ROWS = {"clicks", "reading", "drift", "windage_clicks", "greatest_roll"}


def strip(
    label: str = "Field arrow, 12 degC",
    *,
    length: float = 0.06,
    low: float = 20.0,
    high: float = 80.0,
    step: float = 1.0,
    every: int = 5,
    up: bool = False,
    zero: float = 20.0,
    right: bool = True,
) -> Strip:
    """Ticks whose place grows a little faster than the distance, from the mark at `zero`."""
    distance = np.arange(low, high + 0.5 * step, step)

    def travel(at: Any) -> Any:
        return at + 0.006 * at**2

    whole = float(travel(high) - travel(low))
    position = length * (travel(distance) - travel(zero)) / whole
    return Strip(
        label=label,
        distance=distance,
        position=-position if up else position,
        numbered=np.arange(distance.size) % every == 0,
        numbers_right=right,
    )


def card(rows: int = 13, label: str = "Field arrow, 12 degC", **changes: Any) -> Card:
    """A card with all columns, the level of the first two rows nowhere left."""
    distance = np.linspace(20.0, 20.0 + 5.0 * (rows - 1), rows)
    travel = 0.0006 * (distance - 20.0) + 5e-6 * (distance - 20.0) ** 2
    roll = np.radians(900.0 / distance**1.2)
    roll[:2] = math.nan
    whole = Card(
        label=label,
        distance=distance,
        travel=travel - travel[1] if rows > 1 else travel,
        clicks=np.rint(travel / 1e-4),
        reading=2.0 + travel / 1e-3,
        drift=-3e-5 * distance**2,
        windage_clicks=np.rint(distance / 9.0),
        greatest_roll=roll,
        wind_speed=3.0,
        wind_from=0.5 * math.pi,
        allowance=0.12,
        roll_tried=math.radians(30.0),
    )
    return replace(whole, **changes)


REQUEST = json.dumps(
    {
        "bow": {"peep_height": "4.6 in", "draw_length": "29 in", "brace_height": "6.4 in"},
        "arrow": {"mass": "421 gr", "shaft_diameter": "5.9 mm", "length": "28.4 in"},
        "sight": {"radius": "33 in", "zero_distance": "20 yd", "travel_per_turn": "1.2 mm"},
        "launch": {"model": "measured", "parameters": {"speed": "276 ft/s"}},
        "drag": {"model": "constant", "parameters": {"coefficient": 1.9}},
        "air": {"temperature": "12 degC", "pressure": "985 hPa", "relative_humidity": 0.7},
    },
    separators=(",", ":"),
)


def sheet(**changes: Any) -> PrintedSheet:
    """One strip, a card and a code on A4."""
    plain = PrintedSheet(
        paper="a4",
        title="Club round, autumn",
        date="2026-11-26",
        strips=(strip(),),
        card=card(),
        request=REQUEST,
        said=SAID,
    )
    return replace(plain, **changes)


def full(paper: Paper, **changes: Any) -> PrintedSheet:
    """Four strips of the greatest length and a card of as many rows as there may be."""
    long = LONGEST[paper]
    strips = (
        strip("Field arrow, 12 degC", length=long),
        strip("Field arrow, 28 degC", length=long, up=True, zero=40.0),
        strip("Indoor arrow with long vanes", length=long, step=0.5, every=10, right=False),
        strip(
            "Long distances, heavy point, lower peep", length=long, low=30.0, high=90.0, zero=90.0
        ),
    )
    return sheet(paper=paper, strips=strips, card=card(25), **changes)


NASTY = (
    "<script>alert(1)</script> & 'x' \"y\" ]]>",
    "M" * 400,
    "\x00\x07\x1b\x7f\x85\ud800\udfff\ufffe\uffff",
    "\U0001f3f9\U0001f3af \u6f22\u5b57 \u202e\u0627\u0644 \u200d\u0301",
)
"""Texts that are no label: markup, one endless word, what XML forbids, what the font lacks."""


def hostile(paper: Paper) -> PrintedSheet:
    """A full sheet of such texts."""
    strips = tuple(strip(f"{text} tail " * 4, length=LONGEST[paper]) for text in NASTY)
    return sheet(
        paper=paper,
        title=" ".join(NASTY),
        date=" ".join(NASTY[::-1]),
        strips=strips,
        card=card(25, label=" ".join(NASTY)),
        said=NASTY,
        request="".join(NASTY[:1]) + "\u00fc\u6f22",
    )
