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
        body = reading.read_object(request, edge.limits.body)
        asked = schema.read(body)
        check_together(asked)
        setup = resolve(asked, edge.registry)
        units = setup.units
        masses, parts = body_from(asked)
        vanes, arrow = vanes_from(asked), asked["arrow"]
        air = aerodynamics(masses, vanes, length=arrow["length"], diameter=arrow["shaft_diameter"])
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
            "aerodynamics": aerodynamics_member(air, arrow["length"], found.own_drag, units),
        }
        notes = rigid_notes(found, vanes, estimated, units)
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
        raise _refused(
            ["/release"],
            f"The arrow meets the air at more than 45 deg at {where}: forces are computed up to "
            "there. Give smaller angles and rates, less scatter, or less wind.",
        ) from error
    except TooBusy as error:
        raise _refused(
            ["/body"],
            "The arrow swings or spins up so fast that its flight takes too many steps: correct "
            "vanes, parts and masses, or ask for nearer distances.",
        ) from error
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


def _refused(where: Sequence[str], detail: str) -> Problem:
    faults = [Fault(pointer, detail) for pointer in where]
    return Problem("cannot-be-followed", detail, faults)
