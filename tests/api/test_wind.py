"""POST /v1/wind at the edge: the reply's shape, identities of its rows, and refusals."""

import copy
import json
import math
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from flask import Flask
from flask.testing import FlaskClient

from arrowloft.api import openapi, problems
from arrowloft.api.resource import Edge, Limits
from arrowloft.api.sight import wind
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
_ASKED = json.loads((EXAMPLES / "wind.request.json").read_text())


@pytest.fixture(scope="module")
def gusty() -> FlaskClient:
    """A client of this resource alone."""
    app = Flask("wind")
    wind.resource(Edge.of(Registry.discover(), Limits())).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture
def asked() -> Body:
    """A valid request, to be changed at will."""
    return copy.deepcopy(_ASKED)


def table(gusty: FlaskClient, asked: Body, **changes: Any) -> Any:
    reply = gusty.post("/v1/wind", json=asked | changes)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def refused(gusty: FlaskClient, asked: Body, **changes: Any) -> list[tuple[str, str]]:
    reply = gusty.post("/v1/wind", json=asked | changes)
    assert reply.status_code == 422, reply.get_data(as_text=True)
    return [(fault["pointer"], fault["detail"]) for fault in reply.get_json()["errors"]]


def codes(found: Any) -> list[str]:
    return [note["code"] for note in found["notes"]]


def test_rows_stand_distance_speed_direction(gusty: FlaskClient, asked: Body) -> None:
    found = table(gusty, asked)
    keys = [(row["distance"], row["wind_speed"], row["wind_from"]) for row in found["rows"]]
    assert keys == [(d, s, f) for d in (18, 50, 70) for s in (2, 5) for f in (0, 90, 180, 270)]
    assert found["solution"]["position_error"] < 1e-3
    assert found["solution"]["least_airspeed"] < found["solution"]["greatest_airspeed"]


def test_left_out_directions_are_the_four_quarters(gusty: FlaskClient, asked: Body) -> None:
    given = table(gusty, asked)
    del asked["directions"]
    assert table(gusty, asked)["rows"] == given["rows"]


def test_signs_of_every_column(gusty: FlaskClient, asked: Body) -> None:
    """At 70 m: head low, from the right left, tail high, from the left right."""
    head, right, tail, left = table(gusty, asked, distances=["70 m"], speeds=["5 m/s"])["rows"]
    assert head["up"] < -20 and head["launch_angle_change"] > 0 and head["elevation_travel"] > 0
    assert tail["up"] > 20 and tail["launch_angle_change"] < 0 and tail["elevation_clicks"] < 0
    assert head["drift"] == pytest.approx(0, abs=1e-3)
    assert right["drift"] < -100 and right["windage_angle"] > 0
    assert right["windage_travel"] < 0 and right["windage_clicks"] < 0
    assert left["drift"] == pytest.approx(-right["drift"], abs=2e-3)
    assert left["up"] == pytest.approx(right["up"], abs=2e-3)
    assert head["time"] > left["time"] > tail["time"]


def test_turns_and_clicks_follow_travel(gusty: FlaskClient, asked: Body) -> None:
    for row in table(gusty, asked)["rows"]:
        assert row["windage_turns"] == pytest.approx(row["windage_travel"] / 0.7, abs=2e-3)
        assert row["windage_clicks"] == pytest.approx(row["windage_turns"] * 14, abs=0.51)
        assert row["elevation_turns"] == pytest.approx(row["elevation_travel"], abs=2e-3)
        assert row["elevation_clicks"] == pytest.approx(row["elevation_turns"] * 10, abs=0.51)
        assert type(row["windage_clicks"]) is type(row["elevation_clicks"]) is int
        aside = -880 * math.tan(math.radians(row["windage_angle"]))
        assert row["windage_travel"] == pytest.approx(aside, rel=0.02, abs=2e-3)


def test_drift_agrees_with_the_mark_table(
    gusty: FlaskClient, client: FlaskClient, asked: Body
) -> None:
    """What cancels the drift of a windy mark is what is told here."""
    row = table(gusty, asked, distances=["50 m"], speeds=["5 m/s"], directions=["60 deg"])
    row = row["rows"][0]
    body = {k: v for k, v in asked.items() if k not in ("speeds", "directions")}
    body |= {"distances": ["50 m"], "wind": {"speed": "5 m/s", "from": "60 deg"}}
    windy = client.post("/v1/mark-table", json=body).get_json()["rows"][0]
    del body["wind"]
    still = client.post("/v1/mark-table", json=body).get_json()["rows"][0]
    assert row["windage_travel"] == pytest.approx(windy["windage_travel"], abs=2e-3)
    change = windy["launch_angle"] - still["launch_angle"]
    assert row["launch_angle_change"] == pytest.approx(change, abs=2e-4)
    assert row["drift"] == pytest.approx(windy["drift"], rel=5e-3)


def test_still_air_is_nothing_at_all(gusty: FlaskClient, asked: Body) -> None:
    found = table(gusty, asked, speeds=["0 m/s"])
    for row in found["rows"]:
        given = {"distance", "wind_speed", "wind_from", "time"}
        assert not any(value for name, value in row.items() if name not in given)
    assert "weathervane" not in codes(found)


def test_a_tip_that_turns_upwind_is_said(gusty: FlaskClient, asked: Body) -> None:
    near = table(gusty, asked, distances=["18 m"], directions=["90 deg"])
    assert near["rows"][0]["drift"] > 0
    assert {"weathervane", "wind-steady"} <= set(codes(near))
    far = table(gusty, asked, distances=["70 m"])
    assert "weathervane" not in codes(far) and "wind-steady" in codes(far)
    asked["arrow"]["tip_lead"] = "0 mm"
    near = table(gusty, asked, distances=["18 m"])
    assert "weathervane" not in codes(near)


def test_a_slope_matters(gusty: FlaskClient, asked: Body) -> None:
    level = table(gusty, asked)["rows"][-4]
    steep = table(gusty, asked, slope="-40 deg")["rows"][-4]
    assert steep["up"] != level["up"]


def test_without_a_sight_nothing_of_it_is_said(gusty: FlaskClient, asked: Body) -> None:
    del asked["sight"]
    found = table(gusty, asked)
    assert not [name for name in found["rows"][0] if name.endswith(("travel", "turns", "clicks"))]
    assert found["rows"][0].keys() >= {"drift", "up", "launch_angle_change", "windage_angle"}


def test_csv(gusty: FlaskClient, asked: Body) -> None:
    reply = gusty.post("/v1/wind", json=asked, headers={"Accept": "text/csv"})
    lines = reply.get_data(as_text=True).splitlines()
    assert reply.content_type.startswith("text/csv")
    assert lines[0].startswith("distance (m),wind_speed (m/s),wind_from (deg),drift (mm),up (mm)")
    assert len(lines) == 25
    assert {line.count(",") for line in lines} == {13}


def test_the_reply_is_as_documented(gusty: FlaskClient, asked: Body) -> None:
    edge = Edge.of(Registry.discover(), Limits())
    document = openapi.document([wind.resource(edge)], edge.limits, {})
    schema = {
        **document["components"]["schemas"]["WindReply"],
        "components": document["components"],
    }
    jsonschema.validate(table(gusty, asked), schema, jsonschema.Draft202012Validator)


@pytest.mark.parametrize(
    ("changes", "pointer", "word"),
    [
        ({"wind": {"speed": "3 m/s", "from": "0 deg"}}, "/wind", "not a member"),
        ({"speeds": []}, "/speeds", "1 to 20"),
        ({"speeds": ["1 m/s"] * 21}, "/speeds", "1 to 20"),
        ({"speeds": ["-1 m/s"]}, "/speeds/0", "outside"),
        ({"speeds": ["41 m/s"]}, "/speeds/0", "outside"),
        ({"directions": ["0 deg"] * 37}, "/directions", "1 to 36"),
        ({"directions": ["5 m/s"]}, "/directions/0", "deg"),
        ({"directions": []}, "/directions", "1 to 36"),
        (
            {"distances": {"from": "5 m", "to": "1000 m", "step": "1 m"}, "speeds": ["1 m/s"] * 2},
            "/distances",
            "at most 5000",
        ),
        ({"distances": ["20 m", "900 m"]}, "/distances/1", "beyond reach"),
        ({"distances": {"from": "20 m", "to": "900 m", "step": "440 m"}}, "/distances/to", "reach"),
        ({"distances": ["1.2 m"]}, "/distances/0", "Too near"),
    ],
)
def test_refusals(gusty: FlaskClient, asked: Body, changes: Body, pointer: str, word: str) -> None:
    [(where, detail)] = refused(gusty, asked, **changes)
    assert where == pointer
    assert word in detail


def test_as_many_cells_as_allowed_and_no_more(asked: Body) -> None:
    app = Flask("few cells")
    wind.resource(Edge.of(Registry.discover(), Limits(cells=12))).install(app)
    problems.install(app)
    few = app.test_client()
    del asked["directions"]
    every: Body = {"speeds": ["1 m/s"], "distances": ["20 m", "30 m", "40 m"]}
    assert len(table(few, asked, **every)["rows"]) == 12
    one_more: Body = {"directions": [f"{angle} deg" for angle in range(13)]}
    [(where, detail)] = refused(few, asked, distances=["20 m"], speeds=["1 m/s"], **one_more)
    assert where == "/distances"
    assert "13 rows" in detail and "at most 12" in detail
    # The four directions that are left out count as well.
    [(where, detail)] = refused(few, asked, **every | {"speeds": ["1 m/s", "2 m/s"]})
    assert "24 rows" in detail


def test_a_wind_that_puts_a_distance_out_of_reach_is_named(gusty: FlaskClient, asked: Body) -> None:
    winds = {"speeds": ["2 m/s", "40 m/s"], "directions": ["180 deg", "0 deg"]}
    [(where, detail)] = refused(gusty, asked, distances=["20 m", "180 m"], **winds)
    assert where == "/distances/1"
    assert "beyond reach in a wind of 40 m/s from 0 deg: the set-up reaches 1" in detail


def test_what_is_needed_is_asked_for(gusty: FlaskClient, asked: Body) -> None:
    del asked["speeds"], asked["distances"]
    assert [where for where, _ in refused(gusty, asked)] == ["/distances", "/speeds"]
