"""The whole walk on a phone and on a large screen, from the set-up to the printed sheet."""

from typing import Any

import pytest
from browsing import DESKTOP, PHONE, Visit, accessible, screenshot
from kiosk_page import LOADING, STEPS, glance, go_on, no_wider_than_the_screen, opened
from playwright.sync_api import Page, expect


@pytest.mark.parametrize(
    ("screen", "scheme"), [(PHONE, "light"), (DESKTOP, "light"), (PHONE, "dark")]
)
def test_every_step_is_walked(visit: Visit, screen: dict[str, Any], scheme: str) -> None:
    with visit(screen, color_scheme=scheme) as page:
        opened(page)
        for index, step in enumerate(STEPS):
            expect(page.get_by_text(f"Step {index + 1} of {len(STEPS)}")).to_be_visible()
            expect(page.locator("main h1")).to_have_count(1)
            settled(page, step)
            no_wider_than_the_screen(page)
            accessible(page)
            screenshot(page, f"kiosk-{screen['viewport']['width']}-{scheme}-{index + 1}-{step}")
            if index + 1 < len(STEPS):
                go_on(page)
                # A screen reader is told where it is now.
                expect(page.locator("main h1")).to_be_focused()


def settled(page: Page, step: str) -> None:
    """Wait for what the step shows without anything entered."""
    shown = {
        "setup": "[data-model=drag] .control",
        "verify": "main .button",
        "print": "main .sheet img",
    }.get(step, "main table, main .chart svg, main svg")
    expect(page.locator(shown).first).to_be_visible(timeout=LOADING)
    expect(page.locator("main .summary")).to_be_hidden()
    expect(page.locator("#progress")).not_to_have_class("progress busy", timeout=LOADING)


def test_the_marks_follow_what_is_typed(phone: Page) -> None:
    opened(phone)
    before = glance(phone)
    phone.get_by_label("Mass", exact=True).fill("480")
    expect(phone.locator("#glance .strip")).not_to_have_text("".join(before), timeout=LOADING)
    after = glance(phone)
    assert len(after) == len(before) == 6
    # A heavier arrow with the speed kept drags less: the far marks are higher, the zero stays.
    changes = [clicks(row) - clicks(old) for row, old in zip(after, before, strict=True)]
    assert changes[0] == 0
    assert changes == sorted(changes, reverse=True) and changes[-1] < -1


def clicks(row: str) -> int:
    """Of a text such as `40 m105 clicks down`."""
    return int(row.split("m", 1)[1].split()[0])


def test_the_walk_needs_no_pointer(desktop: Page) -> None:
    opened(desktop)
    desktop.keyboard.press("Tab")
    expect(desktop.get_by_role("link", name="Skip to the step")).to_be_focused()
    desktop.keyboard.press("Enter")
    expect(desktop.locator("main")).to_be_focused()
    field = desktop.get_by_label("Peep to arrow", exact=True)
    desktop.keyboard.press("Tab")
    desktop.keyboard.press("Tab")
    expect(field).to_be_focused()
    field.press("Shift+Tab")
    desktop.keyboard.press("Enter")
    expect(field).to_have_value("10.5")
    go = desktop.get_by_role("link", name="Next: Marks")
    go.focus()
    desktop.keyboard.press("Enter")
    expect(desktop.get_by_role("heading", name="Marks for every distance")).to_be_focused()


def test_the_scale_is_handed_out(visit: Visit) -> None:
    with visit(DESKTOP) as page:
        opened(page, "print")
        expect(page.locator("main .sheet img")).to_be_visible(timeout=LOADING)
        with page.expect_download(timeout=LOADING) as kept:
            page.get_by_role("button", name="Save the PDF").click()
        assert kept.value.suggested_filename == "sight-scale.pdf"
        assert kept.value.path().read_bytes().startswith(b"%PDF-")
        expect(page.get_by_text("check the line of 100 mm").first).to_be_visible()
