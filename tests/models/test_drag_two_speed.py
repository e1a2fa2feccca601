"""Drag from the speeds at two distances."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from arrowloft.plugin import Arrow, Flow, ParameterError
from arrowloft_models.drag.two_speed import TwoSpeed

READINGS = {"speed_near": 57.0, "speed_far": 53.0, "distance_near": 2.0, "distance_far": 50.0}
ARROW = Arrow(mass=0.02, shaft_diameter=0.0055)


def flow(speeds, density=1.225):
    return Flow(np.asarray(speeds, dtype=float), density, 1.8e-5, 340.0)


def test_published_loss_of_speed():
    """Published: 8 % lost from 56.4 m/s (Ortiz et al. 2020).

    The distance, 70 m, the diameter, 5.0 mm, and the mass, 16 g, are assumed; with them the
    coefficient is about 1.6 (derived), near the 1.56 measured in the same work's tunnel.
    """
    model = TwoSpeed(speed_near=56.4, speed_far=0.92 * 56.4, distance_near=0.0, distance_far=70.0)
    arrow = Arrow(mass=0.016, shaft_diameter=0.005)
    area = model.drag_area(flow([50.0]), arrow)[0]
    assert area / (np.pi / 4.0 * 0.005**2) == pytest.approx(1.6, abs=0.05)


@given(
    area=st.floats(1e-5, 2e-4),
    near=st.floats(0.0, 20.0),
    way=st.floats(5.0, 80.0),
    speed=st.floats(40.0, 120.0),
    mass=st.floats(0.012, 0.04),
    density=st.floats(0.8, 1.35),
)
def test_undoes_the_flat_fire_closed_form(area, near, way, speed, mass, density):
    """Closed form: v2 = v1 exp(-rho Cd*A dx / (2 m))."""
    far_speed = speed * np.exp(-density * area * way / (2.0 * mass))
    model = TwoSpeed(
        speed_near=speed, speed_far=far_speed, distance_near=near, distance_far=near + way
    )
    arrow = Arrow(mass=mass, shaft_diameter=0.005)
    found = model.drag_area(flow([10.0, 50.0], density), arrow)
    np.testing.assert_allclose(found, area, rtol=1e-9)


def test_an_integrated_flight_loses_what_was_measured():
    """Independent: the equation of motion under this drag alone, by DOP853."""
    area = TwoSpeed(**READINGS).drag_area(flow([55.0]), ARROW)[0]

    def motion(_, state):
        return [state[1], -0.5 * 1.225 * area * state[1] ** 2 / 0.02]

    def arrival(_, state):
        return state[0] - 48.0

    arrival.terminal = True
    flight = solve_ivp(
        motion, (0.0, 5.0), [0.0, 57.0], method="DOP853", rtol=1e-12, atol=1e-12, events=arrival
    )
    assert flight.y[1, -1] == pytest.approx(53.0, rel=1e-10)


def test_density_of_the_measurement_comes_before_that_of_the_request():
    thin = TwoSpeed(**READINGS, air_density=1.0)
    today = TwoSpeed(**READINGS)
    np.testing.assert_array_equal(
        thin.drag_area(flow([55.0], 1.3), ARROW), today.drag_area(flow([55.0], 1.0), ARROW)
    )
    assert thin.drag_area(flow([55.0], 1.3), ARROW) != today.drag_area(flow([55.0], 1.3), ARROW)


@given(st.floats(0.3, 3.0))
def test_goes_with_the_mass_and_not_with_the_diameter(factor):
    reference = TwoSpeed(**READINGS).drag_area(flow([55.0]), ARROW)
    scaled = TwoSpeed(**READINGS).drag_area(
        flow([55.0]), Arrow(mass=0.02 * factor, shaft_diameter=0.009)
    )
    np.testing.assert_allclose(scaled, factor * reference, rtol=1e-12)


def test_uncertainty_is_that_of_many_noisy_readings():
    """Independent: the spread of 200,000 drawn readings, seed 1."""
    draw = np.random.default_rng(1)
    count = 200_000
    near = draw.normal(57.0, 0.15, count)
    far = draw.normal(53.0, 0.15, count)
    way = draw.normal(48.0, 0.4, count)
    areas = np.log(near / far) / way
    model = TwoSpeed(**READINGS, speed_uncertainty=0.15, distance_uncertainty=0.4)
    assert model.relative_uncertainty() == pytest.approx(np.std(areas) / np.mean(areas), rel=0.01)


def test_readings_repeat_to_a_fifth_of_a_per_cent_unless_said_otherwise():
    """Published: Tuijn & Kooi 1992, speed repeats to 0.2 %."""
    expected = np.sqrt(2.0) * 0.002 / np.log(57.0 / 53.0)
    assert TwoSpeed(**READINGS).relative_uncertainty() == pytest.approx(expected)
    same = TwoSpeed(**READINGS, speed_uncertainty=0.002 * 55.0).relative_uncertainty()
    assert same == pytest.approx(expected, rel=2e-3)
    usual = TwoSpeed(speed_near=50.0, speed_far=46.0, distance_near=0.0, distance_far=70.0)
    assert usual.relative_uncertainty() == pytest.approx(TwoSpeed.default_uncertainty, abs=5e-4)


def test_readings_too_close_are_said_so_and_bounded():
    close = TwoSpeed(speed_near=57.0, speed_far=56.99, distance_near=2.0, distance_far=4.0)
    assert close.relative_uncertainty() == 1.0
    assert [note.code for note in close.notes(flow([57.0]), ARROW)] == ["speeds-too-close"]
    assert not TwoSpeed(**READINGS).notes(flow([57.0]), ARROW)


@pytest.mark.parametrize(
    ("changed", "at_fault"),
    [
        ({"speed_far": 57.0}, "speed_far"),
        ({"speed_far": 60.0}, "speed_far"),
        ({"distance_far": 2.0}, "distance_far"),
        ({"distance_far": 1.0}, "distance_far"),
        ({"speed_far": float("nan")}, "speed_far"),
    ],
)
def test_readings_out_of_order_are_refused(changed, at_fault):
    with pytest.raises(ParameterError) as caught:
        TwoSpeed(**{**READINGS, **changed})
    assert caught.value.parameter == at_fault
