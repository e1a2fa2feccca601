"""What was seen on the range, from a checked request to what the core takes."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from marshmallow import ValidationError

from arrowloft.api.archer.landed import without_flyers
from arrowloft.api.conditions import air_of, gravity_of
from arrowloft.api.learning.observation_members import FARTHEST, FARTHEST_ASIDE, MARKS
from arrowloft.api.setup import Setup
from arrowloft.core.archer.groups import Group
from arrowloft.core.archer.landed import Landed
from arrowloft.core.chances.budget_inputs import SPEED_SCATTER
from arrowloft.core.learning.observations import End, Observation, SpeedReading
from arrowloft.core.learning.separation import READING
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.sight import Sight, Thread
from arrowloft.plugin import Note

PROVEN_ARROWS = 6
"""Arrows that a proven mark is taken to rest on (common practice)."""


@dataclass(frozen=True, kw_only=True)
class Seen:
    """The observations of a request, in its order.

    observations: as the core takes them, without flyers.
    flyers: of each observation, positions of the arrows left out of it.
    """

    observations: list[Observation]
    flyers: list[list[int]]

    @property
    def ends(self) -> list[int]:
        """Positions of those that are ends of arrows or proven marks."""
        return [at for at, item in enumerate(self.observations) if isinstance(item, End)]

    @property
    def readings(self) -> list[int]:
        """Positions of those that are speeds."""
        return [at for at, item in enumerate(self.observations) if not isinstance(item, End)]


def seen(asked: Mapping[str, Any], setup: Setup, sight: Sight, group: Group | None) -> Seen:
    """The observations of a checked request.

    Raises ValidationError, whose messages say where, for marks that the sight does not have,
    and TooNear, BeyondReach and Unsolved for predicted marks; lanes count the observations
    that `predicted_lanes` lists, then the zero distance.
    """
    items = asked["observations"]
    predicted = _predicted_marks(asked, setup, sight)
    found: list[Observation] = []
    left_out: list[list[int]] = []
    for index, item in enumerate(items):
        shot = _conditions(asked, setup, item)
        if "speed" in item:
            found.append(_speed(item, shot))
            left_out.append([])
            continue
        landed, flown = _landed(item, group)
        with _at(index):
            found.append(
                End(
                    shot=shot,
                    landed=landed,
                    travel=_travel(item.get("mark", {}), sight, predicted.get(index)),
                    windage_travel=_windage_travel(item.get("mark", {}), sight),
                    uncertainty=_uncertainty(item),
                )
            )
        left_out.append(flown)
    return Seen(observations=found, flyers=left_out)


def proven_notes(asked: Mapping[str, Any]) -> list[Note]:
    """A word where proven marks do not say what they rest on."""
    unsaid = [
        f"/observations/{index}"
        for index, item in enumerate(asked["observations"])
        if "proven" in item and "arrows" not in item and "uncertainty" not in item
    ]
    if not unsaid:
        return []
    return [
        Note(
            "proven-by-six-assumed",
            f"Proven marks are taken to rest on {PROVEN_ARROWS} arrows ({', '.join(unsaid)}), "
            "which says how sure they are. Give `arrows` or `uncertainty` where that is not so.",
        )
    ]


def predicted_lanes(asked: Mapping[str, Any]) -> list[int]:
    """Positions of the observations that were shot with a predicted mark."""
    return [
        index
        for index, item in enumerate(asked["observations"])
        if "speed" not in item and _predicted_for(item) is not None
    ]


def _predicted_for(item: Mapping[str, Any]) -> float | None:
    """Distance whose predicted mark was used, m; None for a mark given otherwise."""
    mark = item.get("mark", {})
    if any(name in mark for name in MARKS[:-1]):
        return None
    return float(mark.get("predicted_for", item["distance"]))


def _predicted_marks(asked: Mapping[str, Any], setup: Setup, sight: Sight) -> dict[int, float]:
    """Travel of the predicted marks, in whole clicks where the sight has them, by position."""
    lanes = predicted_lanes(asked)
    if not lanes:
        return {}
    if "launch" not in asked:
        message = (
            "Without a launch model no mark is predicted: say where the sight stood (travel, "
            "turns, clicks or reading), or give `launch`."
        )
        raise ValidationError({"observations": {index: {"mark": [message]} for index in lanes}})
    distances = np.array([_predicted_for(asked["observations"][index]) for index in lanes])
    table = mark_table(setup.shot(asked), replace(sight, pins=()), distances)
    travel = table.travel
    if sight.elevation is not None and table.clicks is not None:
        travel = np.asarray(sight.elevation.travel_of(table.clicks))
    return dict(zip(lanes, travel.tolist(), strict=True))


def _conditions(asked: Mapping[str, Any], setup: Setup, item: Mapping[str, Any]) -> Shot:
    """The set-up in the conditions of one observation."""
    own = {name: item[name] for name in ("slope", "wind") if name in item}
    shot = setup.shot({**asked, **own})
    if "air" not in item and "site" not in item:
        return shot
    # Where the altitude differs, the set-up's pressure does not belong to it.
    base = dict(asked.get("air", {}))
    if "altitude" in item.get("site", {}):
        base.pop("pressure", None)
    there = {
        "air": {**base, **item.get("air", {})},
        "site": {**asked.get("site", {}), **item.get("site", {})},
    }
    assumed: list[Note] = []  # the set-up's own notes say what is assumed of the air
    return shot.with_(air=air_of(there, assumed), gravity=gravity_of(there, assumed))


def _speed(item: Mapping[str, Any], shot: Shot) -> SpeedReading:
    value = item["speed"]["value"]
    usual = float(np.hypot(READING, SPEED_SCATTER * value))
    return SpeedReading(
        shot=shot,
        distance=item["distance"],
        speed=value,
        uncertainty=item["speed"].get("uncertainty", usual),
    )


def _landed(item: Mapping[str, Any], group: Group | None) -> tuple[Landed, list[int]]:
    """Where the arrows landed, and which of them are flyers that were left out."""
    if "proven" in item:
        arrows = item.get("arrows", PROVEN_ARROWS)
        return Landed(distance=item["distance"], up=0.0, arrows=arrows), []
    return without_flyers(item["distance"], item, group)


def _uncertainty(item: Mapping[str, Any]) -> float | None:
    given = item.get("uncertainty")
    return None if given is None else float(given)


def _travel(mark: Mapping[str, Any], sight: Sight, predicted: float | None) -> float:
    """Travel of the pin from the zero mark, m."""
    if predicted is not None:
        return predicted
    if "reading" in mark:
        if sight.scale is None:
            raise ValidationError({"reading": ["This sight has no scale: give sight.scale."]})
        return _within("reading", sight.scale.travel_of(mark["reading"]), FARTHEST)
    if "travel" in mark:
        return float(mark["travel"])
    name = "clicks" if "clicks" in mark else "turns"
    thread = _thread(sight.elevation, name, "")
    if name == "clicks":
        return _within(name, float(thread.travel_of(mark["clicks"])), FARTHEST)
    return _within(name, float(mark["turns"] * thread.travel_per_turn), FARTHEST)


def _windage_travel(mark: Mapping[str, Any], sight: Sight) -> float:
    if "windage_clicks" in mark:
        thread = _thread(sight.windage, "windage_clicks", "windage_")
        travel = float(thread.travel_of(mark["windage_clicks"]))
        return _within("windage_clicks", travel, FARTHEST_ASIDE)
    return float(mark.get("windage_travel", 0.0))


def _within(name: str, travel: float, farthest: float) -> float:
    """The travel, m; ValidationError where no sight has so much."""
    if abs(travel) <= farthest:
        return travel
    raise ValidationError(
        {
            name: [
                f"That is {1e3 * travel:.0f} mm of travel, and {1e3 * farthest:.0f} mm either way "
                "is most: check it, and what the sight moves in a turn or a unit of its scale."
            ]
        }
    )


def _thread(thread: Thread | None, name: str, side: str) -> Thread:
    """The screw that a mark counts; ValidationError where the sight lacks it."""
    if thread is None:
        raise ValidationError(
            {name: [f"This sight's turns are not known: give sight.{side}travel_per_turn."]}
        )
    if "clicks" in name and thread.clicks_per_turn is None:
        raise ValidationError(
            {name: [f"This sight's clicks are not known: give sight.{side}clicks_per_turn."]}
        )
    return thread


@contextmanager
def _at(index: int) -> Iterator[None]:
    """Faults of a mark in here belong to this observation."""
    try:
        yield
    except ValidationError as error:
        raise ValidationError({"observations": {index: {"mark": error.messages}}}) from None
