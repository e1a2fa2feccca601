"""Step "Verify": arrows are touched in, and the sight's correction and the next end come out."""

import re

from browsing import accessible, foresee, screenshot
from kiosk_page import LOADING
from playwright.sync_api import Page, Request, Route, expect

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
    # Ends that the step finds when it is drawn stand open, those that come later do not.
    expect(page.get_by_role("region", name="Ends")).to_be_attached()
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


def _observed(request: Request) -> int:
    """How many arrows of the first end are asked about; 0 of any other request."""
    if not request.url.endswith("/v1/calibration"):
        return 0
    observations = request.post_data_json["observations"]
    return len(observations[0].get("impacts", ())) if observations else 0


def _observations(request: Request) -> int:
    """How many ends are asked about; 0 of any other request."""
    if not request.url.endswith("/v1/calibration"):
        return 0
    return len(request.post_data_json["observations"])


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
    expect(phone.locator(".answer .big")).to_have_text(
        re.compile(r"^At 20 m: move the pin (1\d) clicks up, to \1 up[.;]")
    )
    phone.locator(".end > summary").nth(1).click()
    _touch(phone, 1, (0.5, 0.45), (0.54, 0.45), (0.46, 0.45))
    expect(phone.locator(".answer .big")).to_have_text(re.compile(r"^At 60 m: "))
    expect(phone.locator(".corrected h2")).to_have_text("Corrected marks, after 2 ends")
    expect(phone.get_by_role("region", name="Corrected marks").locator("tbody tr")).to_have_count(
        11
    )
    expect(phone.get_by_text("shoot them from near to far")).to_be_visible()
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
    at = re.search(r"arrows? at (\d+ m)", said)
    clicks = re.search(r"sight to (\d+) clicks down \(from the 20 m mark", said)
    assert at is not None and clicks is not None
    desktop.get_by_role("button", name=f"Add this end at {at[1]}").click()
    expect(desktop.locator(".end")).to_have_count(2)
    expect(desktop.locator(".end").nth(1).locator(".stands")).to_have_text(
        f"Taken to have stood at {clicks[1]} clicks down."
    )
    added = _kept(desktop, f"{ENDS}/1")
    assert isinstance(added, dict)
    assert added["distance"] == at[1]
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


def test_a_touch_counts_though_the_target_is_drawn_anew_meanwhile(phone: Page) -> None:
    """As where an answer comes between a finger's way down and its way up."""
    phone.goto("/#/verify")
    phone.get_by_role("button", name="Begin with one end").click()
    target = phone.locator(".target")
    target.scroll_into_view_if_needed()
    box = target.bounding_box()
    assert box is not None
    phone.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 0.4 * box["height"])
    phone.mouse.down()
    target.evaluate("(target) => target.dispatchEvent(new Event('blur'))")
    phone.mouse.up()
    expect(phone.locator(".found")).to_contain_text("1 arrow")


def test_an_end_is_taken_at_the_mark_that_was_told_last(desktop: Page) -> None:
    desktop.goto("/#/verify")
    desktop.get_by_role("button", name="Begin with 20 m and 60 m").click()
    # The answers to one arrow and to two may stand there before that to all three.
    with desktop.expect_response(lambda reply: _observed(reply.request) == 3) as answered:
        _touch(desktop, 0, (0.5, 0.6), (0.51, 0.61), (0.49, 0.59))
    told = answered.value.json()["rows"][0]["clicks"]
    assert told in range(10, 20)
    expect(desktop.locator(".answer .big")).to_have_text(
        re.compile(rf"^At 20 m: move the pin {told} clicks down, to {told} down[.;]")
    )
    # The end that was prepared before it: the corrected mark of its own distance.
    desktop.locator(".end > summary").nth(1).click()
    stands = desktop.locator(".stands")
    expect(stands.nth(1)).to_have_text(re.compile(r"^Taken to have stood at 2\d\d clicks down\.$"))
    row = desktop.locator(".corrected tbody tr", has_text=re.compile("^60")).locator("td").first
    assert row.inner_text() in stands.nth(1).inner_text()
    desktop.get_by_role("button", name="Add an end").click()
    end = desktop.locator(".end").nth(2)
    end.get_by_label("Distance", exact=True).fill("20")
    sight = end.get_by_label("The sight stood")
    expect(sight.locator("option").first).to_have_text(f"At the corrected mark: {told} clicks down")
    expect(sight.locator("option").nth(1)).to_have_text("At the first, predicted mark: 0 clicks")
    expect(sight).to_have_value("corrected")
    _touch(desktop, 2, (0.5, 0.5), (0.51, 0.51), (0.49, 0.49))
    # It stands where it was told to, and what it shows is no reason to move it much farther.
    expect(desktop.locator(".answer .big")).to_have_text(
        re.compile(r"^At 20 m: (leave the sight|move the pin [1-4] clicks?)")
    )
    kept = _kept(desktop, f"{ENDS}/2")
    assert isinstance(kept, dict)
    assert (kept["way"], kept["clicks"]) == ("clicks", told)
    # What comes later does not move what was assumed.
    desktop.locator(".end > summary").first.click()
    _touch(desktop, 0, (0.5, 0.65))
    expect(desktop.locator(".found").first).to_contain_text("4 arrows")
    expect(stands.nth(2)).to_have_text(f"Taken to have stood at {told} clicks down.")
    # Another place may be chosen, and back.
    sight.select_option("predicted")
    expect(stands.nth(2)).to_have_text("Taken to have stood at 0 clicks.")
    assert (_kept(desktop, f"{ENDS}/2/way"), _kept(desktop, f"{ENDS}/2/clicks")) == ("clicks", 0)
    sight.select_option("corrected")
    assert _kept(desktop, f"{ENDS}/2/clicks") == told
    sight.select_option("clicks")
    expect(end.get_by_label("Clicks down", exact=True)).to_have_value(str(told))
    # A touch into the wrong card, taken back, leaves nothing assumed.
    desktop.locator(".end > summary").nth(1).click()
    _touch(desktop, 1, (0.5, 0.5))
    assert _kept(desktop, f"{ENDS}/1/stood") == "corrected"
    desktop.get_by_role("button", name="Take back").nth(1).click()
    assert _kept(desktop, f"{ENDS}/1") == {"kind": "arrows", "distance": "60 m", "touched": []}


def test_what_was_told_is_asked_for_where_the_page_does_not_know_it(desktop: Page) -> None:
    end = {"kind": "arrows", "distance": "20 m", "how": "measured"}
    _enter(desktop, [end | {"up": "-5 cm"}, end | {"up": "0 cm"}])
    # Kept by an older page: shot at the predicted mark, as its card said.
    desktop.locator(".end > summary").nth(1).click()
    card = desktop.locator(".end").nth(1)
    expect(card.get_by_label("The sight stood")).to_have_value("predicted")
    card.get_by_label("The sight stood").select_option("corrected")
    expect(card.locator(".stands")).to_have_text(
        re.compile(r"^Taken to have stood at 1\d clicks down\.$")
    )
    assert _kept(desktop, f"{ENDS}/1/clicks") in range(10, 20)


def test_what_was_told_is_that_of_what_is_entered_by_then(desktop: Page) -> None:
    """What it depends on is changed while it is asked for."""
    end = {"kind": "arrows", "distance": "20 m", "how": "measured"}
    _enter(desktop, [end | {"up": "-5 cm"}, end | {"up": "0 cm"}])
    desktop.locator(".end > summary").nth(1).click()
    held: list[Route] = []

    def first(route: Route) -> None:
        asked = route.request.post_data_json
        wanted = asked["distances"] == ["20 m"] and len(asked["observations"]) == 1
        held.append(route) if wanted and not held else route.continue_()

    desktop.route("**/v1/calibration", first)
    card = desktop.locator(".end").nth(1)
    with desktop.expect_request(lambda one: _observations(one) == 1):
        card.get_by_label("The sight stood").select_option("corrected")
    desktop.evaluate(
        "async (path) => (await import('/kiosk/kept/state.js')).set(path, '-10 cm')",
        f"{ENDS}/0/up",
    )
    for _ in range(LOADING // 50):  # the request is told of before it is held
        if held:
            break
        desktop.wait_for_timeout(50)
    held[0].continue_()
    expect(card.locator(".stands")).to_have_text(
        re.compile(r"^Taken to have stood at [23]\d clicks down\.$")
    )


def test_every_touch_adds_an_arrow_and_a_list_removes_them(phone: Page) -> None:
    phone.goto("/#/verify")
    phone.get_by_role("button", name="Begin with one end").click()
    _touch(phone, 0, (0.5, 0.4), (0.5, 0.4), (0.51, 0.4))
    found = phone.locator(".found")
    expect(found).to_contain_text("3 arrows")
    phone.get_by_text("Remove one arrow").click()
    expect(phone.locator(".arrows li")).to_have_count(3)
    remove = phone.get_by_role("button", name="Remove arrow 3")
    box = remove.bounding_box()
    assert box is not None and min(box["width"], box["height"]) >= 48
    second = _kept(phone, f"{ENDS}/0/touched/1")
    phone.get_by_role("button", name="Remove arrow 1").click()
    expect(found).to_contain_text("2 arrows")
    assert _kept(phone, f"{ENDS}/0/touched/0") == second
    expect(phone.get_by_role("button", name="Remove arrow 1")).to_be_focused()
    phone.get_by_role("button", name="Take back").click()
    expect(found).to_contain_text("3 arrows")
    accessible(phone)
    screenshot(phone, "verify-arrows")


def _touched(*places: tuple[int, int]) -> list[dict[str, str]]:
    return [{"up": f"{up} mm", "right": f"{right} mm"} for up, right in places]


def test_what_would_explain_an_end_is_said_in_plain_words(desktop: Page) -> None:
    low = {"kind": "arrows", "distance": "20 m", "touched": _touched((-50, 0), (-45, 5), (-55, -5))}
    far = {"kind": "arrows", "distance": "60 m"}
    _enter(desktop, [low, low, far | {"touched": _touched((150, 0), (155, 5), (145, -5))}])
    said = desktop.locator(".end").nth(2).locator(".judged")
    # All that the service finds of units and of distances as well: none was written.
    expect(said).to_contain_text(
        "It would fit if the arrows had landed on the other side of the middle. "
        "Check where you touched the target, the distance, and where the sight stood."
    )
    expect(desktop.locator(".corrected")).to_contain_text("Its card says what to check.")
    expect(desktop.locator(".corrected")).not_to_contain_text("written for")
    _enter(desktop, [low, low, far | {"how": "measured", "up": "-24.4 in"}])
    expect(said).to_contain_text("if the lengths were in centimetres. Check up and down, the unit")
    expect(said).not_to_contain_text("other side")


def test_an_end_that_stands_prepared_is_advised_where_it_teaches_nearly_as_much(
    desktop: Page,
) -> None:
    near = {"kind": "arrows", "distance": "20 m", "how": "measured", "up": "-5 cm"}
    _enter(desktop, [near, {"kind": "arrows", "distance": "10 m"}])
    said = desktop.locator(".advice .next")
    expect(said).to_have_text(re.compile(r"^Shoot next: \d arrows at \d+ m\.$"))
    advised = said.inner_text()
    assert "60 m" not in advised and "10 m" not in advised
    # Its own distance is none of the marks', and is asked for all the same.
    _enter(desktop, [near, {"kind": "arrows", "distance": "58 m"}])
    expect(said).to_have_text(re.compile(r"^Shoot next: \d arrows at 58 m, as End 2\.$"))
    desktop.get_by_role("button", name="Fill in End 2 at 58 m").click()
    expect(desktop.locator(".end").nth(1)).to_have_attribute("open", "")


def test_a_group_to_the_side_is_told_in_clicks_or_as_it_lies(desktop: Page) -> None:
    end = {"kind": "arrows", "distance": "20 m", "how": "measured", "up": "0 cm", "right": "-6 cm"}
    _enter(desktop, [end])
    big = desktop.locator(".answer .big")
    expect(big).to_have_text(re.compile(r"the group stands [56]\.\d cm left\.$"))
    expect(desktop.locator(".answer")).to_contain_text("with them, you are told clicks")
    expect(desktop.locator(".answer")).not_to_contain_text("mm left")
    _enter(
        desktop,
        [end],
        **{
            "setup/sight/windage_travel_per_turn": "1.2 mm",
            "setup/sight/windage_clicks_per_turn": 12,
        },
    )
    # 6 cm at 20 m is 2.5 mm of a pin 84 cm from the eye, 25 clicks of 0.1 mm.
    expect(big).to_have_text(re.compile(r"^At 20 m: .*2\d clicks left\.$"))
    expect(desktop.locator(".answer")).not_to_contain_text("with them, you are told clicks")
    # The next end is taken with the pin there.
    desktop.get_by_role("button", name="Add an end").click()
    expect(desktop.locator(".stands").nth(1)).to_contain_text(re.compile(r", and 2\d clicks left"))
    _touch(desktop, 0, (0.5, 0.5))
    assert _kept(desktop, f"{ENDS}/1/windage_clicks") in range(-29, -19)
