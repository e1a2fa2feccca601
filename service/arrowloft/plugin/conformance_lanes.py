"""The conformance suite on lanes of parameters: a model with `by_lane` answers each as alone."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Any

import numpy as np

from arrowloft.core.arrays import Array, Real
from arrowloft.plugin.contract import CaseError, Parameter, ParameterError, as_read_only
from arrowloft.plugin.verification import limit_faults

ROUNDING = 1e-12
"""Relative difference allowed between lanes computed together and alone.

Vector and scalar code paths of one function may differ in the last digits.
"""

LANES = 6
ORDER = np.array([4, 0, 5, 2, 1, 3])
REFUSED = "refused"
"""Stands for all notes where one of the ranges refuses an answer."""
_STEP = 0.002
"""Relative step from lane to lane of the first parameter: small, so that few contradict."""


@dataclass(frozen=True)
class Said:
    """What a model says beside its answer: numbers by name, codes of its notes, kinks."""

    numbers: Mapping[str, Real]
    codes: frozenset[str]
    kinks: tuple[float, ...] | None = ()


@dataclass(frozen=True)
class Subject:
    """A model under test: its class, the parameters, and how it is asked for an answer.

    answer: (instance, lanes, pick) -> all numbers of the answer, lanes last; `lanes`
    says whether arrow and air carry one value a lane, `pick` which lanes are asked.
    said: (instance, pick) -> what it says beside, arrow and air with one value a lane.
    """

    model: type[Any]
    parameters: Mapping[str, Any]
    answer: Callable[[Any, bool, Any], Array]
    said: Callable[[Any, Any], Said]

    def new(self, **changed: Any) -> Any:
        """An instance, with some parameters changed."""
        return self.model.of({**self.parameters, **changed})


def close(one: Any, other: Any) -> bool:
    """Whether they are equal in shape and, but for rounding, in value."""
    return np.shape(one) == np.shape(other) and np.allclose(one, other, rtol=ROUNDING, atol=0.0)


def lanes_of_parameters(subject: Subject) -> Iterator[str]:
    """Each number of the parameters varied over lanes, by itself and all together.

    What the model refuses lane by lane is left out, unless that is all there is.
    """
    if not subject.model.by_lane:
        return
    starts, sound = _starts(subject), {}
    for place, (name, start) in enumerate(starts.items()):
        item = subject.model.parameters()[name]
        for lanes in _small_steps(item, start, place):
            found = _tried(subject, {name: lanes})
            if found is not None:
                sound[name] = lanes
                yield from (f"{name}: {text}" for text in found)
                break
        for lanes in _to_the_bounds(item, start):
            yield from (f"{name}: {text}" for text in _refusals(subject, {name: lanes}))
    if starts and not sound:
        yield "no parameter could be varied without a refusal; give parameters with more room"
    # What was left out by the caller may exclude what was given, so it is varied alone only.
    given = {name: sound[name] for name in sound if _is_given(subject, name)}
    if len(given) > 1:
        yield from (f"all together: {text}" for text in _tried(subject, given) or ())


def _is_given(subject: Subject, name: str) -> bool:
    default = subject.model.parameters()[name].default
    return subject.parameters.get(name, default) is not None


def _starts(subject: Subject) -> dict[str, float]:
    """The value each number is varied from: as tested, its default, or amid its bounds."""
    starts = {}
    for name, item in subject.model.parameters().items():
        if item.array or item.dimension == "choice":
            continue
        value = subject.parameters.get(name, item.default)
        if value is None and item.low is not None and item.high is not None:
            value = (item.low + item.high) / 2
        if value is not None:
            starts[name] = float(value)
    return starts


def _small_steps(item: Parameter, start: float, place: int) -> Iterator[Array]:
    """Lanes near the start and within the bounds: upwards, downwards, by whole numbers."""
    low, high = _bounds(item)
    # Another slope for each parameter, so that no two stay in proportion.
    small = _STEP * (1 + place) * (abs(start) or min(1.0, high - low))
    for step in (small, -small, 1.0, -1.0):
        lanes = start + step * np.arange(LANES)
        if low <= lanes.min() and lanes.max() <= high:
            yield as_read_only(lanes)


def _to_the_bounds(item: Parameter, start: float) -> Iterator[Array]:
    """Lanes from the start to either bound, where it is finite: the model may refuse some."""
    for bound in _bounds(item):
        if isfinite(bound) and bound != start:
            yield as_read_only(np.linspace(start, bound, LANES))


def _bounds(item: Parameter) -> tuple[float, float]:
    low = -np.inf if item.low is None else item.low
    return low, np.inf if item.high is None else item.high


def _made(subject: Subject, parameters: Mapping[str, Any]) -> Any:
    """The instance; None where the model refuses the parameters."""
    try:
        return subject.new(**parameters)
    except ParameterError:
        return None


def _each(lanes: Mapping[str, Array]) -> list[dict[str, float]]:
    return [{name: float(values[k]) for name, values in lanes.items()} for k in range(LANES)]


def _refusals(subject: Subject, lanes: Mapping[str, Array]) -> Iterator[str]:
    """Lanes are refused where one of them is, and nowhere else."""
    accepted = all(_made(subject, parameters) is not None for parameters in _each(lanes))
    if accepted != (_made(subject, lanes) is not None):
        yield (
            "lanes are refused that are taken one by one"
            if accepted
            else "lanes are taken of which one alone is refused; let checks hold over all lanes"
        )


def _tried(subject: Subject, lanes: Mapping[str, Array]) -> list[str] | None:
    """What is wrong with the answers for these lanes; None where the model refuses one."""
    alone = [_made(subject, parameters) for parameters in _each(lanes)]
    refusals = list(_refusals(subject, lanes))
    if refusals or any(model is None for model in alone):
        return refusals or None
    try:
        for lane, model in enumerate(alone):
            subject.answer(model, True, lane)
    except (CaseError, ParameterError):
        return None
    whole = subject.new(**lanes)
    before = {name: np.array(getattr(whole, name)) for name in lanes}
    # Notes follow from the limits, so they are asked for where these are sound only.
    faults = list(_limits_faults(whole, alone)) or [
        *_told_apart(subject, whole, alone),
        *_permuted(subject, lanes, whole),
        *_said_faults(subject, whole, alone),
    ]
    if not all(np.array_equal(before[name], getattr(whole, name)) for name in lanes):
        faults.append("the lanes held by the model were changed by asking it")
    if any(np.asarray(getattr(whole, name)).flags.writeable for name in lanes):
        faults.append("the lanes held by the model can be written to; keep them by as_read_only")
    return faults


def _told_apart(subject: Subject, whole: Any, alone: list[Any]) -> Iterator[str]:
    # One arrow mass for many launches is no question: its shape is the answer's.
    for varied in (True, False) if whole.kind == "drag" else (True,):
        answer = subject.answer(whole, varied, slice(None))
        for lane, model in enumerate(alone):
            if not close(subject.answer(model, varied, lane), answer[..., lane]):
                yield f"lane {lane} asked for alone, with floats, is answered otherwise"
                return


def _permuted(subject: Subject, lanes: Mapping[str, Array], whole: Any) -> Iterator[str]:
    answer = subject.answer(whole, True, slice(None))
    for order, what in ((ORDER, "permuted lanes"), (ORDER[:2], "a part of the lanes")):
        model = subject.new(**{name: values[order] for name, values in lanes.items()})
        if not close(subject.answer(model, True, order), answer[..., order]):
            yield f"{what} of parameters are not answered alike"


def _said_faults(subject: Subject, whole: Any, alone: list[Any]) -> Iterator[str]:
    """Uncertainty or figures as each lane's alone; notes and kinks that any lane alone has."""
    said = subject.said(whole, slice(None))
    for lane, model in enumerate(alone):
        one = subject.said(model, lane)
        for name, values in said.numbers.items():
            number = float(np.broadcast_to(values, (LANES,))[lane])
            if name in one.numbers and not close(number, float(np.ravel(one.numbers[name])[0])):
                yield f"{name} of lane {lane} differs from that of the lane alone"
                return
        missing = one.codes - said.codes
        if missing and REFUSED not in said.codes:
            yield f"the note {min(missing)!r} of lane {lane} alone is missing"
            return
        if not _holds_kinks(said.kinks, one.kinks):
            yield f"kinks lacks one of lane {lane} alone"
            return


def _holds_kinks(kinks: tuple[float, ...] | None, own: tuple[float, ...] | None) -> bool:
    """Whether the kinks of all lanes hold one lane's own; unknown ones hold any."""
    if kinks is None or own is None:
        return kinks is None
    return all(np.isclose(kinks, kink, rtol=ROUNDING, atol=0.0).any() for kink in own)


def _limits_faults(whole: Any, alone: list[Any]) -> Iterator[str]:
    """Ranges as each lane's alone."""
    ranges = whole.limits()
    faults = [text for item in ranges for text in limit_faults(item, whole.kind, lanes=LANES)]
    if faults:
        yield from faults
        return
    for lane, model in enumerate(alone):
        own = model.limits()
        same = [item.quantity for item in own] == [item.quantity for item in ranges]
        for one, item in zip(own, ranges, strict=False):
            ends = [np.broadcast_to(end, (LANES,))[lane] for end in (item.low, item.high)]
            same = same and close(ends, [one.low, one.high])
        if not same:
            yield f"the limits of lane {lane} differ from those of the lane alone"
            return
