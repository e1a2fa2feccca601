"""The resource for the sight's travel: what fits, moves there and back, bringing a mark, refusals.

Its own app, as any one resource can be served by itself.
"""

import copy
import json
import math
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from arrowloft.api import problems
from arrowloft.api.path import clearance
from arrowloft.api.resource import Edge, Limits
from arrowloft.api.sight import mark_table, sight_travel
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
WORKED = json.loads((EXAMPLES / "sight-travel.request.json").read_text())
CLICK = 1.2 / 12
RADIUS = 33 * 25.4
YARD = 0.9144


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    app = Flask("sight")
    edge = Edge.of(Registry.discover(), Limits())
    for item in (sight_travel, mark_table, clearance):
        item.resource(edge).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture
def body() -> Body:
    return copy.deepcopy(WORKED)


def plain(body: Body) -> Body:
    """The worked request without moves and housing."""
    return {k: v for k, v in body.items() if k not in ("shifts", "bring", "adjustment", "housing")}


def asked(client: FlaskClient, body: Body, **changes: Any) -> Any:
    reply = client.post("/v1/sight-travel", json=body | changes)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def refused(client: FlaskClient, body: Body, **changes: Any) -> dict[str, str]:
    reply = client.post("/v1/sight-travel", json=body | changes)
    assert reply.status_code == 422, reply.get_json()
    return {fault["pointer"]: fault["detail"] for fault in reply.get_json()["errors"]}


def codes(found: Any) -> set[str]:
    return {note["code"] for note in found["notes"]}


def test_the_worked_request_answers_as_documented(client: FlaskClient, body: Body) -> None:
    found = asked(client, body)
    schema = sight_travel.resource(Edge.of(Registry.discover(), Limits())).reply
    assert schema.validate(found) == {}
    assert "prove-after-shift" in codes(found)
    assert [row["distance"] for row in found["rows"]] == list(range(20, 101, 10))
    assert found["shift"] == pytest.approx(3.5 * 1.2 - 1.2 + found["bring"]["shift"], abs=1e-3)


def test_marks_are_those_of_the_mark_table(client: FlaskClient, body: Body) -> None:
    """Travel on the bow is the mark's; position is less the shift; the scale moves along."""
    found = asked(client, body)
    shared = {k: body[k] for k in plain(body) if k != "window"}
    table = client.post("/v1/mark-table", json=shared).get_json()
    assert found["zero_distance"] == table["zero_distance"]
    for row, mark in zip(found["rows"], table["rows"], strict=True):
        assert row["travel"] == pytest.approx(mark["travel"], abs=1.1e-3)
        assert row["position"] == pytest.approx(row["travel"] - found["shift"], abs=2e-3)
        assert row["reading"] == pytest.approx(20 + row["position"] / 4, abs=1e-3)


def fits(row: Any, spans: Any) -> bool:
    return any(s["from"] - 1e-6 <= row["distance"] <= s["to"] + 1e-6 for s in spans)


def test_fits_agrees_with_the_spans_and_their_differences(client: FlaskClient, body: Body) -> None:
    found = asked(client, body, distances={"from": "6 yd", "to": "110 yd", "step": "0.5 yd"})
    for row in found["rows"]:
        now, before = fits(row, found["fits_now"]), fits(row, found["fits_before"])
        assert row["fits"] is now
        if row["fits"]:
            assert found["window_now"]["top"] <= row["travel"] + 1e-3
            assert row["travel"] <= found["window_now"]["bottom"] + 1e-3
        ends = {at for s in (*found["fits_now"], *found["fits_before"]) for at in s.values()}
        if min(abs(row["distance"] - end) for end in ends) > 1e-3:
            assert fits(row, found["lost"]) == (before and not now)
            assert fits(row, found["gained"]) == (now and not before)


def test_a_window_by_lengths_is_one_by_the_distances_of_its_edges(
    client: FlaskClient, body: Body
) -> None:
    body = plain(body)
    body["distances"] = ["20 yd", "70 yd"]
    found = asked(client, body)
    down = found["rows"][1]["travel"]
    same = asked(client, body, window={"up": "0 mm", "down": f"{down} mm"})
    assert same["window_before"] == found["window_before"]
    assert same["fits_now"][-1]["to"] == pytest.approx(70, abs=2e-3)
    assert same["fits_before"] == same["fits_now"]
    assert same["lost"] == same["gained"] == []


step = st.one_of(
    st.fixed_dictionaries({"turns": st.floats(-20, 20)}),
    st.fixed_dictionaries({"turns": st.floats(-5, 5), "clicks": st.integers(-99, 99)}),
    st.fixed_dictionaries({"clicks": st.integers(-200, 200)}),
    st.fixed_dictionaries({"length": st.floats(-30, 30).map(lambda mm: round(mm, 4))}),
)


@settings(max_examples=15, deadline=None, phases=[Phase.explicit, Phase.generate])
@given(moves=st.lists(step, min_size=1, max_size=5))
def test_there_and_back_is_byte_for_byte_the_same(client: FlaskClient, moves: list[Body]) -> None:
    def written(move: Body, sign: int) -> Body:
        if "length" in move:
            return {"length": f"{sign * move['length']:.4f} mm"}
        return {name: sign * count for name, count in move.items()}

    there = [written(move, 1) for move in moves]
    back = [written(move, -1) for move in reversed(moves)]
    body = plain(WORKED) | {"housing": WORKED["housing"]}
    still = client.post("/v1/sight-travel", json=body)
    moved = client.post("/v1/sight-travel", json=body | {"shifts": there + back})
    assert moved.status_code == 200, moved.get_json()
    assert moved.data == still.data


def test_down_loses_the_near_end_and_gains_the_far(client: FlaskClient, body: Body) -> None:
    found = asked(client, plain(body), shifts=[{"length": "6 mm"}])
    assert found["shift"] == 6.0
    assert found["window_now"]["top"] == pytest.approx(found["window_before"]["top"] + 6)
    far, near = found["fits_before"][-1], found["fits_now"][-1]
    assert near["from"] > far["from"]
    assert near["to"] > far["to"]
    assert {"from": far["from"], "to": near["from"]} == found["lost"][-1]
    assert {"from": far["to"], "to": near["to"]} == found["gained"][-1]
    up = asked(client, plain(body), shifts=[{"length": "-6 mm"}])
    assert up["fits_now"][-1]["to"] < 70


@pytest.mark.parametrize("place", ["top", "middle", "bottom"])
def test_bring_puts_the_mark_in_its_place(client: FlaskClient, body: Body, place: str) -> None:
    body = plain(body) | {"shifts": [{"clicks": 7}]}
    found = asked(client, body, bring={"distance": "90 yd", "to": place})
    top, bottom = (found["window_before"][edge] for edge in ("top", "bottom"))
    wanted = {"top": top, "middle": (top + bottom) / 2, "bottom": bottom}[place]
    move = found["bring"]
    (row,) = [row for row in found["rows"] if row["distance"] == 90]
    assert row["position"] == pytest.approx(wanted + move["remaining"], abs=3e-3)
    assert abs(move["remaining"]) <= (0.5 * CLICK if place == "middle" else CLICK) + 2e-3
    assert row["fits"] is True  # an edge is rounded toward the inside
    assert move["shift"] == pytest.approx(move["clicks"] * CLICK, abs=1e-3)
    assert move["exact"] == pytest.approx(move["shift"] + move["remaining"], abs=2e-3)
    assert move["turns"] == pytest.approx(move["exact"] / 1.2, abs=2e-3)
    assert found["shift"] == pytest.approx(0.7 + move["shift"], abs=1e-3)
    same = asked(client, body, shifts=[{"clicks": 7}, {"clicks": move["clicks"]}])
    assert same["fits_now"] == found["fits_now"]


def test_bring_onto_another_marks_place(client: FlaskClient, body: Body) -> None:
    body = plain(body) | {"shifts": [{"turns": -1.5}]}
    before = {row["distance"]: row["position"] for row in asked(client, body)["rows"]}
    found = asked(client, body, bring={"distance": "80 yd", "onto": "50 yd"})
    (row,) = [row for row in found["rows"] if row["distance"] == 80]
    assert row["position"] == pytest.approx(before[50] + found["bring"]["remaining"], abs=3e-3)
    assert abs(found["bring"]["remaining"]) <= 0.5 * CLICK + 2e-3


def test_rounding_up_is_the_impact_of_a_pin_left_too_high(client: FlaskClient, body: Body) -> None:
    """Near the flattest shots: rise = -remaining x distance / radius, within its geometry
    (common practice: shift of the impact is that of the pin times distance over radius)."""
    found = asked(client, body)
    remaining = found["bring"]["remaining"]
    assert remaining != 0
    for row in found["rows"]:
        about = -remaining * row["distance"] * YARD * 1000 / RADIUS
        assert row["rounding_up"] == pytest.approx(about, rel=0.05)
    body["sight"].pop("clicks_per_turn")
    body["shifts"] = [{"turns": 3.5}, {"length": "-1.2 mm"}]
    whole = asked(client, body)
    assert "clicks" not in whole["bring"]
    assert whole["bring"]["remaining"] == 0
    assert "rounding_up" not in whole["rows"][0]


def test_the_housing_limits_what_fits(client: FlaskClient, body: Body) -> None:
    body = plain(body) | {"window": {"up": "2 mm", "down": "80 mm"}}
    body["housing"] = WORKED["housing"] | {"below_pin": "50 mm"}
    found = asked(client, body)
    farthest = found["housing_farthest"]
    assert found["housing_limits"] == "beyond-farthest"
    assert found["fits_now"][-1]["to"] == pytest.approx(farthest, abs=2e-3)
    for row in found["rows"]:
        assert (row["housing_clearance"] > 0) is (row["distance"] <= farthest) is row["fits"]
    assert "housing-blocks" in codes(found)
    assert any("100 yd" in note["message"] for note in found["notes"])
    beside = asked(client, body, housing=WORKED["housing"] | {"sideways": "-20 mm"})
    assert beside["housing_farthest"] is None
    assert beside["housing_limits"] == "never"
    assert "housing-blocks" not in codes(beside)
    always = asked(client, body, housing={"below_pin": "0.2 m"})
    assert always["housing_farthest"] is None
    assert always["housing_limits"] == "always"
    assert always["fits_now"] == always["fits_before"] == []
    assert {"nothing-fits", "housing-blocks", "housing-shaft-only"} <= codes(always)


def test_nothing_fits_after_a_shift_too_far(client: FlaskClient, body: Body) -> None:
    found = asked(client, plain(body), shifts=[{"length": "-200 mm"}])
    assert found["fits_now"] == found["gained"] == []
    assert found["lost"] == found["fits_before"] != []
    assert "nothing-fits" in codes(found)
    assert not any(row["fits"] for row in found["rows"])


def nothing_fits(found: Any) -> str:
    (message,) = [note["message"] for note in found["notes"] if note["code"] == "nothing-fits"]
    return str(message)


def test_nothing_fits_says_which_of_the_two_is_in_the_way(client: FlaskClient, body: Body) -> None:
    """A window that spans nothing wants another shift; one whose spans the housing forbids
    does not."""
    body = plain(body)
    away = asked(client, body, shifts=[{"length": "-200 mm"}])
    assert "make the shift smaller, or turn it the other way" in nothing_fits(away)
    assert "housing" not in nothing_fits(away)
    low = {"below_pin": "0.2 m", "arrow_radius": "12 mm"}
    for shifts in ([{"length": "0 mm"}], [{"length": "2 mm"}]):
        forbidden = asked(client, body, shifts=shifts, housing=low)
        assert forbidden["housing_limits"] == "always"
        assert "forbidden by the housing, which the arrow would meet" in nothing_fits(forbidden)
        assert "shift" not in nothing_fits(forbidden)
    both = asked(client, body, shifts=[{"length": "-200 mm"}], housing=low)
    assert "make the shift smaller" in nothing_fits(both)
    free = asked(client, body, housing=low | {"below_pin": "20 mm"})
    assert "nothing-fits" not in codes(free)


def test_touching_is_not_clear(client: FlaskClient, body: Body) -> None:
    """An arrow that grazes the housing's side: no space is left, as with an obstacle."""
    grazed = {"below_pin": "0.2 m", "arrow_radius": "12 mm", "sideways": "-12 mm"}
    found = asked(client, plain(body), housing=grazed)
    assert found["housing_limits"] == "always"
    assert {"housing-blocks", "nothing-fits"} <= codes(found)
    for row in found["rows"]:
        assert row["housing_clearance"] == 0
        assert row["fits"] is False
    marks = ["20 yd", "50 yd"]
    shared = {k: v for k, v in plain(body).items() if k not in ("window", "distances")}
    request = shared | {"target": "30 yd", "marks": marks, "housing": grazed}
    reply = client.post("/v1/clearance", json=request)
    assert reply.status_code == 200, reply.get_json()
    assert [row["clear"] for row in reply.get_json()["housing"]["rows"]] == [False, False]
    assert reply.get_json()["housing"]["limits"] == "always"
    assert "housing-blocks" in codes(reply.get_json())


def test_a_brought_mark_that_the_housing_forbids_is_named(client: FlaskClient, body: Body) -> None:
    body |= {"distances": ["20 yd"], "housing": WORKED["housing"] | {"below_pin": "60 mm"}}
    found = asked(client, body, bring={"distance": "90 yd", "to": "bottom"})
    (blocks,) = [note["message"] for note in found["notes"] if note["code"] == "housing-blocks"]
    assert "90 yd" in blocks
    assert "20 yd" not in blocks
    body["housing"]["below_pin"] = "10 mm"
    assert "housing-blocks" not in codes(asked(client, body))


def test_csv_has_the_same_rows(client: FlaskClient, body: Body) -> None:
    found = asked(client, body)
    reply = client.post("/v1/sight-travel", json=body, headers={"Accept": "text/csv"})
    lines = [line.split(",") for line in reply.text.splitlines()]
    assert [head.split(" ")[0] for head in lines[0]] == list(found["rows"][0])
    assert lines[0][1] == "travel (mm)"
    for line, row in zip(lines[1:], found["rows"], strict=True):
        assert json.loads(f"[{','.join(line)}]") == list(row.values())


REFUSED: list[tuple[Body, str, str]] = [
    ({"window": {"nearest": "20 yd"}}, "/window", "either"),
    ({"window": {"nearest": "20 yd", "down": "3 mm"}}, "/window", "either"),
    ({"window": {"nearest": "60 yd", "farthest": "20 yd"}}, "/window/farthest", "beyond"),
    ({"shifts": [{"turns": 1}, {}]}, "/shifts/1", "either"),
    ({"shifts": [{"turns": 1, "length": "1 mm"}]}, "/shifts/0", "either"),
    ({"shifts": [{"turns": 2}, {"turns": 30}]}, "/shifts/1", "20 mm down"),
    ({"shifts": [{"clicks": -151}]}, "/shifts/0", "15 mm up"),
    ({"bring": {"distance": "200 yd", "to": "top"}}, "/bring", "no turn"),
    ({"bring": {"distance": "90 yd"}}, "/bring/to", "either"),
    ({"bring": {"distance": "90 yd", "to": "top", "onto": "30 yd"}}, "/bring/to", "either"),
    ({"bring": {"distance": "900 yd", "to": "top"}}, "/bring/distance", "beyond reach"),
    ({"window": {"nearest": "20 yd", "farthest": "900 yd"}}, "/window/farthest", "beyond reach"),
    ({"search": {"farthest": "900 yd"}}, "/search/farthest", "beyond reach"),
    ({"search": {"nearest": "1.1 m"}}, "/search/nearest", "Too near"),
    ({"search": {"nearest": "300 m"}}, "/search/nearest", "longer span"),
    ({"search": {"nearest": "50 m", "farthest": "40 m"}}, "/search/farthest", "longer span"),
    ({"housing": {"below_pin": "0.4 m"}}, "/housing/below_pin", "outside"),
]


@pytest.mark.parametrize(("changes", "where", "word"), REFUSED)
def test_bad_input_is_named(
    client: FlaskClient, body: Body, changes: Body, where: str, word: str
) -> None:
    faults = refused(client, body, **changes)
    assert where in faults, faults
    assert word in faults[where]
    assert len(faults) == 1


def test_turns_and_clicks_need_their_screw(client: FlaskClient, body: Body) -> None:
    body["shifts"] = [{"length": "1 mm"}, {"turns": 1}]
    body["sight"] = {"radius": "33 in"}
    assert "sight.travel_per_turn" in refused(client, body)["/shifts/1/turns"]
    body["shifts"] = [{"clicks": 1}]
    body["sight"]["travel_per_turn"] = "1.2 mm"
    assert "sight.clicks_per_turn" in refused(client, body)["/shifts/0/clicks"]


@pytest.mark.parametrize("slope", ["-50 deg", "55 deg"])
def test_slopes_and_wind_are_answered(client: FlaskClient, body: Body, slope: str) -> None:
    found = asked(client, plain(body), slope=slope, wind={"speed": "9 m/s", "from": "40 deg"})
    assert found["fits_now"][-1]["to"] == pytest.approx(70, abs=1e-3)
    assert math.isfinite(found["solution"]["error_estimate"])
