"""Where arrows landed, in requests: arrow by arrow, or their centre and how they scattered."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from marshmallow import ValidationError

from arrowloft.api.fields import Items, Part, Quantity, WholeNumber
from arrowloft.api.schemas import Member, Strict
from arrowloft.core.archer.archer_scatter import KNOWN_DEGREES, USUAL, ArcherScatter
from arrowloft.core.archer.flyers import flyers
from arrowloft.core.archer.groups import LEAST_ARROWS, MOST_ARROWS, Group
from arrowloft.core.archer.landed import Landed
from arrowloft.core.arrays import Array
from arrowloft.plugin import Note

_FARTHEST = 5.0
"""Farthest from the aim point that an arrow may have landed, up or sideways, m."""

_MOST_LISTED, _MOST_COUNTED = 60, 10_000
_CENTRE = ("up", "right", "arrows", "vertical", "sideways", "diameter")
_SPREADS = ("vertical", "sideways", "diameter")
_FORMS = (
    "either `impacts`, arrow by arrow, or the centre of the arrows: `up` (and `right`), with "
    "`arrows` and, where it is known, `vertical` or `diameter`"
)


def _place(description: str, example: str, **options: Any) -> Quantity:
    return Quantity(
        "length", description, example=example, low=-_FARTHEST, high=_FARTHEST, **options
    )


class Impact(Strict):
    """Where one arrow landed, seen from the aim point."""

    up = _place("Above the aim point; negative: below.", "3 cm", required=True)
    right = _place("To the right of the aim point; negative: to the left.", "-1.5 cm")


def landed_members() -> dict[str, Member]:
    """The request members that say where arrows landed; `check_landed` holds them together."""
    return {
        "impacts": Items(
            Part(Impact()),
            "Where each arrow landed; `right` of all of them, or of none.",
            most=_MOST_LISTED,
        ),
        "up": _place("In place of `impacts`: the arrows' centre above the aim point.", "3 in"),
        "right": _place("Their centre to the right of the aim point, where it was noted.", "1 in"),
        "arrows": WholeNumber(
            "How many arrows have this centre; left out, one.", low=1, high=_MOST_COUNTED
        ),
        "vertical": Quantity(
            "length",
            "Standard deviation of these arrows up and down, about their own centre.",
            example="35 mm",
            low=0.0,
            high=2.0,
        ),
        "sideways": Quantity(
            "length",
            "Their standard deviation sideways; left out, as up and down.",
            example="28 mm",
            low=0.0,
            high=2.0,
        ),
        "diameter": Quantity(
            "length",
            "Greatest distance between any two of these arrows, centre to centre; in place of "
            f"the standard deviations, for {LEAST_ARROWS} to {MOST_ARROWS} arrows.",
            example="12 cm",
            low=0.0,
            high=10.0,
        ),
    }


def check_landed(data: Mapping[str, Any]) -> None:
    """Raise ValidationError, with the member's name, unless the members make one form."""
    given = [name for name in _CENTRE if name in data]
    if "impacts" in data:
        if given:
            raise ValidationError(f"Give {_FORMS}: leave this out beside `impacts`.", given[0])
        _check_impacts(data["impacts"])
    elif not given:
        raise ValidationError(f"Say where the arrows landed: give {_FORMS}.")
    elif "up" not in data:
        raise ValidationError("Give the height of the arrows' centre too.", "up")
    else:
        _check_spread(data)


def _check_impacts(impacts: list[Mapping[str, Any]]) -> None:
    """`right` of all or of none; the arrows that lack it are named."""
    missing = [index for index, impact in enumerate(impacts) if "right" not in impact]
    if missing and len(missing) < len(impacts):
        sentence = "Other arrows have `right`: give it here too, or leave it out of all."
        raise ValidationError({"impacts": {index: {"right": [sentence]} for index in missing}})


def _check_spread(data: Mapping[str, Any]) -> None:
    """One form of the scatter, of a number of arrows that has one."""
    spread = [name for name in _SPREADS if name in data]
    if not spread:
        return
    if "diameter" in data and len(spread) > 1:
        raise ValidationError(
            "Give the scatter in one form, `vertical` (and `sideways`, where it differs) or "
            "`diameter`, not both.",
            spread[0],
        )
    if spread == ["sideways"]:
        raise ValidationError(
            "Give the standard deviation up and down too, beside `sideways`.", "vertical"
        )
    if "arrows" not in data:
        raise ValidationError("Say how many arrows scattered so.", "arrows")
    if data["arrows"] < LEAST_ARROWS:
        raise ValidationError(
            f"One arrow does not scatter: give the number of arrows, or leave out `{spread[0]}`.",
            "arrows",
        )
    if "diameter" in data and data["arrows"] > MOST_ARROWS:
        raise ValidationError(
            f"A diameter tells the scatter of {LEAST_ARROWS} to {MOST_ARROWS} arrows: give "
            "`vertical` and `sideways` as standard deviations, or `impacts`.",
            "arrows",
        )


def landed_of(distance: float, data: Mapping[str, Any]) -> Landed:
    """The arrows of checked members, shot at a distance, m."""
    if "impacts" in data:
        return Landed.of_arrows(distance, *_places(data["impacts"]))
    centre, arrows = (distance, data["up"], data.get("right")), data.get("arrows", 1)
    if "diameter" in data:
        return Landed.of_diameter(*centre, arrows, data["diameter"])
    if "vertical" in data:
        vertical = data["vertical"]
        return Landed.of_deviations(*centre, arrows, vertical, data.get("sideways", vertical))
    return Landed(distance=distance, up=centre[1], right=centre[2], arrows=arrows)


def without_flyers(
    distance: float, data: Mapping[str, Any], group: Group | None
) -> tuple[Landed, list[int]]:
    """The arrows of checked members but for flyers, and the positions of these in `impacts`."""
    if "impacts" not in data:
        return landed_of(distance, data), []
    up, right = _places(data["impacts"])
    out = flyers(distance, up, right, group)
    kept = np.delete(np.arange(up.size), out)
    return Landed.of_arrows(distance, up[kept], None if right is None else right[kept]), out


def _places(impacts: list[Mapping[str, Any]]) -> tuple[Array, Array | None]:
    """Places up and right of arrows listed one by one, (arrows,), m."""
    up = np.array([impact["up"] for impact in impacts])
    if "right" not in impacts[0]:
        return up, None
    return up, np.array([impact["right"] for impact in impacts])


def flyer_note(where: str, out: list[int]) -> Note:
    """Arrows that were left out; where: JSON pointer to what lists them."""
    arrows = ", ".join(f"{where}/impacts/{index}" for index in out)
    return Note(
        "flyer-left-out",
        f"Left out as {'a flyer' if len(out) == 1 else 'flyers'}, too far from the others for "
        f"their scatter: {arrows}.",
    )


def odd_note(where: str) -> Note:
    """Arrows that scatter as this archer's do not; where: JSON pointer to them."""
    return Note(
        "scatter-odd",
        f"The arrows of {where} scatter as this archer's others do not: their scatter was not "
        "counted. Check the unit, and whether each arrow was written down once.",
    )


def landed_notes(*unsaid: str) -> list[Note]:
    """What was assumed where the number of arrows was not said; JSON pointers to where."""
    if not unsaid:
        return []
    return [
        Note(
            "arrows-assumed",
            f"How many arrows landed there was not said ({', '.join(unsaid)}): one is assumed, "
            "whose place says the least. Give `arrows`.",
        )
    ]


def counts_unsaid(data: Mapping[str, Any]) -> bool:
    """Whether checked members leave the number of arrows open."""
    return "up" in data and "arrows" not in data


def scatter_notes(scatter: ArcherScatter) -> list[Note]:
    """What was assumed of the archer's scatter where no group is known from before."""
    if not scatter.assumed:
        return []
    return [
        Note(
            "scatter-assumed",
            f"No group of this archer was given: a usual scatter of {1e3 * USUAL:.3g} mrad up and "
            f"sideways ({6000 * USUAL:.3g} cm at 60 m), half or twice as much being just as "
            "likely, is assumed and outweighed by that of the arrows themselves where it is "
            "known. Give `group`, better still one of many arrows.",
        )
    ]


def group_count_notes(group: Group | None) -> list[Note]:
    """A word where a group does not say how many arrows it rests on."""
    if group is None or group.arrows is not None:
        return []
    return [
        Note(
            "group-arrows-assumed",
            "How many arrows the group rests on was not said: it counts as one of "
            f"{KNOWN_DEGREES + 1:.0f}. Give `group.arrows`.",
        )
    ]
