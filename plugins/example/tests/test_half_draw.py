"""The launch model: its contract, its closed forms, what it refuses and what it says."""

from dataclasses import replace
from math import sqrt
from typing import Any

import numpy as np
import pytest
from example_models.half_draw import HalfDraw

from arrowloft.plugin import Air, Arrow, Bow, CaseError, LaunchCase
from arrowloft.plugin.conformance import check_launch_model

BOW = Bow(peep_height=0.11, draw_length=0.7112, brace_height=0.2, draw_weight=180.0)
STROKE = 0.7112 - 1.75 * 0.0254 - 0.2
ARROW = Arrow(mass=0.021, shaft_diameter=0.0056)
AIR = Air(
    temperature=288.15,
    pressure=101325.0,
    relative_humidity=0.0,
    density=1.225,
    viscosity=1.789e-5,
    speed_of_sound=340.3,
)
CASE = LaunchCase(BOW, ARROW, AIR, drag=lambda flow, arrow: np.zeros_like(flow.airspeed))


@pytest.mark.parametrize("half", [60.0, 105.0, 150.0])
def test_it_keeps_the_contract(half: float) -> None:
    """Run the conformance suite of arrowloft."""
    check_launch_model(HalfDraw, half_draw_force=half)


def test_a_linear_spring_without_losses() -> None:
    """W = F P / 2, so that v = sqrt(F P / m)."""
    model = HalfDraw(half_draw_force=90.0, virtual_mass=0.0, hysteresis=0.0)
    result = model.launch_speed(CASE)
    assert result.speed == pytest.approx(sqrt(180.0 * STROKE / 0.021), rel=1e-12)
    assert result.figures["fullness"][0] == pytest.approx(0.5, rel=1e-12)
    assert result.figures["efficiency"][0] == 1.0


@pytest.mark.parametrize("bend", [-100.0, 0.0, 300.0])
@pytest.mark.parametrize("twist", [0.0, 400.0])
def test_a_cubic_is_integrated_exactly(bend: float, twist: float) -> None:
    """F = a x + b x^2 + c x^3 through (P, F): its work is a P^2/2 + b P^3/3 + c P^4/4."""
    first = (180.0 - bend * STROKE**2 - twist * STROKE**3) / STROKE
    half = first * STROKE / 2 + bend * STROKE**2 / 4 + twist * STROKE**3 / 8
    work = first * STROKE**2 / 2 + bend * STROKE**3 / 3 + twist * STROKE**4 / 4
    result = HalfDraw(half_draw_force=half, hysteresis=0.0).launch_speed(CASE)
    assert result.figures["stored_energy"][0] == pytest.approx(work, rel=1e-12)


def test_energy_is_shared_with_the_virtual_mass() -> None:
    """An arrow of the bow's virtual mass takes half the energy."""
    model = HalfDraw(half_draw_force=110.0, virtual_mass=0.021)
    result = model.launch_speed(CASE)
    stored = result.figures["stored_energy"][0]
    assert 0.021 * result.speed**2 / 2 == pytest.approx(stored / 2, rel=1e-12)


def test_the_published_fullness_needs_a_bend_that_passes() -> None:
    """Fullness 0.581 to 0.595 (Tuijn, Kooi 1992) is a half-draw share of 0.62 to 0.64."""
    for fullness in (0.581, 0.595):
        half = 180.0 * (6 * fullness - 1) / 4
        result = HalfDraw(half_draw_force=half).launch_speed(CASE)
        assert result.figures["fullness"][0] == pytest.approx(fullness, rel=1e-12)
        assert result.notes == ()


def test_the_uncertainty_is_that_of_shifted_parameters() -> None:
    """Against speeds with energy and virtual mass moved by their own uncertainty."""
    model = HalfDraw(half_draw_force=110.0)
    result = model.launch_speed(CASE)
    small = 1e-6
    by_energy = sqrt(1 + 0.03 * small) - 1
    moved = replace(model, virtual_mass=0.005 * (1 + 0.2 * small)).launch_speed(CASE)
    by_mass = moved.speed / result.speed - 1
    expected = result.speed * np.hypot(by_energy, by_mass) / small
    assert result.standard_uncertainty == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("member", ["draw_weight", "draw_length", "brace_height"])
def test_what_lacks_is_named(member: str) -> None:
    """The caller is told which member to give."""
    known: dict[str, Any] = vars(BOW) | {member: None}
    case = replace(CASE, bow=Bow(**known))
    with pytest.raises(CaseError) as caught:
        HalfDraw(half_draw_force=110.0).launch_speed(case)
    assert caught.value.member == f"bow/{member}"


def test_a_bow_without_a_stroke_is_refused() -> None:
    """A brace height as long as the draw is a slip."""
    with pytest.raises(CaseError, match="no power stroke"):
        HalfDraw(half_draw_force=110.0).launch_speed(
            replace(CASE, bow=replace(BOW, brace_height=0.7))
        )


@pytest.mark.parametrize(("half", "told"), [(44.0, 1), (46.0, 0), (134.0, 0), (136.0, 1)])
def test_readings_that_no_rising_parabola_joins_are_told(half: float, told: int) -> None:
    """Below a quarter and above three quarters of the draw weight."""
    notes = HalfDraw(half_draw_force=half).launch_speed(CASE).notes
    assert [note.code for note in notes] == ["half-draw-no-parabola"] * told


def test_one_force_a_lane() -> None:
    """Lanes computed side by side are those computed alone."""
    forces, masses = [80.0, 100.0, 120.0], [0.018, 0.021, 0.024]
    together = HalfDraw.of({"half_draw_force": forces}).launch_speed(
        replace(CASE, arrow=replace(ARROW, mass=np.array(masses)))
    )
    alone = [
        HalfDraw(half_draw_force=force)
        .launch_speed(replace(CASE, arrow=replace(ARROW, mass=mass)))
        .speed
        for force, mass in zip(forces, masses, strict=True)
    ]
    assert together.speed == pytest.approx(np.array(alone), rel=1e-12)
