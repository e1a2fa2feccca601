"""POST /v1/setup-change: another arrow, bow or day with the same sight: what its marks become."""

from collections.abc import Mapping
from functools import partial
from typing import Any, cast

import numpy as np
from flask import Response, request
from marshmallow import ValidationError

from arrowloft.api import reading, replies
from arrowloft.api.blame import solving
from arrowloft.api.conditions import weathervane
from arrowloft.api.distances import Distances, pointer
from arrowloft.api.fields import Part
from arrowloft.api.parameters import ModelSchemas
from arrowloft.api.replies import CSV, JSON, ReplyUnits
from arrowloft.api.reply_schemas import SolutionReply, many, part, quantity, reply_schema
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.schemas import Strict
from arrowloft.api.setup import resolve
from arrowloft.api.shared import request_schema
from arrowloft.api.sight.changed_setup import (
    CHANGEABLE,
    ChangedReply,
    changed_members,
    changed_reply,
    faults_of,
    merged,
    must_suit,
    new_cautions,
    speed_kept,
)
from arrowloft.api.sight.sights import sight_of, zero_distance
from arrowloft.api.tables import Head, columns, csv_reply, row_schema
from arrowloft.core.sight.setup_change import SetupChange, change_to, first_marks
from arrowloft.plugin import Note

_SECOND = "Second set-up"

_of_sight = partial(Head, dimension="number", optional=True)

_COLUMNS: tuple[Head, ...] = (
    Head("distance", "distance", "Distance of the aim point."),
    Head(
        "up",
        "length",
        "Impact of the second set-up above the aim point, shot with the first's mark; null where "
        "its arrow never comes there.",
        nullable=True,
    ),
    Head(
        "right",
        "length",
        "The same to the right of the aim point, wind included; null as `up`.",
        nullable=True,
    ),
    Head("drift", "length", "Drift of the first set-up, right positive."),
    Head("new_drift", "length", "Drift of the second at its own mark, right positive."),
    Head("travel", "length", "The first's mark: travel from its zero distance, down positive."),
    Head("new_travel", "length", "The second's mark: travel from the same place, down positive."),
    Head("move", "length", "From the first's mark to the second's, down positive."),
    Head("launch_angle", "angle", "Of the first: arrow's line above the line of sight."),
    Head("new_launch_angle", "angle", "Of the second at its own mark."),
    Head("time", "time", "Of the first: launch to arrival of the tip."),
    Head("new_time", "time", "Of the second at its own mark."),
    Head("speed", "speed", "Of the first at arrival."),
    Head("new_speed", "speed", "Of the second at arrival, at its own mark."),
    _of_sight("turns", description="Turns of the screw from the zero to the first's mark."),
    _of_sight("new_turns", description="Turns from the first's zero to the second's mark."),
    _of_sight("clicks", description="Whole clicks to the first's mark.", whole=True),
    _of_sight("new_clicks", description="Whole clicks to the second's mark.", whole=True),
    _of_sight(
        "move_clicks",
        description="Whole clicks from the first's mark to the second's, down positive.",
        whole=True,
    ),
    _of_sight("reading", description="Reading of the sight's scale at the first's mark."),
    _of_sight("new_reading", description="Reading at the second's mark."),
)

_PROVE = Note(
    "prove-new-setup",
    "Computed marks are a start: prove the second set-up's by shooting it from near to far, "
    "with a safe backstop, before relying on any of them.",
)
_SUITS = must_suit("the second arrow")


class _SomeChange(Strict):
    """A second set-up that differs."""

    def check(self, data: dict[str, Any]) -> None:
        """Something must be given."""
        if not data:
            raise ValidationError(f"Give at least one of: {', '.join(CHANGEABLE)}.")


class SecondReply(ChangedReply):
    """The second set-up as resolved."""


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = request_schema(
        "SetupChangeRequest",
        edge.models,
        {
            "distances": Distances(
                edge.limits.distances,
                "Distances of the marks: a list in any order, or a range.",
                required=True,
            ),
            "second": Part(_second_schema(edge.models), "What differs.", required=True),
        },
        sight=True,
    )

    def view() -> Response:
        form = replies.negotiate(request, JSON, CSV)
        body = reading.read_object(request, edge.limits)
        asked = schema.read(body)
        later = merged(asked, asked["second"])
        first = resolve(asked, edge.registry)
        with faults_of(_SECOND, asked["second"], "/second"):
            second = resolve(later, edge.registry)
        notes: list[Note] = []
        sight = sight_of(asked["sight"], zero_distance(asked, notes))
        distances, shot = np.array(asked["distances"]), second.shot(later)

        def pointer_of(lane: int) -> str:
            return pointer(body, lane) if lane < distances.size else "/sight/zero_distance"

        with solving(first.units, pointer_of):
            marks = first_marks(first.shot(asked), sight, distances)
        with faults_of(_SECOND, asked["second"], "/second"), solving(first.units, pointer_of):
            change = change_to(shot, marks)
            flown = second.flown_notes(change.new_airspeed_range)
        units, found = first.units, columns(change, _COLUMNS)
        if form == CSV:
            return csv_reply(units, found)
        kept = speed_kept(
            asked["second"], first, second, whose="The second arrow", member="second.launch"
        )
        notes = [
            *kept,
            *_notes(asked["second"]),
            *notes,
            *new_cautions(first, second, _SECOND),
            *weathervane(shot.wind_speed, shot.wind_from, change.right),
            *first.flown_notes(change.airspeed_range),
        ]
        own = {
            "zero_distance": units.value(sight.zero_distance, "distance"),
            "rows": units.json_rows(found),
            "second": changed_reply(second, (*kept, *flown)),
            "solution": _solution(change, units),
        }
        return replies.json_reply(first.reply(own, notes), forms=2)

    return Resource(
        path="/v1/setup-change",
        name="setup_change",
        summary="Marks after a change of set-up",
        description="Takes a set-up and what differs in a second one - another arrow, a broadhead "
        "for a field point, winter for summer - with the same sight. Gives where the "
        "second hits with the first's marks, and the marks to move to. Each member of "
        "`second` replaces the first's, `air` and `site` piece by piece, the others as "
        "a whole; another altitude leaves the pressure to the standard atmosphere "
        "unless `second.air` has it. `launch`, `drag`, `air` and `notes` of the reply "
        "are the first's.",
        view=view,
        request=schema,
        reply=reply_schema(
            "SetupChangeReply",
            {
                "zero_distance": quantity("distance", "Distance that all travel counts from."),
                "rows": many(
                    row_schema("SetupChangeRow", _COLUMNS),
                    "One row a distance, in the order asked for.",
                ),
                "second": part(SecondReply(), "The second set-up as resolved."),
                "solution": part(SolutionReply(), "How the flights were solved."),
            },
        ),
        forms=(CSV,),
        problems=FLIGHT_PROBLEMS,
    )


def _second_schema(models: ModelSchemas) -> Strict:
    members = changed_members(models, "SecondSetup", "The second set-up's", "the first's")
    named = _SomeChange.from_dict(cast(Any, members), name="SecondSetup")
    return cast(type[Strict], named)()


def _notes(given: Mapping[str, Any]) -> tuple[Note, ...]:
    return (_SUITS, _PROVE) if given.keys() & {"arrow", "bow", "drag"} else (_PROVE,)


def _solution(change: SetupChange, units: ReplyUnits) -> dict[str, float]:
    """Errors of the angles and of the impacts, and all airspeeds flown."""
    old, new = change.airspeed_range, change.new_airspeed_range
    flown = min(old[0], new[0]), max(old[1], new[1])
    return replies.solution(units, flown, angle=change.error, position=change.position_error)
