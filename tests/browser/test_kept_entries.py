"""What was entered stays in the browser, and goes where the person wants it to go."""

import json
from pathlib import Path
from typing import Any

import pytest
from browsing import DESKTOP, PHONE, Visit, screenshot
from kiosk_page import LOADING, glance, opened
from playwright.sync_api import Page, expect


def mass(page: Page) -> Any:
    return page.get_by_label("Mass", exact=True)


def menu(page: Page) -> Any:
    page.get_by_role("button", name="Menu").click()
    return page.get_by_role("dialog")


def test_a_reload_loses_nothing(phone: Page) -> None:
    opened(phone)
    mass(phone).fill("431")
    phone.reload()
    expect(mass(phone)).to_have_value("431", timeout=LOADING)


def test_a_link_carries_it_to_another_browser(visit: Visit) -> None:
    with visit(DESKTOP, permissions=["clipboard-read", "clipboard-write"]) as page:
        opened(page)
        mass(page).fill("433")
        menu(page).get_by_role("button", name="Copy a link").click()
        expect(page.get_by_text("The link is copied.")).to_be_visible()
        link = page.evaluate("navigator.clipboard.readText()")
    with visit(PHONE) as other:
        other.goto(link)
        expect(mass(other)).to_have_value("433", timeout=LOADING)
        # The link is used up: what is entered from here on is not undone by a reload.
        mass(other).fill("434")
        other.reload()
        expect(mass(other)).to_have_value("434", timeout=LOADING)


@pytest.mark.parametrize("carried", ["rubbish", "e30", "q1YqVrJSMlSqBQA"])
def test_a_link_that_holds_nothing_changes_nothing(phone: Page, carried: str) -> None:
    opened(phone)
    mass(phone).fill("435")
    phone.goto(f"/#s={carried}")
    expect(phone.get_by_role("dialog")).to_contain_text("What you had entered is still here.")
    phone.get_by_role("button", name="Close").click()
    expect(mass(phone)).to_have_value("435")


def test_a_file_carries_it_too(visit: Visit, tmp_path: Path) -> None:
    with visit(DESKTOP) as page:
        opened(page)
        mass(page).fill("437")
        dialog = menu(page)
        with page.expect_download() as kept:
            dialog.get_by_role("button", name="Save a file").click()
        kept.value.save_as(tmp_path / "kept.json")
        dialog.get_by_role("button", name="Close").click()
        mass(page).fill("450")
        menu(page)
        page.locator("input[type=file]").set_input_files(tmp_path / "kept.json")
        page.get_by_role("button", name="Take it up").click()
        expect(mass(page)).to_have_value("437")
        (tmp_path / "other.json").write_text(json.dumps({"format": 99}))
        menu(page)
        page.locator("input[type=file]").set_input_files(tmp_path / "other.json")
        expect(page.get_by_role("dialog")).to_contain_text("What you had entered is still here.")


def test_units_are_a_choice(desktop: Page) -> None:
    opened(desktop)
    metric = glance(desktop)
    units = desktop.get_by_label("Units", exact=True)
    peep, proven, pin = (
        desktop.get_by_label(name, exact=True)
        for name in ("Peep to arrow", "Proven at", "Eye to pin")
    )
    # What nobody touched is what one would start from in the other system, not a conversion.
    units.select_option("imperial")
    for field, value in ((peep, "4.4"), (proven, "20"), (pin, "33")):
        expect(field).to_have_value(value)
    expect(desktop.locator("#glance .strip")).to_contain_text("20 yd", timeout=LOADING)
    assert glance(desktop) != metric
    units.select_option("metric")
    for field, value in ((peep, "11"), (proven, "20"), (pin, "84")):
        expect(field).to_have_value(value)
    expect(desktop.locator("#glance .strip")).to_have_text("".join(metric), timeout=LOADING)


def test_a_change_of_units_and_back_changes_nothing(desktop: Page) -> None:
    opened(desktop)
    units = desktop.get_by_label("Units", exact=True)
    peep, proven, pin, altitude = (
        desktop.get_by_label(name, exact=True)
        for name in ("Peep to arrow", "Proven at", "Eye to pin", "Altitude (may stay empty)")
    )
    typed = (peep, "11.37"), (proven, "18"), (pin, "83,9"), (altitude, "777")
    for field, value in typed:
        field.fill(value)
    for _ in range(2):
        units.select_option("imperial")
        for field, value in ((peep, "4.48"), (proven, "19.7"), (pin, "33.03"), (altitude, "2549")):
            expect(field).to_have_value(value)
        units.select_option("metric")
        for field, value in typed:
            expect(field).to_have_value(value.replace(",", "."))
    # The unit of one field likewise; an entry made in between is another entry.
    unit = desktop.get_by_label("Peep to arrow: unit", exact=True)
    for name, value in (("in", "4.48"), ("mm", "113.7"), ("cm", "11.37")):
        unit.select_option(name)
        expect(peep).to_have_value(value)
    unit.select_option("in")
    peep.fill("4.5")
    unit.select_option("cm")
    expect(peep).to_have_value("11.43")


def test_a_shared_screen_forgets(visit: Visit) -> None:
    with visit(PHONE) as page:
        page.clock.install()
        opened(page, "setup")
        mass(page).fill("441")
        dialog = menu(page)
        dialog.get_by_label("Clear everything").select_option("2")
        dialog.get_by_role("button", name="Close").click()
        page.clock.fast_forward("01:35")
        notice = page.get_by_role("dialog", name="Still there?")
        expect(notice).to_be_visible()
        screenshot(page, "kiosk-still-there", whole=False)
        notice.get_by_role("button", name="I am still here").click()
        expect(notice).to_be_hidden()
        page.clock.fast_forward("00:31")
        expect(mass(page)).to_have_value("441")
        page.clock.fast_forward("01:05")
        expect(notice).to_be_visible()
        page.clock.run_for("00:31")
        expect(notice).to_be_hidden()
        expect(mass(page)).to_have_value("400")
        assert "441 gr" not in page.evaluate("JSON.stringify(localStorage)")


def test_on_paper_only_what_was_found(desktop: Page) -> None:
    opened(desktop, "marks")
    expect(desktop.locator("main table")).to_be_visible(timeout=LOADING)
    desktop.emulate_media(media="print", color_scheme="dark")
    for hidden in ("#walk", "#onward", "header.top", "main .button"):
        expect(desktop.locator(hidden).first).to_be_hidden()
    expect(desktop.locator("main table")).to_be_visible()
    colours = desktop.evaluate(
        "[getComputedStyle(document.body).color, getComputedStyle(document.body).backgroundColor]"
    )
    assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
    screenshot(desktop, "kiosk-marks-on-paper")
