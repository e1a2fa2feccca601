"""What a request for pin spans takes, and what its reply holds."""

from typing import Any, cast

from marshmallow import Schema, ValidationError, fields

from arrowloft.api.fields import Items, Part, Quantity, WholeNumber
from arrowloft.api.reply_schemas import (
    SolutionReply,
    flag,
    many,
    nullable,
    number,
    part,
    quantity,
    reply_schema,
)
from arrowloft.api.schemas import Member, Strict, strict
from arrowloft.api.shared import MOST_PINS, distance
from arrowloft.api.spans import span_part, spans_part
from arrowloft.core.sight.pins import FARTHEST
from arrowloft.core.sight.sight_window import NEAR_REACH

SHORTEST = 1.0
"""Shortest span of distances, m, that is looked at."""

_TOO_SHORT = "Give at least 1 m more than `from`."


class PinsBetween(Strict):
    """Ends of a span of distances, where both are given."""

    def check(self, data: dict[str, Any]) -> None:
        """The end behind the beginning."""
        if "from" in data and "to" in data and data["to"] < data["from"] + SHORTEST:
            raise ValidationError(_TOO_SHORT, "to")


_BETWEEN: dict[str, Any] = {
    "from": distance(
        "Nearest distance searched; left out, the nearest that can be aimed at.", example="3 yd"
    ),
    "to": distance(
        f"Farthest distance searched; left out, {FARTHEST:g} m or {100 * NEAR_REACH:g} % of the "
        "reach, whichever is less, and the farthest pin at least.",
        example="60 yd",
    ),
}
PinSearch = cast(type[Strict], PinsBetween.from_dict(_BETWEEN, name="PinSearch"))

_BEST: dict[str, Any] = {
    "count": WholeNumber("How many pins.", low=1, high=MOST_PINS, required=True),
    "from": distance("Nearest distance that they serve.", example="10 yd", required=True),
    "to": distance(
        f"Farthest distance that they serve; at most {100 * NEAR_REACH:g} % of the reach.",
        example="60 yd",
        required=True,
    ),
}
BestPins = cast(type[Strict], PinsBetween.from_dict(_BEST, name="BestPins"))


def pin_members() -> dict[str, Member]:
    """The request's own members."""
    return {
        "zone_height": Quantity(
            "length",
            "Height of the zone, whose middle is the aim point; what to hit is yours to say.",
            example="20 cm",
            low=0.005,
            high=5.0,
            required=True,
        ),
        "pins": Items(
            distance("Distance for which one pin is set.", example="25 m"),
            "Pins: for each, the distances in which the arrow stays inside the zone.",
            most=MOST_PINS,
        ),
        "between": Part(PinSearch(), "Where the spans of `pins` are looked for."),
        "best": Part(
            BestPins(), "Pins to be placed so that the largest error over a span is least."
        ),
    }


def check_together(asked: dict[str, Any]) -> None:
    """Raise ValidationError where there is nothing to do, or a member goes with another."""
    if "pins" not in asked:
        if "best" not in asked:
            raise ValidationError(
                "Give `pins` for the spans of given pins, `best` for pins to be placed, or both."
            )
        if "between" in asked:
            raise ValidationError(
                {"between": ["This is for the spans of `pins`: add those, or leave it out."]}
            )


_TRAVEL = "of the pin from the sight's zero distance, down positive."

PinSpanRow = strict(
    "PinSpanRow",
    {
        "distance": quantity("distance", "For which the pin is set."),
        "launch_angle": quantity("angle", "Arrow's line above the line of sight."),
        "travel": quantity("length", f"Travel {_TRAVEL}", required=False),
        "spans": spans_part(
            "Distances in which the arrow stays inside the zone, in order; two where an arc "
            "taller than the zone lies between."
        ),
        "own_span": nullable(
            span_part("The one that holds the pin's own distance; null outside `between`.")
        ),
    },
)

BestPinRow = strict(
    "BestPinRow",
    {
        "distance": quantity("distance", "Farthest distance of the span for which it is the mark."),
        "rising": flag(
            "Whether the arrow still rises through the line of sight there, close to the archer."
        ),
        "launch_angle": quantity("angle", "Arrow's line above the line of sight."),
        "travel": quantity("length", f"Travel {_TRAVEL}", required=False),
        "serves": spans_part("Distances at which no other pin errs less, in order."),
        "worst_error": quantity("length", "Greatest error of the height there, up or down."),
        "worst_distance": quantity("distance", "Where."),
    },
)

_SPREAD: dict[str, Any] = {
    "worst_error": quantity("length", "Greatest error of the height over the span, up or down."),
    "worst_distance": quantity("distance", "Where."),
    "stays_in_zone": flag("Whether the arrow stays inside the zone over the whole span."),
}

EqualPinsReply = strict(
    "EqualPinsReply",
    {
        "pins": fields.List(
            fields.Float(),
            required=True,
            metadata={"description": "Their distances. Unit: units.distance."},
        ),
        **_SPREAD,
        "ratio": number("Their worst error over that of the best pins."),
    },
)

BestPinsReply = strict(
    "BestPinsReply",
    {
        "from": quantity("distance", "Nearest distance served."),
        "to": quantity("distance", "Farthest distance served."),
        "pins": many(BestPinRow(), "The pins, the highest on the sight first."),
        **_SPREAD,
        "equal_steps": part(
            EqualPinsReply(),
            "For comparison: as many pins in equal steps, both ends among them; one pin: the "
            "middle.",
        ),
    },
)


def pin_reply_schema() -> Schema:
    """The reply."""
    return reply_schema(
        "PinSpansReply",
        {
            "zone_height": quantity("length", "Height of the zone."),
            "zero_distance": quantity(
                "distance", "Distance that travel counts from, with a sight.", required=False
            ),
            "between": span_part("Where the spans of `pins` were looked for.", required=False),
            "pins": many(
                PinSpanRow(), "The pins asked for, in their order, where any.", required=False
            ),
            "best": part(BestPinsReply(), "The best pins, where asked for.", required=False),
            "solution": part(SolutionReply(), "How the flights were solved."),
        },
    )
