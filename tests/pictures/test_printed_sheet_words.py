"""What stands in words on a sheet of sight scales, and what is said of it."""

import io
import math
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from typing import Literal

import numpy as np
import pdfplumber
import printed_sheets as made
import pytest
from printed_read import Read, read_svg

from arrowloft.core.sight.printed import Card, Paper, PrintedSheet
from arrowloft.pictures import printed_words as words
from arrowloft.pictures.millimetres import cut_short, lines_of, text_width
from arrowloft.pictures.printed_code import codes
from arrowloft.pictures.printed_sheet import picture

BOXES = "Signs that this sheet cannot show are boxes; its description has them."


def seen(sheet: PrintedSheet, chosen: dict[str, str] = made.METRIC) -> Read:
    return read_svg(picture(sheet, chosen, "svg"))


def spoken(sheet: PrintedSheet, chosen: dict[str, str] = made.METRIC) -> tuple[str, str]:
    """Title and description of the SVG."""
    root = ET.fromstring(picture(sheet, chosen, "svg"))
    title, description = root[0], root[1]
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"
    return title.text or "", description.text or ""


def table(read: Read, rows: int, columns: int) -> list[list[str]]:
    return [
        [read.words(f"cell-{row}-{column}") for column in range(columns)] for row in range(rows)
    ]


SMALL = Card(
    label="small",
    distance=np.array([20.0, 30.0, 40.0]),
    travel=np.array([-0.00126, 0.0, 0.01234]),
    clicks=np.array([-12.0, 0.0, 123.0]),
    reading=np.array([1.5, 2.0, 6.125]),
    drift=np.array([-0.0204, -0.0001, 0.5]),
    windage_clicks=np.array([2.0, 0.0, -3.0]),
    greatest_roll=np.array([math.nan, math.radians(12.34), math.radians(4.0)]),
    wind_speed=3.0,
    wind_from=0.5 * math.pi,
    allowance=0.12,
    roll_tried=math.radians(30.0),
)


def test_the_card_says_its_rows_in_the_readers_units() -> None:
    read = seen(made.sheet(card=SMALL))
    assert table(read, 3, 7) == [
        ["20", "-1.3", "-12", "1.50", "-20", "+2", ">30"],
        ["30", "0.0", "0", "2.00", "0", "0", "±12.3"],
        ["40", "+12.3", "+123", "6.12", "+500", "-3", "±4.0"],
    ]
    assert [read.words(f"card-name-{column}-") for column in range(7)] == [
        "distance (m)",
        "mark (mm)",
        "clicks",
        "reading",
        "drift (mm)",
        "windage clicks",
        "level (deg)",
    ]
    imperial = seen(made.sheet(card=SMALL), made.IMPERIAL)
    assert table(imperial, 3, 7)[2] == ["43.74", "+0.486", "+123", "6.12", "+19.69", "-3", "±4.0"]
    assert imperial.words("card-name-4-") == "drift (in)"


def test_the_card_says_what_its_columns_mean() -> None:
    assert seen(made.sheet(card=SMALL)).words("card-note-") == (
        "mark: travel of the pin from the zero distance, down positive. clicks: of the sight, for "
        "that travel. reading: of the sight's own scale. drift: of the impact in a wind of 3 m/s "
        "from the right, right positive. windage: clicks that cancel this drift, pin to the right "
        "positive. level: roll of the bow to either side that takes the impact out of a circle of "
        "120 mm across; >30: none up to 30 deg does."
    )
    aslant = replace(SMALL, wind_from=math.radians(70.0), greatest_roll=None)
    assert "of 9.84 ft/s from 70 deg clockwise from ahead, right" in seen(
        made.sheet(card=aslant), made.IMPERIAL
    ).words("card-note-")


def test_a_card_has_the_columns_that_it_is_given() -> None:
    bare = Card(label="bare", distance=SMALL.distance, travel=SMALL.travel)
    read = seen(made.sheet(card=bare))
    assert table(read, 3, 2) == [["20", "-1.3"], ["30", "0.0"], ["40", "+12.3"]]
    assert read.named("card-name-2") == read.named("cell-0-2") == []
    assert read.words("card-note-") == (
        "mark: travel of the pin from the zero distance, down positive."
    )


def test_where_no_arrow_arrives_the_card_says_so() -> None:
    unknown = np.array([1.0, 1.0, math.nan])
    short = replace(
        SMALL, drift=SMALL.drift * unknown, windage_clicks=SMALL.windage_clicks * unknown
    )
    read = seen(made.sheet(card=short))
    assert [row[4:6] for row in table(read, 3, 7)] == [["-20", "+2"], ["0", "0"], ["–", "–"]]
    assert "right positive; –: no arrow arrives." in read.words("card-note-")
    assert "no arrow arrives" not in seen(made.sheet(card=SMALL)).words()


def test_figures_of_a_column_stand_under_each_other() -> None:
    read = seen(made.sheet(card=made.card(25)))
    for column in range(7):
        ends = [one.right for row in range(25) for one in read.named(f"cell-{row}-{column}")]
        assert len(ends) == 25 and max(ends) - min(ends) < 1e-3
    for row in range(25):
        level = {one.y for column in range(7) for one in read.named(f"cell-{row}-{column}")}
        assert len(level) == 1


def test_title_and_date_are_on_top() -> None:
    read = seen(made.sheet(title="Autumn round", date="2026-11-26"))
    for name, text in (("title-0", "Autumn round"), ("date", "2026-11-26")):
        [one] = read.named(name)
        assert one.text == text
        assert one.y < min(line.box[1] for line in read.lines)
    assert read.words("label-0-") == "Field arrow, 12 degC"


def test_a_sheet_without_a_title_says_what_it_is() -> None:
    one, two = (made.sheet(title=" ", date="", strips=(made.strip(),) * count) for count in (1, 2))
    assert (seen(one).words("title-"), seen(two).words("title-")) == ("Sight scale", "Sight scales")
    assert seen(one).named("date") == []
    assert spoken(one)[0] == "Sight scale"


def test_every_piece_is_marked_to_be_cut() -> None:
    read = seen(made.full("a4"))
    words = [one for one in read.texts if one.text == "cut"]
    assert len(words) == 5
    for word, name in zip(words, [*(f"strip-{place}" for place in range(4)), "card"], strict=True):
        left, top, right, _ = read.frame(name)
        assert left < word.left < word.right < right and top - 3 < word.y < top
    assert all(line.dashed and not line.black for line in read.named("strip-"))
    assert all(line.black for line in read.lines if not line.dashed)


def test_what_is_said_stands_at_the_foot() -> None:
    words = seen(made.sheet()).words("said-")
    assert words.startswith(" ".join(made.SAID))
    assert "Measure each strip as well, from its first tick to its last" in words


def test_more_words_are_smaller_before_some_are_cut() -> None:
    sizes = []
    for many in (1, 6):
        read = seen(made.full("letter", said=made.SAID * many))
        assert " ".join(made.SAID * many) in read.words("said-")
        sizes.append(read.named("said-0")[0].size)
    assert sizes[0] > sizes[1] >= 1.8
    cut = seen(made.full("letter", said=made.SAID * 50))
    assert cut.words("said-").endswith("…")


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_however_much_is_said_the_foot_stays_under_the_strips(paper: Paper) -> None:
    for many in range(1, 40, 2):
        said = ("What is said here is one line of the foot of a sheet.",) * many
        read = seen(made.full(paper, said=said, request=None))
        under = max(one.y for one in read.named("span-"))
        assert read.line("ruler-0").box[1] - 3.0 > under
        assert max(one.y for one in read.named("said-")) < read.height - 5.0


def test_a_code_that_has_no_room_is_left_out() -> None:
    """Under a card of 25 rows, 4 strips beside it, and a foot that fills the rest."""
    crowded = made.sheet(strips=(made.strip(),) * 4, card=made.card(25), said=made.SAID * 90)
    assert seen(crowded).squares == []
    assert "The code holds" not in spoken(crowded)[1]
    assert seen(replace(crowded, said=made.SAID)).squares


def test_the_description_tells_the_sheet_with_its_numbers() -> None:
    sheet = made.sheet(strips=(made.strip(up=True, every=30),), card=SMALL)
    title, said = spoken(sheet)
    assert title == "Club round, autumn"
    for part in (
        "Club round, autumn. 2026-11-26. Sheet of A4 paper at true size.",
        "Strip 1, “Field arrow, 12 degC”: 61 ticks for 20 to 80 m, farther up, 60.00 mm",
        # (50 + 0.006 2500) - (20 + 0.006 400) = 42.6 of 96: 26.625 mm from the lower end
        "Numbers, m at mm below the upper end: 20 at 60.00, 50 at 33.38, 80 at 0.00.",
        "Card “small”: distance (m), mark (mm), clicks, reading, drift (mm), windage clicks, "
        "level (deg): 20, -1.3, -12, 1.50, -20, +2, >30; 30, 0.0,",
        "The code holds the request",
        "A ruler of 100 mm. Print at 100 %",
        *made.SAID,
    ):
        assert part in said
    _, bare = spoken(made.sheet(card=None, request=None))
    assert "Card" not in bare and "The code" not in bare


def test_hostile_texts_are_texts() -> None:
    sheet = made.hostile("a4")
    raw = picture(sheet, made.METRIC, "svg")
    root = ET.fromstring(raw)
    tags = {one.tag.partition("}")[2] for one in root.iter()}
    assert tags == {"svg", "title", "desc", "rect", "line", "text", "path"}
    assert "<script>alert(1)</script> & 'x' \"y\" ]]>" in (root[1].text or "")
    assert "\U0001f3f9\U0001f3af" in (root[1].text or "")
    with pdfplumber.open(io.BytesIO(picture(sheet, made.METRIC, "pdf"))) as document:
        assert document.metadata["Title"].startswith("<script>alert(1)</script> & ")
        assert document.metadata["Subject"].count("\U0001f3f9") >= 4


def test_signs_that_the_font_lacks_are_boxes_and_the_sheet_says_so() -> None:
    lacking = seen(made.sheet(strips=(made.strip("\U0001f3f9 bow"),)))
    assert lacking.words("label-0-") == "\u25a1 bow"
    assert BOXES in lacking.words("said-")
    having = seen(made.sheet(strips=(made.strip("Übung ½"),)))
    assert having.words("label-0-") == "Übung ½"
    assert "boxes" not in having.words()


@pytest.mark.parametrize("form", ["svg", "pdf"])
@pytest.mark.parametrize(
    "text",
    ["\u0627\u0644\u0634\u062a\u0627", "\u05d7\u05d5\u05e8\u05e3", "\ufef7\u0651",
     "\u07ca\u07eb", "\u0e9e\u0eb5\u0ec9", "\u0936\u0940\u0924"],
    ids=["Arabic", "Hebrew", "joined Arabic", "N'Ko", "Lao", "Devanagari"],
)  # fmt: skip
def test_signs_that_must_be_turned_or_joined_are_boxes_in_either_form(
    text: str, form: Literal["svg", "pdf"]
) -> None:
    sheet = made.sheet(strips=(made.strip(f"{text} W"),), title=f"T {text}", date=text)
    raw = picture(sheet, made.METRIC, form)
    if form == "pdf":
        with pdfplumber.open(io.BytesIO(raw)) as document:
            shown = "".join(one["text"] for one in document.pages[0].chars)
        assert shown.count("\u25a1") == 3 * len(text) and not set(text) & set(shown)
        return
    read = read_svg(raw)
    boxes = "\u25a1" * len(text)
    assert read.words("label-0-") == f"{boxes} W"
    assert (read.words("title-"), read.words("date")) == (f"T {boxes}", boxes)
    assert BOXES in read.words("said-")
    assert f"\u201c{text} W\u201d" in spoken(sheet)[1]


def test_signs_from_left_to_right_are_no_boxes() -> None:
    for text in ("\u041b\u0443\u043a", "\u03c4\u03cc\u03be\u03bf", "Pfeil\u00e4", "\u0561\u0572"):
        read = seen(made.sheet(strips=(made.strip(text),)))
        assert read.words("label-0-") == text and "boxes" not in read.words()


def test_no_text_turns_the_direction_of_another() -> None:
    read = seen(made.hostile("a4"))
    assert not set("\u200e\u200f\u202a\u202e\u2066\u2069") & set(read.words())


def test_a_word_stands_under_the_label_and_is_told() -> None:
    first, second = (made.strip(label=label) for label in ("Summer", "Winter"))
    sheet = made.sheet(strips=(first, replace(second, word="predicted only")))
    read = seen(sheet)
    assert read.named("word-0") == []
    [word], [label] = read.named("word-1"), read.named("label-1-0")
    assert word.text == "(predicted only)"
    assert word.left == label.left and word.y > label.y
    _, said = spoken(sheet)
    assert "Strip 2, \u201cWinter\u201d, predicted only: 61 ticks" in said
    assert "Strip 1, \u201cSummer\u201d: 61 ticks" in said


def test_the_code_says_what_to_do_with_it() -> None:
    for sheet in (made.sheet(), made.full("letter"), made.sheet(card=None)):
        read = seen(sheet)
        assert read.words("scan-") == words.SCAN and "send it to /v1/sight-scale" in words.SCAN
        below = read.code()[3]
        assert all(one.y > below for one in read.named("scan-"))


def test_a_code_with_no_room_is_made_smaller_by_its_level() -> None:
    """Level L needs fewer modules for the same bytes."""
    request = "x" * 1800
    found = codes(request)
    assert min(one.side for one in found[1:]) < found[0].side
    assert [len(one.rows) for one in found] == sorted((len(o.rows) for o in found), reverse=True)
    assert {len(one.rows) for one in found} == {157, 141}
    assert [len(one.rows) for one in codes("x" * 2332)] == [161]
    assert codes("x" * 2954) == []


def test_no_style_is_written_into_the_svg() -> None:
    """The page that shows it may forbid styles of its own; nothing is loaded from elsewhere."""
    root = ET.fromstring(picture(made.full("a4"), made.METRIC, "svg"))
    for one in root.iter():
        assert {"style", "class", "href"}.isdisjoint(one.attrib)
    ids = [one.get("id") for one in root.iter() if one.get("id")]
    assert len(ids) == len(set(ids))


def test_long_texts_are_cut_to_their_room() -> None:
    for text in ("word " * 60, "W" * 300, "i" * 900):
        for wide in (5.0, 19.6, 90.0):
            lines = lines_of(text, wide, 2.4, 3)
            assert len(lines) == 3 and lines[-1].endswith("…")
            assert max(text_width(line, 2.4) for line in lines) <= wide + 1e-9
            short = cut_short(text, wide, 2.4)
            assert short.endswith("…") and text.startswith(short[:-1])
            assert text_width(short, 2.4) <= wide
            assert text_width(f"{text[: len(short) + 1]}…", 2.4) > wide
    assert lines_of("two words", 90.0, 2.4, 3) == ["two words"]
    assert cut_short("short", 90.0, 2.4) == "short"
    assert lines_of("", 90.0, 2.4, 3) == []


def test_a_text_is_as_wide_as_its_letters_in_the_font() -> None:
    """An M of DejaVu Sans is 1767 of 2048 units wide, a digit 1303."""
    assert text_width("M", 2.048) == pytest.approx(1.767, abs=2e-3)
    assert text_width("0123456789", 2.048) == pytest.approx(13.03, abs=2e-2)


@pytest.mark.parametrize("form", ["svg", "pdf"])
def test_a_plain_sheet_does_not_load_the_plotting_library(form: str) -> None:
    code = (
        "import sys, printed_sheets as made; from arrowloft.pictures.printed_sheet import picture; "
        f"picture(made.sheet(), made.METRIC, {form!r}); sys.exit('matplotlib' in sys.modules)"
    )
    run = [sys.executable, "-c", code]
    paths = {"PYTHONPATH": str(made.__file__).rpartition("/")[0]}
    assert subprocess.run(run, check=False, env=paths).returncode == 0
