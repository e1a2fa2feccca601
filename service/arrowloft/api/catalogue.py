"""All resources of the service, and the document that describes them."""

from collections.abc import Mapping, Sequence
from typing import Any

import orjson
from flask import Flask

from arrowloft.api import entrance, health, models, openapi, readiness, unit_list
from arrowloft.api.bow import arrow_check, balance
from arrowloft.api.chances import error_budget, hit_probability
from arrowloft.api.comparing import comparison
from arrowloft.api.echo import Replayable
from arrowloft.api.fitting import fit
from arrowloft.api.flight import launch_speed, trajectory
from arrowloft.api.learning import calibration, sight_shift
from arrowloft.api.level import cant_tolerance
from arrowloft.api.overshoot import overshoot
from arrowloft.api.path import clearance
from arrowloft.api.resource import WAITING, Edge, Resource
from arrowloft.api.rigid import rigid_flight
from arrowloft.api.sight import (
    mark_table,
    pin_spans,
    setup_change,
    sight_scale,
    sight_travel,
    slopes,
    wind,
)
from arrowloft.api.sweeping import sweep


def install(
    app: Flask, edge: Edge, examples: openapi.Examples, waiting: int = WAITING
) -> dict[str, Any]:
    """Let the app answer every resource; the document, which it serves as well.

    waiting: most requests that wait before others are turned away, for the document.
    """
    served: dict[str, bytes] = {}
    subjects = _subjects(edge, served)
    resources = [item for items in subjects.values() for item in items]
    replayable = Replayable.of(edge.registry)
    for item in resources:
        item.install(app, replayable)
    document = openapi.document(resources, edge.limits, examples, _tags(subjects), waiting)
    served["document"] = orjson.dumps(document)
    return document


def _tags(subjects: Mapping[str, Sequence[Resource]]) -> dict[str, str]:
    """Operation -> its subject."""
    return {item.name: subject for subject, items in subjects.items() for item in items}


def _subjects(edge: Edge, served: dict[str, bytes]) -> dict[str, list[Resource]]:
    """Every resource, under what it is about."""
    parameters = openapi.parameters_of(edge.models)
    return {
        "Marks": [
            mark_table.resource(edge),
            calibration.resource(edge),
            sight_shift.resource(edge),
            sight_travel.resource(edge),
            setup_change.resource(edge),
            pin_spans.resource(edge),
            sight_scale.resource(edge),
        ],
        "The shot": [
            trajectory.resource(edge),
            cant_tolerance.resource(edge),
            clearance.resource(edge),
            slopes.resource(edge),
            wind.resource(edge),
        ],
        "Chances": [
            error_budget.resource(edge),
            hit_probability.resource(edge),
            overshoot.resource(edge),
        ],
        "Bow and arrow": [
            launch_speed.resource(edge),
            arrow_check.resource(edge),
            balance.resource(edge),
        ],
        "Research": [
            comparison.resource(edge),
            fit.resource(edge),
            sweep.resource(edge),
            rigid_flight.resource(edge),
        ],
        "What there is": [
            models.listing(edge),
            models.description(edge, lambda kind, name: parameters[kind, name]),
            unit_list.resource(),
            entrance.entrance(edge.pages.entrance),
            entrance.document_page(edge.pages.document),
            entrance.problem_kind(),
            health.resource(),
            readiness.resource(edge),
            openapi.resource(served),
        ],
    }
