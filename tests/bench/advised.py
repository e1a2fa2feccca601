"""One invented archer who shoots by the advice, always to the same number of arrows."""

from dataclasses import dataclass

import numpy as np
from archers import BUTTS, MARKS, TOLERANCE, Archer, Range, Truth, clicked, without_flyers
from scipy.stats import t as student

from arrowloft.core.archer_scatter import Scatter, archer_scatter
from arrowloft.core.arrays import Array
from arrowloft.core.corrected_marks import CorrectedMarks, corrected_marks
from arrowloft.core.landed import Landed
from arrowloft.core.misfit import Case, Judged, judged_calibration
from arrowloft.core.next_shots import ALIKE, Butts, Known, Wanted, advise
from arrowloft.core.observations import End

CONFIDENCE = 0.95
FACTORS = (0.5, 1.0, 2.0)  # of the tolerance


@dataclass(frozen=True, kw_only=True)
class Shooting:
    """What came of it, after each end and before the first.

    heights: errors of the marks, m, (ends + 1, marks).
    level: confidence of the interval about each mark that just holds the truth, the same.
    done: whether the advice says to stop, for each of FACTORS, (ends + 1, factors).
    aside, contradicting: how many ends are, (ends + 1,).
    places: where the ends were shot, among MARKS, (ends,).
    """

    heights: Array
    level: Array
    done: Array
    aside: Array
    contradicting: Array
    places: Array


def shoot_by_advice(
    archer: Archer, truth: Truth, range_: Range, ends: int, arrows: int, *, screened: bool = False
) -> Shooting:
    """`ends` ends of so many arrows; screened: by an archer who looks for flyers."""
    shot: list[End] = []
    kept: list[Landed] = []
    rows, places = [], []
    for end in range(ends + 1):
        scatter = archer_scatter(kept, archer.group)
        case = Case(shot=archer.shot, sight=archer.sight, prior=archer.prior, scatter=scatter)
        judged = judged_calibration(case, shot)
        marks = corrected_marks(judged.calibration, archer.shot, archer.sight, MARKS)
        known = Known.of(judged.calibration, scatter.vertical)
        rows.append(_row(truth, judged, marks, known))
        if end == ends:
            break
        place = _next(known, marks, scatter.vertical, arrows)
        places.append(place)
        distance, travel = float(MARKS[place]), clicked(archer, marks.travel[place])
        up, right = range_.shoot(distance, travel, arrows)
        landed = (
            without_flyers(archer, distance, up, right)
            if screened
            else Landed.of_arrows(distance, up, right)
        )
        kept = [shot[index].landed for index in judged.kept] + [landed]
        shot.append(End(shot=archer.shot, landed=landed, travel=travel))
    heights, level, done, aside, contradicting = zip(*rows, strict=True)
    return Shooting(
        heights=np.array(heights),
        level=np.array(level),
        done=np.array(done),
        aside=np.array(aside),
        contradicting=np.array(contradicting),
        places=np.array(places),
    )


def _row(truth: Truth, judged: Judged, marks: CorrectedMarks, known: Known):
    miss = np.abs(marks.travel - truth.travel) / marks.uncertainty
    level = 1.0 - 2.0 * student.sf(miss, marks.degrees)
    done = [_wanted(marks, factor).sure(known) for factor in FACTORS]
    return truth.heights(marks.travel), level, done, len(judged.aside), len(judged.contradicting)


def _wanted(marks: CorrectedMarks, factor: float) -> Wanted:
    return Wanted(
        response=marks.height_response, tolerance=factor * TOLERANCE, confidence=CONFIDENCE
    )


def _next(known: Known, marks: CorrectedMarks, scatter: Scatter, arrows: int) -> int:
    """Where the next end is shot, among MARKS: as advised, and so on once that is done."""
    butts = Butts(
        distance=MARKS[BUTTS],
        response=marks.height_response[BUTTS],
        scatter=scatter.deviation * MARKS[BUTTS],
    )
    advice = advise(known, _wanted(marks, 1.0), butts, arrows)
    if advice.plan:
        return int(BUTTS[advice.plan[0].index])
    return int(BUTTS[np.flatnonzero(advice.choices <= (1.0 + ALIKE) * advice.choices.min())[0]])
