"""The OpenAPI 3.1 document, from the very schemas that check the requests; GET /openapi.json."""

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import asdict
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
from arrowloft.api.resource import (
    ALWAYS_ANSWERED,
    WAITING,
    Limits,
    Resource,
    is_keyed,
)
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

A reply that may be kept has a strong `ETag`, made of its bytes: every instance of one version
gives the same request the same. GET, HEAD and QUERY with `If-None-Match` are answered 304,
without content, while the reply is what it was. A computation need not be asked for again for as
long as `Cache-Control` says, everything else before each use. A cache keeps QUERY by path, query
string, `Accept` and the request's content. POST has no preconditions: they are ignored, but a
cache in front of the service may keep POST in the same way, and answer it 304.

A service may ask for a key on all paths below /v1, as `Authorization: Bearer KEY`: without a
valid one it answers 401.

Every error is a problem after RFC 9457, whose `errors` point at the members at fault. Behind the
proxy as deployed any path may also answer 414, 429 (with `Retry-After`), 431 or 502, as problems.

A body may have at most {body} bytes, a table {distances} distances, a trajectory {samples}
points, a grid (of distances times slopes, say) {cells} cells, a comparison
{lanes} lanes, a clearance {obstacles} obstacles, a calibration {observations} observations, a
fit {measurements} measurements, a sweep {points} points (set-ups times distances). Every list
says its own bound. A body may be nested {depth} levels deep, a whole number may have {digits}
digits. A request may take {seconds:g} s, and {work} evaluations of drag laws, where each call of a
law, and other long work, counts as some more; what would take more is refused as `too-much-work`,
on any machine alike. When more than {waiting} requests wait, others are turned away at once, as
`overloaded`, with `Retry-After`. `x-limits` says the same figures for programs.

These figures are for aiming, not for safety."""

_REPEATABLE = (
    "The answer depends on the request alone: it may be asked again at any time, with POST or "
    "QUERY."
)
_KEY = {
    "type": "http",
    "scheme": "bearer",
    "description": "A key that whoever runs the service has given out, where it asks for keys.",
}
_CHALLENGE = {
    "description": "That a key is asked for, and whether the one sent is wrong (RFC 6750).",
    "schema": {"type": "string"},
}
_AGAIN = {
    "description": "Seconds after which to ask again, where the service is full.",
    "schema": {"type": "integer", "minimum": 1},
}
_KEPT = {
    "ETag": {
        "description": "Entity tag of the reply: strong, of its bytes and media type.",
        "schema": {"type": "string"},
    },
    "Cache-Control": {
        "description": "Who may keep the reply, and for how long (RFC 9111).",
        "schema": {"type": "string"},
    },
}
_UNKEPT = {
    "Cache-Control": {
        "description": "That nobody may keep the reply.",
        "schema": {"type": "string", "const": "no-store"},
    }
}
_ALWAYS = ("not-acceptable",)
_WITH_BODY = (
    "malformed-json",
    "body-too-slow",
    "length-required",
    "too-large",
    "unsupported-media-type",
    "invalid-request",
    "too-much-work",
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
    waiting: int = WAITING,
) -> dict[str, Any]:
    """The document of these resources.

    examples: worked examples of the computations, shown where they belong.
    tags: operation -> what it is listed under.
    waiting: most requests that wait before others are turned away.
    Raises where a schema could not be resolved, which would make an untrue document.
    """
    plugin: Any = MarshmallowPlugin(schema_name_resolver=_name)
    spec = APISpec(
        title="arrowloft",
        version=__version__,
        openapi_version="3.1.0",
        plugins=[plugin],
        info={
            "description": _DESCRIPTION.format(**asdict(limits), waiting=waiting),
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        servers=[{"url": "/"}],
    )
    plugin.converter.add_attribute_function(documented)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        spec.components.schema("Problem", schema=Problem())
        spec.components.security_scheme("key", _KEY)
        for item in resources:
            operations = _operations(item, examples.get(item.name, {}))
            for operation in operations.values():
                if tags and item.name in tags:
                    operation["tags"] = [tags[item.name]]
            spec.path(path=item.path, operations=operations)
    described = spec.to_dict() | {"x-limits": _figures(limits, waiting)}
    return orjson.loads(orjson.dumps(described))  # type: ignore[no-any-return]


def _figures(limits: Limits, waiting: int) -> dict[str, float]:
    """The limits by name, each in bytes, counts or seconds."""
    return asdict(limits) | {"waiting": waiting}


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
    if is_keyed(item.path):
        # Whether a key is asked for is up to who runs the service: without one is a way too.
        operation["security"] = [{}, {"key": []}]
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
    good["headers"] = dict(_UNKEPT if item.momentary else _KEPT)
    if item.request is not None:
        good["headers"]["Accept-Query"] = {
            "description": "Media type that QUERY takes (RFC 10008).",
            "schema": {"type": "string"},
        }
    responses: dict[str, Any] = {"200": good}
    codes = _ALWAYS + item.problems + (_WITH_BODY if item.request is not None else ())
    if not item.momentary:
        responses["304"] = _unchanged(item)
        codes += ("precondition-failed",)
    codes += ("key-required",) if is_keyed(item.path) else ()
    codes += ("overloaded",) if item.path not in ALWAYS_ANSWERED else ()
    for code in (*codes, "bad-request", "method-not-allowed", "defect"):
        kind = KINDS[code]
        said = responses.setdefault(
            str(kind.status),
            {"description": "", "content": {MEDIA_TYPE: {"schema": "Problem"}}},
        )
        said["description"] = f"{said['description']} {code}: {kind.title}.".strip()
    if is_keyed(item.path):
        responses["401"]["headers"] = {"WWW-Authenticate": _CHALLENGE}
    if item.path not in ALWAYS_ANSWERED:
        responses["503"]["headers"] = {"Retry-After": _AGAIN}
    return dict(sorted(responses.items()))


def _unchanged(item: Resource) -> dict[str, Any]:
    """What answers a caller whose If-None-Match names the very reply that is due."""
    who = "" if item.request is None else " To QUERY; to POST only from a cache in front."
    return {
        "description": f"The reply is the one that If-None-Match names.{who}",
        "headers": dict(_KEPT),
    }


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
