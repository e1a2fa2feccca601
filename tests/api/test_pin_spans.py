"""POST /v1/pin-spans at the edge: the reply's shape, what its members say, and refusals."""

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
from arrowloft.api.sight import pin_spans
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
_ASKED = json.loads((EXAMPLES / "pin-spans.request.json").read_text())
RADIUS = 32 * 2.54  # cm


@pytest.fixture(scope="module")
def pinned() -> FlaskClient:
    """A client of this resource alone."""
    app = Flask("pins")
    pin_spans.resource(Edge.of(Registry.discover(), Limits())).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture
def asked() -> Body:
    """A valid request, to be changed at will."""
    return copy.deepcopy(_ASKED)


def reply(pinned: FlaskClient, asked: Body, **changes: Any) -> Any:
    answered = pinned.post("/v1/pin-spans", json=asked | changes)
    assert answered.status_code == 200, answered.get_json()
    return answered.get_json()


def refused(pinned: FlaskClient, asked: Body, **changes: Any) -> list[tuple[str, str]]:
    answered = pinned.post("/v1/pin-spans", json=asked | changes)
    assert answered.status_code == 422, answered.get_data(as_text=True)
    return [(fault["pointer"], fault["detail"]) for fault in answered.get_json()["errors"]]


def codes(found: Any) -> list[str]:
    return [note["code"] for note in found["notes"]]


def test_pins_stand_in_their_order_with_their_spans(pinned: FlaskClient, asked: Body) -> None:
    found = reply(pinned, asked, pins=["40 yd", "20 yd", "30 yd"])
    assert found["zone_height"] == 20
    assert found["between"]["to"] == 60
    assert [row["distance"] for row in found["pins"]] == [40, 20, 30]
    for row in found["pins"]:
        assert row["own_span"] in row["spans"]
        assert row["own_span"]["from"] <= row["distance"] <= row["own_span"]["to"]
    assert [len(row["spans"]) for row in found["pins"]] == [2, 1, 1]


def test_a_pin_only_shows_what_was_asked(pinned: FlaskClient, asked: Body) -> None:
    del asked["best"], asked["sight"]
    found = reply(pinned, asked)
    assert found.keys().isdisjoint({"best", "zero_distance"})
    assert "travel" not in found["pins"][0]
    best = reply(pinned, {k: v for k, v in _ASKED.items() if k not in ("pins", "between")})
    assert best.keys().isdisjoint({"pins", "between"})


def test_travel_is_that_of_the_mark_table(
    pinned: FlaskClient, client: FlaskClient, asked: Body
) -> None:
    """radius (tan a - tan a0), and the same marks as elsewhere."""
    found = reply(pinned, asked)
    body = {k: v for k, v in asked.items() if k not in ("pins", "between", "best", "zone_height")}
    best = found["best"]["pins"]
    body["distances"] = [f"{row['distance']} yd" for row in [*found["pins"], *best]]
    marks = client.post("/v1/mark-table", json=body).get_json()["rows"]
    zero = math.tan(math.radians(found["pins"][0]["launch_angle"]))
    for row, mark in zip([*found["pins"], *best], marks, strict=True):
        assert row["launch_angle"] == pytest.approx(mark["launch_angle"], abs=2e-6)
        assert row["travel"] == pytest.approx(mark["travel"], abs=3e-4)
        tangent = math.tan(math.radians(row["launch_angle"]))
        assert row["travel"] == pytest.approx(RADIUS * (tangent - zero), abs=3e-4)


def test_the_best_pins_serve_the_whole_span(pinned: FlaskClient, asked: Body) -> None:
    best = reply(pinned, asked)["best"]
    spans = [span for row in best["pins"] for span in row["serves"]]
    assert (spans[0]["from"], spans[-1]["to"]) == (best["from"], best["to"]) == (10, 45)
    assert [s["to"] for s in spans[:-1]] == [s["from"] for s in spans[1:]]
    worst = [row["worst_error"] for row in best["pins"]]
    assert best["worst_error"] == max(worst)
    assert worst == pytest.approx([best["worst_error"]] * 3, rel=1e-4)
    assert best["stays_in_zone"] is True and best["worst_error"] < 10
    assert not any(row["rising"] for row in best["pins"])


def test_equal_steps_are_compared(pinned: FlaskClient, asked: Body) -> None:
    best = reply(pinned, asked)["best"]
    equal = best["equal_steps"]
    assert equal["pins"] == [10, 27.5, 45]
    assert equal["ratio"] == pytest.approx(equal["worst_error"] / best["worst_error"], rel=1e-4)
    assert equal["ratio"] > 1 and equal["stays_in_zone"] is False
    one = reply(pinned, asked, best=asked["best"] | {"count": 1})["best"]
    assert one["equal_steps"]["pins"] == [27.5]
    assert one["worst_distance"] == one["pins"][0]["worst_distance"]


def test_a_best_pin_keeps_inside_the_zone_where_it_serves(pinned: FlaskClient, asked: Body) -> None:
    """Asked for as a pin of twice its error, it has what it serves within its spans."""
    best = reply(pinned, asked)["best"]
    zone = f"{2.0 * best['worst_error'] * 1.0001} cm"
    pins = [f"{row['distance']} yd" for row in best["pins"]]
    rows = reply(pinned, asked, zone_height=zone, pins=pins)["pins"]
    for row, served in zip(rows, best["pins"], strict=True):
        for span in served["serves"]:
            assert any(
                own["from"] <= span["from"] + 2e-3 and span["to"] <= own["to"] + 2e-3
                for own in row["spans"]
            )


def test_every_reply_defers_to_the_rules(pinned: FlaskClient, asked: Body) -> None:
    [note] = [n for n in reply(pinned, asked)["notes"] if n["code"] == "span-of-perfect-shots"]
    for word in ("group", "governing body", "ground", "local law"):
        assert word in note["message"]


def test_what_is_noted(pinned: FlaskClient, asked: Body) -> None:
    plain = set(codes(reply(pinned, asked)))
    others = {"zone-left", "span-cut", "drift-left-out", "mark-on-the-way-up", "zero-assumed"}
    assert plain.isdisjoint(others)
    small = reply(pinned, asked, zone_height="8 cm")
    assert codes(small)[0] == "zone-left"
    assert small["best"]["stays_in_zone"] is False
    assert "span-cut" in codes(reply(pinned, asked, between={"to": "42 yd"}))
    aside = {"speed": "3 m/s", "from": "90 deg"}
    assert "drift-left-out" in codes(reply(pinned, asked, wind=aside))
    assert "drift-left-out" not in codes(reply(pinned, asked, wind=aside | {"from": "0 deg"}))
    close = {"count": 1, "from": "2 yd", "to": "4 yd"}
    near = reply(pinned, asked, best=close)
    assert "mark-on-the-way-up" in codes(near) and near["best"]["pins"][0]["rising"] is True


def test_the_zero_left_out_is_the_nearest_named(pinned: FlaskClient, asked: Body) -> None:
    del asked["sight"]["zero_distance"]
    found = reply(pinned, asked)
    assert found["zero_distance"] == 10 and "zero-assumed" in codes(found)
    del asked["best"]
    found = reply(pinned, asked)
    assert found["zero_distance"] == 20
    assert found["pins"][0]["travel"] == 0


@pytest.mark.parametrize(
    ("pin", "best"),
    [("30 yd", ("10 yd", "90 yd")), ("160 yd", ("40 yd", "42 yd"))],
    ids=["best is worse", "pins are worse"],
)
def test_the_solution_is_of_pins_and_best_pins_alike(
    pinned: FlaskClient, asked: Body, pin: str, best: tuple[str, str]
) -> None:
    """Flown farther for one half of the request than for the other, it tells the worse."""
    del asked["sight"], asked["between"], asked["pins"], asked["best"]
    halves = {"pins": [pin], "best": {"count": 2, "from": best[0], "to": best[1]}}
    both = reply(pinned, asked, **halves)["solution"]
    one, other = (reply(pinned, asked, **{name: half})["solution"] for name, half in halves.items())
    for name, worse in {
        "error_estimate": max,
        "position_error": max,
        "least_airspeed": min,
        "greatest_airspeed": max,
    }.items():
        assert both[name] == worse(one[name], other[name])


def test_slope_and_wind_hold_for_all_distances(pinned: FlaskClient, asked: Body) -> None:
    level = reply(pinned, asked)
    for change in ({"slope": "35 deg"}, {"wind": {"speed": "8 m/s", "from": "0 deg"}}):
        other = reply(pinned, asked, **change)
        assert other["pins"][0]["spans"] != level["pins"][0]["spans"]
        assert other["best"]["worst_error"] != level["best"]["worst_error"]


def test_without_between_it_is_searched_as_far_as_the_farthest_pin(
    pinned: FlaskClient, asked: Body
) -> None:
    del asked["between"]
    asked["units"]["distance"] = "m"
    assert reply(pinned, asked)["between"]["to"] == 150
    assert reply(pinned, asked, pins=["160 m"])["between"]["to"] == 160
    weak = {"model": "measured", "parameters": {"speed": "20 m/s"}}
    short = reply(pinned, asked, launch=weak, pins=["10 m"], best={**asked["best"], "to": "30 yd"})
    assert 30 < short["between"]["to"] < 40


def test_a_pin_outside_the_search_has_no_span_of_its_own(pinned: FlaskClient, asked: Body) -> None:
    row = reply(pinned, asked, between={"from": "5 yd", "to": "25 yd"})["pins"][2]
    assert row["own_span"] is None


def test_the_reply_is_as_documented(pinned: FlaskClient, asked: Body) -> None:
    edge = Edge.of(Registry.discover(), Limits())
    document = openapi.document([pin_spans.resource(edge)], edge.limits, {})
    schema = {
        **document["components"]["schemas"]["PinSpansReply"],
        "components": document["components"],
    }
    for changes in ({}, {"between": {"from": "5 yd", "to": "25 yd"}}):
        found = reply(pinned, asked, **changes)
        jsonschema.validate(found, schema, jsonschema.Draft202012Validator)


def test_query_answers_as_post(pinned: FlaskClient, asked: Body) -> None:
    queried = pinned.open("/v1/pin-spans", method="QUERY", json=asked)
    assert queried.get_data() == pinned.post("/v1/pin-spans", json=asked).get_data()


_BEST = _ASKED["best"]


@pytest.mark.parametrize(
    ("changes", "pointer", "word"),
    [
        ({"zone_height": "1 mm"}, "/zone_height", "outside"),
        ({"zone_height": "6 m"}, "/zone_height", "outside"),
        ({"pins": []}, "/pins", "1 to 20"),
        ({"pins": ["20 yd"] * 21}, "/pins", "1 to 20"),
        ({"pins": ["20 yd", "1 m"]}, "/pins/1", "Too near"),
        ({"pins": ["20 yd", "900 m"]}, "/pins/1", "beyond reach"),
        ({"between": {"from": "20 yd", "to": "20 yd"}}, "/between/to", "1 m more"),
        ({"between": {"from": "1 m"}}, "/between/from", "Too near"),
        ({"between": {"from": "900 m"}}, "/between/from", "at most 162.9"),
        ({"between": {"to": "1.2 yd"}}, "/between/to", "at least 2.5"),
        ({"between": {"to": "900 m"}}, "/between/to", "beyond reach"),
        ({"between": {"step": "1 m"}}, "/between/step", "not a member"),
        ({"best": _BEST | {"count": 0}}, "/best/count", "outside"),
        ({"best": _BEST | {"count": 21}}, "/best/count", "outside"),
        ({"best": _BEST | {"to": "10 yd"}}, "/best/to", "1 m more"),
        ({"best": _BEST | {"from": "1 m"}}, "/best/from", "Too near"),
        ({"best": _BEST | {"to": "900 m"}}, "/best/to", "beyond reach"),
        ({"best": {"count": 3, "from": "10 yd"}}, "/best/to", "needed"),
    ],
)
def test_refusals(pinned: FlaskClient, asked: Body, changes: Body, pointer: str, word: str) -> None:
    [(where, detail)] = refused(pinned, asked, **changes)
    assert where == pointer
    assert word in detail


def test_an_end_that_was_not_given_is_not_blamed(pinned: FlaskClient, asked: Body) -> None:
    """It is then the farthest pin, which is beyond reach."""
    del asked["between"]
    [(where, _)] = refused(pinned, asked, pins=["20 yd", "900 m", "30 yd"])
    assert where == "/pins/1"


def test_a_zero_beyond_reach_is_named(pinned: FlaskClient, asked: Body) -> None:
    asked["sight"]["zero_distance"] = "900 m"
    [(where, _)] = refused(pinned, asked)
    assert where == "/sight/zero_distance"


def test_close_to_the_reach_no_pins_are_placed(pinned: FlaskClient, asked: Body) -> None:
    del asked["pins"], asked["between"]
    asked["launch"]["parameters"]["speed"] = "20 m/s"
    [(where, detail)] = refused(pinned, asked, best=_BEST | {"to": "39 m"})
    assert where == "/best/to"
    assert "at most" in detail and "reach" in detail


def test_pins_or_best_are_needed(pinned: FlaskClient, asked: Body) -> None:
    del asked["pins"]
    [(where, detail)] = refused(pinned, asked)
    assert where == "/between" and "pins" in detail
    del asked["between"], asked["best"]
    [(where, detail)] = refused(pinned, asked)
    assert where == "" and "`pins`" in detail and "`best`" in detail
    del asked["zone_height"]
    [(where, _)] = refused(pinned, asked, pins=["20 yd"])
    assert where == "/zone_height"
