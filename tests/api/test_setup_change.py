"""Change of set-up over HTTP: what is replaced, what is noted, and where faults point."""

import copy
import csv
import io
import json
from itertools import pairwise
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from arrowloft import units
from arrowloft.api import openapi, problems
from arrowloft.api.parameters import example_of
from arrowloft.api.resource import Edge, Limits
from arrowloft.api.sight import setup_change
from arrowloft.plugin.guard import ModelFault
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
PATH = "/v1/setup-change"
SIGHT_COLUMNS = {"turns", "clicks", "reading", "new_turns", "new_clicks", "new_reading"}


@pytest.fixture(scope="module")
def edge() -> Edge:
    return Edge.of(Registry.discover(), Limits())


@pytest.fixture(scope="module")
def client(edge: Edge) -> FlaskClient:
    app = Flask("only this resource")
    setup_change.resource(edge).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture
def body(openapi_directory: Any) -> Body:
    text = (openapi_directory / "examples" / "setup-change.request.json").read_text()
    return copy.deepcopy(json.loads(text))


def answer(client: FlaskClient, body: Body, **changes: Any) -> Body:
    response = client.post(PATH, json=body | changes)
    assert response.status_code == 200, response.get_data(as_text=True)
    found: Body = response.get_json()
    return found


def refusal(client: FlaskClient, body: Body, status: int = 422, **changes: Any) -> Body:
    response = client.post(PATH, json=body | changes)
    assert response.status_code == status, response.get_data(as_text=True)
    assert response.mimetype == problems.MEDIA_TYPE
    found: Body = response.get_json()
    return found


def codes(notes: list[dict[str, str]]) -> set[str]:
    return {note["code"] for note in notes}


def test_the_example_is_answered_as_documented(edge: Edge, client: FlaskClient, body: Body) -> None:
    resource = setup_change.resource(edge)
    document = openapi.document([resource], edge.limits, {})
    schemas = document["components"]["schemas"]
    for name, value in (
        ("SetupChangeRequest", body),
        ("SetupChangeReply", answer(client, body)),
    ):
        schema = {"$ref": f"#/components/schemas/{name}", "components": {"schemas": schemas}}
        Draft202012Validator(schema).validate(value)
    rows = answer(client, body)["rows"]
    assert [row["distance"] for row in rows] == [10, 20, 30, 40, 50]
    # Heavier and with more drag: lower, the more the farther; the pin goes down.
    ups, moves = [row["up"] for row in rows], [row["move"] for row in rows]
    assert all(later < earlier < 0 for earlier, later in pairwise(ups))
    assert all(later > earlier > 0 for earlier, later in pairwise(moves))


def test_the_same_set_up_moves_nothing(client: FlaskClient, body: Body) -> None:
    found = answer(client, body, second={"arrow": body["arrow"], "drag": body["drag"]})
    for row in found["rows"]:
        assert row["up"] == row["move"] == row["move_clicks"] == 0
        assert row["right"] == row["drift"] == row["new_drift"]
        for name in ("travel", "time", "speed", "launch_angle", *SIGHT_COLUMNS):
            if not name.startswith("new_"):
                assert row[name] == row[f"new_{name}"]
    for name in ("launch", "drag", "air", "gravity"):
        assert found["second"][name] == found[name]


def test_air_and_site_change_piece_by_piece(client: FlaskClient, body: Body) -> None:
    found = answer(client, body, second={"air": {"temperature": "-5 degC"}})
    assert found["second"]["air"]["temperature"] == -5
    for kept in ("pressure", "relative_humidity"):
        assert found["second"]["air"][kept] == found["air"][kept]
    assert found["second"]["gravity"] == found["gravity"]
    assert found["second"]["launch"] == found["launch"]
    assert found["second"]["drag"] == found["drag"]
    assert found["rows"][-1]["up"] < 0  # denser air


def test_another_altitude_has_another_pressure(client: FlaskClient, body: Body) -> None:
    """The first's barometer stood at the first's altitude."""
    found = answer(client, body, second={"site": {"altitude": "2000 m"}})
    assert found["second"]["air"]["pressure"] == pytest.approx(795.0, abs=0.5)  # US 1976
    assert found["second"]["air"]["temperature"] == found["air"]["temperature"]
    assert "air-assumed" in codes(found["second"]["notes"])
    assert found["rows"][-1]["up"] > 0  # thinner air
    told = {"site": {"altitude": "2000 m"}, "air": {"pressure": "790 hPa"}}
    assert answer(client, body, second=told)["second"]["air"]["pressure"] == 790


@pytest.mark.parametrize(
    "second",
    [
        {"bow": {"peep_height": "4.1 in", "launch_forward": "900 mm"}},
        {"wind": {"speed": "6 m/s", "from": "270 deg"}},
        {"slope": "20 deg"},
        {
            "site": {"altitude": "2000 m", "latitude": "0 deg"},
            "air": {"temperature": "5 degC", "pressure": "790 hPa", "relative_humidity": 0.2},
        },
        {"launch": {"model": "measured", "parameters": {"speed": "255 ft/s"}}},
        {"drag": {"model": "none"}},
    ],
    ids=lambda second: next(iter(second)),
)
def test_the_second_is_what_it_would_be_as_a_first(
    client: FlaskClient, body: Body, second: Body
) -> None:
    """Its marks, told as the first's of another request, are the new ones here."""
    found = answer(client, body, second=second)
    turned = answer(
        client,
        body | second,
        second={name: body[name] for name in second if name in body} or {"slope": "0 deg"},
    )
    for here, there in zip(found["rows"], turned["rows"], strict=True):
        assert here["new_launch_angle"] == there["launch_angle"]
        assert here["new_speed"] == there["speed"]
        assert here["new_time"] == there["time"]
        assert here["new_drift"] == there["drift"]
    for name in ("launch", "drag", "air", "gravity"):
        assert found["second"][name] == turned[name]


def test_times_and_speeds_are_each_set_ups_own(client: FlaskClient, body: Body) -> None:
    """In a vacuum, level, over hardly any height: way over speed, which stays as it was."""
    body |= {"drag": {"model": "none"}, "units": {"speed": "m/s", "time": "s", "distance": "m"}}
    del body["wind"]
    body["launch"] = {"model": "measured", "parameters": {"speed": "80 m/s"}}
    second = {"launch": {"model": "measured", "parameters": {"speed": "64 m/s"}}}
    rows = answer(client, body, distances=["15 m", "40 m"], second=second)["rows"]
    for speed, name in ((80.0, ""), (64.0, "new_")):
        near, far = rows
        assert far[f"{name}time"] - near[f"{name}time"] == pytest.approx(25.0 / speed, rel=2e-3)
        assert near[f"{name}speed"] == pytest.approx(speed, rel=2e-3)


def test_wind_is_the_seconds_own(client: FlaskClient, body: Body) -> None:
    still = body | {"second": {"wind": {"speed": "0 m/s", "from": "0 deg"}}}
    row = answer(client, still)["rows"][-1]
    assert row["right"] == row["new_drift"] == 0
    assert row["drift"] < -10


def test_clicks_and_readings_are_of_the_rows_travel(client: FlaskClient, body: Body) -> None:
    for row in answer(client, body)["rows"]:
        for new in ("", "new_"):
            assert row[f"{new}turns"] == pytest.approx(row[f"{new}travel"] / 1.25, abs=1e-3)
            assert row[f"{new}clicks"] == pytest.approx(10 * row[f"{new}turns"], abs=0.51)
            assert row[f"{new}reading"] == pytest.approx(20 + row[f"{new}travel"] / 5, abs=1e-3)
        assert row["move_clicks"] == row["new_clicks"] - row["clicks"]
        assert type(row["move_clicks"]) is type(row["new_clicks"]) is int
        assert row["move"] == pytest.approx(row["new_travel"] - row["travel"], abs=2e-3)
    body["sight"] = {"radius": "32.5 in"}
    found = answer(client, body)
    assert not (SIGHT_COLUMNS | {"move_clicks"}) & found["rows"][0].keys()
    assert "zero-assumed" in codes(found["notes"])
    assert found["zero_distance"] == 10


def test_csv_says_the_same(client: FlaskClient, body: Body) -> None:
    response = client.post(PATH, json=body, headers={"Accept": "text/csv"})
    assert response.mimetype == "text/csv"
    table = list(csv.reader(io.StringIO(response.get_data(as_text=True))))
    rows = answer(client, body)["rows"]
    assert [name.split(" ")[0] for name in table[0]] == list(rows[0])
    assert [[float(value) for value in line] for line in table[1:]] == [
        list(row.values()) for row in rows
    ]


def test_an_arrow_that_never_comes_is_null(client: FlaskClient, body: Body) -> None:
    """A peep far off and a short sight, up 60 degrees: loosed backward, it never comes."""
    body["sight"]["radius"] = "300 mm"
    body["launch"] = {"model": "measured", "parameters": {"speed": "50 m/s"}}
    body["slope"] = "60 deg"
    body["distances"] = ["20 m", "60 m"]
    second = {"bow": {"peep_height": "500 mm"}}
    row = answer(client, body, second=second)["rows"][1]
    assert row["up"] is row["right"] is None
    assert row["new_travel"] != 0
    text = client.post(
        PATH, json=body | {"second": second}, headers={"Accept": "text/csv"}
    ).get_data(as_text=True)
    assert text.splitlines()[2].split(",")[1:3] == ["", ""]


# --- notes -----------------------------------------------------------------------------------

HEAVIER = {
    "mass": "420 gr",
    "shaft_diameter": "5.7 mm",
    "length": "28 in",
    "balance_point": "16 in",
}


def test_a_measured_speed_is_the_first_arrows(client: FlaskClient, body: Body) -> None:
    body["launch"] = {"model": "measured", "parameters": {"speed": "268 ft/s"}}
    found = answer(client, body, second={"arrow": HEAVIER})
    assert "speed-not-adjusted" in codes(found["second"]["notes"])
    assert found["second"]["launch"]["speed"] == found["launch"]["speed"]
    body["launch"]["parameters"]["gate_distance"] = "1.5 m"  # undoing the way knows the mass a bit
    found = answer(client, body, second={"arrow": HEAVIER})
    assert found["second"]["launch"]["speed"] != found["launch"]["speed"]
    assert "speed-not-adjusted" in codes(found["second"]["notes"])


def test_no_such_note_where_the_speed_is_known(client: FlaskClient, body: Body) -> None:
    measured = {"model": "measured", "parameters": {"speed": "268 ft/s"}}
    for launch, second in (
        (body["launch"], {"arrow": HEAVIER}),  # shares its energy with the string
        (measured, {"arrow": HEAVIER, "launch": measured}),  # told
        (measured, {"arrow": {**body["arrow"], "shaft_diameter": "6 mm"}}),  # same mass
        (measured, {"slope": "10 deg"}),
    ):
        found = answer(client, body, launch=launch, second=second)
        assert "speed-not-adjusted" not in codes(found["second"]["notes"] + found["notes"])


def every_launch_model() -> list[str]:
    return sorted(Registry.discover().names("launch"))


@pytest.mark.parametrize("name", every_launch_model())
def test_every_built_in_model_knows_the_mass_or_is_noted(
    edge: Edge, client: FlaskClient, body: Body, name: str
) -> None:
    launch = example_of(edge.registry.get("launch", name))
    body["bow"]["draw_weight"] = "60 lbf"
    found = answer(client, body, launch=launch, second={"arrow": HEAVIER})
    noted = "speed-not-adjusted" in codes(found["second"]["notes"])
    assert noted == (name == "measured")
    if not noted:
        assert found["second"]["launch"]["speed"] < found["launch"]["speed"]


def test_cautions(client: FlaskClient, body: Body) -> None:
    found = answer(client, body)
    assert {"prove-new-setup", "arrow-must-suit-bow", "aim-not-safety"} <= codes(found["notes"])
    weather = answer(client, body, second={"air": {"temperature": "30 degC"}})
    assert "prove-new-setup" in codes(weather["notes"])
    assert "arrow-must-suit-bow" not in codes(weather["notes"])
    light = answer(client, body, second={"arrow": {**HEAVIER, "mass": "200 gr"}})
    assert "light-arrow" in codes(light["second"]["notes"])
    (told,) = (note["message"] for note in light["notes"] if note["code"] == "light-arrow")
    assert told.startswith("Second set-up: the arrow is lighter")


# --- refusals --------------------------------------------------------------------------------


def pointers(problem: Body) -> list[str]:
    return [fault["pointer"] for fault in problem["errors"]]


def test_a_second_without_members_says_what_to_give(client: FlaskClient, body: Body) -> None:
    problem = refusal(client, body, second={})
    assert pointers(problem) == ["/second"]
    assert problem["detail"].startswith("Give at least one of: bow, arrow,")
    del body["second"]
    assert pointers(refusal(client, body)) == ["/second"]


@pytest.mark.parametrize(
    "second, pointer",
    [
        ({"sight": {"radius": "30 in"}}, "/second/sight"),
        ({"distances": ["20 m"]}, "/second/distances"),
        ({"arrow": {"mass": "400 gr"}}, "/second/arrow/shaft_diameter"),
        ({"drag": {"model": "constant"}}, "/second/drag/parameters/coefficient"),
        ({"slope": "70 deg"}, "/second/slope"),
        ({"wind": None}, "/second/wind"),
        ({"bow": {"peep_height": "900 mm"}}, "/second/bow/peep_height"),
    ],
)
def test_what_the_schema_refuses(
    client: FlaskClient, body: Body, second: Body, pointer: str
) -> None:
    assert pointers(refusal(client, body, second=second)) == [pointer]


TABLE = {
    "model": "table",
    "parameters": {"reynolds": [1e4, 3e4], "coefficient": [1.5, 1.6, 1.7]},
}
NO_WEIGHT = {"peep_height": "4.4 in", "draw_length": "28.5 in", "brace_height": "6.6 in"}
RATED = {"model": "rated", "parameters": {"rated_speed": "310 ft/s"}}
TOO_SLOW = {
    "model": "energy",
    "parameters": {"stored_energy": "1 J", "virtual_mass": "200 g"},
}


@pytest.mark.parametrize(
    "first, second, pointer",
    [
        ({}, {"launch": TOO_SLOW}, "/second/launch"),
        ({}, {"drag": TABLE}, "/second/drag/parameters/coefficient"),
        ({"launch": RATED}, {"bow": NO_WEIGHT}, "/second/bow/draw_weight"),
        ({"bow": {**NO_WEIGHT}}, {"launch": RATED}, "/bow/draw_weight"),
    ],
    ids=["speed", "parameters", "case there", "case here"],
)
def test_what_is_refused_later_points_where_it_was_given(
    client: FlaskClient, body: Body, first: Body, second: Body, pointer: str
) -> None:
    problem = refusal(client, body, **first, second=second)
    assert all(found.startswith(pointer) for found in pointers(problem)), problem
    assert problem["detail"].startswith("Second set-up: ")
    assert problem["errors"][0]["detail"].startswith("Second set-up: ")


def test_the_first_is_refused_as_anywhere(client: FlaskClient, body: Body) -> None:
    problem = refusal(client, body, launch=TOO_SLOW)
    assert pointers(problem) == ["/launch"]
    assert "Second" not in problem["detail"]


def test_a_distance_that_only_the_first_reaches(client: FlaskClient, body: Body) -> None:
    slow = {"launch": {"model": "measured", "parameters": {"speed": "20 m/s"}}}
    problem = refusal(client, body, distances=["20 m", "60 m"], second=slow)
    assert problem["type"] == "/problems/beyond-reach"
    assert pointers(problem) == ["/distances/1"]
    assert problem["detail"].startswith("Second set-up: this distance is beyond reach")
    assert 25 < problem["farthest"] * 0.9144 < 45
    problem = refusal(client, body, distances=["20 m", "900 m"], second=slow)
    assert pointers(problem) == ["/distances/1"]
    assert "Second" not in problem["detail"]


def test_a_zero_that_the_first_does_not_reach(client: FlaskClient, body: Body) -> None:
    body["sight"]["zero_distance"] = "900 m"
    assert pointers(refusal(client, body)) == ["/sight/zero_distance"]


def test_a_zero_that_only_the_first_reaches_is_its_own(client: FlaskClient, body: Body) -> None:
    """The second is never shot at the zero distance."""
    body["sight"]["zero_distance"] = "80 m"
    slow = {"launch": {"model": "measured", "parameters": {"speed": "20 m/s"}}}
    assert answer(client, body, distances=["20 m"], second=slow)["rows"][0]["new_travel"] > 0


def test_too_near_for_the_second(client: FlaskClient, body: Body) -> None:
    ahead = {"bow": {"peep_height": "4.4 in", "launch_forward": "2 m"}}
    problem = refusal(client, body, distances=["20 m", "1.8 m"], second=ahead)
    assert pointers(problem) == ["/distances/1"]
    assert problem["detail"].startswith("Second set-up: too near")


def test_units_of_the_reply_are_the_requests(client: FlaskClient, body: Body) -> None:
    metric = answer(client, body, units={"distance": "m", "length": "cm", "speed": "m/s"})
    plain = answer(client, body)
    for one, other in zip(metric["rows"], plain["rows"], strict=True):
        assert one["up"] == pytest.approx(other["up"] / 10, abs=2e-4)
        assert one["new_speed"] == pytest.approx(other["new_speed"] * 0.3048, abs=2e-5)
    assert set(metric["units"]) == set(units.DEFAULTS)


def test_a_model_that_fails_on_the_second_is_named_there(
    client: FlaskClient,
    body: Body,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    """The reply keeps what the model said to the log, as for any other."""
    resolve = setup_change.resolve

    def failing(request: Body, registry: Registry) -> Any:
        if "second" in request and request["drag"] != seen.setdefault("drag", request["drag"]):
            raise ModelFault("drag", "constant", "gave a negative area")
        return resolve(request, registry)

    seen: Body = {}
    monkeypatch.setattr(setup_change, "resolve", failing)
    problem = refusal(client, body, status=500)
    assert pointers(problem) == ["/second/drag/model"]
    assert problem["detail"].startswith("Second set-up: the drag model 'constant' failed")
    assert problem["model"] == "constant"
    assert "negative area" in caplog.text and "negative area" not in json.dumps(problem)
