"""The false roll against vectors turned by rotation matrices, and in its closed forms."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from arrowloft.core.flight.geometry import arrow_line, rolled_vectors
from arrowloft.core.level.spirit_level import false_roll

errors = st.floats(-0.2, 0.2)
slopes = st.floats(-1.0, 1.0)
launches = st.floats(-0.1, 0.3)

ALONG, UPWARD, RIGHT = np.eye(3)


def turned(about, angle):
    """A rotation, as scipy has it: counter-clockwise seen from the arrow's head."""
    return Rotation.from_rotvec(angle * about)


def height_of_vial(second_axis, third_axis, slope, launch_angle, roll):
    """Vertical component of the vial: the bow's own turns first, then how it is held."""
    # Counter-clockwise about forward takes up to right; about up it takes right to forward.
    vial = turned(ALONG, -second_axis).apply(turned(UPWARD, third_axis).apply(RIGHT))
    held = turned(ALONG, roll) * turned(RIGHT, launch_angle)
    return held.apply(vial) @ [np.sin(slope), np.cos(slope), 0.0]


def test_turns_of_this_file_are_those_of_the_bow():
    # Pitch lifts the arrow, roll brings the top limb right; the right end of the vial goes
    # up with the second axis and forward with the third.
    assert turned(RIGHT, 0.1).apply(ALONG)[1] > 0.09
    assert turned(ALONG, 0.1).apply(UPWARD)[2] > 0.09
    assert turned(ALONG, -0.1).apply(RIGHT)[1] > 0.09
    assert turned(UPWARD, 0.1).apply(RIGHT)[0] > 0.09


@given(errors, errors, slopes, launches)
def test_vial_is_level_at_the_false_roll(second, third, slope, launch):
    roll = false_roll(second, third, slope, launch)
    assert height_of_vial(second, third, slope, launch, roll) == pytest.approx(0.0, abs=1e-15)


@given(errors, errors, slopes, launches)
def test_vial_is_level_in_the_frames_of_the_flight(second, third, slope, launch):
    roll = false_roll(second, third, slope, launch)
    forward, up = arrow_line(np.array([launch]), 0.0, roll)
    right = rolled_vectors(RIGHT[:, None], roll)
    vial = np.cos(third) * (np.cos(second) * right + np.sin(second) * up) + np.sin(third) * forward
    vertical = np.array([np.sin(slope), np.cos(slope), 0.0])
    assert vertical @ vial == pytest.approx(0.0, abs=1e-15)


@given(errors, errors, slopes, launches)
def test_root_is_the_one_near_upright(second, third, slope, launch):
    assert abs(false_roll(second, third, slope, launch)) < 0.8


@given(errors)
def test_second_axis_alone_is_the_roll_on_level_ground(second):
    assert false_roll(second, 0.0, 0.0) == pytest.approx(second, abs=1e-15)


@given(errors, slopes)
def test_second_axis_alone_is_the_roll_on_any_slope_where_the_arrow_lies_in_the_line_of_sight(
    second, slope
):
    assert false_roll(second, 0.0, slope) == pytest.approx(second, abs=1e-15)


@given(errors, slopes)
def test_third_axis_alone(third, slope):
    expected = np.tan(third) * np.tan(slope)
    assert np.sin(false_roll(0.0, third, slope)) == pytest.approx(expected, abs=1e-15)


@given(errors)
def test_third_axis_does_not_show_on_level_ground(third):
    assert false_roll(0.0, third, 0.0) == 0.0


@given(errors, st.floats(0.0, 0.3))
def test_third_axis_shows_by_the_launch_angle_on_level_ground(third, launch):
    expected = np.tan(third) * np.sin(launch)
    assert np.tan(false_roll(0.0, third, 0.0, launch)) == pytest.approx(expected, abs=1e-15)


@given(errors, slopes)
def test_up_and_down_the_slope_mirror(third, slope):
    up, down = false_roll(0.0, third, slope), false_roll(0.0, third, -slope)
    assert up == pytest.approx(-down, abs=1e-15)


@given(errors, errors, slopes, launches)
def test_errors_the_other_way_roll_the_other_way(second, third, slope, launch):
    one, other = (
        false_roll(second, third, slope, launch),
        false_roll(-second, -third, slope, launch),
    )
    assert one == pytest.approx(-other, abs=1e-15)


@given(slopes, launches)
def test_true_level_is_true(slope, launch):
    assert false_roll(0.0, 0.0, slope, launch) == 0.0


def test_uphill_a_right_end_turned_away_rolls_the_top_limb_right():
    assert false_roll(0.0, 0.02, 0.5) > 0.0


def test_arrays_broadcast():
    rolls = false_roll(0.01, np.array([0.0, 0.02])[:, None], np.array([-0.5, 0.0, 0.5]))
    assert rolls.shape == (2, 3)
    assert rolls[1, 2] == false_roll(0.01, 0.02, 0.5)


@pytest.mark.parametrize(("third", "slope"), [(0.8, 1.0), (-0.8, 1.0), (0.1, np.pi / 2)])
def test_slope_that_no_roll_makes_up_for(third, slope):
    with pytest.raises(ValueError, match="no roll"):
        false_roll(0.0, third, slope)


def test_vial_along_the_line_of_sight_reads_level_anyhow():
    # It points forward and the line of sight is level.
    assert false_roll(0.0, np.pi / 2, 0.0) == pytest.approx(0.0, abs=1e-15)
