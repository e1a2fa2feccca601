"""POST /v1/trajectory: the path of one arrow, aimed at a target or loosed at an angle."""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from flask import Response, request
from marshmallow import ValidationError

from arrowloft.api import reading, replies
from arrowloft.api.blame import solving
from arrowloft.api.fields import Quantity, WholeNumber
from arrowloft.api.picture_replies import PICTURED, forms_of, picture_reply
from arrowloft.api.problems import Fault, Problem
from arrowloft.api.replies import CSV, JSON, Column, ReplyUnits
from arrowloft.api.reply_schemas import SolutionReply, many, part, quantity, reply_schema
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.schemas import Member, Strict
from arrowloft.api.setup import resolve
from arrowloft.api.shared import distance, request_schema
from arrowloft.api.tables import Head, columns, csv_reply, row_schema
from arrowloft.core.flight.scene import flown
from arrowloft.core.flight.trajectory import BackwardPath, NeverArrives, Trajectory, trajectory

_POINTS = (
    Head("distance", "distance", "Along the line of sight."),
    Head("height", "length", "Above the line of sight."),
    Head("right", "length", "Right of the line of sight."),
    Head("time", "time", "Since launch."),
    Head("speed", "speed", "Speed."),
    Head("angle", "angle", "Path to the line of sight, rising positive."),
)

_DRAWN = 161
"""Points of a path that is drawn, whatever is asked for."""


class Apex(Strict):
    """The highest point above the line of sight."""

    distance = quantity("distance", "Along the line of sight.")
    height = quantity("length", "Above the line of sight.")


def _members(most: int) -> dict[str, Member]:
    return {
        "target": distance("Distance to aim at; instead of `launch_angle`."),
        "launch_angle": Quantity(
            "angle",
            "Arrow's line above the line of sight; instead of `target`.",
            example="3 deg",
            low=-math.pi / 4,
            high=math.pi / 4,
        ),
        "end": distance(
            "With `launch_angle`: distance at which the path ends; left out, where it comes "
            "back to the line of sight."
        ),
        "step": Quantity(
            "distance",
            "From one point to the next; instead of `samples`.",
            example="1 m",
            low=0.1,
            high=1000.0,
        ),
        "samples": WholeNumber(
            "Points, evenly spaced in time; 101 if left out. Instead of `step`.", low=2, high=most
        ),
    }


def _check_together(asked: dict[str, Any]) -> None:
    """Exactly one of target and launch_angle; at most one of step and samples."""
    if ("target" in asked) == ("launch_angle" in asked):
        raise ValidationError({"target": ["Give either `target` or `launch_angle`."]})
    if "step" in asked and "samples" in asked:
        raise ValidationError({"samples": ["Give either `step` or `samples`."]})
    if "end" in asked and "target" in asked:
        raise ValidationError({"end": ["The path ends at the target: leave `end` out."]})


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = request_schema(
        "TrajectoryRequest", edge.models, _members(edge.limits.samples), sight=False
    )
    drawn = edge.pictures.trajectory

    def view() -> Response:
        form = replies.negotiate(request, JSON, CSV, *forms_of(drawn))
        asked = schema.read(reading.read_object(request, edge.limits))
        _check_together(asked)
        setup = resolve(asked, edge.registry)
        where = "/target" if "target" in asked else "/end" if "end" in asked else "/launch_angle"
        shot, pictured = setup.shot(asked), form in PICTURED
        with solving(setup.units, lambda _: where), _existing(where):
            path = trajectory(
                shot,
                target=asked.get("target"),
                launch_angle=asked.get("launch_angle"),
                end=asked.get("end"),
                step=None if pictured else asked.get("step"),
                samples=_DRAWN if pictured else asked.get("samples"),
            )
        if pictured:
            scene = flown(path, shot, asked.get("target"))
            return picture_reply(drawn, scene, setup.units.chosen, form)
        _check_count(path.time.size, edge.limits.samples)
        notes = setup.flown_notes(path.airspeed_range)
        units = setup.units
        points = columns(path, _POINTS)
        if form == CSV:
            return csv_reply(units, points)
        return replies.json_reply(
            setup.reply(_own(path, points, units, "target" in asked), notes), forms=2
        )

    return Resource(
        path="/v1/trajectory",
        name="trajectory",
        summary="The path of one arrow",
        description="Aims at `target`, or looses at `launch_angle`, and gives points of the "
        "balance point's path in the line-of-sight frame. As image/svg+xml or application/pdf, a "
        "picture of the path from the side, and from above where the wind carries it aside; it "
        "is drawn whole, whatever points are asked for.",
        view=view,
        request=schema,
        reply=reply_schema(
            "TrajectoryReply",
            {
                "launch_angle": quantity("angle", "Arrow's line above the line of sight."),
                "drift": quantity("length", "Of the tip at arrival, right positive."),
                "apex": part(Apex(), "The highest point above the line of sight."),
                "points": many(
                    row_schema("PathPoint", _POINTS), "Points of the path, from the launch on."
                ),
                "solution": part(SolutionReply(), "How the flight was solved."),
            },
        ),
        forms=(CSV, *PICTURED),
        problems=(*FLIGHT_PROBLEMS, "no-such-path"),
    )


@contextmanager
def _existing(where: str) -> Iterator[None]:
    """A path that does not exist becomes a problem."""
    try:
        yield
    except NeverArrives as error:
        detail = "The arrow never comes to this end: change the launch angle, or give another end."
        raise Problem("no-such-path", detail, (Fault(where, detail),)) from error
    except BackwardPath as error:
        detail = "The path turns back along the line of sight: ask for `samples`, not `step`."
        raise Problem("no-such-path", detail, (Fault("/step", detail),)) from error


def _check_count(points: int, most: int) -> None:
    if points > most:
        raise ValidationError({"step": [f"This step makes {points} points: at most {most}."]})


def _own(path: Trajectory, points: list[Column], units: ReplyUnits, aimed: bool) -> dict[str, Any]:
    return {
        "launch_angle": units.value(path.launch_angle, "angle"),
        "drift": units.value(path.drift, "length"),
        "apex": {
            "distance": units.value(path.apex_distance, "distance"),
            "height": units.value(path.apex_height, "length"),
        },
        "points": units.json_rows(points),
        "solution": replies.solution(
            units, path.airspeed_range, **{"angle" if aimed else "position": path.error}
        ),
    }
