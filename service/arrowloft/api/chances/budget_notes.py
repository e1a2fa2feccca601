"""What an error budget rests on, and where it says less than it seems to."""

from collections.abc import Sequence

import numpy as np

from arrowloft.api.setup import Setup
from arrowloft.core.chances.error_budget import ErrorBudget, Explained
from arrowloft.plugin import Note

DRAW_UNKNOWN = (
    "The shift by draw length needs bow.draw_length and a launch model whose speed follows from "
    "it, such as `rated`: give them, or leave this out. A measured force-draw curve stays as it "
    "was measured, whatever the draw length."
)

_FIRST_ORDER = Note(
    "budget-first-order",
    "Shifts are in proportion to small changes, and the inputs are taken to vary independently: "
    "what varies together, as a weak shot does in draw and aim, adds up otherwise. A speed that "
    "a chronograph saw scatter holds the scatter of mass and draw already: do not count it twice.",
)
_SPEED_ASSUMED = Note(
    "budget-speed-assumed",
    "The launch speed is taken to vary by 0.2 % from shot to shot, as published for recurve bows "
    "that a machine shot (Tuijn and Kooi, 1992); an archer's varies more: give scatter.speed from "
    "a chronograph.",
)
_WHOLE_GROUP = Note(
    "budget-whole-group",
    "Inputs with `widens_group` false stay as they are through an end: they move the whole group, "
    "count in the totals and shares, and explain nothing of its size.",
)
_SPEED_KEPT = Note(
    "budget-speed-kept",
    "Drag, temperature and pressure act on the flight alone: the launch speed is kept. What cold "
    "or heat does to bow and string is not computed.",
)
_NO_SHIFT = Note(
    "budget-near-reach",
    "Some shifts are null: so close to its reach, the arrow may not arrive when an input changes.",
)

_FOREMOST = (
    "budget-exceeds-group",
    "budget-not-in-proportion",
    "budget-near-reach",
    "budget-speed-assumed",
    "budget-first-order",
)
"""Codes of the notes that belong under the picture, the worst first."""


def pictured(notes: Sequence[Note]) -> tuple[str, ...]:
    """The sentences that belong under the picture."""
    return tuple(note.message for code in _FOREMOST for note in notes if note.code == code)


def budget_notes(
    budget: ErrorBudget,
    beside: Explained | None,
    setup: Setup,
    speed_given: bool,
    knows_mass: bool,
) -> list[Note]:
    """The computation's own notes; the worst of them foremost."""
    notes = []
    if np.isnan(budget.up).any():
        notes.append(_NO_SHIFT)
    if budget.bent.any():
        notes.append(_bent(budget))
    if beside is not None and (beside.excess > 1.0).any():
        notes.append(_exceeds(budget, beside, setup))
    notes.append(_FIRST_ORDER)
    if not speed_given:
        notes.append(_SPEED_ASSUMED)
    if np.isfinite(budget.scatter[~budget.widens]).any():
        notes.append(_WHOLE_GROUP)
    notes.append(_SPEED_KEPT)
    if not knows_mass:
        notes.append(_mass_unknown(setup))
    if "draw_length" not in budget.names:
        notes.append(Note("budget-no-draw-length", f"Draw length is left out. {DRAW_UNKNOWN}"))
    return notes


def _bent(budget: ErrorBudget) -> Note:
    names = [name for name, bent in zip(budget.names, budget.bent, strict=True) if bent.any()]
    return Note(
        "budget-not-in-proportion",
        "One standard deviation is so much that the true shift is off by more than a tenth of the "
        f"one in proportion, at some distance: {', '.join(names)}. Take their shares as rough.",
    )


def _exceeds(budget: ErrorBudget, beside: Explained, setup: Setup) -> Note:
    first = float(budget.distance[int(np.argmax(beside.excess))])
    return Note(
        "budget-exceeds-group",
        "The inputs make more than the whole group, most so at "
        f"{setup.units.roughly(first, 'distance')}: some scatter is given too large, or the group "
        "too small.",
    )


def _mass_unknown(setup: Setup) -> Note:
    return Note(
        "budget-mass-speed-kept",
        f"The launch model {setup.launch.name!r} takes no account of the arrow's mass: its shift "
        "is that of drag alone, at the same launch speed. A heavier arrow leaves more slowly: "
        "choose a model that knows the mass to see it.",
    )
