"""What a printed scale is noted for: how to print and to prove it, and where to doubt it."""

import numpy as np

from arrowloft.api.replies import ReplyUnits
from arrowloft.core.arrays import Array, Mask
from arrowloft.core.sight.printed import Strip
from arrowloft.core.sight.proven_marks import Proof
from arrowloft.plugin import Note

PRINT = Note(
    "print-at-full-size",
    "Print at 100 %, without fitting to the page, and hold a rule against the printed one: its "
    "100 mm must be 100 mm.",
)
PROVE = Note(
    "prove-marks",
    "Printed marks are a start: prove them by shooting from near to far, with a safe backstop, "
    "before relying on any of them.",
)
TOO_LONG_FOR_CODE = Note(
    "request-too-long-for-code",
    "The request is longer than a code holds, so that the sheet has none: keep the request "
    "beside it.",
)
CARRIED_OVER = Note(
    "marks-carried-over",
    "Corrected by as much as the set-up's own proven marks: what made the difference there, such "
    "as peep, sight radius, zero or drag, is assumed to be the same here. Prove a mark in these "
    "conditions too.",
)
PREDICTED_ONLY = Note(
    "predicted-only",
    "Predicted only: no proven mark stands behind this scale as behind another, beside which it "
    "may come out on the wrong side. Prove a mark of it, or give the set-up's at the top, for all "
    "scales.",
)
ON_SHEET = frozenset(
    {
        "light-arrow",
        CARRIED_OVER.code,
        PREDICTED_ONLY.code,
        TOO_LONG_FOR_CODE.code,
        "ticks-crowded",
        "correction-held",
        "mark-far-from-prediction",
        "zero-mark-moved",
        "speed-not-adjusted",
    }
)
"""Codes of a scale's notes that are printed too."""

_CROWDED = 5e-4
"""Ticks nearer to each other can hardly be told apart, m."""
_SEEN = 1e-4
"""A move of a mark that can be seen, m."""
_PLAUSIBLE, _COVERAGE = 1e-3, 3.0
"""How far a proven mark may be from its prediction: so much for its own slips, m, and so many
standard uncertainties of the predicted travel."""


def proof_notes(proof: Proof, ticks: Array | None, units: ReplyUnits) -> list[Note]:
    """What proven marks are noted for, the worst first.

    ticks: distances of the ticks that they correct, m, ascending; None where they correct none.
    """
    held = [] if ticks is None else _held(proof, ticks, units)
    return [*_far(proof, units), *_zero(proof, units), *held]


def numbers_note(distance: Array, numbered: Mask, units: ReplyUnits) -> list[Note]:
    """A word where the numbers are long in the unit that they are printed in."""
    values = np.array([units.value(d, "distance") for d in distance[numbered]])
    if np.all(np.abs(values - np.round(values, 1)) < 1e-4):
        return []
    return [
        Note(
            "numbers-not-round",
            f"The scale's numbers are not round in {units.chosen['distance']}: choose "
            "units.distance as the distances are given.",
        )
    ]


def _far(proof: Proof, units: ReplyUnits) -> list[Note]:
    foretold, off = proof.foretold, np.abs(proof.misfit)
    far = off > _PLAUSIBLE + _COVERAGE * foretold.travel_uncertainty
    if not far.any():
        return []
    at = ", ".join(units.roughly(d, "distance") for d in foretold.distance[far])
    return [
        Note(
            "mark-far-from-prediction",
            f"Marks differ from their prediction by more than speed and drag explain, by up to "
            f"{units.roughly(off[far].max(), 'length')}: those at {at}. Check them and the "
            "set-up; /v1/calibration says which is the likelier.",
        )
    ]


def _zero(proof: Proof, units: ReplyUnits) -> list[Note]:
    moved = proof.zero_shift
    if abs(moved) <= _SEEN:
        return []
    at = units.roughly(proof.zero_distance, "distance")
    return [
        Note(
            "zero-mark-moved",
            f"The zero distance's own mark, at {at}, is given "
            f"{units.roughly(abs(moved), 'length')} {'below' if moved > 0 else 'above'} the place "
            "that travel counts from: the scale has it there. Set the sight anew, or give it with "
            "travel 0 and the others counted from it.",
        )
    ]


def _held(proof: Proof, ticks: Array, units: ReplyUnits) -> list[Note]:
    proven = proof.correction.distance
    beyond = []
    if ticks[0] < proven[0]:
        beyond.append(f"nearer than {units.roughly(proven[0], 'distance')}")
    if ticks[-1] > proven[-1]:
        beyond.append(f"farther than {units.roughly(proven[-1], 'distance')}")
    if not beyond:
        return []
    return [
        Note(
            "correction-held",
            f"No mark is proven {' or '.join(beyond)}: there the correction of the last one is "
            "held, neither grown nor shrunk. Prove a mark there too.",
        )
    ]


def crowded_note(strip: Strip, units: ReplyUnits) -> list[Note]:
    """A word where ticks can hardly be told apart."""
    gaps = np.abs(np.diff(strip.position))
    close = np.flatnonzero(gaps < _CROWDED)
    if not close.size:
        return []
    first, last = strip.distance[close[0]], strip.distance[close[-1] + 1]
    return [
        Note(
            "ticks-crowded",
            f"Between {units.roughly(first, 'distance')} and {units.roughly(last, 'distance')} "
            f"ticks are as near to each other as {units.roughly(gaps.min(), 'length')}, hard to "
            "tell apart on paper: take a longer step, or begin farther out.",
        )
    ]
