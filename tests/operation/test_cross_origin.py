"""Other origins' pages: none may read a reply unless its origin is named."""

from typing import Any

import pytest
from flask.testing import FlaskClient
from strangers import demo_request
from werkzeug.test import TestResponse

from arrowloft.app import create_app
from arrowloft.operation.keys import fresh
from arrowloft.operation.settings import Settings

APP, OTHER, SIX = "https://app.example", "http://localhost:5173", "http://[::1]:3000"
FOREIGN = (
    "https://evil.example",
    "http://app.example",
    "https://app.example:8443",
    "https://app.example.evil.example",
    "https://evil-app.example",
    "https://appxexample",
    "https://app.example\u00a0",
    "http://:::1]:3000",
    "http://[:1:]:3000",
    "null",
    "*",
    "",
)
CLUB = fresh("club")


def served(*origins: str, **settings: Any) -> FlaskClient:
    return create_app(settings=Settings(origins=origins, **settings)).test_client()


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return served(APP, OTHER, SIX, keys=CLUB.line)


def preflight(
    client: FlaskClient,
    origin: str,
    method: str = "POST",
    names: str = "authorization,content-type",
    path: str = "/v1/mark-table",
) -> TestResponse:
    return client.options(
        path,
        headers={
            "Origin": origin,
            "Access-Control-Request-Method": method,
            "Access-Control-Request-Headers": names,
        },
    )


def said(reply: TestResponse) -> dict[str, str]:
    """Its headers of CORS."""
    return {
        name.lower(): value
        for name, value in reply.headers
        if name.lower().startswith("access-control-")
    }


def listed(text: str) -> set[str]:
    return {item.strip().lower() for item in text.split(",")}


@pytest.mark.parametrize("origin", [APP, OTHER, SIX])
@pytest.mark.parametrize("method", ["POST", "QUERY"])
def test_a_page_of_a_named_origin_may_ask_without_a_key_whether_it_may(
    client: FlaskClient, origin: str, method: str
) -> None:
    reply = preflight(client, origin, method)
    assert reply.status_code == 200
    found = said(reply)
    assert found["access-control-allow-origin"] == origin
    assert listed(found["access-control-allow-methods"]) == {"get", "post", "query", "options"}
    assert listed(found["access-control-allow-headers"]) == {"authorization", "content-type"}
    assert int(found["access-control-max-age"]) > 600
    assert "access-control-allow-credentials" not in found
    assert "access-control-allow-private-network" not in found
    assert "Origin" in reply.vary


def test_what_a_page_may_send(client: FlaskClient) -> None:
    wanted = {"content-type", "accept", "authorization", "if-none-match"}
    wanted |= {"traceparent", "tracestate", "x-request-id"}
    reply = preflight(client, APP, names=",".join(sorted([*wanted, "x-forwarded-for", "cookie"])))
    assert listed(said(reply)["access-control-allow-headers"]) == wanted


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "CONNECT"])
def test_no_other_method_is_offered(client: FlaskClient, method: str) -> None:
    found = said(preflight(client, APP, method))
    assert "access-control-allow-methods" not in found
    assert "access-control-allow-headers" not in found


@pytest.mark.parametrize("origin", FOREIGN)
def test_a_foreign_origin_is_told_nothing(client: FlaskClient, origin: str) -> None:
    for reply in (
        preflight(client, origin),
        client.get("/healthz", headers={"Origin": origin}),
        client.get("/nothing", headers={"Origin": origin}),
    ):
        assert said(reply) == {}
        assert "Origin" in reply.vary  # a cache must not hand this reply to a named origin


def test_a_page_reads_replies_and_refusals(client: FlaskClient) -> None:
    headers = {"Origin": APP, "Authorization": f"Bearer {CLUB.key}"}
    for reply, status in (
        (client.post("/v1/mark-table", json=demo_request(), headers=headers), 200),
        (client.post("/v1/mark-table", json={}, headers=headers), 422),
        (client.post("/v1/mark-table", json={}, headers={"Origin": APP}), 401),
        (client.get("/nothing", headers=headers), 404),
        (client.get("/docs", headers=headers), 200),
    ):
        assert reply.status_code == status
        found = said(reply)
        assert found["access-control-allow-origin"] == APP
        assert "access-control-allow-credentials" not in found
        exposed = listed(found["access-control-expose-headers"])
        assert exposed == {
            *("etag", "x-request-id", "traceresponse"),
            *("retry-after", "accept-query", "cache-control"),
        }
        assert len(reply.headers.getlist("Access-Control-Allow-Origin")) == 1
        assert "Origin" in reply.vary


def test_who_is_no_page_is_told_nothing_of_it(client: FlaskClient) -> None:
    reply = client.get("/healthz")
    assert said(reply) == {} and "Origin" in reply.vary


def test_one_origin_alone_is_checked_as_well() -> None:
    client = served("https://App.Example")
    assert said(client.get("/", headers={"Origin": APP}))["access-control-allow-origin"] == APP
    for origin in FOREIGN:
        reply = client.get("/", headers={"Origin": origin})
        assert said(reply) == {} and "Origin" in reply.vary


@pytest.mark.parametrize("origin", [APP, "null", "*", "http://127.0.0.1:8080"])
def test_unless_origins_are_named_there_is_none_of_it(origin: str) -> None:
    client = served()
    for reply in (
        preflight(client, origin),
        client.get("/v1/models", headers={"Origin": origin}),
    ):
        assert said(reply) == {} and "Origin" not in reply.vary
