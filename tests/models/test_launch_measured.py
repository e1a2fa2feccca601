"""Chronograph: the flight to the gate is undone, and readings carry their spread."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.plugin import Air, Arrow, Bow, LaunchCase, ParameterError, carry_speed
from arrowloft_models.launch.measured import Measured

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.78938e-5, 340.294)
ARROW = Arrow(mass=0.0273, shaft_diameter=0.0059)
AREA = 1.9 * np.pi / 4 * 0.0059**2
K = 1.225 * AREA / (2 * 0.0273)


def constant(flow, arrow):
    return np.full_like(flow.airspeed, AREA)


def reynolds_dependent(flow, arrow):
    return AREA * (flow.reynolds(arrow.shaft_diameter) / 2e4) ** -0.5


def case(drag=constant, arrow=ARROW):
    return LaunchCase(Bow(peep_height=0.115), arrow, AIR, drag)


def codes(result):
    return {note.code for note in result.notes}


@pytest.mark.parametrize("law", [constant, reynolds_dependent])
@given(reading=st.floats(30.0, 120.0), gate=st.floats(0.0, 30.0))
def test_carried_forward_to_the_gate_it_reads_the_same(law, reading, gate):
    result = Measured(speed=reading, gate_distance=gate).launch_speed(case(law))
    back = carry_speed(result.speed, gate, AIR, ARROW, law)
    assert back == pytest.approx(reading, rel=1e-11)
    assert result.speed >= reading


def test_constant_drag_is_undone_by_the_exponential():
    result = Measured(speed=84.0, gate_distance=3.0).launch_speed(case())
    assert result.speed == pytest.approx(84.0 * np.exp(3.0 * K), rel=1e-12)


def test_mean_and_spread_of_readings():
    # Mean 85, deviations -0.4, 0, 0.4: s = 0.4 (n - 1 in the divisor), s / sqrt(3).
    model = Measured(readings=np.array([84.6, 85.0, 85.4]), instrument_uncertainty=0.3)
    result = model.launch_speed(case())
    assert result.speed == pytest.approx(85.0, rel=1e-15)
    assert result.standard_uncertainty == pytest.approx((0.16 / 3 + 0.09) ** 0.5, rel=1e-12)
    assert result.figures["spread"] == (pytest.approx(0.4), "speed")
    assert result.figures["mean"] == (pytest.approx(85.0), "speed")
    assert result.figures["speed_at_gate"] == (pytest.approx(85.0), "speed")
    assert result.figures["shots"] == (3.0, "number")


def test_one_reading_counts_with_the_published_repeatability():
    """Speed repeats to 0.2 % (Tuijn and Kooi 1992, published)."""
    result = Measured(speed=85.0, instrument_uncertainty=0.0).launch_speed(case())
    assert result.standard_uncertainty == pytest.approx(0.17, rel=1e-12)
    assert result.figures == {"speed_at_gate": (85.0, "speed")}


def test_undone_drag_adds_a_quarter_of_itself():
    model = Measured(speed=85.0, gate_distance=10.0, instrument_uncertainty=0.0)
    result = model.launch_speed(case())
    growth = np.exp(10.0 * K)
    expected = 85.0 * np.hypot(0.002 * growth, 0.25 * (growth - 1))
    assert result.standard_uncertainty == pytest.approx(expected, rel=1e-9)


def test_lighter_lanes_lose_more_on_the_way():
    arrow = Arrow(mass=np.array([0.02, 0.03]), shaft_diameter=0.0059)
    speed = Measured(speed=85.0, gate_distance=5.0).launch_speed(case(arrow=arrow)).speed
    assert speed[0] > speed[1] > 85.0


def test_few_or_scattered_readings_are_noted():
    """At least 5 shots within 2 ft/s = 0.61 m/s (ASTM F1544, quoted)."""
    good = Measured(readings=np.array([85.0, 85.1, 85.2, 85.3, 85.6]))
    few = Measured(readings=np.array([85.0, 85.1, 85.2, 85.3]))
    wide = Measured(readings=np.array([85.0, 85.1, 85.2, 85.3, 85.62]))
    assert "launch-readings-scatter" not in codes(good.launch_speed(case()))
    assert "launch-readings-scatter" in codes(few.launch_speed(case()))
    assert "launch-readings-scatter" in codes(wide.launch_speed(case()))


def test_a_missing_gate_distance_is_noted():
    assert codes(Measured(speed=85.0).launch_speed(case())) == {"launch-gate-at-string"}
    assert not codes(Measured(speed=85.0, gate_distance=1.0).launch_speed(case()))


@pytest.mark.parametrize(
    "parameters",
    [{}, {"speed": 85.0, "readings": np.array([85.0, 85.2])}],
)
def test_exactly_one_of_speed_and_readings(parameters):
    with pytest.raises(ParameterError, match="exactly one") as caught:
        Measured(**parameters)
    assert caught.value.parameter == "speed"


def test_a_single_value_is_no_list_of_readings():
    with pytest.raises(ParameterError, match="two or more"):
        Measured(readings=np.array([85.0]))


def test_a_flight_that_cannot_be_undone_names_the_gate():
    def growing(flow, arrow):
        return 100 * AREA * (flow.airspeed / 85.0) ** 2

    with pytest.raises(ParameterError) as caught:
        Measured(speed=85.0, gate_distance=100.0).launch_speed(case(growing))
    assert caught.value.parameter == "gate_distance"
