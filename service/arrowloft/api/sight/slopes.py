"""POST /v1/slopes: marks over slant distance and slope, and how far the level's rules miss."""

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from flask import Response, request

from arrowloft.api import reading, replies
from arrowloft.api.blame import solving
from arrowloft.api.distances import Distances, check_cells, pointer
from arrowloft.api.fields import Items, Part
from arrowloft.api.replies import CSV, JSON
from arrowloft.api.reply_schemas import SolutionReply, many, part, quantity, reply_schema
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.schemas import Member
from arrowloft.api.setup import resolve
from arrowloft.api.shared import Wind, request_schema, slope
from arrowloft.api.sight.sights import sight_of, zero_distance
from arrowloft.api.tables import Head, columns, csv_reply, row_schema
from arrowloft.core.sight.sight import Sight
from arrowloft.core.sight.slopes import slope_table
from arrowloft.plugin import Note

_MOST_SLOPES = 41

_of_sight = partial(Head, optional=True)
_maybe = partial(Head, nullable=True)

_COLUMNS: tuple[Head, ...] = (
    Head("distance", "distance", "Slant distance, from the eye to the aim point."),
    Head("slope", "angle", "Inclination of the line of sight, uphill positive."),
    Head("launch_angle", "angle", "Arrow's line above the line of sight."),
    _of_sight(
        "travel",
        "length",
        "Travel of the pin from the level mark of the zero distance, down positive.",
    ),
    _of_sight("turns", "number", "Turns of the screw from there, down positive."),
    _of_sight("clicks", "number", "Whole clicks from there, down positive.", whole=True),
    _of_sight("reading", "number", "Reading of the sight's scale."),
    _maybe(
        "level_distance",
        "distance",
        "Distance on the level whose mark is the same; null where there is none.",
    ),
    _maybe(
        "cut",
        "distance",
        "What to take off the slant distance to get `level_distance`; negative: to add.",
    ),
    Head("horizontal_distance", "distance", "Slant distance times the cosine of the slope."),
    _maybe(
        "horizontal_up",
        "length",
        "Height of the impact, up positive, with the level mark of `horizontal_distance`; null "
        "where that is too near to be aimed at or beyond reach, or the arrow never arrives.",
    ),
    _maybe(
        "slant_up",
        "length",
        "Height of the impact, up positive, with the level mark of the slant distance "
        "uncorrected; null where that is beyond reach on the level, or the arrow never arrives.",
    ),
    Head("drift", "length", "Sideways displacement by wind in the target plane, right positive."),
)

_NO_EQUIVALENT = Note(
    "no-level-equivalent",
    "Where level_distance is null no distance on the level has the same mark: close to the "
    "archer a slope may need less launch angle than any level shot does, and far out more than "
    "a level mark can give. Set the sight to the row's own mark there.",
)


def _members(most: int) -> dict[str, Member]:
    return {
        "wind": Part(Wind(), "The wind; left out, none. It blows level, whatever the slope."),
        "distances": Distances(
            most, "Slant distances: a list in any order, or a range.", required=True
        ),
        "slopes": Items(
            slope("Inclination of the line of sight, uphill positive.", example="-20 deg"),
            "Slopes, each taken with every distance.",
            most=_MOST_SLOPES,
            required=True,
        ),
    }


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = request_schema(
        "SlopesRequest", edge.models, _members(edge.limits.distances), sight=False, shot=False
    )

    def view() -> Response:
        form = replies.negotiate(request, JSON, CSV)
        body = reading.read_object(request, edge.limits)
        asked = schema.read(body)
        check_cells(len(asked["distances"]), edge.limits.cells, slopes=len(asked["slopes"]))
        setup = resolve(asked, edge.registry)
        notes: list[Note] = []
        sight = _sight(asked, notes)
        distances, slopes = np.array(asked["distances"]), np.array(asked["slopes"])

        def on_slope(case: int) -> str:
            return f" on a slope of {setup.units.roughly(slopes[case], 'angle')}"

        with solving(setup.units, _pointer(body, distances.size, slopes.size), on_slope):
            table = slope_table(setup.shot(asked), distances, slopes, sight)
        notes += setup.flown_notes(table.airspeed_range)
        if np.isnan(table.level_distance).any():
            notes.append(_NO_EQUIVALENT)
        units, found = setup.units, columns(table, _COLUMNS)
        if form == CSV:
            return csv_reply(units, found)
        own: dict[str, Any] = {
            "rows": units.json_rows(found),
            "solution": replies.solution(
                units, table.airspeed_range, angle=table.error, position=table.position_error
            ),
        }
        if sight is not None:
            own["zero_distance"] = units.value(sight.zero_distance, "distance")
        return replies.json_reply(setup.reply(own, notes), forms=2)

    return Resource(
        path="/v1/slopes",
        name="slopes",
        summary="Marks up and down hill",
        description="Aims the set-up at every slant distance on every slope. Beside each mark "
        "stand the distance on the level with the same mark, the cut that leads to it, and "
        "how far the arrow misses with the mark of the horizontal distance and of the "
        "slant distance instead.",
        view=view,
        request=schema,
        reply=reply_schema(
            "SlopesReply",
            {
                "zero_distance": quantity(
                    "distance",
                    "Distance on the level whose mark travel counts from; with a sight.",
                    required=False,
                ),
                "rows": many(
                    row_schema("SlopeRow", _COLUMNS),
                    "One row for each distance and slope: the first distance with every slope, "
                    "then the next, in the order asked for.",
                ),
                "solution": part(SolutionReply(), "How the flights were solved."),
            },
        ),
        forms=(CSV,),
        problems=FLIGHT_PROBLEMS,
    )


def _sight(asked: dict[str, Any], notes: list[Note]) -> Sight | None:
    if "sight" not in asked:
        return None
    return sight_of(asked["sight"], zero_distance(asked, notes))


def _pointer(body: dict[str, Any], distances: int, slopes: int) -> Callable[[int], str]:
    """Lane of the core -> JSON pointer: each distance with every slope, then the zero distance."""

    def pointer_of(lane: int) -> str:
        if lane < distances * slopes:
            return pointer(body, lane // slopes)
        return "/sight/zero_distance"

    return pointer_of
