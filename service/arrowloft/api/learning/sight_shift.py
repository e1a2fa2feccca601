"""POST /v1/sight-shift: a re-mounted sight, from one group shot with a proven mark."""

from collections.abc import Mapping
from typing import Any

from flask import Response, request
from marshmallow import ValidationError

from arrowloft.api import reading, replies
from arrowloft.api.archer.groups import group_member, group_notes, group_of
from arrowloft.api.archer.landed import (
    counts_unsaid,
    flyer_note,
    group_count_notes,
    landed_notes,
    odd_note,
    scatter_notes,
    without_flyers,
)
from arrowloft.api.blame import solving
from arrowloft.api.fields import Number, Part
from arrowloft.api.learning.shift_members import (
    SHIFT_REPLY,
    ShotGroup,
    axis_reply,
    landed_reply,
    marks_reply,
    scatter_reply,
)
from arrowloft.api.learning.shift_notes import shift_notes
from arrowloft.api.problems import Fault, Problem
from arrowloft.api.replies import JSON, ReplyUnits, significant
from arrowloft.api.reply_schemas import reply_schema
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.setup import resolve
from arrowloft.api.shared import distance, request_schema
from arrowloft.api.sight.sights import sight_of
from arrowloft.core.archer.archer_scatter import ArcherScatter, archer_scatter, own_scatter
from arrowloft.core.archer.landed import Landed
from arrowloft.core.archer.odd_scatters import odd_scatters
from arrowloft.core.learning.sight_shift import NeverThere, SightShift, sight_shift
from arrowloft.core.setup.shot import Shot

CONFIDENCE = 0.95


def resource(edge: Edge) -> Resource:
    """The resource."""
    members = {
        "distance": distance(
            "Distance at which the group was shot, the sight set to its proven mark; left out, "
            "sight.zero_distance.",
            example="20 yd",
        ),
        "landed": Part(ShotGroup(), "Where the arrows landed.", required=True),
        "group": group_member(),
        "confidence": Number(
            f"Confidence from which a shift counts as real; left out, {CONFIDENCE}.",
            low=0.5,
            high=0.999,
        ),
    }
    schema = request_schema("SightShiftRequest", edge.models, members, sight=True)

    def view() -> Response:
        replies.negotiate(request, JSON)
        asked = schema.read(reading.read_object(request, edge.limits))
        at = _distance(asked)
        setup = resolve(asked, edge.registry)
        group = group_of(asked["group"]) if "group" in asked else None
        landed, out = without_flyers(at, asked["landed"], group)
        odd = bool(odd_scatters([landed], group))
        alone = own_scatter(landed) if group is None else None
        scatter = alone or archer_scatter([] if odd else [landed], group)
        with solving(setup.units, lambda _: _pointer(asked)):
            found = _found(asked, setup.shot(asked), landed, scatter)
        own = _own(found, setup.units)
        own["landed"] = landed_reply(landed, setup.units)
        own["scatter"] = scatter_reply(scatter, at, setup.units)
        notes = [
            *shift_notes(found, landed, setup.units),
            *([flyer_note("/landed", out)] if out else []),
            *([odd_note("/landed")] if odd else []),
            *landed_notes(*(["/landed"] if counts_unsaid(asked["landed"]) else [])),
            *scatter_notes(scatter),
            *(group_notes(group) if group else []),
            *group_count_notes(group),
            *setup.flown_notes(found.airspeed_range),
        ]
        return replies.json_reply(setup.reply(own, notes))

    return Resource(
        path="/v1/sight-shift",
        name="sight_shift",
        summary="How far a re-mounted sight has moved",
        description="Takes one group, shot with a proven mark, and gives the move of the pin that "
        "centres it, up and sideways, with its uncertainty; whether the shift is real or within "
        "the group's own scatter; how many more arrows would tell; and what to add to every "
        "mark.",
        view=view,
        request=schema,
        reply=reply_schema("SightShiftReply", SHIFT_REPLY),
        problems=FLIGHT_PROBLEMS,
    )


def _distance(asked: Mapping[str, Any]) -> float:
    """Where the group was shot, m."""
    at = asked.get("distance", asked["sight"].get("zero_distance"))
    if at is None:
        raise ValidationError(
            {"distance": ["Give the distance at which the group was shot, or sight.zero_distance."]}
        )
    return float(at)


def _pointer(asked: Mapping[str, Any]) -> str:
    return "/distance" if "distance" in asked else "/sight/zero_distance"


def _found(
    asked: Mapping[str, Any], shot: Shot, landed: Landed, scatter: ArcherScatter
) -> SightShift:
    """The core's answer; a place where no arrow is found to come is the request's fault."""
    sight = sight_of(asked["sight"], asked["sight"].get("zero_distance", landed.distance))
    try:
        return sight_shift(shot, sight, landed, scatter, asked.get("confidence", CONFIDENCE))
    except NeverThere as error:
        where = "/landed/impacts" if "impacts" in asked["landed"] else "/landed/up"
        detail = (
            "No launch angle is found that brings this arrow there: check the place, its unit and "
            "its sign."
        )
        raise Problem("invalid-request", detail, (Fault(where, detail),)) from error


def _own(found: SightShift, units: ReplyUnits) -> dict[str, Any]:
    own: dict[str, Any] = {
        "distance": units.value(found.distance, "distance"),
        "confidence": significant(found.confidence),
        "vertical": axis_reply(found.vertical, units),
    }
    if found.sideways is not None:
        own["sideways"] = axis_reply(found.sideways, units)
    own["together"] = {"p_value": significant(found.p_value, 4), "real": found.real}
    own["marks_move"] = marks_reply(found, units)
    own["solution"] = replies.solution(
        units, found.airspeed_range, angle=found.error, position=found.position_error
    )
    return own
