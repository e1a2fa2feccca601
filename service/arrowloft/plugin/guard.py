"""The guard at run time: what a model returns is checked, and a fault names the model.

Every array handed to a model is read-only while the model runs.
"""

from collections.abc import Callable
from dataclasses import fields
from math import inf, isfinite
from typing import Any, TypeVar

import numpy as np

from arrowloft.core.arrays import Array, Real
from arrowloft.core.flight import work
from arrowloft.core.setup.equipment import Arrow, Bow
from arrowloft.core.setup.flow import DragLaw, Flow
from arrowloft.plugin import validity
from arrowloft.plugin.contract import (
    CaseError,
    DragModel,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    Model,
    Note,
    ParameterError,
    Validity,
)
from arrowloft.plugin.time_limit import Running
from arrowloft.plugin.verification import KNOWN_DIMENSIONS

T = TypeVar("T")


class ModelFault(RuntimeError):
    """A model raised, or returned what the contract does not allow.

    kind, name: the model's.  message: what it did.
    """

    def __init__(self, kind: str, name: str, message: str) -> None:
        super().__init__(f"{kind} model {name!r}: {message}")
        self.kind = kind
        self.name = name
        self.message = message

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.kind, self.name, self.message)


_FLOATS = (np.ndarray, np.float64)
_REALS = (int, float, np.integer, np.floating)

FAILED = (Exception, SystemExit)
"""What a model may fail by: written as a script, it must not end the service either."""

PASSED = (CaseError, ParameterError, validity.OutsideValidity, ModelFault)
"""What passes the guard: the caller's errors, and a fault already laid at a model's door."""

MEMBERS = frozenset(
    {"bow", "arrow", "air", "drag"}
    | {f"bow/{item.name}" for item in fields(Bow)}
    | {f"arrow/{item.name}" for item in fields(Arrow)}
    # The rest of the air is computed: nobody gives it.
    | {"air/temperature", "air/pressure", "air/relative_humidity"}
)
"""What a CaseError may point at: what a caller gives or leaves out."""


def guarded_law(model: DragModel) -> DragLaw:
    """The model's drag law, checked at every call.

    The law raises ModelFault where the model raises, tries to change its input, or
    returns anything but finite, non-negative floats of the shape of flow.airspeed.
    CaseError and ParameterError pass, where they name what a caller can give.  Where the
    airspeed itself is not finite, as in an iteration that diverges, the model is not blamed.
    It costs about 5 microseconds a call, and counts towards what a request may
    take: TooMuchWork passes too.
    """
    drag_area = model.drag_area

    def law(flow: Flow, arrow: Arrow) -> Array:
        airspeed = flow.airspeed
        work.evaluate(airspeed.size)
        locked = _lock(
            airspeed,
            flow.density,
            flow.viscosity,
            flow.speed_of_sound,
            flow.incidence,
            arrow.mass,
            arrow.shaft_diameter,
            arrow.length,
            arrow.balance_point,
            arrow.tip_lead,
        )
        try:
            with Running(model):
                area = drag_area(flow, arrow)
        except PASSED as error:
            check_named(model, "drag_area", error)
            if isinstance(error, ParameterError):
                error.kind = "drag"
            raise
        except FAILED as error:
            raise raised(model, "drag_area", error) from error
        finally:
            _unlock(locked)
        if not isinstance(area, _FLOATS) or area.dtype != np.float64:
            raise ModelFault(
                "drag", model.name, f"drag_area returned {_described(area)}, not floats"
            )
        if area.shape != airspeed.shape:
            message = f"drag_area returned the shape {area.shape}, not {airspeed.shape}"
            raise ModelFault("drag", model.name, message)
        # NaN counts as both least and greatest, and fails every comparison.  argmin and
        # argmax take a fifth of the time of min and max on the few hundred values of a call.
        if area.size and not (area.item(area.argmin()) >= 0.0 and area.item(area.argmax()) < inf):
            _judge(model, area, airspeed)
        return area

    return law


def _judge(model: DragModel, area: Array, airspeed: Array) -> None:
    """ModelFault unless every bad area is owed to an airspeed that is itself not finite."""
    finite = np.isfinite(airspeed)
    owned = np.asarray(area)[finite]
    if owned.size and not (owned.min() >= 0.0 and owned.max() < inf):
        raise ModelFault("drag", model.name, f"drag_area returned {_bad_value(owned)}")


def guarded_uncertainty(model: DragModel) -> float:
    """The drag area's relative standard uncertainty; ModelFault unless finite and >= 0."""
    value = _called(model, "relative_uncertainty", model.relative_uncertainty)
    if not _is_real(value) or not 0.0 <= value < inf:
        message = f"relative_uncertainty returned {value!r}, not a finite number of at least 0"
        raise ModelFault("drag", model.name, message)
    return float(value)


def guarded_uncertainty_by_lane(model: DragModel, lanes: int) -> Array:
    """`guarded_uncertainty` of a model with parameters by lane: (lanes,), one for each.

    A number, or an array of one, counts for all of them.
    """
    value = _called(model, "relative_uncertainty", model.relative_uncertainty)
    shape = np.shape(value)
    if shape not in ((), (1,), (lanes,)):
        message = f"relative_uncertainty has the shape {shape}, not one value for {lanes} lanes"
        raise ModelFault("drag", model.name, message)
    checked = _checked(model, "relative_uncertainty", value, shape)
    return np.array(np.broadcast_to(checked, (lanes,)))


def guarded_kinks(model: DragModel) -> tuple[float, ...] | None:
    """The model's kinks in ascending order; ModelFault unless None, or finite and positive."""
    values = _called(model, "kinks", lambda: _tuple_or_none(model.kinks()))
    if values is None:
        return None
    if not all(_is_real(value) and 0.0 < value < inf for value in values):
        message = f"kinks returned {values!r}, not finite, positive Reynolds numbers"
        raise ModelFault("drag", model.name, message)
    return tuple(sorted({float(value) for value in values}))


def _tuple_or_none(values: Any) -> tuple[Any, ...] | None:
    return None if values is None else tuple(values)


def guarded_limits(model: Model) -> tuple[Validity, ...]:
    """The model's validity ranges for its parameters; ModelFault where it raises."""
    return _called(model, "limits", lambda: tuple(model.limits()))


def guarded_drag_notes(model: DragModel, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
    """`validity.drag_notes`, with ModelFault for whatever the model's limits or notes break."""
    locked = _lock(*vars(flow).values(), *vars(arrow).values())
    try:
        notes = _called(model, "notes", lambda: validity.drag_notes(model, flow, arrow))
    finally:
        _unlock(locked)
    _check_notes(model, notes)
    return notes


def guarded_launch_notes(
    model: LaunchModel, case: LaunchCase, result: LaunchSpeed
) -> tuple[Note, ...]:
    """`validity.launch_notes`, with ModelFault for whatever the model's limits break."""
    return _called(model, "limits", lambda: validity.launch_notes(model, case, result))


def guarded_launch(model: LaunchModel, case: LaunchCase) -> LaunchSpeed:
    """The model's launch speed for one case, checked; as floats or arrays of the arrow's mass.

    Raises ModelFault where the model raises, tries to change its input, or returns a
    speed that is not finite and positive, an uncertainty that is not finite or is
    negative, a wrong shape, a figure that is not finite or whose dimension is
    unknown, or a note that is none.  CaseError and ParameterError pass, where they name
    what a caller can give.
    Where the model's parameters are given by lane, the arrow's mass must be so too.
    """
    bow, arrow, air = vars(case.bow), vars(case.arrow), vars(case.air)
    locked = _lock(*bow.values(), *arrow.values(), *air.values())
    try:
        result = _called(model, "launch_speed", lambda: model.launch_speed(case))
    finally:
        _unlock(locked)
    if not isinstance(result, LaunchSpeed):
        message = f"launch_speed returned {_described(result)}, not a LaunchSpeed"
        raise ModelFault("launch", model.name, message)
    mass = case.arrow.mass
    shape = mass.shape if isinstance(mass, np.ndarray) else ()
    speed = _checked(model, "speed", result.speed, shape)
    uncertainty = _checked(model, "standard_uncertainty", result.standard_uncertainty, shape)
    slowest = np.min(speed, initial=inf) if shape else speed
    if not slowest > 0.0:
        raise ModelFault("launch", model.name, f"speed is {slowest:g}, not above zero")
    _check_figures(model, result, shape)
    _check_notes(model, result.notes)
    return LaunchSpeed(speed, uncertainty, result.figures, result.notes)


def _called(model: Model, what: str, call: Callable[[], T]) -> T:
    try:
        with Running(model):
            return call()
    except PASSED as error:
        check_named(model, what, error)
        raise
    except FAILED as error:
        raise raised(model, what, error) from error


def check_named(model: Model | type[Model], what: str, error: BaseException) -> None:
    """ModelFault where an error of the caller's names what no caller can give.

    error: any of PASSED; a ParameterError that knows its kind has been judged already, as
    that of a drag law which a launch model asks.
    """
    if isinstance(error, ParameterError) and error.kind is None:
        named, known = error.parameter, list(model.parameters())
        breach = "which is none of its parameters"
    elif isinstance(error, CaseError):
        named, known = error.member, list(MEMBERS)
        breach = "which is no member of bow, arrow or air that can be given"
    else:
        return
    if named not in known:
        message = f"{what} raised {type(error).__name__} for {named!r}, {breach}: {error.message}"
        raise ModelFault(model.kind, model.name, message) from error


def raised(model: Model | type[Model], what: str, error: BaseException) -> ModelFault:
    """The fault of a model that failed by this error."""
    reason = reason_of(error)
    if "read-only" in reason:
        reason += " (a model must not change what it is given)"
    return ModelFault(model.kind, model.name, f"{what} raised {reason}")


def reason_of(error: BaseException) -> str:
    """Kind of error and what it says, also where it says nothing."""
    try:
        said = str(error)
    except Exception as broken:
        said = f"what it says raises {type(broken).__name__}"
    return f"{type(error).__name__}: {said or 'it gives no reason'}"


def _checked(model: Model, what: str, value: Any, shape: tuple[int, ...]) -> Real:
    """The value as a float, or as an array of the shape due; finite and not negative."""
    if shape == () and isinstance(value, float) and 0.0 <= value < inf:
        return float(value)  # the usual case, in a tenth of the time of the array below
    if not isinstance(value, np.ndarray) and not _is_real(value):
        raise ModelFault(model.kind, model.name, f"{what} is {_described(value)}, not a number")
    array = np.asarray(value)
    if array.dtype.kind not in "fiu":
        raise ModelFault(model.kind, model.name, f"{what} is {_described(value)}, not floats")
    if array.shape != shape:
        raise ModelFault(model.kind, model.name, f"{what} has the shape {array.shape}, not {shape}")
    if array.size and not (array.min() >= 0.0 and array.max() < inf):
        raise ModelFault(model.kind, model.name, f"{what} is {_bad_value(array)}")
    return array.astype(np.float64) if shape else float(array)


def _check_figures(model: LaunchModel, result: LaunchSpeed, shape: tuple[int, ...]) -> None:
    for name, figure in result.figures.items():
        if not (isinstance(figure, tuple) and len(figure) == 2):
            raise ModelFault("launch", model.name, f"figure {name!r} is no (value, dimension)")
        value, dimension = figure
        if dimension not in KNOWN_DIMENSIONS:
            message = f"figure {name!r} has the unknown dimension {dimension!r}"
            raise ModelFault("launch", model.name, message)
        if isinstance(value, float) and isfinite(value):
            continue  # the usual case, in a tenth of the time of the array below
        array = np.asarray(value)
        if array.dtype.kind not in "fiu" or array.shape not in ((), shape):
            raise ModelFault("launch", model.name, f"figure {name!r} is {_described(value)}")
        if not np.all(np.isfinite(array)):
            raise ModelFault("launch", model.name, f"figure {name!r} is {_bad_value(array)}")


def _check_notes(model: Model, notes: Any) -> None:
    if not isinstance(notes, tuple) or not all(isinstance(note, Note) for note in notes):
        raise ModelFault(model.kind, model.name, "its notes are not a tuple of Note")


def _lock(*values: Any) -> list[Array]:
    """Make the arrays among the values read-only; those that were writeable."""
    locked = [v for v in values if isinstance(v, np.ndarray) and v.flags.writeable]
    for array in locked:
        array.flags.writeable = False
    return locked


def _unlock(locked: list[Array]) -> None:
    waiting = []
    for array in locked:
        try:
            array.flags.writeable = True
        except ValueError:  # a view, whose base is still locked
            waiting.append(array)
    for array in waiting:
        array.flags.writeable = True


def _is_real(value: Any) -> bool:
    return isinstance(value, _REALS) and not isinstance(value, bool)


def _described(value: Any) -> str:
    if isinstance(value, np.ndarray):
        return f"an array of {value.dtype}"
    return f"a {type(value).__name__}"


def _bad_value(array: Any) -> str:
    """The first value that is not finite or is negative, for the message."""
    flat = np.ravel(array)
    bad = flat[~np.isfinite(flat) | (flat < 0)]
    return f"the value {bad[0]:g} ({bad.size} of {flat.size} values are not finite or negative)"
