"""The `ground` member: the ground under the path, and where the path runs low over it."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from marshmallow import ValidationError, fields

from arrowloft.api.distances import check_farther
from arrowloft.api.fields import Items, Part, Quantity
from arrowloft.api.replies import ReplyUnits
from arrowloft.api.reply_schemas import part, quantity
from arrowloft.api.schemas import Strict
from arrowloft.api.spans import span, span_part
from arrowloft.core.path.clearance import Loosed, Passage
from arrowloft.core.path.ground import Ground as CoreGround
from arrowloft.core.path.ground import Low, Upright
from arrowloft.plugin import Note

MOST_RISES = 20

_POINTS = 129
"""Planes at which a path is looked at; the ground's own corners come on top."""


class GroundRise(Strict):
    """A place where the ground leaves the straight line from the feet to the target."""

    distance = Quantity(
        "distance",
        "Of the point of the line of sight straight above it.",
        example="31 m",
        low=0.1,
        high=1000.0,
        required=True,
    )
    height = Quantity(
        "length",
        "Of the ground there above the straight line; negative in a hollow.",
        example="40 cm",
        low=-200.0,
        high=200.0,
        required=True,
    )


class Ground(Strict):
    """The ground from the archer's feet to the target: straight, or bent by rises and hollows."""

    eye_height = Quantity(
        "length",
        "Eye above the ground where the archer stands, vertically.",
        example="1.62 m",
        low=0.2,
        high=30.0,
        required=True,
    )
    target_height = Quantity(
        "length",
        "Aim point above the ground at the target, vertically.",
        example="1.3 m",
        low=0.0,
        high=30.0,
        required=True,
    )
    rises = Items(
        Part(GroundRise()),
        "Rises and hollows between, in order of distance; straight lines join them.",
        most=MOST_RISES,
    )

    def check(self, data: dict[str, Any]) -> None:
        """Rises in order."""
        check_farther(data.get("rises", ()), "rises")


_AT_TARGET = 1.0
"""Way before the target, m, where an arrow may come down to a target that stands low."""


def ground_of(asked: Mapping[str, Any], slope: float, target: float) -> CoreGround:
    """The ground of a request's `ground` member. Raises ValidationError."""
    rises = [(rise["distance"], rise["height"]) for rise in asked.get("rises", ())]
    for index, (distance, _) in enumerate(rises):
        if distance >= target:
            fault = "The rise must lie before the target: give less than its distance."
            raise ValidationError({"ground": {"rises": {index: {"distance": [fault]}}}})
    try:
        return CoreGround.under(
            slope, target, asked["eye_height"], asked["target_height"], tuple(rises)
        )
    except Upright:
        fault = (
            "With this slope and this target the ground would stand upright: correct the heights "
            "of eye and target, the rises, or the slope."
        )
        raise ValidationError({"ground": {"eye_height": [fault]}}) from None


class LowReply(Strict):
    """Where a path runs lowest over the ground."""

    height = quantity("length", "Least height above the ground, vertically, envelope taken off.")
    distance = quantity("distance", "Where, along the line of sight.")


class FaceReply(Strict):
    """The target face, perpendicular to the line of sight, over the ground."""

    lower_edge = quantity("length", "Its lower edge above the ground, vertically.")
    below_ground = fields.Boolean(
        required=True, metadata={"description": "Whether its lower edge lies below the ground."}
    )
    path_below = span_part(
        "Where the path runs lower above the ground than that edge, first and last distance; "
        "null where it never does."
    )
    path_below.allow_none = True
    low_arrow = part(
        LowReply(), "Where the arrow that just reaches the lower edge runs lowest over the ground."
    )


class GroundReply(Strict):
    """The path over the ground."""

    lowest_height = quantity(
        "length", "Least height of the arrow above the ground, vertically, envelope taken off."
    )
    lowest_distance = quantity("distance", "Where, along the line of sight.")
    below_ground = fields.Boolean(
        required=True,
        metadata={
            "description": "Whether the path comes below the ground; the last metre before the "
            "target does not count."
        },
    )
    face = part(FaceReply(), "The target face over the ground, where given.", required=False)


def ground_reply(
    loosed: Loosed,
    ground: CoreGround,
    envelope: float,
    face_diameter: float | None,
    units: ReplyUnits,
    notes: list[Note],
) -> tuple[dict[str, Any], Passage]:
    """What GroundReply documents, and the passage it was read from; noted where it is low."""
    passage, low = _low(loosed, ground, envelope)
    met = low.below(0.0, loosed.target - _AT_TARGET)
    own: dict[str, Any] = {
        "lowest_height": units.value(low.height, "length"),
        "lowest_distance": units.value(low.distance, "distance"),
        "below_ground": met is not None,
    }
    if met is not None:
        notes.append(
            Note(
                "path-below-ground",
                f"The path comes below the ground at {units.text(met[0], 'distance')}: the arrow "
                "strikes there, and may glance off to anywhere. Do not shoot.",
            )
        )
    if face_diameter is not None:
        own["face"] = _face(loosed, ground, envelope, 0.5 * face_diameter, low, units, notes)
    return own, passage


def _low(
    loosed: Loosed, ground: CoreGround, envelope: float, change: float = 0.0
) -> tuple[Passage, Low]:
    """The path from where the tip is as the arrow leaves the string to the target."""
    shot = loosed.shot
    start = max(float(shot.launch_forward) + float(shot.tip_lead), 0.0)
    passage = loosed.passes(np.linspace(start, loosed.target, _POINTS), change)
    lowest = passage.swept.extent[0] - envelope
    return passage, ground.low(passage.distance, lowest)


def _face(
    loosed: Loosed,
    ground: CoreGround,
    envelope: float,
    radius: float,
    low: Low,
    units: ReplyUnits,
    notes: list[Note],
) -> dict[str, Any]:
    edge = float(ground.height(np.array([loosed.target]), np.array([-radius]))[0])
    _, low_arrow = _low(loosed, ground, envelope, loosed.lowered(radius))
    below = low.below(edge)
    notes += _face_notes(edge, below, low_arrow, low, units)
    return {
        "lower_edge": units.value(edge, "length"),
        "below_ground": edge < 0.0,
        "path_below": None if below is None else span(below, units),
        "low_arrow": {
            "height": units.value(low_arrow.height, "length"),
            "distance": units.value(low_arrow.distance, "distance"),
        },
    }


def _face_notes(
    edge: float,
    below: tuple[float, float] | None,
    low_arrow: Low,
    low: Low,
    units: ReplyUnits,
) -> list[Note]:
    notes = []
    if edge < 0.0:
        notes.append(
            Note(
                "face-below-ground",
                f"The face's lower edge lies {units.text(-edge, 'length')} below the ground: "
                "arrows that hit low strike the ground first. Raise the face, or correct the "
                "heights.",
            )
        )
    elif low_arrow.height < 0.0 <= low.height:
        notes.append(
            Note(
                "low-arrow-meets-ground",
                "An arrow that should just reach the face's lower edge strikes the ground at "
                f"{units.text(low_arrow.distance, 'distance')}: the ground covers the foot of "
                "the face from here.",
            )
        )
    if below is not None:
        notes.append(
            Note(
                "path-below-face",
                f"From {units.text(below[0], 'distance')} to {units.text(below[1], 'distance')} "
                "the arrow flies lower above the ground than the face's lower edge, which is at "
                f"{units.text(edge, 'length')}: whatever stands as high as that edge is in its "
                "way there.",
            )
        )
    return notes
