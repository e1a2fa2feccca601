"""The step that holds the arrow's way against what stands in it: drawn, dragged, keyed, typed."""

import re
from typing import Any

from browsing import PHONE, Visit, accessible, foresee, screenshot
from kiosk_page import LOADING, no_wider_than_the_screen, opened
from playwright.sync_api import Locator, Page, expect


def arrived(page: Page, *things: str) -> None:
    """On the step, with these things put in the way."""
    opened(page, "path")
    for thing in things:
        page.get_by_role("button", name=thing).click()
    clears = "The arrow clears" if things else "The arrow rises"
    expect(answer(page)).to_contain_text(clears, timeout=LOADING)


def answer(page: Page) -> Locator:
    return page.locator("main .big")


def edge(page: Page) -> Locator:
    return page.get_by_label("Its lower edge", exact=True)


def distance(page: Page) -> Locator:
    return page.get_by_label("Distance from you", exact=True)


def branch(page: Page) -> Locator:
    return page.get_by_role("slider", name="Branch: distance and lower edge")


def middle(element: Locator) -> tuple[float, float]:
    element.scroll_into_view_if_needed()
    box = element.bounding_box()
    assert box is not None
    assert min(box["width"], box["height"]) >= 44.0
    return box["x"] + box["width"] / 2.0, box["y"] + box["height"] / 2.0


class Finger:
    """A finger on the screen, through the browser's own protocol."""

    def __init__(self, page: Page) -> None:
        self._session = page.context.new_cdp_session(page)

    def swipe(self, start: tuple[float, float], way: tuple[float, float], steps: int = 12) -> None:
        self._send("touchStart", start)
        for step in range(1, steps + 1):
            share = step / steps
            self._send("touchMove", (start[0] + share * way[0], start[1] + share * way[1]))
        self._send("touchEnd", None)

    def _send(self, kind: str, at: tuple[float, float] | None) -> None:
        points: list[Any] = [] if at is None else [{"x": at[0], "y": at[1]}]
        self._session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


def test_a_finger_drags_a_branch_into_the_arrows_way(phone: Page) -> None:
    arrived(phone, "Branch above")
    expect(edge(phone)).to_have_value("40")
    expect(distance(phone)).to_have_value("20")
    finger, start = Finger(phone), middle(branch(phone))
    before = phone.evaluate("scrollY")
    finger.swipe(start, (0.0, 110.0))
    expect(answer(phone)).to_contain_text("Do not shoot: the arrow touches “Branch”")
    assert float(edge(phone).input_value()) < 25.0
    # What moves a little aside under a glove stays where it was.
    expect(distance(phone)).to_have_value("20")
    assert phone.evaluate("scrollY") == before
    expect(phone.locator(".way svg .label.touched")).to_contain_text("touches:")
    expect(branch(phone)).to_have_attribute("aria-valuetext", re.compile("touches: .* into it"))
    no_wider_than_the_screen(phone)
    screenshot(phone, "path-phone-touched")
    finger.swipe(middle(branch(phone)), (-60.0, 0.0))
    expect(distance(phone)).not_to_have_value("20")
    assert float(distance(phone).input_value()) < 20.0


def test_beside_the_handles_the_drawing_lets_the_page_scroll(phone: Page) -> None:
    arrived(phone, "Branch above")
    phone.evaluate("scrollTo(0, 0)")
    box = phone.locator(".way .picture").first.bounding_box()
    assert box is not None
    Finger(phone).swipe((box["x"] + 70.0, box["y"] + 200.0), (0.0, -120.0))
    phone.wait_for_function("() => scrollY > 60")


def test_keys_move_it_as_well(desktop: Page) -> None:
    arrived(desktop)
    desktop.get_by_role("button", name="Branch above").focus()
    desktop.keyboard.press("Enter")
    expect(answer(desktop)).to_contain_text("clears “Branch”", timeout=LOADING)
    desktop.keyboard.press("Shift+Tab")
    expect(branch(desktop)).to_be_focused()
    for key, up, way in (
        ("ArrowDown", "39", "20"),
        ("ArrowRight", "39", "20.5"),
        ("Shift+ArrowLeft", "39", "15.5"),
        ("PageDown", "29", "15.5"),
        ("Shift+ArrowDown", "19", "15.5"),
    ):
        desktop.keyboard.press(key)
        expect(edge(desktop)).to_have_value(up)
        expect(distance(desktop)).to_have_value(way)
    expect(answer(desktop)).to_contain_text("Do not shoot")
    expect(branch(desktop)).to_be_focused()
    expect(branch(desktop)).to_have_attribute(
        "aria-valuetext", re.compile("^15.5 m away, lower edge 19.0 cm above the line of sight, t")
    )
    # It is read aloud once it stands still.
    expect(desktop.locator("main [role=status]").first).to_contain_text("Do not shoot")
    accessible(desktop)


def test_the_drawing_follows_what_is_typed(desktop: Page) -> None:
    arrived(desktop, "Branch above")
    before = middle(branch(desktop))
    edge(desktop).fill("25")
    distance(desktop).fill("30")
    expect(branch(desktop)).to_have_attribute("aria-valuetext", re.compile("^30.0 m away, .* 25.0"))
    assert middle(branch(desktop))[0] > before[0] + 50.0


def test_what_the_service_says_is_said_of_each_thing(desktop: Page) -> None:
    arrived(desktop, "Branch above", "Hedge or fence below")
    desktop.get_by_text("Your group and your vanes").click()
    desktop.get_by_role("textbox", name="Size of your group").fill("40")
    with desktop.expect_response(lambda one: "33 cm" in (one.request.post_data or "")) as sent:
        edge(desktop).fill("33")
    rows = sent.value.json()["obstacles"]
    assert [row["name"] for row in rows] == ["Branch", "Hedge"]
    found = desktop.locator("[data-thing='0'] .said")
    chance, lowest = rows[0]["touch_chance"], rows[0]["lowest_branch"]
    expect(found).to_contain_text(f"Clears by {rows[0]['margin'] / 10.0:.1f} cm.")
    expect(found).to_contain_text(f"About {100.0 * chance:.0f} in 100 of your arrows")
    expect(found).to_contain_text(f"must not hang lower than {lowest / 10.0:.0f} cm above")
    expect(found).to_contain_text("clear for targets from 20 m to")
    expect(answer(desktop)).to_contain_text("of yours would touch “Branch”")
    hedge = desktop.locator("[data-thing='1'] .said")
    expect(hedge).to_contain_text(f"Clears by {rows[1]['margin'] / 10.0:.0f} cm.")


def test_an_error_stands_beside_the_thing_it_belongs_to(desktop: Page) -> None:
    arrived(desktop, "Gap between two trunks", "Branch above")
    foresee(desktop, "422")
    desktop.locator("[data-thing='1']").get_by_label("Distance from you", exact=True).fill("44")
    wrong = desktop.locator(".error:visible")
    expect(wrong).to_contain_text("must stand before the target", timeout=LOADING)
    expect(wrong).to_have_count(1)
    # The gap is two obstacles to the service: the branch is its third, and here the second.
    assert desktop.locator("[data-pointer='/obstacles/1/distance'] .error").is_visible()
    expect(answer(desktop)).to_contain_text("Please correct")


def test_a_trunk_is_dragged_from_above(desktop: Page) -> None:
    arrived(desktop, "Gap between two trunks")
    left = desktop.get_by_role("slider", name="Gap: edge of the left trunk")
    x, y = middle(left)
    desktop.mouse.move(x, y)
    desktop.mouse.down()
    desktop.mouse.move(x, y + 190.0, steps=8)
    desktop.mouse.up()
    expect(answer(desktop)).to_contain_text("Do not shoot: the arrow touches “Gap”")
    field = desktop.get_by_label("Edge of the left trunk", exact=True)
    assert float(field.input_value()) > -1.0
    expect(desktop.locator("[data-thing='0'] .said")).to_contain_text("at the left trunk")


def test_an_edge_stays_where_it_is_when_measured_from_the_ground(desktop: Page) -> None:
    """Eye 160 cm and aim point 130 cm above the ground: half way the sight is 145 cm above it."""
    arrived(desktop, "Branch above")
    before = middle(branch(desktop))
    desktop.get_by_label("Its lower edge is measured", exact=True).select_option("ground")
    expect(edge(desktop)).to_have_value("185")
    expect(answer(desktop)).to_contain_text("The arrow clears “Branch” by 15 cm")
    after = middle(branch(desktop))
    assert abs(after[0] - before[0]) + abs(after[1] - before[1]) < 2.0


def test_it_speaks_in_yards_and_inches(visit: Visit) -> None:
    with visit(PHONE, color_scheme="dark") as page:
        arrived(page, "Branch above")
        page.get_by_role("combobox", name="Units").select_option("imperial")
        expect(edge(page)).to_have_value("15.75")
        expect(answer(page)).to_have_text(re.compile(r"clears “Branch” by \d+(\.\d)?\sin\.$"))
        expect(page.locator(".way .axes").first).to_contain_text("Above the line of sight, in")
        expect(page.locator(".way .axes").first).to_contain_text("40 yd")
        expect(branch(page)).to_have_attribute(
            "aria-valuetext", re.compile("^21.9 yd away, .* in ")
        )
        accessible(page)


def test_what_a_link_brings_and_nobody_knows_is_left_out(phone: Page) -> None:
    arrived(phone, "Branch above")
    phone.evaluate(
        """() => {
            const state = JSON.parse(localStorage["arrowloft.state"]);
            state.ask.path.obstacles.unshift({ kind: "constructor" }, null);
            localStorage["arrowloft.state"] = JSON.stringify(state);
        }"""
    )
    phone.reload()
    expect(answer(phone)).to_contain_text("clears “Branch” by 15 cm", timeout=LOADING)
    expect(phone.locator("[data-thing]")).to_have_count(1)


def test_a_thing_is_taken_away(phone: Page) -> None:
    arrived(phone, "Branch above", "Branch above", "Rise of the ground")
    phone.get_by_role("button", name="Take away Branch", exact=True).click()
    expect(phone.locator("[data-thing] > legend")).to_have_text(["Branch 2", "Rise"])
    expect(phone.get_by_role("slider")).to_have_count(2)
    expect(answer(phone)).to_contain_text("The arrow clears all 2")
    phone.get_by_role("button", name="Take away Rise").click()
    expect(answer(phone)).to_contain_text("clears “Branch 2” by 15 cm")
