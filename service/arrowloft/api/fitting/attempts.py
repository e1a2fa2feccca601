"""Candidates fitted one by one: a fit, or the problem that stands in its way."""

import logging
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np

from arrowloft.api.fitting.candidates import Candidate
from arrowloft.api.fitting.patience import OutOfPatience, Patience
from arrowloft.api.fitting.unknowns import Unknown, together
from arrowloft.api.problems import KINDS, Fault, Problem, from_case, from_model_fault
from arrowloft.api.wording import sentence
from arrowloft.core.fitting.fit import Fit, NeverArrives, NotTold, TooFew, Unsettled, fit
from arrowloft.core.fitting.predictions import Predictions
from arrowloft.core.fitting.series import KINDS as ROWS
from arrowloft.core.fitting.series import Series
from arrowloft.core.fitting.whitened import TooRough
from arrowloft.core.flight.aim import TooNear
from arrowloft.core.flight.reach import Unsolved
from arrowloft.plugin import CaseError, ParameterError
from arrowloft.plugin.guard import ModelFault
from arrowloft.plugin.validity import OutsideValidity

_log = logging.getLogger(__name__)

MEMBERS = ("speeds", "times", "drops", "positions", "positions", "positions")
"""Kind of row -> member of the series that holds it."""


_BEYOND = (
    "The best fit lies beyond what the model takes, whose parameters refuse each other there: give "
    "one of them a value, or fit a simpler model."
)
_UNSETTLED = (
    "The fit does not settle: start from other values, let fewer parameters be free, or look for "
    "an observation that contradicts the others."
)

_ROUGH = (
    "The drag law is too rough: flights by it arrive, but cannot be computed closely enough "
    "beside the stated uncertainties. Give it fewer or smoother points, or observations that are "
    "less certain."
)
_SLOW = (
    "The model answers too slowly for a fit, and was stopped so that the other models have their "
    "share of the request's time: let fewer parameters be free, or fit it alone."
)


@dataclass(frozen=True)
class Attempt:
    """What became of one candidate: exactly one of `fit` and `problem` is not None."""

    candidate: Candidate
    fit: Fit | None = None
    problem: Problem | None = None


def attempt(
    candidate: Candidate, predictions: Predictions, index: int, patience: Patience
) -> Attempt:
    """Fit the candidate at this position; a Problem for parameters that refuse each other.

    What else stands in the way of the fit is the attempt's problem, so that it does not hide
    the other models' fits.
    """
    start = np.array([item.start for item in candidate.unknowns])
    with _refusing(index, "drag"):
        candidate.drag_at(start)
    if candidate.launch is not None:
        with _refusing(index, "launch"):
            candidate.launch_at(start)
    try:
        with _failing(candidate, predictions, index):
            if not candidate(start[:, None]).sound[0]:
                raise _no_speed(index)
            family = patience.family(candidate)
            return Attempt(candidate, fit(predictions, family, together(candidate.unknowns)))
    except Problem as problem:
        return Attempt(candidate, problem=problem)


def none_fitted(attempts: Sequence[Attempt]) -> Problem:
    """The problem where every attempt has one."""
    problems = [item.problem for item in attempts if item.problem is not None]
    if len(problems) == 1:
        return problems[0]
    codes = {problem.code for problem in problems}
    code = codes.pop() if len(codes) == 1 else "cannot-be-fitted"
    faults = [
        Fault(fault.pointer, f"{item.candidate.label}: {fault.detail}")
        for item, problem in zip(attempts, problems, strict=True)
        for fault in problem.errors
    ]
    return Problem(code, "None of the models can be fitted; `errors` says why of each.", faults)


@contextmanager
def _refusing(index: int, kind: str) -> Iterator[None]:
    """Parameters that do not fit together make the request invalid."""
    try:
        yield
    except ParameterError as error:
        raise _parameter(error, index, kind) from error
    except ModelFault:
        pass  # laid at the model's door when it is built again


def _parameter(error: ParameterError, index: int, kind: str) -> Problem:
    detail = sentence(error.message)
    fault = Fault(f"/models/{index}/{error.kind or kind}/parameters/{error.parameter}", detail)
    return Problem("invalid-request", detail, (fault,))


@contextmanager
def _failing(candidate: Candidate, predictions: Predictions, index: int) -> Iterator[None]:
    """Whatever stands in the way of a fit, as a problem that points at what to change."""
    where = f"/models/{index}"
    try:
        yield
    except NotTold as error:
        detail = _not_told(candidate.unknowns, error)
        raise Problem("cannot-be-fitted", detail, (Fault(where, detail),)) from error
    except TooFew as error:
        rows, unknowns = predictions.observed.size, len(candidate.unknowns)
        detail = (
            f"{rows} measured {'value' if rows == 1 else 'values'} cannot tell {unknowns} "
            "unknowns: measure more, or let fewer be free."
        )
        raise Problem("cannot-be-fitted", detail, (Fault(where, detail),)) from error
    except NeverArrives as error:
        raise _never(candidate, predictions, error) from error
    except TooRough as error:
        faults = [Fault(f"{where}/drag", _ROUGH)]
        raise Problem("cannot-be-fitted", _ROUGH, faults) from error
    except OutOfPatience as error:
        raise Problem("takes-too-long", _SLOW, (Fault(where, _SLOW),)) from error
    except TooNear as error:
        aimed = [i for i, item in enumerate(predictions.series) if item.aimed_at is not None]
        detail = "Too near: the arrow leaves the string reaching beyond. Give a farther distance."
        faults = [Fault(f"/series/{series}/aimed_at", detail) for series in aimed]
        raise Problem("invalid-request", detail, faults) from error
    except Unsettled as error:
        detail = _BEYOND if error.refused else _UNSETTLED
        raise Problem("cannot-be-fitted", detail, (Fault(where, detail),)) from error
    except Unsolved as error:
        detail = KINDS["cannot-be-followed"].advice
        raise Problem("cannot-be-fitted", detail, (Fault(where, detail),)) from error
    except CaseError as error:
        raise from_case(error) from error
    except OutsideValidity as error:
        fault = Fault(f"{where}/{error.kind}/model", str(error))
        raise Problem("outside-validity", str(error), (fault,)) from error
    except ParameterError as error:
        raise _parameter(error, index, "drag") from error
    except ModelFault as error:
        _log.error("a model failed", exc_info=error)
        found = from_model_fault(error)
        faults = [Fault(f"{where}{fault.pointer}", fault.detail) for fault in found.errors]
        raise Problem(found.code, found.detail, faults, **found.members) from error


def _no_speed(index: int) -> Problem:
    detail = (
        "The launch model as it starts gives a launch speed beyond those that flights are computed "
        "for, or none: correct its parameters."
    )
    return Problem("model-cannot-answer", detail, (Fault(f"/models/{index}/launch", detail),))


def _not_told(unknowns: Sequence[Unknown], error: NotTold) -> str:
    names = [unknowns[index].words for index in error.unknowns]
    if error.together:
        return (
            f"The observations tell {' and '.join(names)} in combination only, not each by itself: "
            "give one of them and let the others be free, or measure what tells them apart."
        )
    tried = (
        f", neither where the fit starts nor with the others fitted, and from {error.tried} other "
        "values nothing better is found"
        if error.tried
        else ""
    )
    return (
        f"The observations do not tell {' and '.join(names)}{tried}: give a value instead of "
        "letting it be free, start elsewhere, or measure where it counts."
    )


def _never(candidate: Candidate, predictions: Predictions, error: NeverArrives) -> Problem:
    start = np.array([item.start for item in candidate.unknowns])
    angles = predictions.angles(candidate(start[:, None]))[:, 0]
    detail = (
        "The model as it starts sends no arrow here: check the distance and the launch angle, or "
        "start from other values."
    )
    places = []
    for index, (series, rows) in enumerate(zip(predictions.series, predictions.rows, strict=True)):
        lost = [row for row in error.rows if rows.start <= row < rows.stop]
        if lost and np.isnan(angles[index]):
            places.append(f"/series/{index}/aimed_at")
        elif lost:
            # A path is solved to its farthest plane as a whole: nearer ones may be reached.
            far = [_distance(series, row - rows.start) for row in lost]
            places += [
                pointer(predictions, row)
                for row, at in zip(lost, far, strict=True)
                if at == max(far)
            ]
    return Problem("cannot-be-fitted", detail, [Fault(place, detail) for place in places])


def _distance(series: Series, row: int) -> float:
    """Distance of the plane that a row of a series was read at, m; infinite for a track's."""
    planes = np.concatenate([item.distance for item in series.readings])
    return float(planes[row]) if row < planes.size else np.inf


def pointer(predictions: Predictions, row: int) -> str:
    """JSON pointer of the observation that a row is of."""
    for index, (series, rows) in enumerate(zip(predictions.series, predictions.rows, strict=True)):
        if rows.start <= row < rows.stop:
            kinds = np.repeat(np.arange(len(ROWS)), series.counts())
            kind = int(kinds[row - rows.start])
            place = row - rows.start - sum(series.counts()[:kind])
            if ROWS[kind] == "right":
                place = int(np.flatnonzero(np.isfinite(series.track.right))[place])
            return f"/series/{index}/{MEMBERS[kind]}/{place}"
    raise IndexError(row)
