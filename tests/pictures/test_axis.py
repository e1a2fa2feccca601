"""Axes: marks where the data have them, their figures beside them, names clear of both."""

from collections.abc import Callable
from typing import Any

import pytest
from pictured import Pictured

from arrowloft.pictures import axis
from arrowloft.pictures.frame import drawn, text_width

LEFT, LOW, WIDE, TALL = 72.0, 57.6, 288.0, 144.0
"""The panel on its sheet of 6 by 3.6 inches, points."""


def picture(draw: Callable[[Any], None]) -> Pictured:
    def fill(figure: Any) -> None:
        axes = figure.add_axes((LEFT / 432, LOW / 259.2, WIDE / 432, TALL / 259.2))
        axis.bare(axes)
        axes.set_xlim(0.0, 10.0)
        axes.set_ylim(-2.0, 2.0)
        draw(axes)

    return Pictured(drawn("probe", (6.0, 3.6), fill, "t", "d", "svg"))


def both(axes: Any) -> None:
    axis.across(axes, [0.0, 5.0, 10.0], "way (m)", lines=True)
    axis.upward(axes, [-2.0, 0.0, 1.0], ["-2.0", "0", "1"], "up\n(cm)", lines=True)


@pytest.mark.parametrize(
    ("places", "texts"),
    [
        ([0.0, 0.5, 1.0], ["0.0", "0.5", "1.0"]),
        ([-0.1 * 3, -0.1 * 2, 0.0], ["-0.3", "-0.2", "0.0"]),
        ([-1e-17, 5.0], ["0", "5"]),
        ([0.0, 25.0, 50.0], ["0", "25", "50"]),
        ([2.5e6, 3.0e6], ["2500000", "3000000"]),
        ([0.00002, 0.00004], ["0.00002", "0.00004"]),
        ([0.125], ["0.125"]),
        ([0.0], ["0"]),
        ([], []),
    ],
)
def test_marks_have_the_decimals_that_they_need(places: list[float], texts: list[str]) -> None:
    assert axis.numbers(places) == texts


def test_the_sides_of_zero_are_told_apart() -> None:
    assert axis.sides([-20.0, 0.0, 0.5]) == ["20 L", "0", "0.5 R"]


def test_figures_stand_at_their_marks() -> None:
    at = {text: (x, y) for text, x, y in picture(both).placed()}
    low = 259.2 - LOW
    for text, way in (("0", 0.0), ("5", 5.0), ("10", 10.0)):
        found = [(x, y) for said, x, y in picture(both).placed() if said == text]
        middles = [x + 36 * text_width(text) for x, y in found if y > low]
        assert middles == [pytest.approx(LEFT + way * WIDE / 10.0, abs=0.1)]
    for text, up in (("-2.0", -2.0), ("1", 1.0)):
        x, y = at[text]
        assert x + 72 * text_width(text) == pytest.approx(LEFT - 6.5, abs=0.1)
        # Its letters are 0.73 as high as the size of the text.
        assert y - 0.5 * 0.73 * 8.5 == pytest.approx(low - (up + 2.0) * TALL / 4.0, abs=0.3)


def test_names_stand_clear_of_the_figures() -> None:
    told = {text: (x, y) for text, x, y in picture(both).placed()}
    assert told["way (m)"][0] + 36 * text_width("way (m)") == pytest.approx(LEFT + 144, abs=0.1)
    assert told["way (m)"][1] - 8.5 > told["10"][1]
    widest = told["-2.0"][0]
    assert told["up"][0] + 8.5 < told["(cm)"][0] < widest - 2.0
    for line in ("up", "(cm)"):  # read from below
        assert told[line][1] - 36 * text_width(line) == pytest.approx(259.2 - LOW - 72, abs=0.1)


def test_lines_go_through_the_panel_where_the_marks_are() -> None:
    found = picture(both)
    paths = [found.paths(name) for name in sorted(found.names()) if "LineCollection" in name]
    upright, level = sorted(paths, key=lambda lines: float(lines[0][0, 0] != lines[0][1, 0]))
    assert [float(one[0, 0]) for one in upright] == pytest.approx([LEFT, LEFT + 144, LEFT + 288])
    low = 259.2 - LOW
    assert [float(one[0, 1]) for one in level] == pytest.approx([low, low - 72, low - 108])
    assert [float(one[1, 0] - one[0, 0]) for one in level] == pytest.approx([WIDE] * 3)
