"""The limits as the document says them: figures for programs, and a bound for every list."""

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import pytest
from flask.testing import FlaskClient

from arrowloft.api.resource import WAITING, Limits


@pytest.fixture(scope="module")
def document(client: FlaskClient) -> Any:
    return client.get("/openapi.json").get_json()


def arrays(part: Any, schemas: Any, seen: set[str], where: str) -> Iterator[tuple[str, Any]]:
    """Every list that a request's schema takes, with its place."""
    if isinstance(part, list):
        for index, item in enumerate(part):
            yield from arrays(item, schemas, seen, f"{where}/{index}")
    if not isinstance(part, dict):
        return
    if "array" in (part.get("type") or ()):
        yield where, part
    name = str(part.get("$ref", "")).rpartition("/")[2]
    if name and name not in seen:
        seen.add(name)
        yield from arrays(schemas[name], schemas, seen, name)
    for key, inner in part.items():
        if key not in ("examples", "default"):
            yield from arrays(inner, schemas, seen, f"{where}/{key}")


def test_every_list_of_a_request_has_a_bound(document: Any) -> None:
    seen: set[str] = set()
    found = [
        item
        for path, operations in document["paths"].items()
        if "post" in operations
        for item in arrays(
            operations["post"]["requestBody"], document["components"]["schemas"], seen, path
        )
    ]
    assert len(found) > 70
    assert [where for where, schema in found if "maxItems" not in schema] == []


def test_figures_for_programs(document: Any) -> None:
    assert document["x-limits"] == asdict(Limits()) | {"waiting": WAITING}


def test_figures_in_words(document: Any) -> None:
    words = document["info"]["description"].split()
    for name, value in document["x-limits"].items():
        assert f"{value:g}" in words or str(value) in words, name


def test_what_takes_too_much_work_is_documented(document: Any) -> None:
    for path, operations in document["paths"].items():
        said = operations.get("post", {"responses": {}})["responses"].get("422")
        if said:
            assert "too-much-work" in said["description"], path
