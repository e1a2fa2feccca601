"""From compared lanes to what the reply says of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from arrowloft.api import replies
from arrowloft.api.comparing.comparison_schemas import COLUMNS
from arrowloft.api.comparing.lanes import Lane, Lanes
from arrowloft.api.comparing.ranges import any_left, drag_ranges, launch_ranges
from arrowloft.api.replies import Column, ReplyUnits, significant
from arrowloft.api.tables import columns
from arrowloft.core.arrays import Array
from arrowloft.core.comparing.partings import Parting
from arrowloft.core.comparing.paths import Paths
from arrowloft.core.comparing.side_by_side import SideBySide
from arrowloft.plugin import Note

PARTED: Mapping[str, str] = {
    "height": "parted_in_height_from",
    "right": "parted_sideways_from",
    "clicks": "parted_in_clicks_from",
}
"""Parting -> member of the summary: the distance from which on a lane differs."""


@dataclass(frozen=True)
class Compared:
    """Lanes and what was computed of them.

    partings: by what they were found for, "height", "right" or "clicks".
    """

    units: ReplyUnits
    lanes: Lanes
    table: SideBySide
    partings: Mapping[str, Parting]

    def rows(self, lane: int) -> list[Column]:
        """The rows of one lane."""
        return columns(self.table.of(lane), COLUMNS)

    def airspeeds(self, lane: int) -> tuple[float, float]:
        """Least and greatest airspeed of one lane, m/s; NaN where it reaches nothing."""
        table = self.table
        return float(table.least_airspeed[lane]), float(table.greatest_airspeed[lane])

    def reply(self) -> dict[str, Any]:
        """The members `baseline`, `summary` and `lanes`."""
        every = range(len(self.lanes.lanes))
        told = [self._lane(lane) for lane in every]
        return {
            "baseline": _labels(self.lanes.lanes[self.table.baseline]),
            "summary": [self._summary(lane, told[lane]) for lane in every],
            "lanes": told,
        }

    def solution(self) -> dict[str, float]:
        """The member `solution`."""
        table = self.table
        flown = float(np.nanmin(table.least_airspeed)), float(np.nanmax(table.greatest_airspeed))
        return replies.solution(self.units, flown, angle=table.error, position=table.position_error)

    def short_notes(self) -> list[Note]:
        """Lanes that do not reach every distance, or could not be followed."""
        notes = []
        for index, lane in enumerate(self.lanes.lanes):
            farthest = self.table.farthest[index]
            if not self.table.followed[index]:
                notes.append(
                    Note(
                        "lane-not-followed",
                        f"The flights of {lane.words} cannot be followed, and its rows are null: "
                        "its drag or its speed describes an arrow that hardly flies.",
                    )
                )
            elif np.isfinite(farthest):
                far = self.units.text(farthest, "distance")
                notes.append(
                    Note(
                        "lane-beyond-reach",
                        f"The {lane.words} reaches {far} at most; its rows beyond are null.",
                    )
                )
        return notes

    def _lane(self, index: int) -> dict[str, Any]:
        lane, setup = self.lanes.lanes[index], self.lanes.lanes[index].setup
        airspeeds, notes = self.airspeeds(index), self.lane_notes(index)
        far = self.table.farthest[index]
        return {
            "labels": _labels(lane),
            "baseline": index == self.table.baseline,
            "launch": setup.launch_reply() | {"validity": launch_ranges(lane)},
            "drag": setup.drag_reply() | {"validity": drag_ranges(lane, airspeeds)},
            "farthest": self.units.value(far, "distance") if np.isfinite(far) else None,
            "partings": {
                name: self._parting(found, index) for name, found in self.partings.items()
            },
            "notes": [{"code": note.code, "message": note.message} for note in notes],
            "rows": self.units.json_rows(self.rows(index)),
        }

    def _summary(self, index: int, told: Mapping[str, Any]) -> dict[str, Any]:
        table = self.table
        found: dict[str, Any] = {
            "labels": told["labels"],
            "baseline": told["baseline"],
            "launch_speed": told["launch"]["speed"],
            "up": self._greatest(table.up[index]),
            "right": self._greatest(table.right[index]),
        }
        if table.travel_difference is not None:
            found["travel_difference"] = self._greatest(table.travel_difference[index])
        for name, parting in told["partings"].items():
            found[PARTED[name]] = None if parting is None else parting["distance"]
        found["range_left"] = any_left(told["launch"]["validity"], told["drag"]["validity"])
        return found

    def _greatest(self, values: Array) -> dict[str, float] | None:
        if np.isnan(values).all():
            return None
        at = int(np.nanargmax(np.abs(values)))
        return {
            "difference": self.units.value(values[at], "length"),
            "distance": self.units.value(self.table.distance[at], "distance"),
        }

    def lane_notes(self, index: int) -> list[Note]:
        """What the models of one lane say of it.

        Raises Problem where one refuses what was flown.
        """
        lane, airspeeds = self.lanes.lanes[index], self.airspeeds(index)
        notes = list(lane.setup.notes)
        return notes + list(lane.flown_notes(airspeeds)) if np.isfinite(airspeeds).all() else notes

    def _parting(self, found: Parting, index: int) -> dict[str, Any] | None:
        distance = found.distance[index]
        if np.isnan(distance):
            return None
        return {
            "distance": self.units.value(distance, "distance"),
            "at_nearest": bool(distance == self.table.distance.min()),
            "difference": self._length(found.difference[index]),
            "reynolds": _reynolds(
                found.reynolds_at_launch[index], found.reynolds_at_arrival[index]
            ),
            "baseline_reynolds": _reynolds(
                found.baseline_at_launch[index], found.baseline_at_arrival[index]
            ),
        }

    def _length(self, value: float) -> float | None:
        return None if np.isnan(value) else self.units.value(value, "length")


def path_reply(units: ReplyUnits, target: float, found: Paths) -> dict[str, Any]:
    """The member `path`, up to where the last of the arrows arrives."""
    flown = np.flatnonzero(np.isfinite(found.height).any(axis=0)).max(initial=-1) + 1
    return {
        "target": units.value(target, "distance"),
        "rows": units.json_rows(
            [
                Column("distance", "distance", found.distance[:flown]),
                Column("height", "length", found.height.T[:flown], nullable=True),
            ]
        ),
    }


def csv(compared: Compared) -> tuple[list[str], list[Sequence[Any]]]:
    """Headings and rows of one long table, the labels first.

    Raises Problem where a model refuses what was flown, as it does for the other forms.
    """
    units, rows = compared.units, list[Sequence[Any]]()
    for index, lane in enumerate(compared.lanes.lanes):
        compared.lane_notes(index)
        found = compared.rows(index)
        for row in units.rows(found):
            rows.append([lane.launch_label, lane.drag_label, *row])
    return ["launch", "drag", *(units.heading(column) for column in found)], rows


def _labels(lane: Lane) -> dict[str, str]:
    return {"launch": lane.launch_label, "drag": lane.drag_label}


def _reynolds(launch: float, arrival: float) -> dict[str, float | None]:
    numbers = {"launch": float(launch), "arrival": float(arrival)}
    return {name: None if np.isnan(n) else significant(n) for name, n in numbers.items()}
