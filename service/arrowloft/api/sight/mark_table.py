"""POST /v1/mark-table: sight marks, and what the flight does, over many distances."""

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from flask import Response, request

from arrowloft.api import reading, replies
from arrowloft.api.blame import solving
from arrowloft.api.conditions import weathervane
from arrowloft.api.distances import Distances, pointer
from arrowloft.api.picture_replies import PICTURED, forms_of, picture_reply
from arrowloft.api.replies import CSV, JSON
from arrowloft.api.reply_schemas import (
    SolutionReply,
    many,
    part,
    quantity,
    reply_schema,
)
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.setup import resolve
from arrowloft.api.shared import request_schema
from arrowloft.api.sight.sights import sight_of, zero_distance
from arrowloft.api.tables import Head, columns, csv_reply, row_schema
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.marks_scene import marks_scene
from arrowloft.plugin import Note

_PROVEN = "counted from a proven zero mark: zero at the zero distance itself by definition."

_of_sight = partial(Head, optional=True)

_COLUMNS: tuple[Head, ...] = (
    Head("distance", "distance", "Distance of the aim point."),
    Head("launch_angle", "angle", "Arrow's line above the line of sight."),
    Head("travel", "length", "Travel of the pin from the zero distance, down positive."),
    Head("time", "time", "Launch to arrival of the tip."),
    Head("speed", "speed", "Speed at arrival."),
    Head("energy", "energy", "Kinetic energy at arrival."),
    Head("momentum", "momentum", "Momentum at arrival."),
    Head("apex_height", "length", "Highest point above the line of sight."),
    Head("apex_distance", "distance", "Distance of the highest point."),
    Head("descent_angle", "angle", "Path to the line of sight at arrival, negative when falling."),
    Head("drift", "length", "Sideways displacement by wind in the target plane, right positive."),
    Head(
        "windage_travel",
        "length",
        "Sideways travel of the pin that cancels the drift, right positive.",
    ),
    Head(
        "height_uncertainty",
        "length",
        f"Standard uncertainty of the height of the impact, {_PROVEN}",
    ),
    Head("travel_uncertainty", "length", f"Standard uncertainty of the travel, {_PROVEN}"),
)
_SIGHT_COLUMNS: tuple[Head, ...] = (
    _of_sight("turns", "number", "Turns of the screw from the zero, down positive."),
    _of_sight("clicks", "number", "Whole clicks from the zero, down positive.", whole=True),
    _of_sight(
        "click_shift", "length", "Shift of the impact, up positive, by rounding to whole clicks."
    ),
    _of_sight("reading", "number", "Reading of the sight's scale."),
    _of_sight(
        "windage_turns",
        "number",
        "Turns of the windage screw that cancel the drift, pin to the right positive.",
    ),
    _of_sight(
        "windage_clicks",
        "number",
        "Whole clicks of windage that cancel the drift, pin to the right positive.",
        whole=True,
    ),
)
_PIN_COLUMNS: tuple[Head, ...] = (
    Head("distance", "distance", "Distance of the pin."),
    Head("travel", "length", "From the first pin, down positive."),
    Head("gap", "length", "From the pin before; 0 for the first."),
)


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = request_schema(
        "MarkTableRequest",
        edge.models,
        {
            "distances": Distances(
                edge.limits.distances,
                "Distances of the table: a list in any order, or a range.",
                required=True,
            )
        },
        sight=True,
    )
    drawn = edge.pictures.marks

    def view() -> Response:
        form = replies.negotiate(request, JSON, CSV, *forms_of(drawn))
        body = reading.read_object(request, edge.limits)
        asked = schema.read(body)
        setup = resolve(asked, edge.registry)
        notes: list[Note] = []
        sight = sight_of(asked["sight"], zero_distance(asked, notes))
        shot, distances = setup.shot(asked), np.array(asked["distances"])
        doubts = {
            "speed_uncertainty": setup.speed_uncertainty,
            "drag_uncertainty": setup.drag_uncertainty,
        }
        with solving(setup.units, _pointer(body, distances.size)):
            table = mark_table(shot, sight, distances, **doubts)
        notes += weathervane(shot.wind_speed, shot.wind_from, table.drift)
        notes += setup.flown_notes(table.airspeed_range)
        if form in PICTURED:
            with solving(setup.units, lambda _: "/distances"):
                scene = marks_scene(shot, sight, table, **doubts)
            return picture_reply(drawn, scene, setup.units.chosen, form)
        units, found = setup.units, columns(table, _COLUMNS + _SIGHT_COLUMNS)
        if form == CSV:
            return csv_reply(units, found)
        own: dict[str, Any] = {
            "zero_distance": units.value(sight.zero_distance, "distance"),
            "rows": units.json_rows(found),
            "solution": replies.solution(units, table.airspeed_range, angle=table.error),
        }
        if table.pins is not None:
            own["pins"] = units.json_rows(columns(table.pins, _PIN_COLUMNS))
        return replies.json_reply(setup.reply(own, notes), forms=2)

    return Resource(
        path="/v1/mark-table",
        name="mark_table",
        summary="Sight marks over distances",
        description="Aims the set-up at every distance and gives the sight's travel from its zero "
        "distance, with what the arrow does on its way. As image/svg+xml or application/pdf, a "
        "picture of the marks over distance with their uncertainty.",
        view=view,
        request=schema,
        reply=reply_schema(
            "MarkTableReply",
            {
                "zero_distance": quantity("distance", "Distance that travel counts from."),
                "rows": many(
                    row_schema("MarkRow", _COLUMNS + _SIGHT_COLUMNS),
                    "One row a distance, in the order asked for.",
                ),
                "pins": many(
                    row_schema("PinRow", _PIN_COLUMNS), "The sight's fixed pins.", required=False
                ),
                "solution": part(SolutionReply(), "How the flights were solved."),
            },
        ),
        forms=(CSV, *PICTURED),
        problems=FLIGHT_PROBLEMS,
    )


def _pointer(body: dict[str, Any], rows: int) -> Callable[[int], str]:
    """Lane of the core -> JSON pointer: distances, then the zero distance, then the pins."""

    def pointer_of(lane: int) -> str:
        if lane < rows:
            return pointer(body, lane)
        return "/sight/zero_distance" if lane == rows else f"/sight/pins/{lane - rows - 1}"

    return pointer_of
