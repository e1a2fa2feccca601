"""What a picture of a calibration shows: marks before and after, and the ends between (SI)."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.aim import TooNear
from arrowloft.core.flight.fine import finely
from arrowloft.core.flight.reach import BeyondReach, Unsolved
from arrowloft.core.learning.corrected_marks import CorrectedMarks, corrected_marks
from arrowloft.core.learning.observations import End, Observation
from arrowloft.core.learning.range_session import Aims, RangeSession
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.marks import MarkTable, mark_table
from arrowloft.core.sight.sight import Sight

Status = Literal["used", "in-doubt", "set-aside"]


@dataclass(frozen=True, kw_only=True)
class SeenEnd:
    """One end of arrows, or one proven mark.

    name: the caller's, which may be empty.  distance: m.  arrows: how many.
    off: height of the centre above what the fit expects of it, m.  deviation: standard
        uncertainty of that, m.
    travel, travel_deviation: of the mark that this end by itself asks for in the conditions
        of the marks, m: the corrected mark less off / rise; NaN where the distance is
        beyond those drawn.
    """

    name: str
    proven: bool
    status: Status
    distance: float
    arrows: int
    off: float
    deviation: float
    travel: float
    travel_deviation: float


@dataclass(frozen=True, kw_only=True)
class CalibrationScene:
    """All that is drawn.

    session: what was learned; its marks are those asked for, `aims` says where.
    curve: corrected marks, the distance rising.  predicted: those before the range, at the
        same distances; None without a launch model.
    tolerance: of the height at the distances of the curve, m; NaN beyond those asked for.
    """

    shot: Shot
    sight: Sight
    aims: Aims
    session: RangeSession
    curve: CorrectedMarks
    predicted: MarkTable | None
    tolerance: Array
    ends: tuple[SeenEnd, ...]
    readings: int


def calibration_scene(
    shot: Shot,
    sight: Sight,
    aims: Aims,
    session: RangeSession,
    observations: Sequence[Observation],
    names: Sequence[tuple[str, bool]],
    *,
    predicted: bool,
) -> CalibrationScene:
    """The scene of a session for the set-up as assumed.

    names: of each observation, the caller's name and whether it is a proven mark.
    predicted: whether there are marks from before the range.
    """
    planes = [item.landed.distance for item in observations if isinstance(item, End)]
    curve, before = _curve(shot, sight, aims, session, np.array(planes), predicted=predicted)
    ends = [
        _seen(index, item, *names[index], session, curve)
        for index, item in enumerate(observations)
        if isinstance(item, End)
    ]
    rising, first = np.unique(aims.distances, return_index=True)
    return CalibrationScene(
        shot=shot,
        sight=sight,
        aims=aims,
        session=session,
        curve=curve,
        predicted=before,
        tolerance=np.interp(
            curve.table.distance, rising, aims.tolerance[first], left=np.nan, right=np.nan
        ),
        ends=tuple(ends),
        readings=len(observations) - len(ends),
    )


def _curve(
    shot: Shot, sight: Sight, aims: Aims, session: RangeSession, planes: Array, *, predicted: bool
) -> tuple[CorrectedMarks, MarkTable | None]:
    """Marks after and before, over all that was asked for and shot.

    Ends may have been shot where the set-up does not come in its own conditions, and flights
    between distances may be those that cannot be followed: then over less.
    """
    fit, bare = session.judged.calibration, replace(sight, pins=())
    known = np.append(aims.distances, sight.zero_distance)

    def solved(distances: Array) -> tuple[CorrectedMarks, MarkTable | None]:
        after = corrected_marks(fit, shot, bare, distances)
        return after, mark_table(shot, bare, distances) if predicted else None

    for distances in (finely(np.append(known, planes)), finely(known)):
        with suppress(TooNear, BeyondReach, Unsolved):
            return solved(distances)
    return solved(np.unique(known))


def _seen(
    index: int,
    end: End,
    name: str,
    proven: bool,
    session: RangeSession,
    curve: CorrectedMarks,
) -> SeenEnd:
    row = session.expected.rows[index][0]
    off = end.landed.up - float(session.expected.value[row])
    deviation = float(session.expected.deviation[row])
    judged = session.judged
    doubted: Status = "in-doubt" if index in judged.contradicting else "used"
    far = curve.table.distance
    inside = far[0] <= end.landed.distance <= far[-1]
    travel, rise = (
        float(np.interp(end.landed.distance, far, values)) if inside else np.nan
        for values in (curve.travel, curve.rise)
    )
    return SeenEnd(
        name=name,
        proven=proven,
        status="set-aside" if index in judged.aside else doubted,
        distance=end.landed.distance,
        arrows=end.landed.arrows,
        off=off,
        deviation=deviation,
        travel=travel - off / rise,
        travel_deviation=deviation / rise,
    )
