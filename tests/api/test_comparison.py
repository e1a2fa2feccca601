"""POST /v1/comparison: each lane as a mark table has it, differences, labels, forms."""

import copy
import csv
import io
import json
import math
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from flask import Flask
from flask.testing import FlaskClient

from arrowloft.api import openapi, problems
from arrowloft.api.comparing import comparison
from arrowloft.api.resource import Edge, Limits
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
_ASKED = json.loads((EXAMPLES / "comparison.request.json").read_text())

TABLE = {
    "label": "measured in a tunnel",
    "model": "table",
    "parameters": {"reynolds": [1e4, 2e4, 3e4, 4e4], "coefficient": [1.5, 1.7, 2.4, 2.5]},
}
SLOW = {"label": "a slower bow", "model": "measured", "parameters": {"speed": "78 m/s"}}


@pytest.fixture(scope="module")
def comparing() -> FlaskClient:
    """A client of this resource alone."""
    app = Flask("comparison")
    comparison.resource(Edge.of(Registry.discover(), Limits())).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture
def asked() -> Body:
    """A valid request, to be changed at will."""
    return copy.deepcopy(_ASKED)


def compared(comparing: FlaskClient, asked: Body, **changes: Any) -> Any:
    reply = comparing.post("/v1/comparison", json=asked | changes)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def codes(notes: Any) -> list[str]:
    return [note["code"] for note in notes]


def names(found: Any) -> list[tuple[str, str]]:
    return [(lane["labels"]["launch"], lane["labels"]["drag"]) for lane in found["lanes"]]


def test_every_launch_flies_with_each_drag_in_turn(comparing: FlaskClient, asked: Body) -> None:
    found = compared(comparing, asked, launches=[*asked["launches"], SLOW])
    drags = ["component", "1.6 all along", "layer changes late", "in a vacuum"]
    assert names(found) == [(of, drag) for of in ("measured", "a slower bow") for drag in drags]
    assert [lane["labels"] for lane in found["lanes"]] == [
        line["labels"] for line in found["summary"]
    ]
    assert found["baseline"] == {"launch": "measured", "drag": "component"}
    assert [lane["baseline"] for lane in found["lanes"]] == [True] + [False] * 7
    assert all(len(lane["rows"]) == 4 for lane in found["lanes"])
    other = {"launch": "a slower bow", "drag": "1.6 all along"}
    found = compared(comparing, asked, launches=[*asked["launches"], SLOW], baseline=other)
    assert [lane["labels"] for lane in found["lanes"] if lane["baseline"]] == [other]
    assert found["baseline"] == other


def test_each_lane_is_the_mark_table_of_its_models(
    comparing: FlaskClient, client: FlaskClient, asked: Body
) -> None:
    asked |= {"launches": [*asked["launches"], SLOW], "drags": [*asked["drags"], TABLE]}
    found = compared(comparing, asked)
    shared = {
        name: asked[name]
        for name in ("bow", "arrow", "sight", "air", "site", "wind", "units", "distances")
    }
    pairs = [(launch, drag) for launch in asked["launches"] for drag in asked["drags"]]
    for lane, pair in zip(found["lanes"], pairs, strict=True):
        launch, drag = ({k: v for k, v in model.items() if k != "label"} for model in pair)
        reply = client.post("/v1/mark-table", json=shared | {"launch": launch, "drag": drag})
        table = reply.get_json()
        for kind in ("launch", "drag"):
            assert {k: v for k, v in lane[kind].items() if k != "validity"} == table[kind]
        for mine, theirs in zip(lane["rows"], table["rows"], strict=True):
            for name in mine.keys() & theirs.keys():
                near = pytest.approx(theirs[name], rel=5e-3 if "uncertainty" in name else 1e-7)
                assert mine[name] == near or abs(mine[name] - theirs[name]) <= 1.1e-3, name
        assert found["air"] == table["air"] and found["gravity"] == table["gravity"]
        assert set(codes(lane["notes"])) <= set(codes(table["notes"]))
        said = set(codes(lane["notes"])) | set(codes(found["notes"]))
        assert set(codes(table["notes"])) <= said


def test_the_baseline_differs_by_nothing(comparing: FlaskClient, asked: Body) -> None:
    found = compared(comparing, asked, baseline={"drag": "in a vacuum"})
    (base,) = (lane for lane in found["lanes"] if lane["baseline"])
    assert base["labels"]["drag"] == "in a vacuum"
    for row in base["rows"]:
        assert row["up"] == row["right"] == row["travel_difference"] == 0
        assert row["clicks_difference"] == row["time_difference"] == row["speed_difference"] == 0
    assert base["partings"] == {"height": None, "right": None, "clicks": None}
    thick = found["lanes"][1]["rows"][-1]
    assert thick["up"] < 0 and thick["travel_difference"] > 0 and thick["clicks_difference"] > 0
    assert thick["time_difference"] > 0 and thick["speed_difference"] < 0
    assert thick["right"] < 0  # a wind from the right


def test_differences_are_those_of_the_rows(comparing: FlaskClient, asked: Body) -> None:
    base, *others = compared(comparing, asked)["lanes"]
    for lane in others:
        for mine, theirs in zip(lane["rows"], base["rows"], strict=True):
            assert mine["clicks_difference"] == mine["clicks"] - theirs["clicks"]
            for name in ("travel", "time", "speed"):
                expected = mine[name] - theirs[name]
                assert mine[f"{name}_difference"] == pytest.approx(expected, abs=2.1e-3), name


def test_the_order_asked_for_is_the_order_answered(comparing: FlaskClient, asked: Body) -> None:
    first = compared(comparing, asked)
    drags = [asked["drags"][index] for index in (2, 0, 3, 1)]
    moved = compared(comparing, asked, drags=drags)
    mine = dict(zip(names(moved), moved["lanes"], strict=True))
    for name, lane in zip(names(first), first["lanes"], strict=True):
        assert mine[name]["drag"] == lane["drag"] and mine[name]["notes"] == lane["notes"]
        for row, same in zip(lane["rows"], mine[name]["rows"], strict=True):
            assert row == pytest.approx(same, abs=2e-6)
    assert [r["height"] for r in moved["path"]["rows"]] == [
        [r["height"][index] for index in (2, 0, 3, 1)] for r in first["path"]["rows"]
    ]


def test_partings_lie_between_rows_and_are_the_tolerance(
    comparing: FlaskClient, asked: Body
) -> None:
    """A table of the very distance shows the tolerance as the difference."""
    found = compared(comparing, asked)
    assert found["tolerance"] == {"height": 10.0, "right": 10.0, "clicks": 1.0}
    for index, name, of, expected in (
        (1, "height", "up", 10.0),
        (1, "clicks", "travel_difference", -0.125),
        (3, "height", "up", 10.0),
    ):
        parting = found["lanes"][index]["partings"][name]
        assert parting["difference"] == pytest.approx(expected, abs=1e-3)
        assert not parting["at_nearest"]
        there = compared(comparing, asked, distances=[f"{parting['distance']} yd"])
        lane, base = there["lanes"][index], there["lanes"][0]
        assert lane["rows"][0][of] == pytest.approx(expected, abs=2e-3)
        for mine, at in (("reynolds", lane), ("baseline_reynolds", base)):
            assert parting[mine]["launch"] == pytest.approx(at["rows"][0]["reynolds_at_launch"])
            assert parting[mine]["arrival"] == pytest.approx(at["rows"][0]["reynolds_at_arrival"])
        assert found["summary"][index][f"parted_in_{name}_from"] == parting["distance"]


def test_without_a_tolerance_it_is_a_centimetre(comparing: FlaskClient, asked: Body) -> None:
    del asked["tolerance"]
    found = compared(comparing, asked)
    assert found["tolerance"] == {"height": 10.0, "right": 10.0}
    assert found["lanes"][1]["partings"].keys() == {"height", "right"}
    calm = compared(comparing, asked, wind={"speed": "2.5 m/s", "from": "180 deg"})
    assert calm["tolerance"] == {"height": 10.0}
    assert calm["lanes"][1]["partings"].keys() == {"height"}
    only = compared(comparing, asked, tolerance={"clicks": 0.5})
    assert only["tolerance"] == {"clicks": 0.5}
    assert only["lanes"][1]["partings"].keys() == {"clicks"}
    wide = compared(comparing, asked, tolerance={"height": "9 m"})
    assert wide["lanes"][3]["partings"] == {"height": None, "right": None}
    tight = compared(comparing, asked, tolerance={"height": "0.1 mm"})
    parting = tight["lanes"][3]["partings"]["height"]
    assert parting["at_nearest"] and parting["distance"] == 20.0


def test_lanes_part_sideways_in_a_cross_wind(comparing: FlaskClient, asked: Body) -> None:
    """Equal in height all the way, and 5 mm of wind apart from some distance on."""
    drags = [
        {"label": f"{value}", "model": "constant", "parameters": {"coefficient": value}}
        for value in (1.6, 1.7)
    ]
    asked |= {"drags": drags, "baseline": {}, "wind": {"speed": "9 m/s", "from": "90 deg"}}
    found = compared(comparing, asked, tolerance={"height": "1 m", "right": "5 mm"})
    assert found["tolerance"] == {"height": 1000.0, "right": 5.0}
    parting = found["lanes"][1]["partings"]["right"]
    assert found["lanes"][1]["partings"]["height"] is None
    assert parting["difference"] == pytest.approx(-5.0, abs=1e-3) and not parting["at_nearest"]
    assert found["summary"][1]["parted_sideways_from"] == parting["distance"]
    there = compared(comparing, asked, distances=[f"{parting['distance']} yd"])
    assert there["lanes"][1]["rows"][0]["right"] == pytest.approx(-5.0, abs=2e-3)


def test_the_summary_tells_the_greatest_difference(comparing: FlaskClient, asked: Body) -> None:
    found = compared(comparing, asked)
    for line, lane in zip(found["summary"], found["lanes"], strict=True):
        for name in ("up", "right", "travel_difference"):
            row = max(lane["rows"], key=lambda item: abs(item[name]))
            assert line[name] == {"difference": row[name], "distance": row["distance"]}
        assert line["launch_speed"] == lane["launch"]["speed"]


def test_ranges_left_are_told_as_data(comparing: FlaskClient, asked: Body) -> None:
    short = {
        "label": "short table",
        "model": "table",
        "parameters": {"reynolds": [1e4, 3e4], "coefficient": [1.5, 1.7]},
    }
    found = compared(comparing, asked, drags=[TABLE, short], baseline={})
    inside, outside = (lane["drag"]["validity"][0] for lane in found["lanes"])
    assert inside["left"] is False and outside["left"] is True
    assert (outside["quantity"], outside["low"], outside["high"]) == ("reynolds", 1e4, 3e4)
    assert outside["unit"] == "" and outside["outside"] == "note"
    high = copy.deepcopy(short)
    high["parameters"]["reynolds"] = [3.1e4, 4e4]
    below = compared(comparing, asked, drags=[high], baseline={})["lanes"][0]["drag"]
    assert below["validity"][0]["left"] is True and below["validity"][0]["greatest"] < 4e4
    rows = found["lanes"][1]["rows"]
    assert outside["greatest"] == pytest.approx(rows[0]["reynolds_at_launch"], rel=2e-3)
    assert outside["least"] == pytest.approx(rows[-1]["reynolds_at_arrival"], rel=2e-3)
    assert [line["range_left"] for line in found["summary"]] == [False, True]
    assert "drag-range-left" in codes(found["lanes"][1]["notes"])
    speed = found["lanes"][0]["launch"]["validity"][0]
    assert speed["quantity"] == "launch_speed" and speed["left"] is False
    assert speed["unit"] == "m/s" and speed["outside"] == "note"
    assert speed["least"] == speed["greatest"] == pytest.approx(82.0, abs=0.5)


def test_a_lane_that_falls_short_is_null_and_said(comparing: FlaskClient, asked: Body) -> None:
    thick = {"label": "a flag", "model": "constant", "parameters": {"coefficient": 20}}
    far = {"drags": [asked["drags"][1], thick], "baseline": {}}
    found = compared(comparing, asked, **far, distances=["60 yd", "100 yd", "190 yd"])
    near, lane = found["lanes"]
    assert near["farthest"] is None and 100 < lane["farthest"] < 190
    assert all(value is not None for value in lane["rows"][1].values())
    gone = {name: value for name, value in lane["rows"][2].items() if name != "distance"}
    assert set(gone.values()) == {None}
    (note,) = (note for note in found["notes"] if note["code"] == "lane-beyond-reach")
    assert '"a flag"' in note["message"] and f"{lane['farthest']:.7g} yd" in note["message"]
    assert found["path"]["rows"][0]["height"][1] is not None


def test_paths_side_by_side(comparing: FlaskClient, client: FlaskClient, asked: Body) -> None:
    found = compared(comparing, asked)
    assert found["path"]["target"] == 60.0
    rows = found["path"]["rows"]
    # At 60 yd the tip has arrived, and the balance point has stayed behind it.
    assert [row["distance"] for row in rows] == [10, 20, 30, 40, 50]
    shared = {name: asked[name] for name in ("bow", "arrow", "air", "site", "wind", "units")}
    for index, drag in enumerate(asked["drags"]):
        model = {k: v for k, v in drag.items() if k != "label"}
        launch = asked["launches"][0]
        body = shared | {"launch": launch, "drag": model, "target": "60 yd", "step": "10 yd"}
        points = client.post("/v1/trajectory", json=body).get_json()["points"]
        heights = [row["height"][index] for row in rows]
        assert heights == pytest.approx([p["height"] for p in points[1:-1]], abs=2e-3)
    del asked["path"]
    assert "path" not in compared(comparing, asked)


def test_without_a_sight_nothing_of_it_is_said(comparing: FlaskClient, asked: Body) -> None:
    del asked["sight"], asked["tolerance"]
    found = compared(comparing, asked)
    row = found["lanes"][1]["rows"][0]
    assert not [name for name in row if "travel" in name or "clicks" in name]
    assert row.keys() >= {"up", "right", "launch_angle", "reynolds_at_launch"}
    assert "zero_distance" not in found and "travel_difference" not in found["summary"][0]


def test_csv_is_one_long_table(comparing: FlaskClient, asked: Body) -> None:
    thick = {"label": 'so, "thick"', "model": "constant", "parameters": {"coefficient": 20}}
    body = asked | {"drags": [asked["drags"][0], thick], "distances": ["20 yd", "190 yd"]}
    reply = comparing.post("/v1/comparison", json=body, headers={"Accept": "text/csv"})
    head, *rows = csv.reader(io.StringIO(reply.get_data(as_text=True)))
    assert head[:5] == ["launch", "drag", "distance (yd)", "launch_angle (deg)", "travel (mm)"]
    assert [row[:3] for row in rows] == [
        ["measured", "component", "20.0"],
        ["measured", "component", "190.0"],
        ["measured", 'so, "thick"', "20.0"],
        ["measured", 'so, "thick"', "190.0"],
    ]
    assert set(rows[3][3:]) == {""} and rows[0][5] == "0"
    assert float(rows[1][3]) == compared(comparing, body)["lanes"][0]["rows"][1]["launch_angle"]


def test_cautions_that_concern_all_come_first(comparing: FlaskClient, asked: Body) -> None:
    asked["arrow"]["mass"] = "230 gr"
    found = compared(comparing, asked)
    assert codes(found["notes"])[0] == "light-arrow"
    assert codes(found["notes"])[-1] == "aim-not-safety"
    assert "no-drag" in codes(found["lanes"][3]["notes"])
    assert "no-drag" not in codes(found["lanes"][0]["notes"])


def test_the_same_request_gives_the_same_bytes(comparing: FlaskClient, asked: Body) -> None:
    first, again = (
        comparing.open("/v1/comparison", method=method, json=asked) for method in ("POST", "QUERY")
    )
    assert first.get_data() == again.get_data() and first.status_code == 200


def test_one_distance_is_enough(comparing: FlaskClient, asked: Body) -> None:
    found = compared(comparing, asked, distances=["60 yd"])
    whole = compared(comparing, asked)
    for lane, same in zip(found["lanes"], whole["lanes"], strict=True):
        assert lane["rows"][0] == pytest.approx(same["rows"][2], rel=1e-4, abs=2e-3)
    parting = found["lanes"][3]["partings"]["height"]
    assert parting["at_nearest"] and math.isclose(parting["distance"], 60.0)


def test_the_reply_is_as_documented(comparing: FlaskClient, asked: Body) -> None:
    edge = Edge.of(Registry.discover(), Limits())
    document = openapi.document([comparison.resource(edge)], edge.limits, {})
    schemas = document["components"]["schemas"]
    listed = schemas["ComparisonRequest"]["properties"]
    assert [listed[name]["maxItems"] for name in ("launches", "drags")] == [64, 64]
    for name, value in (
        ("ComparisonReply", compared(comparing, asked)),
        ("ComparisonReply", compared(comparing, asked, distances=["20 yd", "400 yd"])),
        ("ComparisonRequest", asked),
    ):
        schema = {**schemas[name], "components": document["components"]}
        jsonschema.validate(value, schema, jsonschema.Draft202012Validator)
