"""A model to be fitted: its name, where its parameters start, and which of them are free."""

import copy
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from marshmallow import ValidationError

from arrowloft.api.fields import Choice
from arrowloft.api.parameters import AnyModel, Chosen, ModelSchemas, choice_faults, field_of
from arrowloft.api.schemas import Member, Resolver, Strict, strict
from arrowloft.api.wording import nearest, shown
from arrowloft.plugin import Parameter

_MEMBERS = ("model", "parameters", "free")


@dataclass(frozen=True)
class Fitted(Chosen):
    """A model to be fitted: its parameters as given or as they start, SI.

    free: names of those that the fit finds.  elements: of lists of which it does not find all,
    the positions it finds.
    """

    free: tuple[str, ...]
    elements: Mapping[str, tuple[int, ...]] = field(default_factory=dict)

    def finds(self, name: str, element: int | None) -> bool:
        """Whether the fit finds this number."""
        return name in self.free and (name not in self.elements or element in self.elements[name])


_ELEMENT = re.compile(r"(.+)\[(0|[1-9][0-9]{0,5})\]")


class FreeNames(Member):
    """Names of a model's parameters that the fit finds, or of elements of its lists."""

    def __init__(self, model: AnyModel) -> None:
        super().__init__(
            "Parameters that the fit finds, by name; of a list all elements, or single ones as "
            "`name[0]`. Left out, those the model declares free."
        )
        self.declared = model.parameters()
        self.names = [n for n, item in self.declared.items() if item.dimension != "choice"]
        self.lists = [n for n in self.names if self.declared[n].array]
        self.most = len(self.names) + sum(self.declared[n].most or 0 for n in self.lists)

    def read(self, value: Any) -> tuple[str, ...]:
        """The names, each once."""
        if type(value) is not list:
            raise ValidationError("Give a list in brackets [...].")
        for index, name in enumerate(value[: self.most + 1]):
            if type(name) is not str or parted(name)[0] not in self.names:
                raise ValidationError({index: [self._fault(name)]})
            whole, element = parted(name)
            if element is not None and whole not in self.lists:
                text = f"{shown(whole)} is one number, no list: name it without brackets."
                raise ValidationError({index: [text]})
            if element is not None and whole in value:
                text = f"{shown(whole)} names all its elements: leave out either it or this."
                raise ValidationError({index: [text]})
        if len(set(value)) < len(value):
            raise ValidationError("Name each parameter once.")
        return tuple(value)

    def _fault(self, name: Any) -> str:
        if type(name) is not str:
            return "Name a parameter in quotes."
        if name in self.declared:
            return f"{shown(name)} is a choice, which no fit can find: leave it out."
        hint = nearest(name, self.names) if self.names else "this model has none to fit."
        return f"{shown(name)} is not a parameter of this model; {hint}"

    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """A list of the names."""
        if not self.names:
            return {"type": "array", "maxItems": 0}
        inner = Choice(self.names).json_schema(resolver)
        if self.lists:
            lists = "|".join(map(re.escape, self.lists))
            pattern = rf"^({lists})\[(0|[1-9][0-9]{{0,5}})\]$"
            inner = {"anyOf": [inner, {"type": "string", "pattern": pattern}]}
        return {"type": "array", "items": inner, "maxItems": self.most, "uniqueItems": True}


def parted(name: str) -> tuple[str, int | None]:
    """A name in `free` as the parameter's and the position of an element, if it names one."""
    found = _ELEMENT.fullmatch(name)
    return (name, None) if found is None else (found[1], int(found[2]))


class FittedModel(Member):
    """`{"model": name, "parameters": {...}, "free": [...]}`."""

    def __init__(
        self,
        kind: Literal["drag", "launch"],
        models: ModelSchemas,
        description: str = "",
        **options: Any,
    ) -> None:
        super().__init__(description, **options)
        self.kind: Literal["drag", "launch"] = kind
        self.models = models.models[kind]
        self.starts = {name: _start_schema(model) for name, model in self.models.items()}
        self.free = {name: FreeNames(model) for name, model in self.models.items()}

    def read(self, value: Any) -> Fitted:
        """The model, its parameters in SI, and those that are free."""
        if type(value) is not dict:
            raise ValidationError('Give an object {"model": ..., "parameters": {...}}.')
        name = value.get("model")
        if type(name) is not str or name not in self.models or value.keys() - set(_MEMBERS):
            raise ValidationError(choice_faults(self.kind, self.models, value, _MEMBERS, _MEMBERS))
        try:
            given = self.starts[name].read(value.get("parameters", {}))
        except ValidationError as error:
            raise ValidationError({"parameters": error.messages}) from None
        declared = self.models[name].parameters()
        try:
            free = self.free[name].read_item(value["free"]) if "free" in value else None
        except ValidationError as error:
            raise ValidationError({"free": error.messages}) from None
        starts = _starts(self.models[name], given, free)
        if free is None:
            free = tuple(n for n, item in declared.items() if item.free and n in starts)
        for index, wanted in enumerate(free):
            fault = _no_start(wanted, starts)
            if fault:
                raise ValidationError({"free": {index: [fault]}})
        whole = tuple(dict.fromkeys(parted(n)[0] for n in free))
        parameters = {**given, **{n: starts[n] for n in whole}}
        return Fitted(self.kind, name, parameters, whole, _elements(free))

    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """One object for each installed model."""
        return {"oneOf": [self._one(name, resolver) for name in sorted(self.models)]}

    def _one(self, name: str, resolver: Resolver) -> dict[str, Any]:
        return {
            "type": "object",
            "title": name,
            "properties": {
                "model": {"type": "string", "const": name},
                "parameters": dict(resolver.resolve_nested_schema(self.starts[name])),
                "free": {
                    "description": self.free[name].metadata["description"],
                    **self.free[name].json_schema(resolver),
                },
            },
            "required": ["model"],
            "additionalProperties": False,
        }


def _start_schema(model: AnyModel) -> Strict:
    """The model's parameters, any of which may be left out: what is found needs no value."""
    words = "".join(part.capitalize() for part in (*model.name.split("-"), model.kind))
    members: dict[str, Member] = {}
    for name, item in model.parameters().items():
        member = copy.copy(field_of(item))
        member.required = False
        members[name] = member
    return strict(f"{words}FitStart", members)()


def _starts(
    model: AnyModel, given: Mapping[str, Any], free: tuple[str, ...] | None
) -> dict[str, Any]:
    """Values to start from: given, or the default, or for what is required the example's."""
    found: dict[str, Any] = {}
    for name, item in model.parameters().items():
        if name in given:
            found[name] = given[name]
        elif not item.required:
            if item.default is not None:
                found[name] = item.default
        elif item.free if free is None else name in free:
            found[name] = model.example[name]
        else:
            raise ValidationError({"parameters": {name: [_needed(item)]}})
    return found


def _elements(free: Sequence[str]) -> dict[str, tuple[int, ...]]:
    """Lists of which single elements are named -> those."""
    found: dict[str, tuple[int, ...]] = {}
    for name, element in map(parted, free):
        if element is not None:
            found[name] = (*found.get(name, ()), element)
    return found


def _no_start(wanted: str, starts: Mapping[str, Any]) -> str:
    """Why what is named in `free` has no value to start from; empty where it has."""
    name, element = parted(wanted)
    if name not in starts:
        return f"{shown(name)} needs a value to start from: give it in `parameters`."
    if element is not None and element >= len(starts[name]):
        last = len(starts[name]) - 1
        return (
            f"{shown(name)} has no element {element}: its last one is {shown(f'{name}[{last}]')}."
        )
    return ""


def _needed(item: Parameter) -> str:
    also = "" if item.dimension == "choice" else ", or let the fit find it by naming it in `free`"
    return f"This member is needed: add it{also}."
