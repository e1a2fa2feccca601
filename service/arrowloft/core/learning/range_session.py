"""What a session on the range tells: the set-up learned, marks corrected, what to shoot next."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from arrowloft.core.archer.archer_scatter import ArcherScatter, Scatter, archer_scatter, told_more
from arrowloft.core.archer.groups import Group
from arrowloft.core.archer.odd_scatters import odd_scatters
from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.learning.calibration import Calibration, Loss
from arrowloft.core.learning.corrected_marks import CorrectedMarks, corrected_marks
from arrowloft.core.learning.corrections import Corrections, corrections
from arrowloft.core.learning.misfit import Case, Judged, judged_anew, judged_calibration
from arrowloft.core.learning.next_shots import Advice, Butts, Known, Wanted, advise
from arrowloft.core.learning.observations import End, Observation, Predictions
from arrowloft.core.learning.separation import Prospect, Separation, prospects, separation
from arrowloft.core.learning.slips import SIGNS, Slip
from arrowloft.core.learning.suspects import rows_of
from arrowloft.core.learning.unknowns import Prior
from arrowloft.core.learning.whitened import NeverArrives, deviations
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.sight import Sight

ANYWHERE = 0.02
"""Standard uncertainty of a zero mark of which nothing is known, m."""


@dataclass(frozen=True, kw_only=True)
class Aims:
    """What the archer is after, SI.

    distances: of the marks wanted, (rows,).  tolerance: height that the impact may be off,
        (rows,).  confidence: with which each must be within it.
    butts: distances that can be shot, (butts,).  arrows: most of an end.
    """

    distances: Array
    tolerance: Array
    confidence: float
    butts: Array
    arrows: int


@dataclass(frozen=True, kw_only=True)
class Expected:
    """What the fit expects of observations, those set aside included; arrays (values,), SI.

    value: as `Predictions` orders them.  deviation: standard uncertainty of what was seen.
    rows: of each observation: its height, then its place to the side where that was noted;
        or its speed.
    """

    value: Array
    deviation: Array
    rows: tuple[Lanes, ...]


@dataclass(frozen=True, kw_only=True)
class RangeSession:
    """What was learned.

    scatter: the archer's, pooled.  odd: positions among the ends of those whose arrows
        scattered as this archer's do not; they are no part of it.
    judged: the calibration and what it says of the observations.
    zero_off: as in `Learned`.
    expected: what it expects of each of them.
    marks: at the distances wanted.  at_butts: at those that can be shot.
    corrections: of all ends, in their order; None where there are none.
    advice: what to shoot next.  separation: of speed and drag.
    prospects: what would tell them apart.
    """

    scatter: ArcherScatter
    odd: tuple[int, ...]
    judged: Judged
    zero_off: bool
    expected: Expected
    marks: CorrectedMarks
    at_butts: CorrectedMarks
    corrections: Corrections | None
    advice: Advice
    separation: Separation
    prospects: tuple[Prospect, ...]


@dataclass(frozen=True, kw_only=True)
class Learned:
    """What observations teach, before it is asked for what.

    case: the set-up as assumed.  observations: all of them.
    odd: positions among the ends of those that scatter oddly.
    judged: the calibration.
    zero_off: whether all fits only with the zero mark farther off than the prior had it.
    """

    case: Case
    observations: tuple[Observation, ...]
    odd: tuple[int, ...]
    judged: Judged
    zero_off: bool


def learn(
    shot: Shot,
    sight: Sight,
    prior: Prior,
    observations: Sequence[Observation],
    *,
    group: Group | None = None,
    loss: Loss = "squares",
    slips: tuple[Slip, ...] = SIGNS,
) -> Learned:
    """Pool the archer's scatter, judge the observations, fit those that are sound.

    Where they do not fit, but would if the zero mark were off, it is taken to be. A scatter
    that had to be assumed learns from how the ends lie about the fit.

    shot, sight: the set-up as assumed, its marks counted from `sight.zero_distance`.
    group: the archer's, as known before.  slips: looked for in what does not fit.

    Raises as `calibrate` does; lanes count the zero distance, then the speed readings.
    """
    landed = [item.landed for item in observations if isinstance(item, End)]
    odd = odd_scatters(landed, group)
    sound = [arrows for index, arrows in enumerate(landed) if index not in odd]
    scatter = archer_scatter(sound, group)
    case = Case(shot=shot, sight=sight, prior=prior, scatter=scatter, loss=loss, slips=slips)
    judged = judged_calibration(case, observations)
    free = None if judged.clean else _zero_freed(case, observations)
    if free is not None:
        case, judged = free
    if scatter.assumed and judged.clean:
        case = replace(case, scatter=_told_by_residuals(scatter, judged.calibration))
        judged = judged_anew(case, judged, observations)
    return Learned(
        case=case,
        observations=tuple(observations),
        odd=tuple(odd),
        judged=judged,
        zero_off=free is not None,
    )


def _zero_freed(case: Case, observations: Sequence[Observation]) -> tuple[Case, Judged] | None:
    """The case with the zero mark as good as unknown, where that alone makes all fit.

    Ends at two distances at least must agree in it: at one, nothing tells it from the rest.
    A zero mark that counts as exact is never learned.
    """
    planes = {item.landed.distance for item in observations if isinstance(item, End)}
    if len(planes) < 2 or not 0.0 < case.prior.zero_uncertainty < ANYWHERE:
        return None
    free = replace(case, prior=replace(case.prior, zero_uncertainty=ANYWHERE))
    try:
        judged = judged_calibration(free, observations)
    except (Unsolved, NeverArrives):
        return None
    return (free, judged) if judged.clean else None


def _told_by_residuals(scatter: ArcherScatter, fit: Calibration) -> ArcherScatter:
    """An assumed scatter, pooled with how the ends' centres lie about the fit.

    Each centre's distance from the fit, in its own uncertainty, is a degree of freedom less
    what the fit took of it, its diagonal of the hat matrix.
    """
    square = (fit.residuals / fit.deviation) ** 2
    taken = np.einsum("ru,uv,rv->r", fit.design, fit.covariance, fit.design)
    ends = len(fit.predictions.ends)
    up, aside = slice(0, ends), slice(ends, ends + fit.predictions.aside.size)

    def more(known: Scatter, block: slice) -> Scatter:
        rows = fit.scattered[block]
        return told_more(
            known, float(square[block][rows].sum()), float((1.0 - taken[block][rows]).sum())
        )

    return replace(
        scatter, vertical=more(scatter.vertical, up), sideways=more(scatter.sideways, aside)
    )


def range_session(learned: Learned, aims: Aims) -> RangeSession:
    """Correct the marks by what was learned, and say what comes next.

    Raises TooNear, BeyondReach and Unsolved; lanes count the distances wanted, then the
    butts, then the zero distance.
    """
    case, fit, scatter = learned.case, learned.judged.calibration, learned.case.scatter
    shot, sight, rows = case.shot, case.sight, aims.distances.size
    everywhere = corrected_marks(fit, shot, sight, np.concatenate((aims.distances, aims.butts)))
    marks, at_butts = everywhere.rows(slice(0, rows)), everywhere.rows(slice(rows, None))
    butts = Butts(
        distance=aims.butts,
        response=at_butts.height_response,
        scatter=scatter.vertical.deviation * aims.butts,
    )
    wanted = Wanted(
        response=marks.height_response, tolerance=aims.tolerance, confidence=aims.confidence
    )
    ends = [item for item in learned.observations if isinstance(item, End)]
    apart = separation(fit)
    return RangeSession(
        scatter=scatter,
        odd=learned.odd,
        judged=learned.judged,
        zero_off=learned.zero_off,
        expected=_expected(learned),
        marks=marks,
        at_butts=at_butts,
        corrections=corrections(fit, shot, sight, ends, scatter) if ends else None,
        advice=advise(Known.of(fit, scatter.vertical), wanted, butts, aims.arrows),
        separation=apart,
        prospects=() if apart.told else prospects(fit, butts, aims.arrows, at_butts.table.speed),
    )


def _expected(learned: Learned) -> Expected:
    judged, case = learned.judged, learned.case
    fit, rows = judged.calibration, tuple(rows_of(learned.observations))
    if not judged.aside:
        return Expected(value=fit.predicted, deviation=fit.deviation, rows=rows)
    predictions = Predictions(case.shot, case.sight.zero_distance, learned.observations)
    return Expected(
        value=predictions(fit.values[:, None])[0],
        deviation=deviations(predictions, case.scatter)[0],
        rows=rows,
    )
