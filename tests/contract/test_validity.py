"""Validity: ranges that are left are said in words and numbers, or refused."""

from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.plugin import (
    Air,
    Array,
    Arrow,
    Bow,
    DragModel,
    Flow,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    Note,
    OutsideValidity,
    Validity,
    drag_notes,
    launch_notes,
)

OWN = Note("own", "The model's own.")


@dataclass(frozen=True, kw_only=True)
class Ranged(DragModel):
    """No drag, within given ranges."""

    name = "ranged"
    ranges: Any

    def limits(self) -> tuple[Validity, ...]:
        return self.ranges

    def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
        return 0.0 * flow.airspeed

    def notes(self, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
        return (OWN,)


@dataclass(frozen=True, kw_only=True)
class RangedLaunch(LaunchModel):
    """A fixed speed, within given ranges."""

    name = "ranged-launch"
    ranges: Any

    def limits(self) -> tuple[Validity, ...]:
        return self.ranges

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        return LaunchSpeed(60.0, 0.5)


def flow(least: float, greatest: float) -> Flow:
    """Air in which Re = 1e5 * airspeed * length, and the speed of sound is 100 m/s."""
    return Flow(np.array([least, greatest]), 1.0, 1e-5, 100.0)


ARROW = Arrow(mass=0.02, shaft_diameter=0.005, length=0.8)


def drag(*ranges: Validity, least: float = 40.0, greatest: float = 60.0) -> tuple[Note, ...]:
    return drag_notes(Ranged(ranges=ranges), flow(least, greatest), ARROW)


@pytest.mark.parametrize(
    ("quantity", "least", "greatest"),
    # Derived from the definitions: 1e5 * V * d, 1e5 * V * L, V / c at 40 and 60 m/s.
    [("reynolds", 2e4, 3e4), ("reynolds_length", 3.2e6, 4.8e6), ("mach", 0.4, 0.6)],
)
def test_each_quantity_of_drag_at_both_ends(quantity: str, least: float, greatest: float) -> None:
    slack = 1 + 1e-9
    assert drag(Validity(quantity, least / slack, greatest * slack)) == (OWN,)
    assert len(drag(Validity(quantity, least * slack, inf))) == 2
    assert len(drag(Validity(quantity, -inf, greatest / slack))) == 2
    assert len(drag(Validity(quantity, least * slack, greatest / slack))) == 3


def test_the_note_says_quantity_range_and_reason() -> None:
    note, own = drag(Validity("reynolds", 1e3, 1.2e4, reason="No measurement goes beyond."))
    assert note.code == "drag-range-left"
    assert note.message == (
        "The Reynolds number on the shaft diameter rises to 30,000; 12,000 is the greatest for "
        "which the drag model 'ranged' may be trusted. No measurement goes beyond."
    )
    assert own is OWN
    note, _ = drag(Validity("mach", 0.5, 1.0))
    assert note.message == (
        "The Mach number falls to 0.4; 0.5 is the least for which the drag model 'ranged' may be "
        "trusted."
    )


def test_an_error_refuses_and_carries_the_numbers() -> None:
    limit = Validity("reynolds", 2.5e4, 4e4, "error", "Because")
    with pytest.raises(OutsideValidity) as caught:
        drag(Validity("mach", 0.0, 0.5), limit)
    error = caught.value
    assert (error.kind, error.name, error.quantity) == ("drag", "ranged", "reynolds")
    assert (error.low, error.high, error.reason) == (2.5e4, 4e4, "Because")
    assert error.reached == pytest.approx(2e4)
    assert "falls to 20,000; 25,000 is the least" in str(error)
    assert "Because. The model gives no answer there." in str(error)


def test_a_quantity_that_cannot_be_known_is_passed_over() -> None:
    limit = Validity("reynolds_length", 1.0, 2.0, "error")
    bare = Arrow(mass=0.02, shaft_diameter=0.005)
    assert drag_notes(Ranged(ranges=(limit,)), flow(40.0, 60.0), bare) == (OWN,)
    case = LaunchCase(Bow(peep_height=0.1), bare, AIR, _no_drag)
    names = ("draw_length", "draw_weight", "mass_per_draw_weight")
    ranges = tuple(Validity(name, 1e9, 2e9, "error") for name in names)
    assert launch_notes(RangedLaunch(ranges=ranges), case, LaunchSpeed(60.0, 0.5)) == ()


@pytest.mark.parametrize("shape", ["ends", "ends of lanes"])
def test_lanes_are_judged_by_the_farthest(shape: str) -> None:
    diameters = np.array([0.005, 0.006, 0.009])
    arrow = Arrow(mass=np.full(3, 0.02), shaft_diameter=diameters)
    ends = flow(40.0, 60.0)
    if shape == "ends of lanes":
        ends = Flow(np.array([[40.0, 50.0, 41.0], [60.0, 55.0, 42.0]]), 1.0, 1e-5, 100.0)
    reached = {"ends": "54,000", "ends of lanes": "37,800"}[shape]
    note, _ = drag_notes(Ranged(ranges=(Validity("reynolds", 0.0, 3.5e4),)), ends, arrow)
    assert f"rises to {reached}; 35,000" in note.message


AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
BOW = Bow(peep_height=0.1, draw_length=0.7, draw_weight=200.0)


def _no_drag(flow: Flow, arrow: Arrow) -> Array:
    return 0.0 * flow.airspeed


@pytest.mark.parametrize(
    ("quantity", "value", "text"),
    [
        ("arrow_mass", 0.02, "The arrow mass falls to 20 g; 40 g is the least"),
        (
            "mass_per_draw_weight",
            1e-4,
            "The arrow mass per draw weight falls to 0.1 g/N; 0.2 g/N is the least",
        ),
        ("launch_speed", 60.0, "The launch speed falls to 60 m/s; 120 m/s is the least"),
        ("draw_length", 0.7, "The draw length falls to 0.7 m; 1.4 m is the least"),
        ("draw_weight", 200.0, "The draw weight falls to 200 N; 400 N is the least"),
    ],
)
def test_each_quantity_of_launch(quantity: str, value: float, text: str) -> None:
    case = LaunchCase(BOW, ARROW, AIR, _no_drag)
    result = LaunchSpeed(60.0, 0.5, notes=(OWN,))
    inside = RangedLaunch(ranges=(Validity(quantity, value * 0.999, value * 1.001),))
    assert launch_notes(inside, case, result) == (OWN,)
    note, own = launch_notes(
        RangedLaunch(ranges=(Validity(quantity, 2 * value, inf),)), case, result
    )
    assert note.code == "launch-range-left"
    assert note.message.startswith(text)
    assert own is OWN
    above = RangedLaunch(ranges=(Validity(quantity, 0.0, value / 2, "error"),))
    with pytest.raises(OutsideValidity, match="is the greatest for which the launch model"):
        launch_notes(above, case, result)


@given(st.floats(1e-4, 1e6), st.floats(1e-9, 1.0), st.sampled_from([-1, 1]))
def test_the_two_numbers_of_a_note_never_look_alike(bound: float, share: float, side: int) -> None:
    reached = bound * (1 + side * share * 0.9)
    low, high = (0.0, bound) if side > 0 else (bound, inf)
    note, _ = drag(Validity("mach", low, high), least=reached * 100, greatest=reached * 100)
    first, second = note.message.replace(",", "").replace(";", "").split()[5:7]
    assert first != second
    assert float(first) == pytest.approx(reached, rel=6e-3)
    assert float(second) == pytest.approx(bound, rel=6e-3)
    assert "e" not in first + second
