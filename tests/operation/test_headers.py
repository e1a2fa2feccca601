"""Headers that every reply has, and errors that tell nothing of what the service is made of."""

import re
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
import werkzeug.exceptions
from flask import Flask
from flask.testing import FlaskClient
from strangers import ROOT, demo_request
from werkzeug.test import TestResponse

from arrowloft.api.resource import Limits
from arrowloft.app import create_app
from arrowloft.kiosk import serving
from arrowloft.operation.headers import ALWAYS, STRICT
from arrowloft.operation.keys import fresh
from arrowloft.operation.settings import Settings
from arrowloft.plugin import Array, Arrow, DragModel, Flow, Source, parameter
from arrowloft.plugin.registry import Registry

TABLE = "/v1/mark-table"
METHODS = ("GET", "HEAD", "POST", "QUERY", "OPTIONS", "PUT", "PATCH", "DELETE", "TRACE", "ODD")
PATHS = ("/", "/docs", "/docs/docs.js", "/kiosk/main.js", "/openapi.json", "/healthz")
PATHS += ("/v1/models", "/v1/models/drag/none", TABLE, "/problems/too-large", "/problems/none")
PATHS += ("/nothing", "/v1", "/%ff", "/" + "a/" * 500)


@dataclass(frozen=True, kw_only=True)
class Telling(DragModel):
    """Fails, and tells where."""

    name = "telling"
    version = "1"
    sources = (Source("Written for this test", standing="derived"),)
    default_uncertainty = 0.1

    way: str = parameter("How.", "choice", default="no", choices=("no", "raise", "nan", "shape"))

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        if self.way == "raise":
            raise RuntimeError(f"numpy {np.__version__} in {__file__}")
        area = np.full(flow.airspeed.shape, np.nan if self.way == "nan" else 4e-5)
        return area[..., :1] if self.way == "shape" else area


@pytest.fixture(scope="module")
def app() -> Flask:
    found = Registry.discover()
    registry = Registry.of(Telling, found.get("drag", "constant"), found.get("launch", "measured"))
    app = create_app(registry, Settings(limits=Limits(body=5000)))

    def failing() -> None:
        raise RuntimeError(f"numpy {np.__version__} in {__file__}")

    app.view_functions["units"] = failing
    return app


@pytest.fixture(scope="module")
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.mark.parametrize("path", PATHS)
def test_every_reply_has_them(client: FlaskClient, path: str) -> None:
    for method in METHODS:
        for headers in ({}, {"Accept": "text/html"}, {"Origin": "https://evil.example"}):
            reply = client.open(path, method=method, headers=headers)
            assert reply.status_code in (200, 404, 405, 406, 411, 415)
            for name, value in ALWAYS.items():
                assert reply.headers.getlist(name) == [value], (method, reply.status)
            (policy,) = reply.headers.getlist("Content-Security-Policy")
            assert policy in (STRICT, serving.POLICY)
            assert policy == STRICT or reply.status_code == 200


LEAKS = re.compile(
    r"""Traceback | \bline\ \d+,\ in\b | \.py\b | site-packages | \b(usr|home|tmp|etc|var)/
    | \barrowloft[._](api|core|plugin|operation|models) | \b[A-Z]\w*(Error|Exception)\b
    | (?i:\b(flask|werkzeug|marshmallow|numpy|scipy|orjson|gunicorn|jinja2?|matplotlib|python)\b)
    | \b\d+\.\d+\.\d+\b | 0x[0-9a-f]{6,} | <(class|function|module|bound)\b""",
    re.VERBOSE,
)


def tells_nothing(reply: TestResponse) -> None:
    assert reply.status_code >= 400
    assert reply.content_type == "application/problem+json"
    for text in (reply.text, *(f"{name}: {value}" for name, value in reply.headers)):
        assert not (found := LEAKS.search(text)), found
        assert str(ROOT) not in text and sys.prefix not in text


def drag(way: str) -> Callable[[dict[str, Any]], None]:
    """A change of a request: the model that fails in this way."""

    def changed(body: dict[str, Any]) -> None:
        body["drag"] = {"model": "telling", "parameters": {"way": way}}

    return changed


BODIES: list[tuple[int, Callable[[dict[str, Any]], Any]]] = [
    (500, drag("raise")),
    (500, drag("nan")),
    (500, drag("shape")),
    (422, drag("other")),
    (422, lambda body: body.update(drag={"model": "../telling"})),
    (422, lambda body: body.update(drag={"model": "__class__"})),
    (422, lambda body: body.update(__class__=1, bow=None, arrow=[])),
    (422, lambda body: body.update(distances=["5000 m"])),
    (422, lambda body: body.update(distances=["1 m; import os"])),
    (422, lambda body: body.update(distances=[{}])),
    (422, lambda body: body.update(units={"length": "numpy"})),
]


@pytest.mark.parametrize(("status", "changed"), BODIES)
def test_what_a_request_does_wrong_tells_nothing(
    client: FlaskClient, status: int, changed: Callable[[dict[str, Any]], Any]
) -> None:
    body = demo_request() | {"drag": {"model": "constant", "parameters": {"coefficient": 2}}}
    body |= {"launch": {"model": "measured", "parameters": {"speed": "270 ft/s"}}}
    assert client.post(TABLE, json=body).status_code == 200
    changed(body)
    reply = client.post(TABLE, json=body)
    assert reply.status_code == status
    if "numpy" not in str(body):  # what was asked for is said again
        tells_nothing(reply)


RAW: list[tuple[int, dict[str, Any]]] = [
    (400, {"data": b"{"}),
    (400, {"data": b"\xff"}),
    (400, {"data": b"[" * 2000}),
    (400, {"data": b'{"a": NaN}'}),
    (400, {"data": b""}),
    (415, {"data": b"{}", "content_type": "text/plain"}),
    (413, {"data": b" " * 6000}),
    (406, {"data": b"{}", "headers": {"Accept": "image/png"}}),
    (405, {"method": "PUT"}),
    (422, {"data": b"{}", "query_string": "echo=perhaps"}),
]


@pytest.mark.parametrize(("status", "sent"), RAW)
def test_what_is_sent_wrongly_tells_nothing(
    client: FlaskClient, status: int, sent: dict[str, Any]
) -> None:
    reply = client.open(TABLE, **({"method": "POST", "content_type": "application/json"} | sent))
    assert reply.status_code == status
    tells_nothing(reply)


def test_a_defect_tells_nothing(client: FlaskClient) -> None:
    reply = client.get("/v1/units")
    assert reply.status_code == 500 and reply.get_json()["type"] == "/problems/defect"
    tells_nothing(reply)


def test_no_http_error_of_the_libraries_tells_anything() -> None:
    app = create_app()
    for status, error in sorted(werkzeug.exceptions.default_exceptions.items()):
        app.view_functions["units"] = lambda error=error: werkzeug.exceptions.abort(error())
        reply = app.test_client().get("/v1/units")
        assert reply.status_code == status or reply.status_code in (400, 500)
        tells_nothing(reply)


@pytest.mark.parametrize(
    "path", ["/nothing", "/kiosk/../app.py", "/docs/%00", "/v1/models/drag/..", "/problems/x.py'\""]
)
def test_what_is_not_there_tells_nothing(client: FlaskClient, path: str) -> None:
    tells_nothing(client.get(path))


def test_a_refused_key_tells_nothing() -> None:
    asked = create_app(settings=Settings(keys=fresh("club").line)).test_client()
    for headers in ({}, {"Authorization": "Bearer x"}):
        tells_nothing(asked.get("/v1/units", headers=headers))


def test_what_takes_too_long_tells_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    registry = Registry.of(Telling, Registry.discover().get("launch", "measured"))
    asked = create_app(registry, Settings(limits=Limits(seconds=0.5))).test_client()
    monkeypatch.setattr(Telling, "drag_area", lambda *_: time.sleep(5))
    launch = {"model": "measured", "parameters": {"speed": "270 ft/s"}}
    reply = asked.post(
        "/v1/mark-table", json=demo_request() | {"drag": {"model": "telling"}, "launch": launch}
    )
    assert reply.status_code in (500, 503)
    tells_nothing(reply)


@pytest.mark.parametrize(
    "text",
    [
        'File "/x/y.py", line 3, in view',
        "TypeError: x",
        "served by Werkzeug",
        "arrowloft.core.flight",
        "version 2.4.1",
        "<function view at 0x7f00ff>",
        "/usr/lib",
    ],
)
def test_a_leak_would_be_found(text: str) -> None:
    assert LEAKS.search(text)
