"""What the page reckons by itself, each figure held against the service or a closed form."""

from typing import Any

import pytest
import requests
from browsing import DESKTOP, Visit
from kiosk_page import LOADING, opened
from playwright.sync_api import Page, expect
from strangers import Service

from arrowloft import units as table


@pytest.fixture
def page(desktop: Page) -> Page:
    opened(desktop)
    return desktop


def of(page: Page, module: str, call: str, *given: Any) -> Any:
    """What a function of a module of the page gives."""
    return page.evaluate(
        "async ([module, call, given]) => (await import(module))[call](...given)",
        [f"/kiosk/{module}", call, list(given)],
    )


def enter(page: Page, **entries: Any) -> None:
    """Put entries into the state; a path's steps stand apart by two low lines."""
    for path, value in entries.items():
        of(page, "kept/state.js", "set", path.replace("__", "/"), value)


@pytest.mark.parametrize(
    ("value", "dimension", "from_", "to"),
    [
        (17.25, "distance", "yd", "m"),
        (-3.5, "temperature", "degC", "degF"),
        (29.8, "pressure", "inHg", "hPa"),
        (276.0, "speed", "ft/s", "m/s"),
        (421.0, "mass", "gr", "g"),
    ],
)
def test_units_are_those_of_the_service(
    page: Page, value: float, dimension: str, from_: str, to: str
) -> None:
    wanted = table.from_si(table.to_si(value, dimension, from_), dimension, to)
    found = of(page, "wire/units.js", "converted", value, dimension, from_, to)
    assert found == pytest.approx(wanted, rel=1e-12)


def test_shifts_at_the_target_are_told_in_centimetres(page: Page) -> None:
    metric = {"length": "mm", "distance": "m"}
    assert of(page, "words/target.js", "landing", 82, -3, metric) == "8.2 cm right and 0.3 cm low"
    assert of(page, "words/target.js", "landing", -1204, 5.04, metric) == (
        "120 cm left and 0.5 cm high"
    )
    assert of(page, "words/target.js", "landing", 0.2, -0.2, metric) == "on the aim point"
    inches = {"length": "in", "distance": "yd"}
    assert of(page, "words/target.js", "landing", 3.24, 0, inches) == "3.2 in right"


def test_the_dial_shows_where_the_wind_comes_from(visit: Visit) -> None:
    with visit(DESKTOP) as page:
        opened(page, "wind")
        dial = page.locator("main svg.compass")
        expect(dial).to_be_visible(timeout=LOADING)
        dial.scroll_into_view_if_needed()
        box = dial.bounding_box()
        assert box is not None
        places = {
            (0.5, 0.1): "from straight ahead, 0 degrees",
            (0.9, 0.5): "from the right, 90 degrees",
            (0.5, 0.9): "from straight behind, 180 degrees",
            (0.1, 0.5): "from the left, 270 degrees",
        }
        for (across, down), words in places.items():
            box = dial.bounding_box()
            assert box is not None
            page.mouse.click(box["x"] + across * box["width"], box["y"] + down * box["height"])
            expect(dial).to_have_attribute("aria-valuetext", words)


def test_the_sheet_is_asked_for_as_entered(page: Page) -> None:
    enter(
        page,
        ask__print__number_every=4,
        ask__print__farther="up",
        ask__print__magnification=1.5,
        ask__print__card__allowance__diameter="31 cm",
        ask__print__card__wind__from="200 deg",
        ask__print__distances__to="55 m",
        ask__print__others=[{"label": "Cold", "temperature": "-8 degC"}],
    )
    body = of(page, "steps/print/sheet.js", "sheetBody", None)
    assert (body["number_every"], body["farther"], body["magnification"]) == (4, "up", 1.5)
    assert body["card"]["allowance"] == {"diameter": "31 cm"}
    assert body["card"]["wind"] == {"speed": "3 m/s", "from": "200 deg"}
    assert body["distances"] == {"from": "20 m", "to": "55 m", "step": "1 m"}
    assert body["scales"][1] == {"label": "Cold", "air": {"temperature": "-8 degC"}}


def test_heights_above_the_ground_are_those_of_the_service(page: Page, service: Service) -> None:
    """The same hedge by its height above the ground, and by what the page makes of that."""
    enter(
        page,
        ask__path__target="38 m",
        ask__path__slope="-12 deg",
        ask__path__ground__eye_height="165 cm",
        ask__path__ground__target_height="95 cm",
    )
    above = 1.1
    over_sight = of(page, "steps/path/entries.js", "fromSight", 24, 100 * above)
    common = of(page, "wire/request.js", "request", {"target": "38 m", "slope": "-12 deg"})
    common |= {"ground": {"eye_height": "165 cm", "target_height": "95 cm"}}
    hedges = [
        {"name": "by the ground", "distance": "24 m", "top_above_ground": f"{above} m"},
        {"name": "by the sight", "distance": "24 m", "top": f"{over_sight:.4f} cm"},
    ]
    reply = requests.post(
        f"{service.url}/v1/clearance", json=common | {"obstacles": hedges}, timeout=30
    ).json()
    first, second = (one["margin"] for one in reply["obstacles"])
    assert first == pytest.approx(second, abs=0.1)  # mm


def test_no_path_of_the_state_reaches_what_all_objects_share(page: Page) -> None:
    for path in ("__proto__/polluted", "setup/constructor/prototype/polluted"):
        with pytest.raises(Exception, match=path):
            of(page, "kept/state.js", "set", path, "yes")
    assert page.evaluate("({}).polluted") is None


def test_a_scale_is_asked_for_through_the_corrected_marks(visit: Visit) -> None:
    """Of the whole scale, whatever units its ends have, and of the zero distance."""
    with visit(DESKTOP) as page:
        opened(page)
        ends = [{"distance": "30 m", "how": "measured", "up": "6 cm", "arrows": 4}]
        enter(page, ask__verify__ends=ends, ask__print__distances__from="25 m")
        enter(page, ask__print__distances__to="60 yd")
        with page.expect_request("**/v1/sight-scale", timeout=LOADING) as sent:
            page.goto("/#/print")
        marks = sent.value.post_data_json["marks"]
        distances = [float(one["distance"].removesuffix(" m")) for one in marks]
        assert distances[0] == 20.0 and distances[1] == 25.0
        assert distances[-1] == pytest.approx(60 * 0.9144, abs=1e-3)
        assert float(marks[0]["travel"].removesuffix(" mm")) != 0.0
        expect(page.locator("main .sheet img")).to_be_visible(timeout=LOADING)
        # The fields show what is asked, also in the other system of units.
        page.get_by_label("Units", exact=True).select_option("imperial")
        expect(page.get_by_label("Paper", exact=True)).to_have_value("letter")
        expect(page.get_by_label("A line every", exact=True).first).to_have_attribute(
            "placeholder", "1"
        )
