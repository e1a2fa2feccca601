"""Where a point of the path is seen over the sight."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.core.flight.geometry import seen_over_sight


@given(
    st.floats(-0.05, 0.2),
    st.floats(0.5, 1.2),
    st.floats(1.0, 90.0),
    st.floats(-3, 3),
    st.floats(-3, 3),
)
def test_seen_over_the_sight_is_a_central_projection(angle, radius, distance, up, right):
    """The line from the eye to the point, cut with the pin's plane, from the pin: vectors."""
    line = np.array([np.cos(angle), np.sin(angle), 0.0])
    pin = np.array([radius / np.cos(angle), 0.0, 0.0])
    point = np.array([distance, up, right])
    there = point * radius / (point @ line)
    expected = (there - pin) @ np.array([-np.sin(angle), np.cos(angle), 0.0])
    above, aside = seen_over_sight(
        np.array([distance]), np.array([up]), np.array([right]), angle, radius
    )
    assert above[0] == pytest.approx(expected, abs=1e-9)
    assert aside[0] == pytest.approx(there[2], abs=1e-9)


def test_the_aim_point_is_seen_at_the_pin():
    above, aside = seen_over_sight(np.array([40.0]), np.zeros(1), np.zeros(1), 0.03, 0.85)
    assert (above[0], aside[0]) == pytest.approx((0.0, 0.0), abs=1e-15)
