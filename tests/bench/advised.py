"""One invented archer who shoots by the advice, always to the same number of arrows."""

from dataclasses import dataclass

import numpy as np
from archers import BUTTS, MARKS, TOLERANCE, Archer, Range, Truth, clicked, without_flyers
from scipy.stats import t as student

from arrowloft.core.archer.landed import Landed
from arrowloft.core.arrays import Array
from arrowloft.core.learning.next_shots import Known, Wanted
from arrowloft.core.learning.observations import End
from arrowloft.core.learning.range_session import Aims, RangeSession, learn, range_session

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
    rows, places = [], []
    for end in range(ends + 1):
        session = _session(archer, shot, arrows)
        rows.append(_row(truth, session))
        if end == ends:
            break
        place = _next(session)
        places.append(place)
        distance = float(MARKS[place])
        travel = clicked(archer, session.marks.travel[place])
        up, right = range_.shoot(distance, travel, arrows)
        landed = (
            without_flyers(archer, distance, up, right)
            if screened
            else Landed.of_arrows(distance, up, right)
        )
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


def _session(archer: Archer, shot: list[End], arrows: int) -> RangeSession:
    """What the service would say of the ends shot so far."""
    learned = learn(archer.shot, archer.sight, archer.prior, shot, group=archer.group)
    aims = Aims(
        distances=MARKS,
        tolerance=TOLERANCE,
        confidence=CONFIDENCE,
        butts=MARKS[BUTTS],
        arrows=arrows,
    )
    return range_session(learned, aims)


def _row(truth: Truth, session: RangeSession):
    judged, marks = session.judged, session.marks
    miss = np.abs(marks.travel - truth.travel) / marks.uncertainty
    level = 1.0 - 2.0 * student.sf(miss, marks.degrees)
    known = Known.of(judged.calibration, session.scatter.vertical)
    done = [
        Wanted(
            response=marks.height_response, tolerance=factor * TOLERANCE, confidence=CONFIDENCE
        ).sure(known)
        for factor in FACTORS
    ]
    return truth.heights(marks.travel), level, done, len(judged.aside), len(judged.contradicting)


def _next(session: RangeSession) -> int:
    """Where the next end is shot, among MARKS: as advised, and so on once that is done."""
    advice = session.advice
    if advice.plan:
        return int(BUTTS[advice.plan[0].index])
    return int(BUTTS[advice.choices.argmin()])
