"""The page's frame: bars, words of refusals, names of models, and typing of numbers."""

import pytest
from browsing import DESKTOP, Visit, foresee, screenshot
from kiosk_page import LOADING, opened
from playwright.sync_api import Locator, Page, expect


def field(page: Page, pointer: str) -> Locator:
    return page.locator(f"[data-pointer='{pointer}']")


def kept(page: Page, path: str) -> object:
    return page.evaluate(
        "async (path) => (await import('/kiosk/kept/state.js')).get(path)", f"setup/{path}"
    )


def test_a_lost_service_is_said_where_one_looks(phone: Page) -> None:
    opened(phone)
    phone.route("**/v1/**", lambda route: route.abort("connectionrefused"))
    foresee(phone, "ERR_CONNECTION_REFUSED")
    last = phone.get_by_label("Altitude (may stay empty)", exact=True)
    last.fill("300")
    banner = phone.get_by_role("alert").filter(has_text="Nothing is lost")
    expect(banner).to_be_in_viewport(ratio=1, timeout=LOADING)
    onward = phone.locator("#onward").bounding_box()
    box = banner.bounding_box()
    assert onward and box
    assert box["y"] + box["height"] <= onward["y"]
    screenshot(phone, "kiosk-lost-service-far-down", whole=False)
    phone.evaluate("scrollTo(0, 0)")
    expect(banner).to_be_in_viewport(ratio=1)
    expect(phone.get_by_role("button", name="Menu")).to_be_in_viewport(ratio=1)


def test_bars_leave_room_for_the_step(phone: Page) -> None:
    opened(phone)
    boxes = [phone.locator(name).bounding_box() for name in ("#glance", "#onward")]
    assert sum(box["height"] for box in boxes if box) < 100
    top = min(box["y"] for box in boxes if box)
    # Every control that takes the focus stands above the bars.
    controls = phone.locator("main input, main select, main summary")
    for control in controls.all()[:24]:
        if not control.is_visible():
            continue
        control.focus()
        box = control.bounding_box()
        assert box and box["y"] + box["height"] <= top, control.get_attribute("id")
    foot = phone.get_by_role("link", name="For programs").bounding_box()
    assert foot and foot["height"] >= 44
    # On its side a phone is too low for bars that stay.
    phone.set_viewport_size({"width": 740, "height": 360})
    phone.evaluate("scrollTo(0, 0)")
    expect(phone.locator("#onward")).not_to_be_in_viewport()
    expect(phone.locator("#glance")).not_to_be_in_viewport()


def test_refusals_speak_of_the_field(visit: Visit) -> None:
    with visit(DESKTOP) as page:
        opened(page)
        foresee(page, "422")
        page.get_by_label("Units", exact=True).select_option("imperial")
        wanted = (
            ("/arrow/mass", "", "Please fill this in."),
            ("/arrow/mass", "1", "Give 15.5 grains to 3080 grains; 1 grains is outside."),
            ("/air/temperature", "-100", "Give −76 °F to 140 °F; −100 °F is outside."),
            ("/air/relative_humidity", "120", "Give 0 % to 100 %; 120 % is outside."),
            ("/sight/zero_distance", "0.5", "Give 1.1 yd to 1090 yd; 0.5 yd is outside."),
        )
        for pointer, typed, words in wanted:
            place = field(page, pointer)
            before = place.locator("input").input_value()
            place.locator("input").fill(typed)
            expect(place.locator(".error")).to_have_text(words, timeout=LOADING)
            place.locator("input").fill(before)
            expect(place.locator(".error")).to_be_hidden(timeout=LOADING)
        # Of two parameters one is wanted: both are named as their fields are.
        field(page, "/launch/parameters/speed").locator("input").fill("")
        expect(page.locator("[data-model=launch] .error:visible")).to_have_text(
            "Give exactly one of “Speed” and “Readings”.", timeout=LOADING
        )


def test_what_a_refusal_is_not_known_by_is_said_as_it_stands(phone: Page) -> None:
    opened(phone)
    said = phone.evaluate(
        """async () => {
        const { refusal } = await import('/kiosk/words/refusals.js');
        const unit = 'degF';
        return [
          refusal('Something of a stranger’s plugin with a_name.', { named: () => 'X' }),
          refusal('Give -60 degC to 60 degC; -70 degC is outside.', { unit }),
          refusal('99 mm is too much: give at most 78.9 mm.', { unit: 'in' }),
          refusal('Give at least 1.23456 and less than 2.34567; 3 is outside.'),
          refusal('0.2 is too little: give more than 0.25.', { share: true }),
          refusal('Give -1.23456 m to 2 m; 3 m is outside.'),
          refusal('Give one to two; three is outside.'),
        ]; }"""
    )
    assert said == [
        "Something of a stranger’s plugin with a_name.",
        "Give −76 °F to 140 °F; −94 °F is outside.",
        "3.89764 in is too much: give at most 3.1 in.",
        "Give at least 1.24 and less than 2.34; 3 is outside.",
        "20 % is too little: give more than 25 %.",
        "Give −1.23 m to 2 m; 3 m is outside.",
        "Give one to two; three is outside.",
    ]


@pytest.mark.parametrize("system", ["metric", "imperial"])
def test_every_model_begins_without_an_error(visit: Visit, system: str) -> None:
    with visit(DESKTOP) as page:
        opened(page)
        # Marks may be asked for in the moment before a model's parameters are known.
        foresee(page, "422")
        page.get_by_label("Units", exact=True).select_option(system)
        for kind in ("launch", "drag"):
            form = page.locator(f"[data-model={kind}]")
            chosen = form.get_by_label("Model", exact=True)
            expect(chosen).to_be_visible(timeout=LOADING)
            for name in chosen.locator("option").evaluate_all("all => all.map(o => o.value)"):
                chosen.select_option(name)
                expect(form.locator(".folded summary").last).to_be_visible(timeout=LOADING)
                expect(page.locator("main .error:visible")).to_have_count(0, timeout=LOADING)
                expect(page.locator("main .summary")).to_be_hidden(timeout=LOADING)
        launch = page.locator("[data-model=launch]")
        launch.get_by_label("Model", exact=True).select_option("energy")
        expect(launch.get_by_label("Stored energy", exact=True)).to_have_value("105")
        mass = launch.get_by_label("Virtual mass (may stay empty)", exact=True)
        expect(mass).to_have_value("5.2")
        mass.fill("")
        expect(launch.locator(".error:visible")).to_contain_text("Give exactly", timeout=LOADING)
        launch.get_by_label("Model", exact=True).select_option("two-arrow")
        unit = {"metric": "m/s", "imperial": "ft/s"}[system]
        speed = launch.get_by_label("First speed: unit", exact=True)
        expect(speed).to_have_value(unit)


def test_a_model_says_what_it_goes_by(phone: Page) -> None:
    opened(phone)
    said = []
    for kind in ("launch", "drag"):
        options = phone.locator(f"[data-model={kind}] > .field select option")
        expect(options.first).to_be_attached(timeout=LOADING)
        said += options.all_text_contents()
    assert "Measured: read from a chronograph" in said
    assert "Component: summed over shaft, vanes, point and base" in said
    assert all(": " in one and len(one) < 100 for one in said)


@pytest.mark.parametrize(
    ("typed", "number"),
    [("1,5", "1.5"), (" 12 ", "12"), ("−3", "-3"), ("3.", "3"), (".5", "0.5"), ("+07", "7")],
)
def test_numbers_as_people_write_them(phone: Page, typed: str, number: str) -> None:
    opened(phone)
    # A reading without the rest of its scale is refused.
    foresee(phone, "422")
    phone.locator("details", has=field(phone, "/sight/scale/reading")).locator("summary").click()
    for pointer, path in (
        ("/air/temperature", "air/temperature"),
        ("/sight/scale/reading", "sight/scale/reading"),
    ):
        box = field(phone, pointer).locator("input")
        box.fill(typed)
        expect(box).to_have_value(typed)
        value = kept(phone, path)
        assert value == (f"{number} degC" if "temperature" in path else float(number))
        if path == "sight/scale/reading":
            error = field(phone, "/sight/scale/travel_per_unit").locator(".error")
            expect(error).to_have_text("Please fill this in.", timeout=LOADING)


def test_typing_stays_where_it_is_while_answers_come(phone: Page) -> None:
    opened(phone)
    mass = phone.get_by_label("Mass", exact=True)
    foresee(phone, "422")
    mass.fill("4,00")
    mass.evaluate("input => input.setSelectionRange(1, 1)")
    expect(field(phone, "/arrow/mass").locator(".error")).to_be_visible(timeout=LOADING)
    mass.press("2")
    expect(field(phone, "/arrow/mass").locator(".error")).to_be_hidden(timeout=LOADING)
    expect(mass).to_have_value("42,00")
    assert mass.evaluate("input => input.selectionStart") == 2
    assert kept(phone, "arrow/mass") == "42.00 gr"
