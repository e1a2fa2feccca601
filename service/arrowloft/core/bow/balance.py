"""A bow's balance: mass, centre of mass and static moments about the grip (SI).

The bow stands upright, neither tilted nor rolled, and hangs in the hand at the grip's pivot
point, which is the origin: forward is level toward the target, right is level to the archer's
right, up is up. A mass m at forward x tips the bow forward by m g x, and one at right z tips
it to the right by m g z; its height has no part in either.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from arrowloft.core.arrays import Array

FORWARD, RIGHT, UP = range(3)
"""Axes of a position."""

LIGHTEST, HEAVIEST = 1e-4, 20.0
"""Masses that a thing on a bow can have, kg."""

FARTHEST = 3.0
"""Farthest from the pivot along any axis that a thing on a bow can be, m."""

ON_PIVOT = 1e-6
"""Lever, m, up to which a thing sits on the pivot: a micrometre holds nothing up."""


class Why(Enum):
    """Why one item cannot bring the moments back."""

    NO_LEVER = "it sits on the pivot, where its mass has no lever"
    NO_MASS = "it would have to weigh nothing, or less"
    TOO_HEAVY = "it would have to weigh more than HEAVIEST"
    TOO_FAR = "it would have to sit farther away than FARTHEST"


class CannotRestore(ValueError):
    """Raised where no mass or place of the item brings the moments back.

    why: the reason.  axis: along which.  needed: mass, kg, or position, m, that it would
    take; None where there is none.
    """

    def __init__(self, why: Why, axis: int, needed: float | None = None) -> None:
        super().__init__(why.value)
        self.why, self.axis, self.needed = why, axis, needed


@dataclass(frozen=True, kw_only=True)
class Items:
    """What a bow is made of, at least one thing.

    mass: of each, (items,), kg.
    position: of each centre of mass, (items, 3): forward, right and up of the pivot, m.

    Raises ValueError for no items, shapes that do not fit, a mass that is not positive,
    and what is not finite.
    """

    mass: Array
    position: Array

    def __post_init__(self) -> None:
        if self.mass.ndim != 1 or not self.mass.size:
            raise ValueError("masses must be (items,), at least one")
        if self.position.shape != (self.mass.size, 3):
            raise ValueError("positions must be (items, 3)")
        if not (np.isfinite(self.mass).all() and (self.mass > 0.0).all()):
            raise ValueError("masses must be positive and finite")
        if not np.isfinite(self.position).all():
            raise ValueError("positions must be finite")


@dataclass(frozen=True, kw_only=True)
class Balance:
    """How a bow hangs in the hand.

    mass: of all items, kg.
    centre: their common centre of mass, (3,): forward, right and up of the pivot, m.
    moment: static moment about the pivot, (2,): forward and to the right, N m.
    item_moment: what each item adds to it, (items, 2), N m.
    """

    mass: float
    centre: Array
    moment: Array
    item_moment: Array


def balance(items: Items, gravity: float) -> Balance:
    """Mass sum m, centre sum m r / sum m, and moments sum m g x and sum m g z.

    gravity: m/s2.
    """
    mass = float(items.mass.sum())
    item_moment = items.mass[:, np.newaxis] * gravity * items.position[:, : RIGHT + 1]
    return Balance(
        mass=mass,
        centre=items.mass @ items.position / mass,
        moment=item_moment.sum(axis=0),
        item_moment=item_moment,
    )


def restored_by_mass(before: Items, after: Items, item: int, axis: int = FORWARD) -> Items:
    """The items after a change, one of them so heavy that a moment is what it was before.

    Along the axis, forward or right, m = (sum before m x - sum of the others m x) / x of the
    item, of those after the change by its number. The other moment is left as it falls.
    Raises CannotRestore where the item has no lever, or m is outside LIGHTEST to HEAVIEST.
    """
    lever = float(after.position[item, axis])
    if abs(lever) <= ON_PIVOT:
        raise CannotRestore(Why.NO_LEVER, axis)
    mass = _due(before, after, item, axis) / lever
    if mass < LIGHTEST:
        raise CannotRestore(Why.NO_MASS, axis, mass)
    if mass > HEAVIEST:
        raise CannotRestore(Why.TOO_HEAVY, axis, mass)
    masses = after.mass.copy()
    masses[item] = mass
    return replace(after, mass=masses)


def restored_by_place(
    before: Items, after: Items, item: int, axes: Sequence[int] = (FORWARD,)
) -> Items:
    """The items after a change, one of them moved so that the moments are what they were before.

    Along each of the axes, forward or right, x = (sum before m x - sum of the others m x) / m
    of the item, of those after the change by its number; along the others it stays.
    Raises CannotRestore where x is farther than FARTHEST from the pivot.
    """
    position = after.position.copy()
    for axis in axes:
        place = _due(before, after, item, axis) / float(after.mass[item])
        if abs(place) > FARTHEST:
            raise CannotRestore(Why.TOO_FAR, axis, place)
        position[item, axis] = place
    return replace(after, position=position)


def _due(before: Items, after: Items, item: int, axis: int) -> float:
    """Mass times lever, kg m, that the others leave for the item to give."""
    others = np.arange(after.mass.size) != item
    was = before.mass @ before.position[:, axis]
    return float(was - after.mass[others] @ after.position[others, axis])
