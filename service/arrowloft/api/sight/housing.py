"""The `housing` member: the arrow against the sight's own housing, mark by mark."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from marshmallow import fields

from arrowloft.api.fields import Part, Quantity
from arrowloft.api.replies import Column, ReplyUnits
from arrowloft.api.reply_schemas import many, quantity, text
from arrowloft.api.schemas import Member, Strict
from arrowloft.core.flight.distances import aim_at_distances
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.housing import AlwaysTouches, farthest_clear
from arrowloft.core.sight.housing import Housing as CoreHousing
from arrowloft.plugin import Note

NEVER, BEYOND, ALWAYS = "never", "beyond-farthest", "always"


class Housing(Strict):
    """The sight's housing, which moves with the pin, and what passes under it."""

    below_pin = Quantity(
        "length",
        "Lowest point of the sight's housing below the pin, perpendicular to the arrow's line.",
        example="22 mm",
        low=0.0,
        high=0.3,
        required=True,
    )
    ahead_of_eye = Quantity(
        "length",
        "That point ahead of the eye, along the arrow's line; left out, the sight's radius.",
        example="33 in",
        low=0.1,
        high=2.0,
    )
    arrow_radius = Quantity(
        "length",
        "How far the vane, or whatever sticks out farthest toward the housing, reaches from "
        "the arrow's axis; left out, half the shaft's diameter.",
        example="13 mm",
        low=1e-3,
        high=0.05,
    )
    sideways = Quantity(
        "length",
        "Sideways distance between the arrow's axis and the housing's nearest point; left out, "
        "none: the housing is straight above the arrow.",
        example="0 mm",
        low=-0.1,
        high=0.1,
    )


class HousingRow(Strict):
    """One mark against the housing."""

    distance = quantity("distance", "Distance of the mark.")
    housing_clearance = quantity(
        "length",
        "Free space between arrow and housing; negative: they would meet, and the pin would have "
        "to be so much higher.",
    )
    clear = fields.Boolean(
        required=True,
        metadata={"description": "Whether the arrow passes under the housing, some space left."},
    )


def _farthest(limits: str = "limits", *, required: bool = True) -> fields.Float:
    member = quantity(
        "distance",
        "Farthest distance that can be set before arrow and housing meet; null unless "
        f"`{limits}` is {BEYOND}.",
        required=required,
    )
    member.allow_none = True
    return member


def _limits(*, required: bool = True) -> fields.String:
    return text(
        "Which marks the housing forbids: never any, those beyond the farthest, or always all.",
        required=required,
        enum=[NEVER, BEYOND, ALWAYS],
    )


class HousingReply(Strict):
    """The arrow against the sight's housing, as it leaves the bow."""

    rows = many(HousingRow(), "One row a distance, in the order asked for.")
    farthest = _farthest()
    limits = _limits()


def limit_members() -> dict[str, Any]:
    """The two members of a reply that has the housing's limit beside other things."""
    return {
        "housing_farthest": _farthest("housing_limits", required=False),
        "housing_limits": _limits(required=False),
    }


def limit_reply(limit: tuple[float | None, str], units: ReplyUnits) -> dict[str, Any]:
    """What `limit_members` documents, for what `housing_limit` found."""
    farthest, word = limit
    return {
        "housing_farthest": None if farthest is None else units.value(farthest, "distance"),
        "housing_limits": word,
    }


def housing_member() -> Member:
    """The member of a request."""
    return Part(Housing(), "The sight's housing, to see whether the arrow passes under it.")


def housing_of(
    asked: Mapping[str, Any], request: Mapping[str, Any], notes: list[Note]
) -> CoreHousing:
    """The housing of a request's `housing` member; noted where the vanes are not known.

    asked: the member as read.  request: all of the request, for sight and arrow.
    """
    reach = asked.get("arrow_radius")
    if reach is None:
        reach = 0.5 * request["arrow"]["shaft_diameter"]
        notes.append(
            Note(
                "housing-shaft-only",
                "The clearance under the sight's housing is that of the bare shaft: vanes reach "
                "farther. Give housing.arrow_radius from the arrow's axis to the edge of a vane.",
            )
        )
    return CoreHousing(
        below_pin=asked["below_pin"],
        ahead_of_eye=asked.get("ahead_of_eye", request["sight"]["radius"]),
        arrow_radius=reach,
        sideways=asked.get("sideways", 0.0),
    )


def housing_limit(housing: CoreHousing, shot: Shot, radius: float) -> tuple[float | None, str]:
    """Farthest clear distance, m, None where there is none; and the word of `limits`."""
    try:
        farthest = farthest_clear(shot, radius, housing)
    except AlwaysTouches:
        return None, ALWAYS
    return farthest, NEVER if farthest is None else BEYOND


def blocked_note(blocked: Sequence[float], units: ReplyUnits) -> Note:
    """The caution for marks, m, at which the arrow meets the housing."""
    named = ", ".join(units.text(distance, "distance") for distance in blocked[:5])
    more = f" and {len(blocked) - 5} more" if len(blocked) > 5 else ""
    return Note(
        "housing-blocks",
        f"At the marks of {named}{more} the arrow would strike the sight's housing. Do not shoot "
        "them: an arrow that touches the sight is thrown off its path and may go anywhere.",
    )


def housing_reply(
    housing: CoreHousing,
    shot: Shot,
    radius: float,
    distances: Sequence[float],
    units: ReplyUnits,
    notes: list[Note],
) -> dict[str, Any]:
    """What HousingReply documents, for marks at these distances, m; noted where one touches.

    Raises TooNear, BeyondReach, whose lanes count the distances, and Unsolved.
    """
    marks = np.asarray(distances, dtype=float)
    angle = aim_at_distances(shot, marks).aimed.launch_angle
    clearance = housing.clearance(shot, radius, angle)
    rows = housing_rows(marks, clearance, units)
    blocked = marks[~(clearance > 0.0)]
    if blocked.size:
        notes.append(blocked_note(blocked.tolist(), units))
    farthest, limits = housing_limit(housing, shot, radius)
    return {
        "rows": rows,
        "farthest": None if farthest is None else units.value(farthest, "distance"),
        "limits": limits,
    }


def housing_rows(distance: Any, clearance: Any, units: ReplyUnits) -> list[dict[str, Any]]:
    """One object a mark: its distance, its clearance, whether it is clear."""
    found = units.rows(
        [
            Column("distance", "distance", distance),
            Column("housing_clearance", "length", clearance),
        ]
    )
    return [
        {"distance": at, "housing_clearance": space, "clear": bool(free)}
        for (at, space), free in zip(found, clearance > 0.0, strict=True)
    ]
