"""Models that fail while they run: named in the reply, and the others go on being served."""

import os
import runpy
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import requests
from flask.testing import FlaskClient
from strangers import ROOT, Distribution, Service

from arrowloft.api.resource import Limits
from arrowloft.app import create_app
from arrowloft.operation.settings import Settings

TWINS = Path(__file__).parent / "bad_twins"
DRAG = {
    "twin-nan": "Nan",
    "twin-shape": "Shape",
    "twin-negative": "Negative",
    "twin-raises": "Raises",
    "twin-exits": "Exits",
    "twin-writes-airspeed": "WritesAirspeed",
    "twin-writes-arrow": "WritesArrow",
    "twin-sleeps": "Sleeps",
    "twin-dawdles": "Dawdles",
    "twin-works": "Works",
    "twin-builds-slowly": "BuildsSlowly",
    "twin-notes-slowly": "NotesSlowly",
    "twin-stubborn": "Stubborn",
}
LAUNCH = {
    "twin-nan": "Nan",
    "twin-shape": "Shape",
    "twin-raises": "Raises",
    "twin-writes-bow": "WritesBow",
    "twin-sleeps": "Sleeps",
    "twin-dawdles": "Namesake",
}
SLOW = {"sleeps", "dawdles", "works", "builds-slowly", "notes-slowly", "stubborn"}
WRONG = [
    (kind, name)
    for kind, names in (("drag", DRAG), ("launch", LAUNCH))
    for name in names
    if name.removeprefix("twin-") not in SLOW
]


@pytest.fixture(scope="module")
def twins(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Folders of the path that hold the twins' metadata and their modules."""
    folder = tmp_path_factory.mktemp("twins")
    Distribution(
        "bad-twins",
        drag={name: f"stranger_drag:{twin}" for name, twin in DRAG.items()},
        launch={name: f"stranger_launch:{twin}" for name, twin in LAUNCH.items()},
    ).lay_down(folder)
    return [folder, TWINS]


@pytest.fixture(scope="module")
def service(twins: list[Path], serve: Callable[..., Service]) -> Service:
    return serve(folders=twins)


@pytest.fixture(scope="module")
def impatient(twins: list[Path]) -> Iterator[FlaskClient]:
    """The app with the twins in it, which gives a request one second."""
    sys.path[:0] = map(str, twins)
    yield create_app(settings=Settings(limits=Limits(seconds=1.0))).test_client()
    for folder in twins:
        sys.path.remove(str(folder))


def choose(asked: dict[str, Any], kind: str, name: str, **parameters: Any) -> dict[str, Any]:
    return asked | {kind: {"model": name, "parameters": parameters}}


def check_blamed(status: int, problem: Any, kind: str, name: str) -> None:
    assert (status, problem["type"]) == (500, "/problems/model-fault")
    assert problem["model"] == name
    assert problem["detail"].startswith(f"The {kind} model '{name}' ")
    assert problem["errors"][0]["pointer"] == f"/{kind}/model"
    assert "secret" not in str(problem)


@pytest.mark.parametrize(("kind", "name"), WRONG, ids=lambda item: item)
def test_a_wrong_answer_is_its_own_request_s_problem(
    service: Service, asked: dict[str, Any], kind: str, name: str
) -> None:
    status, before = service.post("/v1/mark-table", asked)
    assert status == 200
    check_blamed(*service.post("/v1/mark-table", choose(asked, kind, name)), kind, name)
    assert service.post("/v1/mark-table", asked) == (200, before)


def test_a_minute_s_answer_ends_at_the_limit_in_the_same_worker(
    service: Service, asked: dict[str, Any]
) -> None:
    status, problem = service.post("/v1/mark-table", choose(asked, "drag", "twin-sleeps"))
    check_blamed(status, problem, "drag", "twin-sleeps")
    assert "a request may take 5 s" in problem["detail"]
    assert service.post("/v1/mark-table", asked)[0] == 200
    # Every request of this module so far went to the one worker that was started.
    assert service.log.read_text().count("Booting worker") == 1


@pytest.mark.parametrize(
    ("kind", "name", "parameters"),
    [
        ("drag", "twin-sleeps", {}),
        ("drag", "twin-dawdles", {}),
        ("drag", "twin-works", {}),
        ("drag", "twin-builds-slowly", {"wait": "60 s"}),
        ("drag", "twin-notes-slowly", {}),
        ("launch", "twin-sleeps", {}),
    ],
)
def test_wherever_a_model_is_slow_it_is_named(
    impatient: FlaskClient, asked: dict[str, Any], kind: str, name: str, parameters: dict[str, Any]
) -> None:
    reply = impatient.post("/v1/mark-table", json=choose(asked, kind, name, **parameters))
    check_blamed(reply.status_code, reply.get_json(), kind, name)
    assert "took too long: a request may take 1 s" in reply.get_json()["detail"]
    assert impatient.post("/v1/mark-table", json=asked).status_code == 200


def test_every_choice_of_the_slow_model_is_pointed_at(
    impatient: FlaskClient, asked: dict[str, Any]
) -> None:
    del asked["drag"], asked["launch"]
    slow, sound = {"model": "twin-dawdles"}, {"model": "none"}
    asked["launches"] = [{"model": "twin-dawdles"}]
    asked["drags"] = [sound, {"label": "one", **slow}, {"label": "two", **slow}]
    problem = impatient.post("/v1/comparison", json=asked).get_json()
    assert problem["model"] == "twin-dawdles", problem
    pointers = [fault["pointer"] for fault in problem["errors"]]
    assert pointers == ["/drags/1/model", "/drags/2/model"]


def test_a_model_is_as_quick_as_its_parameters(
    impatient: FlaskClient, asked: dict[str, Any]
) -> None:
    quick = choose(asked, "drag", "twin-builds-slowly", wait="0 s")
    assert impatient.post("/v1/mark-table", json=quick).status_code == 200


def test_our_own_slowness_blames_no_model(
    asked: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def forever(*_: Any, **__: Any) -> Any:
        while True:
            pass

    monkeypatch.setattr("arrowloft.api.sight.mark_table.mark_table", forever)
    client = create_app(settings=Settings(limits=Limits(seconds=0.5))).test_client()
    reply = client.post("/v1/mark-table", json=asked)
    problem = reply.get_json()
    assert (reply.status_code, problem["type"]) == (503, "/problems/takes-too-long")
    assert problem["detail"].startswith("The request took longer than 0.5 s. Ask for fewer")
    assert problem["errors"] == [] and "model" not in problem
    assert client.get("/problems/takes-too-long").get_json()["title"]


def test_what_cannot_be_interrupted_costs_the_worker_and_no_more(
    twins: list[Path], serve: Callable[..., Service], asked: dict[str, Any]
) -> None:
    """It catches even what ends a process; gunicorn kills the worker and starts another."""
    service = serve(folders=twins, options=["--timeout", "2"])
    with pytest.raises(requests.ConnectionError):
        service.post("/v1/mark-table", choose(asked, "drag", "twin-stubborn"))
    assert service.post("/v1/mark-table", asked)[0] == 200
    assert "WORKER TIMEOUT" in service.log.read_text()
    assert service.process.poll() is None


@pytest.mark.parametrize("seconds", ["", "30"])
def test_the_worker_outlives_the_limit(seconds: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "environ", os.environ | {"ARROWLOFT_LIMIT_SECONDS": seconds})
    settings = runpy.run_path(str(ROOT / "deploy" / "gunicorn.conf.py"))
    assert settings["timeout"] >= 2.0 * float(seconds or Limits().seconds)
