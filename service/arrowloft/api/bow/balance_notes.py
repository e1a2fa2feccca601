"""What /v1/balance says in words: cautions, and why an item cannot bring a moment back."""

from arrowloft.api.bow.balance_members import Restore
from arrowloft.api.replies import ReplyUnits
from arrowloft.core.arrays import Array
from arrowloft.core.bow import balance as core
from arrowloft.plugin import Note

LIMITS = Note(
    "added-mass-limits",
    "Before mass is added or moved outward, check that the makers of bow, limbs and fittings "
    "allow it - riser, limb bolts, threads of the stabilisers - and that your governing body's "
    "rules for your class do. See that every fitting is tight: a part that comes loose flies off "
    "with the shot.",
)
MECHANICS = Note(
    "balance-mechanics-only",
    "This is statics, of the items listed and nothing else, for a bow that rests upright in the "
    "hand: tilted or rolled, the height of its centre of mass counts too. How a bow should "
    "balance is the archer's own, and nothing is said of it.",
)

_MOMENTS = {core.FORWARD: "forward moment", core.RIGHT: "sideways moment"}
_LEVEL = {core.FORWARD: "neither ahead of nor behind", core.RIGHT: "neither right nor left of"}

_SIDES = {core.FORWARD: ("forward", "back"), core.RIGHT: ("to the right", "to the left")}

_SEEN = 1e-4
"""Least moment worth a word, N m: a gram at ten millimetres."""


def cannot_restore(name: str, error: core.CannotRestore, units: ReplyUnits) -> Note:
    """Why no mass or place of this item brings a moment back, and what to do instead."""
    moment = _MOMENTS[error.axis]
    if error.why is core.Why.NO_LEVER:
        return Note(
            "restore-no-lever",
            f'"{name}" sits {_LEVEL[error.axis]} the grip\'s pivot point, so that its mass does '
            f"nothing to the {moment}: choose another item, or restore by length.",
        )
    if error.why is core.Why.NO_MASS:
        return Note(
            "restore-no-mass",
            f'To bring the {moment} back, "{name}" would have to weigh nothing, or less: take it '
            "off and look at what is left, choose another item, or restore by length.",
        )
    needed = error.needed or 0.0
    if error.why is core.Why.TOO_HEAVY:
        return Note(
            "restore-too-heavy",
            f'To bring the {moment} back, "{name}" would have to weigh '
            f"{units.text(needed, 'mass')}, which no bow carries: choose an item with a "
            "longer lever, or restore by length.",
        )
    return Note(
        "restore-too-far",
        f'To bring the {moment} back, "{name}" would have to sit '
        f"{units.text(abs(needed), 'length')} from the grip's pivot point, where no bow "
        "reaches: choose a heavier item, or restore by mass.",
    )


def restored_notes(
    restore: Restore, after: core.Items, items: core.Items, left: Array, units: ReplyUnits
) -> list[Note]:
    """What the answer leaves open.

    after: the items after the change; items: the same with the one that restores as it then
    is.  left: what the moments then differ by from before, (2,), N m.
    """
    notes = _other_moment(restore, left, units)
    old, new = after.position[restore.item], items.position[restore.item]
    if any(old[axis] * new[axis] < 0.0 for axis in restore.axes):
        notes.append(
            Note(
                "restored-on-other-side",
                f'"{restore.name}" would have to sit on the other side of the grip\'s pivot point '
                "than it does: see whether it can.",
            )
        )
    if not restore.by_mass:
        notes.append(
            Note(
                "restored-by-centre",
                f'The place is that of the centre of mass of "{restore.name}", at the mass it '
                "has. A rod that is made longer weighs more, and its centre moves by less than it "
                "grows: give rod and end weight as items of their own, and try the new ones.",
            )
        )
    notes.append(
        Note(
            "restored-moment-only",
            "Only what was asked for is brought back: `remaining` says what stays different. How "
            "hard the bow is to turn, which grows with the square of every distance, is another "
            "matter.",
        )
    )
    return notes


def _other_moment(restore: Restore, left: Array, units: ReplyUnits) -> list[Note]:
    """A word where the moment that was not to be brought back is not what it was."""
    return [
        Note(
            "other-moment-remains",
            f"The {moment} is not what it was: it stays {units.roughly(abs(left[axis]), 'moment')} "
            f"farther {_SIDES[axis][int(left[axis] < 0.0)]}.",
        )
        for axis, moment in _MOMENTS.items()
        if axis not in restore.axes and abs(left[axis]) >= _SEEN
    ]
