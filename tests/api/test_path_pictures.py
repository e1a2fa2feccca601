"""Clearance, trajectory, hits and error budget as pictures: what they show is what figures say."""

import copy
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from flask import Flask
from flask.testing import FlaskClient
from picture_requests import PDF, SVG, Body, both, post
from pictured import Pictured, Scale

from arrowloft.api import problems
from arrowloft.api.chances import error_budget, hit_probability
from arrowloft.api.flight import trajectory
from arrowloft.api.path import clearance
from arrowloft.api.resource import Edge, Limits, Pictures
from arrowloft.pictures import error_budget as budget_pictures
from arrowloft.pictures import hit_probability as hit_pictures
from arrowloft.pictures import path as path_pictures
from arrowloft.plugin.registry import Registry

EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
ALL = ("clearance", "trajectory", "hit-probability", "error-budget")
_ASKED = {name: json.loads((EXAMPLES / f"{name}.request.json").read_text()) for name in ALL}
METRES = {"distance": "m", "length": "m"}


def client_of(pictures: Pictures) -> FlaskClient:
    app = Flask("paths")
    edge = Edge.of(Registry.discover(), Limits(), pictures)
    for module in (clearance, trajectory, hit_probability, error_budget):
        module.resource(edge).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture(scope="module")
def drawing() -> FlaskClient:
    """A client of these resources alone, which draw."""
    return client_of(
        Pictures(
            clearance=path_pictures.clearance,
            trajectory=path_pictures.trajectory,
            hit_probability=hit_pictures.picture,
            error_budget=budget_pictures.picture,
        )
    )


@pytest.fixture
def asked() -> dict[str, Body]:
    return copy.deepcopy(_ASKED)


@pytest.mark.parametrize("name", ALL)
def test_a_picture_is_sound_and_kept_from_running_anything(
    drawing: FlaskClient, asked: dict[str, Body], name: str
) -> None:
    reply = post(drawing, name, asked[name])
    assert reply.content_type == SVG and reply.headers["Vary"] == "Accept"
    policy = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"
    assert reply.headers["Content-Security-Policy"] == policy
    picture = Pictured(reply.data)
    picture.check_sound()
    assert picture.root.get("aria-labelledby") == f"{name}-title {name}-description"


@pytest.mark.parametrize("name", ALL)
def test_a_pdf_has_its_fonts_in_it(drawing: FlaskClient, asked: dict[str, Body], name: str) -> None:
    reply = post(drawing, name, asked[name], PDF)
    assert reply.content_type == PDF and reply.data.startswith(b"%PDF-")
    # A font is embedded as a file, or as the drawings of its letters.
    assert b"/FontFile2" in reply.data or b"/CharProcs" in reply.data
    assert b"DejaVuSans" in reply.data
    assert post(drawing, name, asked[name], PDF).data == reply.data


@pytest.mark.parametrize("name", ALL)
def test_the_same_request_gives_the_same_bytes(
    drawing: FlaskClient, asked: dict[str, Body], name: str
) -> None:
    first = post(drawing, name, asked[name]).data
    assert post(drawing, name, dict(reversed(list(asked[name].items())))).data == first
    asked[name]["arrow"]["mass"] = "25.7 g"
    assert post(drawing, name, asked[name]).data != first


@pytest.mark.parametrize("name", ALL)
def test_figures_are_what_comes_unless_a_picture_is_asked_for(
    drawing: FlaskClient, asked: dict[str, Body], name: str
) -> None:
    for accept in ("*/*", "application/json", "image/png, application/json;q=0.1"):
        reply = post(drawing, name, asked[name], accept)
        assert reply.content_type == "application/json" and reply.headers["Vary"] == "Accept"
    reply = drawing.post(f"/v1/{name}", json=asked[name], headers={"Accept": "image/png"})
    assert reply.status_code == 406


@pytest.mark.parametrize("name", ALL)
def test_without_what_draws_there_is_no_picture(asked: dict[str, Body], name: str) -> None:
    client = client_of(Pictures())
    for accept in (SVG, PDF):
        reply = client.post(f"/v1/{name}", json=asked[name], headers={"Accept": accept})
        assert reply.status_code == 406


@pytest.mark.parametrize("name", ALL)
def test_what_is_refused_as_figures_is_refused_as_a_picture(
    drawing: FlaskClient, asked: dict[str, Body], name: str
) -> None:
    member = "target" if name in ("clearance", "trajectory") else "distances"
    asked[name][member] = "999 m" if member == "target" else ["999 m"]
    replies = [
        drawing.post(f"/v1/{name}", json=asked[name], headers={"Accept": accept})
        for accept in ("application/json", SVG)
    ]
    assert [reply.status_code for reply in replies] == [422, 422]
    assert replies[0].get_json() == replies[1].get_json()


def height_scale(picture: Pictured, apex: Any, kind: str = "side") -> Scale:
    """From the sheet to metres, by the eye and the apex."""
    sheet = np.array([picture.marks(f"{kind}-eye")[0], picture.marks("apex")[0]])
    return Scale(sheet, np.array([(0.0, 0.0), (apex["distance"], apex["height"])]))


def test_obstacles_stand_where_the_figures_have_them(
    drawing: FlaskClient, asked: dict[str, Body]
) -> None:
    body = asked["clearance"] | {"units": METRES}
    figures, picture = both(drawing, "clearance", body)
    read = height_scale(picture, figures["apex"])
    line = read(picture.sheet("side-path"))
    for index, row in enumerate(figures["obstacles"]):
        heights = read(picture.sheet(f"side-obstacle-{index}"))[:, 1]
        if row["bottom"] is not None:
            assert heights.min() == pytest.approx(row["bottom"], abs=1e-4)
        if row["top"] is not None:
            assert heights.max() == pytest.approx(row["top"], abs=1e-4)
        way = row["distance"]
        assert np.interp(way, *line.T) == pytest.approx(row["arrow_height"], abs=1e-4)
        told = f"{way:g} m: clear by {row['margin']:.3g} m"
        assert row["name"] in picture.description and told in picture.description
        assert f"{index + 1} {row['name']}" in picture.words


def test_the_lane_is_that_of_the_figures(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    body = asked["clearance"] | {"units": METRES}
    figures, picture = both(drawing, "clearance", body)
    read = height_scale(picture, figures["apex"])
    for side in ("bottom", "top"):
        line = read(picture.sheet(f"side-lane-{side}"))
        for row in figures["lane"]["rows"]:
            drawn = np.interp(row["distance"], *line.T)
            assert drawn == pytest.approx(row[side], abs=2e-3)


def test_what_touches_is_said_first(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    body = asked["clearance"]
    body["obstacles"][0]["bottom_angle"] = "0.9 deg"
    figures, picture = both(drawing, "clearance", body)
    assert not figures["obstacles"][0]["clear"]
    assert "side-obstacle-0-touched" in picture.names()
    assert picture.description.startswith('The arrow touches "hornbeam branch": do not shoot.')


def test_names_from_callers_cannot_break_the_picture(
    drawing: FlaskClient, asked: dict[str, Body]
) -> None:
    body = asked["clearance"]
    names = ["</desc><script>x()</script>", "]]> &amp; $\\frac$", "\"'--><!--", "\u202e\u76f4 Ж"]
    for one, name in zip(body["obstacles"], names, strict=True):
        one["name"] = name
    _, picture = both(drawing, "clearance", body)
    assert all(name in picture.description for name in names)


def test_the_housing_is_drawn_at_its_marks(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    body = asked["clearance"] | {"marks": ["70 m", "20 m", "130 m"], "units": METRES}
    figures, picture = both(drawing, "clearance", body)
    rows = sorted(figures["housing"]["rows"], key=lambda row: row["distance"])
    assert [row["clear"] for row in rows] == [True, True, False]
    free, zero = picture.marks("housing-free"), picture.sheet("housing-zero")[0, 1]
    unit = (free[0, 1] - zero) / rows[0]["housing_clearance"]
    assert (free[1, 1] - zero) / unit == pytest.approx(rows[1]["housing_clearance"], abs=1e-4)
    way = figures["housing"]["farthest"]
    assert f"at marks up to {way:.3g} m" in picture.description
    limit = picture.sheet("housing-farthest")[0, 0]
    share = (limit - free[0, 0]) / (free[1, 0] - free[0, 0])
    assert 20.0 + 50.0 * share == pytest.approx(way, abs=0.01)


NEEDED = ("bow", "arrow", "launch", "drag")


def test_the_least_that_is_answered_is_drawn(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    bare = {name: asked["clearance"][name] for name in NEEDED} | {"target": "30 m"}
    branch = {"name": "x", "distance": "9 m", "bottom": "40 cm"}
    ground = {"eye_height": "1.6 m", "target_height": "1 m"}
    for more in ({"obstacles": [branch]}, {"ground": ground}):
        _, picture = both(drawing, "clearance", bare | more)
        assert "side-panel" in picture.names()
    both(drawing, "trajectory", bare)
    group = {"distance": "20 m", "vertical": "3 cm"}
    hits = bare | {"distances": ["30 m"], "zone": {"diameter": "20 cm"}, "group": group}
    del hits["target"]
    both(drawing, "hit-probability", hits)
    del hits["zone"], hits["group"]
    both(drawing, "error-budget", hits | {"sight": {"radius": "80 cm"}})


def test_a_flight_is_drawn_whole_whatever_points_are_asked_for(
    drawing: FlaskClient, asked: dict[str, Body]
) -> None:
    body = asked["trajectory"] | {"units": METRES}
    figures, picture = both(drawing, "trajectory", body)
    line = height_scale(picture, figures["apex"])(picture.sheet("side-path"))
    for point in figures["points"]:
        drawn = np.interp(point["distance"], *line.T)
        assert drawn == pytest.approx(point["height"], abs=5e-4)
    body["samples"] = 2
    assert (
        post(drawing, "trajectory", body).data
        == post(drawing, "trajectory", {**body, "samples": 200}).data
    )


@pytest.mark.parametrize(
    "more",
    [{"launch_angle": "45 deg"}, {"launch_angle": "-4 deg", "end": "20 m"}],
)
def test_steep_flights_and_falling_ones_are_drawn(
    drawing: FlaskClient, asked: dict[str, Body], more: Body
) -> None:
    body = {name: value for name, value in asked["trajectory"].items() if name != "target"}
    figures, picture = both(drawing, "trajectory", body | more | {"units": METRES})
    last = figures["points"][-1]
    line = picture.sheet("side-path")
    eye = picture.marks("side-eye")[0]
    first = figures["points"][0]
    unit = (line[-1, 0] - line[0, 0]) / (last["distance"] - first["distance"])
    assert (line[-1, 0] - eye[0]) / unit == pytest.approx(last["distance"], rel=1e-4)


def test_chances_are_those_of_the_figures(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    figures, picture = both(drawing, "hit-probability", asked["hit-probability"])
    panel = picture.sheet("chance-panel")[:, 1]
    marks = 102.0 * (panel.max() - picture.marks("chance-rows")[:, 1]) / np.ptp(panel)
    told = [100.0 * row["probability"] for row in figures["rows"]]
    assert marks == pytest.approx(told, abs=0.02)
    far = figures["farthest"]
    assert f"up to {far['distance']:.3g} yd" in picture.description
    assert f"surely up to {far['surely']:.3g} yd" in picture.description
    causes = {cause["cause"]: cause["share"] for cause in figures["rows"][-1]["causes"]}
    bottom = picture.sheet("causes-panel")[:, 1]
    for at, share in enumerate(causes.values()):
        mark = picture.marks(f"cause-{at}-rows")[-1, 1]
        drawn = 102.0 * (bottom.max() - mark) / np.ptp(bottom)
        assert drawn == pytest.approx(100.0 * share, abs=0.02)


def test_rows_in_any_order_and_rows_that_are_not_known_are_drawn(
    drawing: FlaskClient, asked: dict[str, Body]
) -> None:
    body = asked["hit-probability"] | {"distances": ["45 yd", "4 yd", "15 yd", "45 yd"]}
    body["errors"]["range"] = "3 yd"
    figures, picture = both(drawing, "hit-probability", body)
    known = {row["distance"] for row in figures["rows"] if row["probability"] is not None}
    assert 0 < len(known) < 3
    assert "not known" in picture.description
    assert len(picture.marks("chance-rows")) == len(known)


def test_shares_are_those_of_the_figures(drawing: FlaskClient, asked: dict[str, Body]) -> None:
    figures, picture = both(drawing, "error-budget", asked["error-budget"])
    for place, row in enumerate(figures["rows"]):
        width = np.ptp(picture.sheet(f"panel-{place}")[:, 0])
        for one in row["inputs"]:
            if one["share"] >= 0.005:
                bar = np.ptp(picture.sheet(f"bar-{place}-{one['input']}")[:, 0])
                assert bar / width == pytest.approx(one["share"], abs=1e-4)
        rest = np.ptp(picture.sheet(f"unexplained-{place}")[:, 0])
        assert rest / width == pytest.approx(row["unexplained"], abs=1e-4)
