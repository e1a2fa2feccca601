"""Models that fail, refuse or cannot answer: a problem for them, and nothing else suffers."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from flask.testing import FlaskClient

from arrowloft.app import create_app
from arrowloft.plugin import (
    Array,
    Arrow,
    CaseError,
    DragModel,
    Flow,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    Note,
    ParameterError,
    Source,
    Validity,
    parameter,
)
from arrowloft.plugin.registry import Registry

SECRET = "a path and a secret"
OWN = (Source("Written for this test", standing="derived"),)


@dataclass(frozen=True, kw_only=True)
class Odd(DragModel):
    """Fails in the way it is told to."""

    name = "odd"
    version = "1"
    sources = OWN
    default_uncertainty = 0.1

    way: str = parameter(
        "How to fail.",
        "choice",
        default="sound",
        choices=("sound", "nan", "raise", "negative", "shape", "case", "unfit", "bad-notes"),
    )
    first: float = parameter("One end.", default=0.0)
    last: float = parameter("The other end.", default=1.0)

    def __post_init__(self) -> None:
        if self.first > self.last:
            raise ParameterError("last", "give at least the value of first")

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        if self.way == "raise":
            raise RuntimeError(SECRET)
        if self.way == "case":
            raise CaseError("arrow/length", "This model needs the arrow's length: give it.")
        if self.way == "unfit":
            raise ParameterError("last", "give one that this airspeed is below")
        area = np.full(flow.airspeed.shape, 4e-5)
        factor = {"nan": np.nan, "negative": -1.0}.get(self.way, 1.0)
        return area[..., :1] if self.way == "shape" else area * factor

    def notes(self, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
        if self.way == "bad-notes":
            raise RuntimeError(SECRET)
        return (Note("odd-note", f"Flown at {flow.airspeed.min():.0f} m/s and more."),)


@dataclass(frozen=True, kw_only=True)
class Narrow(DragModel):
    """Refuses to fly at all above Mach 0.01."""

    name = "narrow"
    version = "1"
    sources = OWN
    default_uncertainty = 0.1
    validity = (Validity("mach", 0.0, 0.01, outside="error", reason="It is narrow."),)

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        return np.full(flow.airspeed.shape, 4e-5)


@dataclass(frozen=True, kw_only=True)
class Told(LaunchModel):
    """Gives the speed it is told."""

    name = "told"
    version = "1"
    sources = OWN

    speed: float = parameter("Speed.", "speed", default=70.0)
    fails: str = parameter(
        "Whether to fail.", "choice", default="no", choices=("no", "yes", "asks")
    )

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        if self.fails == "yes":
            raise ZeroDivisionError(SECRET)
        if self.fails == "asks":
            case.drag(Flow(np.full(1, self.speed), 1.2, 1.8e-5, 340.0), case.arrow)
        return LaunchSpeed(self.speed, 0.5)


@pytest.fixture(scope="module")
def odd() -> FlaskClient:
    return create_app(Registry.of(Odd, Narrow, Told)).test_client()


@pytest.fixture
def asked(body: dict[str, Any]) -> dict[str, Any]:
    body["drag"] = {"model": "odd"}
    body["launch"] = {"model": "told"}
    return body


def post(odd: FlaskClient, asked: dict[str, Any]) -> Any:
    reply = odd.post("/v1/mark-table", json=asked)
    assert SECRET not in reply.text
    return reply


@pytest.mark.parametrize("way", ["nan", "raise", "negative", "shape", "bad-notes"])
def test_a_failing_drag_model_is_named(odd: FlaskClient, asked: dict[str, Any], way: str) -> None:
    asked["drag"]["parameters"] = {"way": way}
    reply = post(odd, asked)
    assert reply.status_code == 500
    assert reply.content_type == "application/problem+json"
    found = reply.get_json()
    assert found["type"] == "/problems/model-fault"
    assert found["model"] == "odd"
    assert found["errors"][0]["pointer"] == "/drag/model"
    asked["drag"]["parameters"] = {"way": "sound"}
    assert post(odd, asked).status_code == 200


def test_a_failing_launch_model_is_named(odd: FlaskClient, asked: dict[str, Any]) -> None:
    asked["launch"]["parameters"] = {"fails": "yes"}
    found = post(odd, asked).get_json()
    assert (found["status"], found["model"]) == (500, "told")
    assert found["errors"][0]["pointer"] == "/launch/model"


def test_parameters_that_do_not_fit_together(odd: FlaskClient, asked: dict[str, Any]) -> None:
    asked["drag"]["parameters"] = {"first": 3, "last": 2}
    found = post(odd, asked).get_json()
    assert found["status"] == 422
    assert found["errors"] == [
        {"pointer": "/drag/parameters/last", "detail": "Give at least the value of first."}
    ]


@pytest.mark.parametrize("asks", ["no", "asks"])
def test_a_drag_law_that_refuses_in_flight_is_blamed_whoever_asks(
    odd: FlaskClient, asked: dict[str, Any], asks: str
) -> None:
    """A launch model that undoes a flight asks it before the solver does."""
    asked["drag"] = {"model": "odd", "parameters": {"way": "unfit"}}
    asked["launch"] = {"model": "told", "parameters": {"fails": asks}}
    reply = odd.post("/v1/mark-table", json=asked)
    assert reply.status_code == 422
    assert reply.get_json()["errors"][0]["pointer"] == "/drag/parameters/last"


def test_a_case_without_an_answer_points_at_what_is_missing(
    odd: FlaskClient, asked: dict[str, Any]
) -> None:
    asked["drag"]["parameters"] = {"way": "case"}
    found = post(odd, asked).get_json()
    assert (found["status"], found["type"]) == (422, "/problems/model-cannot-answer")
    assert found["errors"][0]["pointer"] == "/arrow/length"


def test_a_model_that_refuses_its_range(odd: FlaskClient, asked: dict[str, Any]) -> None:
    asked["drag"] = {"model": "narrow"}
    found = post(odd, asked).get_json()
    assert (found["status"], found["type"]) == (422, "/problems/outside-validity")
    assert found["errors"][0]["pointer"] == "/drag/model"
    assert "narrow" in found["detail"]


@pytest.mark.parametrize("speed", ["1 m/s", "900 m/s"])
def test_a_launch_outside_the_computed_speeds(
    odd: FlaskClient, asked: dict[str, Any], speed: str
) -> None:
    asked["launch"]["parameters"] = {"speed": speed}
    found = post(odd, asked).get_json()
    assert (found["status"], found["errors"][0]["pointer"]) == (422, "/launch")
    assert "ft/s" in found["detail"]


def test_a_model_s_note_reaches_the_caller(odd: FlaskClient, asked: dict[str, Any]) -> None:
    notes = {note["code"]: note["message"] for note in post(odd, asked).get_json()["notes"]}
    assert notes["odd-note"].startswith("Flown at ")


def test_a_defect_leaks_nothing(
    odd: FlaskClient, asked: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: Any, **__: Any) -> Any:
        raise RuntimeError(SECRET)

    monkeypatch.setattr("arrowloft.api.sight.mark_table.mark_table", fail)
    found = post(odd, asked).get_json()
    assert (found["status"], found["type"]) == (500, "/problems/defect")
    assert found["errors"] == []


def test_the_document_describes_the_installed_models(odd: FlaskClient) -> None:
    document = odd.get("/openapi.json").get_json()
    choices = document["components"]["schemas"]["MarkTableRequest"]["properties"]["drag"]["oneOf"]
    assert [choice["properties"]["model"]["const"] for choice in choices] == ["narrow", "odd"]
