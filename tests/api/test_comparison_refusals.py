"""POST /v1/comparison refused: what is wrong, where, and which model is to blame."""

import copy
import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from flask import Flask
from flask.testing import FlaskClient

from arrowloft.api import problems, time_limit
from arrowloft.api.comparing import comparison
from arrowloft.api.resource import Edge, Limits
from arrowloft.plugin import (
    Array,
    Arrow,
    CaseError,
    DragModel,
    Flow,
    ParameterError,
    Source,
    Validity,
    parameter,
)
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
_ASKED = json.loads((EXAMPLES / "comparison.request.json").read_text())


@dataclass(frozen=True, kw_only=True)
class Moody(DragModel):
    """Fails as it is told to."""

    name = "moody"
    version = "1"
    sources = (Source("None", "derived"),)
    validity = (Validity("reynolds", 5e4, 1e5, "error", "A test ends it there"),)
    default_uncertainty = 0.1

    how: str = parameter(
        "How it fails.",
        "choice",
        default="range",
        choices=("range", "raise", "case", "nan", "sleep"),
    )

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        """Nothing that can be flown with."""
        if self.how == "sleep":
            time.sleep(60.0)
        if self.how == "raise":
            raise ZeroDivisionError("moody")
        if self.how == "case":
            raise CaseError("arrow/length", "The model moody wants a longer arrow.")
        return np.full(flow.airspeed.shape, np.nan if self.how == "nan" else 4e-5)

    def __post_init__(self) -> None:
        """Never refuse; the built-in models do."""
        if self.how == "never":
            raise ParameterError("how", "is never")


def client_of(limits: Limits, registry: Registry | None = None) -> FlaskClient:
    app = Flask("comparison")
    comparison.resource(Edge.of(registry or Registry.discover(), limits)).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture(scope="module")
def comparing() -> FlaskClient:
    """A client of this resource alone."""
    return client_of(Limits())


@pytest.fixture(scope="module")
def moody() -> FlaskClient:
    """The same with a model that fails."""
    built_in = [model for kind in Registry.discover().models.values() for model in kind.values()]
    return client_of(Limits(), Registry.of(*built_in, Moody))


@pytest.fixture
def asked() -> Body:
    """A valid request, to be changed at will."""
    return copy.deepcopy(_ASKED)


def refused(client: FlaskClient, asked: Body, status: int = 422) -> Any:
    reply = client.post("/v1/comparison", json=asked)
    assert reply.status_code == status, reply.get_data(as_text=True)[:300]
    return reply.get_json()


def faults(problem: Any) -> list[tuple[str, str]]:
    return [(fault["pointer"], fault["detail"]) for fault in problem["errors"]]


def constant(*coefficients: Any, **more: Any) -> list[Body]:
    return [{"model": "constant", "parameters": {"coefficient": c}} | more for c in coefficients]


@pytest.mark.parametrize(
    ("change", "pointer", "word"),
    [
        (lambda a: a.update(launches=[]), "/launches", "give 1 to"),
        (lambda a: a.pop("drags"), "/drags", "needed"),
        (lambda a: a.update(drag=a["drags"][0]), "/drag", "not a member"),
        (lambda a: a["drags"].append({"model": "comet"}), "/drags/4/model", "no drag model"),
        (lambda a: a["drags"][0].update(label=""), "/drags/0/label", "1 to 60"),
        (lambda a: a["drags"][0].update(label=None), "/drags/0/label", "null"),
        (lambda a: a["drags"][0].update(lable="x"), "/drags/0/lable", "label"),
        (lambda a: a["drags"][0].update(zzz="x"), "/drags/0/zzz", "label, model"),
        (
            lambda a: a["drags"][1].update(coefficient=1.7),
            "/drags/1/coefficient",
            "put it into `parameters`",
        ),
        (
            lambda a: a["drags"][1].update(parameters={"coefficient": -1}),
            "/drags/1/parameters/coefficient",
            "outside",
        ),
        (lambda a: a.update(baseline={"drag": "1.6"}), "/baseline/drag", "1.6 all along"),
        (lambda a: a.update(baseline={"launch": "x"}), "/baseline/launch", "measured"),
        (lambda a: a.update(tolerance={}), "/tolerance", "height, right, clicks"),
        (lambda a: a.update(tolerance={"clicks": 0}), "/tolerance/clicks", "more than 0"),
        (lambda a: a["sight"].pop("clicks_per_turn"), "/tolerance/clicks", "sight.clicks"),
        (lambda a: a.pop("sight"), "/tolerance/clicks", "sight.clicks"),
        (lambda a: a.update(path={"target": "60 yd"}), "/path/step", "needed"),
        (
            lambda a: a.update(path={"target": "900 m", "step": "0.1 m"}),
            "/path/step",
            "36004, at most 5000",
        ),
        (lambda a: a.update(path={"target": "1 m", "step": "1 m"}), "/path/target", "Too near"),
        (lambda a: a.update(distances=["20 yd", "1 m"]), "/distances/1", "Too near"),
        (
            lambda a: a.update(distances=["20 yd", "900 m"]),
            "/distances/1",
            'by the baseline, launch "measured" with drag "component": the set-up reaches',
        ),
    ],
)
def test_refusals(
    comparing: FlaskClient, asked: Body, change: Callable[[Body], Any], pointer: str, word: str
) -> None:
    change(asked)
    [(where, detail)] = faults(refused(comparing, asked))
    assert where == pointer
    assert word in detail


def test_labels_are_needed_where_names_are_the_same(comparing: FlaskClient, asked: Body) -> None:
    asked |= {"drags": constant(1.5) + constant(1.6, label="b") + constant(1.7), "baseline": {}}
    found = faults(refused(comparing, asked))
    assert [where for where, _ in found] == ["/drags/0/label", "/drags/2/label"]
    assert '2 drag models are called "constant": give each a label' in found[0][1]
    asked["drags"][2]["label"] = "c"
    assert comparing.post("/v1/comparison", json=asked).status_code == 200


def test_every_fault_of_a_model_is_listed(comparing: FlaskClient, asked: Body) -> None:
    asked["drags"][1] = {"label": 3, "model": "constant", "parameters": {"coefficient": "thick"}}
    found = [where for where, _ in faults(refused(comparing, asked))]
    assert found == ["/drags/1/label", "/drags/1/parameters/coefficient"]


def test_lists_longer_than_the_lanes_are_refused_as_they_are_read(asked: Body) -> None:
    """1000 x 1000 models x 1000 distances, before a single one is built."""
    many = client_of(Limits(body=10**6))
    asked["launches"] = [
        {"label": f"{i}", "model": "measured", "parameters": {"speed": "80 m/s"}}
        for i in range(1000)
    ]
    asked["drags"] = [{"label": f"{i}", "model": "none"} for i in range(1000)]
    asked |= {"baseline": {}, "distances": {"from": "10 m", "to": "109.9 m", "step": "0.1 m"}}
    found = faults(refused(many, asked))
    assert [where for where, _ in found] == ["/launches", "/drags"]
    assert all("give 1 to 64" in detail for _, detail in found)


def test_more_lanes_than_compared_are_refused_with_the_number(asked: Body) -> None:
    few = client_of(Limits(lanes=5))
    del asked["baseline"]
    slow = {"label": "slow", "model": "measured", "parameters": {"speed": "70 m/s"}}
    asked["launches"] = [asked["launches"][0], slow]
    asked["drags"] = [{"label": f"{i}", "model": "none"} for i in range(4)]
    [(where, detail)] = faults(refused(few, asked))
    assert where == "/drags"
    assert "2 launches x 4 drags make 8 lanes, at most 5" in detail
    assert "give at most 2 drags" in detail


def test_more_rows_than_computed_point_at_what_is_most(asked: Body) -> None:
    few = client_of(Limits(cells=30))
    del asked["path"], asked["baseline"]
    asked["drags"] = [{"label": f"{i}", "model": "none"} for i in range(8)]
    [(where, detail)] = faults(refused(few, asked))
    assert where == "/drags"
    assert "4 distances x 1 launches x 8 drags make 32 rows, at most 30" in detail
    assert "give at most 7 drags, or fewer distances" in detail
    asked["distances"] = {"from": "20 m", "to": "28 m", "step": "1 m"}
    [(where, detail)] = faults(refused(few, asked))
    assert where == "/distances" and "give at most 3 distances" in detail


def test_as_many_cells_as_allowed_and_no_more(asked: Body) -> None:
    few = client_of(Limits(cells=12))
    asked |= {"distances": ["20 m", "30 m", "40 m"]}
    del asked["path"]
    assert few.post("/v1/comparison", json=asked).status_code == 200
    asked["distances"].append("50 m")
    assert "16 rows" in refused(few, asked)["detail"]


def test_parameters_that_do_not_fit_are_pointed_at(comparing: FlaskClient, asked: Body) -> None:
    asked["drags"][2]["parameters"] = {"band_low": 30000, "band_high": 20000}
    problem = refused(comparing, asked)
    assert problem["type"] == "/problems/invalid-request"
    [(where, detail)] = faults(problem)
    assert where == "/drags/2/parameters/band_high"
    assert detail.startswith('Drag "layer changes late": Must be above band_low')


def test_a_launch_model_that_cannot_answer_is_named(comparing: FlaskClient, asked: Body) -> None:
    """A rated bow needs the draw weight: the shared member, the model by its label."""
    rated = {"label": "by rating", "model": "rated", "parameters": {"rated_speed": "320 ft/s"}}
    asked["launches"].append(rated)
    del asked["bow"]["draw_weight"]
    problem = refused(comparing, asked)
    assert problem["type"] == "/problems/model-cannot-answer"
    [(where, detail)] = faults(problem)
    assert where == "/bow/draw_weight" and detail.startswith('Launch "by rating" with ')


def test_a_speed_out_of_bounds_points_at_its_launch(comparing: FlaskClient, asked: Body) -> None:
    fast = {"model": "measured", "parameters": {"speed": "200 m/s", "gate_distance": "5 m"}}
    asked["launches"].append(fast | {"label": "too fast"})
    [(where, detail)] = faults(refused(comparing, asked))
    assert where == "/launches/1" and '"too fast"' in detail


@pytest.mark.parametrize(
    ("how", "status", "code", "pointer"),
    [
        ("raise", 500, "model-fault", "/drags/1/model"),
        ("nan", 500, "model-fault", "/drags/1/model"),
        ("case", 422, "model-cannot-answer", "/arrow/length"),
        ("range", 422, "outside-validity", "/drags/1/model"),
    ],
)
@pytest.mark.parametrize("measured_at_a_gate", [True, False])
def test_a_drag_model_that_fails_is_named(
    moody: FlaskClient,
    asked: Body,
    how: str,
    status: int,
    code: str,
    pointer: str,
    measured_at_a_gate: bool,
) -> None:
    """Within a launch model that undoes the flight to a gate, and in the midst of a solve."""
    if not measured_at_a_gate:
        asked["launches"][0]["parameters"] = {"speed": "82 m/s"}
    asked["drags"][1] = {"label": "odd", "model": "moody", "parameters": {"how": how}}
    problem = refused(moody, asked, status)
    assert problem["type"] == f"/problems/{code}"
    [(where, detail)] = faults(problem)
    assert where == pointer
    assert detail.startswith(('Drag "odd": ', 'Launch "measured" with drag "odd": '))
    assert problem.get("model") == ("moody" if code == "model-fault" else None)


def test_a_model_without_a_label_is_named_once(moody: FlaskClient, asked: Body) -> None:
    asked["drags"][1] = {"model": "moody", "parameters": {"how": "raise"}}
    problem = refused(moody, asked, 500)
    [(where, detail)] = faults(problem)
    assert where == "/drags/1/model" and detail.count("moody") == 1
    assert detail.startswith("The drag model 'moody' failed")
    asked["drags"][1]["label"] = "odd"
    [(_, detail)] = faults(refused(moody, asked, 500))
    assert detail.startswith(('Launch "measured" with drag "odd": ', 'Drag "odd": '))


def test_a_model_that_takes_too_long_is_pointed_at_in_the_list(asked: Body) -> None:
    built_in = [model for kind in Registry.discover().models.values() for model in kind.values()]
    app = Flask("comparison")
    edge = Edge.of(Registry.of(*built_in, Moody), Limits())
    comparison.resource(edge).install(app)
    problems.install(app)
    time_limit.install(app, 1.0)
    asked["drags"][1] = {"label": "odd", "model": "moody", "parameters": {"how": "sleep"}}
    problem = refused(app.test_client(), asked, 500)
    assert [where for where, _ in faults(problem)] == ["/drags/1/model"]


def test_a_model_that_refuses_what_was_flown_does_so_for_a_table_too(
    moody: FlaskClient, asked: Body
) -> None:
    asked["drags"][1] = {"label": "odd", "model": "moody", "parameters": {"how": "range"}}
    reply = moody.post("/v1/comparison", json=asked, headers={"Accept": "text/csv"})
    assert reply.status_code == 422
    assert reply.get_json()["type"] == "/problems/outside-validity"
