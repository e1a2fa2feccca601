"""GET /readyz: the self-test is true, sees a solver that is off, and depends on no model."""

import importlib.util
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from flask.testing import FlaskClient

from arrowloft.api import readiness
from arrowloft.app import create_app
from arrowloft.core.flight import motion
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.setup.air import Air
from arrowloft.operation.keys import fresh
from arrowloft.operation.settings import Settings
from arrowloft.plugin import Array, Arrow, DragModel, Flow, Source
from arrowloft.plugin.registry import Registry

INDEPENDENT = Path(__file__).resolve().parents[1] / "reference" / "independent.py"


@pytest.fixture(scope="module")
def independent() -> Any:
    """The integrator that shares no equation with the core."""
    spec = importlib.util.spec_from_file_location("independent_for_readiness", INDEPENDENT)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_it_says_what_computes(client: FlaskClient) -> None:
    reply = client.get("/readyz")
    assert reply.status_code == 200
    assert reply.headers["Cache-Control"] == "no-store"
    found = reply.get_json()
    document = client.get("/openapi.json").get_json()
    content = document["paths"]["/readyz"]["get"]["responses"]["200"]["content"]
    schema = content["application/json"]["schema"]
    jsonschema.Draft202012Validator({**document, **schema}).validate(found)
    models = client.get("/v1/models").get_json()["models"]
    for kind, count in found["models"].items():
        assert count == len([model for model in models if model["kind"] == kind]) > 0
    assert found["versions"]["numpy"] == np.__version__
    for check in found["self_test"]:
        assert abs(check["found"] - check["expected"]) <= check["tolerance"]


def test_a_head_is_answered(client: FlaskClient) -> None:
    reply = client.head("/readyz")
    assert (reply.status_code, reply.data) == (200, b"")


def test_it_needs_no_key() -> None:
    client = create_app(settings=Settings(keys=fresh("club").line)).test_client()
    assert client.get("/v1/models").status_code == 401
    assert client.get("/readyz").status_code == 200


def test_the_stored_flight_is_true(independent: Any) -> None:
    lane = readiness.shot().take(np.array([0]))
    single = {
        name: float(value[0]) for name, value in vars(lane).items() if isinstance(value, np.ndarray)
    }
    flown = independent.aim(lane.with_(**single), readiness.DISTANCE)
    assert flown.angle == pytest.approx(readiness.STORED_ANGLE, abs=1e-11)
    assert flown.time == pytest.approx(readiness.STORED_TIME, abs=1e-11)


def test_everything_about_the_stored_flight_matters() -> None:
    """A fault anywhere in what a flight depends on moves it by more than it may be off."""
    shot, stored = readiness.shot(), readiness.STORED_ANGLE
    for name in ("peep_height", "launch_forward", "tip_lead", "slope", "wind_speed", "wind_from"):
        varied = shot.with_(**{name: getattr(shot, name) * 1.001})
        angle = readiness.aim(varied, readiness.DISTANCE).launch_angle[0]
        assert abs(angle - stored) > readiness.ANGLE_TOLERANCE, name
    for name in ("density", "viscosity"):
        air = replace(shot.air, **{name: getattr(shot.air, name) * 1.001})
        angle = readiness.aim(shot.with_(air=air), readiness.DISTANCE).launch_angle[0]
        assert abs(angle - stored) > readiness.ANGLE_TOLERANCE, name


def a_little_off(factor: float) -> Callable[..., Aimed]:
    def aimed(*given: Any) -> Aimed:
        found = readiness_aim(*given)
        return replace(found, launch_angle=found.launch_angle * factor)

    return aimed


readiness_aim = readiness.aim
plain_air, plain_gravity = readiness.air, motion.gravity_vector


def thin_air(**given: Any) -> tuple[Air, tuple[str, ...]]:
    found, assumed = plain_air(**given)
    return replace(found, density=found.density * 0.9999), assumed


def strong_gravity(*given: Any) -> tuple[Any, ...]:
    return tuple(part * 1.00001 for part in plain_gravity(*given))


def unsolved(*given: Any) -> Aimed:
    raise ArithmeticError("a secret of the solver")


@pytest.mark.parametrize(
    ("place", "name", "broken", "said", "unsaid"),
    [
        (readiness, "aim", a_little_off(1.000001), "the launch angle in a vacuum is 0.04", "time"),
        (readiness, "aim", a_little_off(np.nan), "the launch angle with drag is nan rad", "time"),
        (readiness, "aim", unsolved, "cannot be computed", "secret"),
        (readiness, "air", thin_air, "the launch angle with drag is 0.04", "vacuum"),
        (motion, "gravity_vector", strong_gravity, "the launch angle in a vacuum is", "secret"),
    ],
    ids=["off", "nan", "raises", "air", "gravity"],
)
def test_a_solver_that_is_off_is_seen(
    client: FlaskClient,
    monkeypatch: pytest.MonkeyPatch,
    place: Any,
    name: str,
    broken: Any,
    said: str,
    unsaid: str,
) -> None:
    monkeypatch.setattr(place, name, broken)
    reply = client.get("/readyz")
    assert reply.status_code == 503
    assert reply.headers["Cache-Control"] == "no-store"
    problem = reply.get_json()
    assert problem["type"] == "/problems/not-ready"
    assert said in problem["detail"] and unsaid not in problem["detail"]
    monkeypatch.undo()
    assert client.get("/readyz").status_code == 200


@dataclass(frozen=True, kw_only=True)
class Broken(DragModel):
    """Fails at every call."""

    name = "broken"
    version = "1"
    sources = (Source("Written for this test", standing="derived"),)
    default_uncertainty = 0.1

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        raise RuntimeError("broken")


def test_a_model_that_fails_is_no_fault_of_the_service() -> None:
    installed = Registry.discover().models
    models = [model for named in installed.values() for model in named.values()]
    client = create_app(Registry.of(Broken, *models)).test_client()
    found = client.get("/readyz").get_json()
    assert found["models"]["drag"] == len(installed["drag"]) + 1


def test_without_models_of_a_kind_nothing_can_be_asked() -> None:
    client = create_app(Registry.of(Broken)).test_client()
    reply = client.get("/readyz")
    assert reply.status_code == 503
    assert reply.get_json()["detail"] == "No launch model is installed."
