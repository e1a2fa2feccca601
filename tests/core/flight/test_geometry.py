"""Frames against rotation matrices written out here."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from arrowloft.core.flight.geometry import (
    arrow_line,
    gravity_vector,
    pin_height,
    rolled_vectors,
    wind_vector,
    windage_travel,
)

angles = st.floats(-1.0, 1.0)


def world_to_sight(slope):
    """Rows: along the line of sight, its upward perpendicular, right."""
    cosine, sine = np.cos(slope), np.sin(slope)
    return np.array([[cosine, sine, 0.0], [-sine, cosine, 0.0], [0.0, 0.0, 1.0]])


@given(angles)
def test_gravity_points_straight_down(slope):
    seen = world_to_sight(slope) @ [0.0, -9.8, 0.0]
    assert np.array(gravity_vector(9.8, slope)) == pytest.approx(seen, abs=1e-14)


@given(st.floats(0.0, 20.0), st.floats(0.0, 2 * np.pi), angles)
def test_wind_blows_away_from_where_it_comes(speed, blows_from, slope):
    # Clockwise from the target as seen from above: at 90 degrees stands the archer's right.
    source = np.array([np.cos(blows_from), 0.0, np.sin(blows_from)])
    seen = world_to_sight(slope) @ (-speed * source)
    assert np.array(wind_vector(speed, blows_from, slope)) == pytest.approx(seen, abs=1e-13)


@pytest.mark.parametrize(
    ("degrees", "moves"), [(0, (-1, 0, 0)), (90, (0, 0, -1)), (180, (1, 0, 0)), (270, (0, 0, 1))]
)
def test_the_four_winds(degrees, moves):
    assert np.array(wind_vector(1.0, np.radians(degrees), 0.0)) == pytest.approx(moves, abs=1e-15)


@given(angles, angles, angles)
def test_arrow_line_is_pitch_then_yaw_then_roll(angle, yaw, roll):
    # In (s, n, z): a turn of s toward n, of s toward z, of n toward z.
    pitch = Rotation.from_rotvec([0.0, 0.0, angle])
    turn = Rotation.from_rotvec([0.0, -yaw, 0.0])
    cant = Rotation.from_rotvec([roll, 0.0, 0.0])
    line, up = arrow_line(np.array([angle]), yaw, roll)
    frame = cant * turn * pitch
    assert line[:, 0] == pytest.approx(frame.apply([1.0, 0.0, 0.0]), abs=1e-14)
    assert up[:, 0] == pytest.approx(frame.apply([0.0, 1.0, 0.0]), abs=1e-14)


def test_signs_of_yaw_and_roll():
    """Positive yaw points right; positive roll tips the top limb and a high arrow right."""
    right = arrow_line(np.array([0.1]), 0.02)[0]
    assert right[2, 0] > 0.0
    line, up = arrow_line(np.array([0.1]), 0.0, 0.02)
    upright, _ = arrow_line(np.array([0.1]))
    assert up[2, 0] > 0.0
    assert line[2, 0] > 0.0
    assert line[1, 0] < upright[1, 0]


def test_rolled_keeps_lengths_and_the_line_of_sight():
    vectors = np.array([[1.0, 2.0], [0.5, -1.0], [0.25, 3.0]])
    turned = rolled_vectors(vectors, np.array([0.3, -0.2]))
    assert turned[0] == pytest.approx(vectors[0])
    assert np.linalg.norm(turned, axis=0) == pytest.approx(np.linalg.norm(vectors, axis=0))


@given(st.floats(-0.5, 0.7), st.floats(-0.2, 0.2), st.floats(0.3, 1.2), st.floats(-0.1, 0.2))
def test_the_pin_lies_on_the_line_of_sight(angle, yaw, radius, peep):
    """Derived: pin = peep-to-line, up the bow, aside; seen from the eye it is straight ahead.

    The pin is fixed to the bow: radius ahead of the eye along the arrow's line, pin_height
    above that line, windage_travel to the bow's right.
    """
    line, up = (vector[:, 0] for vector in arrow_line(np.array([angle]), yaw))
    right = np.cross(line, up)
    above_eye = pin_height(peep, radius, angle) - peep
    pin = radius * line + above_eye * up + windage_travel(radius, angle, yaw) * right
    assert pin[1:] == pytest.approx(np.zeros(2), abs=1e-14)
    assert pin[0] > 0.0


def test_pin_height_falls_as_the_angle_grows():
    assert pin_height(0.115, 0.86, 0.0) == 0.115
    assert pin_height(0.115, 0.86, np.arctan(0.1)) == pytest.approx(0.115 - 0.086)
