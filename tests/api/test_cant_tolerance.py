"""The cant resource: rows, the archer, the level, one reading, and refusals."""

import copy
import csv
import io
import json
import math
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from arrowloft.api import problems
from arrowloft.api.level import cant_tolerance
from arrowloft.api.openapi import document
from arrowloft.api.resource import Edge, Limits
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.level.roll_scatter import FARTHEST, OF_REACH
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
PATH = "/v1/cant-tolerance"
_EXAMPLE = json.loads(
    (
        Path(__file__).resolve().parents[2] / "openapi/examples/cant-tolerance.request.json"
    ).read_text()
)
PARTS = ("group", "roll_scatter", "level", "live", "matters_share")


@pytest.fixture(scope="module")
def edge() -> Edge:
    return Edge.of(Registry.discover(), Limits(cells=400))


@pytest.fixture(scope="module")
def client(edge: Edge) -> FlaskClient:
    app = Flask("cant")
    cant_tolerance.resource(edge).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture
def body() -> Body:
    return copy.deepcopy(_EXAMPLE)


def answer(client: FlaskClient, body: Body) -> Any:
    reply = client.post(PATH, json=body)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def refusal(client: FlaskClient, body: Body, status: int = 422) -> dict[str, str]:
    reply = client.post(PATH, json=body)
    assert reply.status_code == status, reply.get_json()
    found = reply.get_json()
    assert found["errors"]
    for error in found["errors"]:
        assert error["detail"].endswith((".", "?"))
    return {error["pointer"]: error["detail"] for error in found["errors"]}


def plain(body: Body, **changes: Any) -> Body:
    """The example without its extra parts."""
    return {name: value for name, value in body.items() if name not in PARTS} | changes


def codes(found: Any) -> list[str]:
    return [note["code"] for note in found["notes"]]


def test_the_example_has_every_part(edge: Edge, client: FlaskClient, body: Body) -> None:
    found = answer(client, body)
    assert found["cants"] == pytest.approx([-3.0, -1.0, 1.0, 3.0])
    assert [row["distance"] for row in found["rows"]] == [20, 30, 40, 50, 60, 70, 80]
    schema = cant_tolerance.resource(edge).reply
    for name in ("cants", "rows", "matters_from", "level_rows", "live", "group", "solution"):
        assert name in found
        assert name in schema.fields
    for name, rows in (("rows", found["rows"]), ("level_rows", found["level_rows"])):
        inner = schema.fields[name].inner.schema  # type: ignore[attr-defined]
        assert set(rows[0]) == set(inner.fields)
    assert set(found["live"]) == set(schema.fields["live"].schema.fields)  # type: ignore[attr-defined]
    assert 0.0 < found["solution"]["position_error"] < 0.01
    assert "group-without-roll" in codes(found)
    assert "aim-held-while-rolled" in codes(found)


def test_rows_grow_and_shrink_as_they_must(client: FlaskClient, body: Body) -> None:
    rows = answer(client, body)["rows"]
    for row in rows:
        assert row["allowance"] == pytest.approx(101.6)
        assert row["right"] == sorted(row["right"])
        assert row["right"][0] < 0.0 < row["right"][-1]
        assert 0.0 <= row["share_rolled"] < row["share_level"] <= 1.0
        assert row["roll_share"] == pytest.approx(
            row["roll_spread"] / row["group_sideways"], abs=1e-4
        )
    assert [row["max_cant"] for row in rows] == sorted((r["max_cant"] for r in rows), reverse=True)
    assert rows[2]["group_sideways"] == pytest.approx(38.0)
    assert rows[6]["group_vertical"] == pytest.approx(90.0)


def test_the_largest_cant_reaches_the_allowance(client: FlaskClient, body: Body) -> None:
    row = answer(client, plain(body))["rows"][-1]
    ends = [f"{-row['max_cant_left']} deg", f"{row['max_cant_right']} deg"]
    again = answer(client, plain(body, cants=ends))["rows"][-1]
    for right, up in zip(again["right"], again["up"], strict=True):
        assert math.hypot(right, up) == pytest.approx(101.6, abs=1e-2)
    assert row["max_cant"] == min(row["max_cant_left"], row["max_cant_right"])


def test_null_where_no_cant_leaves_the_allowance(client: FlaskClient, body: Body) -> None:
    changed = plain(body, allowance={"radius": "2 m"}, distances=["20 yd", "80 yd"])
    near, far = answer(client, changed)["rows"]
    assert near["max_cant"] is near["max_cant_left"] is near["max_cant_right"] is None
    assert far["max_cant"] > 10.0


def test_three_ways_to_give_the_allowance(client: FlaskClient, body: Body) -> None:
    by_face = answer(client, plain(body, allowance={"diameter": "40 cm"}))["rows"]
    by_radius = answer(client, plain(body, allowance={"radius": "20 cm"}))["rows"]
    assert by_face == by_radius
    by_angle = answer(client, plain(body, allowance={"angle": "2 mrad"}))["rows"]
    for row in by_angle:
        assert row["allowance"] == pytest.approx(
            row["distance"] * 914.4 * math.tan(0.002), abs=1e-3
        )


def test_default_cants_and_parts_left_out(client: FlaskClient, body: Body) -> None:
    changed = plain(body)
    del changed["cants"]
    found = answer(client, changed)
    assert found["cants"] == pytest.approx([-4.0, -2.0, -1.0, 1.0, 2.0, 4.0])
    assert not {"matters_from", "level_rows", "live", "group"} & found.keys()
    assert not {"share_level", "roll_share"} & found["rows"][0].keys()
    assert "group-without-roll" not in codes(found)


def test_a_group_alone_has_no_roll_columns(client: FlaskClient, body: Body) -> None:
    found = answer(client, plain(body, group=body["group"]))
    assert "share_level" in found["rows"][0]
    assert not {"share_rolled", "roll_spread", "roll_share"} & found["rows"][0].keys()
    assert "matters_from" not in found


def test_roll_matters_from_where_its_share_passes(client: FlaskClient, body: Body) -> None:
    least = answer(client, body)["matters_from"]
    body["distances"] = [f"{least * factor} yd" for factor in (0.99, 1.0, 1.01)]
    shares = [row["roll_share"] for row in answer(client, body)["rows"]]
    assert shares[0] < 0.5 < shares[2]
    assert shares[1] == pytest.approx(0.5, abs=1e-3)
    body["matters_share"] = 10.0
    body["roll_scatter"] = "0.01 deg"
    assert answer(client, body)["matters_from"] is None


def test_where_roll_matters_may_stay_unknown(
    client: FlaskClient, body: Body, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A search that cannot be ended leaves the rest of the answer standing."""
    usual = answer(client, body)

    def unsolved(*_: Any) -> float:
        raise Unsolved("too many flights do not settle")

    monkeypatch.setattr(cant_tolerance, "matters_from", unsolved)
    found = answer(client, body)
    assert found["matters_from"] is None
    assert found["rows"] == usual["rows"]
    notes = {note["code"]: note["message"] for note in found["notes"]}
    assert "could not be found" in notes["matters-unknown"]
    assert "matters-unknown" not in codes(usual)


def test_the_end_of_the_search_is_said(edge: Edge) -> None:
    member = cant_tolerance.resource(edge).reply.fields["matters_from"]
    assert f"{FARTHEST:.0f} m or {OF_REACH} of the farthest" in member.metadata["description"]


def test_the_level_rolls_the_bow_by_what_it_is_off(client: FlaskClient, body: Body) -> None:
    rows = answer(client, body)["level_rows"]
    assert len(rows) == 3 * 7
    assert [row["slope"] for row in rows[::7]] == [-25.0, 0.0, 25.0]
    level = rows[7:14]
    assert all(row["false_roll"] == pytest.approx(0.4, abs=0.08) for row in level)
    assert rows[0]["false_roll"] < level[0]["false_roll"] < rows[14]["false_roll"]
    body["level"] = {"second_axis": "0.4 deg"}
    only = answer(client, body)["level_rows"]
    assert [row["slope"] for row in only] == [0.0] * 7


@pytest.mark.parametrize("roll", ["3 deg", "-3 deg"])
def test_a_reading_outside_says_which_way(client: FlaskClient, body: Body, roll: str) -> None:
    body |= {"wind": {"speed": "12 m/s", "from": "90 deg"}, "slope": "40 deg"}  # uneven sides
    found = answer(client, body | {"live": {"roll": roll, "distance": "80 yd"}})
    live, row = found["live"], found["rows"][-1]
    side, back = ("right", "left") if roll[0] == "3" else ("left", "right")
    assert live["inside"] is False
    assert abs(row["max_cant_left"] - row["max_cant_right"]) > 5e-6
    assert live["max_roll"] == pytest.approx(row[f"max_cant_{side}"], abs=1e-6)
    assert live["correct"] == f"top-limb-{back}"
    over = 3.0 - live["max_roll"]
    assert live["sentence"].startswith(f"Outside by {over:.1f} deg")
    assert live["sentence"].endswith(f"turn the top limb to the {back}.")
    assert live["displacement"] == pytest.approx(math.hypot(live["right"], live["up"]), abs=2e-3)
    column = 3 if side == "right" else 0
    assert live["right"] == pytest.approx(row["right"][column], abs=2e-3)


def test_a_reading_alone(client: FlaskClient, body: Body) -> None:
    changed = plain(body, live={"roll": "0.5 deg", "distance": "60 yd"})
    del changed["distances"], changed["cants"]
    found = answer(client, changed)
    assert found["rows"] == []
    assert found["live"]["inside"] is True
    assert found["live"]["correct"] == "none"
    assert "more to the right would still do" in found["live"]["sentence"]
    changed["live"] = {"roll": "0.4 deg", "distance": "10 yd"}
    near = answer(client, changed)["live"]
    assert near["max_roll"] is None
    assert near["sentence"] == "Inside: no roll up to 45 deg leaves the allowance."
    changed["units"] = {"angle": "mrad"}
    assert "785 mrad" in answer(client, changed)["live"]["sentence"]


def test_csv_has_a_line_for_each_distance_and_cant(client: FlaskClient, body: Body) -> None:
    reply = client.post(PATH, json=body, headers={"Accept": "text/csv"})
    assert reply.status_code == 200
    lines = list(csv.reader(io.StringIO(reply.get_data(as_text=True))))
    assert lines[0] == [
        "distance (yd)",
        "cant (deg)",
        "right (mm)",
        "up (mm)",
        "displacement (mm)",
        "max_cant (deg)",
    ]
    assert len(lines) == 1 + 7 * 4
    row = answer(client, body)["rows"][1]
    line = [float(value) for value in lines[1 + 4 + 3]]
    assert line[:4] == pytest.approx([30.0, 3.0, row["right"][3], row["up"][3]])
    assert line[4] == pytest.approx(math.hypot(line[2], line[3]), abs=2e-3)


def test_query_answers_the_same(client: FlaskClient, body: Body) -> None:
    posted = client.post(PATH, json=body)
    queried = client.open(PATH, method="QUERY", json=body)
    assert queried.get_data() == posted.get_data()


def test_it_documents_itself(edge: Edge) -> None:
    made = document([cant_tolerance.resource(edge)], edge.limits, {})
    schemas = made["components"]["schemas"]
    assert "oneOf" in schemas["CantToleranceRequest"]["properties"]["distances"]
    assert schemas["CantToleranceRequest"]["required"].count("allowance") == 1
    assert schemas["CantRow"]["properties"]["right"]["items"]["type"] == ["number", "null"]


BAD: list[tuple[str, Any, str, str]] = [
    ("cants", ["46 deg"], "/cants/0", "45 deg"),
    ("cants", ["1 m"], "/cants/0", "m"),
    ("cants", [], "/cants", "1 to 21"),
    ("live", {"roll": "60 deg", "distance": "50 m"}, "/live/roll", "-45 deg to 45 deg"),
    ("live", {"roll": "1 deg"}, "/live/distance", "needed"),
    ("allowance", {}, "/allowance", "exactly one"),
    ("allowance", {"radius": "5 cm", "angle": "1 mrad"}, "/allowance", "exactly one"),
    ("allowance", {"radius": "0 cm"}, "/allowance/radius", "Give"),
    ("allowance", None, "/allowance", "null"),
    ("roll_scatter", "20 deg", "/roll_scatter", "15 deg"),
    ("matters_share", 0, "/matters_share", "0.01"),
    ("level", {}, "/level", "second_axis"),
    ("level", {"slopes": ["5 deg"]}, "/level", "second_axis"),
    ("level", {"third_axis": "11 deg"}, "/level/third_axis", "10 deg"),
    ("level", {"third_axis": "1 deg", "slopes": ["70 deg"]}, "/level/slopes/0", "60 deg"),
]


@pytest.mark.parametrize(("member", "value", "pointer", "says"), BAD)
def test_bad_members_are_told_what_to_do(
    client: FlaskClient, body: Body, member: str, value: Any, pointer: str, says: str
) -> None:
    found = refusal(client, body | {member: value})
    assert says in found[pointer]


def test_members_that_need_others(client: FlaskClient, body: Body) -> None:
    assert "`group`" in refusal(client, plain(body, roll_scatter="1 deg"))["/roll_scatter"]
    alone = plain(body, group=body["group"], matters_share=0.5)
    assert "`roll_scatter`" in refusal(client, alone)["/matters_share"]
    missing = plain(body)
    del missing["distances"]
    assert "`live`" in refusal(client, missing)["/distances"]
    missing["live"] = body["live"]
    assert "`distances`" in refusal(client, missing)["/cants"]
    del missing["cants"]
    assert "`distances`" in refusal(client, missing | {"level": body["level"]})["/level"]
    reply = client.post(PATH, json=missing, headers={"Accept": "text/csv"})
    assert reply.status_code == 422


def test_tables_that_grow_too_large(client: FlaskClient, body: Body) -> None:
    body["distances"] = {"from": "20 yd", "to": "80 yd", "step": "0.5 yd"}
    assert "at most 100 distances" in refusal(client, body)["/distances"]
    body["cants"] = ["1 deg"]
    body["level"]["slopes"] = [f"{degrees} deg" for degrees in range(10)]
    assert "slopes" in refusal(client, body)["/distances"]


def test_distances_out_of_reach_are_pointed_at(client: FlaskClient, body: Body) -> None:
    far = plain(body, distances=["20 yd", "900 m", "950 m"])
    assert list(refusal(client, far)) == ["/distances/1", "/distances/2"]
    near = plain(body, distances=["1 m", "20 yd"])
    assert list(refusal(client, near)) == ["/distances/0"]
    live = plain(body, live={"roll": "1 deg", "distance": "900 m"})
    assert list(refusal(client, live)) == ["/live/distance"]
    steep = plain(body, distances=["20 yd", "300 m"], level=body["level"])
    steep["level"]["slopes"] = ["0 deg", "60 deg"]
    refused = refusal(client, steep)
    assert list(refused) == ["/distances/1"]
    assert "on a slope of 60 deg" in refused["/distances/1"]


def test_a_reading_on_the_edge_is_not_told_to_a_hundredth_of_a_degree(
    client: FlaskClient, body: Body
) -> None:
    most = answer(client, body)["live"]["max_roll"]
    for off, words in ((-0.02, "Inside, but only just."), (0.02, "outside, but only just.")):
        body["live"] = {**body["live"], "roll": f"{most + off} deg"}
        live = answer(client, body)["live"]
        assert live["inside"] is (off < 0)
        assert live["sentence"].endswith(words)
