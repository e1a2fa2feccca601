"""The document: valid, kept = generated = served, and true of every reply."""

import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from flask import Flask
from flask.testing import FlaskClient
from openapi_spec_validator import validate

from arrowloft.api.write_openapi import main, read_examples
from arrowloft.app import create_app
from arrowloft.kiosk.serving import ENDPOINTS

OPENAPI = Path(__file__).resolve().parents[2] / "openapi"
COMPUTATIONS = sorted(
    path.removeprefix("/v1/")
    for path, operations in json.loads((OPENAPI / "openapi.json").read_text())["paths"].items()
    if "post" in operations
)
NOISE = {"error_estimate", "position_error"}
"""Estimates of numerical error: rounding noise decides their digits."""


@pytest.fixture(scope="module")
def kept(openapi_directory: Path) -> Any:
    return json.loads((openapi_directory / "openapi.json").read_text())


@pytest.fixture(scope="module")
def served(client: FlaskClient) -> Any:
    return client.get("/openapi.json").get_json()


def without_examples(document: Any) -> Any:
    if isinstance(document, dict):
        return {
            key: without_examples(value)
            for key, value in document.items()
            if not (key == "examples" and isinstance(value, dict))
        }
    return [without_examples(v) for v in document] if isinstance(document, list) else document


def close(found: Any, expected: Any, where: str = "") -> Iterator[str]:
    """Where two replies differ by more than 1e-6 of the value or one rounding step."""
    if isinstance(expected, dict) and isinstance(found, dict):
        if found.keys() != expected.keys():
            yield f"{where}: members {sorted(found.keys() ^ expected.keys())}"
        for key in found.keys() & expected.keys() - NOISE:
            yield from close(found[key], expected[key], f"{where}/{key}")
    elif isinstance(expected, list) and isinstance(found, list):
        if len(found) != len(expected):
            yield f"{where}: {len(found)} items, not {len(expected)}"
        for index, pair in enumerate(zip(found, expected, strict=False)):
            yield from close(*pair, f"{where}/{index}")
    elif isinstance(expected, float) and isinstance(found, int | float):
        decimals = len(repr(expected).partition(".")[2])
        if not math.isclose(found, expected, rel_tol=1e-6, abs_tol=1.1 * 10.0 ** -max(decimals, 3)):
            yield f"{where}: {found}, not {expected}"
    elif found != expected:
        yield f"{where}: {found!r}, not {expected!r}"


def test_the_document_is_valid(served: Any, kept: Any) -> None:
    validate(served)
    validate(kept)


def test_kept_is_served(
    client: FlaskClient, kept: Any, served: Any, openapi_directory: Path
) -> None:
    assert served == without_examples(kept)
    examples = read_examples(openapi_directory / "examples")
    with_examples = create_app(examples=examples).test_client()
    assert with_examples.get("/openapi.json").get_json() == kept


def test_kept_is_generated(tmp_path: Path, kept: Any, openapi_directory: Path) -> None:
    (tmp_path / "examples").mkdir()
    for path in (openapi_directory / "examples").iterdir():
        if ".response." not in path.name:
            (tmp_path / "examples" / path.name).write_bytes(path.read_bytes())
    assert main([str(tmp_path)]) == 0
    generated = json.loads((tmp_path / "openapi.json").read_text())
    assert without_examples(generated) == without_examples(kept)
    assert not list(close(generated, kept))


@pytest.mark.parametrize("name", COMPUTATIONS)
def test_examples_replay(client: FlaskClient, openapi_directory: Path, name: str) -> None:
    directory = openapi_directory / "examples"
    request = (directory / f"{name}.request.json").read_bytes()
    expected = json.loads((directory / f"{name}.response.json").read_text())
    reply = client.post(f"/v1/{name}", data=request, content_type="application/json")
    assert reply.status_code == 200
    assert not list(close(reply.get_json(), expected))


def test_routes_are_the_document_s_paths(app: Flask, served: Any) -> None:
    """All but the routes of the pages' own files, which are no part of the API."""
    routes = {
        (rule.rule.replace("<", "{").replace(">", "}"), method)
        for rule in app.url_map.iter_rules()
        if not rule.endpoint.startswith(ENDPOINTS)
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }
    documented = set()
    for path, operations in served["paths"].items():
        for method, operation in operations.items():
            documented.add((path, method.upper()))
            if operation.get("x-query"):
                documented.add((path, "QUERY"))
    assert routes == documented


def test_everything_public_is_described(served: Any) -> None:
    for path, operations in served["paths"].items():
        for operation in operations.values():
            assert operation["summary"] and operation["description"], path
    for name, schema in served["components"]["schemas"].items():
        for member, property_ in schema.get("properties", {}).items():
            described = property_.get("description") or "$ref" in property_ or "allOf" in property_
            assert described, f"{name}.{member}"


def test_nothing_but_the_named_members_is_allowed(served: Any) -> None:
    for name, schema in served["components"]["schemas"].items():
        if name != "Document":
            assert schema["additionalProperties"] is False, name


def holds(document: Any, schema: Any, instance: Any) -> None:
    """The instance against a schema of the document."""
    whole = {"$schema": "https://json-schema.org/draft/2020-12/schema", **document, **schema}
    jsonschema.Draft202012Validator(whole).validate(instance)


def reply_schema(document: Any, path: str, method: str, status: str, form: str) -> Any:
    return document["paths"][path][method]["responses"][status]["content"][form]["schema"]


@pytest.mark.parametrize("name", COMPUTATIONS)
def test_examples_hold_against_their_schemas(
    served: Any, openapi_directory: Path, name: str
) -> None:
    path = f"/v1/{name}"
    for part in ("request", "response"):
        instance = json.loads((openapi_directory / "examples" / f"{name}.{part}.json").read_text())
        if part == "request":
            content = served["paths"][path]["post"]["requestBody"]["content"]
            holds(served, content["application/json"]["schema"], instance)
        else:
            holds(served, reply_schema(served, path, "post", "200", "application/json"), instance)


@pytest.mark.parametrize(
    ("path", "asked"),
    [
        ("/", "/"),
        ("/healthz", "/healthz"),
        ("/v1/models", "/v1/models"),
        ("/problems/{code}", "/problems/beyond-reach"),
        ("/openapi.json", "/openapi.json"),
    ],
)
def test_what_exists_holds_against_its_schema(
    client: FlaskClient, served: Any, path: str, asked: str
) -> None:
    reply = client.get(asked)
    assert reply.status_code == 200
    holds(served, reply_schema(served, path, "get", "200", "application/json"), reply.get_json())


def test_every_model_is_described_and_its_example_answers(
    client: FlaskClient, served: Any, body: dict[str, Any]
) -> None:
    schema = reply_schema(served, "/v1/models/{kind}/{name}", "get", "200", "application/json")
    listed = client.get("/v1/models").get_json()["models"]
    assert {model["kind"] for model in listed} == {"drag", "launch"}
    assert len(listed) == 12
    for model in listed:
        reply = client.get(model["href"])
        assert reply.status_code == 200, model
        found = reply.get_json()
        holds(served, schema, found)
        jsonschema.Draft202012Validator.check_schema(found["parameters"])
        fragment = found["example"]
        given = fragment[model["kind"]].get("parameters", {})
        jsonschema.Draft202012Validator(found["parameters"]).validate(given)
        answered = client.post("/v1/mark-table", json=body | fragment)
        assert answered.status_code == 200, (model["name"], answered.get_json())
        content = reply_schema(served, "/v1/mark-table", "post", "200", "application/json")
        holds(served, content, answered.get_json())


def test_problems_hold_against_their_schema(client: FlaskClient, served: Any) -> None:
    schema = {"$ref": "#/components/schemas/Problem"}
    for reply in (
        client.get("/nope"),
        client.put("/v1/mark-table"),
        client.post("/v1/mark-table", json={}),
        client.post("/v1/mark-table", data=b"{"),
        client.post("/v1/mark-table", data=b"{", content_type="application/json"),
    ):
        assert reply.status_code >= 400
        holds(served, schema, reply.get_json(force=True))


def test_every_problem_s_type_leads_to_its_explanation(client: FlaskClient) -> None:
    problem = client.post("/v1/mark-table", json={}).get_json()
    explained = client.get(problem["type"]).get_json()
    assert explained["type"] == problem["type"]
    assert explained["status"] == 422
