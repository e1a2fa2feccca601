"""The worked request for printed scales, and an app that keeps the sheets it would draw."""

import copy
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from flask import Flask
from flask.testing import FlaskClient

from arrowloft.api import problems
from arrowloft.api.resource import Edge, Limits, Pictures
from arrowloft.api.sight import mark_table, setup_change, sight_scale
from arrowloft.core.sight.printed import PrintedSheet
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
PATH = "/v1/sight-scale"
_EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
_WORKED = json.loads((_EXAMPLES / "sight-scale.request.json").read_text())


class Sheets:
    """Stands where what draws sheets stands: keeps the last one, and the form asked for."""

    def __init__(self) -> None:
        self.sheet: PrintedSheet | None = None
        self.form = ""
        self.chosen: Mapping[str, str] = {}

    def draw(self, sheet: PrintedSheet, chosen: Mapping[str, str], form: str) -> bytes:
        """No picture at all."""
        self.sheet, self.chosen, self.form = sheet, chosen, form
        return b"drawn"


def edge_of(sheets: Sheets) -> Edge:
    return Edge.of(Registry.discover(), Limits(), Pictures(sight_scale=sheets.draw))


def client_of(edge: Edge) -> FlaskClient:
    """This resource, and those that it is held against."""
    app = Flask("scales")
    for module in (sight_scale, mark_table, setup_change):
        module.resource(edge).install(app)
    problems.install(app)
    return app.test_client()


def worked() -> Body:
    """The example: two scales, a card."""
    return copy.deepcopy(_WORKED)


def plain(**changes: Any) -> Body:
    """One scale of the same set-up, without a card."""
    body = worked()
    for name in ("marks", "scales", "card", "sheet"):
        del body[name]
    return body | changes


def posted(client: FlaskClient, body: Body, path: str = PATH) -> Body:
    response = client.post(path, json=body)
    assert response.status_code == 200, response.get_data(as_text=True)
    found: Body = response.get_json()
    return found


def refusal(client: FlaskClient, body: Body) -> Body:
    response = client.post(PATH, json=body)
    assert response.status_code == 422, response.get_data(as_text=True)
    assert response.mimetype == problems.MEDIA_TYPE
    found: Body = response.get_json()
    return found


def codes(notes: list[Body]) -> list[str]:
    return [note["code"] for note in notes]


def message(notes: list[Body], code: str) -> str:
    (found,) = (note["message"] for note in notes if note["code"] == code)
    return str(found)
