"""POST /v1/slopes at the edge: the reply's shape, identities of its rows, and refusals."""

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
from arrowloft.api.sight import slopes
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
_ASKED = json.loads((EXAMPLES / "slopes.request.json").read_text())


@pytest.fixture(scope="module")
def hills() -> FlaskClient:
    """A client of this resource alone."""
    app = Flask("slopes")
    slopes.resource(Edge.of(Registry.discover(), Limits())).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture
def asked() -> Body:
    """A valid request, to be changed at will."""
    return copy.deepcopy(_ASKED)


def table(hills: FlaskClient, asked: Body, **changes: Any) -> Any:
    reply = hills.post("/v1/slopes", json=asked | changes)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def refused(hills: FlaskClient, asked: Body, **changes: Any) -> list[tuple[str, str]]:
    reply = hills.post("/v1/slopes", json=asked | changes)
    assert reply.status_code == 422, reply.get_data(as_text=True)
    assert reply.content_type == problems.MEDIA_TYPE
    return [(fault["pointer"], fault["detail"]) for fault in reply.get_json()["errors"]]


def test_rows_stand_distance_by_distance(hills: FlaskClient, asked: Body) -> None:
    found = table(hills, asked)
    assert [(row["distance"], row["slope"]) for row in found["rows"]] == [
        (distance, slope) for distance in (20, 35, 50) for slope in (-35, -20, 0, 20, 35)
    ]
    assert found["zero_distance"] == 20
    assert found["solution"]["error_estimate"] < 1e-6
    assert found["solution"]["position_error"] < 1e-3


def test_columns_fit_together(hills: FlaskClient, asked: Body) -> None:
    zero = math.tan(math.radians(table(hills, asked)["rows"][2]["launch_angle"]))
    for row in table(hills, asked)["rows"]:
        slope = math.radians(row["slope"])
        flat = row["distance"] * math.cos(slope)
        assert row["horizontal_distance"] == pytest.approx(flat, abs=1e-6)
        tangent = math.tan(math.radians(row["launch_angle"]))
        assert row["travel"] == pytest.approx(31 * 25.4 * (tangent - zero), abs=2e-3)
        assert row["turns"] == pytest.approx(row["travel"] / 1.1, abs=1e-3)
        assert row["clicks"] == pytest.approx(row["turns"] * 20, abs=0.52)
        assert type(row["clicks"]) is int
        assert row["reading"] == pytest.approx(20 + row["travel"] / 4, abs=1e-3)
        if row["level_distance"] is None:
            assert row["cut"] is None
        else:
            rest = row["distance"] - row["level_distance"]
            assert row["cut"] == pytest.approx(rest, abs=2e-6)
            # A level mark for more than the horizontal distance is needed where its own hits low.
            longer = row["level_distance"] - row["horizontal_distance"]
            assert longer * row["horizontal_up"] <= 0.0
        if row["slope"] == 0:
            assert row["cut"] == row["horizontal_up"] == row["slant_up"] == 0


def test_a_slope_too_gentle_on_the_angle_has_no_level_equivalent(
    hills: FlaskClient, asked: Body
) -> None:
    found = table(hills, asked)
    assert found["rows"][0]["level_distance"] is None
    assert "no-level-equivalent" in [note["code"] for note in found["notes"]]
    found = table(hills, asked, slopes=["0 deg", "5 deg"])
    assert None not in [row["level_distance"] for row in found["rows"]]
    assert "no-level-equivalent" not in [note["code"] for note in found["notes"]]


def test_without_a_sight_nothing_of_it_is_said(hills: FlaskClient, asked: Body) -> None:
    full = table(hills, asked)
    del asked["sight"]
    bare = table(hills, asked)
    assert "zero_distance" not in bare
    assert not {"travel", "turns", "clicks", "reading"} & bare["rows"][0].keys()
    for one, other in zip(full["rows"], bare["rows"], strict=True):
        assert one["launch_angle"] == pytest.approx(other["launch_angle"], abs=1e-6)


def test_a_zero_left_out_is_the_nearest_level_shot(hills: FlaskClient, asked: Body) -> None:
    del asked["sight"]["zero_distance"]
    found = table(hills, asked, distances=["35 m", "25 m"])
    assert found["zero_distance"] == 25
    assert "zero-assumed" in [note["code"] for note in found["notes"]]
    assert [r["travel"] for r in found["rows"] if (r["distance"], r["slope"]) == (25, 0)] == [0]


def test_rows_are_those_of_the_mark_table(
    hills: FlaskClient, client: FlaskClient, asked: Body
) -> None:
    wind = {"speed": "4 m/s", "from": "120 deg"}
    for row in table(hills, asked, wind=wind, distances=["50 m"])["rows"]:
        body = {k: v for k, v in asked.items() if k != "slopes"}
        body |= {"wind": wind, "distances": ["50 m"], "slope": f"{row['slope']} deg"}
        other = client.post("/v1/mark-table", json=body).get_json()["rows"][0]
        assert row["launch_angle"] == pytest.approx(other["launch_angle"], abs=2e-6)
        assert row["drift"] == pytest.approx(other["drift"], abs=2e-3)


def test_csv_leaves_what_is_not_there_empty(hills: FlaskClient, asked: Body) -> None:
    reply = hills.post("/v1/slopes", json=asked, headers={"Accept": "text/csv"})
    lines = reply.get_data(as_text=True).splitlines()
    assert reply.content_type.startswith("text/csv")
    heads = lines[0].split(",")
    assert heads[:4] == ["distance (m)", "slope (deg)", "launch_angle (deg)", "travel (mm)"]
    assert len(lines) == 16
    assert lines[1].split(",")[heads.index("level_distance (m)")] == ""


def test_the_reply_is_as_documented(hills: FlaskClient, asked: Body) -> None:
    edge = Edge.of(Registry.discover(), Limits())
    document = openapi.document([slopes.resource(edge)], edge.limits, {})
    schemas = document["components"]["schemas"]
    schema = {**schemas["SlopesReply"], "components": document["components"]}
    jsonschema.validate(table(hills, asked), schema, jsonschema.Draft202012Validator)


@pytest.mark.parametrize(
    ("changes", "pointer", "word"),
    [
        ({"slope": "10 deg"}, "/slope", "not a member"),
        ({"slopes": []}, "/slopes", "1 to 41"),
        ({"slopes": ["1 deg"] * 42}, "/slopes", "1 to 41"),
        ({"slopes": ["0 deg", "61 deg"]}, "/slopes/1", "outside"),
        ({"slopes": ["0.5 m"]}, "/slopes/0", "deg"),
        (
            {"distances": {"from": "1 m", "to": "1000 m", "step": "1 m"}},
            "/distances",
            "at most 5000",
        ),
        ({"distances": ["20 m", "900 m"]}, "/distances/1", "beyond reach"),
        ({"distances": ["20 m", "1.2 m"]}, "/distances/1", "Too near"),
    ],
)
def test_refusals(hills: FlaskClient, asked: Body, changes: Body, pointer: str, word: str) -> None:
    if "step" in changes.get("distances", {}):
        changes = changes | {"slopes": [f"{angle} deg" for angle in range(6)]}
    [(where, detail)] = refused(hills, asked, **changes)
    assert where == pointer
    assert word in detail


def test_as_many_cells_as_allowed_and_no_more(asked: Body) -> None:
    app = Flask("few cells")
    slopes.resource(Edge.of(Registry.discover(), Limits(cells=6))).install(app)
    problems.install(app)
    few = app.test_client()
    hills = {"slopes": ["-10 deg", "0 deg", "10 deg"]}
    assert len(table(few, asked, distances=["20 m", "30 m"], **hills)["rows"]) == 6
    one_more: Body = {"distances": ["20 m"], "slopes": [f"{angle} deg" for angle in range(7)]}
    [(where, detail)] = refused(few, asked, **one_more)
    assert where == "/distances"
    assert "7 rows" in detail and "at most 6" in detail


def test_a_slope_that_puts_a_distance_out_of_reach_is_named(
    hills: FlaskClient, asked: Body
) -> None:
    slopes = ["-20 deg", "50 deg", "0 deg"]
    [(where, detail), *_] = refused(hills, asked, distances=["20 m", "330 m"], slopes=slopes)
    assert where == "/distances/1"
    assert "beyond reach on a slope of 50 deg: the set-up reaches " in detail


def test_a_zero_out_of_reach_is_the_sights_fault(hills: FlaskClient, asked: Body) -> None:
    asked["sight"]["zero_distance"] = "900 m"
    [(where, _)] = refused(hills, asked)
    assert where == "/sight/zero_distance"


def test_what_is_needed_is_asked_for(hills: FlaskClient, asked: Body) -> None:
    del asked["slopes"], asked["distances"]
    assert [where for where, _ in refused(hills, asked)] == ["/distances", "/slopes"]
