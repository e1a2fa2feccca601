"""What pictures over distance share: rows at round distances, and a wind in words."""

import math
from typing import Any

import numpy as np
import pytest

from arrowloft.pictures.over_distance import named_rows, some_named, wind_in_words
from arrowloft.pictures.quantities import Quantities

YARD = 0.9144
METRES = Quantities({"distance": "m", "speed": "m/s", "angle": "deg"})
YARDS = Quantities({"distance": "yd"})


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        (np.arange(101, 1101) / 10.0, [10.1, 20, 40, 60, 80, 100, 110]),
        (np.arange(20, 81, 10), [20, 30, 40, 50, 60, 70, 80]),
        (np.arange(20, 81, 5), [20, 30, 40, 50, 60, 70, 80]),
        (np.arange(10, 131), [10, 25, 50, 75, 100, 130]),  # 125 stands too near the last
        (np.arange(18, 91), [18, 40, 60, 80, 90]),  # and 20 too near the first
        ([3.1, 77.7], [3.1, 77.7]),
        ([42.0], [42.0]),
    ],
)
def test_rows_at_round_distances_in_the_readers_unit_are_named(rows: Any, told: Any) -> None:
    rows = np.array(rows, dtype=float)
    assert rows[named_rows(YARDS, YARD * rows)] == pytest.approx(told)
    assert rows[named_rows(METRES, rows)] == pytest.approx(told)


def test_where_no_rows_are_round_those_named_are_spread_evenly() -> None:
    rows = np.linspace(10.0, 70.0, 61) + 0.123
    assert rows[named_rows(METRES, rows)] == pytest.approx(np.arange(10.0, 71.0, 10.0) + 0.123)


@pytest.mark.parametrize("span", [1e-3, 0.7, 3.0, 99.0, 1234.5])
def test_never_more_than_so_many_are_named(span: float) -> None:
    rows = np.linspace(20.0, 20.0 + span, 501)
    named = named_rows(METRES, rows)
    assert named[0] == 0 and named[-1] == 500 and 4 <= len(named) <= 7
    assert named == sorted(set(named))


def test_it_is_said_where_not_all_have_a_label() -> None:
    assert some_named(7, 7, "marks") == []
    assert some_named(7, 13, "marks") == ["Not all marks have a label: 7 of 13 do."]


@pytest.mark.parametrize(
    ("angle", "told"),
    [
        (0.0, "ahead"),
        (270.0, "the left"),
        (60.0, "60 deg, clockwise from the target"),
    ],
)
def test_a_wind_is_told_by_where_it_comes_from(angle: float, told: str) -> None:
    assert wind_in_words(METRES, 2.5, math.radians(angle)) == f"a wind of 2.5 m/s from {told}"
