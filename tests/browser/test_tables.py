"""The steps that answer with one sentence and a table: level, wind, slopes, the sight's window."""

import re

import pytest
from browsing import DESKTOP, PHONE, Visit, accessible, foresee, screenshot
from kiosk_page import LOADING, asked, no_wider_than_the_screen, opened, state
from playwright.sync_api import Locator, Page, expect

CHARTED = "main .chart svg"
TOUCHED = ", ".join(
    f"main {what}:visible" for what in ("button", "input", "select", "summary", "[role=slider]")
)
"""All that is touched on a step."""


def answer(page: Page) -> Locator:
    return page.locator("main .answer .big")


def more(page: Page) -> Locator:
    return page.locator("main .answer .more")


def field(page: Page, label: str) -> Locator:
    return page.locator("main").get_by_label(label, exact=True)


def cells(page: Page, row: str, table: int = 0) -> list[str]:
    """The cells of the row whose head this is."""
    rows = page.locator("main table").nth(table).locator("tbody tr")
    found = rows.filter(has=page.locator(f"th:text-is('{row}')"))
    expect(found).to_have_count(1, timeout=LOADING)
    return found.locator("td").all_inner_texts()


CLICKS = {
    "travel_per_turn": "1.2 mm",
    "clicks_per_turn": 12,
    "windage_travel_per_turn": "0.7 mm",
    "windage_clicks_per_turn": 14,
}


def said_of(roll: float) -> re.Pattern[str]:
    """A greatest roll in deg as a cell has it: rounded down, never to more than is allowed."""
    return re.compile(rf"^± ?{int(roll * 10) / 10:.1f}°$")


def test_the_level_step_says_how_level_and_where_a_leaning_bow_sends_the_arrow(
    phone: Page,
) -> None:
    state(phone)
    opened(phone, "level")
    expect(answer(phone)).to_contain_text("At 60 m hold the bow within ± ", timeout=LOADING)
    field(phone, "Circle to hit, across").fill("24")
    found = asked(
        phone,
        "cant-tolerance",
        {"distances": ["60 m"], "cants": ["-3 deg"], "allowance": {"diameter": "24 cm"}},
    )["rows"][0]
    held = found["max_cant"]
    said = re.compile(rf"± {int(held * 10) / 10:.1f}° of upright")
    expect(answer(phone)).to_have_text(said, timeout=LOADING)
    # What is said can be relied on: it is never rounded to more than is allowed.
    row = phone.locator("main table tbody tr", has=phone.get_by_role("rowheader", name="60"))
    expect(row.first.locator("td").first).to_have_text(said_of(held), timeout=LOADING)
    lean = phone.get_by_role("slider")
    lean.focus()
    for _ in range(10):
        phone.keyboard.press("ArrowLeft")
    expect(lean).to_have_attribute("aria-valuetext", "3.0° to the left")
    across = f"{-found['right'][0] / 10:.0f} cm left"
    expect(more(phone)).to_contain_text(f"leans 3.0° to the left: at 60 m the arrow lands {across}")
    expect(more(phone)).to_contain_text(re.compile("Outside by .*top limb to the right"))
    phone.get_by_role("button", name="Lean more to the right").click()
    expect(more(phone)).to_contain_text("leans 2.5° to the left")
    no_wider_than_the_screen(phone)


def test_the_level_step_says_what_the_usual_roll_costs(desktop: Page) -> None:
    state(desktop)
    opened(desktop, "level")
    desktop.locator("summary", has_text="What your own roll costs").click()
    field(desktop, "Usual roll (may stay empty)").fill("1.5")
    foresee(desktop, "422")
    wrong = desktop.locator("[data-pointer='/roll_scatter'] .error")
    expect(wrong).to_be_visible(timeout=LOADING)
    # No table of another question stays beside it; the answer above does not need a group.
    expect(desktop.locator("main table")).to_be_hidden()
    expect(answer(desktop)).to_be_visible()
    field(desktop, "Your group, across (may stay empty)").fill("12")
    expect(wrong).to_be_hidden(timeout=LOADING)
    group = {"distance": "30 m", "diameter": "12 cm", "arrows": 6}
    body = {"distances": ["70 m"], "allowance": {"diameter": "40 cm"}, "group": group}
    row = asked(desktop, "cant-tolerance", body | {"roll_scatter": "1.5 deg"})["rows"][0]
    expect(desktop.locator("main table")).to_have_count(2)
    _, level, rolled, _ = cells(desktop, "70", table=1)
    assert [level, rolled] == [
        f"{100 * row[name]:.0f} %" for name in ("share_level", "share_rolled")
    ]
    expect(desktop.get_by_text("on your roll matters")).to_be_visible()


@pytest.mark.parametrize(("key", "sense"), [("270", 1), ("90", -1)])
def test_the_wind_step_aims_against_the_drift(visit: Visit, key: str, sense: int) -> None:
    """Signs by the reply: drift and windage are positive to the right."""
    with visit(DESKTOP) as page:
        state(page, ask={"wind": {"from": f"{key} deg", "distance": "50 m"}}, **CLICKS)
        opened(page, "wind")
        body = {"distances": ["50 m"], "speeds": ["3 m/s"], "directions": [f"{key} deg"]}
        row = asked(page, "wind", body)["rows"][0]
        assert sense * row["drift"] > 0.0
        to, away = ("right", "left") if sense > 0 else ("left", "right")
        drift = f"{abs(row['drift']) / 10:.1f} cm"
        blown = f"In 3 m/s from the {away}: at 50 m aim off {drift} {away}."
        expect(answer(page)).to_have_text(blown, timeout=LOADING)
        expect(more(page)).to_contain_text(f"lands {drift} {to}")
        clicks = f"{abs(row['windage_clicks'])} clicks {to}"
        expect(more(page)).to_contain_text(f"windage {clicks}")
        assert cells(page, "50")[1] == clicks
        expect(page.get_by_text("Computed for a steady, level wind")).to_be_visible()


def test_the_wind_is_turned_by_touch_and_by_key(phone: Page) -> None:
    state(phone)
    opened(phone, "wind")
    dial = phone.get_by_role("slider")
    expect(dial).to_have_attribute("aria-valuenow", "90")
    dial.focus()
    phone.keyboard.press("ArrowLeft")
    expect(dial).to_have_attribute("aria-valuetext", "from the right, a little ahead, 75 degrees")
    expect(answer(phone)).to_contain_text("from the right, a little ahead", timeout=LOADING)
    expect(field(phone, "Direction")).to_have_value("75")
    dial.scroll_into_view_if_needed()
    box = dial.bounding_box()
    assert box is not None
    # Below the middle: from behind.  Above it: from the target.
    for down, angle, arrow in ((0.85, "180", "high"), (0.15, "0", "low")):
        dial.tap(position={"x": box["width"] / 2, "y": down * box["height"]})
        expect(dial).to_have_attribute("aria-valuenow", angle)
        against = "low" if arrow == "high" else "high"
        words = re.compile(rf"straight (ahead|behind): at 50 m aim off [0-9.]+ cm {against}\.")
        expect(answer(phone)).to_have_text(words, timeout=LOADING)
        expect(more(phone)).to_contain_text(f" cm {arrow}.")
    field(phone, "Direction").fill("-30")
    expect(dial).to_have_attribute("aria-valuenow", "330")
    expect(answer(phone)).to_contain_text("from ahead, a little from the left", timeout=LOADING)
    no_wider_than_the_screen(phone)


def test_a_slope_is_shot_with_a_nearer_mark(phone: Page) -> None:
    state(phone, **CLICKS)
    opened(phone, "slopes")
    body = {"distances": ["50 m"], "slopes": ["-20 deg", "0 deg", "20 deg"]}
    down, level, up = asked(phone, "slopes", body)["rows"]
    for row, way, words in ((up, "up", "uphill"), (down, "down", "downhill")):
        phone.locator("main").get_by_label("The target lies").select_option(way)
        mark = f"50 m at 20° {words}: shoot the mark of {row['level_distance']:.1f} m."
        expect(answer(phone)).to_have_text(mark, timeout=LOADING)
        less = level["clicks"] - row["clicks"]
        assert less > 0
        expect(more(phone)).to_contain_text(f"That is {less} clicks up from the 50 m mark.")
    phone.get_by_role("button", name="Add to: Slope").click()
    field(phone, "Slope 1").fill("20")
    head = phone.locator("main thead th")
    expect(head).to_have_text(["Distance, m", "20° downhill", "20° uphill"], timeout=LOADING)
    both = [f"{row['level_distance']:.1f} m" for row in (down, up)]
    assert [cell.split("\n")[0] for cell in cells(phone, "50")] == both
    foresee(phone, "422")
    field(phone, "Slope 1").fill("75")
    wrong = phone.locator("main .error:visible")
    expect(wrong).to_have_count(1, timeout=LOADING)
    expect(phone.locator("[data-pointer='/slopes/0'] .error")).to_be_visible()
    no_wider_than_the_screen(phone)


def test_the_window_step_moves_the_sight_for_far_marks(desktop: Page) -> None:
    state(desktop, **CLICKS)
    opened(desktop, "window")
    body = {
        "distances": ["60 m", "90 m"],
        "window": {"nearest": "20 m", "farthest": "60 m"},
        "bring": {"distance": "90 m", "to": "bottom"},
    }
    found = asked(desktop, "sight-travel", body)
    clicks = found["bring"]["clicks"]
    assert clicks > 0
    far = "Beyond the window: 70 m and farther."
    move = f"Move the whole sight {clicks} clicks down: then it shows "
    expect(answer(desktop)).to_contain_text(f"{far} {move}", timeout=LOADING)
    assert found["fits_now"][-1]["to"] >= 90.0
    expect(answer(desktop)).to_contain_text(" to 90 m.")
    assert [cells(desktop, row)[:2] for row in ("20", "90")] == [["yes", "no"], ["no", "yes"]]
    expect(desktop.get_by_text("prove one mark by shooting")).to_be_visible()
    what = desktop.locator("main").get_by_label("What to do")
    what.focus()
    what.select_option("shift")
    # The choice keeps the focus: nobody who works by key is thrown back to the start.
    expect(what).to_be_focused()
    desktop.locator("main").get_by_label("Which way").select_option("up")
    field(desktop, "How many").fill("24")
    expect(answer(desktop)).to_contain_text("Move the whole sight 24 clicks up:", timeout=LOADING)
    what.select_option("none")
    expect(answer(desktop)).to_have_text(f"{far} It shows 20 m to 60 m.", timeout=LOADING)


def test_a_move_that_the_sight_cannot_make_is_refused_beside_its_field(phone: Page) -> None:
    state(phone, ask={"window": {"adjustment": {"up": "3 mm", "down": "4 mm"}}}, **CLICKS)
    foresee(phone, "422")
    opened(phone, "window")
    wrong = phone.locator("[data-pointer='/bring/distance'] .error")
    expect(wrong).to_contain_text("It can be moved 3 mm up and 4 mm down.", timeout=LOADING)
    expect(answer(phone)).to_be_hidden()
    folded = phone.locator("details", has_text="How far it can be moved")
    expect(folded).not_to_have_attribute("open", "")
    # In one breath: folded away before the page has had time to say what is wrong.
    phone.evaluate(
        """() => {
        const details = document.querySelector("main details");
        const down = [...details.querySelectorAll("label")]
          .find((label) => label.textContent === "Down (may stay empty)").control;
        down.value = "x";
        down.dispatchEvent(new Event("input", { bubbles: true }));
        details.open = false;
        }"""
    )
    # What is wrong is never folded away.
    expect(folded).to_have_attribute("open", "", timeout=LOADING)
    field(phone, "Down (may stay empty)").fill("40")
    expect(answer(phone)).to_contain_text(" to 90 m.", timeout=LOADING)


def test_a_housing_in_the_way_is_said_in_the_open(phone: Page) -> None:
    housing = {"below_pin": "75 mm", "arrow_radius": "12 mm"}
    state(phone, ask={"window": {"housing": housing}})
    opened(phone, "window")
    expect(phone.get_by_text("would strike the sight's housing")).to_be_visible(timeout=LOADING)
    expect(phone.locator("main thead")).to_contain_text("Free under the housing, mm")
    phone.locator("summary", has_text="Whether the vanes").click()
    expect(field(phone, "Reach of a vane (may stay empty)")).to_have_value("12")
    no_wider_than_the_screen(phone)


@pytest.mark.parametrize("step", ["level", "wind", "slopes", "window"])
def test_each_follows_the_units(visit: Visit, step: str) -> None:
    with visit(PHONE, color_scheme="dark") as page:
        opened(page, step)
        expect(page.locator(CHARTED)).to_be_visible(timeout=LOADING)
        page.get_by_label("Units").select_option("imperial")
        expect(answer(page)).to_contain_text(" yd", timeout=LOADING)
        expect(page.locator("main table").first).to_contain_text("Distance, yd", timeout=LOADING)
        expect(field(page, "From")).to_have_attribute("placeholder", "20")
        accessible(page)
        small = page.locator(TOUCHED).evaluate_all(
            "all => all.filter((one) => one.getBoundingClientRect().height < 48)"
            ".map((one) => one.outerHTML)"
        )
        assert not small
        screenshot(page, f"tables-{step}-imperial-dark")
