"""The sight by itself: travel, turns, clicks, readings."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.core.flight.geometry import pin_height
from arrowloft.core.sight.sight import Scale, Sight, Thread


@given(st.floats(-0.2, 0.7), st.floats(-0.2, 0.7), st.floats(0.3, 1.2))
def test_travel_is_how_far_the_pin_goes_down(zero, angle, radius):
    sight = Sight(radius=radius, zero_distance=18.0)
    down = pin_height(0.1, radius, zero) - pin_height(0.1, radius, angle)
    assert sight.travel(np.array([angle]), zero)[0] == pytest.approx(down, abs=1e-14)


def test_no_travel_from_the_zero_and_down_for_a_higher_angle():
    sight = Sight(radius=0.86, zero_distance=18.0)
    travel = sight.travel(np.array([0.05, 0.1, 0.02]), 0.05)
    assert travel[0] == 0.0
    assert travel[1] > 0.0 > travel[2]


def test_turns_and_clicks():
    thread = Thread(travel_per_turn=0.0012, clicks_per_turn=12)
    travel = np.array([0.0, 0.0012, 0.00314, -0.00314, 0.00004])
    assert thread.turns(travel) == pytest.approx([0.0, 1.0, 157 / 60, -157 / 60, 1 / 30])
    assert thread.clicks(travel).tolist() == [0.0, 12.0, 31.0, -31.0, 0.0]
    assert thread.travel_of(np.array([12.0, -31.0])) == pytest.approx([0.0012, -0.0031])


def test_clicks_of_a_tiny_upward_travel_are_plain_zero():
    """A negative zero would be printed as -0."""
    clicks = Thread(travel_per_turn=0.0012, clicks_per_turn=12).clicks(np.array([-1e-6]))
    assert not np.signbit(clicks).any()


@given(st.lists(st.floats(-0.1, 0.1), min_size=1, max_size=9), st.floats(1e-4, 3e-3))
def test_whole_clicks_are_the_nearest(travels, per_turn):
    thread = Thread(travel_per_turn=per_turn, clicks_per_turn=20)
    travel = np.array(travels)
    clicks = thread.clicks(travel)
    assert np.all(clicks == np.round(clicks))
    assert np.all(np.abs(thread.travel_of(clicks) - travel) <= per_turn / 40 * (1 + 1e-9))


def test_a_screw_without_clicks_has_turns_only():
    assert Thread(travel_per_turn=0.001).clicks(np.array([0.01])) is None


def test_readings_run_either_way():
    travel = np.array([0.0, 0.010, -0.005])
    down = Scale(reading_at_zero=30.0, travel_per_unit=0.001)
    up = Scale(reading_at_zero=30.0, travel_per_unit=0.001, increases_down=False)
    assert down.reading(travel) == pytest.approx([30.0, 40.0, 25.0])
    assert up.reading(travel) == pytest.approx([30.0, 20.0, 35.0])
