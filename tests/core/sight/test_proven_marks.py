"""Proven marks: they are met, the zero is one of them, and what lies between and beyond."""

from dataclasses import replace

import numpy as np
import pytest
from scale_setups import SIGHT, shot_of

from arrowloft.core.flight.reach import BeyondReach
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.printed_scale import sight_scale
from arrowloft.core.sight.proven_marks import NO_CORRECTION, Correction, ProvenMarks, prove


def proof(distances, off, sight=SIGHT):
    """Marks so much off their prediction, m."""
    at = np.array(distances)
    travel = mark_table(shot_of(), sight, at).travel + np.array(off)
    return prove(shot_of(), sight, ProvenMarks(distance=at, travel=travel))


# --- marks -------------------------------------------------------------------------------


def test_a_scale_goes_through_its_marks_whatever_the_prediction_is():
    at = np.array([24.0, 45.0, 47.0, 66.0])
    marks = ProvenMarks(distance=at, travel=np.array([0.0032, 0.0191, 0.0203, 0.0377]))
    found = prove(shot_of(), SIGHT, marks)
    assert found.residual == pytest.approx(np.zeros(4), abs=1e-15)
    scale = sight_scale(shot_of(), SIGHT, np.append(20.0, at), found.correction)
    assert scale.travel == pytest.approx(np.append(0.0, marks.travel), abs=1e-9)


def test_marks_as_predicted_change_nothing():
    found = proof([16.0, 38.0, 85.0], [0.0, 0.0, 0.0])
    assert found.correction.at(np.linspace(10.0, 90.0, 50)) == pytest.approx(0.0, abs=1e-10)
    assert found.foretold.airspeed_range[0] == pytest.approx(
        mark_table(shot_of(), SIGHT, np.array([85.0])).speed[0], rel=1e-5
    )


def test_the_prediction_at_the_marks_knows_its_uncertainty():
    at = np.array([20.0, 60.0])
    doubts = {"speed_uncertainty": 0.7, "drag_uncertainty": 0.2}
    marks = ProvenMarks(distance=at, travel=np.array([0.0, 0.03]))
    found = prove(shot_of(), replace(SIGHT, pins=(30.0, 900.0)), marks, **doubts)
    wanted = mark_table(shot_of(), SIGHT, at, **doubts).travel_uncertainty
    assert found.foretold.travel_uncertainty == pytest.approx(wanted, rel=1e-3, abs=1e-9)


def test_lanes_beyond_reach_count_marks_then_the_zero():
    slow = shot_of(launch_speed=20.0)
    marks = ProvenMarks(distance=np.array([22.0, 90.0]), travel=np.array([0.01, 0.1]))
    with pytest.raises(BeyondReach) as raised:
        prove(slow, SIGHT, marks)
    assert raised.value.lanes == (1,)
    near = ProvenMarks(distance=np.array([22.0]), travel=np.array([0.01]))
    with pytest.raises(BeyondReach) as raised:
        prove(slow, replace(SIGHT, zero_distance=90.0), near)
    assert raised.value.lanes == (1,)


# --- the zero distance -------------------------------------------------------------------


def test_one_far_mark_leaves_the_zero_and_is_reached_in_a_line():
    found = proof([60.0], [2e-3])
    at = np.array([10.0, 20.0, 30.0, 50.0, 60.0, 90.0])
    wanted = [0.0, 0.0, 0.5e-3, 1.5e-3, 2e-3, 2e-3]
    assert found.correction.at(at) == pytest.approx(np.array(wanted), abs=1e-12)
    assert found.zero_shift == 0.0
    assert found.misfit == pytest.approx(np.array([2e-3]), abs=1e-15)


@pytest.mark.parametrize("zero, points", [(20.0, [20, 30, 50]), (40.0, [30, 40, 50]),
                                          (60.0, [30, 50, 60])])  # fmt: skip
def test_the_zero_takes_its_place_among_the_marks(zero, points):
    found = proof([30.0, 50.0], [1e-3, 2e-3], replace(SIGHT, zero_distance=zero))
    assert found.correction.distance.tolist() == points
    assert found.correction.at(np.array([zero]))[0] == pytest.approx(0.0, abs=1e-15)
    assert found.residual == pytest.approx(np.zeros(2), abs=1e-15)


@pytest.mark.parametrize("apart, own", [(0.0, True), (5e-7, True), (-5e-7, True), (2e-6, False)])
def test_the_zeros_own_mark_holds_as_it_is_given(apart, own):
    found = proof([20.0 + apart, 60.0], [0.7e-3, 2.7e-3])
    assert found.correction.distance.size == (2 if own else 3)
    assert found.zero_shift == pytest.approx(0.7e-3 if own else 0.0, abs=1e-9)
    wanted = [0.0, 2e-3] if own else [0.7e-3, 2.7e-3]
    assert found.misfit == pytest.approx(np.array(wanted), abs=1e-9)
    if own:
        assert found.correction.at(np.array([40.0]))[0] == pytest.approx(1.7e-3, abs=1e-9)


def test_the_zeros_mark_alone_shifts_all():
    found = proof([20.0], [-0.4e-3])
    at = np.array([5.0, 20.0, 80.0])
    assert found.correction.at(at) == pytest.approx(np.full(3, -0.4e-3), abs=1e-15)


# --- corrections -------------------------------------------------------------------------


def test_without_points_nothing_is_added():
    assert NO_CORRECTION.at(np.array([5.0, 50.0])).tolist() == [0.0, 0.0]


def test_between_two_points_a_line_and_beyond_them_what_they_have():
    correction = Correction(distance=np.array([30.0, 50.0]), added=np.array([1e-3, -3e-3]))
    at = np.array([5.0, 30.0, 35.0, 40.0, 50.0, 51.0, 200.0])
    wanted = [1e-3, 1e-3, 0.0, -1e-3, -3e-3, -3e-3, -3e-3]
    assert correction.at(at) == pytest.approx(np.array(wanted), abs=1e-17)


def test_between_three_points_the_monotone_cubic():
    """Derived: slopes 2 ab / (a + b) in the middle, (3 a - b) / 2 at the end, for secants a, b;
    halfway a Hermite cubic is (y0 + y1) / 2 + h (m0 - m1) / 8."""
    correction = Correction(distance=np.array([20.0, 30.0, 40.0]), added=np.array([0.0, 1.0, 4.0]))
    a, b = 0.1, 0.3
    middle, end = 2 * a * b / (a + b), max(0.0, (3 * a - b) / 2)
    wanted = 0.5 + 10 * (end - middle) / 8
    assert correction.at(np.array([25.0]))[0] == pytest.approx(wanted, abs=1e-12)
    many = correction.at(np.linspace(20.0, 40.0, 400))
    assert (np.diff(many) >= 0.0).all()


def test_a_level_stretch_between_points_stays_level():
    correction = Correction(
        distance=np.array([20.0, 30.0, 40.0, 50.0]), added=np.array([0.0, 2e-3, 2e-3, 5e-3])
    )
    assert correction.at(np.linspace(30.0, 40.0, 9)) == pytest.approx(np.full(9, 2e-3), abs=1e-17)
