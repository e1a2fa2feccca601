"""The archer's group in requests and replies: the scatter of the impacts at a distance."""

from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError

from arrowloft.api.fields import Part, Quantity, WholeNumber
from arrowloft.api.replies import ReplyUnits
from arrowloft.api.reply_schemas import number, quantity, whole
from arrowloft.api.schemas import Member, Strict
from arrowloft.api.shared import distance
from arrowloft.core import groups as core
from arrowloft.plugin import Note

GROUP = (
    "The archer's own group, with this bow: standard deviations of the impacts up and sideways "
    "(`vertical`, `sideways`), or the greatest distance between two of them (`diameter`, "
    "`arrows`)."
)

_ROUGH = 0.15
_MOST_COUNTED = 10_000
_TWO_FORMS = (
    "Give the group in one form: `vertical` (and `sideways`, where it differs) as standard "
    "deviations, or `diameter` with `arrows`"
)


class Group(Strict):
    """An archer's group: standard deviations, or a diameter and how many arrows made it."""

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

    def check(self, data: dict[str, Any]) -> None:
        """One form or the other."""
        deviations = [name for name in ("vertical", "sideways") if name in data]
        if "diameter" not in data:
            if not deviations:
                raise ValidationError(f"{_TWO_FORMS}.")
            if "vertical" not in data:
                raise ValidationError(
                    "Give the standard deviation up and down too, beside `sideways`.", "vertical"
                )
        elif deviations:
            raise ValidationError(f"{_TWO_FORMS}, not both.", deviations[0])
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
