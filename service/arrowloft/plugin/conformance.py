"""The conformance suite: what a model's author runs on the model from their own tests.

    from arrowloft.plugin.conformance import check_drag_model

    def test_my_model():
        check_drag_model(MyModel, coefficient=2.0)

Parameters are SI values; the model's `example` serves where none are given.
"""

import pickle
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import FrozenInstanceError, fields, replace
from functools import partial
from typing import Any, Literal

import numpy as np

from arrowloft.core.arrays import Array, Real
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow, Bow
from arrowloft.core.setup.flow import Flow, cross_section
from arrowloft.plugin.conformance_lanes import (
    LANES,
    ORDER,
    REFUSED,
    Said,
    Subject,
    close,
    lanes_of_parameters,
)
from arrowloft.plugin.contract import DragModel, LaunchCase, LaunchModel, Model, Note, as_read_only
from arrowloft.plugin.guard import (
    FAILED,
    ModelFault,
    guarded_drag_notes,
    guarded_kinks,
    guarded_launch,
    guarded_launch_notes,
    guarded_law,
    guarded_uncertainty,
    guarded_uncertainty_by_lane,
    reason_of,
)
from arrowloft.plugin.time_limit import TookTooLong, within
from arrowloft.plugin.validity import OutsideValidity
from arrowloft.plugin.verification import faults_of, limit_faults

CHECK_SECONDS = 20.0
"""How long one check may take: some hundred calls of a model, while a request has 5 s for all."""

_TOO_SLOW = (
    "the model is too slow: this check alone took longer than {seconds:g} s, so those after it "
    "were left out"
)

_INCIDENCES = as_read_only(np.radians(np.linspace(0.0, 45.0, LANES)))
_SPEEDS = as_read_only(np.geomspace(0.1, 150.0, 12 * LANES).reshape(12, LANES))

# An invented target arrow and bow, at the middle of what archers shoot.
_ARROW = Arrow(mass=0.021, shaft_diameter=0.0056, length=0.72, balance_point=0.43)
_BOW = Bow(peep_height=0.11, draw_length=0.73, brace_height=0.19, draw_weight=210.0)
# The standard atmosphere at sea level.
_AIR = Air(
    temperature=288.15,
    pressure=101325.0,
    relative_humidity=0.0,
    density=1.225,
    viscosity=1.789e-5,
    speed_of_sound=340.3,
)


def check_drag_model(model: type[DragModel], /, **parameters: Any) -> None:
    """Run every check on a drag model; AssertionError with all that failed in one message.

    Contract; shapes (n,), (n, m) and (1, 1); one value or one a lane of each field of
    arrow and air; lanes independent of each other; pure; finite and not negative from
    0.1 to 150 m/s and from 0 to 45 deg of incidence, one for all or one each; immutable;
    equal instances agree; pickles; notes and limits sound; with `by_lane`, lanes of
    parameters answered as each alone; no check longer than 20 s.
    """
    _check(model, "drag", parameters, _DRAG_CHECKS)


def check_launch_model(model: type[LaunchModel], /, **parameters: Any) -> None:
    """Run every check on a launch model; AssertionError with all that failed in one message.

    Contract; one mass or one a lane; lanes independent of each other; pure; speed
    finite and positive, uncertainty finite and not negative; immutable; equal
    instances agree; pickles; notes and limits sound; with `by_lane`, lanes of
    parameters answered as each alone; no check longer than 20 s.
    """
    _check(model, "launch", parameters, _LAUNCH_CHECKS)


def _check(
    model: type[Model],
    kind: Literal["drag", "launch"],
    parameters: Mapping[str, Any],
    checks: Mapping[str, Callable[[Subject], Iterator[str]]],
) -> None:
    contract = partial(faults_of, kind=kind, entry_point_name=getattr(model, "name", ""))
    failed, slow = _run(contract, model)
    if not failed:
        subject = Subject(model, parameters or model.example, _ANSWERS[kind], _SAID[kind])
        for title, check in checks.items():
            found, slow = _run(check, subject)
            failed += (f"{title}: {text}" for text in found)
            if slow:
                break
    if failed:
        lines = "\n".join(f"  {text}" for text in failed)
        raise AssertionError(f"{model!r} fails {len(failed)} check(s):\n{lines}")


def _run(check: Callable[[Any], Iterable[str]], subject: Any) -> tuple[list[str], bool]:
    """What a check finds, and whether it was ended as too slow; an exception is a finding too."""
    found: list[str] = []
    try:
        within(CHECK_SECONDS, lambda: found.extend(check(subject)))
    except TookTooLong:
        return [*found, _TOO_SLOW.format(seconds=CHECK_SECONDS)], True
    except ModelFault as fault:
        found.append(fault.message)
    except FAILED as error:
        found.append(f"raised {reason_of(error)}")
    return found, False


def _varied(values: Any, pick: Any) -> Any:
    """The record with numbers that vary from lane to lane, for the lanes picked.

    pick: a slice or indices -> arrays; one index -> floats.
    """
    changed = {}
    for place, item in enumerate(fields(values)):
        value = getattr(values, item.name)
        if value is not None:
            # Another slope for each field, so that no two fields stay in proportion.
            lanes = value * (1 + 0.01 * (1 + place) * np.arange(LANES))[pick]
            changed[item.name] = lanes if np.ndim(lanes) else float(lanes)
    return replace(values, **changed)


def _flow(speeds: Array, air: Air, incidence: Real = 0.0) -> Flow:
    return Flow(speeds, air.density, air.viscosity, air.speed_of_sound, incidence)


def _drag_answer(model: DragModel, lanes: bool, pick: Any) -> Array:
    air, arrow = (_varied(_AIR, pick), _varied(_ARROW, pick)) if lanes else (_AIR, _ARROW)
    return guarded_law(model)(_flow(_SPEEDS[:, pick], air), arrow)


def _quadratic(flow: Flow, arrow: Arrow) -> Array:
    """The drag law beside a launch model under test: coefficient 2, constant."""
    return np.ones_like(flow.airspeed) * (2.0 * cross_section(arrow))


def _launch_answer(model: LaunchModel, lanes: bool, pick: Any) -> Array:
    case = LaunchCase(_BOW, _ARROW, _AIR, _quadratic)
    if lanes:
        bow, arrow, air = (_varied(part, pick) for part in (_BOW, _ARROW, _AIR))
        case = replace(case, bow=bow, arrow=arrow, air=air)
    result = guarded_launch(model, case)
    return np.array([result.speed, result.standard_uncertainty])


_ANSWERS: Mapping[str, Callable[[Any, bool, Any], Array]] = {
    "drag": _drag_answer,
    "launch": _launch_answer,
}


def _drag_said(model: DragModel, pick: Any) -> Said:
    """What it says of lanes that fly at all the speeds, slow ones alone, and fast ones."""
    air, arrow = _varied(_AIR, pick), _varied(_ARROW, pick)
    lanes = np.size(_SPEEDS[0, pick])
    codes: set[str] = set()
    for ends in ([0, -1], [0, 1], [-2, -1]):
        speeds = _SPEEDS[ends][:, pick].reshape(2, lanes)
        try:
            codes |= {note.code for note in guarded_drag_notes(model, _flow(speeds, air), arrow)}
        except OutsideValidity:
            codes.add(REFUSED)
    uncertainty = guarded_uncertainty_by_lane(model, lanes)
    return Said({"relative_uncertainty": uncertainty}, frozenset(codes), guarded_kinks(model))


def _launch_said(model: LaunchModel, pick: Any) -> Said:
    bow, arrow, air = (_varied(part, pick) for part in (_BOW, _ARROW, _AIR))
    case = LaunchCase(bow, arrow, air, _quadratic)
    result = guarded_launch(model, case)
    try:
        codes = {note.code for note in guarded_launch_notes(model, case, result)}
    except OutsideValidity:
        codes = {REFUSED}
    numbers = {f"figure {name!r}": value for name, (value, _) in result.figures.items()}
    return Said(numbers, frozenset(codes))


_SAID: Mapping[str, Callable[[Any, Any], Said]] = {"drag": _drag_said, "launch": _launch_said}


def _drag_shapes(subject: Subject) -> Iterator[str]:
    """Answers of every shape agree with those of the (n, m) array; guarded_law checks shapes."""
    model = subject.new()
    law = guarded_law(model)
    whole = subject.answer(model, False, slice(None))
    flat = law(_flow(_SPEEDS.ravel(), _AIR), _ARROW)
    single = law(_flow(_SPEEDS[5:6, 2:3], _AIR), _ARROW)
    if not close(flat, whole.ravel()):
        yield "the answer for (n,) differs from that for (n, m)"
    if not close(single, whole[5:6, 2:3]):
        yield "the answer for (1, 1) differs from that for (n, m)"
    if not close(law(_flow(_SPEEDS[3:8], _AIR), _ARROW), whole[3:8]):
        yield "a row's answer depends on the other rows"


def _incidence(subject: Subject) -> Iterator[str]:
    """One angle for all, one a lane and one for each speed are answered as each alone.

    guarded_law checks shapes and signs.
    """
    law = guarded_law(subject.new())
    along = law(_flow(_SPEEDS, _AIR), _ARROW)
    for zero in (np.zeros(LANES), np.zeros_like(_SPEEDS)):
        if not close(law(_flow(_SPEEDS, _AIR, zero), _ARROW), along):
            yield "an array of incidences of 0 is not answered as the incidence 0"
            return
    by_lane = law(_flow(_SPEEDS, _AIR, _INCIDENCES), _ARROW)
    for lane, incidence in enumerate(_INCIDENCES):
        alone = law(_flow(_SPEEDS, _AIR, float(incidence)), _ARROW)
        if not close(alone[:, lane], by_lane[:, lane]):
            yield f"lane {lane} of an array of incidences is answered otherwise than alone"
            return
    each = as_read_only(np.linspace(0.5, 1.0, len(_SPEEDS))[:, None] * _INCIDENCES)
    whole = law(_flow(_SPEEDS, _AIR, each), _ARROW)
    if not close(law(_flow(_SPEEDS.ravel(), _AIR, each.ravel()), _ARROW), whole.ravel()):
        yield "speeds with an incidence each are answered otherwise as (n,) than as (n, m)"


def _launch_shapes(subject: Subject) -> Iterator[str]:
    """One arrow of one mass, and many of it, are answered alike; guarded_launch checks shapes."""
    model = subject.new()
    one = subject.answer(model, False, 0)
    arrows = replace(_ARROW, mass=np.full(3, _ARROW.mass))
    many = guarded_launch(model, LaunchCase(_BOW, arrows, _AIR, _quadratic))
    if not close(np.array([many.speed, many.standard_uncertainty]), np.stack([one] * 3, axis=1)):
        yield "three arrows of one mass are not answered as that one arrow"


def _lanes(subject: Subject) -> Iterator[str]:
    model = subject.new()
    whole = subject.answer(model, True, slice(None))
    if not close(subject.answer(model, True, ORDER), whole[..., ORDER]):
        yield "permuted lanes do not give the permuted answer"
    if not close(subject.answer(model, True, ORDER[:2]), whole[..., ORDER[:2]]):
        yield "a part of the lanes does not give that part of the answer"
    for lane in range(LANES):
        if not close(subject.answer(model, True, lane), whole[..., lane]):
            yield f"lane {lane} asked for alone, with floats, is answered otherwise"
            return


def _pure(subject: Subject) -> Iterator[str]:
    """The same question twice; the first answer is overwritten, as its owner may."""
    model = subject.new()
    for lanes in (False, True):
        first = subject.answer(model, lanes, slice(None))
        kept = first.copy()
        if first.flags.writeable:
            first += 1.0
        if not np.array_equal(kept, subject.answer(model, lanes, slice(None))):
            yield "the same question is answered otherwise once the first answer was written to"
            return


def _fresh(subject: Subject) -> Iterator[str]:
    flow = _flow(_SPEEDS.copy(), _AIR)
    if np.may_share_memory(guarded_law(subject.new())(flow, _ARROW), flow.airspeed):
        yield "the answer is the airspeed's own memory; return a new array"


def _immutable(subject: Subject) -> Iterator[str]:
    model = subject.new()
    for item in fields(model):
        value = getattr(model, item.name)
        try:
            setattr(model, item.name, value)
        except (FrozenInstanceError, AttributeError):
            pass
        else:
            yield f"the field {item.name!r} can be set"
        if isinstance(value, np.ndarray) and value.flags.writeable:
            yield f"the array {item.name!r} can be written to; keep it by as_read_only"


def _equals(subject: Subject) -> Iterator[str]:
    one, other = (subject.answer(subject.new(), True, slice(None)) for _ in range(2))
    if not np.array_equal(one, other):
        yield "two instances of the same parameters answer differently"


def _pickles(subject: Subject) -> Iterator[str]:
    model = subject.new()
    again = pickle.loads(pickle.dumps(model))
    if not np.array_equal(
        subject.answer(model, True, slice(None)), subject.answer(again, True, slice(None))
    ):
        yield "the instance answers differently after pickling"


def _drag_extras(subject: Subject) -> Iterator[str]:
    model = subject.new()
    yield from (text for item in model.limits() for text in limit_faults(item, "drag"))
    guarded_uncertainty(model)
    guarded_kinks(model)
    for speeds in (_SPEEDS.ravel()[[0, -1]], np.array([50.0, 60.0])):
        notes = model.notes(_flow(speeds, _AIR), _ARROW)
        if not isinstance(notes, tuple) or not all(isinstance(item, Note) for item in notes):
            yield "notes() does not return a tuple of Note"
            return


def _launch_extras(subject: Subject) -> Iterator[str]:
    yield from (text for item in subject.new().limits() for text in limit_faults(item, "launch"))


_COMMON: Mapping[str, Callable[[Subject], Iterator[str]]] = {
    "lanes": _lanes,
    "pure": _pure,
    "immutable": _immutable,
    "equal instances": _equals,
    "pickle": _pickles,
    "lanes of parameters": lanes_of_parameters,
}
_DRAG_CHECKS = {
    "shapes": _drag_shapes,
    "incidence": _incidence,
    **_COMMON,
    "memory": _fresh,
    "extras": _drag_extras,
}
_LAUNCH_CHECKS = {"shapes": _launch_shapes, **_COMMON, "limits": _launch_extras}
