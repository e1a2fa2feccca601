"""The members of /v1/balance: what hangs on the bow, what changes, what brings it back."""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from marshmallow import ValidationError

from arrowloft.api.fields import Choice, Items, Part, Quantity, Text
from arrowloft.api.schemas import Member, Strict
from arrowloft.api.shared import Site, UnitChoice
from arrowloft.api.wording import nearest, shown
from arrowloft.core.bow import balance as core

MOST_ITEMS = 50
_LONGEST_NAME = 60
WAYS = ("mass", "length")
_AXES = ("forward", "right", "up")
_RESTORED = {
    "forward": (core.FORWARD,),
    "right": (core.RIGHT,),
    "both": (core.FORWARD, core.RIGHT),
}


def _name(description: str) -> Text:
    return Text(description, most=_LONGEST_NAME, required=True)


def _mass(**options: Any) -> Quantity:
    return Quantity(
        "mass",
        "Its mass.",
        example="310 g",
        low=core.LIGHTEST,
        high=core.HEAVIEST,
        **options,
    )


def _place(description: str, example: str) -> Quantity:
    return Quantity("length", description, example=example, low=-core.FARTHEST, high=core.FARTHEST)


def _places(left_out: str) -> list[Quantity]:
    return [
        _place(f"Its centre of mass {where} the grip's pivot point; left out, {left_out}.", example)
        for where, example in (
            ("ahead of", "160 mm"),
            ("to the archer's right of", "45 mm"),
            ("above", "110 mm"),
        )
    ]


class BalanceItem(Strict):
    """A thing on the bow: its mass, and where its centre of mass is."""

    name = _name("What it is called here; each name once.")
    mass = _mass(required=True)
    forward, right, up = _places("0")


class BalanceReplacement(Strict):
    """An item by its name, with what differs."""

    name = _name("Name of the item in `items`.")
    mass = _mass()
    forward, right, up = _places("as before")

    def check(self, data: dict[str, Any]) -> None:
        """Something must differ."""
        if len(data) < 2:
            raise ValidationError("Give what differs: mass, forward, right or up.")


class BalanceChange(Strict):
    """A change of what hangs on the bow."""

    replace = Items(
        Part(BalanceReplacement()),
        "Items that get another mass or place, such as a heavier sight: by name, what is left "
        "out stays.",
        most=MOST_ITEMS,
    )
    add = Items(Part(BalanceItem()), "Items that are new.", most=MOST_ITEMS)
    remove = Items(
        Text("Name of the item in `items`.", most=_LONGEST_NAME),
        "Names of items that come off.",
        most=MOST_ITEMS,
    )

    def check(self, data: dict[str, Any]) -> None:
        """Something must change."""
        if not data:
            raise ValidationError("Give at least one of: replace, add, remove.")


class BalanceRestore(Strict):
    """Which item is to bring the moments back, and how."""

    item = _name("Name of an item that is on the bow after the change.")
    by = Choice(
        WAYS,
        "`mass`: its mass is chosen, where it sits; `length`: the place of its centre of mass, "
        "at the mass it has.",
        required=True,
    )
    axes = Choice(
        tuple(_RESTORED),
        "The moment to bring back: forward, if left out, or right; by length also both, the "
        "place along right then being chosen for the sideways moment.",
    )

    def check(self, data: dict[str, Any]) -> None:
        """One mass brings one moment back."""
        if data["by"] == "mass" and data.get("axes") == "both":
            raise ValidationError(
                "One mass can bring back one moment only: give forward or right, or restore by "
                "length.",
                "axes",
            )


def members() -> dict[str, Member]:
    """The members of the request."""
    return {
        "items": Items(
            Part(BalanceItem()),
            "What the bow is made of and what hangs on it. A long thing may be given in pieces, "
            "such as a stabiliser's rod by its middle and its end weight.",
            most=MOST_ITEMS,
            required=True,
        ),
        "change": Part(BalanceChange(), "What is to change; left out, nothing."),
        "restore": Part(
            BalanceRestore(), "How to bring back the moments of before; needs `change`."
        ),
        "site": Part(Site(), "Where the bow is held: gravity follows from its latitude."),
        "units": Part(UnitChoice(), "Units of the reply."),
    }


class Hung(NamedTuple):
    """What hangs on a bow: names, and the core's items in the same order."""

    names: list[str]
    items: core.Items


class Restore(NamedTuple):
    """What restores: the item's name, its number after the change, and the axes of the moments.

    by_mass: by the item's mass, else by its place.
    """

    name: str
    item: int
    by_mass: bool
    axes: tuple[int, ...]


class Asked(NamedTuple):
    """The bow before and after, and what restores; None where it was not asked for."""

    before: Hung
    after: Hung | None = None
    restore: Restore | None = None


def asked_of(request: Mapping[str, Any]) -> Asked:
    """The bow before and after, and what restores.

    Raises ValidationError, which names every name that is given twice or not known, a
    change that leaves nothing on the bow, and a restoration without a change.
    """
    names = [item["name"] for item in request["items"]]
    if faults := _twice(names):
        raise ValidationError({"items": {i: {"name": [text]} for i, text in faults.items()}})
    before = _hung(request["items"])
    if "change" not in request:
        if "restore" in request:
            text = "Give `change` too: without one there is nothing to bring back."
            raise ValidationError({"restore": [text]})
        return Asked(before)
    after = _hung(_changed(request["items"], names, request["change"]))
    if "restore" not in request:
        return Asked(before, after)
    wanted = request["restore"]
    if wanted["item"] not in after.names:
        hint = _unknown(wanted["item"], after.names, "on the bow after the change")
        raise ValidationError({"restore": {"item": [hint]}})
    number, axes = after.names.index(wanted["item"]), _RESTORED[wanted.get("axes", "forward")]
    return Asked(before, after, Restore(wanted["item"], number, wanted["by"] == "mass", axes))


def _hung(items: Sequence[Mapping[str, Any]]) -> Hung:
    return Hung(
        [item["name"] for item in items],
        core.Items(
            mass=np.array([item["mass"] for item in items]),
            position=np.array([[item.get(axis, 0.0) for axis in _AXES] for item in items]),
        ),
    )


def _twice(names: Sequence[str]) -> dict[int, str]:
    """Which names repeat an earlier one, and what to do about it."""
    return {
        index: f"{shown(name)} is given twice: give each item a name of its own."
        for index, name in enumerate(names)
        if name in names[:index]
    }


def _unknown(name: str, known: Sequence[str], where: str) -> str:
    return f"No item named {shown(name)} is {where}; {nearest(name, known)}"


def _changed(
    items: Sequence[Mapping[str, Any]], names: Sequence[str], change: Mapping[str, Any]
) -> list[Mapping[str, Any]]:
    """The items after the change: those that stay in their order, then the new ones."""
    replaced, added = change.get("replace", []), change.get("add", [])
    removed = change.get("remove", [])
    _check_change(names, replaced, added, removed)
    differing = {item["name"]: item for item in replaced}
    kept = [
        {**item, **differing.get(item["name"], {})} for item in items if item["name"] not in removed
    ]
    if not kept and not added:
        raise ValidationError({"change": {"remove": ["Leave something on the bow."]}})
    if len(kept) + len(added) > MOST_ITEMS:
        text = f"The bow would have {len(kept) + len(added)} items: {MOST_ITEMS} at most."
        raise ValidationError({"change": {"add": [text]}})
    return [*kept, *added]


def _check_change(
    names: Sequence[str],
    replaced: Sequence[Mapping[str, Any]],
    added: Sequence[Mapping[str, Any]],
    removed: Sequence[str],
) -> None:
    """Raise ValidationError for names that are not known, taken, or changed twice."""
    called, new = [item["name"] for item in replaced], [item["name"] for item in added]
    faults: dict[str, dict[int, Any]] = {
        "replace": {i: {"name": [text]} for i, text in _not_there(called, names).items()},
        "add": {i: {"name": [text]} for i, text in _taken(new, names).items()},
        "remove": {i: [text] for i, text in _not_there(removed, names, called).items()},
    }
    if found := {member: of for member, of in faults.items() if of}:
        raise ValidationError({"change": found})


def _not_there(
    called: Sequence[str], names: Sequence[str], elsewhere: Sequence[str] = ()
) -> dict[int, str]:
    """Which of the names called are none of the bow's, or are called twice."""
    twice = {
        index: f"{shown(name)} is changed twice: replace it or remove it, once."
        for index, name in enumerate(called)
        if name in called[:index] or name in elsewhere
    }
    strange = {
        index: _unknown(name, names, "in `items`")
        for index, name in enumerate(called)
        if name not in names
    }
    return dict(sorted({**twice, **strange}.items()))


def _taken(new: Sequence[str], names: Sequence[str]) -> dict[int, str]:
    """Which of the new names are the bow's already, or are given twice."""
    taken = {
        index: f"{shown(name)} is in `items` already: replace it, or give the new one another name."
        for index, name in enumerate(new)
        if name in names
    }
    return dict(sorted({**_twice(new), **taken}.items()))
