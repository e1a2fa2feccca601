"""JSON pointers into a request: the very member of its schema that reads what is pointed at."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NoReturn

from marshmallow import ValidationError

from arrowloft.api.fields import Items, Number, Part, Quantity
from arrowloft.api.parameters import ModelChoice
from arrowloft.api.schemas import Strict
from arrowloft.api.wording import nearest, shown

_ROOTS = ("bow", "arrow", "launch", "drag", "air", "site", "wind", "slope", "sight")
_OF_SIGHT = ("radius", "zero_distance")
"""What of a sight a sweep's columns depend on."""

Leaf = Number | Quantity


@dataclass(frozen=True)
class Target:
    """A number of the request: the pointer, its steps, and the member that reads it."""

    pointer: str
    steps: tuple[str, ...]
    member: Leaf

    @property
    def dimension(self) -> str:
        """A name in the table of units; "number" for what has none."""
        return self.member.dimension if isinstance(self.member, Quantity) else "number"


def target(schema: Strict, body: Mapping[str, Any], pointer: str) -> Target:
    """What a pointer names in a request that the schema has accepted.

    Raises ValidationError where that is no number which a sweep can vary.
    """
    steps = _steps(pointer)
    if steps[0] not in _ROOTS:
        hint = nearest(steps[0], _ROOTS)
        raise ValidationError(f"{shown(steps[0])} cannot be varied; {hint}")
    if steps[0] == "sight" and steps[1:] and steps[1] not in _OF_SIGHT:
        raise ValidationError(
            f"Nothing that a sweep gives depends on {shown(pointer)}: of a sight, vary "
            f"{' or '.join(_OF_SIGHT)}."
        )
    found: Any = Part(schema)
    given: Any = body
    for place, step in enumerate(steps):
        found, given = _inner(found, given, step, "/" + "/".join(steps[: place + 1]))
    if not isinstance(found, Leaf):
        _refuse_end(found, pointer)
    return Target(pointer, steps, found)


def _steps(pointer: str) -> tuple[str, ...]:
    if not pointer.startswith("/"):
        raise ValidationError('Give a JSON pointer, which starts with "/", as in "/arrow/mass".')
    return tuple(step.replace("~1", "/").replace("~0", "~") for step in pointer[1:].split("/"))


def _inner(found: Any, given: Any, step: str, where: str) -> tuple[Any, Any]:
    """The member one step further in, and what the request gives there; None for nothing."""
    if isinstance(found, Part):
        return _named(found.schema, given, step, where)
    if isinstance(found, ModelChoice):
        if step != "parameters":
            raise ValidationError(
                f"{shown(where)} is no number: vary a parameter, as in /{found.kind}/parameters/..."
            )
        chosen = Part(found.schemas[given["model"]])
        return chosen, given.get("parameters")
    if isinstance(found, Items):
        return found.inner, _element(given, step, where)
    raise ValidationError(f"{shown(where)} leads into what has no members: cut the pointer there.")


def _named(schema: Strict, given: Any, step: str, where: str) -> tuple[Any, Any]:
    known = schema.load_fields
    if step not in known:
        raise ValidationError(f"{shown(where)} is nothing here; {nearest(step, list(known))}")
    return known[step], given.get(step) if isinstance(given, Mapping) else None


def _element(given: Any, step: str, where: str) -> Any:
    """An element of a list that the request gives."""
    if not isinstance(given, list):
        raise ValidationError(f"{shown(where)} is in a list that is not given: give it first.")
    if not step.isascii() or not step.isdecimal() or str(int(step[:9])) != step:
        raise ValidationError(f"{shown(where)} needs a number, 0 for the list's first value.")
    if int(step) >= len(given):
        raise ValidationError(f"{shown(where)} is beyond the list's end: it has {len(given)}.")
    return given[int(step)]


def _refuse_end(found: Any, pointer: str) -> NoReturn:
    if isinstance(found, Part):
        inside = ", ".join(found.schema.load_fields)
        raise ValidationError(f"{shown(pointer)} is an object: go on to one of {inside}.")
    if isinstance(found, ModelChoice):
        raise ValidationError(
            f"{shown(pointer)} is a model: vary a parameter, as in {pointer}/parameters/..."
        )
    if isinstance(found, Items):
        raise ValidationError(f"{shown(pointer)} is a list: go on to one of its values, 0 first.")
    raise ValidationError(f"{shown(pointer)} is no number or quantity: only those are varied.")


def put(asked: dict[str, Any], steps: tuple[str, ...], value: Any) -> None:
    """Put a value where the steps lead in a JSON object, making the objects on the way."""
    inner: Any = asked
    for step in steps[:-1]:
        inner = inner[int(step)] if isinstance(inner, list) else inner.setdefault(step, {})
    if isinstance(inner, list):
        inner[int(steps[-1])] = value
    else:
        inner[steps[-1]] = value
