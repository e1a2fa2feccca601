"""Sheets of sight scales: every length measured in the files that are printed."""

import io
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Literal, get_args

import numpy as np
import pdfplumber
import printed_sheets as made
import pytest
import segno
from printed_read import Line, Read, meet, read_pdf, read_svg

from arrowloft.core.sight.printed import LONGEST, PAPERS, Paper, PrintedSheet, Strip
from arrowloft.pictures.printed_sheet import picture

FORMS = ("svg", "pdf")
EDGE = 5.0
NEAR = 0.01

LABELS = ("Winter", "Field arrow, 12 degC", "W" * 30, "Winter, on the hill, long vane")

SHEETS: Mapping[str, PrintedSheet] = {
    "one": made.sheet(),
    "no card": made.sheet(card=None),
    "no code": made.sheet(request=None, card=made.card(2)),
    "strip alone": made.sheet(card=None, request=None, title="", date="", said=()),
    "one row": made.sheet(card=made.card(1)),
    "full a4": made.full("a4"),
    "full letter": made.full("letter"),
    "long texts a4": made.full("a4", said=made.SAID * 5, request=None),
    "long texts letter": made.full("letter", said=made.SAID * 5),
    "longest code": made.full("letter", request="x" * 2331),
    "longest plain code": made.full("letter", request="x" * 2953),
    "a byte for the plain code": made.sheet(request="x" * 2332),
    "too long a request": made.sheet(request="x" * 2954, card=made.card(2)),
    "words on strips": made.sheet(
        strips=tuple(replace(made.strip(label), word="predicted only") for label in LABELS)
    ),
    "hostile": made.hostile("a4"),
    "hostile letter": made.hostile("letter"),
    "endless": made.full("a4", said=("All that may be said. " * 500,), title="endless " * 90),
    "wide numbers": made.sheet(
        strips=(
            made.strip(low=100.5, high=180.5, step=1.0, every=1, zero=140.5, length=LONGEST["a4"]),
            made.strip(low=100.5, high=180.5, every=2, zero=120.5, length=0.1, right=False),
        )
    ),
    "one long": made.sheet(strips=(made.strip(length=LONGEST["a4"]),), card=made.card(25)),
    "tight": made.sheet(
        strips=(
            made.strip(length=0.03),
            made.strip(length=0.05, every=2, up=True, right=False, zero=50.0),
            made.strip(length=0.04, every=3),
            made.strip(length=0.002, every=1),
        )
    ),
}


@cache
def drawn(name: str, form: Literal["svg", "pdf"]) -> bytes:
    return picture(SHEETS[name], made.METRIC, form)


@cache
def seen(name: str, form: Literal["svg", "pdf"]) -> Read:
    return (read_svg if form == "svg" else read_pdf)(drawn(name, form))


every_sheet = pytest.mark.parametrize("name", SHEETS)

IN_PDF = ("one", "tight", "full a4", "full letter", "hostile", "strip alone")
"""Sheets whose PDF is read too, which takes long."""

in_pdf = pytest.mark.parametrize("name", IN_PDF)

in_both = pytest.mark.parametrize(
    ("name", "form"), [*((name, "svg") for name in SHEETS), *((name, "pdf") for name in IN_PDF)]
)


def ticks_in_pdf(read: Read, left: float, right: float) -> dict[str, list[float]]:
    """Heights of the level black lines that begin at either edge of a strip."""
    level = [
        one for one in read.lines if one.black and not one.dashed and abs(one.y1 - one.y2) < 1e-6
    ]
    return {
        "left": [one.y1 for one in level if abs(one.box[0] - left) < 1e-3],
        "right": [one.y1 for one in level if abs(one.box[2] - right) < 1e-3],
    }


@in_both
def test_the_paper_has_its_size(name: str, form: Literal["svg", "pdf"]) -> None:
    read = seen(name, form)
    width, height = PAPERS[SHEETS[name].paper]
    assert (read.width, read.height) == pytest.approx((1e3 * width, 1e3 * height), abs=1e-3)


@every_sheet
def test_the_ruler_is_100_mm_long(name: str) -> None:
    read = seen(name, "svg")
    ruler = read.line("ruler")
    assert ruler.x2 - ruler.x1 == pytest.approx(100.0, abs=NEAR)
    assert ruler.y1 == ruler.y2
    for at in range(101):
        tick = read.line(f"ruler-{at}")
        assert (tick.x1, tick.x2) == pytest.approx((ruler.x1 + at,) * 2, abs=NEAR)
        assert tick.y1 == ruler.y1 and tick.y2 < tick.y1
    ends = {one.text: one for one in read.texts if one.y < ruler.y1 and one.y > ruler.y1 - 7}
    for text, x in (("0", ruler.x1), ("100", ruler.x2)):
        assert 0.5 * (ends[text].left + ends[text].right) == pytest.approx(x, abs=NEAR)
    assert ends["mm"].left > ends["100"].right
    assert read.words("print-") == (
        "Print at 100 %, no fitting to the page; this ruler must measure 100 mm: 3.94 in."
    )


@in_pdf
def test_the_ruler_in_the_pdf_is_100_mm_long(name: str) -> None:
    read = seen(name, "pdf")
    low = max(one.y1 for one in read.lines)
    [ruler] = [one for one in read.lines if one.y1 == one.y2 == low and one.x2 - one.x1 > 50]
    assert ruler.x2 - ruler.x1 == pytest.approx(100.0, abs=NEAR)
    upright = sorted(one.x1 for one in read.lines if one.box[3] == low and one.x1 == one.x2)
    assert upright == pytest.approx([ruler.x1 + at for at in range(101)], abs=NEAR)


@every_sheet
def test_the_ruler_is_at_the_foot(name: str) -> None:
    read = seen(name, "svg")
    ruler = read.line("ruler-0").box[1] - 3
    cut = [one.box[3] for one in read.lines if one.dashed]
    assert max(cut) < ruler
    if read.squares:
        assert read.code()[3] < ruler


def of_strips(name: str) -> list[tuple[int, Strip]]:
    return list(enumerate(SHEETS[name].strips))


@every_sheet
def test_every_tick_stands_at_its_mark(name: str) -> None:
    read = seen(name, "svg")
    for place, strip in of_strips(name):
        first = read.line(f"tick-{place}-0").y1
        for index, position in enumerate(strip.position.tolist()):
            tick = read.line(f"tick-{place}-{index}")
            wanted = first + 1e3 * (position - float(strip.position[0]))
            assert tick.y1 == tick.y2 == pytest.approx(wanted, abs=NEAR)


@in_pdf
def test_every_tick_in_the_pdf_stands_at_its_mark(name: str) -> None:
    framed = seen(name, "svg")
    for place, strip in of_strips(name):
        left, _, right, _ = framed.frame(f"strip-{place}")
        found = ticks_in_pdf(seen(name, "pdf"), left, right)
        heights = np.sort(found["left" if strip.numbers_right else "right"])
        assert found["right" if strip.numbers_right else "left"] == []
        positions = np.sort(1e3 * strip.position)
        assert heights - heights[0] == pytest.approx(positions - positions[0], abs=NEAR)


def test_farther_ticks_stand_where_the_strip_says() -> None:
    """Down where the position grows with the distance, up where it falls; so does the arrow."""
    read = seen("full a4", "svg")
    for place, strip in of_strips("full a4"):
        near, far = (
            read.line(f"tick-{place}-{index}").y1 for index in (0, strip.distance.size - 1)
        )
        down = place != 1
        assert (far > near) is down
        word = next(one for one in read.texts if one.name == f"farther-{place}")
        assert word.text == "farther"
        [shaft] = [
            one
            for one in read.lines
            if one.x1 == one.x2 and not one.dashed and one.y1 < near < one.y1 + 400
            if abs(one.y2 - word.y) < 3
            and abs(one.x1 - word.left) < 12
            and read.frame(f"strip-{place}")[0] < one.x1 < read.frame(f"strip-{place}")[2]
        ]
        assert (shaft.y2 > shaft.y1) is down


def test_numbers_stand_on_the_side_asked_for() -> None:
    read = seen("full a4", "svg")
    for place, strip in of_strips("full a4"):
        tick, number = read.line(f"tick-{place}-0").box, read.named(f"number-{place}-0")[0]
        if strip.numbers_right:
            assert number.left > tick[2]
        else:
            assert number.right < tick[0]


def test_a_magnified_strip_is_as_long_as_its_positions() -> None:
    plain = made.strip(length=0.04)
    double = Strip(
        label="twice",
        distance=plain.distance,
        position=2 * plain.position,
        numbered=plain.numbered,
    )
    read = read_svg(picture(made.sheet(strips=(plain, double)), made.METRIC, "svg"))
    for place, long in ((0, 40.0), (1, 80.0)):
        last = read.line(f"tick-{place}-60").y1 - read.line(f"tick-{place}-0").y1
        assert last == pytest.approx(long, abs=NEAR)
        assert read.words(f"span-{place}") == f"{long:.2f} mm"


def test_ticks_are_the_longer_the_rounder_their_distance() -> None:
    """With every tenth numbered: long, half way middle, short between."""
    whole = made.strip(step=1.0, every=10, length=0.15)
    read = read_svg(picture(made.sheet(strips=(whole,)), made.METRIC, "svg"))
    long, *between = (
        read.line(f"tick-0-{i}").box[2] - read.line(f"tick-0-{i}").box[0] for i in range(10)
    )
    assert long > between[4] > between[0]
    assert between[:4] == between[5:] == pytest.approx([between[0]] * 4)


def test_a_number_says_its_ticks_distance_in_the_readers_unit() -> None:
    yards = 0.9144 * np.arange(20.0, 61.0)
    strip = Strip(
        label="yards",
        distance=yards,
        position=0.002 * np.arange(41.0),
        numbered=np.arange(41) % 10 == 0,
    )
    read = read_svg(picture(made.sheet(strips=(strip,)), made.IMPERIAL, "svg"))
    assert [one.text for one in read.named("number-0-")] == ["20", "30", "40", "50", "60"]
    assert read.words("unit-0") == "yd"
    for one in read.named("number-0-"):
        tick = read.line(one.name.replace("number", "tick"))
        assert one.y - 0.5 * 0.73 * one.size == pytest.approx(tick.y1, abs=0.03)


def test_numbers_of_close_ticks_are_spread_and_led_to_their_ticks() -> None:
    """Steps of 2 mm at the near end, where a number needs 2.9 mm; 4 mm at the far end."""
    position = 1e-3 * np.concatenate([np.arange(0, 12, 2.0), np.arange(14.0, 60.0, 4.0)])
    distance = np.arange(20.0, 20.0 + position.size)
    strip = Strip(label="close", distance=distance, position=position, numbered=distance > 0.0)
    read = read_svg(picture(made.sheet(strips=(strip,)), made.METRIC, "svg"))
    numbers = read.named("number-0-")
    assert [one.text for one in numbers] == [f"{at:.0f}" for at in distance]
    leaders = [one for one in read.lines if one.black and one.width == 0.12]
    assert len(leaders) == len(numbers)
    for number, leader in zip(numbers, leaders, strict=True):
        tick = read.line(number.name.replace("number", "tick"))
        assert (leader.x1, leader.y1) == pytest.approx((tick.x2, tick.y1), abs=1e-3)
        assert leader.x2 < number.left
        assert leader.y2 == pytest.approx(number.y - 0.5 * 0.73 * number.size, abs=1e-3)
    assert "number has room" not in read.words("said-")


def test_numbers_without_room_are_left_out_and_the_sheet_says_so() -> None:
    read = seen("tight", "svg")
    assert [one.text for one in read.named("number-0-")] == [
        "20",
        "30",
        "40",
        "50",
        "60",
        "70",
        "80",
    ]
    assert "On strip 1 not every number has room: one of 2 is written." in read.words("said-")
    for place, strip in of_strips("tight"):
        for number in read.named(f"number-{place}-"):
            tick = read.line(number.name.replace("number", "tick"))
            assert abs(number.y - 0.5 * 0.73 * number.size - tick.y1) <= 6.01
            index = int(number.name.rpartition("-")[2])
            assert number.text == f"{strip.distance[index]:.0f}"


def test_numbers_are_left_out_rather_than_led_far() -> None:
    """Twelve within 2.2 mm would reach over 35 mm: fewer are written, none far from its tick."""
    close = np.arange(20.0, 32.0)
    strip = Strip(
        label="bunch",
        distance=np.append(close, 90.0),
        position=np.append(2e-4 * (close - 20.0), 0.15),
        numbered=np.full(13, True),
    )
    read = read_svg(picture(made.sheet(strips=(strip,)), made.METRIC, "svg"))
    numbers = read.named("number-0-")
    assert 2 <= len(numbers) <= 6
    for number in numbers:
        tick = read.line(number.name.replace("number", "tick"))
        assert abs(number.y - 0.5 * 0.73 * number.size - tick.y1) <= 6.01
    assert "On strip 1 not every number has room" in read.words("said-")


def test_the_triangle_points_at_travel_0() -> None:
    """On the second strip, numbers up, the zero is the tick of 40 m; the fourth's is its last."""
    read = seen("full a4", "svg")
    for place, index in ((0, 0), (1, 20), (2, 0), (3, 60)):
        corner, tick = read.line(f"zero-{place}-0"), read.line(f"tick-{place}-{index}")
        assert SHEETS["full a4"].strips[place].position[index] == pytest.approx(0.0, abs=1e-9)
        assert corner.y2 == pytest.approx(tick.y1, abs=1e-3)
        left, _, right, _ = read.frame(f"strip-{place}")
        assert left < corner.x2 < right and left < corner.x1 < right
    assert "triangle" in read.words("said-")


def test_a_zero_beside_the_strip_has_no_triangle() -> None:
    far = made.strip(low=40.0, zero=20.0, high=80.0)
    read = read_svg(picture(made.sheet(strips=(far,)), made.METRIC, "svg"))
    assert read.named("zero-") == [] and "triangle" not in read.words()


@in_both
def test_the_code_is_the_requests(name: str, form: Literal["svg", "pdf"]) -> None:
    request, read = SHEETS[name].request, seen(name, form)
    if request is None or len(request) > 2953:
        assert read.squares == []
        return
    level = "m" if len(request) <= 2331 else "l"
    own = segno.make_qr(request, error=level, mode="byte", encoding="utf-8", boost_error=False)
    matrix = [list(row) for row in own.matrix]
    assert read.modules(len(matrix)) == matrix
    left, top, right, bottom = read.code()
    module = (right - left) / len(matrix)
    assert bottom - top == pytest.approx(right - left, abs=1e-3)
    assert 0.33 <= module <= 0.6
    quiet = 4 * module - 1e-3
    around = (left - quiet, top - quiet, right + quiet, bottom + quiet)
    assert not [one for one in (*read.texts, *read.lines) if meet(one.box, around)]
    assert min(around) > EDGE and around[2] < read.width - EDGE


def test_a_request_too_long_for_a_code_is_told() -> None:
    assert "too long for a code" in seen("too long a request", "svg").words("said-")
    for name in ("longest code", "longest plain code", "no code"):
        assert "too long" not in seen(name, "svg").words()


@every_sheet
def test_nothing_is_cut_into_two(name: str) -> None:
    """Strips, the card and the code keep apart; what is on them stays between their lines."""
    read = seen(name, "svg")
    frames = [read.frame(f"strip-{place}") for place, _ in of_strips(name)]
    if SHEETS[name].card is not None:
        frames.append(read.frame("card"))
    apart = [*frames, *([read.code()] if read.squares else [])]
    for index, one in enumerate(apart):
        assert not any(meet(one, other) for other in apart[index + 1 :])
    for index, frame in enumerate(frames):
        for mark in (*read.lines, *read.texts):
            if meet(mark.box, frame) and not (isinstance(mark, Line) and mark.dashed):
                left, top, right, bottom = mark.box
                assert left >= frame[0] - 1e-3 and right <= frame[2] + 1e-3, (index, mark)
                assert top >= frame[1] and bottom <= frame[3], (index, mark)


@in_both
def test_everything_stays_on_the_paper(name: str, form: Literal["svg", "pdf"]) -> None:
    read = seen(name, form)
    for left, top, right, bottom in (*read.squares, *(o.box for o in (*read.lines, *read.texts))):
        assert left >= EDGE and top >= EDGE
        assert right <= read.width - EDGE and bottom <= read.height - EDGE


@every_sheet
def test_no_text_runs_over_another_or_a_line(name: str) -> None:
    read = seen(name, "svg")
    boxes = np.array([one.box for one in read.texts])
    lines = np.array([one.box for one in read.lines]) + 1e-6 * np.array([-1, -1, 1, 1])
    over = hits(boxes, boxes)
    np.fill_diagonal(over, False)
    assert [read.texts[index] for index in np.flatnonzero(over.any(axis=1))] == []
    crossed = hits(boxes, lines)
    assert [read.texts[index] for index in np.flatnonzero(crossed.any(axis=1))] == []


def hits(some: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Which boxes have room in common with which others."""
    one, two = some[:, None], others[None]
    return ((one[..., :2] < two[..., 2:]) & (two[..., :2] < one[..., 2:])).all(axis=2)


@in_pdf
def test_both_files_show_the_same(name: str) -> None:
    svg, pdf = seen(name, "svg"), seen(name, "pdf")
    assert len(svg.lines) == len(pdf.lines)
    for one, other in zip(svg.lines, pdf.lines, strict=True):
        assert one.close(other, 1e-3)
    assert "".join(one.text for one in svg.texts) == "".join(one.text for one in pdf.texts)
    at = 0
    for text in svg.texts:
        first, last = pdf.texts[at], pdf.texts[at + len(text.text) - 1]
        at += len(text.text)
        assert (first.left, last.right) == pytest.approx((text.left, text.right), abs=0.02)
        assert (first.y, first.size) == pytest.approx((text.y, text.size), abs=1e-3)
    assert len(svg.squares) == len(pdf.squares)
    for one, other in zip(svg.squares, pdf.squares, strict=True):
        assert one == pytest.approx(other, abs=1e-3)


@pytest.mark.parametrize("paper", get_args(Paper))
@pytest.mark.parametrize("form", FORMS)
def test_the_same_sheet_gives_the_same_bytes(paper: Paper, form: Literal["svg", "pdf"]) -> None:
    first = picture(made.full(paper), made.METRIC, form)
    assert picture(made.sheet(title="another, ü"), made.METRIC, form) != first
    assert picture(made.full(paper), made.METRIC, form) == first


def test_the_pdf_is_not_scaled_and_carries_its_font() -> None:
    with pdfplumber.open(io.BytesIO(drawn("full a4", "pdf"))) as document:
        catalog = document.doc.catalog
        assert catalog["Lang"] == b"en"
        assert catalog["ViewerPreferences"].resolve()["PrintScaling"].name == "None"
        assert document.metadata["Title"] == "Club round, autumn"
        assert document.metadata["Subject"].startswith(
            "Club round, autumn. 2026-11-26. Sheet of A4"
        )
        assert (document.metadata["Author"], document.metadata["Producer"]) == ("", "")
        fonts = {one["fontname"] for one in document.pages[0].chars}
        assert len(fonts) == 1 and fonts.pop().endswith("+DejaVuSans")
    assert b"Helvetica" not in drawn("full a4", "pdf")
