"""Bad requests: each a problem with a status, a pointer and a sentence that says what to do."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from arrowloft.api.resource import Limits
from arrowloft.app import create_app
from arrowloft.core.flight.reach import Unsolved
from arrowloft.operation.settings import Settings

Body = dict[str, Any]
PATH = "/v1/mark-table"


def problem(reply: TestResponse, status: int, code: str) -> dict[str, Any]:
    """The reply as a problem, whose shape holds for every one."""
    found = reply.get_json(force=True)
    assert reply.status_code == status, found
    assert reply.content_type == "application/problem+json"
    assert reply.headers["Cache-Control"] == "no-store"
    assert found["type"] == f"/problems/{code}"
    assert found["status"] == status
    for words in (found["title"], found["detail"], *(e["detail"] for e in found["errors"])):
        assert words
    for words in (found["detail"], *(e["detail"] for e in found["errors"])):
        assert words.endswith((".", "?")), words
    return found  # type: ignore[no-any-return]


def put(path: str, value: Any) -> Callable[[Body], None]:
    """A change of one member, by path."""

    def change(body: Body) -> None:
        *way, last = path.split("/")
        for step in way:
            body = body[step]
        body[last] = value

    return change


def drop(path: str) -> Callable[[Body], None]:
    def change(body: Body) -> None:
        *way, last = path.split("/")
        for step in way:
            body = body[step]
        del body[last]

    return change


INVALID: list[tuple[Callable[[Body], None], str, str]] = [
    # unknown members name the nearest known one
    (put("arows", {}), "/arows", "did you mean"),
    (put("bow/peep_hight", "4 in"), "/bow/peep_hight", '"peep_height"'),
    (put("drag/parameters/vane_lenght", "4 cm"), "/drag/parameters/vane_lenght", '"vane_length"'),
    (put("drag/params", {}), "/drag/params", '"parameters"'),
    (put("a~b/c", 1), "", ""),
    # quantities
    (put("arrow/mass", "281 ft/s"), "/arrow/mass", "mass"),
    (put("arrow/mass", "400"), "/arrow/mass", "unit"),
    (put("arrow/mass", 400), "/arrow/mass", "string of a number and a unit"),
    (put("arrow/mass", True), "/arrow/mass", "string of a number and a unit"),
    (put("arrow/mass", None), "/arrow/mass", "null"),
    (put("arrow/mass", "NaN g"), "/arrow/mass", "number"),
    (put("arrow/mass", "inf g"), "/arrow/mass", "number"),
    (put("arrow/mass", "1e999 g"), "/arrow/mass", "number"),
    (put("arrow/mass", "9**9**9 g"), "/arrow/mass", "number"),
    (put("arrow/mass", "1 g; 2"), "/arrow/mass", "number"),
    (put("arrow/mass", "\u0661\u0662 g"), "/arrow/mass", "number"),
    (put("arrow/mass", "1_0 g"), "/arrow/mass", "number"),
    (put("arrow/mass", "-388 gr"), "/arrow/mass", "Give 15.4324 gr to"),
    (put("arrow/mass", "0 g"), "/arrow/mass", "Give 1 g to 200 g; 0 g is outside."),
    (put("arrow/mass", "388 oz"), "/arrow/mass", "388 oz is outside."),
    (put("arrow/shaft_diameter", "0 mm"), "/arrow/shaft_diameter", "Give 2 mm to"),
    (put("slope", "61 deg"), "/slope", "to 60 deg; 61 deg is outside."),
    (put("slope", 0), "/slope", "string of a number and a unit"),
    (put("air/temperature", "-300 degC"), "/air/temperature", "Give -60 degC to"),
    (put("arrow/mass", "388 grain"), "/arrow/mass", 'did you mean "gr"?'),
    (put("arrow/mass", "388 GR"), "/arrow/mass", 'did you mean "gr"?'),
    (put("air/temperature", "54 F"), "/air/temperature", 'did you mean "degF"?'),
    (put("air/temperature", "12 \u00b0C"), "/air/temperature", 'did you mean "degC"?'),
    # numbers
    (put("air/relative_humidity", 70), "/air/relative_humidity", "Give 0 to 1; 70 is outside."),
    (put("air/relative_humidity", "0.7"), "/air/relative_humidity", "without quotes"),
    (put("air/relative_humidity", True), "/air/relative_humidity", "plain number"),
    (put("air/relative_humidity", 10**399), "/air/relative_humidity", "too large"),
    (put("sight/clicks_per_turn", 12.5), "/sight/clicks_per_turn", "whole"),
    (put("sight/clicks_per_turn", 0), "/sight/clicks_per_turn", "Give 1 to 1000; 0 is"),
    # objects, lists, choices
    (put("bow", []), "/bow", "object"),
    (put("bow", "bow"), "/bow", "object"),
    (drop("bow"), "/bow", "needed"),
    (drop("sight/radius"), "/sight/radius", "needed"),
    (put("units/length", "furlong"), "/units/length", "choices"),
    (put("units/mass", 3), "/units/mass", "one of"),
    (put("sight/scale/increases", "dwon"), "/sight/scale/increases", '"down"'),
    (put("sight/pins", []), "/sight/pins", "give 1 to 20"),
    (put("sight/pins", ["20 yd", "x"]), "/sight/pins/1", "distance"),
    # members that do not fit together
    (drop("sight/travel_per_turn"), "/sight/clicks_per_turn", "travel_per_turn"),
    (
        lambda body: body["bow"].update(draw_length="12 in", brace_height="11 in"),
        "/bow/brace_height",
        "power stroke",
    ),
    (put("arrow/balance_point", "29 in"), "/arrow/balance_point", "beyond the tip"),
    # models
    (put("drag/model", "componnet"), "/drag/model", '"component"'),
    (put("drag/model", 1), "/drag/model", "Name a model"),
    (put("launch/model", "no-such-model"), "/launch/model", "known here: energy"),
    (put("launch", "measured"), "/launch", "object"),
    (put("drag", {"model": "constant"}), "/drag/parameters/coefficient", "needed"),
    (
        put("drag", {"model": "constant", "parameters": {"coefficient": -1}}),
        "/drag/parameters/coefficient",
        "Give 0 to 20; -1 is outside.",
    ),
    (put("launch/parameters/speed", "260 ft/s"), "/launch/parameters/", "one of"),
    # distances
    (put("distances", []), "/distances", "give 1 to 1000"),
    (put("distances", ["9 m"] * 7000), "/distances", "7000 values: give 1 to 1000"),
    (
        put("distances", {"from": "1 m", "to": "100.99 m", "step": "1 cm"}),
        "/distances/step",
        "10000 distances: give at most 1000",
    ),
    (put("distances", [20]), "/distances/0", "unit"),
    (put("distances", ["20 yd", None]), "/distances/1", "null"),
    (put("distances", "20 yd"), "/distances", "list"),
    (put("distances", ["2000 m"]), "/distances/0", "to 1000 m; 2000 m is outside"),
    (put("distances/step", "1 mm"), "/distances/step", "at most 1000"),
    (put("distances/step", "0 m"), "/distances/step", "0 m is outside"),
    (put("distances/to", "10 yd"), "/distances/to", "`from`"),
]


@pytest.mark.parametrize(("change", "pointer", "words"), INVALID)
def test_an_invalid_member_is_pointed_at(
    client: FlaskClient, body: Body, change: Callable[[Body], None], pointer: str, words: str
) -> None:
    if pointer == "" and words == "":
        body["a~b/c"] = 1
        pointer, words = "/a~0b~1c", "not a member"
    else:
        change(body)
    found = problem(client.post(PATH, json=body), 422, "invalid-request")
    assert len(found["errors"]) == 1
    assert found["errors"][0]["pointer"].startswith(pointer)
    assert words in found["errors"][0]["detail"]
    assert found["detail"] == found["errors"][0]["detail"]


def test_every_fault_is_named_in_one_order(client: FlaskClient, body: Body) -> None:
    body.update(zzz=1, aaa=1, slope="x")
    body["arrow"]["mass"] = 1
    found = problem(client.post(PATH, json=body), 422, "invalid-request")
    pointers = [error["pointer"] for error in found["errors"]]
    assert sorted(pointers) == ["/aaa", "/arrow/mass", "/slope", "/zzz"]
    assert pointers[-2:] == ["/aaa", "/zzz"]
    assert pointers.index("/arrow/mass") < pointers.index("/slope")


def test_ten_thousand_listed_distances_are_too_much(client: FlaskClient, body: Body) -> None:
    body["distances"] = ["20 yd"] * 10_000
    found = problem(client.post(PATH, json=body), 413, "too-large")
    assert found["errors"] == [{"pointer": "", "detail": found["detail"]}]


def test_at_most_twenty_faults_are_listed(client: FlaskClient, body: Body) -> None:
    body["distances"] = [1] * 1000
    found = problem(client.post(PATH, json=body), 422, "invalid-request")
    assert len(found["errors"]) == 20
    assert "first 20" in found["detail"]


def test_many_unknown_members_are_answered_quickly(client: FlaskClient) -> None:
    found = problem(
        client.post(PATH, json={f"m{i}": 1 for i in range(5000)}), 422, "invalid-request"
    )
    assert len(found["errors"]) == 20


def test_an_unknown_member_is_not_repeated_at_length(client: FlaskClient, body: Body) -> None:
    body["x" * 10_000] = 1
    found = problem(client.post(PATH, json=body), 422, "invalid-request")
    assert len(found["errors"][0]["detail"]) < 400


MALFORMED: list[tuple[bytes, str | None, str]] = [
    (b"", None, "empty"),
    (b"  \n", None, "empty"),
    (b"{", None, "line 1, column 2"),
    (b'{"bow": 1,}', None, "line 1"),
    (b'{"bow": 1} garbage', None, "line 1, column 12"),
    (b"\xff\xfe{}", None, "UTF-8"),
    (b'{"bow": "\xc3"}', None, "UTF-8"),
    (b"\xef\xbb\xbf{}", None, "JSON"),
    (b"[]", "", "object"),
    (b'"text"', "", "object"),
    (b"null", "", "object"),
    (b"{'bow': 1}", None, "column 2"),
    (b'{"bow": {}, "bow": {}}', "/bow", "twice"),
    (b'{"bow": {"a/b": 1, "a/b": 2}}', "/bow/a~1b", "twice"),
    (b'{"distances": [1, {"a": 1, "a": 1}]}', "/distances/1/a", "twice"),
    (b'{"slope": NaN}', "/slope", "NaN"),
    (b'{"air": {"relative_humidity": Infinity}}', "/air/relative_humidity", "Infinity"),
    (b'{"distances": [-Infinity]}', "/distances/0", "-Infinity"),
    (b'{"slope": nan}', None, "line 1"),
    (b'{"slope": inf}', None, "line 1"),
    (b'{"slope": +1}', None, "line 1"),
    (b'{"slope": .5}', None, "line 1"),
    (b'{"slope": 0x10}', None, "line 1"),
    (b'{"slope": 012}', None, "line 1"),
    (b'{"slope": ' + b"9" * 5000 + b"}", "/slope", "5000 digits"),
    (b'{"slope": ' + b"[" * 20_000 + b"]" * 20_000 + b"}", None, "deeper"),
    (b'{"a":' * 10_000 + b"1" + b"}" * 10_000, None, "deeper"),
    (b'{"slope": "\\ud800"}', "/slope", "surrogate"),
    (b'{"\\udc00": 1}', "", "surrogate"),
    (b'{"slope": "a\nb"}', None, "line 1"),
    (b'{"slope": "\\x"}', None, "line 1"),
]


@pytest.mark.parametrize(("raw", "pointer", "words"), MALFORMED)
def test_what_is_no_strict_json_is_refused(
    client: FlaskClient, raw: bytes, pointer: str | None, words: str
) -> None:
    reply = client.post(PATH, data=raw, content_type="application/json")
    found = problem(reply, 400, "malformed-json")
    assert [error["pointer"] for error in found["errors"]] == ([] if pointer is None else [pointer])
    assert words in found["detail"]


def test_a_number_that_overflows_is_refused_where_it_stands(client: FlaskClient) -> None:
    raw = b'{"air": {"relative_humidity": 1e999}}'
    reply = client.post(PATH, data=raw, content_type="application/json")
    found = problem(reply, 422, "invalid-request")
    assert "/air/relative_humidity" in [error["pointer"] for error in found["errors"]]


@pytest.mark.parametrize(
    "content_type",
    ["text/plain", "", "application/x-www-form-urlencoded", "application/jsonp", "text/json"],
)
def test_a_wrong_content_type_is_refused(
    client: FlaskClient, body: Body, content_type: str
) -> None:
    reply = client.post(PATH, data=json.dumps(body), content_type=content_type)
    assert "application/json" in problem(reply, 415, "unsupported-media-type")["detail"]


@pytest.mark.parametrize(
    "headers",
    [
        {"Content-Type": "application/json; charset=utf-16"},
        {"Content-Type": "application/json", "Content-Encoding": "gzip"},
    ],
)
def test_an_unread_encoding_is_refused(
    client: FlaskClient, body: Body, headers: dict[str, str]
) -> None:
    reply = client.post(PATH, data=json.dumps(body), headers=headers)
    problem(reply, 415, "unsupported-media-type")


@pytest.mark.parametrize(
    "content_type",
    ["application/json", "application/json; charset=UTF-8", "application/vnd.x+json"],
)
def test_json_by_any_of_its_names_is_read(
    client: FlaskClient, body: Body, content_type: str
) -> None:
    assert client.post(PATH, data=json.dumps(body), content_type=content_type).status_code == 200


def test_distances_out_of_order_keep_their_order(client: FlaskClient, body: Body) -> None:
    body["distances"] = ["60 yd", "20 yd", "40 yd", "20 yd"]
    rows = client.post(PATH, json=body).get_json()["rows"]
    assert [row["distance"] for row in rows] == [60.0, 20.0, 40.0, 20.0]
    assert rows[1] == rows[3]
    assert rows[0]["travel"] > rows[2]["travel"] > rows[1]["travel"]


def test_a_range_gives_the_rows_of_its_list(client: FlaskClient, body: Body) -> None:
    ranged = client.post(PATH, json=body).get_json()
    body["distances"] = [f"{distance} yd" for distance in range(20, 81, 10)]
    assert client.post(PATH, json=body).get_json() == ranged


def test_beyond_reach_names_the_farthest_and_who_asked(client: FlaskClient, body: Body) -> None:
    body["distances"] = ["20 yd", "1000 yd", "30 yd", "900 yd"]
    found = problem(client.post(PATH, json=body), 422, "beyond-reach")
    assert [error["pointer"] for error in found["errors"]] == ["/distances/1", "/distances/3"]
    assert 200 < found["farthest"] < 900
    assert f"{found['farthest']:.7g} yd" in found["detail"]
    body["distances"] = [f"{found['farthest'] * 0.999:.3f} yd"]
    assert client.post(PATH, json=body).status_code == 200
    body["distances"] = [f"{found['farthest'] * 1.001:.3f} yd"]
    problem(client.post(PATH, json=body), 422, "beyond-reach")


def test_beyond_reach_points_at_range_zero_and_pins(client: FlaskClient, body: Body) -> None:
    body["distances"] = {"from": "20 yd", "to": "1000 yd", "step": "20 yd"}
    found = problem(client.post(PATH, json=body), 422, "beyond-reach")
    assert [error["pointer"] for error in found["errors"]] == ["/distances/to"]
    body["distances"] = ["20 yd"]
    body["sight"]["zero_distance"] = "1000 yd"
    body["sight"]["pins"] = ["20 yd", "999 yd"]
    found = problem(client.post(PATH, json=body), 422, "beyond-reach")
    assert [e["pointer"] for e in found["errors"]] == ["/sight/zero_distance", "/sight/pins/1"]
    assert found["errors"][0]["detail"].startswith("This distance is beyond reach")


@pytest.mark.parametrize(("folder", "name"), [("sight", "mark_table"), ("flight", "trajectory")])
def test_a_flight_that_cannot_be_followed_is_refused(
    client: FlaskClient, body: Body, monkeypatch: pytest.MonkeyPatch, folder: str, name: str
) -> None:
    def unsolved(*_: Any, **__: Any) -> None:
        raise Unsolved("no flight")

    monkeypatch.setattr(f"arrowloft.api.{folder}.{name}.{name}", unsolved)
    if name == "trajectory":
        del body["sight"], body["distances"]
        body["target"] = "20 m"
    reply = client.post(f"/v1/{name.replace('_', '-')}", json=body)
    found = problem(reply, 422, "cannot-be-followed")
    assert found["title"] == "The flight cannot be followed"
    assert [error["pointer"] for error in found["errors"]] == ["/arrow"]


def test_too_near_says_how_near(client: FlaskClient, body: Body) -> None:
    body["distances"] = ["1 m"]
    found = problem(client.post(PATH, json=body), 422, "invalid-request")
    assert found["errors"][0]["pointer"] == "/distances/0"
    assert "yd" in found["detail"]


def test_a_launch_beyond_all_bows_is_refused(client: FlaskClient, body: Body) -> None:
    body["launch"] = {"model": "energy", "parameters": {"energy": "1e5 J", "virtual_mass": "0 g"}}
    reply = client.post(PATH, json=body)
    assert reply.status_code == 422
    assert reply.get_json()["errors"][0]["pointer"].startswith("/launch")


def test_more_vapour_than_the_air_can_hold_is_refused(client: FlaskClient, body: Body) -> None:
    body["air"] = {"temperature": "60 degC", "pressure": "300 hPa", "relative_humidity": 1}
    reply = client.post(PATH, json=body)
    assert reply.status_code in (200, 422)


@pytest.mark.parametrize(
    ("own", "pointer"),
    [
        ({}, "/target"),
        ({"target": "30 m", "launch_angle": "3 deg"}, "/target"),
        ({"target": "30 m", "end": "20 m"}, "/end"),
        ({"target": "30 m", "step": "1 m", "samples": 5}, "/samples"),
        ({"target": "30 m", "samples": 1}, "/samples"),
        ({"target": "30 m", "samples": 2001}, "/samples"),
        ({"launch_angle": "46 deg"}, "/launch_angle"),
        ({"target": "300 m", "step": "0.1 m"}, "/step"),
    ],
)
def test_a_trajectory_needs_one_aim_and_one_spacing(
    client: FlaskClient, body: Body, own: Body, pointer: str
) -> None:
    del body["sight"], body["distances"]
    found = problem(client.post("/v1/trajectory", json=body | own), 422, "invalid-request")
    assert [error["pointer"] for error in found["errors"]] == [pointer]


def test_a_path_that_never_arrives_is_refused(client: FlaskClient, body: Body) -> None:
    del body["sight"], body["distances"]
    body |= {"launch_angle": "45 deg", "end": "990 m"}
    found = problem(client.post("/v1/trajectory", json=body), 422, "no-such-path")
    assert found["errors"][0]["pointer"] == "/end"


def test_a_model_says_what_it_lacks(client: FlaskClient, body: Body) -> None:
    del body["sight"], body["distances"], body["wind"], body["slope"], body["drag"]
    found = problem(client.post("/v1/launch-speed", json=body), 422, "model-cannot-answer")
    assert found["errors"][0]["pointer"] == "/drag"


@pytest.mark.parametrize(
    "path", ["/nope", "/v1/mark-table/", "/v1//models", "/v1/models/drag/x", "/problems/x", "/%00"]
)
def test_unknown_paths_are_problems(client: FlaskClient, path: str) -> None:
    problem(client.get(path), 404, "not-found")


def test_an_unknown_kind_of_model_names_those_there_are(client: FlaskClient) -> None:
    found = problem(client.get("/v1/models/foo/none"), 404, "not-found")
    assert found["detail"] == '"foo" is no kind of model; the kinds are drag and launch.'


def test_a_path_of_half_a_surrogate_pair_is_a_problem(client: FlaskClient) -> None:
    problem(client.get("/v1/models/drag/%ed%a0%80"), 404, "not-found")


@pytest.mark.parametrize("method", ["GET", "PUT", "DELETE", "PATCH", "BREW"])
def test_a_wrong_method_names_the_right_ones(client: FlaskClient, method: str) -> None:
    reply = client.open(PATH, method=method)
    found = problem(reply, 405, "method-not-allowed")
    assert found["detail"] == "Use POST or QUERY here."
    assert {"POST", "QUERY"} <= set(reply.headers["Allow"].split(", "))


class Chunked:
    """A chunked body as a server hands it over: no length, and an end it knows."""

    def __init__(self, parts: list[bytes]) -> None:
        self.parts = parts

    def read(self, size: int = -1) -> bytes:
        if not self.parts:
            return b""
        part = self.parts.pop(0)
        if 0 <= size < len(part):
            self.parts.insert(0, part[size:])
        return part[:size] if size >= 0 else part


def chunked(app: Flask, parts: list[bytes], *, terminated: bool = True) -> TestResponse:
    return app.test_client().open(
        PATH,
        method="POST",
        headers={"Transfer-Encoding": "chunked", "Content-Type": "application/json"},
        environ_overrides={
            "wsgi.input": Chunked(parts),
            "wsgi.input_terminated": terminated,
            "CONTENT_LENGTH": None,
        },
    )


def test_a_chunked_body_is_read_whole(app: Flask, body: Body) -> None:
    raw = json.dumps(body).encode()
    assert chunked(app, [raw[:100], raw[100:101], raw[101:]]).status_code == 200


def test_a_chunked_body_over_the_limit_is_refused_not_cut(app: Flask, body: Body) -> None:
    raw = json.dumps(body).encode().ljust(64 * 1024)
    assert chunked(app, [raw]).status_code == 200
    problem(chunked(app, [raw, b"garbage"]), 413, "too-large")
    problem(chunked(app, [raw + b" "]), 413, "too-large")


def test_a_chunked_body_without_an_end_needs_a_length(app: Flask) -> None:
    problem(chunked(app, [b"{}"], terminated=False), 411, "length-required")


def test_a_body_over_the_limit_is_refused(body: Body) -> None:
    raw = json.dumps(body).encode()
    small = create_app(settings=Settings(limits=Limits(body=len(raw)))).test_client()
    assert small.post(PATH, data=raw, content_type="application/json").status_code == 200
    reply = small.post(PATH, data=raw + b" ", content_type="application/json")
    assert str(len(raw)) in problem(reply, 413, "too-large")["detail"]


def test_the_service_is_up_after_all_that(client: FlaskClient) -> None:
    assert client.get("/healthz").get_json()["status"] == "ok"
