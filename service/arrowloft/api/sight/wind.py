"""POST /v1/wind: what winds of some speeds and directions do at some distances."""

import math
from functools import partial
from typing import Any

import numpy as np
from flask import Response, request

from arrowloft.api import reading, replies
from arrowloft.api.blame import solving
from arrowloft.api.conditions import weathervane
from arrowloft.api.distances import Distances, check_cells, pointer
from arrowloft.api.fields import Items
from arrowloft.api.picture_replies import PICTURED, forms_of, picture_reply
from arrowloft.api.replies import CSV, JSON
from arrowloft.api.reply_schemas import SolutionReply, many, part, reply_schema
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.schemas import Member
from arrowloft.api.setup import resolve
from arrowloft.api.shared import LEVEL_SLOPE, request_schema, slope, wind_from, wind_speed
from arrowloft.api.sight.sights import sight_of
from arrowloft.api.tables import Head, columns, csv_reply, row_schema
from arrowloft.core.sight.wind_scene import wind_scene
from arrowloft.core.sight.wind_table import wind_table
from arrowloft.plugin import Note

_MOST_SPEEDS = 20
_MOST_DIRECTIONS = 36
_DIRECTIONS = tuple(math.radians(angle) for angle in (0, 90, 180, 270))

_of_sight = partial(Head, optional=True)
_maybe = partial(Head, nullable=True)

_COLUMNS: tuple[Head, ...] = (
    Head("distance", "distance", "Distance of the aim point."),
    Head("wind_speed", "speed", "Speed of the wind."),
    Head("wind_from", "angle", "Where it blows from, clockwise from the target; 0 head wind."),
    _maybe(
        "drift",
        "length",
        "Shift of the impact to the side with the still-air mark, right positive; null where "
        "the arrow never arrives.",
    ),
    _maybe(
        "up",
        "length",
        "Shift of the impact in height with the still-air mark, up positive; null where the "
        "arrow never arrives.",
    ),
    _maybe("time", "time", "Launch to arrival of the tip with the still-air mark."),
    Head("launch_angle_change", "angle", "Change of the launch angle that brings the impact back."),
    Head("windage_angle", "angle", "Bow turned aside to bring the impact back, right positive."),
    _of_sight(
        "windage_travel",
        "length",
        "Sideways travel of the pin that turns the bow so, right positive.",
    ),
    _of_sight("windage_turns", "number", "Turns of the windage screw, pin to the right positive."),
    _of_sight(
        "windage_clicks",
        "number",
        "Whole clicks of windage, pin to the right positive.",
        whole=True,
    ),
    _of_sight(
        "elevation_travel",
        "length",
        "Travel of the pin from the still-air mark that brings the height back, down positive.",
    ),
    _of_sight("elevation_turns", "number", "Turns of the screw for that, down positive."),
    _of_sight("elevation_clicks", "number", "Whole clicks for that, down positive.", whole=True),
)

_STEADY = Note(
    "wind-steady",
    "Computed for a steady, level wind along the whole path. Real wind gusts and differs from "
    "the shooting line to the target: take these figures for its size, and let the arrows tell.",
)


def _members(most: int) -> dict[str, Member]:
    return {
        "slope": slope(LEVEL_SLOPE),
        "distances": Distances(
            most, "Distances of the table: a list in any order, or a range.", required=True
        ),
        "speeds": Items(
            wind_speed("A wind speed.", example="4 m/s"),
            "Wind speeds.",
            most=_MOST_SPEEDS,
            required=True,
        ),
        "directions": Items(
            wind_from(),
            "Directions the wind blows from; left out, 0, 90, 180 and 270 deg.",
            most=_MOST_DIRECTIONS,
        ),
    }


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = request_schema(
        "WindRequest", edge.models, _members(edge.limits.distances), sight=False, shot=False
    )
    drawn = edge.pictures.wind

    def view() -> Response:
        form = replies.negotiate(request, JSON, CSV, *forms_of(drawn))
        body = reading.read_object(request, edge.limits)
        asked = schema.read(body)
        distances, speeds = np.array(asked["distances"]), np.array(asked["speeds"])
        directions = np.array(asked.get("directions", _DIRECTIONS))
        check_cells(
            distances.size, edge.limits.cells, speeds=speeds.size, directions=directions.size
        )
        setup = resolve(asked, edge.registry)
        # Changes count from the still-air mark itself: no zero distance enters.
        sight = sight_of(asked["sight"], float(distances[0])) if "sight" in asked else None

        def in_wind(case: int) -> str:
            speed = setup.units.roughly(speeds[case // directions.size], "speed")
            comes_from = setup.units.roughly(directions[case % directions.size], "angle")
            return f" in a wind of {speed} from {comes_from}"

        with solving(setup.units, lambda lane: pointer(body, lane), in_wind):
            table = wind_table(setup.shot(asked), distances, speeds, directions, sight)
        notes = [_STEADY, *weathervane(table.wind_speed, table.wind_from, table.drift)]
        notes += setup.flown_notes(table.airspeed_range)
        units, found = setup.units, columns(table, _COLUMNS)
        if form == CSV:
            return csv_reply(units, found)
        if form in PICTURED:
            scene = wind_scene(setup.shot(asked), table, speeds, directions, sight)
            return picture_reply(drawn, scene, units.chosen, form)
        own: dict[str, Any] = {
            "rows": units.json_rows(found),
            "solution": replies.solution(
                units, table.airspeed_range, angle=table.error, position=table.position_error
            ),
        }
        return replies.json_reply(setup.reply(own, notes), forms=2)

    return Resource(
        path="/v1/wind",
        name="wind",
        summary="What the wind does",
        description="Looses arrows with their still-air marks into every wind: where they hit, and "
        "what to change to bring them back. As image/svg+xml or application/pdf, a picture of the "
        "drift over distance.",
        view=view,
        request=schema,
        reply=reply_schema(
            "WindReply",
            {
                "rows": many(
                    row_schema("WindRow", _COLUMNS),
                    "One row for each distance, speed and direction: the first distance with the "
                    "first speed from every direction, then the next speed, then the next "
                    "distance, in the order asked for.",
                ),
                "solution": part(SolutionReply(), "How the flights were solved."),
            },
        ),
        forms=(CSV, *PICTURED),
        problems=FLIGHT_PROBLEMS,
    )
