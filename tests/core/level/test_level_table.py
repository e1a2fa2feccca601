"""A level that is off: what its false roll does to impacts."""

import math

import numpy as np
import pytest
from cant_setups import (
    FEW,
    shot_of,
)

from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.reach import BeyondReach, reach
from arrowloft.core.level import spirit_level
from arrowloft.core.level.roll_series import rolled
from arrowloft.core.level.spirit_level import false_roll, level_table


def test_a_level_that_is_off_rolls_the_bow():
    """Each row is the shift of its false roll, aimed and flown at its slope."""
    slopes, off = np.radians([-30.0, 0.0, 25.0]), np.radians([1.0, 2.0])
    found = level_table(shot_of(), slopes, FEW, *off)
    assert found.slope == pytest.approx(np.repeat(slopes, 3))
    assert found.distance == pytest.approx(np.tile(FEW, 3))
    for index, slope in enumerate(slopes):
        shot, rows = shot_of(slope=slope), slice(3 * index, 3 * index + 3)
        angle = aim(shot, FEW).launch_angle
        roll = false_roll(*off, np.full(3, slope), angle)
        assert found.false_roll[rows] == pytest.approx(roll, abs=1e-12)
        right, up = rolled(shot, FEW).shift(np.asarray(roll)[:, None])
        assert found.right[rows] == pytest.approx(right[:, 0], abs=2e-7)
        assert found.up[rows] == pytest.approx(up[:, 0], abs=2e-7)
    assert found.false_roll[3] == pytest.approx(math.radians(1.0), abs=1e-2)
    assert found.right[3] > 0.0


def test_a_true_level_shifts_nothing():
    found = level_table(shot_of(wind_speed=5.0, wind_from=1.0), np.array([0.3]), FEW, 0.0, 0.0)
    assert not found.right.any()
    assert not found.up.any()


def test_level_refuses_the_row_beyond_reach():
    with pytest.raises(BeyondReach) as beyond:
        level_table(shot_of(), np.array([0.0, 0.9]), np.array([20.0, 215.0]), 0.01, 0.0)
    assert beyond.value.lanes == (3,)
    assert beyond.value.case == 1


def test_level_is_refused_by_its_steepest_slope_alone(monkeypatch):
    """Else each row beyond reach is searched for by itself, which takes seconds."""
    lanes = []

    def counting(shot, distance):
        lanes.append(np.size(distance))
        return aim(shot, distance)

    monkeypatch.setattr(spirit_level, "aim", counting)
    slopes, distances = np.radians([10.0, 50.0, -20.0]), np.linspace(20.0, 215.0, 60)
    with pytest.raises(BeyondReach) as beyond:
        level_table(shot_of(), slopes, distances, 0.01, 0.0)
    assert sum(lanes) == 1
    assert beyond.value.case == 1
    uphill = shot_of(slope=slopes[1])
    assert beyond.value.farthest == pytest.approx(float(reach(uphill).distance[0]))
    past = 60 + np.flatnonzero(distances > beyond.value.farthest)
    assert beyond.value.lanes == tuple(past)
