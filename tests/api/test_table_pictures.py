"""Tables over distance as pictures: marks, calibration, roll tolerance and wind."""

import copy
import json
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pdfplumber
import pytest
from flask import Flask
from flask.testing import FlaskClient
from picture_requests import PDF, SVG, Body, both, post
from pictured import Pictured, Scale

from arrowloft.api import problems
from arrowloft.api.learning import calibration
from arrowloft.api.level import cant_tolerance
from arrowloft.api.resource import Edge, Limits, Pictures
from arrowloft.api.sight import mark_table, wind
from arrowloft.app import create_app
from arrowloft.pictures import calibration as calibration_pictures
from arrowloft.pictures import cant_tolerance as cant_tolerance_pictures
from arrowloft.pictures import marks as mark_pictures
from arrowloft.pictures import wind as wind_pictures
from arrowloft.plugin.registry import Registry

EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
ALL = ("mark-table", "calibration", "cant-tolerance", "wind")
_ASKED = {name: json.loads((EXAMPLES / f"{name}.request.json").read_text()) for name in ALL}

DRAWN = Pictures(
    marks=mark_pictures.picture,
    calibration=calibration_pictures.picture,
    cant_tolerance=cant_tolerance_pictures.picture,
    wind=wind_pictures.picture,
)


def client_of(pictures: Pictures) -> FlaskClient:
    app = Flask("tables")
    edge = Edge.of(Registry.discover(), Limits(), pictures)
    for one in (mark_table, calibration, cant_tolerance, wind):
        one.resource(edge).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture(scope="module")
def drawing() -> FlaskClient:
    """A client of these resources alone, which draw."""
    return client_of(DRAWN)


@pytest.fixture
def asked() -> dict[str, Body]:
    return copy.deepcopy(_ASKED)


@pytest.mark.parametrize("name", ALL)
def test_a_picture_is_sound_and_the_same_every_time(
    drawing: FlaskClient, asked: dict[str, Body], name: str
) -> None:
    reply = post(drawing, name, asked[name])
    assert reply.content_type == SVG and reply.headers["Vary"] == "Accept"
    root = Pictured(reply.data).root
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == f"{name}-title {name}-description"
    assert post(drawing, name, dict(reversed(list(asked[name].items())))).data == reply.data
    asked[name]["arrow"]["mass"] = "25 g"
    assert post(drawing, name, asked[name]).data != reply.data


@pytest.mark.parametrize("name", ALL)
def test_as_pdf_it_is_a_page_of_that_size_with_its_fonts_inside(
    drawing: FlaskClient, asked: dict[str, Body], name: str
) -> None:
    reply = post(drawing, name, asked[name], PDF)
    assert reply.content_type == PDF and reply.data.startswith(b"%PDF")
    assert post(drawing, name, asked[name], PDF).data == reply.data
    # A Type 3 font is inside with its letters' drawings, a composite one with its file.
    fonts, inside = (
        sum(reply.data.count(word) for word in words)
        for words in (
            (b"/Subtype /Type3", b"/Subtype /Type0"),
            (b"/CharProcs", b"/FontFile2"),
        )
    )
    assert fonts == inside > 0 and b"/Subtype /Type1" not in reply.data
    picture = Pictured(post(drawing, name, asked[name]).data)
    with pdfplumber.open(BytesIO(reply.data)) as document:
        [page] = document.pages
        assert (page.width, page.height) == pytest.approx(picture.size, abs=0.01)
        text = page.extract_text()
    assert picture.root[0].text in text
    assert all(word in text for word in ("distance", "from", "arrow"))


@pytest.mark.parametrize("name", ALL)
def test_figures_are_what_comes_unless_a_picture_is_asked_for(
    drawing: FlaskClient, asked: dict[str, Body], name: str
) -> None:
    for accept in ("*/*", "application/json", "image/png, application/json;q=0.1"):
        assert post(drawing, name, asked[name], accept).content_type == "application/json"
    assert post(drawing, name, asked[name], "text/csv").content_type.startswith("text/csv")
    bare = client_of(Pictures())
    for client, accept in ((drawing, "image/png"), (bare, SVG), (bare, PDF)):
        reply = client.post(f"/v1/{name}", json=asked[name], headers={"Accept": accept})
        assert reply.status_code == 406


def test_the_service_draws_and_its_document_says_so(asked: dict[str, Body]) -> None:
    client = create_app().test_client()
    document = client.get("/openapi.json").get_json()
    for name in ALL:
        assert post(client, name, asked[name]).content_type == SVG
        post_ = document["paths"][f"/v1/{name}"]["post"]
        assert {SVG, PDF} <= set(post_["responses"]["200"]["content"])
        assert "image/svg+xml" in post_["description"]


OTHER_UNITS = {"distance": "m", "length": "in", "angle": "mrad", "speed": "km/h", "mass": "gr"}


@pytest.mark.parametrize("name", ALL)
def test_units_are_those_of_the_request(
    drawing: FlaskClient, asked: dict[str, Body], name: str
) -> None:
    asked[name]["units"] = OTHER_UNITS
    words = Pictured(post(drawing, name, asked[name]).data).words
    assert "distance (m)" in words and "(in)" in words and " gr, launched at " in words
    assert " mm" not in words and " yd" not in words


MANY = {"from": "20 m", "to": "69.95 m", "step": "0.05 m"}


@pytest.mark.parametrize("distances", [["40 m"], ["60 m", "20 m", "60 m"], MANY], ids=str)
@pytest.mark.parametrize("name", ALL)
def test_one_row_unsorted_rows_and_a_thousand_are_drawn(
    drawing: FlaskClient, asked: dict[str, Body], name: str, distances: Any
) -> None:
    body = asked[name] | {"distances": distances}
    body |= {"directions": ["90 deg"]} if name == "wind" else {}
    body |= {"cants": ["2 deg", "-2 deg"]} if name == "cant-tolerance" else {}
    figures, picture = both(drawing, name, body)
    count = 1000 if distances is MANY else len(distances)
    assert len(figures["rows"]) == count * (2 if name == "wind" else 1)  # of two speeds
    assert picture.size[1] < 1000


@pytest.mark.parametrize("name", ALL)
def test_a_refusal_is_the_same_as_of_the_figures(
    drawing: FlaskClient, asked: dict[str, Body], name: str
) -> None:
    body = asked[name] | {"distances": ["30 m", "900 m"]}
    told = [
        drawing.post(f"/v1/{name}", json=body, headers={"Accept": accept})
        for accept in ("application/json", SVG)
    ]
    assert told[0].status_code == told[1].status_code == 422
    assert told[0].data == told[1].data


def test_marks_go_through_the_rows(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    figures, picture = both(drawing, "mark-table", asked["mark-table"])
    rows = figures["rows"]
    zero, last = picture.marks("zero-mark")[0], picture.sheet("travel")[-1]
    data = np.array([(20.0, 0.0), (rows[-1]["distance"], rows[-1]["travel"])])
    marks = Scale(np.array([zero, last]), data)(picture.marks("travel-rows"))
    told = [(row["distance"], row["travel"]) for row in rows]
    assert marks == pytest.approx(np.array(told), abs=2e-3)
    for row in rows[1:]:
        assert f"+{row['clicks']} clicks, reading {row['reading']:.4g}" in picture.words


def test_a_calibration_shows_its_rows_and_its_ends(
    drawing: FlaskClient, asked: dict[str, Body]
) -> None:
    body = asked["calibration"]
    name = "</desc><b>&amp; “end” \u76f4 $x^2$"
    body["observations"][1]["name"] = name
    figures, picture = both(drawing, "calibration", body)
    rows = figures["rows"]
    zero, last = picture.marks("zero-mark")[0], picture.sheet("travel")[-1]
    data = np.array([(20.0, 0.0), (rows[-1]["distance"], rows[-1]["travel"])])
    read = Scale(np.array([zero, last]), data)
    marks = read(picture.marks("travel-rows"))
    assert marks[:, 1] == pytest.approx([row["travel"] for row in rows], abs=2e-3)
    before = read(picture.sheet("predicted"))
    for row in rows:
        found = np.interp(row["distance"], *before.T)
        assert found == pytest.approx(row["predicted_travel"], abs=2e-3)
    seen = figures["observations"][1]
    off, doubt = seen["up"] - seen["expected_up"], seen["up_uncertainty"]
    assert f"{off:+.3g} mm ± {doubt:.2g} mm at 60 yd" in picture.words
    assert name in picture.description and "first end" in picture.words
    assert "counted in: 1 measured speed" in picture.words


def test_a_calibration_without_launch_is_drawn(
    drawing: FlaskClient, asked: dict[str, Body]
) -> None:
    body = asked["calibration"]
    del body["launch"]
    body["observations"] = [
        {"distance": f"{at} yd", "mark": {"clicks": clicks}, "proven": True}
        for at, clicks in ((20, 0), (40, 73), (60, 163))
    ]
    _, picture = both(drawing, "calibration", body)
    assert "predicted" not in picture.names() and "Diamonds: proven marks" in picture.words


def test_rolls_are_those_of_the_rows(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    figures, picture = both(drawing, "cant-tolerance", asked["cant-tolerance"])
    rows = figures["rows"]
    level = picture.sheet("level")[0, 1]
    right = level - picture.marks("max-right-rows")[:, 1]
    told = [row["max_cant_right"] for row in rows]
    assert (right[2:] / right[-1]) == pytest.approx(np.array(told[2:]) / told[-1], rel=2e-3)
    top = (level - picture.sheet("roll-panel")[:, 1].min()) / right[-1] * told[-1]
    assert told[1] > top > told[2]  # the nearest are above the panel
    for row in rows:
        assert (
            f"{row['distance']:.0f} yd: to the right at most {row['max_cant_right']:.3g} deg"
            in (picture.description)
        )
    live = (level - picture.marks("live")[0, 1]) / right[-1] * told[-1]
    assert live == pytest.approx(figures["live"]["roll"], abs=1e-2)
    assert not figures["live"]["inside"] and "outside the allowance" in picture.words


def test_a_reading_alone_is_drawn(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    body = asked["cant-tolerance"]
    for name in ("distances", "cants", "level", "group", "roll_scatter"):
        del body[name]
    figures, picture = both(drawing, "cant-tolerance", body)
    assert not figures["rows"]
    assert "reading, 2.6 deg" in picture.words and "70 yd: at most" in picture.words
    body["live"]["distance"] = "900 yd"
    reply = drawing.post("/v1/cant-tolerance", json=body, headers={"Accept": SVG})
    assert reply.get_json()["errors"][0]["pointer"] == "/live/distance"


def test_drifts_are_those_of_the_rows(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    body = asked["wind"]
    figures, picture = both(drawing, "wind", body)
    last = figures["rows"][-8:]
    zero = picture.sheet("drift-zero")[0, 1]
    ends = {index: zero - picture.sheet(f"drift-{index}")[-1, 1] for index in (1, 3, 5, 7)}
    for index, end in ends.items():
        told = last[index]["drift"] / last[5]["drift"]
        assert end / ends[5] == pytest.approx(told, rel=1e-4)
        clicks = abs(last[index]["windage_clicks"])
        assert f"windage {clicks} clicks" in picture.words
    del body["sight"]
    assert "click" not in both(drawing, "wind", body)[1].description
