"""All resources of the service, and the document that describes them."""

from typing import Any

import orjson
from flask import Flask

from arrowloft.api import (
    calibration,
    cant_tolerance,
    clearance,
    entrance,
    error_budget,
    health,
    launch_speed,
    mark_table,
    models,
    openapi,
    setup_change,
    sight_shift,
    sight_travel,
    slopes,
    trajectory,
    wind,
)
from arrowloft.api.resource import Edge, Resource


def install(app: Flask, edge: Edge, examples: openapi.Examples) -> dict[str, Any]:
    """Let the app answer every resource; the document, which it serves as well."""
    served: dict[str, bytes] = {}
    resources = _resources(edge, served)
    for item in resources:
        item.install(app)
    document = openapi.document(resources, edge.limits, examples)
    served["document"] = orjson.dumps(document)
    return document


def _resources(edge: Edge, served: dict[str, bytes]) -> list[Resource]:
    parameters = openapi.parameters_of(edge.models)
    return [
        mark_table.resource(edge),
        trajectory.resource(edge),
        calibration.resource(edge),
        cant_tolerance.resource(edge),
        clearance.resource(edge),
        sight_travel.resource(edge),
        sight_shift.resource(edge),
        slopes.resource(edge),
        wind.resource(edge),
        error_budget.resource(edge),
        setup_change.resource(edge),
        launch_speed.resource(edge),
        models.listing(edge),
        models.description(edge, lambda kind, name: parameters[kind, name]),
        entrance.entrance(),
        entrance.problem_kind(),
        health.resource(),
        openapi.resource(served),
    ]
