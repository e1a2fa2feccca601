"""The ground under the path: closed forms and inverses."""

import numpy as np
import pytest
from clearance_setups import NOCK_LEAD, TARGET, shot_of
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.core.flight.aim import aim
from arrowloft.core.path.clearance import Loosed
from arrowloft.core.path.ground import Ground, Upright


def test_level_ground_under_a_level_line_of_sight():
    """Eye and aim point at one height: heights above ground are heights above the eye's feet."""
    ground = Ground.under(0.0, 50.0, 1.6, 1.6)
    distances, up = np.array([10.0, 30.0]), np.array([0.3, -0.4])
    assert ground.height(distances, up) == pytest.approx(1.6 + up)
    assert ground.up(20.0, 0.9) == pytest.approx(0.9 - 1.6)


def test_a_stand_over_level_ground():
    """Six metres up, aiming down at sin = -5 / 25: the ground is level, 6 m below the eye."""
    slope = np.arcsin(-5.0 / 25.0)
    ground = Ground.under(slope, 25.0, 6.0, 1.0)
    n = ground.up(12.0, 0.7)
    y = 12.0 * np.sin(slope) + n * np.cos(slope)
    assert y == pytest.approx(-6.0 + 0.7)
    # A face of 60 cm hangs square to the line of sight: its lower edge 0.3 cos(slope) lower.
    edge = ground.height(np.array([25.0]), np.array([-0.3]))[0]
    assert edge == pytest.approx(1.0 - 0.3 * np.cos(slope))


@given(
    st.floats(-1.0, 1.0),
    st.floats(10.0, 80.0),
    st.floats(0.02, 0.98),
    st.floats(0.0, 5.0),
    st.floats(-0.4, 0.4),
)
def test_height_and_up_are_inverse(slope, target, share, height, rise):
    ground = Ground.under(slope, target, 1.6, 1.1, ((0.4 * target, rise), (0.7 * target, -rise)))
    distance = share * target
    up = ground.up(distance, height)
    found = ground.height(np.array([distance]), np.array([up]))[0]
    assert found == pytest.approx(height, abs=1e-9)


def test_the_ground_passes_below_eye_aim_point_and_rise():
    slope = 0.6
    ground = Ground.under(slope, 40.0, 1.6, 1.1, ((25.0, 0.5),))
    heights = ground.height(np.array([0.0, 25.0, 40.0]), np.zeros(3))
    assert heights == pytest.approx([1.6, 1.6 + (1.1 - 1.6) * 25.0 / 40.0 - 0.5, 1.1])


def test_ground_that_stands_upright_is_refused():
    with pytest.raises(Upright):
        Ground.under(0.0, 1.0, 30.0, 1.0)
    with pytest.raises(Upright):
        Ground.under(-1.0, 20.0, 30.0, 0.0)
    with pytest.raises(Upright):
        Ground.under(0.0, 40.0, 1.6, 1.6, ((10.0, 0.0), (10.1, 5.0)))


def test_a_path_over_a_rise_is_lowest_at_its_corner():
    """Points 4 m apart miss the corner at 21 m; the path is read there too."""
    ground = Ground.under(0.0, 40.0, 1.6, 1.6, ((20.0, 0.0), (21.0, 1.2), (22.0, 0.0)))
    distance = np.linspace(0.0, 40.0, 11)
    low = ground.low(distance, 0.1 + 0.0 * distance)
    assert low.height == pytest.approx(1.6 + 0.1 - 1.2)
    assert low.distance == pytest.approx(21.0)
    # Up and down 1.2 m in a metre: below 0.8 m from 20.75 m to 21.25 m.
    assert low.below(0.8) == pytest.approx((20.75, 21.25))
    assert low.below(0.4) is None
    assert low.below(5.0) == pytest.approx((0.0, 40.0))


def test_a_lowered_arrow_arrives_lower():
    shot = shot_of(slope=-0.5)
    loosed = Loosed.at(shot, TARGET, NOCK_LEAD)
    change = loosed.lowered(0.4)
    there = loosed.passes(np.array([TARGET]), change).swept.tip_up[0]
    assert there == pytest.approx(-0.4, abs=1e-6)
    assert aim(shot, TARGET).launch_angle[0] + change < loosed.launch_angle
