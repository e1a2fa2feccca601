"""Proven marks of /v1/sight-scale: read, proved, and refused where they cannot be meant so."""

from collections.abc import Mapping, Sequence

import numpy as np

from arrowloft.api.blame import solving
from arrowloft.api.problems import Fault, Problem
from arrowloft.api.replies import ReplyUnits
from arrowloft.api.setup import Setup
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.proven_marks import Proof, ProvenMarks, prove
from arrowloft.core.sight.sight import Sight

_GROSS, _LEAST, _COVERAGE = 0.5, 3e-3, 5.0
"""A mark is refused that is off by more than this share of its predicted travel, and this
length, m, and so many standard uncertainties of the prediction. Travel goes with the inverse
square of the speed: half of it more takes an arrow a fifth slower than was said, half of it
less one two fifths faster, and no chronograph is so wrong. The length is what pin and rule
may add; the uncertainties leave room where the speed was estimated."""

_SLIPS: tuple[tuple[float, str], ...] = (
    (25.4, "inches are given where mm are meant"),
    (10.0, "cm are given where mm are meant, or the decimal point is a place too far right"),
    (0.1, "mm are given where cm are meant, or the decimal point is a place too far left"),
    (1 / 25.4, "mm are given where inches are meant"),
    (-1.0, "it is counted upwards: down is positive"),
)
"""Given over predicted travel, and what the slip then is."""

_ALIKE = 1.4
"""How far from such a ratio the given one may be."""


def proof_of(
    given: Sequence[Mapping[str, float]], setup: Setup, shot: Shot, sight: Sight, units: ReplyUnits
) -> Proof | None:
    """The marks given, proved with a set-up; None where none are.  Raises Problem."""
    if not given:
        return None
    marks = ProvenMarks(
        distance=np.array([mark["distance"] for mark in given]),
        travel=np.array([mark["travel"] for mark in given]),
    )

    def pointer(lane: int) -> str:
        return f"/marks/{lane}/distance" if lane < len(given) else "/sight/zero_distance"

    with solving(units, pointer):
        return prove(
            shot,
            sight,
            marks,
            speed_uncertainty=setup.speed_uncertainty,
            drag_uncertainty=setup.drag_uncertainty,
        )


def check_proof(proof: Proof, units: ReplyUnits) -> None:
    """Raise Problem for marks that do not go on along the scale, or are off beyond belief."""
    foretold = proof.foretold
    bounds = (_GROSS * np.abs(foretold.travel), _COVERAGE * foretold.travel_uncertainty)
    gross = np.abs(proof.misfit) > np.maximum(_LEAST, np.maximum(*bounds))
    faults = [
        Fault(f"/marks/{at}/travel", _misfit(proof, int(at), units)) for at in np.flatnonzero(gross)
    ]
    if faults:
        raise Problem("invalid-request", faults[0].detail, tuple(faults))
    back = np.flatnonzero(np.diff(proof.marks.travel) <= 0.0)
    if back.size:
        detail = (
            "A farther mark has more travel, down positive; this has no more than the mark before: "
            "correct one of them, or leave out what is nearer than where marks turn."
        )
        pointer = f"/marks/{int(back[0]) + 1}/travel"
        raise Problem("invalid-request", detail, (Fault(pointer, detail),))


def _misfit(proof: Proof, at: int, units: ReplyUnits) -> str:
    """What is wrong with a mark that is off beyond belief, and what the slip may be."""
    given, predicted = (
        units.text(float(travel[at]), "length")
        for travel in (proof.marks.travel, proof.foretold.travel)
    )
    zero = units.roughly(proof.zero_distance, "distance")
    ratio = (proof.marks.travel[at] - proof.zero_shift) / proof.foretold.travel[at]
    slips = [slip for times, slip in _SLIPS if 1 / _ALIKE < ratio / times < _ALIKE]
    likely = (
        f"Most likely {slips[0]}"
        if slips
        else f"Most likely it is counted from another zero than {zero}, or in another unit"
    )
    return (
        f"Given is a travel of {given} from the zero distance, {zero}, predicted {predicted}: no "
        f"speed or drag explains so much. {likely}; else correct the set-up."
    )
