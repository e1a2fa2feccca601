"""Step "Verify": arrows are touched in, and the sight's correction and the next end come out."""

import re

from browsing import accessible, foresee, screenshot
from playwright.sync_api import Page, expect

ENDS = "ask/verify/ends"


def _answer(page: Page) -> str:
    return page.locator(".answer").inner_text()


def _kept(page: Page, path: str) -> object:
    return page.evaluate(
        "async (path) => (await import('/kiosk/kept/state.js')).get(path)",
        path,
    )


def _enter(page: Page, ends: list[dict[str, object]], **more: object) -> None:
    """Put ends into the state, and open the step."""
    page.goto("/#/verify")
    page.evaluate(
        "async (all) => { const { set } = await import('/kiosk/kept/state.js');"
        " for (const [path, value] of Object.entries(all)) set(path, value); }",
        {ENDS: ends} | more,
    )


def _touch(page: Page, end: int, *places: tuple[float, float]) -> None:
    """Touch the target of an end at shares of its width and height."""
    drawing = page.locator(".target").nth(end)
    box = drawing.bounding_box()
    assert box is not None
    for across, down in places:
        drawing.click(position={"x": across * box["width"], "y": down * box["height"]})


def test_two_ends_touched_in_correct_the_marks(phone: Page) -> None:
    phone.goto("/#/verify")
    expect(phone.locator(".answer")).to_be_hidden()
    accessible(phone)
    phone.get_by_role("button", name="Begin with 20 m and 60 m").click()
    expect(phone.locator(".end")).to_have_count(2)
    # The face of 40 cm fills 1/1.25 of the drawing: 0.1 of it is 5 cm, and a pixel is 2 mm.
    _touch(phone, 0, (0.5, 0.4), (0.54, 0.4), (0.46, 0.4))
    expect(phone.locator(".found").first).to_contain_text(
        re.compile(r"^3 arrows, \S+ cm across. Middle: (4.[89]|5.[012]) cm up, ")
    )
    # 5 cm high at 20 m is 2.1 mm of a pin 84 cm from the eye, 21 clicks of 0.1 mm; the doubt of
    # the zero, 1 mm, leaves some of it to chance.
    expect(phone.locator(".answer .big")).to_have_text(re.compile(r"^At 20 m: 1\d clicks up"))
    phone.locator(".end > summary").nth(1).click()
    _touch(phone, 1, (0.5, 0.45), (0.54, 0.45), (0.46, 0.45))
    expect(phone.locator(".answer .big")).to_have_text(re.compile(r"^At 60 m: \d+ clicks up"))
    expect(phone.locator(".corrected h2")).to_have_text("Corrected marks, after 2 ends")
    expect(phone.get_by_role("region", name="Corrected marks").locator("tbody tr")).to_have_count(
        11
    )
    expect(phone.get_by_text("shoot them from near to far")).to_be_visible()
    # A touch on an arrow takes it away, and that is taken back.
    _touch(phone, 1, (0.54, 0.45))
    expect(phone.locator(".found").nth(1)).to_contain_text("2 arrows")
    phone.get_by_role("button", name="Take back").nth(1).click()
    expect(phone.locator(".found").nth(1)).to_contain_text("3 arrows")
    assert phone.evaluate("document.documentElement.scrollWidth") == 360
    accessible(phone)
    screenshot(phone, "verify-phone")


def test_corrected_marks_go_to_the_step_of_marks_and_stay_in_the_browser(desktop: Page) -> None:
    _enter(desktop, [{"kind": "arrows", "distance": "20 m", "how": "measured", "up": "5 cm"}])
    expect(desktop.locator(".corrected")).to_be_visible()
    mark = desktop.locator(".corrected tbody tr").nth(3).inner_text()
    desktop.goto("/#/marks")
    desktop.reload()
    expect(desktop.locator(".which")).to_contain_text("Corrected marks, after 1 end.")
    expect(desktop.locator("#step tbody tr").nth(3)).to_have_text(re.compile(mark.split("\t")[1]))
    expect(desktop.locator(".chart text.name")).to_have_text(["corrected", "predicted"])
    desktop.get_by_role("button", name="See the predicted marks").click()
    expect(desktop.locator(".which")).to_contain_text("Marks as predicted")
    expect(desktop.locator("#step tbody tr").nth(3)).not_to_contain_text(mark.split("\t")[1])
    expect(desktop.get_by_role("button", name="See the corrected marks")).to_be_focused()


def test_keys_alone_enter_an_end(desktop: Page) -> None:
    desktop.goto("/#/verify")
    desktop.get_by_role("button", name="Begin with one end").focus()
    desktop.keyboard.press("Enter")
    expect(desktop.locator(".end > summary")).to_be_focused()
    for _ in range(20):
        desktop.keyboard.press("Tab")
        if desktop.evaluate("document.activeElement.className") == "target":
            break
    for key in ("ArrowUp", "ArrowUp", "Shift+ArrowRight", "Enter", "ArrowDown", "Enter"):
        desktop.keyboard.press(key)
    expect(desktop.locator(".found")).to_contain_text(
        "2 arrows, 1 cm across. Middle: 1.5 cm up, 0.2 cm right"
    )
    desktop.keyboard.press("Delete")
    assert _kept(desktop, f"{ENDS}/0/touched") == [{"up": "20 mm", "right": "2 mm"}]
    expect(desktop.locator(".answer .big")).to_contain_text("At 20 m")


def test_the_end_that_is_advised_begins_with_the_corrected_mark(desktop: Page) -> None:
    _enter(desktop, [{"kind": "arrows", "distance": "20 m", "how": "measured", "up": "5 cm"}])
    expect(desktop.locator(".advice .next")).to_contain_text("Shoot next: ")
    said = _answer(desktop)
    at, clicks = re.search(r"arrows? at (\d+ m)", said), re.search(r"sight to (\d+) clicks", said)
    assert at is not None and clicks is not None
    desktop.get_by_role("button", name=f"Add this end at {at[1]}").click()
    expect(desktop.locator(".end")).to_have_count(2)
    added = _kept(desktop, f"{ENDS}/1")
    assert isinstance(added, dict)
    assert (added["distance"], added["way"]) == (at[1], "clicks")
    # Below the zero mark the pin goes down, and clicks count so.
    assert added["clicks"] == int(clicks[1])
    # It is asked for, not added twice; removed, it can be brought back.
    expect(desktop.get_by_role("button", name=f"Fill in End 2 at {at[1]}")).to_be_visible()
    desktop.get_by_role("button", name="Remove this end").click()
    expect(desktop.locator(".end")).to_have_count(1)
    desktop.get_by_role("button", name="Bring it back").click()
    expect(desktop.locator(".end")).to_have_count(2)
    assert _kept(desktop, f"{ENDS}/1") == added


def test_what_does_not_fit_is_said_where_it_was_entered(desktop: Page) -> None:
    touched = [
        {"up": f"{up} mm", "right": f"{right} mm"}
        for up, right in ((10, 3), (15, -4), (5, 8), (12, 2), (8, -6), (180, 150))
    ]
    high = {"kind": "arrows", "distance": "60 m", "how": "measured", "up": "2 m", "arrows": 6}
    empty = {"kind": "arrows", "distance": "30 m"}
    # The empty one is not sent: what is said of the third must not land on the second.
    _enter(desktop, [{"kind": "arrows", "distance": "20 m", "touched": touched}, empty, high])
    expect(desktop.locator(".answer .big")).to_have_text(
        "End 3 does not fit: check it before you move the sight."
    )
    desktop.get_by_role("button", name="Check End 3").click()
    expect(desktop.locator(".end").nth(2)).to_contain_text("was set aside")
    expect(desktop.locator(".end").nth(1).locator("summary").first).to_contain_text("to be filled")
    desktop.locator(".end > summary").first.click()
    expect(desktop.locator(".end").first).to_contain_text("Arrow 6 lies too far from the others")
    expect(desktop.locator(".target .flyer")).to_have_count(1)
    screenshot(desktop, "verify-misfit")


def test_a_wrong_distance_opens_its_card(phone: Page) -> None:
    foresee(phone, "422")
    good = {"kind": "arrows", "distance": "20 m", "how": "measured", "up": "1 cm"}
    _enter(phone, [good | {"up": ""}, good | {"distance": "5000 m"}, good])
    field = phone.locator(".end").nth(1).locator(".field.wrong .error")
    expect(field).to_contain_text("5000 m is outside")
    expect(field).to_be_visible()
    expect(phone.locator(".answer")).to_be_hidden()


def test_the_target_stays_under_the_finger(phone: Page) -> None:
    phone.goto("/#/verify")
    phone.get_by_role("button", name="Begin with one end").click()
    _touch(phone, 0, (0.5, 0.4))
    target = phone.locator(".target")
    before = target.evaluate("(target) => target.getBoundingClientRect().top")
    expect(phone.locator(".answer")).to_be_visible()
    after = target.evaluate("(target) => target.getBoundingClientRect().top")
    assert abs(after - before) < 1.5
