"""Links, files and codes: what they bring is asked about, can be undone, and breaks nothing."""

import base64
import json
import zlib
from pathlib import Path
from typing import Any

import pytest
from browsing import DESKTOP, PHONE, Visit, accessible, foresee, screenshot
from kiosk_page import LOADING, STEPS, glance, opened
from playwright.sync_api import Locator, Page, expect

STARTING: dict[str, Any] = {
    "format": 1,
    "system": "metric",
    "setup": {
        "bow": {"peep_height": "11 cm"},
        "arrow": {"mass": "433 gr", "shaft_diameter": "5.8 mm", "length": "28.5 in"},
        "sight": {"radius": "84 cm", "zero_distance": "20 m"},
        "launch": {"model": "measured", "parameters": {"speed": "270 ft/s"}},
        "drag": {"model": "component", "parameters": {}},
    },
    "ask": {},
}

REQUEST: dict[str, Any] = {
    "bow": {"peep_height": "4.5 in"},
    "arrow": {"mass": "421 gr", "shaft_diameter": "5.8 mm", "length": "28.5 in"},
    "sight": {"radius": "33 in", "zero_distance": "20 yd"},
    "launch": {"model": "measured", "parameters": {"speed": "281 ft/s"}},
    "drag": {"model": "component"},
    "air": {"temperature": "70 degF"},
    "units": {"distance": "yd", "length": "in"},
    "distances": {"from": "25 yd", "to": "75 yd", "step": "1 yd"},
    "number_every": 10,
    "scales": [
        {
            "label": "Summer",
            "marks": [
                {"distance": "30 yd", "travel": "6.1 mm"},
                {"distance": "50 yd", "travel": "21.4 mm"},
            ],
        },
        {"label": "Winter", "air": {"temperature": "32 degF"}, "arrow": {"mass": "500 gr"}},
    ],
    "sheet": {"paper": "letter", "title": "Invented"},
    "card": {"wind": {"speed": "8 mph", "from": "90 deg"}},
}


def link_of(state: dict[str, Any]) -> str:
    """What the page's own link holds: raw deflate, base64url without padding."""
    squeezed = zlib.compressobj(wbits=-15)
    packed = squeezed.compress(json.dumps(state).encode()) + squeezed.flush()
    return "/#s=" + base64.urlsafe_b64encode(packed).decode().rstrip("=")


def mass(page: Page) -> Locator:
    return page.get_by_label("Mass", exact=True)


def state_of(page: Page) -> Any:
    return page.evaluate("async () => (await import('/kiosk/kept/state.js')).whole()")


def test_a_link_asks_before_it_takes_the_place_of_entries(phone: Page) -> None:
    opened(phone)
    mass(phone).fill("471")
    phone.goto(link_of(STARTING))
    asked = phone.get_by_role("dialog")
    expect(asked).to_contain_text("Take up the set-up of this link")
    accessible(phone)
    asked.get_by_role("button", name="Cancel").click()
    expect(mass(phone)).to_have_value("471")
    phone.goto(link_of(STARTING))
    asked.get_by_role("button", name="Take it up").click()
    expect(mass(phone)).to_have_value("433")
    # Once it can be undone, after a reload too.
    phone.reload()
    expect(mass(phone)).to_have_value("433", timeout=LOADING)
    phone.get_by_role("button", name="Menu").click()
    phone.get_by_role("button", name="Bring back mine").click()
    expect(mass(phone)).to_have_value("471")
    phone.get_by_role("button", name="Menu").click()
    expect(phone.get_by_role("button", name="Bring back mine")).to_have_count(0)


def test_nothing_is_asked_where_nothing_was_entered(phone: Page) -> None:
    opened(phone)
    expect(phone.locator("[data-model=drag] .control").first).to_be_visible(timeout=LOADING)
    phone.get_by_label("Units", exact=True).select_option("imperial")
    phone.goto(link_of(STARTING))
    expect(mass(phone)).to_have_value("433")
    expect(phone.get_by_role("dialog")).to_have_count(0)


def test_a_code_of_a_sheet_is_taken_up(visit: Visit) -> None:
    with visit(PHONE) as page:
        opened(page)
        page.get_by_role("button", name="Menu").click()
        page.get_by_role("button", name="Take up a code").click()
        text = page.get_by_label("Text of the code")
        expect(text).to_be_focused()
        text.fill("no code")
        accessible(page)
        page.get_by_role("button", name="Take it up").click()
        expect(page.get_by_role("dialog")).to_contain_text("nothing in this code")
        page.get_by_role("button", name="Take up a code").click()
        text.fill(f"  {json.dumps(REQUEST)}\n")
        screenshot(page, "kiosk-take-up-a-code", whole=False)
        page.get_by_role("button", name="Take it up").click()
        expect(mass(page)).to_have_value("421")
        expect(page.get_by_role("dialog")).to_have_count(0)
        expect(page.get_by_label("Units", exact=True)).to_have_value("imperial")
        state = state_of(page)
        assert state["setup"]["bow"] == REQUEST["bow"]
        assert state["setup"]["air"] == REQUEST["air"]
        assert state["ask"]["verify"]["ends"] == [
            {"kind": "arrows", "how": "proven", "way": "travel"} | mark
            for mark in REQUEST["scales"][0]["marks"]
        ]
        printed = state["ask"]["print"]
        assert printed["others"] == [
            {"label": "Winter", "temperature": "32 degF", "mass": "500 gr"}
        ]
        for name in ("distances", "number_every", "sheet", "card"):
            assert printed[name] == REQUEST[name]
        assert printed["label"] == "Summer"
        expect(page.locator("#glance .strip")).to_contain_text("20 yd", timeout=LOADING)


def test_a_file_may_hold_a_request(visit: Visit, tmp_path: Path) -> None:
    plain = {name: one for name, one in REQUEST.items() if name not in ("scales", "units")}
    plain |= {"label": "One", "marks": REQUEST["scales"][0]["marks"][:1]}
    (tmp_path / "request.json").write_text(json.dumps(plain))
    with visit(DESKTOP) as page:
        opened(page)
        page.get_by_role("button", name="Menu").click()
        page.locator("input[type=file]").set_input_files(tmp_path / "request.json")
        expect(mass(page)).to_have_value("421")
        state = state_of(page)
        assert state["system"] == "imperial"
        assert [end["distance"] for end in state["ask"]["verify"]["ends"]] == ["30 yd"]
        assert state["ask"]["print"]["label"] == "One"
        assert state["ask"]["print"]["others"] == []


def test_the_page_s_own_code_comes_back_as_it_was(visit: Visit) -> None:
    """What the step "Print" sends is what its code holds."""
    with visit(DESKTOP) as page:
        opened(page)
        mass(page).fill("419")
        with page.expect_request("**/v1/sight-scale") as sent:
            page.goto("/#/print")
        body = sent.value.post_data or ""
        before = state_of(page)["setup"]
        page.goto("/#/setup")
        mass(page).fill("420")
        page.get_by_role("button", name="Menu").click()
        page.get_by_role("button", name="Take up a code").click()
        page.get_by_label("Text of the code").fill(body)
        page.get_by_role("button", name="Take it up").click()
        page.get_by_role("button", name="Take it up").click()
        expect(mass(page)).to_have_value("419")
        after = state_of(page)["setup"]
        assert {name: one for name, one in after.items() if one} == {
            name: one if name != "drag" else after["drag"] for name, one in before.items() if one
        }


HOSTILE = [
    {"print": {"others": "abc", "card": 5, "distances": ["20 m"], "sheet": "A4"}},
    {
        "verify": {"ends": {"0": 1}, "group": 3},
        "path": {"obstacles": "x", "ground": [], "group": 1},
    },
    {"slopes": {"slopes": "10 deg", "distances": 7}, "level": [], "window": {"housing": "x"}},
    {"print": {"others": [None, 3, "x"]}, "verify": {"ends": [None, {"touched": 4}]}, "wind": "x"},
]


@pytest.mark.parametrize("ask", HOSTILE)
def test_an_odd_state_breaks_no_step(desktop: Page, ask: dict[str, Any]) -> None:
    hostile = STARTING | {"ask": ask}
    desktop.goto(link_of(hostile))
    expect(mass(desktop)).to_have_value("433", timeout=LOADING)
    for step in STEPS:
        desktop.goto(f"/#/{step}")
        expect(desktop.locator(f"body[data-step={step}]")).to_be_attached()
        expect(desktop.locator("main .inner")).not_to_be_empty()
        expect(desktop.get_by_text("cannot be read")).to_have_count(0)
    expect(desktop.locator("#glance tbody tr")).to_have_count(6, timeout=LOADING)


def test_names_that_objects_share_do_nothing(desktop: Page) -> None:
    shared = '"__proto__": {"mass": "1 gr"}, "constructor": {"x": "2 m"}, "prototype": "3 m"'
    state = json.dumps(STARTING)
    for place in ('"setup": {', '"arrow": {', '"ask": {'):
        state = state.replace(
            place, f"{place}{shared}{'' if place == chr(34) + 'ask' + chr(34) + ': {' else ','}"
        )
    squeezed = zlib.compressobj(wbits=-15)
    packed = squeezed.compress(state.encode()) + squeezed.flush()
    desktop.goto("/#s=" + base64.urlsafe_b64encode(packed).decode().rstrip("="))
    expect(mass(desktop)).to_have_value("433", timeout=LOADING)
    expect(desktop.locator("#glance tbody tr")).to_have_count(6, timeout=LOADING)
    desktop.get_by_label("Units", exact=True).select_option("imperial")
    expect(desktop.locator("#glance .strip")).to_contain_text("20 yd", timeout=LOADING)
    kept = desktop.evaluate("localStorage['arrowloft.state']")
    assert not any(name in kept for name in ("__proto__", "constructor", "prototype"))
    assert glance(desktop)


def test_a_model_named_as_no_model_is(desktop: Page) -> None:
    # The page may learn that there is no such model before it asks.
    foresee(desktop, "4(04|22)", sure=False)
    hostile = json.loads(json.dumps(STARTING))
    hostile["setup"]["drag"] = {"model": "toString", "parameters": "x"}
    hostile["setup"]["launch"] = 5
    desktop.goto(link_of(hostile))
    drag = desktop.locator("[data-model=drag]")
    expect(drag).to_contain_text("not installed here", timeout=LOADING)
    launch = desktop.locator("[data-model=launch]")
    expect(launch.get_by_label("Model", exact=True)).to_have_value("measured", timeout=LOADING)
