"""What /v1/overshoot says of danger and of its assumptions."""

from collections.abc import Mapping, Sequence
from typing import Any

from arrowloft.api.archer.groups import group_notes
from arrowloft.api.conditions import LIGHT_ARROW
from arrowloft.api.overshoot.overshoot_members import EYE_HEIGHT
from arrowloft.api.replies import ReplyUnits
from arrowloft.core.archer.groups import Group
from arrowloft.core.arrays import Array
from arrowloft.core.overshoot.carry import Area, Carry
from arrowloft.core.overshoot.guidance import Quoted
from arrowloft.core.overshoot.scene import Kind
from arrowloft.plugin import Note

BEYOND_QUOTED = "overshoot-beyond-quoted"

CAUTIONS = (
    Note(
        "overshoot-approves-no-ground",
        "This reply approves no ground. The quoted overshoot distances assume low shots: an arrow "
        "of a modern compound bow loosed at 40 deg carries several hundred metres. The governing "
        "body, the insurer, the ground's own rules and local law decide what must be kept free.",
    ),
    Note(
        "overshoot-sticks",
        "Every arrow is taken to stick where its tip meets the ground. Arrows that skip, slide or "
        "glance off go farther, and aside: that is not computed.",
    ),
    Note(
        "overshoot-one-bow",
        "These are the figures of one bow and one arrow. A ground is laid out for the one that "
        "carries farthest of all that shoot on it: a light arrow from a fast bow.",
    ),
)

GAP = 1.0
"""m; a butt whose lower edge is higher above the ground lets arrows pass that are not counted."""

FOREMOST = (
    LIGHT_ARROW,
    BEYOND_QUOTED,
    "overshoot-nothing-stops",
    "overshoot-group-stopped",
    "overshoot-gross-stopped",
    "overshoot-butt-gap",
    "overshoot-one-bow",
    "overshoot-sticks",
)
"""Codes of the notes that a picture carries too, in this order."""

_STILL = Note(
    "overshoot-still-air",
    "Computed in still air, as no wind is given. A tail wind carries arrows farther, a cross wind "
    "aside: ask with the strongest wind that is shot in.",
)
_WIND = Note(
    "overshoot-steady-wind",
    "Computed in the wind given, steady and level up to the top of every arc. Wind is stronger "
    "higher up; a tail wind carries arrows farther, a cross wind aside. The archer is taken not "
    "to aim off. The farthest carry is that straight ahead: an arrow loosed aside, more with the "
    "wind, may carry farther.",
)
_NOTHING_STOPS = Note(
    "overshoot-nothing-stops",
    "No butt is given, so nothing stops an arrow: the whole group lands behind the target.",
)
_BUTT = Note(
    "overshoot-butt-holds",
    "The butt is taken to stop every arrow that meets it, and every arrow that would pass under "
    "it. Worn butts let arrows through.",
)
_NO_GROUP = Note(
    "overshoot-no-group",
    "No group is given: give `group` to see where the arrows land that miss the butt by scatter.",
)
_GROUP_STOPPED = Note(
    "overshoot-group-stopped",
    "Of the group's share asked for, every arrow meets what stops it: the group has no area. The "
    "others of its arrows, and gross errors, are not stopped by that.",
)
_GROSS_STOPPED = Note(
    "overshoot-gross-stopped",
    "The butt, or ground in front of it, stops every direction of the gross errors given, so they "
    "have no area. Larger errors, and lower ones beside the butt, are not stopped by that.",
)


def assumed(asked: Mapping[str, Any], units: ReplyUnits) -> list[Note]:
    """What the request left open."""
    notes = [_STILL if not asked.get("wind", {}).get("speed") else _WIND]
    if "terrain" not in asked:
        notes.append(
            Note(
                "overshoot-level-ground",
                "The ground is taken as level, and the eye as "
                f"{units.text(EYE_HEIGHT, 'distance')} above it: give `terrain`. Over ground "
                "that falls away behind the target arrows carry farther.",
            )
        )
    notes.append(_BUTT if "butt" in asked else _NOTHING_STOPS)
    if "group" not in asked:
        notes.append(_NO_GROUP)
    return notes


def stopped(asked: Mapping[str, Any], group: Area | None, gross: Area | None) -> list[Note]:
    """Areas that are not there because the butt stops all of their arrows."""
    notes = []
    if "group" in asked and group is None:
        notes.append(_GROUP_STOPPED)
    if gross is None:
        notes.append(_GROSS_STOPPED)
    return notes


def butt_gap(lower: float, units: ReplyUnits) -> list[Note]:
    """A caution where the butt's lower edge is well over the ground, by `lower` m."""
    if lower <= GAP:
        return []
    return [
        Note(
            "overshoot-butt-gap",
            f"The butt's lower edge is {units.roughly(lower, 'distance')} above the ground, but "
            "the butt is taken to reach down to it: arrows that pass under it are not counted in "
            "the areas. Give the ground there, or a butt that is as it stands.",
        )
    ]


def reached(
    kinds: Sequence[Kind], ways: Array, areas: Mapping[str, Area | None]
) -> list[tuple[str, float]]:
    """Who lands how far away at most, m: as aimed, wrong releases, the draw, the areas."""
    rows = (("mark", "the arrow as aimed"), ("release", "wrong releases"), ("draw", "the draw"))
    found = [
        (name, max(float(way) for one, way in zip(kinds, ways, strict=True) if one == kind))
        for kind, name in rows
        if kind in kinds
    ]
    named = (("the group", areas["group"]), ("gross errors", areas["gross"]))
    return found + [(name, area.farthest) for name, area in named if area is not None]


def beyond(
    quoted: Sequence[tuple[Quoted, float]],
    reaches: Sequence[tuple[str, float]],
    units: ReplyUnits,
) -> list[Note]:
    """A caution where any arrow lands beyond a quoted distance; reaches: as of `reached`."""
    over = [
        f"{what} by {units.roughly(far - way, 'distance')} beyond {one.code}"
        for one, way in quoted
        for what, far in reaches
        if far > way
    ]
    if not over:
        return []
    return [
        Note(
            BEYOND_QUOTED,
            f"Arrows land beyond quoted distances: {'; '.join(over)}. Ground out to where the "
            "farthest of them land, or something that stops arrows, is needed for such errors.",
        )
    ]


def pictured(notes: Sequence[Note]) -> tuple[str, ...]:
    """The sentences that belong under the picture."""
    return tuple(note.message for code in FOREMOST for note in notes if note.code == code)


def unfollowed(missing: bool) -> list[Note]:
    """A word where some flight could not be followed."""
    if not missing:
        return []
    return [
        Note(
            "overshoot-not-followed",
            "Some arrow could not be followed to the ground, so its figures are null: take it to "
            "land as far as the farthest carry.",
        )
    ]


def doubt(farthest: Carry, units: ReplyUnits) -> list[Note]:
    """A word where speed and drag are not known well: areas and landings are without that."""
    if farthest.upper <= farthest.distance:
        return []
    more = farthest.upper / farthest.distance - 1.0
    return [
        Note(
            "overshoot-doubt",
            "Landings, areas and what is inside quoted distances are for speed and drag as they "
            "are given. Two standard uncertainties of both carry the farthest arrow to "
            f"{units.roughly(farthest.upper, 'distance')}, {100 * more:.0f} % farther: leave at "
            "least that share for the others too.",
        )
    ]


def group_rests_on(group: Group) -> list[Note]:
    """What the group's area makes of the number of its arrows."""
    if group.arrows is None:
        return [
            Note(
                "group-arrows-unsaid",
                "How many arrows the group rests on was not said: its standard deviations are "
                "taken as exact. Give `group.arrows`.",
            )
        ]
    return group_notes(group)
