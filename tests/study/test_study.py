"""`arrowloft.study` in one process: as the service answers, and what it refuses."""

import sys
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
import swept as requests
from swept import gridded, sampled, values

from arrowloft import study
from arrowloft.api.canonical import digest
from arrowloft.plugin import (
    Arrow,
    DragModel,
    Flow,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    Source,
    Validity,
    parameter,
)
from arrowloft.plugin.registry import Registry


def test_it_is_what_the_service_answers() -> None:
    asked = sampled(rows=True)
    reply = requests.client().post("/v1/sweep", json=asked).get_json()
    found = study.sweep(asked)
    assert list(found.columns) == list(reply["columns"])
    assert list(found.quantiles) == list(reply["summary"])
    assert np.degrees(found.columns["launch_angle"]) == pytest.approx(
        reply["columns"]["launch_angle"], abs=1e-6
    )
    assert found.quantiles["speed.mean"] == pytest.approx(reply["summary"]["speed.mean"], abs=1e-4)
    assert [{"code": n.code, "message": n.message} for n in found.notes] == reply["notes"]
    about = {name: reply[name] for name in reply if name not in ("columns", "summary", "units")}
    assert found.about == about | {"request": asked, "request_digest": digest(asked)}
    assert found.symbols["launch_angle"] == "rad" and found.symbols["sample"] == ""


def test_a_grid_has_no_quantiles() -> None:
    found = study.sweep(gridded(values("/slope", "0 deg", "10 deg")))
    assert found.quantiles == {} and found.columns["/slope"][2] == pytest.approx(np.radians(10))


def test_numpy_s_numbers_and_arrays_are_taken() -> None:
    drag = "/drag/parameters/coefficient"
    one = study.sweep(gridded({"pointer": drag, "values": np.linspace(1.5, 2.5, 3)}))
    other = study.sweep(gridded(values(drag, 1.5, np.float64(2.0), 2.5)))
    assert np.array_equal(one.columns["speed"], other.columns["speed"])


@pytest.mark.parametrize(
    "given",
    [
        np.linspace(1.0, 3.0, 6)[::2],
        np.array([1.0, 1.8, 2.6], dtype=object),
        range(1, 4),
        (1.0, np.float32(2.0), 3),
        np.arange(1, 4),
    ],
)
def test_what_stands_for_a_list(given: Any) -> None:
    pointer = "/drag/parameters/coefficient"
    found = study.sweep(gridded({"pointer": pointer, "values": given})).columns
    assert found[pointer][::2] == pytest.approx(np.array(list(given), dtype=float))


def test_texts_of_numpy_stand_for_texts() -> None:
    varied = {"pointer": "/arrow/mass", "values": np.array(["18 g", "19 g"])}
    assert study.sweep(gridded(varied)).columns["/arrow/mass"][2] == pytest.approx(0.019)
    one = values("/arrow/mass", np.str_("18 g"))
    assert study.sweep(gridded(one)).columns["/arrow/mass"][0] == pytest.approx(0.018)


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        (None, "the request is a mapping, as sent to the service, not NoneType"),
        ("{}", "not str"),
        ([1], "not list"),
        ({"vary": {1, 2}}, "set stands for no JSON value"),
        ({"vary": range(10**12)}, "range stands for no JSON value"),
        ({1: 2}, "Dict key must be"),
        ({"seed": 10**30}, "64-bit"),
    ],
)
def test_what_is_no_request(asked: Any, says: str) -> None:
    with pytest.raises(TypeError, match=says) as caught:
        study.sweep(asked)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("limit", [0, -5, 1.5, "9", True])
def test_what_is_no_limit(limit: Any) -> None:
    with pytest.raises(ValueError, match="1 or more"):
        study.sweep(sampled(), limit=limit)
    assert study.sweep(sampled(), limit=np.int64(1200)).columns["speed"].size == 1200


def test_more_than_the_service_gives_up_to_a_limit_of_its_own() -> None:
    asked = sampled(samples=60_000, distances=["20 m"], quantities=["time"], quantiles=[0.5])
    assert study.sweep(asked).columns["time"].size == 180_000
    with pytest.raises(study.Refused, match="make 180000 points; at most 150000"):
        study.sweep(asked, limit=150_000)
    with pytest.raises(study.Refused, match="at most 10000000"):
        study.sweep(sampled(samples=10**9))


def test_progress_counts_blocks() -> None:
    asked = sampled(samples=5000, distances=["20 m"], quantities=["time"])
    seen: list[tuple[int, int]] = []
    study.sweep(asked, progress=lambda done, count: seen.append((done, count)))
    assert seen == [(1, 4), (2, 4), (3, 4), (4, 4)]


@pytest.mark.parametrize(
    ("asked", "pointer"),
    [
        (gridded(values("/arrow/mas", "1 g")), "/vary/0/pointer"),
        (gridded(values("/slope", float("nan"))), "/vary/0/values/0"),
        (gridded(values("/slope", "1 deg"), distances=["1 m"]), "/distances/0"),
    ],
)
def test_what_the_service_would_refuse(asked: Any, pointer: str) -> None:
    with pytest.raises(study.Refused) as caught:
        study.sweep(asked)
    assert caught.value.errors[0][0] == pointer
    assert pointer in str(caught.value) and caught.value.detail


def test_without_pyarrow_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    found = study.sweep(gridded(values("/slope", "1 deg")))
    with pytest.raises(ImportError, match=r"arrowloft\[arrow\]"):
        found.to_arrow()


def test_a_registry_is_not_for_a_cluster() -> None:
    with pytest.raises(ValueError, match="leave registry out"):
        study.sweep(sampled(), client=object(), registry=Registry.of())  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", ["launch", "drag"])
def test_a_model_that_refuses_beyond_its_range(kind: str) -> None:
    asked = gridded(
        values("/launch/parameters/speed", "50 m/s", "70 m/s", "90 m/s"),
        launch={"model": "fixed" if kind == "drag" else "strict-launch"},
        drag={"model": "squared" if kind == "launch" else "strict-drag"},
    )
    registry = Registry.of(Fixed, Squared, StrictLaunch, StrictDrag)
    with pytest.raises(study.Refused, match="gives no answer there") as caught:
        study.sweep(asked, registry=registry)
    assert caught.value.errors[0][0] == f"/{kind}/model"
    asked["vary"] = [values("/launch/parameters/speed", "50 m/s", "70 m/s")]
    assert study.sweep(asked, registry=registry).about["outside_validity"] == []


@dataclass(frozen=True, kw_only=True)
class Fixed(LaunchModel):
    """The same speed for all."""

    name = "fixed"
    version = "1"
    sources = (Source("Invented for this test", standing="derived"),)

    speed: float = parameter("Speed.", "speed", default=57.0, low=5.0, high=100.0)

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        assert np.ndim(self.speed) == 0
        return LaunchSpeed(self.speed + 0.0 * case.arrow.mass, 0.0 * case.arrow.mass)


@dataclass(frozen=True, kw_only=True)
class Squared(DragModel):
    """CdA in proportion to the square of a width; says nothing of kinks."""

    name = "squared"
    version = "1"
    sources = (Source("Invented for this test", standing="derived"),)
    default_uncertainty = 0.1

    width: float = parameter("Width.", "length", default=8e-3, low=1e-3, high=2e-2)

    def drag_area(self, flow: Flow, arrow: Arrow) -> Any:
        assert np.ndim(self.width) == 0
        return np.full(flow.airspeed.shape, self.width**2)


@dataclass(frozen=True, kw_only=True)
class StrictLaunch(Fixed):
    """The same, up to 80 m/s."""

    name = "strict-launch"
    validity = (Validity("launch_speed", 0.0, 80.0, "error", "For this test."),)


@dataclass(frozen=True, kw_only=True)
class StrictDrag(Squared):
    """The same, up to a Mach number of 0.24."""

    name = "strict-drag"
    validity = (Validity("mach", 0.0, 0.24, "error", "For this test."),)


def test_models_of_one_s_own_one_by_one_where_they_take_no_lanes() -> None:
    registry = Registry.of(Fixed, Squared)
    asked = gridded(
        values("/launch/parameters/speed", "50 m/s", "60 m/s"),
        values("/slope", "0 deg", "5 deg"),
        values("/drag/parameters/width", "6 mm", "7 mm", "8 mm"),
        launch={"model": "fixed"},
        drag={"model": "squared"},
        quantities=["launch_speed", "time"],
    )
    found = study.sweep(asked, registry=registry).columns
    assert found["launch_speed"].tolist() == [50.0] * 12 + [60.0] * 12
    assert len(np.unique(found["time"])) == 24
    for row in (0, 9, 23):
        single = gridded(
            *(
                values(name, f"{found[name][row]:.17g} {unit}")
                for name, unit in (
                    ("/launch/parameters/speed", "m/s"),
                    ("/slope", "rad"),
                    ("/drag/parameters/width", "m"),
                )
            ),
            launch={"model": "fixed"},
            drag={"model": "squared"},
            quantities=["time"],
        )
        expected = study.sweep(single, registry=registry).columns["time"][row % 2]
        assert found["time"][row] == pytest.approx(expected, rel=1e-9)
