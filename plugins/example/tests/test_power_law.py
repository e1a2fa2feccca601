"""The drag model: its contract, its closed form, its limits."""

from dataclasses import replace

import numpy as np
import pytest
from example_models.power_law import PowerLaw

from arrowloft.plugin import Arrow, Flow, cross_section
from arrowloft.plugin.conformance import check_drag_model

ARROW = Arrow(mass=0.021, shaft_diameter=0.0056, length=0.72, balance_point=0.43)
AIR = Flow(np.array([0.0]), density=1.225, viscosity=1.789e-5, speed_of_sound=340.3)
AT_REFERENCE = 1.2e4 * 1.789e-5 / (1.225 * 0.0056)


def area_at(model: PowerLaw, airspeed: float) -> float:
    """Drag area of the arrow at one airspeed."""
    return float(model.drag_area(replace(AIR, airspeed=np.array([airspeed])), ARROW)[0])


@pytest.mark.parametrize("exponent", [0.0, 0.2, 0.5, 1.0])
def test_it_keeps_the_contract(exponent: float) -> None:
    """Run the conformance suite of arrowloft."""
    check_drag_model(PowerLaw, coefficient=1.8, exponent=exponent)


def test_the_coefficient_holds_at_its_reference() -> None:
    """Whatever the exponent."""
    for exponent in (0.0, 0.3, 0.5):
        model = PowerLaw(coefficient=1.8, exponent=exponent)
        assert area_at(model, AT_REFERENCE) == pytest.approx(1.8 * cross_section(ARROW), rel=1e-12)


def test_sixteen_times_the_speed_has_half_the_coefficient_for_a_fourth_root() -> None:
    """16^(-1/4) = 1/2."""
    model = PowerLaw(coefficient=1.8, exponent=0.25)
    assert area_at(model, 80.0) == pytest.approx(area_at(model, 5.0) / 2, rel=1e-12)


@pytest.mark.parametrize("exponent", [0.1, 0.3, 0.5])
def test_speed_over_distance_is_the_closed_form(exponent: float) -> None:
    """v^n = v0^n - n k w^n x, against dv/dx = -rho CdA v / (2 m) by classical Runge-Kutta."""
    model = PowerLaw(coefficient=1.8, exponent=exponent)

    def slope(speed: float) -> float:
        return float(-AIR.density * area_at(model, speed) * speed / (2 * ARROW.mass))

    speed, steps, distance = 60.0, 50, 70.0
    step = distance / steps
    for _ in range(steps):
        one = slope(speed)
        two = slope(speed + step * one / 2)
        three = slope(speed + step * two / 2)
        four = slope(speed + step * three)
        speed += step * (one + 2 * two + 2 * three + four) / 6
    loss = AIR.density * 1.8 * float(cross_section(ARROW)) / (2 * ARROW.mass)
    power = 60.0**exponent - exponent * loss * AT_REFERENCE**exponent * distance
    assert speed == pytest.approx(power ** (1 / exponent), rel=1e-10)


def test_one_coefficient_a_lane() -> None:
    """Lanes computed side by side are those computed alone."""
    coefficients, exponents = [1.0, 1.5, 2.0], [0.0, 0.25, 0.5]
    together = PowerLaw.of({"coefficient": coefficients, "exponent": exponents})
    flow = replace(AIR, airspeed=np.full((2, 3), 50.0))
    alone = [
        area_at(PowerLaw(coefficient=coefficient, exponent=exponent), 50.0)
        for coefficient, exponent in zip(coefficients, exponents, strict=True)
    ]
    assert together.drag_area(flow, ARROW) == pytest.approx(np.array([alone, alone]), rel=1e-12)


def test_a_fall_steeper_than_friction_is_told() -> None:
    """An exponent above one half is a sign of bad measurements."""
    flow = replace(AIR, airspeed=np.array([50.0, 60.0]))
    codes = [
        [note.code for note in PowerLaw(coefficient=1.8, exponent=exponent).notes(flow, ARROW)]
        for exponent in (0.5, 0.6)
    ]
    assert codes == [[], ["power-too-steep"]]


def test_the_fit_adjusts_coefficient_and_exponent() -> None:
    """The others are known, not measured."""
    free = [name for name, item in PowerLaw.parameters().items() if item.free]
    assert free == ["coefficient", "exponent"]
