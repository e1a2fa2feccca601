"""Flat fire against closed forms, quadrature and its own symmetries."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from arrowloft.core.flight.flatfire import (
    FlatFireError,
    carry_speed,
    flat_fire_drop,
    flat_fire_speed,
    flat_fire_time,
)
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow

# ISO 2533 at sea level (published).
AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.78938e-5, 340.294)
ARROW = Arrow(mass=0.020, shaft_diameter=0.0055)
AREA = 2.0 * np.pi / 4 * 0.0055**2
K = AIR.density * AREA / (2 * ARROW.mass)

speeds = st.floats(20.0, 130.0)
ways = st.floats(-120.0, 120.0)


def constant(flow, arrow):
    return np.full_like(flow.airspeed, AREA)


def power(exponent):
    """CdA proportional to (v / 57 m/s)^exponent: closed form v^-p = v0^-p + p k x / 57^p."""
    return lambda flow, arrow: AREA * (flow.airspeed / 57.0) ** exponent


def kinked(flow, arrow):
    """Flat above 55 m/s, falling with speed below: a corner in the law."""
    return AREA * np.maximum(1.0, 1.0 + (55.0 - flow.airspeed) / 20.0)


@given(speeds, ways, st.floats(0.005, 0.05))
def test_constant_drag_is_the_exponential(speed, way, mass):
    arrow = Arrow(mass=mass, shaft_diameter=0.0055)
    k = AIR.density * AREA / (2 * mass)
    carried = carry_speed(speed, way, AIR, arrow, constant)
    assert carried == pytest.approx(speed * np.exp(-k * way), rel=1e-12)
    assert carried == pytest.approx(flat_fire_speed(speed, k, way), rel=1e-12)


@pytest.mark.parametrize("exponent", [-1.0, -0.5, 0.5, 1.0])
@given(speed=speeds, way=ways)
def test_power_law_is_its_closed_form(exponent, speed, way):
    expected = (speed**-exponent + exponent * K * way / 57.0**exponent) ** (-1 / exponent)
    assert carry_speed(speed, way, AIR, ARROW, power(exponent)) == pytest.approx(
        expected, rel=1e-10
    )


@pytest.mark.parametrize("law", [constant, power(-0.5), kinked])
@given(speed=st.floats(40.0, 70.0), first=st.floats(0.0, 60.0), second=st.floats(-60.0, 60.0))
def test_two_ways_add_up(law, speed, first, second):
    halfway = carry_speed(speed, first, AIR, ARROW, law)
    there = carry_speed(halfway, second, AIR, ARROW, law)
    assert there == pytest.approx(carry_speed(speed, first + second, AIR, ARROW, law), rel=2e-10)


@pytest.mark.parametrize("way", [70.0, -20.0])
def test_a_corner_in_the_law_is_met_too(way):
    start = 57.0 if way > 0 else 54.5
    end = carry_speed(start, way, AIR, ARROW, kinked)

    def metres_per_speed(v):
        k = K * max(1.0, 1.0 + (55.0 - v) / 20.0)
        return 1 / (k * v)

    assert (start - 55.0) * (end - 55.0) < 0  # the corner is crossed
    flown = quad(metres_per_speed, end, start, points=[55.0], epsabs=1e-13, epsrel=1e-13)[0]
    assert flown == pytest.approx(way, rel=1e-9)


def test_lanes_are_their_single_flights():
    speed = np.array([50.0, 57.0, 85.0])
    way = np.array([-1.0, 18.0, 70.0])
    mass = np.array([0.018, 0.02, 0.026])
    together = carry_speed(speed, way, AIR, Arrow(mass=mass, shaft_diameter=0.0055), power(-0.5))
    alone = [
        carry_speed(v, x, AIR, Arrow(mass=m, shaft_diameter=0.0055), power(-0.5))
        for v, x, m in zip(speed, way, mass, strict=True)
    ]
    assert together.shape == (3,)
    assert all(isinstance(item, float) for item in alone)
    np.testing.assert_allclose(together, alone, rtol=1e-11)
    one_speed = carry_speed(57.0, 10.0, AIR, Arrow(mass=mass, shaft_diameter=0.0055), constant)
    assert one_speed.shape == (3,)


def test_no_drag_and_no_way_change_nothing():
    def free(flow, arrow):
        return np.zeros_like(flow.airspeed)

    assert carry_speed(57.0, 70.0, AIR, ARROW, free) == 57.0
    assert carry_speed(57.0, 0.0, AIR, ARROW, constant) == 57.0


def test_the_law_sees_the_flow_read_only():
    def meddling(flow, arrow):
        flow.airspeed[...] = 1.0
        return flow.airspeed

    with pytest.raises(ValueError, match="read-only"):
        carry_speed(57.0, 1.0, AIR, ARROW, meddling)


@pytest.mark.parametrize(
    ("speed", "way"), [(0.0, 1.0), (-5.0, 1.0), (np.nan, 1.0), (np.inf, 1.0), (57.0, np.nan)]
)
def test_senseless_numbers_are_refused(speed, way):
    with pytest.raises(ValueError, match="positive and finite"):
        carry_speed(speed, way, AIR, ARROW, constant)


def test_speed_without_bound_is_refused():
    # With CdA ~ v, 1/v falls linearly going back and is zero at -57 / (57 k) = -1/k.
    assert carry_speed(57.0, -0.9 / K, AIR, ARROW, power(1.0)) == pytest.approx(570.0, rel=1e-9)
    with pytest.raises(FlatFireError):
        carry_speed(57.0, -1.1 / K, AIR, ARROW, power(1.0))


def test_a_law_without_a_number_is_refused():
    with pytest.raises(FlatFireError, match="drag area"):
        carry_speed(57.0, 1.0, AIR, ARROW, lambda flow, arrow: np.full_like(flow.airspeed, np.nan))


@pytest.mark.parametrize("way", [0.5, 8.0, 20.0, 90.0])
def test_time_and_drop_are_their_integrals(way):
    # t = integral of dx / v; y'' = -g / v^2, so drop = integral of (X - x) g / v^2.
    time = quad(lambda x: 1 / flat_fire_speed(57.0, K, x), 0, way, epsrel=1e-13)[0]
    drop = quad(lambda x: (way - x) * 9.80665 / flat_fire_speed(57.0, K, x) ** 2, 0, way)[0]
    assert flat_fire_time(57.0, K, way) == pytest.approx(time, rel=1e-12)
    assert flat_fire_drop(57.0, K, way) == pytest.approx(drop, rel=1e-12)


def test_time_and_drop_without_drag_are_those_in_vacuum():
    assert flat_fire_time(50.0, 0.0, 25.0) == 0.5
    assert flat_fire_drop(50.0, 0.0, 25.0) == pytest.approx(9.80665 / 8, rel=1e-15)


def test_drop_joins_where_the_series_ends():
    k = 0.05 / (2 * 20.0)
    below, above = flat_fire_drop(57.0, np.array([k * (1 - 1e-9), k * (1 + 1e-9)]), 20.0)
    assert above == pytest.approx(below, rel=1e-9)
    assert above > below


def test_flat_fire_time_is_near_that_of_a_real_flight():
    # 57 m/s, Cd 2.0, 5.5 mm, 20 g over 18 m: 0.32008462 s at 1.58 deg (computed with an
    # 8th-order integrator); flat fire leaves out 1 / cos(1.58 deg) and little else.
    assert flat_fire_time(57.0, K, 18.0) == pytest.approx(0.32008462, rel=5e-4)
