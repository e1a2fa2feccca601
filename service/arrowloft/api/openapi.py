"""The OpenAPI 3.1 document, from the very schemas that check the requests; GET /openapi.json."""

import warnings
from collections.abc import Mapping, Sequence
from typing import Any

import orjson
from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from flask import Response
from marshmallow import INCLUDE, Schema

from arrowloft import __version__
from arrowloft.api.echo import PARAMETER, with_replay
from arrowloft.api.parameters import ModelSchemas
from arrowloft.api.problems import KINDS, MEDIA_TYPE
from arrowloft.api.replies import JSON
from arrowloft.api.reply_schemas import Problem
from arrowloft.api.resource import Limits, Resource
from arrowloft.api.schemas import documented

_DESCRIPTION = """\
A bow, an arrow and a sight turned into aim: sight marks, flight and launch speed, and what \
an archer asks next: what the range teaches and what to shoot next, how level to hold, what is \
clear of the path, what slopes, wind and another set-up do, which distances the sight can show, \
what is worth fixing.

Quantities in requests are strings of a number and a unit, such as "281 ft/s"; a bare number
is for what has no dimension. Replies carry plain numbers, and their `units` member says the
unit of each dimension; the request's `units` member chooses them.

Every computation depends on its request alone and changes nothing: it may be repeated after
any failure. It answers POST and, with the same body and the same reply, QUERY (RFC 10008),
which OpenAPI 3.1 cannot list as an operation; `x-query` marks the paths that do.

With `?echo=true` a JSON reply has a last member `replay`: the request, what computed it, and
digests of both. A digest is the SHA-256 of the value's canonical JSON after RFC 8785: members
sorted by name, no white space, numbers as JavaScript writes them. `arrowloft replay FILE`
computes a kept reply again and compares every number and text.

Every error is a problem after RFC 9457, whose `errors` point at the members at fault.

A body may have at most {body} bytes, a table {distances} distances, a trajectory {samples}
points, a grid (of distances times slopes, say) {cells} cells, a comparison
{lanes} lanes, a clearance {obstacles} obstacles, a calibration {observations} observations, a
fit {measurements} measurements, a sweep {points} points (set-ups times distances). A request
may take {seconds:g} s. These figures are for aiming, not for safety."""

_REPEATABLE = (
    "The answer depends on the request alone: it may be asked again at any time, with POST or "
    "QUERY."
)
_ALWAYS = ("not-acceptable",)
_WITH_BODY = (
    "malformed-json",
    "body-too-slow",
    "length-required",
    "too-large",
    "unsupported-media-type",
    "invalid-request",
    "model-fault",
    "takes-too-long",
)

Examples = Mapping[str, Mapping[str, Any]]
"""Operation -> {"summary": text, "request": body, "response": body}."""


def document(
    resources: Sequence[Resource],
    limits: Limits,
    examples: Examples,
    tags: Mapping[str, str] | None = None,
) -> dict[str, Any]:
    """The document of these resources.

    examples: worked examples of the computations, shown where they belong.
    tags: operation -> what it is listed under.
    Raises where a schema could not be resolved, which would make an untrue document.
    """
    plugin: Any = MarshmallowPlugin(schema_name_resolver=_name)
    spec = APISpec(
        title="arrowloft",
        version=__version__,
        openapi_version="3.1.0",
        plugins=[plugin],
        info={
            "description": _DESCRIPTION.format(
                body=limits.body,
                distances=limits.distances,
                samples=limits.samples,
                cells=limits.cells,
                lanes=limits.lanes,
                obstacles=limits.obstacles,
                observations=limits.observations,
                measurements=limits.measurements,
                points=limits.points,
                seconds=limits.seconds,
            ),
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        servers=[{"url": "/"}],
    )
    plugin.converter.add_attribute_function(documented)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        spec.components.schema("Problem", schema=Problem())
        for item in resources:
            operations = _operations(item, examples.get(item.name, {}))
            for operation in operations.values():
                if tags and item.name in tags:
                    operation["tags"] = [tags[item.name]]
            spec.path(path=item.path, operations=operations)
    return orjson.loads(orjson.dumps(spec.to_dict()))  # type: ignore[no-any-return]


def _name(schema: Any) -> str:
    kind = schema if isinstance(schema, type) else type(schema)
    return str(kind.__name__).removesuffix("Schema")


def _operations(item: Resource, examples: Mapping[str, Any]) -> dict[str, Any]:
    operation: dict[str, Any] = {
        "operationId": item.name,
        "summary": item.summary,
        "description": item.description
        if item.request is None
        else f"{item.description} {_REPEATABLE}",
        "responses": _responses(item, examples),
    }
    if item.parameters:
        operation["parameters"] = [
            {
                "name": name,
                "in": "path",
                "required": True,
                "description": text,
                "schema": {"type": "string"},
            }
            for name, text in item.parameters.items()
        ]
    if item.request is None:
        return {"get": operation}
    operation.setdefault("parameters", []).append(dict(PARAMETER))
    operation["requestBody"] = {
        "required": True,
        "content": {JSON: _content(item.request, examples, "request")},
    }
    operation["x-query"] = True
    return {"post": operation}


def _content(schema: Schema, example: Mapping[str, Any], part: str) -> dict[str, Any]:
    content: dict[str, Any] = {"schema": schema}
    if part in example:
        shown = {"summary": example["summary"], "value": example[part]}
        content["examples"] = {"worked": shown}
    return content


def _responses(item: Resource, examples: Mapping[str, Any]) -> dict[str, Any]:
    good: dict[str, Any] = {"description": item.summary, "content": {}}
    if item.reply is not None:
        reply = item.reply if item.request is None else with_replay(item.reply)
        good["content"][JSON] = _content(reply, examples, "response")
    for form in item.forms:
        good["content"][form] = {"schema": _schema_of(form)}
    if item.request is not None:
        good["headers"] = {
            "Accept-Query": {
                "description": "Media type that QUERY takes (RFC 10008).",
                "schema": {"type": "string"},
            }
        }
    responses: dict[str, Any] = {"200": good}
    codes = _ALWAYS + item.problems + (_WITH_BODY if item.request is not None else ())
    for code in (*codes, "bad-request", "method-not-allowed", "defect"):
        kind = KINDS[code]
        said = responses.setdefault(
            str(kind.status),
            {"description": "", "content": {MEDIA_TYPE: {"schema": "Problem"}}},
        )
        said["description"] = f"{said['description']} {code}: {kind.title}.".strip()
    return dict(sorted(responses.items()))


def _schema_of(form: str) -> dict[str, str]:
    """A text; of what is no text but bytes, OpenAPI 3.1 says nothing but their media type."""
    text = form.startswith("text/") or form.endswith("+xml")
    return {"type": "string"} if text else {"contentMediaType": form}


def parameters_of(models: ModelSchemas) -> dict[tuple[str, str], dict[str, Any]]:
    """(kind, name) -> JSON Schema of the model's parameters, complete in itself."""
    plugin: Any = MarshmallowPlugin(schema_name_resolver=_name)
    APISpec(title="", version="", openapi_version="3.1.0", plugins=[plugin])
    converter = plugin.converter
    converter.add_attribute_function(documented)
    return {
        (kind, name): dict(converter.schema2jsonschema(schema))
        for kind, named in models.schemas.items()
        for name, schema in named.items()
    }


class Document(Schema):
    """An OpenAPI document; its form is the specification's."""

    class Meta:
        """Nothing is said of its members here."""

        unknown = INCLUDE


def resource(served: dict[str, bytes]) -> Resource:
    """GET /openapi.json; `served["document"]` is filled when all resources are known."""

    def view() -> Response:
        return Response(served["document"], mimetype=JSON)

    return Resource(
        path="/openapi.json",
        name="openapi",
        summary="This document",
        description="Describes the service with the models that are installed.",
        view=view,
        reply=Document(),
    )
