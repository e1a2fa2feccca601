"""Verification: whether a class keeps the contract, before it is ever asked for an answer."""

import inspect
import re
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, fields, is_dataclass
from math import inf, isfinite, isnan
from typing import Any, Literal, get_args

import numpy as np

from arrowloft.core.arrays import Array, Mask
from arrowloft.plugin.contract import (
    DragModel,
    LaunchModel,
    Model,
    Parameter,
    Source,
    Validity,
    holds,
)
from arrowloft.plugin.validity import QUANTITIES
from arrowloft.units import DIMENSIONS

KNOWN_DIMENSIONS = frozenset(DIMENSIONS)
"""The dimensions of quantities; a parameter may also be a "choice"."""

KINDS: Mapping[str, type[Model]] = {"drag": DragModel, "launch": LaunchModel}
"""kind -> the class that its models derive from."""

_METHODS = {"drag": ("drag_area", ("flow", "arrow")), "launch": ("launch_speed", ("case",))}
_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_PARAMETER_NAME = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")
_STANDINGS = get_args(Source.__annotations__["standing"])


def faults_of(
    candidate: Any, *, kind: Literal["drag", "launch"], entry_point_name: str
) -> list[str]:
    """Every breach of the contract, each a sentence; empty for a sound model.

    candidate: what the entry point loaded, of any type.
    """
    base = KINDS[kind]
    if not isinstance(candidate, type):
        return [f"is not a class, but a {type(candidate).__name__}"]
    if not issubclass(candidate, base):
        return [f"{candidate.__name__} does not derive from {base.__name__}"]
    faults = [
        *_dataclass_faults(candidate),
        *_method_faults(candidate, kind),
        *_identity_faults(candidate, entry_point_name),
        *_source_faults(candidate),
        *_validity_faults(candidate, kind),
        *(_uncertainty_faults(candidate) if kind == "drag" else ()),
    ]
    if is_dataclass(candidate):
        faults += _field_faults(candidate, base)
        for item in candidate.parameters().values():
            faults += (f"parameter {item.name!r} {fault}" for fault in _parameter_faults(item))
    # An example can be tried only on a model that is otherwise sound.
    return faults or list(_example_faults(candidate))


def _dataclass_faults(model: type[Model]) -> Iterator[str]:
    own = vars(model).get("__dataclass_params__")
    if own is None:
        yield "is not a dataclass; write @dataclass(frozen=True, kw_only=True) above it"
        return
    if not own.frozen:
        yield "is not a frozen dataclass"
    if not all(item.kw_only for item in fields(model) if item.init):  # type: ignore[arg-type]
        yield "is not a keyword-only dataclass (kw_only=True)"
    # A dataclass without a docstring is given its own signature for one.
    if not (model.__doc__ or "").strip() or (model.__doc__ or "").startswith(model.__name__ + "("):
        yield "has no docstring, which is its public description"


def _method_faults(model: type[Model], kind: str) -> Iterator[str]:
    for missing in sorted(getattr(model, "__abstractmethods__", ())):
        yield f"does not write the method {missing}"
    method, arguments = _METHODS[kind]
    try:
        inspect.signature(getattr(model, method)).bind(None, *arguments)
    except TypeError:
        yield f"{method} does not take ({', '.join(('self', *arguments))})"


def _identity_faults(model: type[Model], entry_point_name: str) -> Iterator[str]:
    name = getattr(model, "name", None)
    if not isinstance(name, str) or not name:
        yield "has no name"
    elif not _NAME.fullmatch(name):
        yield f"the name {name!r} is not lower-case words joined by hyphens"
    elif name != entry_point_name:
        yield f"the name {name!r} differs from the entry point's, {entry_point_name!r}"
    version = getattr(model, "version", None)
    if not isinstance(version, str) or not version.strip():
        yield "has no version (a string)"
    if not isinstance(model.by_lane, bool):
        yield f"by_lane is {model.by_lane!r}, not True or False"


def _source_faults(model: type[Model]) -> Iterator[str]:
    sources = getattr(model, "sources", None)
    if not isinstance(sources, tuple) or not sources:
        yield "has no sources (a tuple of at least one Source)"
        return
    for source in sources:
        if not isinstance(source, Source):
            yield f"the source {source!r} is not a Source"
        elif not isinstance(source.title, str) or not source.title.strip():
            yield "a source has no title"
        elif source.standing not in _STANDINGS:
            yield f"the source {source.title!r} has the unknown standing {source.standing!r}"


def _validity_faults(model: type[Model], kind: str) -> Iterator[str]:
    if not isinstance(model.validity, tuple):
        yield "validity is not a tuple of Validity"
        return
    for item in model.validity:
        yield from limit_faults(item, kind)


def limit_faults(item: Any, kind: str, *, lanes: int = 0) -> Iterator[str]:
    """What is wrong with one validity range of a model of this kind.

    lanes: how many a bound may have one value for; 0: bounds are numbers.
    """
    if not isinstance(item, Validity):
        yield f"the validity range {item!r} is not a Validity"
        return
    if item.quantity not in QUANTITIES[kind]:
        known = ", ".join(QUANTITIES[kind])
        yield f"validity names the unknown quantity {item.quantity!r} (known: {known})"
    bounds = all(_is_real(bound) or _is_by_lane(bound, lanes) for bound in (item.low, item.high))
    if not (bounds and holds(item.low < item.high)):
        yield f"validity of {item.quantity!r}: {item.low!r} is not below {item.high!r}"
    if item.outside not in ("note", "error"):
        yield f"validity of {item.quantity!r}: outside is {item.outside!r}, not 'note' or 'error'"


def _uncertainty_faults(model: type[Model]) -> Iterator[str]:
    value = getattr(model, "default_uncertainty", None)
    if value is None:
        yield "has no default_uncertainty"
    elif not _is_real(value) or not 0.0 <= value < inf:
        yield f"default_uncertainty is {value!r}, not a finite number of at least 0"


def _field_faults(model: type[Model], base: type[Model]) -> Iterator[str]:
    declared = model.parameters()
    for item in fields(model):  # type: ignore[arg-type]
        if item.init and item.name not in declared:
            yield f"the field {item.name!r} is not declared with parameter()"
        if not item.init and item.name in declared:
            yield f"the parameter {item.name!r} is not taken by the constructor (init=False)"
    for name in inspect.signature(model).parameters:
        if name not in model.__dataclass_fields__:  # type: ignore[attr-defined]
            yield f"the constructor takes {name!r}, which is not a field"
    for name in declared:
        if not _PARAMETER_NAME.fullmatch(name):
            yield f"the parameter name {name!r} is not lower-case words joined by underscores"
        if hasattr(base, name) or name in Model.__annotations__:
            yield f"the parameter name {name!r} is taken by {base.__name__} itself"


def _parameter_faults(item: Parameter) -> Iterator[str]:
    if not isinstance(item.description, str) or not item.description.strip():
        yield "has no description"
    if item.dimension == "choice":
        yield from _choice_faults(item)
        return
    if item.dimension not in KNOWN_DIMENSIONS:
        yield f"has the unknown dimension {item.dimension!r}"
    if item.choices:
        yield f"has choices, which need the dimension 'choice', not {item.dimension!r}"
    bounds = [bound for bound in (item.low, item.high) if bound is not None]
    if not all(_is_real(bound) for bound in bounds):
        yield f"has bounds that are not numbers: {item.low!r}, {item.high!r}"
    elif len(bounds) == 2 and bounds[0] > bounds[1]:
        yield f"has its bounds crossed: low {item.low!r} is above high {item.high!r}"
    elif item.array and not (_is_count(item.least) and _is_count(item.most, item.least)):
        yield f"takes from {item.least!r} to {item.most!r} values, which no list has"
    elif item.default is not MISSING and item.default is not None:
        yield from (f"has a default that {fault}" for fault in value_faults(item, item.default))


def _choice_faults(item: Parameter) -> Iterator[str]:
    if item.array or item.low is not None or item.high is not None:
        yield "is a choice, which takes neither bounds nor a list"
    if item.free:
        yield "is a choice, which no fit can adjust: leave free out"
    if not item.choices or len(set(item.choices)) < len(item.choices):
        yield "is a choice without choices, or with one twice"
    elif not all(isinstance(choice, str) and choice for choice in item.choices):
        yield "has a choice that is not a word"
    elif item.default is not MISSING and item.default is not None:
        yield from (f"has a default that {fault}" for fault in value_faults(item, item.default))


def value_faults(item: Parameter, value: Any) -> Iterator[str]:
    """Why a declared parameter may not take this SI value; nothing where it may."""
    if item.dimension == "choice":
        if value not in item.choices:
            yield f"is {value!r}, not one of {', '.join(item.choices)}"
        return
    if not item.array:
        yield from _number_faults(item, value)
        return
    if isinstance(value, np.ndarray):
        value = value.tolist()
    if not isinstance(value, tuple | list):
        yield f"is {value!r}, not a list of numbers"
        return
    if not item.least <= len(value) <= item.most:
        yield f"has {len(value)} values, not from {item.least} to {item.most}"
    for element in value:
        yield from _number_faults(item, element)


def _number_faults(item: Parameter, value: Any) -> Iterator[str]:
    if not _is_real(value) or not isfinite(value):
        yield f"is {value!r}, not a finite number"
    elif item.low is not None and value < item.low:
        yield f"is {value!r}, below the least allowed, {item.low!r}"
    elif item.high is not None and value > item.high:
        yield f"is {value!r}, above the greatest allowed, {item.high!r}"


def lane_faults(item: Parameter, values: Array) -> Iterator[str]:
    """Why a declared number may not take these SI values, one a lane; nothing where it may.

    values: (lanes,).  Each sentence names the first bad value and how many are so.
    """
    if item.dimension == "choice" or item.array:
        yield "is not a number, which alone may differ from lane to lane"
        return
    if values.ndim != 1 or not values.size:
        yield f"has the shape {values.shape}, not one value a lane"
        return
    finite = np.isfinite(values)
    yield from _lane_fault(values, ~finite, "not a finite number")
    if item.low is not None:
        below = finite & (values < item.low)
        yield from _lane_fault(values, below, f"below the least allowed, {item.low!r}")
    if item.high is not None:
        above = finite & (values > item.high)
        yield from _lane_fault(values, above, f"above the greatest allowed, {item.high!r}")


def _lane_fault(values: Array, bad: Mask, fault: str) -> Iterator[str]:
    count = int(np.count_nonzero(bad))
    if count:
        lane = int(np.argmax(bad))
        share = f"{count} of {values.size} values are"
        yield f"is {float(values[lane])!r} in lane {lane}, {fault} ({share})"


def _example_faults(model: type[Model]) -> Iterator[str]:
    """Whether the example, or the defaults alone where there is none, make an instance."""
    if not isinstance(model.example, Mapping):
        yield "example is not a mapping of SI values by name"
        return
    declared = model.parameters()
    for name, item in declared.items():
        if item.required and name not in model.example:
            yield f"example lacks the required parameter {name!r}"
    unsound = [
        f"example: {name!r} {fault}"
        for name, value in model.example.items()
        for fault in (value_faults(declared[name], value) if name in declared else ["is unknown"])
    ]
    yield from unsound
    if unsound or any(
        item.required and item.name not in model.example for item in declared.values()
    ):
        return
    try:
        model.of(model.example)
    except Exception as error:
        yield f"refuses its own example: {type(error).__name__}: {error}"


def _is_real(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and not isnan(value)


def _is_by_lane(value: Any, lanes: int) -> bool:
    """Whether it is an array of one number a lane, or of one for all."""
    if not lanes or not isinstance(value, np.ndarray) or value.dtype.kind not in "fiu":
        return False
    return value.shape in ((1,), (lanes,)) and not np.isnan(value).any()


def _is_count(value: Any, least: int = 1) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= least
