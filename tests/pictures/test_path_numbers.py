"""Numbers of obstacles: each in one place, none on another, none far from what it names."""

from itertools import pairwise

import numpy as np
import pytest

from arrowloft.pictures.frame import text_width
from arrowloft.pictures.path_numbers import numbers

WIDE = 5.0


def test_numbers_with_room_stand_over_their_obstacles_in_one_row() -> None:
    found = numbers([4.0, 1.0, 2.5], WIDE)
    assert [(one.text, one.middle, one.row) for one in found] == [
        ("2", 1.0, 0),
        ("3", 2.5, 0),
        ("1", 4.0, 0),
    ]


@pytest.mark.parametrize("count", [2, 8, 20, 100])
@pytest.mark.parametrize("span", [0.0, 0.3, 5.0])
def test_none_covers_another_and_each_stands_once(count: int, span: float) -> None:
    places = np.linspace(0.5 * (WIDE - span), 0.5 * (WIDE + span), count).tolist()
    found = numbers(places, WIDE)
    assert sorted(index for one in found for index in one.which) == list(range(count))
    assert {one.row for one in found} <= {0, 1, 2}
    for row in range(3):
        some = [one for one in found if one.row == row]
        for left, right in pairwise(some):
            apart = right.middle - left.middle
            assert apart > 0.5 * (text_width(left.text) + text_width(right.text)) + 0.04
    for one in found:
        middle = 0.5 * (places[one.which[0]] + places[one.which[-1]])
        assert abs(one.middle - middle) <= 0.45
        assert one.middle - 0.5 * text_width(one.text) >= 0.0
        assert one.middle + 0.5 * text_width(one.text) <= WIDE


def test_numbers_that_share_a_place_are_told_as_runs() -> None:
    texts = [one.text for one in numbers([2.0] * 100, WIDE)]
    ends = [tuple(map(int, text.split("-"))) for text in texts]
    assert ends[0][0] == 1 and ends[-1][-1] == 100
    assert all(after[0] == before[-1] + 1 for before, after in pairwise(ends))


def test_numbers_out_of_order_are_listed_or_counted() -> None:
    mixed = [2.0 + 0.001 * (7 * index % 100) for index in range(100)]
    texts = [one.text for one in numbers(mixed, WIDE)]
    assert any(text.endswith(" obstacles") for text in texts)
    assert max(map(text_width, texts)) < 1.0
