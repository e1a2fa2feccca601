"""The request's sight as the core's: its threads, its scale, its zero."""

from collections.abc import Mapping
from typing import Any

from arrowloft.core.sight.sight import Scale, Sight, Thread
from arrowloft.plugin import Note


def zero_distance(asked: Mapping[str, Any], notes: list[Note]) -> float:
    """Distance that travel counts from, m; noted where it is the nearest asked for."""
    given = asked["sight"].get("zero_distance")
    if given is not None:
        return float(given)
    notes.append(
        Note(
            "zero-assumed",
            "Travel and its uncertainty count from the nearest distance asked for, as if its mark "
            "were proven: give sight.zero_distance to count from where the sight is set.",
        )
    )
    return float(min(asked["distances"]))


def sight_of(asked: Mapping[str, Any], zero: float) -> Sight:
    """The sight of a request's `sight` member, set at the zero distance, m."""
    scale = asked.get("scale")
    return Sight(
        radius=asked["radius"],
        zero_distance=zero,
        elevation=_thread(asked, ""),
        windage=_thread(asked, "windage_"),
        scale=None
        if scale is None
        else Scale(
            reading_at_zero=scale["reading"],
            travel_per_unit=scale["travel_per_unit"],
            increases_down=scale["increases"] == "down",
        ),
        pins=tuple(asked.get("pins", ())),
    )


def _thread(asked: Mapping[str, Any], side: str) -> Thread | None:
    travel = asked.get(f"{side}travel_per_turn")
    if travel is None:
        return None
    return Thread(travel_per_turn=travel, clicks_per_turn=asked.get(f"{side}clicks_per_turn"))
