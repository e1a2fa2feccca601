"""The `launch` and `drag` members: schemas derived from what the installed models declare."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, cast

from marshmallow import ValidationError

from arrowloft import units
from arrowloft.api.fields import Choice, Items, Number, Quantity
from arrowloft.api.schemas import MOST_FAULTS, Member, Resolver, Strict, strict
from arrowloft.api.wording import nearest, shown, written
from arrowloft.plugin import DragModel, LaunchModel, Parameter
from arrowloft.plugin.registry import Registry

_CHOICE = {"model", "parameters"}

AnyModel = type[DragModel] | type[LaunchModel]


@dataclass(frozen=True)
class Chosen:
    """A model as the caller chose it: its name and its parameters in SI."""

    kind: Literal["drag", "launch"]
    name: str
    parameters: dict[str, Any]


def field_of(declared: Parameter) -> Member:
    """The field that reads one declared parameter."""
    required = declared.required and not declared.array
    inner: Member
    if declared.dimension == "choice":
        inner = Choice(declared.choices, declared.description, required=required)
    elif declared.dimension == "number":
        inner = Number(
            declared.description, low=declared.low, high=declared.high, required=required
        )
    else:
        inner = Quantity(
            declared.dimension,
            declared.description,
            example=_example(declared),
            low=declared.low,
            high=declared.high,
            required=required,
        )
    if not declared.array:
        return inner
    return Items(
        inner,
        declared.description,
        least=declared.least,
        most=declared.most,
        required=declared.required,
    )


def _example(declared: Parameter) -> str:
    """A quantity inside the parameter's bounds."""
    unit = units.DEFAULTS[declared.dimension]
    default = declared.default
    if isinstance(default, int | float):
        return written(default, declared.dimension, unit)
    if declared.low is not None and declared.high is not None:
        return written((declared.low + declared.high) / 2, declared.dimension, unit)
    if declared.low is not None:
        return written(2 * declared.low or 1.0, declared.dimension, unit)
    return written(1.0 if declared.high is None else declared.high, declared.dimension, unit)


def as_request(declared: Parameter, value: Any) -> Any:
    """An SI value as a request writes it: the inverse of the parameter's field."""
    if declared.array:
        return [_scalar_as_request(declared, item) for item in value]
    return _scalar_as_request(declared, value)


def _scalar_as_request(declared: Parameter, value: Any) -> Any:
    if declared.dimension == "choice":
        return value
    if declared.dimension == "number":
        return float(f"{value:.9g}")
    return written(value, declared.dimension, units.DEFAULTS[declared.dimension])


def example_of(model: AnyModel) -> dict[str, Any]:
    """A fragment of a request that chooses the model."""
    declared = model.parameters()
    given = {name: as_request(declared[name], value) for name, value in model.example.items()}
    return {"model": model.name} | ({"parameters": given} if given else {})


def parameters_schema(model: AnyModel) -> Strict:
    """The schema of a model's parameters, an instance to be made once."""
    name = "".join(part.capitalize() for part in (*model.name.split("-"), model.kind, "parameters"))
    return strict(name, {key: field_of(item) for key, item in model.parameters().items()})()


def defaults_of(model: AnyModel) -> dict[str, Any]:
    """The declared defaults by name, as a request writes them."""
    return {
        name: as_request(item, item.default)
        for name, item in model.parameters().items()
        if not item.required and item.default is not None
    }


@dataclass(frozen=True)
class ModelSchemas:
    """The installed models' parameter schemas, made once: kind -> name -> model, and -> schema."""

    models: Mapping[str, Mapping[str, AnyModel]]
    schemas: Mapping[str, Mapping[str, Strict]]

    @classmethod
    def of(cls, registry: Registry) -> "ModelSchemas":
        """The schemas of all models in the registry."""
        models = cast(Mapping[str, Mapping[str, AnyModel]], registry.models)
        return cls(
            models,
            {
                kind: {name: parameters_schema(model) for name, model in named.items()}
                for kind, named in models.items()
            },
        )


def choice_faults(
    kind: str,
    models: Mapping[str, AnyModel],
    value: Mapping[str, Any],
    taken: Collection[str],
    offered: Sequence[str],
) -> dict[str, Any]:
    """What is wrong with the model's name and the members of an object that chooses a model.

    models: the installed ones by name.  taken: members that the object may have.
    offered: those that a message names.
    """
    name, known = value.get("model"), sorted(models)
    own = models[name].parameters() if type(name) is str and name in models else ()
    faults: dict[str, Any] = {}
    if type(name) is not str:
        faults["model"] = [f"Name a model: one of {', '.join(known)}."]
    elif name not in models:
        faults["model"] = [f"There is no {kind} model {shown(name)}; {nearest(name, known)}"]
    for stranger in sorted(value.keys() - set(taken))[: MOST_FAULTS + 1]:
        if stranger in own:
            hint = "it is a parameter of the model: put it into `parameters`."
        else:
            hint = nearest(stranger, offered)
        faults[stranger] = [f"{shown(stranger)} is not a member here; {hint}"]
    return faults


class ModelChoice(Member):
    """`{"model": name, "parameters": {...}}` with the chosen model's own parameters."""

    beside: tuple[str, ...] = ("model", "parameters")
    """Members that an object may have, for what a message offers."""

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
        self.schemas = models.schemas[kind]

    def read(self, value: Any) -> Chosen:
        """The name and the parameters in SI."""
        if type(value) is not dict:
            raise ValidationError('Give an object {"model": ..., "parameters": {...}}.')
        name, given = value.get("model"), value.get("parameters", {})
        if type(name) is not str or name not in self.schemas or value.keys() - _CHOICE:
            raise ValidationError(
                choice_faults(self.kind, self.models, value, _CHOICE, self.beside)
            )
        try:
            parameters = self.schemas[name].read(given)
        except ValidationError as error:
            raise ValidationError({"parameters": error.messages}) from None
        return Chosen(self.kind, name, parameters)

    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """One object for each installed model."""
        return {"oneOf": [self._one(name, resolver) for name in sorted(self.schemas)]}

    def _one(self, name: str, resolver: Resolver) -> dict[str, Any]:
        declared = self.models[name].parameters().values()
        required = ["model"] + ["parameters"] * any(item.required for item in declared)
        return {
            "type": "object",
            "title": name,
            "properties": {
                "model": {"type": "string", "const": name},
                "parameters": dict(resolver.resolve_nested_schema(self.schemas[name])),
            },
            "required": required,
            "additionalProperties": False,
        }
