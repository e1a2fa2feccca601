"""What pictures share: nice steps, labels that keep clear of each other, the same bytes."""

import itertools
import math
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.pictures import frame


@given(st.floats(1e-6, 1e6), st.integers(1, 20))
def test_a_nice_step_is_one_two_or_five_and_divides_often_enough(span: float, parts: int) -> None:
    step = frame.nice_step(span, parts)
    assert span / step > parts * (1 - 1e-6)
    assert span / step <= parts * 2.5 * (1 + 1e-6)
    lead = step / 10.0 ** math.floor(math.log10(step) + 1e-9)
    assert min(abs(lead - nice) for nice in (1, 2, 5)) < 1e-6


PLACES = st.lists(st.tuples(st.floats(0, 9), st.floats(0.1, 4)), max_size=12)


@given(PLACES)
def test_no_label_covers_another_or_crosses_a_leader(places: list[tuple[float, float]]) -> None:
    starts, widths = [x for x, _ in places], [wide for _, wide in places]
    rows = frame.staircase(starts, widths)
    for one, (x, wide) in enumerate(places):
        for other, (at, _) in enumerate(places):
            if one == other:
                continue
            if rows[one] == rows[other]:
                assert x + wide <= at or at + widths[other] <= x
            # The other's leader stands at its left end, from the edge to its row.
            if rows[one] < rows[other]:
                assert not x < at < x + wide


@given(PLACES)
def test_labels_stay_as_near_as_they_can(places: list[tuple[float, float]]) -> None:
    rows = frame.staircase([x for x, _ in places], [wide for _, wide in places])
    assert set(rows) == set(range(len(set(rows))))


def test_text_is_as_wide_as_its_letters() -> None:
    one, two = frame.text_width("carry"), frame.text_width("carrycarry")
    assert two == pytest.approx(2 * one, rel=0.05)
    assert 0.3 < one < 0.5  # five letters of 8.5 points


def _drawn(**changes: Any) -> bytes:
    def draw(figure: Any) -> None:
        axes = figure.add_axes((0.1, 0.1, 0.8, 0.8))
        axes.fill([0, 1, 1], [0, 0, 1], hatch="//", facecolor="none", edgecolor="black")
        axes.plot([0, 1], [1, 0], marker="D")

    given = {"title": "A <b> & c", "description": "Two\nlines", **changes}
    return frame.drawn("probe", (3.0, 2.0), draw, **given, form="svg")


def test_the_same_arguments_give_the_same_bytes() -> None:
    assert _drawn() == _drawn()
    assert _drawn() != _drawn(title="Another")


def test_what_a_host_sets_does_not_show() -> None:
    import matplotlib

    plain = _drawn()
    with matplotlib.rc_context({"font.size": 30, "lines.linewidth": 9, "svg.fonttype": "none"}):
        assert _drawn() == plain
        assert matplotlib.rcParams["font.size"] == 30


def test_nothing_tells_when_or_by_what_it_was_drawn() -> None:
    text = _drawn().decode()
    assert 'width="288" height="192" viewBox="0 0 216 144"' in text  # 3 by 2 inches
    assert "<metadata" not in text and "DOCTYPE" not in text
    assert "A &lt;b&gt; &amp; c" in text


def test_a_text_is_wrapped_between_words_and_no_line_is_too_wide() -> None:
    text = "Arrows that skip, slide or glance off go farther, and aside: that is not computed."
    for wide in (1.0, 2.5, 20.0):
        lines = frame.wrapped(text, wide)
        assert " ".join(lines) == text
        assert all(frame.text_width(line) <= wide + 1e-6 for line in lines)
        for line, after in itertools.pairwise(lines):  # nor broken before it must be
            assert frame.text_width(f"{line} {after.split()[0]}") > wide - 0.02
    assert frame.wrapped("unbreakable", 0.1) == ["unbreakable"]


def test_the_start_does_not_wait_for_the_plotting_library() -> None:
    made = "import sys; from arrowloft.app import create_app; create_app(); "
    code = made + "sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_server_imports_it_before_it_has_workers() -> None:
    code = (
        "import runpy, sys, types; server = types.SimpleNamespace(); "
        "runpy.run_path('deploy/gunicorn.conf.py')['on_starting'](server); "
        "sys.exit('matplotlib.backends.backend_svg' not in sys.modules)"
    )
    root = Path(__file__).parent.parent.parent
    assert subprocess.run([sys.executable, "-c", code], check=False, cwd=root).returncode == 0
