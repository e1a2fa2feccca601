"""Requests for sweeps, from the worked example."""

import copy
import json
from functools import cache
from pathlib import Path
from typing import Any

from flask import Flask
from flask.testing import FlaskClient

from arrowloft.api import problems
from arrowloft.api.resource import Edge, Limits
from arrowloft.api.sight import mark_table
from arrowloft.api.sweeping import members, sweep
from arrowloft.plugin.registry import Registry

__all__ = ["client", "gridded", "members", "normal", "sampled", "sweep", "uniform", "values"]

_ASKED = json.loads(
    (
        Path(__file__).resolve().parents[2] / "openapi" / "examples" / "sweep.request.json"
    ).read_text()
)
_ONLY_SAMPLED = ("samples", "seed", "quantiles", "rows")


def sampled(**changes: Any) -> dict[str, Any]:
    """The worked example: three masses, speed and drag drawn."""
    return copy.deepcopy(_ASKED) | changes


def gridded(*varied: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """The worked example with a grid of these members in place of what it varies."""
    asked = {name: value for name, value in sampled().items() if name not in _ONLY_SAMPLED}
    return asked | {"vary": list(varied)} | changes


def values(pointer: str, *given: Any) -> dict[str, Any]:
    return {"pointer": pointer, "values": list(given)}


def normal(pointer: str, mean: Any, deviation: Any, **cut: Any) -> dict[str, Any]:
    given = {"mean": mean, "standard_deviation": deviation} | cut
    return {"pointer": pointer, "distribution": {"normal": given}}


def uniform(pointer: str, start: Any, end: Any) -> dict[str, Any]:
    return {"pointer": pointer, "distribution": {"uniform": {"from": start, "to": end}}}


@cache
def client() -> FlaskClient:
    """A client of sweeps and mark tables alone."""
    app = Flask("sweeps")
    edge = Edge.of(Registry.discover(), Limits())
    for resource in (mark_table.resource(edge), sweep.resource(edge)):
        resource.install(app)
    problems.install(app)
    return app.test_client()
