"""What a comparison's reply holds, for the document."""

from functools import partial
from typing import Any

from marshmallow import Schema, fields

from arrowloft.api.comparing.ranges import TrustedRange
from arrowloft.api.reply_schemas import (
    AirReply,
    DragReply,
    LaunchReply,
    NoteReply,
    SolutionReply,
    flag,
    many,
    nullable,
    number,
    part,
    plain_reply_schema,
    quantity,
    text,
)
from arrowloft.api.schemas import Strict
from arrowloft.api.tables import Head, row_schema

_null = partial(Head, nullable=True)
_of_sight = partial(Head, nullable=True, optional=True)

_PROVEN = "counted from a proven zero mark, as a standard uncertainty."

COLUMNS: tuple[Head, ...] = (
    Head("distance", "distance", "Distance of the aim point."),
    _null("launch_angle", "angle", "Arrow's line above the line of sight."),
    _of_sight("travel", "length", "Travel of the pin from the zero distance, down positive."),
    _of_sight("clicks", "number", "Whole clicks from the zero, down positive.", whole=True),
    _null("time", "time", "Launch to arrival of the tip."),
    _null("speed", "speed", "Speed at arrival."),
    _null("energy", "energy", "Kinetic energy at arrival."),
    _null("drift", "length", "Sideways displacement by wind, right positive."),
    _of_sight("height_uncertainty", "length", f"Of the height of the impact, {_PROVEN}"),
    _of_sight("travel_uncertainty", "length", f"Of the travel, {_PROVEN}"),
    _null("reynolds_at_launch", "number", "Reynolds number on the shaft diameter at launch."),
    _null("reynolds_at_arrival", "number", "Reynolds number on the shaft diameter at arrival."),
    _null("up", "length", "Impact above the baseline's, with the baseline's mark kept."),
    _null("right", "length", "Impact to the right of the baseline's, with its mark kept."),
    _of_sight("travel_difference", "length", "Travel less the baseline's, down positive."),
    _of_sight("clicks_difference", "number", "Clicks less the baseline's.", whole=True),
    _null("time_difference", "time", "Time less the baseline's."),
    _null("speed_difference", "speed", "Speed at arrival less the baseline's."),
)


class LaneLabels(Strict):
    """A lane by the labels of its models."""

    launch = text("Label of the launch model.")
    drag = text("Label of the drag model.")


class TrustedLaunchReply(LaunchReply):
    """The launch as resolved, and where its model may be trusted."""

    validity = many(TrustedRange(), "Where the model may be trusted, and whether the lane left it.")


class TrustedDragReply(DragReply):
    """The drag as resolved, and where its model may be trusted."""

    validity = many(TrustedRange(), "Where the model may be trusted, and whether the lane left it.")


class ReynoldsReply(Strict):
    """Reynolds numbers of one flight, on the shaft diameter."""

    launch = nullable(number("At launch; null where it could not be told."))
    arrival = nullable(number("At arrival; null as at launch."))


class PartingReply(Strict):
    """Where a lane parts from the baseline."""

    distance = quantity("distance", "First distance at which the difference reaches the tolerance.")
    at_nearest = flag("Whether it is greater from the nearest distance asked for on.")
    difference = nullable(
        quantity(
            "length",
            "The difference there, signed as in the rows; null where the arrow falls short.",
        )
    )
    reynolds = part(ReynoldsReply(), "Of the lane's flight to this distance, by its own mark.")
    baseline_reynolds = part(ReynoldsReply(), "Of the baseline's flight to it.")


class PartingsReply(Strict):
    """Where a lane parts from the baseline, by each tolerance given; null: nowhere."""

    height = nullable(part(PartingReply(), "By the height of the impact, `up`.", required=False))
    right = nullable(part(PartingReply(), "By the impact aside, `right`.", required=False))
    clicks = nullable(part(PartingReply(), "By the travel, `travel_difference`.", required=False))


class ComparedLaneReply(Strict):
    """One launch model with one drag model."""

    labels = part(LaneLabels(), "What its models are called.")
    baseline = flag("Whether it is the lane that the others are held against.")
    launch = part(TrustedLaunchReply(), "The launch as resolved.")
    drag = part(TrustedDragReply(), "The drag as resolved.")
    farthest = nullable(
        quantity("distance", "How far it reaches; null where it reaches every distance.")
    )
    partings = part(PartingsReply(), "Where it parts from the baseline.")
    notes = many(NoteReply(), "What its models say of this lane.")
    rows = many(
        row_schema("ComparisonRow", COLUMNS),
        "One row a distance, in the order asked for; null where the lane does not reach.",
    )


class GreatestDifference(Strict):
    """The greatest difference over the distances, of either sign."""

    difference = quantity("length", "The difference, signed.")
    distance = quantity("distance", "Where; the first, where there are several.")


class LaneAtAGlance(Strict):
    """One lane at a glance."""

    labels = part(LaneLabels(), "What its models are called.")
    baseline = flag("Whether it is the lane that the others are held against.")
    launch_speed = quantity("speed", "Launch speed.")
    up = nullable(part(GreatestDifference(), "Greatest `up`; null where it reaches nothing."))
    right = nullable(part(GreatestDifference(), "Greatest `right`; null as `up`."))
    travel_difference = nullable(
        part(GreatestDifference(), "Greatest `travel_difference`, with a sight.", required=False)
    )
    parted_in_height_from = nullable(
        quantity("distance", "`partings.height.distance`; null: nowhere.", required=False)
    )
    parted_sideways_from = nullable(
        quantity("distance", "`partings.right.distance`; null: nowhere.", required=False)
    )
    parted_in_clicks_from = nullable(
        quantity("distance", "`partings.clicks.distance`; null: nowhere.", required=False)
    )
    range_left = flag("Whether it left a range in which one of its models may be trusted.")


class PartingToleranceReply(Strict):
    """The tolerance that partings are found for."""

    height = quantity("length", "Height of the impact.", required=False)
    right = quantity("length", "Impact to either side.", required=False)
    clicks = number("Clicks of travel.", required=False)


PATH_COLUMNS: tuple[Head, ...] = (
    Head("distance", "distance", "Distance along the line of sight."),
    Head(
        "height",
        "length",
        "Balance point above the line of sight, one for each lane; null before the launch, after "
        "the arrival, and where the target is out of reach.",
        nullable=True,
        listed=True,
    ),
)


class ComparedPathReply(Strict):
    """Paths on the way to one target, each lane by its own mark."""

    target = quantity("distance", "Distance of the aim point.")
    rows = many(
        row_schema("ComparedPathRow", PATH_COLUMNS),
        "One row a step, until the tip is at the target: the balance point ends short of it.",
    )


def comparison_reply() -> Schema:
    """The schema of the reply."""
    members: dict[str, fields.Field[Any]] = {
        "baseline": part(LaneLabels(), "The lane that the others are held against."),
        "summary": many(LaneAtAGlance(), "The lanes at a glance, in their order."),
        "lanes": many(
            ComparedLaneReply(),
            "Every launch model with each drag model in turn, in the order asked for.",
        ),
        "path": part(ComparedPathReply(), "Paths, where asked for.", required=False),
        "tolerance": part(PartingToleranceReply(), "What the partings are found for."),
        "zero_distance": quantity(
            "distance", "Distance that travel counts from, with a sight.", required=False
        ),
        "solution": part(SolutionReply(), "How the flights were solved."),
        "air": part(AirReply(), "The air as resolved."),
    }
    return plain_reply_schema("ComparisonReply", members)
