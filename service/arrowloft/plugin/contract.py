"""The contract: what a model's author writes, and nothing else.

A model is one frozen, keyword-only dataclass. Its docstring is the public
description; its fields, each made by `parameter`, are its parameters in SI.
"""

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, Field, dataclass, field, fields
from functools import lru_cache
from types import MappingProxyType
from typing import Any, ClassVar, Literal, Self

import numpy as np

from arrowloft.core.arrays import Array, Real
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow, Bow
from arrowloft.core.setup.flow import DragLaw, Flow

REQUIRED: Any = MISSING
_KEY = "arrowloft.parameter"


@dataclass(frozen=True)
class Source:
    """Where a model's equation or figures come from.

    title: author, work, year, in the form a reader can find.
    standing: "published" (read in the source or in a text that quotes it),
        "from memory" (not checked against the source), "derived" (from first
        principles, no source needed) or "common practice" (the trade's, no source).
    doi, url: where to find it.
    """

    title: str
    standing: Literal["published", "from memory", "derived", "common practice"] = "published"
    doi: str | None = None
    url: str | None = None


@dataclass(frozen=True)
class Validity:
    """The range of one quantity in which a model may be trusted.

    quantity: a name in `QUANTITIES` of the model's kind.
    low, high: bounds in SI; an infinite bound is open. What `Model.limits` returns may have
        one bound a lane, where the parameters that set it have.
    outside: "note" tells the caller when the flight leaves the range, "error" refuses.
    reason: one sentence, why the range ends there.
    """

    quantity: str
    low: Real
    high: Real
    outside: Literal["note", "error"] = "note"
    reason: str = ""


@dataclass(frozen=True)
class Note:
    """A caution or an assumption: a stable code and a sentence for the caller."""

    code: str
    message: str


class ParameterError(ValueError):
    """Raised by a model's __post_init__ for parameters that do not fit together.

    parameter: the field at fault.  message: what is wrong and what to do.
    kind: "drag" where a drag law raised it in the midst of a flight, perhaps one that a
        launch model undoes; else None.
    """

    kind: str | None = None

    def __init__(self, parameter: str, message: str) -> None:
        super().__init__(f"{parameter}: {message}")
        self.parameter = parameter
        self.message = message


class CaseError(ValueError):
    """Raised by a model that cannot answer for this bow, arrow or air.

    member: path of the shared member at fault or missing, as "bow/draw_weight".
    """

    def __init__(self, member: str, message: str) -> None:
        super().__init__(f"{member}: {message}")
        self.member = member
        self.message = message


@dataclass(frozen=True)
class Parameter:
    """One declared parameter, as data.

    dimension: a name in the table of units ("length", "speed", ...), "number" for
        what has no dimension, "choice" for one of `choices`.
    default: SI value; REQUIRED where the caller must give it; None where it may be left out.
    low, high: inclusive bounds in SI, for each element of an array.
    array: a list of values, of at least `least` and at most `most` elements.
    free: whether a fit to measured flights adjusts it where the caller does not say which.
    """

    name: str
    description: str
    dimension: str
    default: Any
    low: float | None
    high: float | None
    choices: tuple[str, ...]
    array: bool
    least: int
    most: int
    free: bool

    @property
    def required(self) -> bool:
        """Whether the caller must give it."""
        return self.default is MISSING


def parameter(
    description: str,
    dimension: str = "number",
    *,
    default: Any = REQUIRED,
    low: float | None = None,
    high: float | None = None,
    choices: Sequence[str] = (),
    array: bool = False,
    least: int = 1,
    most: int = 200,
    free: bool = False,
) -> Any:
    """Declare a model's parameter; everything the caller sees of it is derived from this.

    description: one sentence.  dimension: a name in the table of units, or "number",
    or "choice" with `choices`.  default, low, high: SI.  array: the field holds a
    read-only 1-D array of `least` to `most` values; its default is a tuple of numbers.
    free: measured flights tell this one, so a fit adjusts it unless told otherwise.
    """
    metadata = {
        _KEY: {
            "description": description,
            "dimension": dimension,
            "default": default,
            "low": low,
            "high": high,
            "choices": tuple(choices),
            "array": array,
            "least": least,
            "most": most,
            "free": free,
        }
    }
    if default is MISSING:
        return field(metadata=metadata)
    if array and default is not None:
        return field(default_factory=lambda: as_read_only(default), metadata=metadata)
    return field(default=default, metadata=metadata)


def _parameter_of(declared: "Field[Any]") -> Parameter | None:
    data = declared.metadata.get(_KEY)
    if data is None:
        return None
    return Parameter(name=declared.name, **data)


def _held(model: "type[Model]", declared: Parameter, value: Any) -> Any:
    """The value as the field holds it: lists, and one value a lane, as read-only 1-D arrays."""
    if value is None:
        return value
    if not declared.array:
        return _lanes(model, declared, value) if isinstance(value, _LISTS) else value
    try:
        array = as_read_only(value)
    except (TypeError, ValueError):
        array = as_read_only(())
    if array.ndim != 1 or not array.size:
        raise ParameterError(declared.name, "needs a list of numbers, at least one")
    return array


_LISTS = (np.ndarray, list, tuple)


def _lanes(model: "type[Model]", declared: Parameter, value: Any) -> Array:
    """One value a lane for a parameter that is a number, where the model takes that."""
    if declared.dimension == "choice" or not model.by_lane:
        reason = "it is a choice" if model.by_lane else f"{model.name!r} does not take lanes"
        raise ParameterError(
            declared.name, f"takes one value for all lanes, as {reason}; give a single value"
        )
    try:
        array = as_read_only(value)
    except (TypeError, ValueError):
        array = as_read_only(())
    if array.ndim != 1 or not array.size:
        raise ParameterError(declared.name, "needs a number, or one number a lane")
    return array


def _check_lengths(declared: Mapping[str, Parameter], held: Mapping[str, Any]) -> None:
    """ParameterError unless all parameters by lane have as many lanes."""
    lanes = 1
    for name, value in held.items():
        if not isinstance(value, np.ndarray) or declared[name].array or value.size == 1:
            continue
        if lanes not in (1, value.size):
            message = f"has {value.size} lanes and another parameter {lanes}; give as many for each"
            raise ParameterError(name, message)
        lanes = value.size


@lru_cache(maxsize=512)
def _parameters_of(model: type) -> Mapping[str, Parameter]:
    """A model's declared parameters; a class never changes them, and every request asks."""
    found = (_parameter_of(declared) for declared in fields(model))
    return MappingProxyType({item.name: item for item in found if item is not None})


class Model(ABC):
    """What both kinds of model share.

    name: the public name, as in the entry point: lower-case words joined by hyphens.
    version: changes whenever an answer changes.
    sources: at least one.  validity: ranges as data.
    example: SI values of parameters that work together; needed where a parameter is
        required.  The conformance suite and the documentation use it.
    by_lane: whether a parameter that is a number may also be an array of one value a lane,
        as long as the equations are written so that they broadcast: sweeps then compute
        many set-ups at once instead of one by one. Choices and array parameters are common
        to all lanes. Checks in __post_init__ must hold over all lanes (see `holds`); ranges
        in `limits` and the uncertainty may be arrays of lanes, and notes speak of any lane.
        Whoever gives lanes of parameters gives the question as many: the last axis of
        flow.airspeed, the shape of case.arrow.mass.
    """

    kind: ClassVar[Literal["drag", "launch"]]
    name: ClassVar[str]
    version: ClassVar[str]
    sources: ClassVar[tuple[Source, ...]]
    validity: ClassVar[tuple[Validity, ...]] = ()
    example: ClassVar[Mapping[str, Any]] = MappingProxyType({})
    by_lane: ClassVar[bool] = False

    @classmethod
    def parameters(cls) -> Mapping[str, Parameter]:
        """The declared parameters by name, in the order of the fields."""
        return _parameters_of(cls)

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> Self:
        """An instance from SI values by name; lists become read-only arrays.

        A parameter that is a number may be one number a lane, (lanes,), where `by_lane`
        says so.  Raises ParameterError for a name that is not declared, a required one
        that is missing, for what is no list of numbers where one is due, and for lanes
        where the model takes none or in unequal number.
        """
        declared = cls.parameters()
        for name in values:
            if name not in declared:
                raise ParameterError(name, f"is not a parameter of {cls.name!r}; leave it out")
        for name, item in declared.items():
            if item.required and name not in values:
                raise ParameterError(name, "is required; give it")
        held = {name: _held(cls, declared[name], value) for name, value in values.items()}
        if cls.by_lane:
            _check_lengths(declared, held)
        return cls(**held)

    def limits(self) -> tuple[Validity, ...]:
        """The ranges for these parameter values; `validity` unless the data set them."""
        return self.validity


class DragModel(Model):
    """Flow and arrow -> drag area.

    relative_uncertainty: standard uncertainty of the drag area, as a share of it,
    for an arrow about which nothing else is known.
    """

    kind = "drag"
    default_uncertainty: ClassVar[float]

    @abstractmethod
    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        """Cd*A in m2, of the shape of flow.airspeed; finite and not negative."""

    def relative_uncertainty(self) -> Real:
        """Standard uncertainty of the drag area as a share of it, for these parameters.

        A float, or one a lane where parameters are.
        """
        return self.default_uncertainty

    def kinks(self) -> tuple[float, ...] | None:
        """Reynolds numbers on the shaft diameter where the coefficient is not smooth.

        Ends of a clamped range, knots of a table; an empty tuple for a law that is smooth
        everywhere. The solver splits a flight there and is as exact as for a smooth law.
        Where parameters are given by lane, those of all lanes together.
        None, for a model that does not say: the solver then looks between its points for
        what they have missed, which costs time and digits.
        """
        return None

    def notes(self, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
        """Cautions for the airspeeds that were flown (flow.airspeed: least and greatest)."""
        return ()


@dataclass(frozen=True)
class LaunchCase:
    """What a launch model may look at.

    drag: the drag law chosen beside it, for models that undo the flight to a gate.
    """

    bow: Bow
    arrow: Arrow
    air: Air
    drag: DragLaw


@dataclass(frozen=True)
class LaunchSpeed:
    """Speed of the arrow as it leaves the string, with its standard uncertainty, m/s.

    figures: intermediate results worth seeing: name -> (SI value, dimension); a float,
        or one a lane.
    """

    speed: Real
    standard_uncertainty: Real
    figures: Mapping[str, tuple[Real, str]] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()


class LaunchModel(Model):
    """Bow, arrow and air -> launch speed and its standard uncertainty."""

    kind = "launch"

    @abstractmethod
    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        """Speed in m/s and standard uncertainty, of the shape of case.arrow.mass."""


def holds(condition: Any) -> bool:
    """Whether a comparison of parameters holds: of numbers, or in every lane of arrays."""
    return bool(condition.all()) if isinstance(condition, np.ndarray) else bool(condition)


def as_read_only(values: Any) -> Array:
    """A float array that a model cannot change, from any sequence."""
    array = np.array(values, dtype=float)
    array.flags.writeable = False
    return array
