"""POST /v1/clearance: what the arrow passes on its way, and whether it touches."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from flask import Response, request
from marshmallow import Schema, ValidationError

from arrowloft.api import reading, replies
from arrowloft.api.archer.groups import GroupReply, group_member, group_reply
from arrowloft.api.blame import solving
from arrowloft.api.distances import Distances
from arrowloft.api.fields import Flag, Number, Part, Quantity
from arrowloft.api.path.clearance_notes import CAUTIONS
from arrowloft.api.path.clearance_scene import scene_of
from arrowloft.api.path.ground import Ground, GroundReply, ground_reply
from arrowloft.api.path.obstacles import obstacles_member
from arrowloft.api.path.passing import Case, ObstacleRow, obstacle_rows
from arrowloft.api.picture_replies import PICTURED, forms_of, picture_reply
from arrowloft.api.replies import JSON, Column
from arrowloft.api.reply_schemas import (
    SolutionReply,
    many,
    number,
    part,
    quantity,
    reply_schema,
)
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Limits, Resource
from arrowloft.api.schemas import Member, Strict, strict
from arrowloft.api.setup import resolve
from arrowloft.api.shared import distance, request_schema
from arrowloft.api.sight.housing import HousingReply, housing_member, housing_of, housing_reply
from arrowloft.api.wording import shown
from arrowloft.core.path.patches import EDGES
from arrowloft.core.path.scatter import corridor


def _members(limits: Limits) -> dict[str, Member]:
    lane_members: dict[str, Member] = {
        "distances": Distances(
            limits.distances, "Distances of the lane, up to the target.", required=True
        ),
        "share": Number(
            "Share of arrows that the lane is for; 0.95 if left out.", low=0.5, high=0.9999
        ),
    }
    return {
        "target": distance("Distance aimed at, in height; the path then is fixed.", required=True),
        "aim_off": Flag(
            "Whether the bow is turned into the wind until the arrow hits the middle, by aiming "
            "off or by windage; left out, false: the arrow drifts."
        ),
        "obstacles": obstacles_member(limits.obstacles),
        "vane_height": Quantity(
            "length",
            "Height of a vane above the shaft; left out, the bare shaft must pass.",
            example="9 mm",
            low=0.0,
            high=0.05,
        ),
        "group": group_member(),
        "ground": Part(Ground(), "The ground, for heights above it and for the path over it."),
        "face_diameter": Quantity(
            "length",
            "Diameter of the target face, for its lower edge; needs `ground`.",
            example="60 cm",
            low=0.02,
            high=3.0,
        ),
        "lane": Part(
            strict("LaneRequest", lane_members)(),
            "Asks for the lane that must be free for a share of the arrows; needs `group`.",
        ),
        "marks": Distances(limits.distances, "Marks to hold against the sight's housing."),
        "housing": housing_member(),
        "search_to": distance(
            "Farthest target of the search for targets that are clear; left out, twice the "
            "target. It ends at the reach less 5 % where that is nearer.",
            example="90 m",
        ),
    }


_NEEDS = (
    ("lane", "group", "The lane needs the archer's scatter: add `group`."),
    ("face_diameter", "ground", "The face's lower edge is held against the ground: add `ground`."),
    ("search_to", "obstacles", "There is nothing to search for: add `obstacles`."),
    ("housing", "sight", "The housing hangs on the sight: add `sight`."),
    ("housing", "marks", "Say at which distances the housing counts: add `marks`."),
    ("marks", "housing", "Marks are held against the sight's housing: add `housing`."),
)


def _check_together(asked: Mapping[str, Any]) -> None:
    """Something is asked for, and each member has what it needs beside it."""
    if not asked.keys() & {"obstacles", "lane", "ground", "housing"}:
        fault = "Give `obstacles`, or ask for one of `lane`, `ground` and `housing`."
        raise ValidationError({"obstacles": [fault]})
    for name, other, fault in _NEEDS:
        if name in asked and other not in asked:
            raise ValidationError({name: [fault]})
    target = asked["target"]
    beyond = {
        index: ["The lane ends at the target: give at most its distance."]
        for index, way in enumerate(asked.get("lane", {}).get("distances", ()))
        if way > target
    }
    if beyond:
        raise ValidationError({"lane": {"distances": beyond}})
    farthest = max((one["distance"] for one in asked.get("obstacles", ())), default=0.0)
    if asked.get("search_to", math.inf) <= farthest:
        name = max(asked["obstacles"], key=lambda one: one["distance"])["name"]
        fault = f"Search to a target beyond every obstacle: give more than that of {shown(name)}."
        raise ValidationError({"search_to": [fault]})


class SeenApex(Strict):
    """The highest point of the balance point's path above the line of sight."""

    distance = quantity("distance", "Along the line of sight.")
    height = quantity("length", "Above the line of sight.")
    angle_above = quantity("angle", "Above the aim point, as seen from the eye.")
    above_pin = quantity("length", "Above the pin, in the pin's plane.", required=False)


def _apex(case: Case) -> dict[str, float]:
    aimed, value = case.loosed.aimed, case.setup.units.value
    way, height = aimed.apex_distance, aimed.apex_height
    seen = case.seen(way, height, np.zeros(1))[0]
    return {
        "distance": value(way[0], "distance"),
        "height": value(height[0], "length"),
        **{name: seen[name] for name in ("angle_above", "above_pin") if name in seen},
    }


class LaneRow(Strict):
    """Edges of what must be free at a distance, from the line of sight."""

    distance = quantity("distance", "Along the line of sight.")
    bottom = quantity("length", "Lowest of it, up positive.")
    top = quantity("length", "Highest of it.")
    left = quantity("length", "Leftmost of it, right positive.")
    right = quantity("length", "Rightmost of it.")


class LaneReply(Strict):
    """The lane that must be free."""

    share = number("Share of the arrows that stay in it, at any one distance.")
    rows = many(LaneRow(), "One row a distance, in the order asked for.")


def _lane(case: Case) -> dict[str, Any]:
    passage, scatter = case.passes(case.asked["lane"]["distances"])
    edges = corridor(passage.swept, case.envelope, scatter, case.share)
    heads = [Column("distance", "distance", passage.distance)]
    heads += [Column(side, "length", getattr(edges, side)) for side in EDGES]
    return {"share": case.share, "rows": case.setup.units.json_rows(heads)}


def _housing(case: Case, body: Mapping[str, Any]) -> dict[str, Any]:
    asked, units = case.asked, case.setup.units
    housing = housing_of(asked["housing"], asked, case.notes)
    radius, marks = asked["sight"]["radius"], asked["marks"]

    def pointer(lane: int) -> str:
        return f"/marks/{lane}" if type(body["marks"]) is list else "/marks/to"

    with solving(units, pointer):
        return housing_reply(housing, case.loosed.shot, radius, marks, units, case.notes)


def _own(case: Case, body: Mapping[str, Any]) -> dict[str, Any]:
    """The reply's own members.  body: the request as it was sent, to point at its members."""
    asked, units = case.asked, case.setup.units
    own: dict[str, Any] = {
        "launch_angle": units.value(case.loosed.launch_angle, "angle"),
        "apex": _apex(case),
    }
    if "obstacles" in asked:
        own["obstacles"] = obstacle_rows(case)
    if "lane" in asked:
        own["lane"] = _lane(case)
    if case.ground is not None:
        own["ground"], passage = ground_reply(
            case.loosed, case.ground, case.envelope, asked.get("face_diameter"), units, case.notes
        )
        case.passages.append(passage)
    if "housing" in asked:
        own["housing"] = _housing(case, body)
    if case.group is not None:
        own["group"] = group_reply(case.group, units)
    return own


def _solved(case: Case) -> tuple[float, tuple[float, float]]:
    """Worst error of a position, m, and the range of airspeeds flown."""
    aimed = case.loosed.aimed
    errors = [float(aimed.error[0] * aimed.lever[0]), *case.errors]
    errors += [float(one.error.max()) for one in case.passages]
    slow = [float(aimed.least_airspeed[0]), *(one.airspeed_range[0] for one in case.passages)]
    fast = [float(aimed.greatest_airspeed[0]), *(one.airspeed_range[1] for one in case.passages)]
    return max(errors), (min(slow), max(fast))


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = request_schema("ClearanceRequest", edge.models, _members(edge.limits), sight=False)
    drawn = edge.pictures.clearance

    def view() -> Response:
        form = replies.negotiate(request, JSON, *forms_of(drawn))
        body = reading.read_object(request, edge.limits)
        asked = schema.read(body)
        _check_together(asked)
        setup = resolve(asked, edge.registry)
        with solving(setup.units, lambda _: "/target"):
            case = Case.of(asked, setup)
            own = _own(case, body)
        error, airspeeds = _solved(case)
        own["solution"] = replies.solution(setup.units, airspeeds, position=error)
        notes = [*case.notes, *CAUTIONS, *setup.flown_notes(airspeeds)]
        if form in PICTURED:
            with solving(setup.units, lambda _: "/target"):
                scene = scene_of(case, notes)
            return picture_reply(drawn, scene, setup.units.chosen, form)
        return replies.json_reply(setup.reply(own, notes), forms=2)

    return Resource(
        path="/v1/clearance",
        name="clearance",
        summary="What the arrow passes on its way",
        description="Aims at the target in height and holds the arrow's path against obstacles, "
        "the ground and the sight's own housing: margins, the chance of touching, where "
        "the arrow passes as seen over the sight, and for which targets each obstacle "
        "is clear. As image/svg+xml or application/pdf, a picture of the path with what it "
        "passes, from the side, and from above where wind or edges aside matter.",
        view=view,
        request=schema,
        reply=_reply_schema(),
        forms=PICTURED,
        problems=FLIGHT_PROBLEMS,
    )


def _reply_schema() -> Schema:
    return reply_schema(
        "ClearanceReply",
        {
            "launch_angle": quantity("angle", "Arrow's line above the line of sight."),
            "apex": part(SeenApex(), "The highest point of the path above the line of sight."),
            "obstacles": many(ObstacleRow(), "The obstacles, in the order given.", required=False),
            "lane": part(LaneReply(), "The lane, where asked for.", required=False),
            "ground": part(GroundReply(), "The path over the ground, given.", required=False),
            "housing": part(HousingReply(), "The arrow under the sight.", required=False),
            "group": part(GroupReply(), "The group, as taken.", required=False),
            "solution": part(SolutionReply(), "How the flights were solved."),
        },
    )
