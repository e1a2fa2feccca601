"""POST /v1/setup-change: another arrow, bow or day with the same sight: what its marks become."""

import copy
import logging
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from typing import Any, cast

import numpy as np
from flask import Response, request
from marshmallow import ValidationError, fields

from arrowloft.api import reading, replies
from arrowloft.api.blame import solving
from arrowloft.api.conditions import weathervane
from arrowloft.api.distances import Distances, pointer
from arrowloft.api.fields import Part
from arrowloft.api.parameters import ModelSchemas
from arrowloft.api.problems import Fault, Problem, from_case, from_model_fault
from arrowloft.api.replies import CSV, JSON, ReplyUnits
from arrowloft.api.reply_schemas import (
    AirReply,
    DragReply,
    LaunchReply,
    NoteReply,
    SolutionReply,
    many,
    number,
    part,
    quantity,
    reply_schema,
)
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.schemas import Strict
from arrowloft.api.setup import Setup, resolve
from arrowloft.api.shared import request_schema
from arrowloft.api.sight.sights import sight_of, zero_distance
from arrowloft.api.tables import Head, columns, csv_reply, row_schema
from arrowloft.core.sight.setup_change import SetupChange, change_to, first_marks
from arrowloft.plugin import CaseError, Note
from arrowloft.plugin.guard import ModelFault

_log = logging.getLogger(__name__)

_CHANGEABLE = ("bow", "arrow", "launch", "drag", "air", "site", "wind", "slope")

_KNOWS_MASS = 0.05
"""Least relative change of the speed per relative change of the mass that tells a launch
model which knows the mass: sharing energy with the string gives 0.3 to 0.5, undoing the way
to a chronograph's gate gives some thousandths."""

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
_SUITS = Note(
    "arrow-must-suit-bow",
    "Whether the second arrow suits the bow is not computed: spine, length and point, a "
    "broadhead's above all, must agree with the maker's chart, and its mass be no less than "
    "the maker's least.",
)


class _SomeChange(Strict):
    """A second set-up that differs."""

    def check(self, data: dict[str, Any]) -> None:
        """Something must be given."""
        if not data:
            raise ValidationError(f"Give at least one of: {', '.join(_CHANGEABLE)}.")


class SecondReply(Strict):
    """The second set-up as resolved."""

    launch = part(LaunchReply(), "The launch as resolved.")
    drag = part(DragReply(), "The drag as resolved.")
    air = part(AirReply(), "The air as resolved.")
    gravity = number("Acceleration of free fall, m/s2.")
    notes = many(NoteReply(), "Cautions and assumptions of the second set-up.")


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
        body = reading.read_object(request, edge.limits.body)
        asked = schema.read(body)
        later = _merged(asked)
        first = resolve(asked, edge.registry)
        with _of_second(asked["second"]):
            second = resolve(later, edge.registry)
        notes: list[Note] = []
        sight = sight_of(asked["sight"], zero_distance(asked, notes))
        distances, shot = np.array(asked["distances"]), second.shot(later)

        def pointer_of(lane: int) -> str:
            return pointer(body, lane) if lane < distances.size else "/sight/zero_distance"

        with solving(first.units, pointer_of):
            marks = first_marks(first.shot(asked), sight, distances)
        with _of_second(asked["second"]), solving(first.units, pointer_of):
            change = change_to(shot, marks)
            flown = second.flown_notes(change.new_airspeed_range)
        units, found = first.units, columns(change, _COLUMNS)
        if form == CSV:
            return csv_reply(units, found)
        kept = _speed_kept(asked, first, second)
        notes = [
            *kept,
            *_notes(asked["second"]),
            *notes,
            *_new_cautions(first, second),
            *weathervane(shot.wind_speed, shot.wind_from, change.right),
            *first.flown_notes(change.airspeed_range),
        ]
        own = {
            "zero_distance": units.value(sight.zero_distance, "distance"),
            "rows": units.json_rows(found),
            "second": _second_reply(second, (*kept, *flown)),
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
    """The shared members that may differ, each of them optional."""
    shared = request_schema("SecondSetup", models, {}).declared_fields
    members = {name: _optional(name, shared[name]) for name in _CHANGEABLE}
    named = _SomeChange.from_dict(cast(Any, members), name="SecondSetup")
    return cast(type[Strict], named)()


def _optional(name: str, member: fields.Field[Any]) -> fields.Field[Any]:
    changed = copy.copy(member)
    changed.required = False
    changed.metadata = {"description": f"The second set-up's {name}; left out, the first's."}
    return changed


def _merged(asked: Mapping[str, Any]) -> dict[str, Any]:
    """The second set-up's members: air and site change piece by piece, the others whole.

    The first's pressure belongs to its altitude: at another it is not kept.
    """
    second = asked["second"]
    later = {**asked, **second}
    for name in ("air", "site"):
        if name in second:
            later[name] = {**asked.get(name, {}), **second[name]}
    if "altitude" in second.get("site", {}) and "pressure" not in second.get("air", {}):
        later["air"] = {n: v for n, v in later.get("air", {}).items() if n != "pressure"}
    return later


@contextmanager
def _of_second(given: Mapping[str, Any]) -> Iterator[None]:
    """Problems in here are the second set-up's: they say so, and point into `second`.

    given: the members of `second`; a fault in any other points at the first's member.
    """
    try:
        yield
    except Problem as error:
        raise _told(error, given) from error
    except CaseError as error:
        raise _told(from_case(error), given) from error
    except ModelFault as error:
        _log.error("a model failed", exc_info=error)
        raise _told(from_model_fault(error), given) from error


def _told(problem: Problem, given: Mapping[str, Any]) -> Problem:
    def into_second(pointer: str) -> str:
        member = pointer.split("/", 2)[1] if pointer else ""
        return f"/second{pointer}" if member in given else pointer

    faults = [Fault(into_second(f.pointer), _of_which(f.detail)) for f in problem.errors]
    return Problem(problem.code, _of_which(problem.detail), faults, **problem.members)


def _of_which(detail: str) -> str:
    lowered = detail[:1].lower() if detail[1:2].islower() else detail[:1]
    return f"Second set-up: {lowered}{detail[1:]}"


def _notes(given: Mapping[str, Any]) -> tuple[Note, ...]:
    return (_SUITS, _PROVE) if given.keys() & {"arrow", "bow", "drag"} else (_PROVE,)


def _new_cautions(first: Setup, second: Setup) -> list[Note]:
    """The second set-up's cautions that the first has not, told where they are seen."""
    known = {note.code for note in first.notes}
    return [
        Note(note.code, _of_which(note.message)) for note in second.notes if note.code not in known
    ]


def _speed_kept(asked: Mapping[str, Any], first: Setup, second: Setup) -> tuple[Note, ...]:
    """A caution where another mass leaves the launch speed as it was."""
    heavier = abs(float(second.arrow.mass) / float(first.arrow.mass) - 1.0)
    faster = abs(second.speed / first.speed - 1.0)
    if "launch" in asked["second"] or faster >= _KNOWS_MASS * heavier:
        return ()
    return (
        Note(
            "speed-not-adjusted",
            f"The second arrow has another mass, of which the launch model {first.launch.name!r} "
            "takes no account: it is taken to leave at the first's speed. Give second.launch, or "
            "a launch model that knows the mass.",
        ),
    )


def _second_reply(second: Setup, notes: tuple[Note, ...]) -> dict[str, Any]:
    whole = second.reply({})
    blocks = {name: whole[name] for name in ("launch", "drag", "air", "gravity")}
    told = [{"code": note.code, "message": note.message} for note in (*second.notes, *notes)]
    return {**blocks, "notes": told}


def _solution(change: SetupChange, units: ReplyUnits) -> dict[str, float]:
    """Errors of the angles and of the impacts, and all airspeeds flown."""
    old, new = change.airspeed_range, change.new_airspeed_range
    flown = min(old[0], new[0]), max(old[1], new[1])
    return replies.solution(units, flown, angle=change.error, position=change.position_error)
