"""Names at the ends of curves: none over another, each as near as it can be; figures in words."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.pictures import quantities
from arrowloft.pictures.ends import line_style, spread
from arrowloft.pictures.frame import text_width

LABELS = st.lists(st.tuples(st.floats(0, 5), st.floats(0.1, 0.6)), min_size=1, max_size=14)


@given(LABELS)
def test_no_label_covers_another_and_all_are_in_the_room(labels: list[tuple[float, float]]) -> None:
    wanted, heights = [at for at, _ in labels], [tall for _, tall in labels]
    room = max(5.0, sum(heights))
    middles = spread(wanted, heights, room)
    order = np.argsort(middles)
    low, high = middles - 0.5 * np.array(heights), middles + 0.5 * np.array(heights)
    assert low.min() >= -1e-9 and high.max() <= room + 1e-9
    assert (low[order][1:] >= high[order][:-1] - 1e-9).all()
    for one in range(len(labels)):  # in the order of what they name
        for other in range(len(labels)):
            if wanted[one] < wanted[other]:
                assert middles[one] < middles[other]


def test_labels_that_have_room_stay_where_they_are() -> None:
    wanted = [3.0, 0.5, 1.5]
    assert spread(wanted, [0.9, 0.9, 0.9], 4.0) == pytest.approx(wanted)


def test_two_on_one_spot_share_the_way_and_a_third_is_left_alone() -> None:
    middles = spread([2.0, 2.0, 4.0], [0.4, 0.6, 0.4], 5.0)
    # Least squares: (-a)^2 + (0.5 - a)^2 for a gap of half of both heights.
    assert middles == pytest.approx([1.75, 2.25, 4.0])
    # The last two share a block, which then pushes the first: the mean of 0.5, 0.7 and -0.3.
    assert spread([1.0, 2.2, 2.2], [1.0, 1.0, 1.0], 9.0) == pytest.approx([0.8, 1.8, 2.8])


def test_64_lines_differ_in_colour_or_dashes_and_8_in_dashes_alone() -> None:
    styles = [(line_style(i)["color"], str(line_style(i)["linestyle"])) for i in range(64)]
    assert len(set(styles)) == 64
    assert len({dash for _, dash in styles[:8]}) == len({colour for colour, _ in styles[:8]}) == 8


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (-0.0, "0"), (61.0, "61"), (1234.5, "1234"), (0.12345, "0.123"), (-99.96, "-100")],
)
def test_figures_have_three_digits_or_end_at_the_unit(value: float, text: str) -> None:
    assert quantities.digits(value) == text


def test_a_sign_stands_before_what_is_not_zero() -> None:
    assert [quantities.signed(value) for value in (2.0, -2.0, 0.0)] == ["+2", "-2", "0"]


def test_a_long_word_is_broken_and_nothing_of_it_lost() -> None:
    lines = quantities.folded("x" * 90 + " and more", 1.5)
    assert "".join(lines).replace(" ", "") == "x" * 90 + "andmore"
    assert all(text_width(line) <= 1.5 for line in lines) and len(lines) > 3


def test_a_sign_without_a_glyph_is_a_box() -> None:
    assert quantities.drawable("Öl $ Ж \u76f4") == "Öl $ Ж \u25a1"
    assert quantities.boxed(["Öl"]) == [] and quantities.boxed(["\u76f4"])


def test_ticks_are_multiples_of_a_nice_step_within_the_ends() -> None:
    assert quantities.ticks(-443.0, 61.0, 4) == pytest.approx([-400, -300, -200, -100, 0])
    assert quantities.ticks(0.0, 1.0, 2) == pytest.approx([0.0, 0.5, 1.0])
