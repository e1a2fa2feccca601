"""Keys: who is let in, what they are told, and lists that change while the service runs."""

import os
from pathlib import Path
from typing import Any

import flask
import hypothesis
import pytest
import schemathesis
from flask import Flask
from flask.testing import FlaskClient
from openapi_spec_validator import validate
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from strangers import demo_request
from werkzeug.test import TestResponse

from arrowloft.app import create_app
from arrowloft.operation.keys import fresh
from arrowloft.operation.settings import BadSetting, Settings

CLUB, GUEST = fresh("club"), fresh("guest")
WRONG = fresh("stranger").key
PLAIN = 'Bearer realm="arrowloft"'
INVALID = f'{PLAIN}, error="invalid_token"'


def bearer(key: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {key}"}


def served(**settings: Any) -> Flask:
    return create_app(settings=Settings(**settings))


@pytest.fixture(scope="module")
def app() -> Flask:
    return served(keys=f"{CLUB.line}; {GUEST.line}")


@pytest.fixture(scope="module")
def client(app: Flask) -> FlaskClient:
    return app.test_client()


def refused(reply: TestResponse, challenge: str) -> None:
    assert reply.status_code == 401
    found = reply.get_json()
    assert found["type"] == "/problems/key-required" and found["status"] == 401
    assert reply.content_type == "application/problem+json"
    assert reply.headers["WWW-Authenticate"] == challenge
    assert reply.headers["Cache-Control"] == "no-store"


def test_a_key_lets_in(client: FlaskClient) -> None:
    for one in (CLUB, GUEST):
        reply = client.post("/v1/mark-table", json=demo_request(), headers=bearer(one.key))
        assert reply.status_code == 200
    odd = {"Authorization": f"bEARER  {CLUB.key} "}
    assert client.get("/v1/models", headers=odd).status_code == 200


@pytest.mark.parametrize("method", ["POST", "QUERY"])
def test_every_computation_asks_for_a_key(client: FlaskClient, method: str) -> None:
    paths = client.get("/openapi.json").get_json()["paths"]
    computations = [path for path, operations in paths.items() if "post" in operations]
    assert len(computations) > 15
    for path in computations:
        reply = client.open(path, method=method, json=demo_request())
        refused(reply, PLAIN)


def test_what_is_open_and_what_is_not(app: Flask, client: FlaskClient) -> None:
    """A route that comes later is either named here or asks for a key."""
    opened = {"/", "/docs", "/openapi.json", "/healthz", "/readyz", "/problems/<code>"}
    opened |= {"/kiosk/<path:name>", "/docs/<path:name>"}
    values = {"code": "key-required", "name": "main.js", "kind": "drag"}
    for rule in app.url_map.iter_rules():
        filled = rule.rule.replace("path:", "").replace("<", "{").replace(">", "}")
        reply = client.open(filled.format(**values), method=min(rule.methods - {"OPTIONS", "HEAD"}))
        assert (reply.status_code == 401) is (rule.rule not in opened), rule


@pytest.mark.parametrize(
    "path", ["/v1", "/v1/", "/v1/nothing", "/v1/models/drag/none", "/v1//models", "/v1/%2e%2e/x"]
)
@pytest.mark.parametrize("method", ["GET", "HEAD", "POST", "DELETE", "TRACE"])
def test_what_is_not_there_tells_no_more_than_what_is(
    client: FlaskClient, path: str, method: str
) -> None:
    reply = client.open(path, method=method)
    assert reply.status_code == 401
    assert reply.headers["WWW-Authenticate"] == PLAIN


@pytest.mark.parametrize(
    "path", ["//v1/models", "/V1/models", "/./v1/models", "/docs/../v1/models", "/v1%2Fmodels"]
)
def test_no_spelling_of_a_path_gets_round_the_key(client: FlaskClient, path: str) -> None:
    # As it arrives: a client would take two slashes for the beginning of a host.
    for sent in (path, path.replace("%2F", "/")):
        reply = client.get("/", environ_overrides={"PATH_INFO": sent})
        assert reply.status_code in (401, 404)


@pytest.mark.parametrize(
    ("sent", "challenge"),
    [
        (None, PLAIN),
        ("", PLAIN),
        (CLUB.key, PLAIN),
        (f"Basic {CLUB.key}", PLAIN),
        ("Basic Y2x1YjpjbHVi", PLAIN),
        ("Basic \xff", PLAIN),
        (f"Token {CLUB.key}", PLAIN),
        ("Bearer", PLAIN),
        ("Bearer ", PLAIN),
        (f"Bearer {WRONG}", INVALID),
        (f"Bearer {CLUB.key}x", INVALID),
        (f"Bearer {CLUB.key[:-1]}", INVALID),
        (f"Bearer {CLUB.key.upper()}", INVALID),
        (f"Bearer {CLUB.key}, Bearer {CLUB.key}", INVALID),
        (f"Bearer {CLUB.key} {CLUB.key}", INVALID),
        (f"Bearer key={CLUB.key}", PLAIN),
        (f"Bearer {CLUB.line.partition(':')[2]}", INVALID),
        ("Bearer \xff\xfe", INVALID),
        ("Bearer " + "x" * 5000, INVALID),
        # Blanks, but none that belong around a header's value: the proxy counts them to the key.
        (f"Bearer {CLUB.key}\xa0", INVALID),
        (f"Bearer \x85{CLUB.key}", INVALID),
        (f"\xa0Bearer {CLUB.key}", PLAIN),
    ],
    # By place: keys are new each time, and all processes must know the same tests.
    ids=range(22),
)
def test_all_else_is_refused(client: FlaskClient, sent: str | None, challenge: str) -> None:
    headers = {} if sent is None else {"Authorization": sent}
    reply = client.get("/v1/models", headers=headers)
    refused(reply, challenge)
    assert CLUB.key not in reply.text


def test_a_key_elsewhere_is_no_key(client: FlaskClient) -> None:
    for name in ("key", "access_token", "api_key"):
        refused(client.get("/v1/models", query_string={name: CLUB.key}), PLAIN)
    refused(client.get("/v1/models", headers={"X-API-Key": CLUB.key}), PLAIN)
    client.set_cookie("key", CLUB.key)
    refused(client.get("/v1/models"), PLAIN)


def test_whose_key_it_is_is_known_to_what_logs(app: Flask) -> None:
    def known(path: str, headers: dict[str, str]) -> str | None:
        with app.test_client() as asked:
            asked.get(path, headers=headers)
            return flask.g.get("key_name")

    assert known("/v1/units", bearer(GUEST.key)) == "guest"
    assert known("/v1/units", bearer(WRONG)) is None
    assert known("/healthz", bearer(GUEST.key)) is None


def test_without_keys_everyone_may_ask() -> None:
    asked = create_app().test_client()
    for headers in ({}, bearer(WRONG), {"Authorization": "nonsense"}):
        reply = asked.get("/v1/models", headers=headers)
        assert reply.status_code == 200 and "Authorization" not in reply.vary


def test_a_reply_to_a_key_is_kept_by_no_shared_cache(client: FlaskClient) -> None:
    """A proxy's cache does not look at keys: it would answer who has none, or no longer."""
    for reply in (
        client.get("/v1/models", headers=bearer(CLUB.key)),
        client.open(
            "/v1/mark-table", method="QUERY", json=demo_request(), headers=bearer(CLUB.key)
        ),
    ):
        assert reply.status_code == 200
        assert "Authorization" in reply.vary
        assert not reply.cache_control.public and reply.cache_control.s_maxage is None
        assert not reply.cache_control or reply.cache_control.private


def test_what_may_be_kept_is_made_private() -> None:
    own = served(keys=CLUB.line)

    # Registered later, as caching is: it sees the reply first.
    @own.after_request
    def cached(response: flask.Response) -> flask.Response:
        response.headers["Cache-Control"] = "public, max-age=60, s-maxage=60"
        return response

    asked = own.test_client()
    kept = asked.get("/v1/units", headers=bearer(CLUB.key)).headers["Cache-Control"]
    assert sorted(kept.split(", ")) == ["max-age=60", "private"]
    assert "public" in asked.get("/healthz").headers["Cache-Control"]


def test_faults_stop_the_start_all_at_once(tmp_path: Path) -> None:
    file = tmp_path / "keys"
    file.write_text(f"{CLUB.line}\nclub {GUEST.key}\n\x00\n")
    with pytest.raises(BadSetting) as refusal:
        served(keys="one, two", keys_file=file)
    told = str(refusal.value).split("\n")
    assert [line.partition(": ")[0] for line in told] == [
        *["ARROWLOFT_KEYS"] * 2,
        *[f"ARROWLOFT_KEYS_FILE={file}"] * 2,
    ]
    assert "line 2" in told[2] and "line 3" in told[3]
    assert GUEST.key not in str(refusal.value)
    with pytest.raises(BadSetting, match="cannot be read"):
        served(keys_file=tmp_path / "none")
    with pytest.raises(BadSetting, match="cannot be read"):
        served(keys_file=tmp_path)


def test_an_empty_list_lets_nobody_in(tmp_path: Path) -> None:
    (tmp_path / "keys").write_text("")
    for settings in ({"keys_file": tmp_path / "keys"}, {"keys": "# nobody"}):
        asked = served(**settings).test_client()
        refused(asked.get("/v1/models"), PLAIN)
        refused(asked.get("/v1/models", headers=bearer(CLUB.key)), INVALID)
        assert asked.get("/healthz").status_code == 200


def test_keys_are_exchanged_while_the_service_runs(tmp_path: Path) -> None:
    path = tmp_path / "keys"
    path.write_text(CLUB.line)
    asked = served(keys=GUEST.line, keys_file=path).test_client()

    def let_in(*held: str) -> list[bool]:
        replies = [asked.get("/v1/units", headers=bearer(key)) for key in held]
        assert {reply.status_code for reply in replies} <= {200, 401}
        return [reply.status_code == 200 for reply in replies]

    newer = fresh("club")
    assert let_in(CLUB.key, newer.key) == [True, False]
    path.write_text(f"{CLUB.line}\n{newer.line}\n")
    assert let_in(CLUB.key, newer.key) == [True, True]
    path.write_text(newer.line)
    assert let_in(CLUB.key, newer.key, GUEST.key) == [False, True, True]
    # In place, as long as before: only the time is another.
    path.write_text(CLUB.line)
    os.utime(path, ns=(1, 1))
    assert let_in(CLUB.key, newer.key) == [True, False]
    path.write_text("")
    assert let_in(CLUB.key, newer.key, GUEST.key) == [False, False, True]


def test_the_document_says_where_keys_are_asked_for(client: FlaskClient) -> None:
    document = client.get("/openapi.json").get_json()
    validate(document)
    scheme = document["components"]["securitySchemes"]["key"]
    assert scheme["type"] == "http" and scheme["scheme"] == "bearer"
    for path, operations in document["paths"].items():
        (operation,) = operations.values()
        keyed = path.startswith("/v1/")
        assert operation.get("security") == ([{}, {"key": []}] if keyed else None)
        assert ("401" in operation["responses"]) is keyed
        if keyed:
            said = operation["responses"]["401"]
            assert "key-required" in said["description"] and "WWW-Authenticate" in said["headers"]


keyed = schemathesis.openapi.from_wsgi("/openapi.json", served(keys=CLUB.line))


@keyed.include(path_regex="^/v1/(units|models|balance)").parametrize()
@hypothesis.settings(
    max_examples=20,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(hypothesis.HealthCheck),
)
def test_a_refusal_is_as_documented(case: schemathesis.Case) -> None:
    checks = [
        status_code_conformance,
        content_type_conformance,
        response_headers_conformance,
        response_schema_conformance,
    ]
    reply = case.call_and_validate(checks=checks)
    assert reply.status_code == 401 or case.method == "OPTIONS"
