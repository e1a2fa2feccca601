"""From a clearance to what its picture shows."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from arrowloft.api.path.obstacles import obstacles_of
from arrowloft.api.path.passing import Case
from arrowloft.api.sight.housing import ALWAYS, housing_limit, housing_of
from arrowloft.core.flight.distances import aim_at_distances
from arrowloft.core.path.scene import Scene, UnderHousing, ground_line, way
from arrowloft.plugin import Note

_ALARMS = ("obstacle-touched", "path-below-ground", "housing-blocks")
"""Codes of the notes that belong over the picture: what must not be shot."""

_CAUTIONS = (
    "touch-likely",
    "margin-uncertain",
    "low-arrow-meets-ground",
    "face-below-ground",
    "not-aimed-off",
    "shaft-only",
    "margins-of-one-arrow",
    "clearance-limits",
    "touched-arrow",
)
"""Codes of the notes that belong under it, the worst first."""


def scene_of(case: Case, notes: Sequence[Note]) -> Scene:
    """What is drawn of a clearance whose reply has been made; notes: of that reply."""
    asked, loosed = case.asked, case.loosed
    found = obstacles_of(asked.get("obstacles", ()), loosed.target, case.ground, case.setup.units)
    passes = way(
        loosed,
        case.envelope,
        case.group,
        case.share,
        found.names,
        found.distance,
        found.patches,
    )
    diameter = asked.get("face_diameter")
    return Scene(
        flown=passes.flown,
        band=passes.band,
        lane=passes.lane,
        share=case.share,
        envelope=case.envelope,
        passed=passes.passed,
        ground=None if case.ground is None else ground_line(case.ground),
        face=None if diameter is None else 0.5 * diameter,
        housing=_housing(case, asked) if "housing" in asked else None,
        alarms=_told(notes, _ALARMS),
        cautions=_told(notes, _CAUTIONS),
    )


def _told(notes: Sequence[Note], codes: Sequence[str]) -> tuple[str, ...]:
    return tuple(note.message for code in codes for note in notes if note.code == code)


def _housing(case: Case, asked: Mapping[str, Any]) -> UnderHousing:
    housing = housing_of(asked["housing"], asked, [])
    shot, radius = case.loosed.shot, asked["sight"]["radius"]
    marks = np.sort(np.asarray(asked["marks"], dtype=float))
    angle = aim_at_distances(shot, marks).aimed.launch_angle
    farthest, word = housing_limit(housing, shot, radius)
    return UnderHousing(
        distance=marks,
        clearance=housing.clearance(shot, radius, angle),
        farthest=float("nan") if farthest is None else farthest,
        always=word == ALWAYS,
    )
