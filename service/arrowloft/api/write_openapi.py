"""python -m arrowloft.api.write_openapi DIRECTORY: write the document of the installed models.

Reads DIRECTORY/examples: `scenario.txt`, whose first line is shown beside the examples, and
`<path>.request.json` for computations. Writes each example's `<path>.response.json`, and
DIRECTORY/openapi.json with the examples in it.
"""

import sys
from pathlib import Path
from typing import Any

import orjson
from flask import Flask

from arrowloft.api import catalogue, problems
from arrowloft.api.resource import Edge, Limits
from arrowloft.plugin.registry import Registry

_REQUEST = ".request.json"


def _computations(directory: Path) -> list[str]:
    """Last step of the path of each computation that has an example."""
    return sorted(path.name.removesuffix(_REQUEST) for path in directory.glob(f"*{_REQUEST}"))


def read_examples(directory: Path) -> dict[str, dict[str, Any]]:
    """Operation -> summary, request and, where it is written, response."""
    summary = (directory / "scenario.txt").read_text().partition("\n")[0]
    examples: dict[str, dict[str, Any]] = {}
    for name in _computations(directory):
        example: dict[str, Any] = {"summary": summary}
        for part in ("request", "response"):
            path = directory / f"{name}.{part}.json"
            if path.exists():
                example[part] = orjson.loads(path.read_bytes())
        examples[name.replace("-", "_")] = example
    return examples


def main(arguments: list[str]) -> int:
    """Write the answers to the examples, then the document."""
    if len(arguments) != 1:
        print(__doc__, file=sys.stderr)
        return 2
    directory = Path(arguments[0])
    edge = Edge.of(Registry.discover(), Limits())
    _write_responses(edge, directory / "examples")
    document = catalogue.install(Flask("document"), edge, read_examples(directory / "examples"))
    _write(directory / "openapi.json", document)
    return 0


def _write_responses(edge: Edge, directory: Path) -> None:
    app = Flask("examples")
    catalogue.install(app, edge, {})
    problems.install(app)
    client = app.test_client()
    for name in _computations(directory):
        body = (directory / f"{name}{_REQUEST}").read_bytes()
        reply = client.post(f"/v1/{name}", data=body, content_type="application/json")
        if reply.status_code != 200:
            raise RuntimeError(f"the example for {name} is not answered: {reply.text}")
        _write(directory / f"{name}.response.json", reply.get_json())


def _write(path: Path, content: Any) -> None:
    path.write_bytes(orjson.dumps(content, option=orjson.OPT_INDENT_2) + b"\n")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
