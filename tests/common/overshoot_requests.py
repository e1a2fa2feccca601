"""What tests of /v1/overshoot share: a client, a request, and ways into the reply."""

import copy
import json
from pathlib import Path
from typing import Any

from flask import Flask
from flask.testing import FlaskClient

from arrowloft.api import problems
from arrowloft.api.overshoot import overshoot
from arrowloft.api.resource import Edge, Limits
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
ASKED: Body = json.loads((EXAMPLES / "overshoot.request.json").read_text())


def client() -> FlaskClient:
    """A client of this resource alone, which draws nothing."""
    app = Flask("overshoot")
    overshoot.resource(Edge.of(Registry.discover(), Limits())).install(app)
    problems.install(app)
    return app.test_client()


def plain() -> Body:
    """A valid request in still air over level ground, to be changed at will."""
    body = copy.deepcopy(ASKED)
    del body["wind"], body["terrain"], body["style"]
    return body


def reply(far: FlaskClient, asked: Body, **changes: Any) -> Any:
    found = far.post("/v1/overshoot", json=asked | changes)
    assert found.status_code == 200, found.get_json()
    return found.get_json()


def codes(found: Any) -> list[str]:
    return [note["code"] for note in found["notes"]]


def said(found: Any, code: str) -> str:
    [text] = [str(note["message"]) for note in found["notes"] if note["code"] == code]
    return text


def areas(found: Any) -> dict[str, Any]:
    return {area["kind"]: area for area in found["areas"]}


def guidance(found: Any) -> dict[str, Any]:
    return {row["code"]: row for row in found["guidance"]}
