"""Requests for a clearance, and what answers them: fixtures and helpers of its tests."""

import copy
import json
from pathlib import Path

import pytest
from flask import Flask

from arrowloft.api import problems
from arrowloft.api.path import clearance
from arrowloft.api.resource import Edge, Limits
from arrowloft.plugin import Registry

EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
EXAMPLE = json.loads((EXAMPLES / "clearance.request.json").read_text())


@pytest.fixture(scope="module")
def resource():
    return clearance.resource(Edge.of(Registry.discover(), Limits()))


@pytest.fixture(scope="module")
def ask(resource):
    app = Flask("clearance")
    resource.install(app)
    problems.install(app)
    client = app.test_client()
    return lambda body, **more: client.open(
        "/v1/clearance", **{"method": "POST", "json": body, **more}
    )


@pytest.fixture
def asked():
    return copy.deepcopy(EXAMPLE)


@pytest.fixture
def plain(asked):
    """The set-up and a target, and nothing in the way yet."""
    for name in ("obstacles", "ground", "group", "lane", "marks", "housing", "face_diameter"):
        del asked[name]
    del asked["search_to"]
    asked["units"] = {"distance": "m", "length": "m", "angle": "rad"}
    return asked


def replied(ask, body):
    response = ask(body)
    assert response.status_code == 200, response.text
    return response.get_json()


def obstacle(ask, body, **edges):
    body = {**body, "obstacles": [{"name": "it", "distance": "23 m", **edges}]}
    return replied(ask, body)["obstacles"][0]


def codes(reply):
    return [note["code"] for note in reply["notes"]]
