"""What /v1/clearance says of danger: what was found, and what cannot be known."""

from collections.abc import Sequence

from arrowloft.api.replies import ReplyUnits
from arrowloft.core.arrays import Array
from arrowloft.plugin import Note

CAUTIONS = (
    Note(
        "clearance-limits",
        "What is clear here is clear on paper: twigs and branches move, animals and people step "
        "in, obstacles that were not listed or were measured wrongly are not seen, and an arrow "
        "bends and swings in flight by more than its envelope. Look along the whole lane before "
        "every shot, leave room, and keep to the rules of the ground first.",
    ),
    Note(
        "touched-arrow",
        "An arrow that touches anything, a leaf even, may go anywhere: shoot only where the "
        "ground behind and beside the target is safe for such an arrow too.",
    ),
)

_DRIFTS = 5e-3
"""Drift worth a word, m: about the radius of a shaft."""

_RISKY = 0.01
"""Chance of touching worth a word."""

NO_GROUP = Note(
    "margins-of-one-arrow",
    "Margins are those of one arrow that flies as aimed. Give your group to learn how likely "
    "one of yours touches.",
)


def drift_notes(drift: float, units: ReplyUnits) -> list[Note]:
    """A caution where the wind carries the arrow aside and nobody aims off."""
    if abs(drift) < _DRIFTS:
        return []
    return [
        Note(
            "not-aimed-off",
            "The arrow is aimed straight at the middle and drifts "
            f"{units.roughly(abs(drift), 'length')} to the {'right' if drift > 0.0 else 'left'} by "
            "the target. An archer who aims off for the wind, or sets the windage, shoots along "
            "another path: give aim_off true to see it.",
        )
    ]


def chance_notes(names: Sequence[str], margin: Array, chances: Array) -> list[Note]:
    """A caution where the mean arrow is clear, and yet many arrows would touch."""
    risky = [
        f'"{name}" ({100.0 * chance:.0f} %)'
        for name, space, chance in zip(names, margin, chances, strict=True)
        if space > 0.0 and chance >= _RISKY
    ]
    if not risky:
        return []
    return [
        Note(
            "touch-likely",
            "The mean arrow is clear, but arrows that scatter as yours do would touch "
            f"{_listed(risky)}: move to where there is more room.",
        )
    ]


def close_notes(names: Sequence[str], margin: Array, doubt: Array) -> list[Note]:
    """A caution where a margin is less than twice what is not known of the arrow's height."""
    close = [
        f'"{name}"'
        for name, space, unsure in zip(names, margin, doubt, strict=True)
        if 0.0 < space < 2.0 * unsure
    ]
    if not close:
        return []
    return [
        Note(
            "margin-uncertain",
            f"The margin at {_listed(close)} is less than twice the standard uncertainty of the "
            "arrow's height there: speed and drag are not known well enough to tell. Prove more "
            "marks, measure the speed better, or leave more room.",
        )
    ]


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - 5} more" if len(names) > 5 else ""
    return ", ".join(names[:5]) + more


def touched_note(names: Sequence[str]) -> Note:
    """The caution for obstacles that the arrow touches."""
    named = _listed([f'"{name}"' for name in names])
    return Note(
        "obstacle-touched",
        f"The arrow touches {named}: do not shoot. Move to where the way is clear.",
    )
