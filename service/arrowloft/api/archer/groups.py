"""The archer's group in requests and replies: the scatter of the impacts at a distance."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from marshmallow import ValidationError

from arrowloft.api.fields import Items, Part, Quantity, WholeNumber
from arrowloft.api.replies import ReplyUnits
from arrowloft.api.reply_schemas import number, quantity, whole
from arrowloft.api.schemas import Member, Strict
from arrowloft.api.shared import distance
from arrowloft.core.archer import groups as core
from arrowloft.plugin import Note

GROUP = (
    "The archer's own group, with this bow: standard deviations of the impacts up and sideways "
    "(`vertical`, `sideways`), or the greatest distance between two of them (`diameter`, "
    "`arrows`), or where each arrow landed (`impacts`)."
)

_ROUGH = 0.15
_MOST_COUNTED = 10_000
_LEAST_APART = 2e-4
"""m; twice the least standard deviation taken."""
_MOST_LISTED = 100
_FORMS = (
    "Give the group in one form: `vertical` (and `sideways`, where it differs) as standard "
    "deviations, `diameter` with `arrows`, or `impacts`"
)


def _place(description: str, example: str) -> Quantity:
    return Quantity("length", description, example=example, low=-5.0, high=5.0, required=True)


class GroupImpact(Strict):
    """Where one arrow of the group landed."""

    up = _place("Above any one point of the target; negative: below.", "3 cm")
    right = _place("To the right of the same point; negative: to the left.", "-15 mm")


class Group(Strict):
    """An archer's group: standard deviations, a diameter, or the arrows one by one."""

    distance = distance("Distance at which the group was shot.", required=True)
    vertical = Quantity(
        "length",
        "Standard deviation of the impacts up and down.",
        example="35 mm",
        low=1e-4,
        high=2.0,
    )
    sideways = Quantity(
        "length",
        "Standard deviation of the impacts sideways; left out, as up and down.",
        example="28 mm",
        low=1e-4,
        high=2.0,
    )
    diameter = Quantity(
        "length",
        "Greatest distance between any two of the group's impacts, centre to centre; "
        "in place of the standard deviations.",
        example="12 cm",
        low=1e-3,
        high=10.0,
    )
    arrows = WholeNumber(
        "How many arrows the figure rests on; needed with a diameter, and then at most "
        f"{core.MOST_ARROWS}.",
        low=core.LEAST_ARROWS,
        high=_MOST_COUNTED,
    )
    impacts = Items(
        Part(GroupImpact()),
        "Where each arrow landed, in place of the standard deviations: these follow from it.",
        least=core.LEAST_ARROWS,
        most=_MOST_LISTED,
    )

    def check(self, data: dict[str, Any]) -> None:
        """One form of the three."""
        deviations = [name for name in ("vertical", "sideways") if name in data]
        if "impacts" in data:
            others = [*deviations, *(name for name in ("diameter", "arrows") if name in data)]
            if others:
                raise ValidationError(f"{_FORMS}: leave this out.", others[0])
            _check_apart(data["impacts"])
        elif "diameter" not in data:
            if not deviations:
                raise ValidationError(f"{_FORMS}.")
            if "vertical" not in data:
                raise ValidationError(
                    "Give the standard deviation up and down too, beside `sideways`.", "vertical"
                )
        elif deviations:
            raise ValidationError(f"{_FORMS}: leave this out.", deviations[0])
        elif "arrows" not in data:
            raise ValidationError(
                "Say how many arrows made the group: its diameter grows with every arrow.",
                "arrows",
            )
        elif data["arrows"] > core.MOST_ARROWS:
            raise ValidationError(
                f"A diameter tells the scatter of {core.LEAST_ARROWS} to {core.MOST_ARROWS} "
                "arrows: give the diameter of fewer arrows, or standard deviations.",
                "arrows",
            )


def _check_apart(impacts: list[Mapping[str, float]]) -> None:
    """Arrows in one and the same line or place have no standard deviation to go by."""
    for axis in ("up", "right"):
        if np.ptp([impact[axis] for impact in impacts]) < _LEAST_APART:
            raise ValidationError(
                f"These arrows do not differ in `{axis}`: give them as measured, to a millimetre, "
                "or `vertical` and `sideways`.",
                "impacts",
            )


class GroupReply(Strict):
    """The group as the computation took it."""

    distance = quantity("distance", "Distance at which the group was shot.")
    vertical = quantity("length", "Standard deviation of the impacts up and down.")
    sideways = quantity("length", "Standard deviation of the impacts sideways.")
    relative_uncertainty = number(
        "Standard uncertainty of the standard deviations, as a share of them, because they rest "
        "on few arrows; null where their number is not known."
    )
    relative_uncertainty.allow_none = True
    arrows = whole("How many arrows the figure rests on; null where it is not known.")
    arrows.allow_none = True


def group_member(required: bool = False) -> Member:
    """The request member that takes a group."""
    return Part(Group(), GROUP, required=required)


def group_of(asked: Mapping[str, Any]) -> core.Group:
    """The group of a request's `group` member, in SI."""
    if "impacts" in asked:
        up, right = ([impact[axis] for impact in asked["impacts"]] for axis in ("up", "right"))
        return core.Group.of_impacts(asked["distance"], up, right)
    if "diameter" in asked:
        return core.Group.of_diameter(asked["distance"], asked["diameter"], asked["arrows"])
    return core.Group(
        distance=asked["distance"],
        vertical=asked["vertical"],
        sideways=asked.get("sideways", asked["vertical"]),
        arrows=asked.get("arrows"),
    )


def group_reply(group: core.Group, units: ReplyUnits) -> dict[str, Any]:
    """The group in the reply's units, as `GroupReply` has it."""
    doubt = group.relative_uncertainty
    return {
        "distance": units.value(group.distance, "distance"),
        "vertical": units.value(group.vertical, "length"),
        "sideways": units.value(group.sideways, "length"),
        "relative_uncertainty": None if doubt is None else units.value(doubt, "number"),
        "arrows": group.arrows,
    }


def group_notes(group: core.Group) -> list[Note]:
    """A caution where the group rests on so few arrows that shares are rough."""
    doubt = group.relative_uncertainty
    if doubt is None or doubt <= _ROUGH:
        return []
    return [
        Note(
            "group-from-few-arrows",
            f"The group rests on {group.arrows} arrows, which leaves its size uncertain by about "
            f"{100 * doubt:.0f} %: shares of arrows and chances that follow from it are rough. "
            "More arrows would help.",
        )
    ]
