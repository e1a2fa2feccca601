"""GET /v1/models and /v1/models/{kind}/{name}: which models are installed, and what each is."""

import inspect
import math
from collections.abc import Callable
from typing import Any

from flask import Response, request
from marshmallow import fields

from arrowloft.api import replies
from arrowloft.api.parameters import AnyModel, defaults_of, example_of
from arrowloft.api.problems import Problem
from arrowloft.api.replies import JSON, sources_reply
from arrowloft.api.reply_schemas import SourceReply, many, number, text
from arrowloft.api.resource import Edge, Resource
from arrowloft.api.schemas import Strict
from arrowloft.api.wording import sentence, shown
from arrowloft.plugin.registry import Registry, UnknownModel

ParametersSchema = Callable[[str, str], dict[str, Any]]
"""(kind, name) -> JSON Schema of the model's parameters."""


class ValidityReply(Strict):
    """The range of one quantity in which a model may be trusted."""

    quantity = text("Name of the quantity.")
    low = number("Lower end in SI units; left out: open.", required=False)
    high = number("Upper end in SI units; left out: open.", required=False)
    outside = text("What happens beyond: a note, or an error.", enum=["note", "error"])
    reason = text("Why the range ends there.")


class ModelSummary(Strict):
    """A model in the list."""

    kind = text("What it models.", enum=["drag", "launch"])
    name = text("Name, as requests choose it.")
    version = text("Version: it changes whenever an answer changes.")
    summary = text("Its first sentence.")
    origin = text("The installed distribution that it came with.")
    href = text("Path of its description.", format="uri-reference")


class ModelList(Strict):
    """The installed models."""

    models = many(ModelSummary(), "All models, drag first, each kind by name.")


class ModelDescription(Strict):
    """All about one model."""

    kind = text("What it models.", enum=["drag", "launch"])
    name = text("Name, as requests choose it.")
    version = text("Version: it changes whenever an answer changes.")
    origin = text("The installed distribution that it came with.")
    description = text("What it computes, with its equation.")
    sources = many(SourceReply(), "Where equation and figures come from.")
    validity = many(ValidityReply(), "Where it may be trusted.")
    relative_uncertainty = number(
        "Drag: default standard uncertainty of the drag area, as a share of it.", required=False
    )
    parameters = fields.Dict(
        required=True, metadata={"description": "JSON Schema of its parameters."}
    )
    defaults = fields.Dict(
        required=True, metadata={"description": "Values of parameters that are left out."}
    )
    example = fields.Dict(
        required=True, metadata={"description": "A fragment of a request that chooses it."}
    )


def listing(edge: Edge) -> Resource:
    """The list of models."""

    def view() -> Response:
        replies.negotiate(request, JSON)
        return replies.json_reply(
            {
                "models": [
                    _summary(edge.registry, kind, name)
                    for kind in ("drag", "launch")
                    for name in edge.registry.names(kind)
                ]
            }
        )

    return Resource(
        path="/v1/models",
        name="models",
        summary="The installed models",
        description="Lists the drag models and the launch-speed models that requests may choose.",
        view=view,
        reply=ModelList(),
    )


def description(edge: Edge, schema_of: ParametersSchema) -> Resource:
    """One model."""

    def view(kind: str, name: str) -> Response:
        replies.negotiate(request, JSON)
        try:
            edge.registry.get(kind, name)
        except UnknownModel as error:
            if kind not in edge.registry.models:
                kinds = " and ".join(edge.registry.models)
                raise Problem(
                    "not-found", f"{shown(kind)} is no kind of model; the kinds are {kinds}."
                ) from error
            raise Problem(
                "not-found", "No such model is installed: GET /v1/models lists them."
            ) from error
        return replies.json_reply(_description(edge.registry, kind, name, schema_of(kind, name)))

    return Resource(
        path="/v1/models/{kind}/{name}",
        name="model",
        summary="One model",
        description="Describes a model: equation, sources, validity and parameters.",
        view=view,
        reply=ModelDescription(),
        problems=("not-found",),
        parameters={"kind": "drag or launch.", "name": "Name of the model."},
    )


def _model(registry: Registry, kind: str, name: str) -> AnyModel:
    return registry.get(kind, name)  # type: ignore[return-value]


def _summary(registry: Registry, kind: str, name: str) -> dict[str, Any]:
    model = _model(registry, kind, name)
    first = (inspect.getdoc(model) or "").split("\n\n")[0]
    return {
        "kind": kind,
        "name": name,
        "version": model.version,
        "summary": sentence(" ".join(first.split())),
        "origin": str(registry.origin(kind, name)),
        "href": f"/v1/models/{kind}/{name}",
    }


def _description(
    registry: Registry, kind: str, name: str, parameters: dict[str, Any]
) -> dict[str, Any]:
    model = _model(registry, kind, name)
    body: dict[str, Any] = {
        "kind": kind,
        "name": name,
        "version": model.version,
        "origin": str(registry.origin(kind, name)),
        "description": inspect.getdoc(model) or "",
        "sources": sources_reply(model.sources),
        "validity": [_validity(item) for item in model.validity],
        "parameters": parameters,
        "defaults": defaults_of(model),
        "example": {kind: example_of(model)},
    }
    if kind == "drag":
        body["relative_uncertainty"] = float(getattr(model, "default_uncertainty", 0.0))
    return body


def _validity(item: Any) -> dict[str, Any]:
    ends = {"low": item.low, "high": item.high}
    return {
        "quantity": item.quantity,
        **{name: end for name, end in ends.items() if math.isfinite(end)},
        "outside": item.outside,
        "reason": item.reason,
    }
