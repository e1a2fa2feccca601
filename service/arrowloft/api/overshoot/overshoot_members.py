"""What /v1/overshoot takes beside the shared members, and what it gives."""

import math
from typing import Any

from marshmallow import Schema

from arrowloft.api.archer.groups import GroupReply, group_member
from arrowloft.api.distances import check_farther
from arrowloft.api.fields import Choice, Items, Number, Part, Quantity
from arrowloft.api.reply_schemas import (
    SolutionReply,
    flag,
    many,
    nullable,
    number,
    part,
    quantity,
    reply_schema,
    text,
)
from arrowloft.api.schemas import Member, Strict
from arrowloft.api.shared import distance
from arrowloft.api.tables import Head, row_schema
from arrowloft.core.overshoot.guidance import QUOTED, STYLES

RELEASES = tuple(math.radians(degrees) for degrees in (5, 10, 20))
GROSS_HIGH, GROSS_ASIDE = math.radians(10), math.radians(5)
SHARE = 0.999
EYE_HEIGHT = 1.6
_MOST_RELEASES, _MOST_HEIGHTS = 12, 50
_STEEPEST = math.radians(85)


class Butt(Strict):
    """What stops arrows: a rectangle about the aim point, taken to reach down to the ground."""

    width = Quantity(
        "length", "From side to side.", example="1.3 m", low=0.05, high=50.0, required=True
    )
    height = Quantity(
        "length",
        "From its lower to its upper edge, the aim point in the middle.",
        example="1.3 m",
        low=0.05,
        high=50.0,
        required=True,
    )


class GroundHeight(Strict):
    """A corner of the ground along the range."""

    distance = Quantity(
        "distance",
        "Level way from the archer toward the target.",
        example="60 m",
        low=0.1,
        high=3000.0,
        required=True,
    )
    height = Quantity(
        "distance",
        "Of the ground there above the ground at the archer's feet; negative below.",
        example="-2.5 m",
        low=-1000.0,
        high=1000.0,
        required=True,
    )


class TerrainRequest(Strict):
    """The ground along the range: straight lines between its corners, level behind the last."""

    eye_height = Quantity(
        "length",
        "Eye above the ground where the archer stands.",
        example="1.62 m",
        low=0.2,
        high=30.0,
        required=True,
    )
    heights = Items(
        Part(GroundHeight()),
        "Corners of the ground in order of distance, far beyond the target; left out, level.",
        most=_MOST_HEIGHTS,
    )

    def check(self, data: dict[str, Any]) -> None:
        """Corners in order."""
        check_farther(data.get("heights", ()), "heights")


class GrossErrors(Strict):
    """How far a grossly wrong arrow may be loosed from where it was meant to go.

    Lower arrows count however low they are, as long as they land behind the target.
    """

    high = Quantity(
        "angle",
        "Up to how much above the mark; all lower arrows that land behind the target count too. "
        "Left out, 10 deg.",
        example="10 deg",
        low=math.radians(0.1),
        high=_STEEPEST,
    )
    aside = Quantity(
        "angle",
        "Up to how much to either side; left out, 5 deg.",
        example="5 deg",
        low=math.radians(0.1),
        high=math.radians(45),
    )


def members() -> dict[str, Member]:
    """The request's own members."""
    return {
        "target": distance("Distance of the target along the line of sight.", required=True),
        "butt": Part(Butt(), "What stops arrows; left out, nothing does."),
        "terrain": Part(
            TerrainRequest(), "The ground; left out, level, and the eye 1.6 m above it."
        ),
        "releases": Items(
            Quantity(
                "angle",
                "A wrong release above the mark.",
                example="10 deg",
                low=math.radians(0.1),
                high=_STEEPEST,
            ),
            "Angles above the mark at which arrows are loosed by mistake; left out, 5, 10 and "
            "20 deg.",
            most=_MOST_RELEASES,
        ),
        "draw_angle": Quantity(
            "angle",
            "Angle of the arrow above the line of sight while the bow is drawn: where an arrow "
            "lands that is loosed there.",
            example="12 deg",
            low=-math.radians(60),
            high=_STEEPEST,
        ),
        "group": group_member(),
        "share": Number(
            "Share of the group's arrows that its area is for; 0.999 if left out. Needs `group`.",
            low=0.5,
            high=0.999999,
        ),
        "gross": Part(GrossErrors(), "Gross errors: how high at most, and how far aside."),
        "style": Choice(
            STYLES, "How the string is let go, for the quoted distances; left out, both."
        ),
    }


RELEASE_ROWS = (
    Head("high", "angle", "Arrow's line above that of the mark."),
    Head("elevation", "angle", "Arrow's line above level."),
    Head(
        "distance",
        "distance",
        "Level way from the archer to where its tip lands; null, as all that follows, where "
        "the flight could not be followed.",
        nullable=True,
    ),
    Head("right", "distance", "Of the target's direction, there.", nullable=True),
    Head("height", "distance", "Of the ground there above the archer's ground.", nullable=True),
    Head("time", "time", "Launch to landing.", nullable=True),
    Head("speed", "speed", "As it lands.", nullable=True),
    Head("descent_angle", "angle", "Of its path to level, negative when falling.", nullable=True),
    Head("apex_height", "distance", "Highest point of its path, above the eye.", nullable=True),
    Head("apex_distance", "distance", "Level way to that point.", nullable=True),
)
OUTLINE = (
    Head("distance", "distance", "Level way from the archer along the target's direction."),
    Head("right", "distance", "Right of the target's direction."),
)
_ReleaseFigures = type(row_schema("OvershootFlight", RELEASE_ROWS))


class OvershootRelease(_ReleaseFigures):  # type: ignore[misc, valid-type]
    """One way to loose an arrow, and where it lands."""

    kind = text(
        "mark: as aimed, passing the target; release: a wrong release; draw: loosed at the "
        "draw angle.",
        enum=["mark", "release", "draw"],
    )


class FarthestReply(Strict):
    """The farthest that this arrow can carry from this bow, loosed straight ahead."""

    distance = quantity(
        "distance",
        "Level way from the archer to where its tip lands, loosed straight ahead. In wind or over "
        "uneven ground an arrow loosed aside may carry farther.",
    )
    upper = quantity(
        "distance",
        "The same with the launch speed two standard uncertainties higher and the drag area two "
        "smaller, by what the models say of themselves. No bound: it holds their doubt only.",
    )
    elevation = quantity("angle", "Arrow's line above level.")
    high = quantity("angle", "The same above that of the mark.")
    right = quantity("distance", "Of the target's direction, where it lands.")
    time = quantity("time", "Launch to landing.")
    speed = quantity("speed", "As it lands.")
    descent_angle = quantity("angle", "Of its path to level, negative when falling.")
    apex_height = quantity("distance", "Highest point of its path, above the eye.")
    apex_distance = quantity("distance", "Level way to that point.")


class OvershootTarget(Strict):
    """The target, and the arrow aimed at it."""

    distance = quantity("distance", "Level way to it.")
    height = quantity("distance", "Of the aim point above the ground there.")
    launch_angle = quantity("angle", "Arrow's line above the line of sight.")
    elevation = quantity("angle", "Arrow's line above level.")
    time = quantity("time", "Launch to arrival of the tip.")


class GrossTaken(Strict):
    """Gross errors as taken."""

    high = quantity("angle", "Up to how much above the mark.")
    aside = quantity("angle", "Up to how much to either side.")


class ButtTaken(Strict):
    """What stops arrows, as taken."""

    width = quantity("length", "From side to side.")
    height = quantity("length", "From its lower to its upper edge.")


class OvershootTaken(Strict):
    """What was given, or assumed where it was left out."""

    eye_height = quantity("length", "Eye above the ground where the archer stands.")
    gross = part(GrossTaken(), "The gross errors.")
    share = number(
        "Share of the group's arrows that its area is for; with a group only.", required=False
    )
    butt = nullable(part(ButtTaken(), "What stops arrows; null where nothing does."))


class OvershootArea(Strict):
    """Ground behind the target on which arrows land that miss it."""

    kind = text(
        "group: the share asked for of arrows to come, wider the fewer arrows the group rests on; "
        "gross: gross errors, from the target's line on: loosed too high, too low or aside. Where "
        "arrows loosed higher land nearer again, in wind, over uneven ground or with the mark so "
        "high, an area that reaches so high is the convex hull of landings: too large rather than "
        "too small.",
        enum=["group", "gross"],
    )
    size = quantity("ground_area", "Of the ground, seen from above.")
    nearest = quantity("distance", "Its nearest place, level way from the archer.")
    farthest = quantity("distance", "Its farthest place.")
    leftmost = quantity("distance", "Its leftmost place, right of the target's direction.")
    rightmost = quantity("distance", "Its rightmost place.")
    behind_target = quantity("distance", "How far it reaches behind the target.")
    outline = many(
        row_schema("OvershootCorner", OUTLINE),
        "Its outline, clockwise from above, closed by its first place.",
    )


_INSIDE = "Whether the area of {} ends before it; null where there is no such area."


class GuidanceRow(Strict):
    """A quoted overshoot distance that fits the target and the style."""

    code = text("Its name.", enum=[one.code for one in QUOTED])
    wording = text("As quoted.")
    source = text("Where it is quoted from.")
    standing = text("How far it is backed: quoted here, derived from nothing.", enum=["quoted"])
    distance = quantity("distance", "From the shooting line, for this target.")
    group_inside = nullable(flag(_INSIDE.format("the group")))
    gross_inside = nullable(flag(_INSIDE.format("gross errors")))
    releases_inside = flag(
        "Whether every arrow of `releases` lands before it: as aimed, the wrong releases, and the "
        "draw. One that could not be followed is taken to land as far as the farthest carry."
    )
    farthest_beyond = quantity(
        "distance", "How far beyond it the farthest carry lands; negative where it lands before."
    )
    least_high = nullable(
        quantity(
            "angle",
            "Least angle above the mark whose arrow lands beyond it, 0 where the mark's own does; "
            "null where none does.",
        )
    )


def reply() -> Schema:
    """The reply."""
    return reply_schema(
        "OvershootReply",
        {
            "farthest": part(
                FarthestReply(), "The farthest that an arrow loosed straight ahead can carry."
            ),
            "target": part(OvershootTarget(), "The target, and the arrow aimed at it."),
            "releases": many(
                OvershootRelease(),
                "The arrow as aimed, then the wrong releases in the order given, then the arrow "
                "loosed at the draw, each loosed straight ahead.",
            ),
            "areas": many(
                OvershootArea(),
                "Where arrows land that miss the target; an area that is all stopped is not there.",
            ),
            "guidance": many(
                GuidanceRow(), "Quoted overshoot distances, held against these figures."
            ),
            "group": part(GroupReply(), "The group, as taken.", required=False),
            "taken": part(OvershootTaken(), "What was given, or assumed where it was left out."),
            "solution": part(SolutionReply(), "How the flights were solved."),
        },
    )
