"""What /v1/cant-tolerance takes beside the shared members, and what it gives."""

import math
from typing import Any

from marshmallow import Schema, ValidationError, fields

from arrowloft.api.archer.groups import GroupReply, group_member
from arrowloft.api.distances import Distances
from arrowloft.api.fields import Items, Number, Part, Quantity
from arrowloft.api.reply_schemas import SolutionReply, many, part, quantity, reply_schema, text
from arrowloft.api.resource import Limits
from arrowloft.api.schemas import Member, Strict
from arrowloft.api.shared import distance, slope
from arrowloft.api.tables import Head, row_schema
from arrowloft.core.level.roll_series import MOST_ROLL

CANTS = tuple(math.radians(degrees) for degrees in (-4, -2, -1, 1, 2, 4))
_MOST_CANTS, _MOST_SLOPES = 21, 13
MATTERS = 0.5

ROWS = (
    Head("distance", "distance", "Distance of the aim point."),
    Head("allowance", "length", "How far the impact may be off here, as a radius."),
    Head(
        "right",
        "length",
        "Shift of the impact to the right, one for each of `cants`; null where the canted bow's "
        "arrow never comes to the target's plane.",
        nullable=True,
        listed=True,
    ),
    Head("up", "length", "Shift upward, one for each of `cants`.", nullable=True, listed=True),
    Head(
        "max_cant",
        "angle",
        "Largest cant either way within the allowance; null where none up to 45 deg leaves it.",
        nullable=True,
    ),
    Head("max_cant_left", "angle", "The same, top limb to the left; a magnitude.", nullable=True),
    Head("max_cant_right", "angle", "The same, top limb to the right.", nullable=True),
)
GROUP_COLUMNS = (
    Head("group_vertical", "length", "Standard deviation up and down here.", optional=True),
    Head("group_sideways", "length", "Standard deviation sideways here.", optional=True),
    Head(
        "share_level",
        "number",
        "Share of arrows within the allowance of their mean, the bow held level.",
        optional=True,
    ),
    Head("share_rolled", "number", "The same with the usual roll.", optional=True),
    Head(
        "roll_spread",
        "length",
        "Standard deviation that the usual roll adds sideways.",
        nullable=True,
        optional=True,
    ),
    Head(
        "roll_share", "number", "It as a share of `group_sideways`.", nullable=True, optional=True
    ),
)
LEVEL = (
    Head("slope", "angle", "Inclination of the line of sight, uphill positive."),
    Head("distance", "distance", "Distance of the aim point."),
    Head(
        "false_roll",
        "angle",
        "Roll of the bow while its level shows none, top limb to the right positive.",
    ),
    Head("right", "length", "Shift of the impact by it, right positive.", nullable=True),
    Head("up", "length", "Shift of the impact by it, up positive.", nullable=True),
)
LINES = (
    Head("distance", "distance", ""),
    Head("cant", "angle", ""),
    Head("right", "length", "", nullable=True),
    Head("up", "length", "", nullable=True),
    Head("displacement", "length", "", nullable=True),
    Head("max_cant", "angle", "", nullable=True),
)


def _roll(description: str, example: str, **options: Any) -> Quantity:
    return Quantity(
        "angle", description, example=example, low=-MOST_ROLL, high=MOST_ROLL, **options
    )


class CantAllowance(Strict):
    """How far an impact may be off: exactly one of these."""

    radius = Quantity(
        "length", "The same radius at each distance.", example="50 mm", low=1e-3, high=5.0
    )
    diameter = Quantity(
        "length",
        "Diameter of a target face or a vital zone, hit in the middle by a level bow.",
        example="40 cm",
        low=2e-3,
        high=10.0,
    )
    angle = Quantity(
        "angle",
        "Off the aim point as seen from the eye, so growing with the distance.",
        example="1 mrad",
        low=1e-5,
        high=0.2,
    )

    def check(self, data: dict[str, Any]) -> None:
        """One form."""
        if len(data) != 1:
            raise ValidationError("Give exactly one of `radius`, `diameter` and `angle`.")


class CantLevel(Strict):
    """How the bow's spirit level is off; at least one of the two angles."""

    second_axis = Quantity(
        "angle",
        "Roll of the bow on level ground at which its bubble is centred, top limb to the right "
        "positive.",
        example="0.5 deg",
        low=-math.radians(10),
        high=math.radians(10),
    )
    third_axis = Quantity(
        "angle",
        "Level out of square to the line of sight, its right end toward the target positive; it "
        "shows on slopes.",
        example="1 deg",
        low=-math.radians(10),
        high=math.radians(10),
    )
    slopes = Items(
        slope("Inclination of a line of sight, uphill positive.", example="20 deg"),
        "Slopes to work the false roll out at; left out, the request's own.",
        most=_MOST_SLOPES,
    )

    def check(self, data: dict[str, Any]) -> None:
        """Something must be off."""
        if "second_axis" not in data and "third_axis" not in data:
            raise ValidationError("Give `second_axis`, `third_axis` or both.")


class CantLive(Strict):
    """One reading of a tilt sensor or a protractor."""

    roll = _roll("Roll of the bow now, top limb to the right positive.", "1.4 deg", required=True)
    distance = distance("Distance that is being aimed at.", example="60 yd", required=True)


class CantLiveReply(Strict):
    """The answer to one reading."""

    distance = quantity("distance", "Distance aimed at.")
    roll = quantity("angle", "Roll of the bow, top limb to the right positive.")
    inside = fields.Boolean(
        required=True, metadata={"description": "Whether the impact stays within the allowance."}
    )
    allowance = quantity("length", "How far the impact may be off here, as a radius.")
    right = quantity("length", "Shift of the impact to the right; null where it never arrives.")
    up = quantity("length", "Shift of the impact upward; null as `right`.")
    displacement = quantity("length", "Size of the shift; null as `right`.")
    max_roll = quantity(
        "angle", "Largest roll to this side; null where none up to 45 deg leaves the allowance."
    )
    correct = text("Which way to turn the bow.", enum=["none", "top-limb-left", "top-limb-right"])
    sentence = text("The answer in one sentence, for a display.")
    right.allow_none = up.allow_none = displacement.allow_none = max_roll.allow_none = True


def cant_members(limits: Limits) -> dict[str, Member]:
    """The request's own members."""
    return {
        "distances": Distances(
            limits.distances,
            "Distances of the table: a list in any order, or a range; needed unless `live` is "
            "given.",
        ),
        "cants": Items(
            _roll("Roll of the bow, top limb to the right positive.", "2 deg"),
            "Cants to show; left out, -4, -2, -1, 1, 2 and 4 deg.",
            most=_MOST_CANTS,
        ),
        "allowance": Part(CantAllowance(), "How far the impact may be off.", required=True),
        "group": group_member(),
        "roll_scatter": Quantity(
            "angle",
            "Standard deviation of the archer's roll from shot to shot; needs `group`.",
            example="1.2 deg",
            low=math.radians(0.01),
            high=math.radians(15),
        ),
        "matters_share": Number(
            "Roll matters from where it adds this share of the group's sideways spread; 0.5 if "
            "left out. Needs `roll_scatter`.",
            low=0.01,
            high=10.0,
        ),
        "level": Part(CantLevel(), "A spirit level that is off; needs `distances`."),
        "live": Part(CantLive(), "One reading, to be judged now."),
    }


def cant_reply() -> Schema:
    """The schema of the reply."""
    matters = quantity(
        "distance",
        "Distance from which the usual roll adds `matters_share` of the group's sideways spread, "
        "or more; the nearest that can be shot where that is so everywhere. Looked for up to "
        "300 m or 0.9 of the farthest distance that can be reached, whichever is less: null "
        "where it is nowhere so, or where a note says that it could not be found.",
        required=False,
    )
    matters.allow_none = True
    about = {"description": "The cants of each row's lists. Unit: units.angle."}
    return reply_schema(
        "CantToleranceReply",
        {
            "cants": fields.List(fields.Float(), required=True, metadata=about),
            "rows": many(
                row_schema("CantRow", ROWS + GROUP_COLUMNS),
                "One row a distance, in the order asked for; none without `distances`.",
            ),
            "matters_from": matters,
            "level_rows": many(
                row_schema("CantLevelRow", LEVEL),
                "A level that is off, for each slope and distance, slope by slope.",
                required=False,
            ),
            "live": part(CantLiveReply(), "The one reading, judged.", required=False),
            "group": part(GroupReply(), "The group as it was taken.", required=False),
            "solution": part(SolutionReply(), "How the flights were solved."),
        },
    )
