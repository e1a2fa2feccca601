"""What is shown: whether it is current, whether more lies beside it, and how it looks on paper."""

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pdfplumber
import pytest
from browsing import DESKTOP, PHONE, Visit, accessible, foresee, screenshot
from kiosk_page import LOADING, asked, opened, state, try_now
from PIL import Image
from playwright.sync_api import Locator, Page, Route, expect

OLD = ".step .stale"
TAG = "(one) => getComputedStyle(one, '::before').content"
SAID = '"Not yet recomputed"'
END = {"kind": "arrows", "distance": "40 m", "how": "measured", "up": "5 cm"}


@contextmanager
def held(page: Page) -> Iterator[None]:
    """Computations are asked for, and not answered before the end."""
    routes: list[Route] | None = []

    def hold(route: Route) -> None:
        if routes is None:
            route.continue_()
        else:
            routes.append(route)

    page.route("**/v1/**", hold)
    yield
    waiting, routes = routes, None
    for route in waiting:
        route.continue_()


def settled(page: Page, shown: str) -> Locator:
    """What answers on a step, once it has."""
    answer = page.locator(f"main {shown}").first
    expect(answer).to_be_visible(timeout=LOADING)
    for sentence in page.locator("main .answer .big").all():
        expect(sentence).not_to_be_empty(timeout=LOADING)
    expect(page.locator("#progress")).not_to_have_class("progress busy", timeout=LOADING)
    return answer


@pytest.mark.parametrize(
    ("step", "label", "shown", "tags"),
    [
        ("marks", "From", "table", 1),
        ("level", "Circle to hit, across", "table", 2),
        ("path", "Distance to the target", ".views svg", 3),
        ("wind", "Speed", "table", 2),
        ("slopes", "Distance", "table", 1),
        ("window", "Farthest distance that it shows", "table", 2),
        ("print", "From", ".sheet img", 1),
    ],
)
def test_what_was_shown_before_an_entry_says_so(
    desktop: Page, step: str, label: str, shown: str, tags: int
) -> None:
    state(desktop)
    opened(desktop, step)
    settled(desktop, shown)
    expect(desktop.locator(OLD)).to_have_count(0)
    # Everything that was asked is answered: a held question is one of the new entry.
    field = desktop.locator("main").get_by_label(label, exact=True).first
    with held(desktop):
        field.fill("25")
        expect(desktop.locator(OLD)).to_have_count(tags)
        expect(desktop.locator(f"{OLD}[aria-busy=true]")).to_have_count(tags)
        assert desktop.locator(OLD).first.evaluate(TAG) == SAID
    expect(desktop.locator(OLD)).to_have_count(0, timeout=LOADING)
    expect(desktop.locator("main [aria-busy]")).to_have_count(0)


def test_a_lost_service_and_a_refusal_leave_old_answers_marked(phone: Page) -> None:
    state(phone)
    opened(phone, "wind")
    answer = settled(phone, ".answer")
    expect(answer).to_contain_text("In 3 m/s", timeout=LOADING)
    foresee(phone, "ERR_CONNECTION_REFUSED")
    phone.route("**/v1/**", lambda route: route.abort("connectionrefused"))
    speed = phone.locator("main").get_by_label("Speed", exact=True)
    speed.fill("3.5")
    expect(answer).to_have_class("answer stale")
    expect(answer).to_contain_text("In 3 m/s")
    accessible(phone)
    screenshot(phone, "kiosk-not-recomputed")
    # What was answered already is current again without being asked.
    speed.fill("3")
    expect(answer).to_have_class("answer")
    speed.fill("4")
    expect(answer).to_have_class("answer stale")
    phone.unroute("**/v1/**")
    try_now(phone)
    expect(answer).to_contain_text("In 4 m/s", timeout=LOADING)
    expect(answer).to_have_class("answer")


def test_refused_marks_are_those_of_before(phone: Page) -> None:
    state(phone)
    opened(phone, "marks")
    settled(phone, "table")
    foresee(phone, "422")
    phone.locator("main").get_by_label("From", exact=True).fill("x")
    expect(phone.locator("main .error:visible")).to_have_count(1, timeout=LOADING)
    expect(phone.locator(OLD)).to_have_count(1)
    assert phone.locator(OLD).evaluate(TAG) == SAID
    expect(phone.locator("main [aria-busy]")).to_have_count(0)


def test_a_drift_against_the_wind_is_explained_beside_it(desktop: Page) -> None:
    state(desktop, ask={"wind": {"distance": "20 m"}})
    opened(desktop, "wind")
    body = {"distances": ["20 m"], "speeds": ["3 m/s"], "directions": ["90 deg"]}
    reply = asked(desktop, "wind", body)
    assert reply["rows"][0]["drift"] > 0.0, "not carried to the wind's side: no case for a word"
    words = desktop.get_by_text("turns its tip into the wind")
    expect(desktop.locator("main .answer").filter(has=words)).to_be_visible(timeout=LOADING)
    settled(desktop, "table")
    expect(words).to_have_count(1)
    desktop.locator("main").get_by_label("Distance", exact=True).fill("50")
    # The table still has rows of this kind, the answer has not.
    expect(desktop.locator("main .answer .note")).to_have_count(0, timeout=LOADING)
    expect(words).to_be_visible()
    desktop.locator("main").get_by_label("From", exact=True).fill("40")
    expect(words).to_have_count(0, timeout=LOADING)


def test_what_is_allowed_and_what_is_left_of_it_add_up(desktop: Page) -> None:
    state(desktop)
    opened(desktop, "level")
    figures = r"within ± ([0-9.]+)°.*leans ([0-9.]+)°.*(Inside:|Outside by) ([0-9.]+)°"
    answer = settled(desktop, ".answer")
    differs = 0
    for across in (30, 34, 38, 42, 12):
        desktop.locator("main").get_by_label("Circle to hit, across", exact=True).fill(str(across))
        body = {"distances": ["60 m"], "allowance": {"diameter": f"{across} cm"}}
        most = asked(desktop, "cant-tolerance", body)["rows"][0]["max_cant"]
        expect(answer).to_contain_text(f"± {int(most * 10) / 10:.1f}°", timeout=LOADING)
        found = re.search(figures, answer.inner_text(), re.DOTALL)
        assert found, answer.inner_text()
        within, leans, off = (float(found[group]) for group in (1, 2, 4))
        assert leans + (off if found[3] == "Inside:" else -off) == pytest.approx(within, abs=1e-9)
        differs += round(most, 1) > within
    assert differs, "each figure is rounded down by itself: nothing was tried"


def edges(box: Locator) -> tuple[float, float]:
    """Mean darkness of the outermost pixels at the left and at the right, within the borders."""
    image = Image.open(io.BytesIO(box.screenshot())).convert("L")
    left, right = (
        image.crop((x, 6, x + 3, image.height - 6)).resize((1, 1), Image.Resampling.BOX)
        for x in (1, image.width - 4)
    )
    return left.getpixel((0, 0)), right.getpixel((0, 0))  # type: ignore[return-value]


@pytest.mark.parametrize(("step", "box"), [("marks", "main .wide"), ("setup", "#glance .strip")])
def test_what_is_cut_off_is_seen_to_go_on(phone: Page, step: str, box: str) -> None:
    state(phone)
    opened(phone, step)
    settled(phone, "table, .control")
    wide = phone.locator(box)
    room = wide.evaluate("(one) => one.scrollWidth - one.clientWidth")
    assert room > 0, "all of it is seen: nothing to tell"
    # The table's own words may lie under an edge: the shade is much darker than they are.
    left, right = edges(wide)
    assert right < left - 30
    wide.evaluate("(one) => one.scrollTo(one.scrollWidth, 0)")
    left, right = edges(wide)
    assert left < right - 30
    wide.evaluate("(one) => one.scrollTo((one.scrollWidth - one.clientWidth) / 2, 0)")
    assert all(edge < 200 for edge in edges(wide))


def test_paper_says_what_it_rests_on(visit: Visit, tmp_path: Path) -> None:
    with visit(PHONE) as page:
        state(page, ask={"verify": {"ends": [END]}}, clicks_per_turn=12, travel_per_turn="1.2 mm")
        opened(page, "marks")
        settled(page, "table")
        paper = page.locator("#paper")
        expect(paper).to_be_hidden()
        page.pdf(path=tmp_path / "marks.pdf", format="A4")
        with pdfplumber.open(tmp_path / "marks.pdf") as printed:
            text = "\n".join(sheet.extract_text() for sheet in printed.pages)
            beyond = [
                word["text"]
                for sheet in printed.pages
                for word in sheet.extract_words()
                if word["x1"] > sheet.width or word["x0"] < 0.0
            ]
        assert not beyond
        year = page.evaluate("new Date().getFullYear()")
        for words in (
            rf"arrowloft, \d+ [A-Z][a-z]+ {year}\. Corrected by 1 end\.",
            "Bow: peep to arrow 11 cm, draw length 28.5 in",
            "Arrow: mass 400 grains",
            "Sight: .*clicks in one turn 12",
            "Launch speed: measured, speed 270 ft/s",
            "Drag: constant, coefficient 2",
            "Distances: From: 20 m, To: 70 m, Every: 5 m",
            "Chance to be",
            "70 .* %",
        ):
            assert re.search(words, text), words
        assert "See the predicted" not in text


def test_paper_has_answers_and_no_fields(desktop: Page) -> None:
    state(desktop, ask={"verify": {"ends": [END]}}, radius="33 in")
    for step, shown in (("wind", "table"), ("setup", "[data-model=drag] .control")):
        opened(desktop, step)
        settled(desktop, shown)
        desktop.emulate_media(media="print")
        paper = desktop.locator("#paper")
        expect(paper).to_contain_text("Sight: eye to pin 33 in")
        expect(desktop.locator("input:visible, select:visible, button:visible")).to_have_count(0)
        expect(desktop.locator("table:visible").first).to_be_visible()
        # The step "Wind" goes by the set-up alone.
        standing = "Predicted, to be proven." if step == "wind" else "Corrected by 1 end."
        expect(paper).to_contain_text(standing)
        if step == "wind":
            expect(paper).to_contain_text("Wind: Speed: 3 m/s, Direction: 90°, Distance: 50 m")
        desktop.emulate_media(media="screen")
        expect(paper).to_be_hidden()


OPENED = "window.opened = []; window.open = (to) => (window.opened.push(to), window.lets);"


def test_a_pdf_is_opened_once_it_is_there_or_else_kept(visit: Visit) -> None:
    with visit(DESKTOP) as page:
        page.add_init_script(OPENED)
        state(page)
        opened(page, "print")
        settled(page, ".sheet img")
        button = page.get_by_role("button", name="Open the PDF to print")
        foresee(page, "ERR_CONNECTION_REFUSED")
        page.route("**/v1/**", lambda route: route.abort("connectionrefused"))
        button.click()
        expect(page.get_by_role("button", name="Try now")).to_be_visible(timeout=LOADING)
        assert page.evaluate("window.opened") == []
        page.evaluate("window.lets = {}")
        page.unroute("**/v1/**")
        try_now(page)
        page.wait_for_function("() => window.opened.length === 1")
        assert page.evaluate("window.opened[0]").startswith("blob:")
        # A browser that opens nothing.
        page.evaluate("window.lets = null")
        with page.expect_download(timeout=LOADING) as kept:
            button.click()
        assert kept.value.path().read_bytes().startswith(b"%PDF-")
        expect(page.get_by_text("saved among its downloads")).to_be_visible()


def test_the_sheet_is_seen_large(phone: Page) -> None:
    state(phone)
    opened(phone, "print")
    settled(phone, ".sheet img")
    box = phone.get_by_label("A code that holds the set-up").bounding_box()
    assert box is not None and min(box["width"], box["height"]) >= 48
    phone.get_by_role("button", name="Touch it to see it large").tap()
    large = phone.get_by_role("dialog", name="The sheet, large")
    expect(large.locator("img")).to_be_visible()
    seen = large.evaluate("(one) => [one.clientWidth, one.scrollWidth, one.scrollHeight]")
    assert seen[0] == 360 and seen[1] > 2 * 360 and seen[2] > 740
    accessible(phone)
    close = large.get_by_role("button", name="Close")
    large.evaluate("(one) => one.scrollTo(400, 600)")
    expect(close).to_be_in_viewport()
    close.tap()
    expect(large).to_have_count(0)


def test_proven_marks_are_sent_for_all_scales(desktop: Page) -> None:
    bodies: list[Any] = []
    desktop.on("request", lambda one: bodies.append(one) if "sight-scale" in one.url else None)
    other = {"label": "Cold", "temperature": "0 degC"}
    state(desktop, ask={"verify": {"ends": [END]}, "print": {"label": "Warm", "others": [other]}})
    opened(desktop, "print")
    settled(desktop, ".sheet img")
    sent = bodies[-1].post_data_json
    assert len(sent["marks"]) == 9 and "label" not in sent
    assert [scale["label"] for scale in sent["scales"]] == ["Warm", "Cold"]
    assert not any("marks" in scale for scale in sent["scales"])
