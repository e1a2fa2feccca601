"""POST /v1/balance: how a bow balances about the grip, before and after a change."""

from typing import Any

from flask import Response, request

from arrowloft.api import reading, replies
from arrowloft.api.bow.balance_members import WAYS, Asked, Hung, Restore, asked_of, members
from arrowloft.api.bow.balance_notes import LIMITS, MECHANICS, cannot_restore, restored_notes
from arrowloft.api.conditions import gravity_of
from arrowloft.api.plain_replies import plain_reply
from arrowloft.api.replies import JSON, ReplyUnits
from arrowloft.api.reply_schemas import (
    many,
    nullable,
    part,
    plain_reply_schema,
    quantity,
    text,
)
from arrowloft.api.resource import Edge, Resource
from arrowloft.api.schemas import Strict, strict
from arrowloft.core.arrays import Array
from arrowloft.core.bow import balance as core
from arrowloft.plugin import Note

_DIMENSIONS = {
    "mass": "mass",
    "forward": "length",
    "right": "length",
    "up": "length",
    "forward_moment": "moment",
    "sideways_moment": "moment",
}
"""Of the figures of `BalanceFigures`, in its order."""


class BalanceFigures(Strict):
    """Mass, centre of mass and static moments."""

    mass = quantity("mass", "Mass.")
    forward = quantity("length", "Centre of mass ahead of the grip's pivot point.")
    right = quantity("length", "Centre of mass to the archer's right of it.")
    up = quantity("length", "Centre of mass above it.")
    forward_moment = quantity("moment", "Moment of the weight that tips the bow forward.")
    sideways_moment = quantity("moment", "Moment of the weight that tips the bow to the right.")


class BalanceShare(BalanceFigures):
    """One item, and what it adds to the moments."""

    name = text("The item.")


class BalanceState(BalanceFigures):
    """The bow as a whole, and each item on it."""

    items = many(BalanceShare(), "Each item, in the order given; new ones last.")


class BalanceRestored(Strict):
    """The item that brings the moments back, and what stays different."""

    item = text("The item.")
    by = text("What was chosen.", enum=list(WAYS))
    mass = quantity("mass", "Mass that it then has.")
    mass_change = quantity("mass", "By how much it is heavier than after the change.")
    forward = quantity("length", "Where its centre of mass then is, ahead of the pivot point.")
    forward_change = quantity("length", "Farther forward than after the change.")
    right = quantity("length", "The same to the right of the pivot point.")
    right_change = quantity("length", "Farther to the right than after the change.")
    bow = part(BalanceFigures(), "The bow as a whole then.")
    remaining = part(BalanceFigures(), "What stays different: the bow then, less the bow before.")


_REPLY: dict[str, Any] = {
    "before": part(BalanceState(), "The bow as given."),
    "after": part(BalanceState(), "The bow after the change; only with one.", required=False),
    "change": part(
        BalanceFigures(), "After less before, in each figure; only with a change.", required=False
    ),
    "restored": nullable(
        part(
            BalanceRestored(),
            "What brings the moments back, only where it was asked for; null where this item "
            "cannot: a note says why.",
            required=False,
        )
    ),
}


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = strict("BalanceRequest", members())()

    def view() -> Response:
        replies.negotiate(request, JSON)
        body = schema.read(reading.read_object(request, edge.limits))
        asked, units = asked_of(body), ReplyUnits(body.get("units", {}))
        notes: list[Note] = []
        gravity = gravity_of(body, notes)
        own, found = _weighed(asked, gravity, units)
        notes = [LIMITS, *found, MECHANICS, *notes]
        return replies.json_reply(plain_reply(own, notes, gravity, units))

    return Resource(
        path="/v1/balance",
        name="balance",
        summary="How the bow balances",
        description="Takes what hangs on a bow, each with its mass and its place relative to the "
        "grip's pivot point. Gives mass, centre of mass and static moments, before and after a "
        "change, and the mass or the place of one item that brings a moment back. Mechanics "
        "only: how a bow should balance is not said.",
        view=view,
        request=schema,
        reply=plain_reply_schema("BalanceReply", _REPLY),
    )


def _weighed(asked: Asked, gravity: float, units: ReplyUnits) -> tuple[dict[str, Any], list[Note]]:
    """The reply's own members, and what to say of them."""
    before = core.balance(asked.before.items, gravity)
    own: dict[str, Any] = {"before": _state(asked.before, before, units)}
    if asked.after is None:
        return own, []
    after = core.balance(asked.after.items, gravity)
    own["after"] = _state(asked.after, after, units)
    own["change"] = _difference(after, before, units)
    if asked.restore is None:
        return own, []
    try:
        items = _restored(asked.restore, asked.before.items, asked.after.items)
    except core.CannotRestore as error:
        return own | {"restored": None}, [cannot_restore(asked.restore.name, error, units)]
    bow = core.balance(items, gravity)
    own["restored"] = {
        "item": asked.restore.name,
        "by": "mass" if asked.restore.by_mass else "length",
        **_moved(items, asked.after.items, asked.restore.item, units),
        "bow": _figures(bow.mass, bow.centre, bow.moment, units),
        "remaining": _difference(bow, before, units),
    }
    left = bow.moment - before.moment
    return own, restored_notes(asked.restore, asked.after.items, items, left, units)


def _restored(restore: Restore, before: core.Items, after: core.Items) -> core.Items:
    if restore.by_mass:
        return core.restored_by_mass(before, after, restore.item, restore.axes[0])
    return core.restored_by_place(before, after, restore.item, restore.axes)


def _figures(mass: float, place: Array, moment: Array, units: ReplyUnits) -> dict[str, Any]:
    values = (mass, *place, *moment)
    return {
        name: units.value(value, _DIMENSIONS[name])
        for name, value in zip(_DIMENSIONS, values, strict=True)
    }


def _state(hung: Hung, found: core.Balance, units: ReplyUnits) -> dict[str, Any]:
    items = hung.items
    return _figures(found.mass, found.centre, found.moment, units) | {
        "items": [
            {"name": name} | _figures(mass, place, moment, units)
            for name, mass, place, moment in zip(
                hung.names, items.mass, items.position, found.item_moment, strict=True
            )
        ]
    }


def _difference(one: core.Balance, other: core.Balance, units: ReplyUnits) -> dict[str, Any]:
    return _figures(
        one.mass - other.mass, one.centre - other.centre, one.moment - other.moment, units
    )


def _moved(items: core.Items, after: core.Items, item: int, units: ReplyUnits) -> dict[str, Any]:
    """Mass and place of the item that restores, and how they differ from the change's."""
    new, old = ([one.mass[item], *one.position[item]] for one in (items, after))
    found: dict[str, Any] = {}
    for index, name in enumerate(("mass", "forward", "right")):
        found[name] = units.value(new[index], _DIMENSIONS[name])
        found[f"{name}_change"] = units.value(new[index] - old[index], _DIMENSIONS[name])
    return found
