"""Requests for a probability of a hit, and what answers them: fixtures and helpers."""

import copy
import json
import math
from pathlib import Path

import pytest
from flask import Flask

from arrowloft.api import problems
from arrowloft.api.chances import hit_probability
from arrowloft.api.resource import Edge, Limits
from arrowloft.plugin import Registry

EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
EXAMPLE = json.loads((EXAMPLES / "hit-probability.request.json").read_text())

PLACE = 6e-7
"""Of a probability in a reply, which has six places."""

ONE_BY_ONE = {
    "speed": {"speed": "3 m/s"},
    "roll": {"roll": "3 deg"},
    "range": {"range": "2 m"},
    "wind_along": {"wind_along": "3 m/s"},
    "wind_across": {"wind_across": "3 m/s"},
    "mark": {"mark": [{"distance": "30 m", "height": "3 cm"}]},
}
"""Each error by itself, under the name of its cause."""


@pytest.fixture(scope="package")
def resource():
    return hit_probability.resource(Edge.of(Registry.discover(), Limits()))


@pytest.fixture(scope="package")
def ask(resource):
    app = Flask("hit probability")
    resource.install(app)
    problems.install(app)
    client = app.test_client()
    return lambda body, **more: client.open(
        "/v1/hit-probability", **{"method": "POST", "json": body, **more}
    )


@pytest.fixture
def asked():
    """The worked example, to be changed at will."""
    return copy.deepcopy(EXAMPLE)


@pytest.fixture
def plain():
    """A group of 20 mm up and sideways at 30 m in still air, nothing else off, m and mm."""
    body = copy.deepcopy(EXAMPLE)
    for name in ("errors", "wind", "farthest"):
        del body[name]
    return body | {
        "distances": ["30 m"],
        "zone": {"diameter": "10 cm"},
        "group": {"distance": "30 m", "vertical": "20 mm"},
        "units": {"distance": "m", "length": "mm", "speed": "m/s"},
    }


def replied(ask, body, **changes):
    """The reply; a member changed to None is left out."""
    body = {name: value for name, value in (body | changes).items() if value is not None}
    response = ask(body)
    assert response.status_code == 200, response.text
    return response.get_json()


def rows(ask, body, **changes):
    return replied(ask, body, **changes)["rows"]


def row(ask, body, **changes):
    (only,) = rows(ask, body, **changes)
    return only


def refused(ask, body, kind="invalid-request", **changes):
    """Pointer and sentence of each fault."""
    body = {name: value for name, value in (body | changes).items() if value is not None}
    response = ask(body)
    assert response.status_code == 422, response.text
    found = response.get_json()
    assert found["type"] == f"/problems/{kind}"
    return [(fault["pointer"], fault["detail"]) for fault in found["errors"]]


def codes(reply):
    return [note["code"] for note in reply["notes"]]


def causes(one):
    return [cause["cause"] for cause in one["causes"]]


def share_of(one, name):
    (share,) = (cause["share"] for cause in one["causes"] if cause["cause"] == name)
    return share


def within(radius, deviation):
    """Rayleigh: the share of a circular normal group within a radius of its middle."""
    return -math.expm1(-0.5 * (radius / deviation) ** 2)
