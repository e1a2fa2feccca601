"""What a printed scale is noted for: how to print and to prove it, and where to doubt it."""

import numpy as np

from arrowloft.api.replies import ReplyUnits
from arrowloft.core.arrays import Array, Mask
from arrowloft.core.sight.printed import Strip
from arrowloft.core.sight.printed_scale import SightScale
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
ON_SHEET = frozenset(
    {
        "light-arrow",
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


def scale_notes(scale: SightScale, strip: Strip, units: ReplyUnits) -> tuple[Note, ...]:
    """What one scale is noted for, the worst first."""
    about_marks = (*_far(scale, units), *_zero(scale, units), *_held(scale, units))
    return (*about_marks, *_crowded(strip, units))


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


def _far(scale: SightScale, units: ReplyUnits) -> list[Note]:
    foretold = scale.foretold
    if foretold is None:
        return []
    added = np.abs(scale.correction.added)
    far = added > _PLAUSIBLE + _COVERAGE * foretold.travel_uncertainty
    if not far.any():
        return []
    at = ", ".join(units.roughly(d, "distance") for d in foretold.distance[far])
    return [
        Note(
            "mark-far-from-prediction",
            f"Marks differ from their prediction by more than speed and drag explain, by up to "
            f"{units.roughly(added[far].max(), 'length')}: those at {at}. Check them and the "
            "set-up; /v1/calibration says which is the likelier.",
        )
    ]


def _zero(scale: SightScale, units: ReplyUnits) -> list[Note]:
    moved = scale.zero_shift
    if abs(moved) <= _SEEN:
        return []
    at = units.roughly(scale.sight.zero_distance, "distance")
    return [
        Note(
            "zero-mark-moved",
            f"Through these marks the zero distance's own, at {at}, moves by "
            f"{units.roughly(abs(moved), 'length')}, though travel counts from there: prove it, "
            "and give it with travel 0 too.",
        )
    ]


def _held(scale: SightScale, units: ReplyUnits) -> list[Note]:
    ticks, proven = scale.ticks.distance, scale.proven.distance
    if not proven.size:
        return []
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
            "kept. Prove a mark there too.",
        )
    ]


def _crowded(strip: Strip, units: ReplyUnits) -> list[Note]:
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
