"""The one place that knows every layer: `create_app` makes the WSGI application."""

from collections.abc import Mapping
from typing import Any

import orjson
from flask import Flask, Response

from arrowloft.api import (
    entrance,
    health,
    launch_speed,
    mark_table,
    models,
    openapi,
    problems,
    trajectory,
)
from arrowloft.api.resource import Edge, Limits, Resource
from arrowloft.plugin.registry import Registry


def create_app(registry: Registry | None = None, config: Mapping[str, Any] | None = None) -> Flask:
    """The service as a WSGI application.

    registry: the models to offer; those installed where not given.
    config: `limits` (a Limits) and `examples` (operation -> worked example, for the document).
    Raises PluginFaults where an installed model breaks the contract.
    """
    config = config or {}
    edge = Edge.of(registry or Registry.discover(), config.get("limits", Limits()))
    app = Flask("arrowloft", static_folder=None)
    # Doubled slashes are unknown paths: a redirect would answer without the problem shape.
    app.url_map.merge_slashes = False
    app.url_map.strict_slashes = True
    served: dict[str, bytes] = {}
    resources = _resources(edge, served)
    for item in resources:
        item.install(app)
    document = openapi.document(resources, edge.limits, config.get("examples", {}))
    served["document"] = orjson.dumps(document)
    problems.install(app)
    app.after_request(_secured)
    return app


def _resources(edge: Edge, served: dict[str, bytes]) -> list[Resource]:
    parameters = openapi.parameters_of(edge.models)
    return [
        mark_table.resource(edge),
        trajectory.resource(edge),
        launch_speed.resource(edge),
        models.listing(edge),
        models.description(edge, lambda kind, name: parameters[kind, name]),
        entrance.entrance(),
        entrance.problem_kind(),
        health.resource(),
        openapi.resource(served),
    ]


def _secured(response: Response) -> Response:
    """Headers that keep a browser from guessing at what it was sent."""
    headers = response.headers
    headers["X-Content-Type-Options"] = "nosniff"
    headers.setdefault("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
    headers.setdefault("Referrer-Policy", "no-referrer")
    return response
