"""What a picture of sight marks says, beside what it shows and to those who cannot see it."""

from collections.abc import Sequence

import numpy as np

from arrowloft.core.sight.marks import MarkTable
from arrowloft.core.sight.marks_scene import MarksScene
from arrowloft.core.sight.sight import Setting
from arrowloft.pictures.over_distance import (
    SAFELY,
    doubt_of,
    listed,
    named_rows,
    shot_in_words,
    some_named,
)
from arrowloft.pictures.quantities import Quantities, digits, readable, signed

TITLE = "Sight marks over distance"

_KNOWN = 1e-9
"""Travels are known so well, m: what is less is nothing."""


def subtitle(scene: MarksScene, figures: Quantities) -> list[str]:
    """The shot, and where marks count from."""
    zero = figures.text(scene.sight.zero_distance, "distance")
    return [
        f"{shot_in_words(figures, scene.shot)}. Travel counts from the mark of {zero}, the zero; "
        "it is positive where the pin moves down."
    ]


def setting_words(setting: Setting, row: int) -> str:
    """What the sight is set to in a row: clicks, else turns, and the reading of its scale."""
    said = []
    if setting.clicks is not None:
        clicks = float(setting.clicks[row])
        said.append(f"{signed(clicks)} click{'' if abs(clicks) == 1.0 else 's'}")
    elif setting.turns is not None:
        turns = digits(float(setting.turns[row]), 4)
        said.append(f"{turns} turn{'' if turns in ('1', '-1') else 's'}")
    if setting.reading is not None:
        said.append(f"reading {digits(float(setting.reading[row]), 4)}")
    return ", ".join(said)


def setting_of(table: MarkTable) -> Setting:
    """What the sight is set to for a table's marks."""
    return Setting(turns=table.turns, clicks=table.clicks, reading=table.reading)


def travel_text(figures: Quantities, travel: float) -> str:
    """A travel and its unit, signed."""
    known = round(travel / _KNOWN) * _KNOWN
    return f"{signed(float(figures.read(known, 'length')))} {figures.chosen['length']}"


def mark_words(
    figures: Quantities, distance: float, travel: float, doubt: float, setting: str
) -> tuple[str, str]:
    """A mark in two lines: where and how far; how sure, and what the sight is set to."""
    first = f"{figures.text(distance, 'distance')}: {travel_text(figures, travel)}"
    sure = [doubt_of(figures, doubt, "length")] if doubt > _KNOWN else []
    return first, ", ".join([*sure, *([setting] if setting else [])])


def captions(scene: MarksScene, figures: Quantities) -> list[str]:
    """What stands under the picture."""
    doubts = []
    if scene.speed_uncertainty:
        doubts.append(f"launch speed {doubt_of(figures, scene.speed_uncertainty, 'speed')}")
    if scene.drag_uncertainty:
        doubts.append(f"drag ± {digits(100.0 * scene.drag_uncertainty, 2)} %")
    if doubts:
        said = [
            f"Hatched band: one standard uncertainty either way, of {listed(doubts)}, once the "
            "mark of the zero is proven: two marks in three lie within it."
        ]
    else:
        said = ["Launch speed and drag count as exact here: no uncertainty is drawn."]
    other = np.unique(scene.table.distance)
    other = other[np.abs(other - scene.sight.zero_distance) > 1e-9]
    said += some_named(len(named_rows(figures, other)), other.size, "marks")
    pins = scene.table.pins
    if pins is not None:
        each = [
            f"{figures.text(float(pins.distance[i]), 'distance')} "
            f"({travel_text(figures, float(pins.travel[i]))})"
            for i in range(pins.distance.size)
        ]
        said.append(f"Open diamonds: fixed pins, and how far below the first: {listed(each)}.")
    return [*said, f"These are a model's answers, not measurements. {SAFELY}"]


def described(scene: MarksScene, figures: Quantities, said: Sequence[str]) -> str:
    """The picture in words; said: the captions."""
    table = scene.table
    distance, first = np.unique(table.distance, return_index=True)
    chosen = named_rows(figures, distance)
    rows = []
    for row in (int(first[place]) for place in chosen):
        at, travel, sure = (
            float(values[row])
            for values in (table.distance, table.travel, table.travel_uncertainty)
        )
        setting = setting_words(setting_of(table), row)
        mark, more = mark_words(figures, at, travel, sure, setting)
        doubt = float(table.height_uncertainty[row])
        high = f", {doubt_of(figures, doubt, 'length')} of height there" if doubt > _KNOWN else ""
        rows.append(f"{mark}{f', {more}' if more else ''}{high}.")
    head = "Travel of the pin over distance, with its uncertainty."
    if len(chosen) < distance.size:
        head += f" {len(chosen)} of {distance.size} marks:"
    return readable(" ".join([head, *subtitle(scene, figures), *rows, *said]))
