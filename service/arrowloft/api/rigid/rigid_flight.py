"""POST /v1/rigid-flight: one arrow as a rigid body, its swing, and what a release does."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np
from flask import Response, request
from marshmallow import ValidationError

from arrowloft.api import reading, replies
from arrowloft.api.blame import solving
from arrowloft.api.distances import pointer
from arrowloft.api.problems import Fault, Problem
from arrowloft.api.replies import CSV, JSON, ReplyUnits
from arrowloft.api.reply_schemas import reply_schema
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.rigid.rigid_members import (
    SETTLED,
    SIGNS,
    body_from,
    check_together,
    cross_flow_from,
    members,
    release_from,
    scatter_from,
    vanes_from,
)
from arrowloft.api.rigid.rigid_notes import rigid_notes
from arrowloft.api.rigid.rigid_reply import (
    POINTS,
    REPLY,
    aerodynamics_member,
    body_member,
    own_members,
)
from arrowloft.api.setup import resolve
from arrowloft.api.shared import request_schema
from arrowloft.api.tables import columns, csv_reply
from arrowloft.core.rigid.aerodynamics import aerodynamics
from arrowloft.core.rigid.flown import FallsShort, TooBusy, TooOblique
from arrowloft.core.rigid.history import Backward
from arrowloft.core.rigid.motion import RigidShot
from arrowloft.core.rigid.rigid_flight import RigidFlight, Unstable, rigid_flight


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = request_schema(
        "RigidFlightRequest", edge.models, members(edge.limits.samples), sight=False
    )

    def view() -> Response:
        form = replies.negotiate(request, JSON, CSV)
        body = reading.read_object(request, edge.limits)
        asked = schema.read(body)
        check_together(asked)
        setup = resolve(asked, edge.registry)
        units = setup.units
        masses, parts = body_from(asked)
        vanes, arrow = vanes_from(asked), asked["arrow"]
        across = cross_flow_from(asked)
        air = aerodynamics(
            masses,
            vanes,
            length=arrow["length"],
            diameter=arrow["shaft_diameter"],
            cross_flow=across,
        )
        rigid = RigidShot(shot=setup.shot(asked), body=masses, air=air)
        with solving(units, lambda lane: _aim_pointer(body, lane)), _followed(units, body, asked):
            found = _flown(rigid, asked, edge.limits.samples)
        points = columns(found.history, POINTS)
        if form == CSV:
            return csv_reply(units, points)
        estimated = "parts" not in asked["body"]
        ends = (float(parts.mass[-1]), float(parts.mass[0])) if estimated else None
        own = own_members(found, points, asked.get("settled_angle", SETTLED), units) | {
            "body": body_member(masses, ends, units),
            "aerodynamics": aerodynamics_member(air, arrow["length"], across, units),
        }
        windy = asked.get("wind", {}).get("speed", 0.0) > 0.0
        notes = rigid_notes(found, vanes, parts if estimated else None, windy, units)
        notes += setup.flown_notes(found.airspeed_range)
        return replies.json_reply(setup.reply(own, notes), forms=2)

    return Resource(
        path="/v1/rigid-flight",
        name="rigid_flight",
        summary="The flight of an arrow that pitches, yaws and spins",
        description="Looses the arrow as a rigid body, at the angle that brings a point mass to "
        "the target: the path with its angles, frequency and damping, where it has settled, how "
        "far it hits from the point mass, and the group that a scattered release makes. For "
        f"research: derived, good to about 30 %. {SIGNS}",
        view=view,
        request=schema,
        reply=reply_schema("RigidFlightReply", REPLY),
        forms=(CSV,),
        problems=(*FLIGHT_PROBLEMS, "no-such-path"),
    )


def _aim_pointer(body: dict[str, Any], lane: int) -> str:
    """Pointer to the target, or to one of the further distances."""
    return "/target" if lane == 0 else pointer(body, lane - 1)


def _flown(rigid: RigidShot, asked: Mapping[str, Any], most: int) -> RigidFlight:
    if "step" in asked:
        points = int(asked["target"] / asked["step"]) + 2
        if points > most:
            fault = f"This step makes about {points} points: at most {most}."
            raise ValidationError({"step": [fault]})
    return rigid_flight(
        rigid,
        release_from(asked),
        target=asked["target"],
        distances=np.array(asked.get("distances", [])),
        scatter=scatter_from(asked),
        threshold=asked.get("settled_angle", SETTLED),
        step=asked.get("step"),
        samples=asked.get("samples"),
    )


@contextmanager
def _followed(units: ReplyUnits, body: dict[str, Any], asked: Mapping[str, Any]) -> Iterator[None]:
    """A rigid flight that cannot be computed becomes a problem."""
    try:
        yield
    except Unstable as error:
        raise _refused(
            ["/body/vanes"],
            "The air does not push behind the balance point, so this arrow would turn over: give "
            "larger vanes farther back, or a balance point farther forward.",
        ) from error
    except TooOblique as error:
        where = units.roughly(error.distance, "distance")
        blamed, who, remedy = _oblique(error.lane, asked)
        raise _refused(
            [blamed],
            f"{who} meets the air at more than 45 deg at {where}: forces are computed up to "
            f"there. Give {remedy}.",
        ) from error
    except TooBusy as error:
        where_to_look, why = _busy(error, body)
        remedy = "or ask for nearer distances, fewer of them, or no scatter."
        raise _refused(where_to_look, f"{why}, {remedy}") from error
    except FallsShort as error:
        aims = (asked["target"], *asked.get("distances", ()))
        lanes = [lane for lane, aim in enumerate(aims) if aim in error.planes]
        raise _refused(
            [_aim_pointer(body, lane) for lane in lanes],
            "The rigid arrow falls short of a distance that a point mass just reaches: ask for "
            "nearer ones, or give a cleaner release.",
        ) from error
    except Backward as error:
        detail = "The path turns back along the line of sight: ask for `samples`, not `step`."
        raise Problem("no-such-path", detail, (Fault("/step", detail),)) from error


def _oblique(lane: int, asked: Mapping[str, Any]) -> tuple[str, str, str]:
    """Pointer to what sets an arrow askew, the arrow, and the remedy. lane: as in TooOblique."""
    if lane > 1:
        return "/scatter", "An arrow at twice the scatter", "less scatter"
    if "wind" in asked and (lane == 1 or "release" not in asked):
        return "/wind", "A cleanly released arrow", "less wind"
    return "/release", "The arrow", "smaller angles and rates"


def _busy(error: TooBusy, body: Mapping[str, Any]) -> tuple[list[str], str]:
    """Pointers to what takes so long, and what it is with what to do about it."""
    if error.cause == "steps":
        jumps = "A drag law that jumps with speed or angle does that: choose another"
        return ["/drag"], f"The flight takes more steps than can be computed. {jumps}"
    swings = (
        f"The arrow swings about {error.swings:.0f} times on its way, more than can be computed "
        "for so many arrows and distances"
    )
    if error.cause == "swing":
        vanes = ["/body/vanes/height", "/body/vanes/length"]
        return vanes, f"{swings}: give lower or shorter vanes, or correct the masses"
    if "spin" in body.get("release", {}):
        return ["/release/spin"], f"{swings}, as a top does: give less spin"
    return ["/body/vanes/offset"], f"{swings}, as a top does: give a smaller offset"


def _refused(where: Sequence[str], detail: str) -> Problem:
    faults = [Fault(pointer, detail) for pointer in where]
    return Problem("cannot-be-followed", detail, faults)
