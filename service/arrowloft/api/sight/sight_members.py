"""What /v1/sight-travel takes beside the shared members, and what it gives."""

from typing import Any

from marshmallow import ValidationError, fields

from arrowloft.api.distances import Distances
from arrowloft.api.fields import Choice, Items, Number, Part, Quantity, WholeNumber
from arrowloft.api.reply_schemas import SolutionReply, many, number, part, quantity, whole
from arrowloft.api.schemas import Member, Strict
from arrowloft.api.shared import distance as distance_
from arrowloft.api.sight.housing import housing_member, limit_members
from arrowloft.api.spans import span_part, spans_part

_ROOM = 0.3
"""Longest window and farthest move of a sight, m."""


def _length(description: str, example: str, low: float = 0.0, **options: Any) -> Quantity:
    return Quantity("length", description, example=example, low=low, high=_ROOM, **options)


class SightWindow(Strict):
    """What the sight shows before it is moved: by two distances, or by two lengths."""

    nearest = distance_(
        "Nearest distance that fits before any move; with `farthest`.", example="20 yd"
    )
    farthest = distance_(
        "Farthest distance that fits before any move; with `nearest`: all between fit.",
        example="60 yd",
    )
    up = _length("Travel that the pin has above its place at the zero; with `down`.", "4 mm")
    down = _length("Travel that the pin has below its place at the zero; with `up`.", "38 mm")

    def check(self, data: dict[str, Any]) -> None:
        """One pair of the two, the right way round."""
        if data.keys() not in ({"nearest", "farthest"}, {"up", "down"}):
            raise ValidationError("Give either `nearest` and `farthest`, or `up` and `down`.")
        if "nearest" in data and data["nearest"] >= data["farthest"]:
            raise ValidationError("Give a distance beyond `nearest`.", "farthest")


class SightShift(Strict):
    """One move of the whole sight on the bow, positive down."""

    turns = Number("Turns of the elevation screw, negative up.", low=-200, high=200)
    clicks = WholeNumber("Clicks of it, negative up; may stand beside turns.", low=-9999, high=9999)
    length = _length("Or the way itself, negative up.", "6 mm", low=-_ROOM)

    def check(self, data: dict[str, Any]) -> None:
        """Turns and clicks, or a length."""
        if not data or ("length" in data and len(data) > 1):
            raise ValidationError("Give either `turns` or `clicks` or both, or a `length`.")


class SightBring(Strict):
    """The distance whose mark is wanted elsewhere in the sight, and where."""

    distance = distance_("Distance whose mark is to be moved.", example="90 yd", required=True)
    to = Choice(("top", "middle", "bottom"), "Place in the window where it is to come.")
    onto = distance_("Instead: distance whose mark sits there before.", example="60 yd")

    def check(self, data: dict[str, Any]) -> None:
        """One place."""
        if ("to" in data) == ("onto" in data):
            raise ValidationError("Give either `to` or `onto`.", "to")


class SightAdjustment(Strict):
    """How far the whole sight can be moved from where it is now."""

    up = _length("Way it can be moved up.", "10 mm", required=True)
    down = _length("Way it can be moved down.", "10 mm", required=True)


class SightSearch(Strict):
    """Where to look for distances that fit."""

    nearest = distance_(
        "Nearest distance looked at; left out, 5 m or the nearest that the request names.",
        example="10 yd",
    )
    farthest = distance_(
        "Farthest distance looked at; left out, 200 m, at most 0.9 of the reach.",
        example="120 yd",
    )


def travel_members(most: int) -> dict[str, Member]:
    """The request's own members; most: distances of the rows."""
    return {
        "distances": Distances(
            most, "Distances of the rows: a list in any order, or a range.", required=True
        ),
        "window": Part(SightWindow(), "What the sight shows before it is moved.", required=True),
        "shifts": Items(
            Part(SightShift()),
            "Moves of the whole sight, one after the other; they are counted exactly.",
            most=50,
        ),
        "bring": Part(SightBring(), "After the shifts: a mark to bring to a place in the sight."),
        "adjustment": Part(SightAdjustment(), "How far the whole sight can be moved."),
        "housing": housing_member(),
        "search": Part(SightSearch(), "Where to look for distances that fit."),
    }


class WindowReply(Strict):
    """Travel of the pin between which the sight shows it, on the bow."""

    top = quantity("length", "Travel at the upper edge, from the zero, down positive.")
    bottom = quantity("length", "Travel at the lower edge, from the zero, down positive.")


class BringReply(Strict):
    """The move that brings the mark to its place, down positive, beyond `shifts`."""

    exact = quantity("length", "Move that brings it there exactly.")
    turns = number("Turns of the screw that make it, not rounded.", required=False)
    clicks = whole(
        "Whole clicks: the nearest, at an edge of the window toward its inside.", required=False
    )
    shift = quantity("length", "Move that those clicks make; without clicks, the exact one.")
    remaining = quantity("length", "The exact move less the one made.")


class TravelRow(Strict):
    """One mark after the move."""

    distance = quantity("distance", "Distance of the mark.")
    travel = quantity("length", "Travel of the pin on the bow, from the zero, down positive.")
    position = quantity("length", "Its travel in the sight: less the shift of the whole sight.")
    reading = number("Reading of the sight's scale, which moves with it.", required=False)
    rounding_up = quantity(
        "length",
        "Rise of the impact, up positive, at marks reckoned for the exact move of `bring`, as "
        "whole clicks leave the pin `remaining` above where it should be.",
        required=False,
    )
    housing_clearance = quantity(
        "length",
        "Free space between arrow and sight's housing; negative: they would meet, and the pin "
        "would have to be so much higher.",
        required=False,
    )
    fits = fields.Boolean(
        required=True,
        metadata={"description": "Whether the sight shows it, and the housing is clear of it."},
    )


_SPANS = "whose marks the sight shows and, with a housing, the arrow is clear of."
TRAVEL_REPLY: dict[str, Any] = {
    "zero_distance": quantity("distance", "Distance that travel counts from."),
    "window_before": part(WindowReply(), "The window before the move."),
    "window_now": part(WindowReply(), "The window after the move."),
    "shift": quantity("length", "Move of the whole sight, `bring` included, down positive."),
    "bring": part(BringReply(), "The move that was asked for.", required=False),
    "search": span_part("Distances between which fitting ones were looked for."),
    "fits_before": spans_part(f"Before the move: spans of distances {_SPANS}"),
    "fits_now": spans_part(f"After the move: spans of distances {_SPANS}"),
    "lost": spans_part("Distances that fitted before and do not now."),
    "gained": spans_part("Distances that fit now and did not before."),
    **limit_members(),
    "rows": many(TravelRow(), "One row a distance, in the order asked for."),
    "solution": part(SolutionReply(), "How the flights were solved."),
}
