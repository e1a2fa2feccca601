"""POST /v1/mark-table: sight marks, and what the flight does, over many distances."""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from flask import Response, request

from arrowloft.api import reading, replies
from arrowloft.api.blame import solving
from arrowloft.api.distances import Distances, pointer
from arrowloft.api.replies import CSV, JSON, Column
from arrowloft.api.reply_schemas import (
    SolutionReply,
    many,
    number,
    part,
    quantity,
    reply_schema,
    whole,
)
from arrowloft.api.resource import Edge, Resource
from arrowloft.api.schemas import strict
from arrowloft.api.setup import resolve
from arrowloft.api.shared import request_schema
from arrowloft.core.marks import mark_table
from arrowloft.core.sight import Scale, Sight, Thread
from arrowloft.plugin import Note

_PROVEN = "counted from a proven zero mark: zero at the zero distance itself by definition."

_COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("distance", "distance", "Distance of the aim point."),
    ("launch_angle", "angle", "Arrow's line above the line of sight."),
    ("travel", "length", "Travel of the pin from the zero distance, down positive."),
    ("time", "time", "Launch to arrival of the tip."),
    ("speed", "speed", "Speed at arrival."),
    ("energy", "energy", "Kinetic energy at arrival."),
    ("momentum", "momentum", "Momentum at arrival."),
    ("apex_height", "length", "Highest point above the line of sight."),
    ("apex_distance", "distance", "Distance of the highest point."),
    ("descent_angle", "angle", "Path to the line of sight at arrival, negative when falling."),
    ("drift", "length", "Sideways displacement by wind in the target plane, right positive."),
    (
        "windage_travel",
        "length",
        "Sideways travel of the pin that cancels the drift, right positive.",
    ),
    (
        "height_uncertainty",
        "length",
        f"Standard uncertainty of the height of the impact, {_PROVEN}",
    ),
    ("travel_uncertainty", "length", f"Standard uncertainty of the travel, {_PROVEN}"),
)
_SIGHT_COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("turns", "number", "Turns of the screw from the zero, down positive."),
    ("clicks", "number", "Whole clicks from the zero, down positive."),
    ("click_shift", "length", "Shift of the impact, up positive, by rounding to whole clicks."),
    ("reading", "number", "Reading of the sight's scale."),
    (
        "windage_turns",
        "number",
        "Turns of the windage screw that cancel the drift, pin to the right positive.",
    ),
    (
        "windage_clicks",
        "number",
        "Whole clicks of windage that cancel the drift, pin to the right positive.",
    ),
)
_PIN_COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("distance", "distance", "Distance of the pin."),
    ("travel", "length", "From the first pin, down positive."),
    ("gap", "length", "From the pin before; 0 for the first."),
)
_WHOLE = frozenset({"clicks", "windage_clicks"})


def _documented(columns: tuple[tuple[str, str, str], ...], *, required: bool) -> dict[str, Any]:
    members: dict[str, Any] = {}
    for name, dimension, text in columns:
        if name in _WHOLE:
            members[name] = whole(text, required=required)
        elif dimension == "number":
            members[name] = number(text, required=required)
        else:
            members[name] = quantity(dimension, text, required=required)
    return members


def _row_schema() -> Any:
    members = _documented(_COLUMNS, required=True) | _documented(_SIGHT_COLUMNS, required=False)
    return strict("MarkRow", members)()


def _pin_schema() -> Any:
    return strict("PinRow", _documented(_PIN_COLUMNS, required=True))()


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

    def view() -> Response:
        form = replies.negotiate(request, JSON, CSV)
        body = reading.read_object(request, edge.limits.body)
        asked = schema.read(body)
        setup = resolve(asked, edge.registry)
        notes: list[Note] = []
        sight = _sight(asked["sight"], _zero(asked, notes))
        distances = np.array(asked["distances"])
        with solving(setup.units, _pointer(body, distances.size)):
            table = mark_table(
                setup.shot(asked),
                sight,
                distances,
                speed_uncertainty=setup.speed_uncertainty,
                drag_uncertainty=setup.drag_uncertainty,
            )
        notes += setup.flown_notes(table.airspeed_range)
        units, columns = setup.units, _columns(table, _COLUMNS + _SIGHT_COLUMNS)
        if form == CSV:
            headings = [units.heading(column) for column in columns]
            return replies.csv_reply(headings, units.rows(columns))
        own: dict[str, Any] = {
            "zero_distance": units.value(sight.zero_distance, "distance"),
            "rows": units.json_rows(columns),
            "solution": replies.solution(table.error, table.airspeed_range, units),
        }
        if table.pins is not None:
            own["pins"] = units.json_rows(_columns(table.pins, _PIN_COLUMNS))
        return replies.json_reply(setup.reply(own, notes), forms=2)

    return Resource(
        path="/v1/mark-table",
        name="mark_table",
        summary="Sight marks over distances",
        description="Aims the set-up at every distance and gives the sight's travel from its "
        "zero distance, with what the arrow does on its way. The answer depends on the request "
        "alone: it may be asked again at any time, with POST or QUERY.",
        view=view,
        request=schema,
        reply=reply_schema(
            "MarkTableReply",
            {
                "zero_distance": quantity("distance", "Distance that travel counts from."),
                "rows": many(_row_schema(), "One row a distance, in the order asked for."),
                "pins": many(_pin_schema(), "The sight's fixed pins.", required=False),
                "solution": part(SolutionReply(), "How the flights were solved."),
            },
        ),
        forms=(CSV,),
        problems=("model-cannot-answer", "outside-validity", "beyond-reach", "cannot-be-followed"),
    )


def _zero(asked: Mapping[str, Any], notes: list[Note]) -> float:
    given = asked["sight"].get("zero_distance")
    if given is not None:
        return float(given)
    notes.append(
        Note(
            "zero-assumed",
            "Travel and its uncertainty count from the nearest distance asked for, as if its mark "
            "were proven: give sight.zero_distance to count from where the sight is set.",
        )
    )
    return float(min(asked["distances"]))


def _sight(asked: Mapping[str, Any], zero: float) -> Sight:
    scale = asked.get("scale")
    return Sight(
        radius=asked["radius"],
        zero_distance=zero,
        elevation=_thread(asked, ""),
        windage=_thread(asked, "windage_"),
        scale=None
        if scale is None
        else Scale(
            reading_at_zero=scale["reading"],
            travel_per_unit=scale["travel_per_unit"],
            increases_down=scale["increases"] == "down",
        ),
        pins=tuple(asked.get("pins", ())),
    )


def _thread(asked: Mapping[str, Any], side: str) -> Thread | None:
    travel = asked.get(f"{side}travel_per_turn")
    if travel is None:
        return None
    return Thread(travel_per_turn=travel, clicks_per_turn=asked.get(f"{side}clicks_per_turn"))


def _pointer(body: dict[str, Any], rows: int) -> Callable[[int], str]:
    """Lane of the core -> JSON pointer: distances, then the zero distance, then the pins."""

    def pointer_of(lane: int) -> str:
        if lane < rows:
            return pointer(body, lane)
        return "/sight/zero_distance" if lane == rows else f"/sight/pins/{lane - rows - 1}"

    return pointer_of


def _columns(table: Any, wanted: tuple[tuple[str, str, str], ...]) -> list[Column]:
    """The columns that the table has: what the sight lacks is None there."""
    return [
        Column(name, dimension, values, name in _WHOLE)
        for name, dimension, _ in wanted
        if (values := getattr(table, name)) is not None
    ]
