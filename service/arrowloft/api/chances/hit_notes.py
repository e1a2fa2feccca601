"""What a probability of a hit rests on, the worst first."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from arrowloft.api.archer.groups import group_notes
from arrowloft.api.chances.hit_members import IN_GROUP
from arrowloft.core.archer.groups import Group
from arrowloft.core.chances.hit_probability import HitProbability
from arrowloft.core.chances.sensible_distance import Sensible
from arrowloft.plugin import Note

ROUGH = 1e-3
"""Estimated error of a probability from which on it is called rough."""

_NOT_A_LICENCE = Note(
    "hit-not-licence",
    "A probability of a hit is no licence to shoot: it knows nothing of the animal, of what "
    "stands in the way or behind, nor of whether a hit would be a clean one. Shoot at living "
    "things only where law and licence allow it, within the distance at which you have proven it "
    "on the range, and keep to local law, the ground's rules and licensed practice.",
)
_ROUGH = Note(
    "probability-rough",
    "Some errors are so large that the scatter is far from normal: those probabilities are rough, "
    "as `error` says.",
)
_UNKNOWN = Note(
    "hit-row-unknown",
    "Some rows are null: for a guess two standard deviations off there is no mark, as it is too "
    "near or beyond reach, or an arrow that far off does not arrive. Ask for other distances, or "
    "give smaller errors.",
)
_DRAINED = Note(
    "group-smaller-than-errors",
    "The errors taken to be in the group already (`in_group`; left out, speed) make more scatter "
    "at its distance than the group has: nothing else is left of it there. Check them and the "
    "group, or leave them out of `in_group`.",
)
_MARKS_EXACT = Note(
    "marks-exact",
    "The marks are taken as exact: give errors.mark, as a calibration has it in "
    "`height_uncertainty`, to let them be as sure as they are.",
)
_WIND_IGNORED = Note(
    "wind-not-allowed-for",
    "The archer is taken not to allow for the drift of `wind`: the mean impact is off by it.",
)
_FIELD = Note(
    "range-day-group",
    "The group is taken as the archer shoots it there: cold, haste, a steep slope or a living "
    "target widen it, and no figure here knows by how much.",
)

_FOREMOST = (
    "group-smaller-than-errors",
    "wind-not-allowed-for",
    "range-day-group",
    "hit-not-licence",
)
"""Codes of the notes that belong under the picture, the worst first."""


def hit_notes(
    asked: Mapping[str, Any], group: Group, found: HitProbability, farthest: Sensible | None
) -> list[Note]:
    """The computation's own notes; the worst of them foremost."""
    notes = []
    if "zone" in asked or "rings" in asked["face"]:
        notes.append(_NOT_A_LICENCE)
    if not found.known.all():
        notes.append(_UNKNOWN)
    if np.any(np.nan_to_num(found.error) > ROUGH):
        notes.append(_ROUGH)
    if found.drained:
        notes.append(_DRAINED)
    notes += group_notes(group)
    notes += _correction(group)
    if farthest is not None and np.isnan(farthest.distance):
        notes.append(
            Note(
                "never-likely-enough",
                "Even at the nearest distance looked at the probability is smaller than the one "
                "asked for, or not known: there is no sensible distance to name.",
            )
        )
    if asked.get("wind_allowed_for") is False and asked.get("wind", {}).get("speed"):
        notes.append(_WIND_IGNORED)
    notes += _beside_group(asked)
    notes.append(_FIELD)
    if "mark" not in asked.get("errors", {}):
        notes.append(_MARKS_EXACT)
    return notes


def pictured(notes: Sequence[Note]) -> tuple[str, ...]:
    """The sentences that belong under the picture."""
    return tuple(note.message for code in _FOREMOST for note in notes if note.code == code)


def _correction(group: Group) -> list[Note]:
    """What was done about a group of few arrows."""
    if group.arrows is None:
        return [
            Note(
                "group-arrows-unsaid",
                "How many arrows the group rests on was not said: its standard deviations are "
                "taken as exact. Give `group.arrows`.",
            )
        ]
    if group.from_spread:
        return [
            Note(
                "group-from-spread",
                f"The standard deviation is the diameter over the mean greatest spread of "
                f"{group.arrows} arrows, which allows for their number.",
            )
        ]
    return [
        Note(
            "group-unbiased",
            f"Standard deviations of {group.arrows} arrows are too small in the mean: they were "
            f"multiplied by {group.unbiased:.3f}.",
        )
    ]


def _beside_group(asked: Mapping[str, Any]) -> list[Note]:
    """A word where errors that any group holds are counted beside it, unsaid."""
    beside = [name for name in IN_GROUP[1:] if asked.get("errors", {}).get(name)]
    if "in_group" in asked or not beside:
        return []
    return [
        Note(
            "errors-beside-group",
            f"Counted beside the group: {', '.join(beside)}. What was at work when the group was "
            "shot widened it already: name it in `in_group`, so that it does not count twice.",
        )
    ]
