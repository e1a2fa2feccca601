"""POST /v1/comparison and /v1/fit as pictures: what they show is what the figures say."""

import copy
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from flask import Flask
from flask.testing import FlaskClient
from picture_requests import SVG, Body, both, post
from pictured import Pictured, Scale

from arrowloft.api import problems
from arrowloft.api.comparing import comparison
from arrowloft.api.fitting import fit
from arrowloft.api.resource import Edge, Limits, Pictures
from arrowloft.app import create_app
from arrowloft.pictures import comparison as comparison_pictures
from arrowloft.pictures import fit as fit_pictures
from arrowloft.plugin import Array, Arrow, CaseError, DragModel, Flow, Source, cross_section
from arrowloft.plugin.registry import Registry

EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
BOTH = ("comparison", "fit")
_ASKED = {name: json.loads((EXAMPLES / f"{name}.request.json").read_text()) for name in BOTH}


@dataclass(frozen=True, kw_only=True)
class Shy(DragModel):
    """Answers up to a Reynolds number only."""

    name = "shy"
    version = "1"
    sources = (Source("None", "derived"),)
    default_uncertainty = 0.1

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        """Cd = 2."""
        if np.any(flow.reynolds(arrow.shaft_diameter) > MOST["reynolds"]):
            raise CaseError("arrow/mass", "The model shy is not asked here.")
        return np.full(flow.airspeed.shape, 2.0 * float(cross_section(arrow)))


MOST = {"reynolds": np.inf}
"""What the model shy answers up to."""


def client_of(pictures: Pictures, registry: Registry | None = None) -> FlaskClient:
    app = Flask("research")
    edge = Edge.of(registry or Registry.discover(), Limits(), pictures)
    comparison.resource(edge).install(app)
    fit.resource(edge).install(app)
    problems.install(app)
    return app.test_client()


DRAWN = Pictures(comparison=comparison_pictures.picture, fit=fit_pictures.picture)


@pytest.fixture(scope="module")
def drawing() -> FlaskClient:
    """A client of these resources alone, which draw."""
    return client_of(DRAWN)


@pytest.fixture
def asked() -> dict[str, Body]:
    return copy.deepcopy(_ASKED)


@pytest.mark.parametrize("name", BOTH)
def test_a_picture_is_sound_and_kept_from_running_anything(
    drawing: FlaskClient, asked: dict[str, Body], name: str
) -> None:
    reply = post(drawing, name, asked[name])
    assert reply.content_type == SVG and reply.headers["Vary"] == "Accept"
    policy = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"
    assert reply.headers["Content-Security-Policy"] == policy
    root = Pictured(reply.data).root
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == f"{name}-title {name}-description"


@pytest.mark.parametrize("name", BOTH)
def test_the_same_request_gives_the_same_bytes(
    drawing: FlaskClient, asked: dict[str, Body], name: str
) -> None:
    first = post(drawing, name, asked[name]).data
    assert post(drawing, name, dict(reversed(list(asked[name].items())))).data == first
    asked[name]["arrow"]["mass"] = "25 g"
    assert post(drawing, name, asked[name]).data != first


@pytest.mark.parametrize("name", BOTH)
def test_figures_are_what_comes_unless_a_picture_is_asked_for(
    drawing: FlaskClient, asked: dict[str, Body], name: str
) -> None:
    for accept in ("*/*", "application/json", "image/png, application/json;q=0.1"):
        assert post(drawing, name, asked[name], accept).content_type == "application/json"
    reply = drawing.post(f"/v1/{name}", json=asked[name], headers={"Accept": "image/png"})
    assert reply.status_code == 406


@pytest.mark.parametrize("name", BOTH)
def test_without_what_draws_there_is_no_picture(asked: dict[str, Body], name: str) -> None:
    reply = client_of(Pictures()).post(f"/v1/{name}", json=asked[name], headers={"Accept": SVG})
    assert reply.status_code == 406


@pytest.mark.parametrize("name", BOTH)
def test_the_service_draws_and_its_document_says_so(asked: dict[str, Body], name: str) -> None:
    client = create_app().test_client()
    assert post(client, name, asked[name]).content_type == SVG
    document = client.get("/openapi.json").get_json()
    content = document["paths"][f"/v1/{name}"]["post"]["responses"]["200"]["content"]
    assert SVG in content


def lanes_of(figures: Any, picture: Pictured) -> tuple[list[Any], Scale]:
    """Rows of each lane, in metres as the request asks for, and the scale of the picture."""
    rows = [lane["rows"] for lane in figures["lanes"]]
    base = next(i for i, lane in enumerate(figures["lanes"]) if lane["baseline"])
    far = max(range(len(rows)), key=lambda index: abs(rows[index][-1]["up"]))
    sheet = np.array([picture.sheet(f"up-{base}")[0], picture.sheet(f"up-{far}")[-1]])
    first, last = rows[base][0]["distance"], rows[far][-1]
    return rows, Scale(sheet, np.array([(first, 0.0), (last["distance"], last["up"])]))


def test_curves_go_through_the_impacts_of_the_rows(
    drawing: FlaskClient, asked: dict[str, Body]
) -> None:
    figures, picture = both(drawing, "comparison", asked["comparison"])
    rows, read = lanes_of(figures, picture)
    reach = max(abs(row["up"]) for lane in rows for row in lane)
    for index, lane in enumerate(rows):
        points = read(picture.sheet(f"up-{index}"))
        told = np.array([(row["distance"], row["up"]) for row in lane])
        assert np.interp(told[:, 0], *points.T) == pytest.approx(told[:, 1], abs=1e-5 * reach)
        label = figures["lanes"][index]["labels"]["drag"]
        assert label in picture.words and label in picture.description


def test_between_the_distances_asked_for_curves_are_flights_too(
    drawing: FlaskClient, asked: dict[str, Body]
) -> None:
    body = asked["comparison"]
    body["drags"] = [
        {"label": f"{value}", "model": "constant", "parameters": {"coefficient": value}}
        for value in (1.8, 2.6)
    ]
    body |= {"distances": ["20 m", "80 m"], "baseline": {}, "units": {"distance": "m"}}
    picture = Pictured(post(drawing, "comparison", body).data)
    few = post(drawing, "comparison", body, "application/json").get_json()
    read = lanes_of(few, picture)[1]
    body["distances"] = {"from": "20 m", "to": "80 m", "step": "5 m"}
    rows = post(drawing, "comparison", body, "application/json").get_json()["lanes"][1]["rows"]
    points = read(picture.sheet("up-1"))
    for row in rows:
        # Straight between points 2 % apart: the bend leaves out less than a thousandth.
        drawn = np.interp(row["distance"], *points.T)
        assert drawn == pytest.approx(row["up"], abs=2e-3 * abs(rows[-1]["up"]))


def test_partings_are_those_of_the_figures(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    figures, picture = both(drawing, "comparison", asked["comparison"])
    _, read = lanes_of(figures, picture)
    seen = 0
    for index, lane in enumerate(figures["lanes"]):
        for kind, parting in lane["partings"].items():
            if parting is not None:
                seen += 1
                place = read(picture.marks(f"parts-{kind}-{index}"))[0]
                assert place[0] == pytest.approx(parting["distance"], abs=1e-4)
    assert seen


def test_drag_coefficients_are_those_of_the_laws(
    drawing: FlaskClient, asked: dict[str, Body]
) -> None:
    body = asked["comparison"]
    body["drags"] = [
        {"label": f"Cd {value}", "model": "constant", "parameters": {"coefficient": value}}
        for value in (1.8, 2.6)
    ]
    body["baseline"] = {}
    figures, picture = both(drawing, "comparison", body)
    reynolds = [row["reynolds_at_arrival"] for row in figures["lanes"][0]["rows"]]
    launch = [row["reynolds_at_launch"] for row in figures["lanes"][0]["rows"]]
    flown = picture.sheet("law-0-flown")[:, 0]
    whole = picture.sheet("law-0")[:, 0]
    other = picture.sheet("law-1-flown")[:, 0]
    slower = min(row["reynolds_at_arrival"] for row in figures["lanes"][1]["rows"])
    # Two ends of one law, and the far end of the other: all to one scale.
    scale = (max(launch) - min(reynolds)) / np.ptp(flown)
    assert (flown[0] - other[0]) * scale == pytest.approx(min(reynolds) - slower, rel=1e-3)
    assert whole[0] < other[0] and whole[-1] > flown[-1]
    assert "Drag coefficient of Cd 1.8: 1.8." in picture.description


def test_a_law_that_answers_only_what_is_flown_is_drawn_there(
    asked: dict[str, Body], monkeypatch: pytest.MonkeyPatch
) -> None:
    built_in = [model for kind in Registry.discover().models.values() for model in kind.values()]
    client = client_of(DRAWN, Registry.of(*built_in, Shy))
    body = asked["comparison"]
    body["drags"] = [{"model": "constant", "parameters": {"coefficient": 1.9}}, {"model": "shy"}]
    body["baseline"] = {}
    figures, free = both(client, "comparison", body)
    limit = max(row["reynolds_at_launch"] for row in figures["lanes"][1]["rows"])
    monkeypatch.setitem(MOST, "reynolds", 1.0001 * limit)
    _, picture = both(client, "comparison", body)
    assert picture.sheet("law-1")[-1, 0] < free.sheet("law-1")[-1, 0]
    assert picture.sheet("law-1") == pytest.approx(picture.sheet("law-1-flown"))


def test_wind_adds_a_view_of_what_it_does(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    body = asked["comparison"] | {"wind": {"speed": "8 m/s", "from": "90 deg"}}
    figures, picture = both(drawing, "comparison", body)
    assert "in a wind of" in picture.words
    zero = picture.sheet("right-0")[0, 1]
    rows = [[row["right"] for row in lane["rows"]] for lane in figures["lanes"]]
    far = max(range(len(rows)), key=lambda index: abs(rows[index][-1]))
    unit = (picture.sheet(f"right-{far}")[-1, 1] - zero) / rows[far][-1]
    for index, right in enumerate(rows):
        ends = picture.sheet(f"right-{index}")[[0, -1], 1]
        assert (ends - zero) / unit == pytest.approx([right[0], right[-1]], abs=0.01)


def test_at_one_distance_marks_stand_where_each_lane_hits(
    drawing: FlaskClient, asked: dict[str, Body]
) -> None:
    body = asked["comparison"] | {"wind": {"speed": "8 m/s", "from": "90 deg"}}
    figures, picture = both(drawing, "comparison", body | {"distances": ["60 m"]})
    for way in ("up", "right"):
        told = [lane["rows"][0][way] for lane in figures["lanes"]]
        drawn = [picture.marks(f"{way}-{index}-rows")[0, 1] for index in range(len(told))]
        far = int(np.argmax(np.abs(told)))
        unit = (drawn[far] - drawn[0]) / told[far]
        assert (np.array(drawn) - drawn[0]) / unit == pytest.approx(told, abs=0.1)


def test_a_lane_that_left_what_it_is_trusted_for_says_so(
    drawing: FlaskClient, asked: dict[str, Body]
) -> None:
    body = asked["comparison"] | {"units": {"speed": "m/s"}}
    fast = {"label": "fast", "model": "measured", "parameters": {"speed": "140 m/s"}}
    body |= {"launches": [*body["launches"], fast], "baseline": {}}
    figures, picture = both(drawing, "comparison", body)
    left = [one["range_left"] for one in figures["summary"]]
    assert any(left) and not all(left)
    said = picture.description.count("beyond what its models are trusted for")
    assert said == sum(left)


def test_figures_as_csv_are_still_there(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    reply = post(drawing, "comparison", asked["comparison"], "text/csv")
    assert reply.content_type.startswith("text/csv")


def test_residuals_are_those_of_the_figures(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    asked["fit"]["models"].reverse()  # so that the best is not the first
    figures, picture = both(drawing, "fit", asked["fit"])
    kinds = ("speed", "time", "drop")
    for place, line in enumerate(figures["ranking"][:3]):
        model = figures["models"][line["model"]]
        zero = picture.sheet(f"zero-{place}")[0, 1]
        unit = np.ptp(picture.sheet(f"band-{place}-1")[:, 1]) / 2.0
        for kind, name in enumerate(kinds):
            rows = model["residuals"][name]
            for series in {row["series"] for row in rows}:
                marks = picture.marks(f"residuals-{place}-{kind}-{series}")
                told = [row["in_uncertainties"] for row in rows if row["series"] == series]
                assert (zero - marks[:, 1]) / unit == pytest.approx(told, abs=0.02)
        assert model["label"] in picture.words and model["label"] in picture.description


def test_fitted_drag_is_that_of_the_figures(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    figures, picture = both(drawing, "fit", asked["fit"])
    told = []
    for line in figures["ranking"]:
        told.append(figures["models"][line["model"]]["coefficients"])
    first, last = picture.sheet("law-0"), picture.sheet(f"law-{len(told) - 1}")
    ends = told[0][0], told[-1][-1]
    read = Scale(
        np.array([first[0], last[-1]]),
        np.array([(end["reynolds"], end["coefficient"]) for end in ends]),
    )
    for place, points in enumerate(told):
        drawn = read(picture.sheet(f"law-{place}"))
        for point in points:
            value = np.interp(point["reynolds"], *drawn.T)
            assert value == pytest.approx(point["coefficient"], rel=1e-3)


def test_a_model_that_cannot_be_fitted_is_named(
    drawing: FlaskClient, asked: dict[str, Body]
) -> None:
    body = asked["fit"]
    body["models"].append({"label": "both layers", "drag": {"model": "transition"}})
    figures, picture = both(drawing, "fit", body)
    assert "failed" in figures["models"][-1]
    assert "Could not be fitted: “both layers”." in picture.words
