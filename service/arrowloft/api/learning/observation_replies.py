"""What a calibration says of each observation, in the caller's units."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from arrowloft.api.learning.observations import Seen
from arrowloft.api.replies import ReplyUnits, significant
from arrowloft.core.arrays import Array
from arrowloft.core.learning.observations import End, SpeedReading
from arrowloft.core.learning.range_session import RangeSession
from arrowloft.core.sight.sight import Sight, Thread


def observations_reply(
    asked: Mapping[str, Any], seen: Seen, session: RangeSession, sight: Sight, units: ReplyUnits
) -> list[dict[str, Any]]:
    """One for each observation, in their order."""
    found = []
    for index, item in enumerate(asked["observations"]):
        body = {name: item[name] for name in ("name",) if name in item}
        body["kind"] = kind_of(item)
        body["distance"] = units.value(item["distance"], "distance")
        body |= _judged(index, session)
        if body["kind"] == "speed":
            body |= _speed(index, seen, session, units)
        else:
            body |= _end(index, seen, session, units)
            if item.get("impacts"):
                body["flyers"] = seen.flyers[index]
            body["correction"] = _correction(seen.ends.index(index), session, sight, units)
        found.append(body)
    return found


def kind_of(item: Mapping[str, Any]) -> str:
    """What kind of observation it is."""
    return "speed" if "speed" in item else "proven" if "proven" in item else "arrows"


def _judged(index: int, session: RangeSession) -> dict[str, Any]:
    """Whether it fits the others, and what would explain that it does not."""
    judged = session.judged
    status = "used"
    if index in judged.aside:
        status = "set-aside"
    elif index in judged.contradicting:
        status = "in-doubt"
    off = float(judged.foretold.distance[index])
    body: dict[str, Any] = {
        "status": status,
        "off": significant(off, 4) if np.isfinite(off) else None,
        "chance": significant(float(judged.foretold.chance[index]), 4),
    }
    if index in judged.slips:
        body["explanations"] = list(judged.slips[index])
    return body


def _end(index: int, seen: Seen, session: RangeSession, units: ReplyUnits) -> dict[str, Any]:
    """Where an end landed, and where the fit expects it."""
    end = seen.observations[index]
    assert isinstance(end, End)
    landed, rows = end.landed, session.expected.rows[index]
    value, deviation = session.expected.value[rows], session.expected.deviation[rows]
    lengths = {
        "travel": end.travel,
        "up": landed.up,
        "expected_up": value[0],
        "up_uncertainty": deviation[0],
    }
    if landed.right is not None:
        lengths["right"] = landed.right
        lengths["expected_right"], lengths["right_uncertainty"] = value[1], deviation[1]
    return {
        "arrows": landed.arrows,
        **{name: _length(length, units) for name, length in lengths.items()},
    }


def _finite(value: Any, dimension: str, units: ReplyUnits) -> float | None:
    """A value; null where the fit's arrow never comes there."""
    return units.value(value, dimension) if np.isfinite(value) else None


def _length(value: Any, units: ReplyUnits) -> float | None:
    return _finite(value, "length", units)


def _speed(index: int, seen: Seen, session: RangeSession, units: ReplyUnits) -> dict[str, Any]:
    """A speed, and the one that the fit expects."""
    reading = seen.observations[index]
    assert isinstance(reading, SpeedReading)
    row = session.expected.rows[index][0]
    return {
        "speed": units.value(reading.speed, "speed"),
        "expected_speed": _finite(session.expected.value[row], "speed", units),
        "speed_uncertainty": units.value(reading.uncertainty, "speed"),
    }


def _correction(end: int, session: RangeSession, sight: Sight, units: ReplyUnits) -> dict[str, Any]:
    """What one end asks for, up and down and to the side."""
    found = session.corrections
    assert found is not None

    def move(travel: Array, thread: Thread | None, uncertainty: Array) -> Any:
        if not np.isfinite(travel[end]):
            return None
        body: dict[str, Any] = {"travel": units.value(travel[end], "length")}
        body["uncertainty"] = _length(uncertainty[end], units)
        if thread is not None:
            body["turns"] = units.value(thread.turns(travel[end]), "number")
            clicks = thread.clicks(travel[end])
            if clicks is not None:
                body["clicks"] = int(clicks)
        return body

    return {
        "elevation": {
            "nudge": move(found.nudge, sight.elevation, found.nudge_uncertainty),
            "beyond_scatter": bool(found.beyond_scatter[end]),
            "move": move(found.move, sight.elevation, found.move_uncertainty),
        },
        "windage": {
            "nudge": move(found.windage_nudge, sight.windage, found.windage_nudge_uncertainty),
            "beyond_scatter": bool(found.windage_beyond_scatter[end]),
            "move": move(found.windage_move, sight.windage, found.windage_move_uncertainty),
        },
    }
