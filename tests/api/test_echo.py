"""echo=true: the reply with all it takes to compute it again."""

import copy
import hashlib
import io
import json
import math
import threading
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import jsonschema
import numpy
import pytest
import scipy
from flask import Flask
from flask.testing import FlaskClient
from lasting import lasting
from werkzeug.serving import WSGIRequestHandler, make_server

from arrowloft import __version__
from arrowloft.api.echo import Replayable
from arrowloft.client import Client, Problem
from arrowloft.plugin.registry import Registry

EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
NAMES = sorted(path.name.removesuffix(".request.json") for path in EXAMPLES.glob("*.request.json"))


RECORDED = ("path", "request_digest", "reply_digest", "made_with")
"""What the record's digest covers, as the document says."""


def example(name: str) -> dict[str, Any]:
    return json.loads((EXAMPLES / f"{name}.request.json").read_text())


def written(value: Any) -> str:
    """Canonical JSON by another way: decimal figures for numbers, the json module for texts."""
    if isinstance(value, dict):
        names = sorted(value)
        return "{" + ",".join(f"{json.dumps(name)}:{written(value[name])}" for name in names) + "}"
    if isinstance(value, list):
        return "[" + ",".join(written(item) for item in value) + "]"
    if isinstance(value, float | int) and not isinstance(value, bool):
        return number(float(value))
    return json.dumps(value, ensure_ascii=False)


def number(value: float) -> str:
    if value == 0 or 1e-6 <= abs(value) < 1e21:
        text = format(Decimal(repr(value)), "f")
        return "0" if value == 0 else text.rstrip("0").rstrip(".") if "." in text else text
    mantissa, exponent = repr(value).split("e")
    return f"{mantissa}e{int(exponent):+d}"


def sha256(value: Any) -> str:
    return "sha256:" + hashlib.sha256(written(value).encode()).hexdigest()


def asked(client: FlaskClient, name: str, body: Any, query: str = "?echo=true", **how: Any) -> Any:
    data = body if isinstance(body, bytes) else json.dumps(body).encode()
    return client.open(
        f"/v1/{name}{query}",
        **{"method": "POST", "content_type": "application/json", "data": data} | how,
    )


@pytest.fixture(scope="module")
def document(client: FlaskClient) -> Any:
    return client.get("/openapi.json").get_json()


@pytest.mark.parametrize("name", NAMES)
def test_every_computation_says_how_to_compute_it_again(
    client: FlaskClient, document: Any, name: str
) -> None:
    body = example(name)
    plain, echoed = asked(client, name, body, ""), asked(client, name, body)
    assert (plain.status_code, echoed.status_code) == (200, 200)
    assert echoed.data.startswith(plain.data[:-1] + b',"replay":{')
    reply = echoed.get_json()
    replay = reply.pop("replay")
    assert reply == plain.get_json()
    assert replay["path"] == f"/v1/{name}"
    assert replay["request"] == body
    assert replay["request_digest"] == sha256(body)
    assert replay["reply_digest"] == sha256(plain.get_json())
    record = {name: replay[name] for name in RECORDED}
    assert replay["record_digest"] == sha256(record)
    assert set(replay) == {*RECORDED, "request", "record_digest"}
    content = document["paths"][f"/v1/{name}"]["post"]["responses"]["200"]["content"]
    schema = {**document, **content["application/json"]["schema"]}
    jsonschema.Draft202012Validator(schema).validate(echoed.get_json())
    again = asked(client, name, replay["request"])
    assert again.get_json()["replay"]["reply_digest"] == replay["reply_digest"]


@pytest.mark.parametrize("name", NAMES)
def test_it_names_the_models_that_the_reply_names(client: FlaskClient, name: str) -> None:
    reply = asked(client, name, example(name)).get_json()
    listed = {
        (model["kind"], model["name"], model["version"])
        for model in reply["replay"]["made_with"]["models"]
    }
    flown = {
        (kind, reply[kind]["model"], reply[kind]["version"])
        for kind in ("drag", "launch")
        if kind in reply and kind in example(name)
    }
    assert flown <= listed
    assert name == "balance" or listed


def test_it_says_what_computed_the_reply(client: FlaskClient, body: dict[str, Any]) -> None:
    made_with = asked(client, "mark-table", body).get_json()["replay"]["made_with"]
    assert made_with["arrowloft"] == __version__
    assert (made_with["numpy"], made_with["scipy"]) == (numpy.__version__, scipy.__version__)
    assert made_with["models"] == [
        {
            "kind": kind,
            "name": body[kind]["model"],
            "version": "1",
            "origin": f"arrowloft {__version__}",
        }
        for kind in ("drag", "launch")
    ]


@pytest.mark.parametrize(
    ("content", "named"),
    [
        ({"drag": {"model": "table"}}, {("drag", "table")}),
        ({"base": {"launch": {"model": "energy"}}}, {("launch", "energy")}),
        (
            {"drags": [{"model": "table"}, {"label": "b", "model": "constant"}]},
            {("drag", "table"), ("drag", "constant")},
        ),
        (
            {"models": [{"label": "a", "drag": {"model": "none"}, "launch": {"model": "rated"}}]},
            {("drag", "none"), ("launch", "rated")},
        ),
        ({"candidates": [{"model": "two-arrow"}]}, {("launch", "two-arrow")}),
        ({"drag": {"model": "rated"}}, set()),  # a name of the other kind
        ({"drag": {"model": ["table"]}, "launch": "energy", "name": "table"}, set()),
    ],
)
def test_models_are_found_wherever_a_request_names_them(
    content: Any, named: set[tuple[str, str]]
) -> None:
    found = Replayable.of(Registry.discover()).models(content)
    assert {(model["kind"], model["name"]) for model in found} == named
    assert len(found) == len(named)


def test_a_model_named_twice_is_listed_once() -> None:
    twice = {"first": {"drag": {"model": "table"}}, "second": {"drag": {"model": "table"}}}
    assert len(Replayable.of(Registry.discover()).models(twice)) == 1


def test_numbers_of_the_request_are_not_written_anew(
    client: FlaskClient, body: dict[str, Any]
) -> None:
    body["drag"] = {"model": "constant", "parameters": {"coefficient": 1.5}}
    sent = json.dumps(body).encode().replace(b"1.5}", b"\n 15000000000000000000001e-22}")
    echoed = asked(client, "mark-table", sent)
    assert echoed.status_code == 200, echoed.text
    assert b'"request":' + sent + b',"request_digest"' in echoed.data
    assert echoed.get_json()["replay"]["request_digest"] == sha256(json.loads(sent))


def test_the_order_and_the_writing_of_the_request_do_not_matter(
    client: FlaskClient, body: dict[str, Any]
) -> None:
    turned = {
        name: dict(reversed(part.items())) if isinstance(part, dict) else part
        for name, part in reversed(body.items())
    }
    loose = json.dumps(turned, indent=3).replace(": 20,", ": 2.0E1,").encode()
    assert b"2.0E1" in loose
    one, other = (
        asked(client, "mark-table", item).get_json()["replay"] for item in (body, b"\n" + loose)
    )
    assert one["request_digest"] == other["request_digest"]
    assert one["reply_digest"] == other["reply_digest"]


def test_another_number_is_another_digest(client: FlaskClient, body: dict[str, Any]) -> None:
    changed = copy.deepcopy(body)
    changed["air"]["relative_humidity"] = math.nextafter(body["air"]["relative_humidity"], 1.0)
    one, other = (
        asked(client, "mark-table", item).get_json()["replay"]["request_digest"]
        for item in (body, changed)
    )
    assert one != other


def test_query_is_answered_in_the_same_way(client: FlaskClient, body: dict[str, Any]) -> None:
    posted, queried = (
        asked(client, "mark-table", body, method=method) for method in ("POST", "QUERY")
    )
    assert posted.data == queried.data
    assert queried.headers["Accept-Query"] == "application/json"
    assert int(queried.headers["Content-Length"]) == len(queried.data)


def test_a_body_of_unknown_length_is_kept(client: FlaskClient, body: dict[str, Any]) -> None:
    """A chunked body can be read once only."""
    sent = io.BytesIO(json.dumps(body).encode())
    answered = client.post(
        "/v1/mark-table?echo=true",
        input_stream=sent,
        content_type="application/json",
        headers={"Transfer-Encoding": "chunked"},
        environ_overrides={"wsgi.input_terminated": True},
    )
    assert answered.get_json()["replay"]["request"] == body


@pytest.mark.parametrize("query", ["?echo=false", "?other=1", "?"])
def test_without_it_the_reply_is_what_it_was(
    client: FlaskClient, body: dict[str, Any], query: str
) -> None:
    plain, other = asked(client, "mark-table", body, ""), asked(client, "mark-table", body, query)
    assert plain.data == other.data
    assert lasting(plain) == lasting(other)


@pytest.mark.parametrize(
    ("query", "word"),
    [
        ("?echo=True", '"True"'),
        ("?echo=1", '"1"'),
        ("?echo=", '""'),
        ("?echo", '""'),
        ("?echo=%ff%ed%a0%80", "neither"),
        ("?echo=true&echo=true", "more than once"),
        ("?echo=true&echo=false", "more than once"),
    ],
)
def test_anything_else_is_refused(
    client: FlaskClient, body: dict[str, Any], query: str, word: str
) -> None:
    refused = asked(client, "mark-table", body, query)
    assert refused.status_code == 422
    assert refused.get_json()["type"] == "/problems/invalid-request"
    assert "query parameter echo" in refused.get_json()["detail"]
    assert word in refused.get_json()["detail"]


def test_a_problem_is_as_it_is_without(client: FlaskClient, body: dict[str, Any]) -> None:
    del body["arrow"]
    assert asked(client, "mark-table", body).data == asked(client, "mark-table", body, "").data


@pytest.mark.parametrize(
    ("accept", "status"),
    [
        ("text/csv", 406),
        ("application/json;q=0.5, text/csv", 406),
        ("application/json, text/csv;q=0.5", 200),
        ("*/*", 200),
    ],
)
def test_other_forms_have_no_place_for_it(
    client: FlaskClient, body: dict[str, Any], accept: str, status: int
) -> None:
    answered = asked(client, "mark-table", body, headers={"Accept": accept})
    assert answered.status_code == status
    if status == 406:
        assert "application/json" in answered.get_json()["detail"]
        assert "leave echo out" in answered.get_json()["detail"]
    else:
        assert "replay" in answered.get_json()


def test_what_exists_takes_no_notice(client: FlaskClient) -> None:
    for path in ("/v1/models", "/healthz", "/openapi.json"):
        assert client.get(f"{path}?echo=nonsense").data == client.get(path).data
        assert client.head(f"{path}?echo=true").status_code == 200


def test_it_is_documented_for_computations_alone(document: Any) -> None:
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            taken = {item["name"]: item for item in operation.get("parameters", ())}
            assert ("echo" in taken) == (method == "post"), path
            if method == "post":
                assert taken["echo"]["in"] == "query"
                assert taken["echo"]["schema"]["type"] == "boolean"


def test_the_document_says_what_is_hashed(document: Any) -> None:
    members = document["components"]["schemas"]["Replay"]["properties"]
    record = members["record_digest"]["description"]
    assert all(f"`{name}`" in record for name in RECORDED)
    assert "without `request` and `record_digest`" in record
    assert "no signature" in record
    request = members["request_digest"]["description"]
    assert "canonical JSON (RFC 8785)" in request
    assert "1, 1.0 and 1e0 are all written 1" in request


class Handler(WSGIRequestHandler):
    """Prints nothing."""

    def log(self, type: str, message: str, *args: object) -> None:
        pass


@pytest.fixture
def address(app: Flask) -> Iterator[str]:
    server = make_server("127.0.0.1", 0, app, threaded=True, request_handler=Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()
    thread.join(5)


def test_the_client_asks_for_it(address: str, body: dict[str, Any]) -> None:
    with Client(address, echo=True) as client:
        assert client.mark_table(body)["replay"]["request"] == body
        assert client.health()
        with pytest.raises(Problem) as caught:
            client.csv("mark-table", body)
    assert caught.value.status == 406
    with Client(address) as client:
        assert "replay" not in client.mark_table(body)
