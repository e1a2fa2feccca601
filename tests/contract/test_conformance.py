"""The conformance suite: passes every installed model, and names what a bad twin does wrong."""

import math
import sys
import time
from dataclasses import dataclass, field
from importlib.metadata import entry_points
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest

from arrowloft.plugin import (
    Array,
    Arrow,
    DragModel,
    Flow,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    Note,
    Registry,
    Source,
    Validity,
    as_read_only,
    cross_section,
    parameter,
)
from arrowloft.plugin.conformance import check_drag_model, check_launch_model

INSTALLED = [
    (check, point)
    for check, group in (
        (check_drag_model, "arrowloft.drag_models"),
        (check_launch_model, "arrowloft.launch_models"),
    )
    for point in entry_points(group=group)
]


@pytest.mark.parametrize(
    ("check", "point"), INSTALLED, ids=[f"{point.group}:{point.name}" for _, point in INSTALLED]
)
def test_every_installed_model_conforms(check: Any, point: Any) -> None:
    check(point.load())


def test_the_installed_models_make_a_registry() -> None:
    registry = Registry.discover()
    assert len(registry.names("drag")) + len(registry.names("launch")) == len(INSTALLED) > 0


@dataclass(frozen=True, kw_only=True)
class Good(DragModel):
    """Cd * A, Cd falling with the Reynolds number."""

    name = "good"
    version = "1"
    sources = (Source("Invented for this test", "derived"),)
    validity = (Validity("reynolds", 1e3, 2e3, "error", "A narrow range is no fault."),)
    default_uncertainty = 0.1
    example = MappingProxyType({"coefficient": 2.0, "knots": [1.0, 2.0]})

    coefficient: float = parameter("Drag coefficient.", low=0.0)
    knots: Array = parameter("Knots.", array=True)

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        reynolds = np.maximum(flow.reynolds(arrow.shaft_diameter), 1.0)
        share = 1 + self.knots.mean() * reynolds**-0.2
        return self.coefficient * share * cross_section(arrow)


@dataclass(frozen=True, kw_only=True)
class Derived(Good):
    """The good model, with a private array derived from its parameters."""

    _doubled: Array = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Derive once what every call needs."""
        object.__setattr__(self, "_doubled", as_read_only(2 * self.knots))


@dataclass(frozen=True, kw_only=True)
class Steep(Good):
    """The good model, whose area rises with the sine of the incidence."""

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        return super().drag_area(flow, arrow) * (1.0 + np.sin(flow.incidence))


@dataclass(frozen=True, kw_only=True)
class GoodLaunch(LaunchModel):
    """Speed from a share of draw weight times power stroke."""

    name = "good-launch"
    version = "1"
    sources = (Source("Invented for this test", "derived"),)

    virtual_mass: float = parameter("Virtual mass.", "mass", default=0.005, low=0.0)

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        energy = 0.4 * case.bow.draw_weight * case.bow.power_stroke  # type: ignore[operator]
        speed = np.sqrt(2 * energy / (case.arrow.mass + self.virtual_mass))
        return LaunchSpeed(speed, 0.01 * speed)


def twin(base: Any, **changed: Any) -> Any:
    """The good model, changed."""
    return dataclass(frozen=True, kw_only=True)(
        type("Twin", (base,), {"__doc__": "A bad twin.", "__module__": __name__, **changed})
    )


def area(flow: Flow, arrow: Arrow) -> Array:
    return np.ones_like(flow.airspeed) * cross_section(arrow)


def test_good_models_conform() -> None:
    check_drag_model(Good)
    check_drag_model(Good, coefficient=0.0, knots=(0.5,))
    check_launch_model(GoodLaunch)
    check_launch_model(GoodLaunch, virtual_mass=0.01)
    check_drag_model(Steep)


def nan_when_slow(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return np.where(flow.airspeed < 0.2, np.nan, area(flow, arrow))


def negative_when_fast(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return area(flow, arrow) * np.where(flow.airspeed > 149, -1, 1)


def flat(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return area(flow, arrow).ravel()


def one_for_all(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return np.full(flow.airspeed.shape, np.mean(cross_section(arrow)))


def ranked(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return area(flow, arrow) * np.arange(1, 1 + flow.airspeed.shape[-1])


def by_rows(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return area(flow, arrow) * (1 + flow.airspeed[..., :1] / flow.airspeed.max(axis=0))


def one_is_special(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return area(flow, arrow) * (1 if flow.airspeed.size > 1 else 2)


def lists_are_special(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return area(flow, arrow) * (1 if flow.airspeed.ndim > 1 else 2)


def raising(self: Any, *given: Any) -> Any:
    raise ZeroDivisionError("by nought")


def mutating(self: Any, flow: Flow, arrow: Arrow) -> Array:
    flow.airspeed[...] = 1.0
    return area(flow, arrow)


def only_flat(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return np.array([cross_section(arrow) for _ in flow.airspeed])


CALLS: list[int] = []


def drifting(self: Any, flow: Flow, arrow: Arrow) -> Array:
    CALLS.append(1)
    return area(flow, arrow) * (1 + 1e-6 * len(CALLS))


CACHE: dict[tuple[int, ...], Array] = {}


def cached(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return CACHE.setdefault(flow.airspeed.shape, np.full(flow.airspeed.shape, 1e-5))


def same_memory(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return flow.airspeed


def below_zero_when_steep(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return area(flow, arrow) * np.cos(2.5 * np.asarray(flow.incidence))


def one_angle(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return area(flow, arrow) * (1.0 + math.sin(flow.incidence))  # type: ignore[arg-type]


def steepest_for_all(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return area(flow, arrow) * (1.0 + np.max(flow.incidence))


def first_row_for_all(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return area(flow, arrow) * (1.0 + np.atleast_2d(flow.incidence)[0])


def of_the_angles_shape(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return 1e-5 * (1.0 + np.atleast_1d(flow.incidence)) + (
        0.0 if np.ndim(flow.incidence) else 0.0 * flow.airspeed
    )


def arrays_are_steep(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return area(flow, arrow) * (1.0 if np.isscalar(flow.incidence) else 2.0)


def turning(self: Any, flow: Flow, arrow: Arrow) -> Array:
    if isinstance(flow.incidence, np.ndarray):
        flow.incidence[...] = 0.0
    return area(flow, arrow)


@pytest.mark.parametrize(
    ("changed", "part"),
    [
        ({"drag_area": nan_when_slow}, "shapes: drag_area returned the value nan"),
        ({"drag_area": negative_when_fast}, "shapes: drag_area returned the value -"),
        ({"drag_area": flat}, "shapes: drag_area returned the shape (72,), not (12, 6)"),
        ({"drag_area": only_flat}, "shapes: drag_area returned the shape (12,), not (12, 6)"),
        ({"drag_area": one_for_all}, "lanes: a part of the lanes"),
        ({"drag_area": ranked}, "lanes: permuted lanes do not give the permuted answer"),
        ({"drag_area": by_rows}, "a row's answer depends on the other rows"),
        ({"drag_area": one_is_special}, "the answer for (1, 1) differs"),
        ({"drag_area": lists_are_special}, "the answer for (n,) differs"),
        ({"drag_area": raising}, "shapes: drag_area raised ZeroDivisionError: by nought"),
        ({"drag_area": mutating}, "must not change what it is given"),
        ({"drag_area": drifting}, "pure: the same question is answered otherwise"),
        ({"drag_area": cached}, "pure: the same question is answered otherwise"),
        ({"drag_area": same_memory}, "memory: the answer is the airspeed's own memory"),
        ({"drag_area": below_zero_when_steep}, "incidence: drag_area returned the value -"),
        ({"drag_area": one_angle}, "incidence: drag_area raised TypeError"),
        ({"drag_area": steepest_for_all}, "incidence: lane 0 of an array of incidences"),
        ({"drag_area": first_row_for_all}, "incidence: speeds with an incidence each"),
        ({"drag_area": of_the_angles_shape}, "incidence: drag_area returned the shape (6,)"),
        ({"drag_area": arrays_are_steep}, "incidence: an array of incidences of 0"),
        ({"drag_area": turning}, "must not change what it is given"),
        ({"relative_uncertainty": lambda self: np.nan}, "relative_uncertainty returned nan"),
        ({"notes": lambda self, flow, arrow: ["x"]}, "notes() does not return a tuple of Note"),
        ({"notes": raising}, "extras: raised ZeroDivisionError"),
        ({"notes": lambda *_: sys.exit()}, "extras: raised SystemExit: it gives no reason"),
        ({"limits": lambda self: (Validity("spin", 0, 1),)}, "unknown quantity 'spin'"),
        ({"sources": ()}, "has no sources"),
        ({"example": {}}, "example lacks the required parameter 'coefficient'"),
        ({"__reduce__": raising}, "pickle: raised ZeroDivisionError"),
        ({"__setattr__": object.__setattr__}, "immutable: the field 'coefficient' can be set"),
    ],
)
def test_a_bad_drag_twin_is_told_what_it_does(changed: Any, part: str) -> None:
    CACHE.clear()
    if "__setattr__" in changed:
        model = dataclass(frozen=True, kw_only=True)(type("Twin", (Good,), {"__doc__": "Twin."}))
        model.__setattr__ = changed["__setattr__"]  # type: ignore[method-assign]
    else:
        model = twin(Good, **changed)
    with pytest.raises(AssertionError) as caught:
        check_drag_model(model)
    assert part in str(caught.value)


def test_a_writeable_array_and_a_private_cache_are_told_apart() -> None:
    def keep(self: Any) -> None:
        object.__setattr__(self, "knots", np.array(self.knots))

    with pytest.raises(AssertionError, match="the array 'knots' can be written to"):
        check_drag_model(twin(Good, __post_init__=keep))

    check_drag_model(Derived)


@pytest.mark.parametrize(
    ("answer", "part"),
    [
        (lambda self, case: LaunchSpeed(60.0, 0.5), "speed has the shape (), not (3,)"),
        (lambda self, case: LaunchSpeed(0 * case.arrow.mass, 0 * case.arrow.mass), "not above"),
        (
            lambda self, case: LaunchSpeed(
                60 + 0 * case.arrow.mass, 0 * case.arrow.mass, notes=[Note("a", "b")]
            ),
            "notes are not a tuple",
        ),
        (
            lambda self, case: LaunchSpeed(
                60 + np.mean(case.arrow.mass) + 0 * case.arrow.mass, 0 * case.arrow.mass
            ),
            "lanes: a part of the lanes",
        ),
        (raising, "launch_speed raised ZeroDivisionError"),
    ],
)
def test_a_bad_launch_twin_is_told_what_it_does(answer: Any, part: str) -> None:
    with pytest.raises(AssertionError) as caught:
        check_launch_model(twin(GoodLaunch, launch_speed=answer))
    assert part in str(caught.value)


def test_every_failed_check_is_in_one_message() -> None:
    with pytest.raises(AssertionError) as caught:
        check_drag_model(twin(Good, drag_area=raising, notes=raising))
    text = str(caught.value)
    for title in ("shapes", "lanes", "pure", "equal instances", "memory", "extras"):
        assert f"  {title}: " in text
    assert text.startswith("<class") and "check(s)" in text


def sleeping(self: Any, *given: Any) -> Any:
    time.sleep(60)


@pytest.mark.parametrize(
    ("changed", "title"),
    [
        ({"drag_area": sleeping}, "shapes: "),
        ({"notes": sleeping}, "extras: "),
        ({"__post_init__": sleeping}, ""),
    ],
)
def test_a_model_that_is_too_slow_is_told_so_once(
    changed: Any, title: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("arrowloft.plugin.conformance.CHECK_SECONDS", 2.0)
    with pytest.raises(AssertionError) as caught:
        check_drag_model(twin(Good, **changed))
    (found,) = [line for line in str(caught.value).splitlines() if "slow" in line]
    told = "the model is too slow: this check alone took longer than 2 s"
    assert found.startswith(f"  {title}{told}")


def test_the_wrong_kind_is_refused() -> None:
    with pytest.raises(AssertionError, match="does not derive from LaunchModel"):
        check_launch_model(Good)  # type: ignore[arg-type]
