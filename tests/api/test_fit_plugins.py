"""POST /v1/fit with models by strangers: fitted by what they declare, blamed where they fail."""

from dataclasses import dataclass
from functools import partial
from types import MappingProxyType
from typing import Any, ClassVar

import numpy as np
import pytest
from fit_requests import asking, client_of, flown, speeds

from arrowloft.api.fitting import fit
from arrowloft.api.fitting.patience import Patience
from arrowloft.api.resource import Limits
from arrowloft.core.setup.flow import cross_section
from arrowloft.plugin import (
    Array,
    Arrow,
    DragModel,
    Flow,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    ParameterError,
    Source,
    parameter,
)
from arrowloft.plugin.registry import Registry

INVENTED = (Source("Invented for this test", "derived"),)


@dataclass(frozen=True, kw_only=True)
class Wavy(DragModel):
    """An invented law, Cd = base + rise (u / 50 m/s - 1), that says nothing of kinks."""

    name = "wavy"
    version = "7"
    sources = INVENTED
    default_uncertainty = 0.3
    example = MappingProxyType({"base": 1.0})

    base: float = parameter("Coefficient at the speed.", low=0.1, high=9.0, free=True)
    rise: float = parameter("Its rise.", default=0.5, low=-9.0, high=9.0, free=True)
    speed: float = parameter("The speed.", "speed", default=50.0, low=1.0, high=100.0)

    def __post_init__(self) -> None:
        if self.base < 0.9:
            raise ParameterError("base", "must not be below 0.9")

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        shape = self.base + self.rise * (flow.airspeed / self.speed - 1.0)
        return np.maximum(shape, 0.0) * cross_section(arrow)


@dataclass(frozen=True, kw_only=True)
class Springy(LaunchModel):
    """An invented launch, v = stiffness * 1 m/s."""

    name = "springy"
    version = "2"
    sources = INVENTED

    stiffness: float = parameter("Stiffness.", default=50.0, low=1.0, high=500.0, free=True)

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        return LaunchSpeed(self.stiffness + 0.0 * case.arrow.mass, 0.1)


class _Bad(DragModel):
    """What the bad twins share."""

    version = "1"
    sources = INVENTED
    default_uncertainty = 0.3


@dataclass(frozen=True, kw_only=True)
class Raising(_Bad):
    """Raises once its coefficient has moved."""

    name = "raising"

    coefficient: float = parameter("Coefficient.", default=1.0, low=0.0, high=9.0, free=True)

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        if self.coefficient != 1.0:
            raise ZeroDivisionError("secret")
        return cross_section(arrow) * np.ones_like(flow.airspeed)


@dataclass(frozen=True, kw_only=True)
class Vanishing(_Bad):
    """Returns what is no number."""

    name = "vanishing"
    calls: ClassVar[int] = 0

    coefficient: float = parameter("Coefficient.", default=1.0, low=0.0, high=9.0, free=True)

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        return np.full_like(flow.airspeed, np.nan)


class Clock:
    """A clock that a slow model alone puts on, s."""

    now = 0.0


@dataclass(frozen=True, kw_only=True)
class Slow(_Bad):
    """Takes its time over every answer."""

    name = "slow"

    coefficient: float = parameter("Coefficient.", default=1.0, low=0.0, high=9.0, free=True)

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        Clock.now += 0.02
        return self.coefficient * cross_section(arrow) * np.ones_like(flow.airspeed)


AT = np.linspace(4.0, 90.0, 14)


def law(flow: Flow, arrow: Arrow) -> Array:
    """The invented law with base 1.6 and rise 0.9."""
    return np.asarray((1.6 + 0.9 * (flow.airspeed / 50.0 - 1.0)) * cross_section(arrow))


def series(noise: float = 0.0) -> list[Any]:
    more = np.random.default_rng(3).normal(0.0, noise, AT.size)
    return [
        {
            "speeds": speeds(flown(law, speed, AT) + more, AT, "0.05 m/s"),
            "launch_speed": f"{speed} m/s",
        }
        for speed in (35.0, 75.0)
    ]


def test_an_invented_law_is_fitted_without_extra_code() -> None:
    reply = client_of(Registry.of(Wavy)).post(
        "/v1/fit", json=asking(series(), [{"drag": {"model": "wavy"}}])
    )
    assert reply.status_code == 200, reply.get_json()
    [model] = reply.get_json()["models"]
    values = {item["name"]: item["value"] for item in model["parameters"]}
    assert values == pytest.approx({"base": 1.6, "rise": 0.9}, abs=1e-4)
    assert model["drag"]["version"] == "7"


def test_free_chooses_otherwise_than_declared() -> None:
    fixed = {"model": "wavy", "parameters": {"rise": 0.9}, "free": ["speed", "base"]}
    reply = client_of(Registry.of(Wavy)).post("/v1/fit", json=asking(series(), [{"drag": fixed}]))
    lines = reply.get_json()["models"][0]["parameters"]
    # In the order of the declaration, with the parameter's own unit.
    assert [(line["name"], line["unit"]) for line in lines] == [("base", ""), ("speed", "m/s")]
    # base - rise + rise u / speed is one line in u, which rise and base reach as well.
    assert lines[0]["value"] - 0.9 == pytest.approx(1.6 - 0.9, abs=1e-3)
    assert lines[1]["value"] == pytest.approx(50.0, abs=0.05)


def test_an_invented_launch_is_fitted() -> None:
    seen = [{"speeds": speeds(flown(law, 61.0, AT), AT)}]
    model = {
        "drag": {"model": "wavy", "parameters": {"base": 1.6, "rise": 0.9}, "free": []},
        "launch": {"model": "springy"},
    }
    reply = client_of(Registry.of(Wavy, Springy)).post("/v1/fit", json=asking(seen, [model]))
    [told] = reply.get_json()["models"][0]["parameters"]
    assert (told["of"], told["name"], told["start"]) == ("launch", "stiffness", 50.0)
    assert told["value"] == pytest.approx(61.0, abs=1e-4)


def test_the_edge_of_what_a_stranger_takes_is_a_bound() -> None:
    """The law of base 0.6 lies beyond what the model takes, which is no bound it declares."""

    def low(flow: Flow, arrow: Arrow) -> Array:
        return np.asarray(0.6 * cross_section(arrow) + 0.0 * flow.airspeed)

    seen = [{"speeds": speeds(flown(low, 60.0, AT), AT), "launch_speed": "60 m/s"}]
    drag = {"model": "wavy", "parameters": {"rise": 0.0}, "free": ["base"]}
    client = client_of(Registry.of(Wavy))
    reply = client.post("/v1/fit", json=asking(seen, [{"drag": drag}]))
    assert reply.status_code == 200, reply.get_json()
    [model] = reply.get_json()["models"]
    [line] = model["parameters"]
    assert line["value"] == 0.9 and line["at_bound"] == "low"
    assert line["standard_uncertainty"] is None
    assert model["degrees_of_freedom"] == AT.size
    # The same as with the launch speed found beside it.
    free = seen[0] | {"free": ["launch_speed"]}
    [both] = client.post("/v1/fit", json=asking([free], [{"drag": drag}])).get_json()["models"]
    assert both["parameters"][0]["at_bound"] == "low"
    assert both["degrees_of_freedom"] == AT.size - 1
    fixed = {"model": "wavy", "parameters": {"rise": 0.0, "base": 0.9}, "free": []}
    [held] = client.post("/v1/fit", json=asking([free], [{"drag": fixed}])).get_json()["models"]
    assert both["chi_square"] == pytest.approx(held["chi_square"], rel=1e-6)


def test_a_slow_stranger_does_not_cost_the_others(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is stopped between two evaluations, when its share of the request's time is over."""
    monkeypatch.setattr(fit, "Patience", partial(Patience, clock=lambda: Clock.now))
    client = client_of(Registry.of(Wavy, Slow), Limits(seconds=2.0))
    models = [{"drag": {"model": "slow"}}, {"drag": {"model": "wavy"}}]
    reply = client.post("/v1/fit", json=asking(series(), models))
    assert reply.status_code == 200, reply.get_json()
    slow, sound = reply.get_json()["models"]
    assert slow["failed"]["code"] == "takes-too-long"
    assert "answers too slowly" in slow["failed"]["detail"]
    assert sound["rank"] == 1
    hurried = client_of(Registry.of(Wavy, Slow), Limits(seconds=0.5))
    alone = hurried.post("/v1/fit", json=asking(series(), models[:1]))
    assert alone.status_code == 503
    assert alone.get_json()["errors"][0]["pointer"] == "/models/0"


@pytest.mark.parametrize("bad", [Raising, Vanishing])
def test_a_failing_stranger_is_named_and_hides_no_other(bad: type[DragModel]) -> None:
    client = client_of(Registry.of(Wavy, bad))
    models = [{"drag": {"model": bad.name}}, {"drag": {"model": "wavy"}}]
    reply = client.post("/v1/fit", json=asking(series(), models))
    assert reply.status_code == 200
    failed, sound = reply.get_json()["models"]
    assert failed["failed"]["code"] == "model-fault"
    assert bad.name in failed["failed"]["detail"] and "secret" not in failed["failed"]["detail"]
    assert sound["rank"] == 1
    alone = client.post("/v1/fit", json=asking(series(), models[:1]))
    assert alone.status_code == 500
    assert alone.get_json()["model"] == bad.name
    assert alone.get_json()["errors"][0]["pointer"] == "/models/0/drag/model"
