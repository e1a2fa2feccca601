"""The conformance suite on lanes of parameters: what each bad twin does wrong is named."""

import math
from dataclasses import dataclass
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
    ParameterError,
    Real,
    Source,
    Validity,
    as_read_only,
    cross_section,
    holds,
    parameter,
)
from arrowloft.plugin.conformance import check_drag_model, check_launch_model


@dataclass(frozen=True, kw_only=True)
class ByLane(DragModel):
    """Cd from one value to another below and above a Reynolds number."""

    name = "by-lane"
    version = "1"
    sources = (Source("Invented for this test", "derived"),)
    default_uncertainty = 0.1
    by_lane = True

    below: Real = parameter("Cd below.", default=1.0, low=0.0, high=5.0)
    above: Real = parameter("Cd above.", default=2.0, low=0.5, high=5.0)
    step: Real = parameter("Where it steps.", default=2e4, low=1e3, high=1e5)
    share: Real | None = parameter("Uncertainty.", default=None, low=0.0, high=1.0)

    def __post_init__(self) -> None:
        """Refuse coefficients out of order."""
        if not holds(self.below <= self.above):
            raise ParameterError("above", "exchange the two")

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        over = flow.reynolds(arrow.shaft_diameter) > self.step
        return cross_section(arrow) * np.where(over, self.above, self.below)

    def relative_uncertainty(self) -> Real:
        """The caller's, or the step as a share."""
        return self.above - self.below if self.share is None else self.share

    def limits(self) -> tuple[Validity, ...]:
        """Down to half the step."""
        return (Validity("reynolds", self.step / 2, 1e6),)

    def kinks(self) -> tuple[float, ...]:
        """Every lane's."""
        return tuple(np.ravel(self.step).tolist())

    def notes(self, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
        """A caution where the step is great."""
        return (Note("great", "Great."),) if np.any(self.above - self.below > 1.01) else ()


@dataclass(frozen=True, kw_only=True)
class LaunchByLane(LaunchModel):
    """Speed from an energy, with figures."""

    name = "launch-by-lane"
    version = "1"
    sources = (Source("Invented for this test", "derived"),)
    by_lane = True

    virtual_mass: Real = parameter("Virtual mass.", "mass", default=0.005, low=0.0)

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        energy = 70.0 * self.virtual_mass / 0.005
        speed = np.sqrt(2 * energy / (case.arrow.mass + self.virtual_mass))
        return LaunchSpeed(speed, 0.01 * speed, {"energy": (energy, "energy")})


def test_good_models_by_lane_conform() -> None:
    check_drag_model(ByLane)
    check_drag_model(ByLane, below=2.0, above=2.0, step=1e3, share=0.0)
    check_launch_model(LaunchByLane)


def twin(base: Any, **changed: Any) -> Any:
    """The good model, changed; as a class made in a function it does not pickle."""
    return dataclass(frozen=True, kw_only=True)(
        type("Twin", (base,), {"__doc__": "A bad twin.", "__module__": __name__, **changed})
    )


def findings(caught: pytest.ExceptionInfo[AssertionError]) -> list[str]:
    lines = str(caught.value).splitlines()[1:]
    return [line.strip() for line in lines if not line.startswith("  pickle: ")]


def area(flow: Flow, arrow: Arrow) -> Array:
    return np.ones_like(flow.airspeed) * cross_section(arrow)


def first(value: Any) -> Any:
    return np.ravel(value)[0]


def by_the_standard_library(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return area(flow, arrow) * math.log(2.0 + self.above)


def of_the_first_lane(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return area(flow, arrow) * first(self.above)


def of_the_mean(self: Any, flow: Flow, arrow: Arrow) -> Array:
    return area(flow, arrow) * np.mean(self.above)


def in_order(self: Any, flow: Flow, arrow: Arrow) -> Array:
    """Sound as long as lanes are in order, as varied ones are."""
    return area(flow, arrow) * np.sort(np.ravel(self.above))


def only_with_lanes_of_arrows(self: Any, flow: Flow, arrow: Arrow) -> Array:
    shared = np.ndim(arrow.mass) == 0
    return area(flow, arrow) * (np.mean(self.above) if shared else self.above)


def one_at_a_time(self: Any, flow: Flow, arrow: Arrow) -> Array:
    both = np.ndim(self.below) and np.ndim(self.above)
    return area(flow, arrow) * (self.above + (0.0 if both else self.below))


def reordering(self: Any, flow: Flow, arrow: Arrow) -> Array:
    answer = area(flow, arrow) * self.above
    if np.ndim(self.step):
        object.__setattr__(self, "step", as_read_only(self.step[::-1]))
    return answer


def checked_in_the_first(self: Any) -> None:
    if first(self.below) > first(self.above):
        raise ParameterError("above", "exchange the two")


def checked_as_floats(self: Any) -> None:
    if self.below > self.above:
        raise ParameterError("above", "exchange the two")


def refusing_lanes(self: Any) -> None:
    if np.ndim(self.above):
        raise ParameterError("above", "one value, please")


def refusing_all(self: Any) -> None:
    for name, item in type(self).parameters().items():
        if not holds(getattr(self, name) == item.default):
            raise ParameterError(name, "as it is or not at all")


def writeable(self: Any) -> None:
    if np.ndim(self.above):
        object.__setattr__(self, "above", np.array(self.above))


def of_the_first(self: Any, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
    great = first(self.above) - first(self.below) > 1.01
    return (Note("great", "Great."),) if great else ()


@pytest.mark.parametrize(
    ("changed", "part"),
    [
        ({"drag_area": by_the_standard_library}, "drag_area raised TypeError: only"),
        ({"drag_area": of_the_first_lane}, "above: lane 1 asked for alone, with floats"),
        ({"drag_area": of_the_mean}, "above: lane 0 asked for alone, with floats"),
        ({"drag_area": in_order}, "above: permuted lanes of parameters"),
        ({"drag_area": only_with_lanes_of_arrows}, "above: lane 0 asked for alone"),
        ({"drag_area": one_at_a_time}, "all together: lane 0 asked for alone"),
        ({"drag_area": reordering}, "step: the lanes held by the model were changed"),
        ({"__post_init__": checked_in_the_first}, "below: lanes are taken of which one alone"),
        ({"__post_init__": checked_as_floats}, "raised ValueError: The truth value of an array"),
        ({"__post_init__": refusing_lanes}, "above: lanes are refused that are taken one by one"),
        ({"__post_init__": refusing_all}, "no parameter could be varied without a refusal"),
        ({"__post_init__": writeable}, "above: the lanes held by the model can be written to"),
        (
            {"relative_uncertainty": lambda self: float(np.mean(self.above))},
            "above: relative_uncertainty of lane 0 differs",
        ),
        (
            {"relative_uncertainty": lambda self: np.ones(7)},
            "relative_uncertainty has the shape (7,), not one value for 6 lanes",
        ),
        (
            {"limits": lambda self: (Validity("reynolds", float(np.max(self.step)), 1e6),)},
            "step: the limits of lane 0 differ",
        ),
        (
            {"limits": lambda self: (Validity("mach", np.zeros(5), 1.0),)},
            "below: validity of 'mach'",
        ),
        ({"kinks": lambda self: (float(first(self.step)),)}, "step: kinks lacks one of lane 1"),
        ({"notes": of_the_first}, "above: the note 'great' of lane"),
    ],
)
def test_a_bad_twin_by_lane_is_told_what_it_does(changed: Any, part: str) -> None:
    with pytest.raises(AssertionError) as caught:
        check_drag_model(twin(ByLane, **changed))
    assert any(text.startswith(f"lanes of parameters: {part}") for text in findings(caught))


@pytest.mark.parametrize(
    "changed",
    [
        {"drag_area": by_the_standard_library},
        {"drag_area": of_the_first_lane},
        {"drag_area": of_the_mean},
        {"drag_area": in_order},
        {"__post_init__": checked_as_floats},
        {"__post_init__": refusing_lanes},
        {"kinks": lambda self: (float(first(self.step)),)},
    ],
)
def test_it_is_asked_of_those_alone_that_promise_it(changed: Any) -> None:
    with pytest.raises(AssertionError) as caught:
        check_drag_model(twin(ByLane, **changed))
    assert {text.split(":")[0] for text in findings(caught)} == {"lanes of parameters"}
    with pytest.raises(AssertionError) as caught:
        check_drag_model(twin(ByLane, **changed, by_lane=False))
    assert findings(caught) == []


@pytest.mark.parametrize(
    ("answer", "part"),
    [
        (
            lambda self, case: LaunchSpeed(
                60 + first(self.virtual_mass) + 0 * case.arrow.mass, 0 * case.arrow.mass
            ),
            "virtual_mass: lane 1 asked for alone",
        ),
        (
            lambda self, case: LaunchSpeed(
                60 + 0 * case.arrow.mass,
                0 * case.arrow.mass,
                {"mean": (float(np.mean(self.virtual_mass)), "mass")},
            ),
            "virtual_mass: figure 'mean' of lane 0 differs",
        ),
    ],
)
def test_a_bad_launch_twin_by_lane_is_told_what_it_does(answer: Any, part: str) -> None:
    with pytest.raises(AssertionError) as caught:
        check_launch_model(twin(LaunchByLane, launch_speed=answer))
    assert any(text.startswith(f"lanes of parameters: {part}") for text in findings(caught))
