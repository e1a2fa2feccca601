"""GET /v1/units: a caller that converts by it agrees with the service."""

from typing import Any

import pytest
from flask.testing import FlaskClient

from arrowloft import units


@pytest.fixture
def listed(client: FlaskClient) -> Any:
    return client.get("/v1/units").get_json()


def test_every_unit_converts_as_the_service_does(listed: Any) -> None:
    assert set(listed["dimensions"]) == set(units.DIMENSIONS) - {"number"}
    for dimension, known in listed["dimensions"].items():
        assert list(known) == list(units.units_of(dimension))
        for symbol, unit in known.items():
            wanted = units.parse(f"17.25 {symbol}", dimension)
            assert 17.25 * unit["factor"] + unit["offset"] == wanted


def test_the_defaults_are_those_of_replies(listed: Any) -> None:
    assert listed["defaults"] == dict(units.DEFAULTS)
