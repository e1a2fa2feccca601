"""What /v1/overshoot says of danger and of its assumptions."""

from collections.abc import Mapping, Sequence
from typing import Any

from arrowloft.api.overshoot.overshoot_members import EYE_HEIGHT
from arrowloft.api.replies import ReplyUnits
from arrowloft.core.overshoot.carry import Area
from arrowloft.core.overshoot.guidance import Quoted
from arrowloft.plugin import Note

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

_STILL = Note(
    "overshoot-still-air",
    "Computed in still air, as no wind is given. A tail wind carries arrows farther, a cross wind "
    "aside: ask with the strongest wind that is shot in.",
)
_WIND = Note(
    "overshoot-steady-wind",
    "Computed in the wind given, steady and level up to the top of every arc. Wind is stronger "
    "higher up; a tail wind carries arrows farther, a cross wind aside. The archer is taken not "
    "to aim off.",
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


def beyond(
    quoted: Sequence[tuple[Quoted, float]],
    areas: Mapping[str, Area | None],
    units: ReplyUnits,
) -> list[Note]:
    """A caution where arrows of an area land beyond a quoted distance."""
    over = [
        f"{what} by {units.roughly(area.farthest - way, 'distance')} beyond {one.code}"
        for one, way in quoted
        for what, area in (("the group", areas["group"]), ("gross errors", areas["gross"]))
        if area is not None and area.farthest > way
    ]
    if not over:
        return []
    return [
        Note(
            "overshoot-beyond-quoted",
            f"Arrows land beyond quoted distances: {'; '.join(over)}. Ground out to the farthest "
            "place of the areas, or something that stops arrows, is needed for such errors.",
        )
    ]


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
