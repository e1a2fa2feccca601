"""The app, and a worked request to spoil."""

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from arrowloft.app import create_app

OPENAPI = Path(__file__).resolve().parents[2] / "openapi"
_MARK_TABLE = json.loads((OPENAPI / "examples" / "mark-table.request.json").read_text())


@pytest.fixture(scope="session")
def app() -> Flask:
    return create_app()


@pytest.fixture(scope="session")
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture
def body() -> dict[str, Any]:
    """A valid request for a mark table, to be changed at will."""
    return copy.deepcopy(_MARK_TABLE)


@pytest.fixture(scope="session")
def openapi_directory() -> Path:
    return OPENAPI
