"""Spans of distances in replies."""

from collections.abc import Sequence
from typing import Any

from marshmallow import fields

from arrowloft.api.replies import ReplyUnits
from arrowloft.api.reply_schemas import many, part, quantity
from arrowloft.api.schemas import strict

DistanceSpan = strict(
    "DistanceSpan",
    {
        "from": quantity("distance", "First distance."),
        "to": quantity("distance", "Last distance."),
    },
)


def span_part(description: str, **options: Any) -> fields.Nested:
    """A span of distances in a reply."""
    return part(DistanceSpan(), description, **options)


def spans_part(description: str, **options: Any) -> fields.List[Any]:
    """Several spans of distances in a reply."""
    return many(DistanceSpan(), description, **options)


def span(ends: tuple[float, float], units: ReplyUnits) -> dict[str, float]:
    """A span of distances as a reply has it."""
    return {
        "from": units.value(ends[0], "distance"),
        "to": units.value(ends[1], "distance"),
    }


def spans(several: Sequence[tuple[float, float]], units: ReplyUnits) -> list[dict[str, float]]:
    """Several spans as a reply has them."""
    return [span(ends, units) for ends in several]
