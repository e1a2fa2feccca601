"""Printed scales: ticks by closed forms, corrected ones, and marks that turn back."""

from dataclasses import replace

import numpy as np
import pytest
from scale_setups import AIR, SIGHT, shot_of
from scipy.optimize import minimize_scalar

from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.reach import BeyondReach
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.printed_scale import TurnsBack, numbered, sight_scale
from arrowloft.core.sight.proven_marks import Correction
from arrowloft.core.sight.setup_change import setup_change

TICKS = np.arange(20.0, 70.5, 2.0)
YARD = 0.9144


def vacuum(flow, arrow):
    return np.zeros(flow.airspeed.shape)


def strip_of(scale, magnification=1.0, down=True):
    shown = np.ones(scale.travel.size, dtype=bool)
    return scale.strip("Marks", shown, magnification=magnification, down=down, numbers_right=True)


# --- ticks -------------------------------------------------------------------------------


def test_ticks_in_a_vacuum_stand_where_the_parabola_has_them():
    """From the eye, level: sin 2a = g x / v2 (Galileo); travel r (tan a - tan a0)."""
    shot = shot_of(drag=vacuum, peep_height=0.0)
    strip = strip_of(sight_scale(shot, SIGHT, TICKS), magnification=1.7)

    def tangent(distance):
        return np.tan(0.5 * np.arcsin(9.80665 * distance / 70.0**2))

    wanted = 1.7 * 0.86 * (tangent(TICKS) - tangent(20.0))
    assert strip.position == pytest.approx(wanted, abs=1e-9)
    assert strip.distance.tolist() == TICKS.tolist()


def test_up_is_down_turned_over():
    scale = sight_scale(shot_of(), SIGHT, TICKS)
    down, up = strip_of(scale, 0.8), strip_of(scale, 0.8, down=False)
    assert (down.position == -up.position).all()
    assert (np.diff(down.position) > 0).all()


def test_without_proven_marks_ticks_are_the_mark_tables_to_the_last_bit():
    scale = sight_scale(shot_of(), replace(SIGHT, pins=(30.0, 900.0)), TICKS)
    assert (scale.travel == mark_table(shot_of(), SIGHT, TICKS).travel).all()


def test_more_drag_and_colder_air_make_a_longer_scale():
    def length(**changes):
        return np.ptp(sight_scale(shot_of(**changes), SIGHT, TICKS).travel)

    cold = replace(AIR, temperature=263.15, density=1.225 * 288.15 / 263.15)
    thick = Arrow(mass=0.024, shaft_diameter=7e-3)
    assert length(drag=vacuum) < length() < length(air=cold) < length(arrow=thick)
    assert length(launch_speed=60.0) > length()


def test_zero_marks_of_two_scales_are_as_far_apart_as_a_change_of_set_up_says():
    other = shot_of(launch_speed=66.0, peep_height=0.121)
    first, second = (sight_scale(shot, SIGHT, TICKS) for shot in (shot_of(), other))
    change = setup_change(shot_of(), other, SIGHT, np.array([20.0]))
    assert first.zero_height - second.zero_height == pytest.approx(change.new_travel[0], abs=1e-9)


# --- corrected -----------------------------------------------------------------------------


def test_a_correction_is_added_to_the_travel_of_every_tick():
    correction = Correction(distance=np.array([20.0, 60.0]), added=np.array([0.0, 2e-3]))
    plain = sight_scale(shot_of(), SIGHT, TICKS)
    scale = sight_scale(shot_of(), SIGHT, TICKS, correction)
    assert (scale.ticks.travel == plain.travel).all()
    wanted = 2e-3 * np.clip((TICKS - 20.0) / 40.0, 0.0, 1.0)
    assert scale.travel - plain.travel == pytest.approx(wanted, abs=1e-15)
    assert strip_of(scale, 1.5).position == pytest.approx(1.5 * scale.travel, abs=1e-15)


# --- what cannot be printed --------------------------------------------------------------


def test_marks_turn_back_where_the_angle_is_least():
    ticks = np.arange(4.0, 30.5, 1.0)
    with pytest.raises(TurnsBack) as raised:
        sight_scale(shot_of(), SIGHT, ticks)
    found = minimize_scalar(
        lambda x: float(aim(shot_of(), np.array([x])).launch_angle[0]), bounds=(6.0, 20.0)
    )
    assert raised.value.turn == pytest.approx(found.x, abs=0.026)  # 2 m in 80 parts
    assert raised.value.turn == pytest.approx(70.0 * np.sqrt(2 * 0.11 / 9.80665), rel=0.03)
    assert raised.value.predicted and raised.value.at == 1
    with pytest.raises(TurnsBack) as raised:
        sight_scale(shot_of(), SIGHT, np.array([4.0, 6.0, 8.0]))
    assert raised.value.turn is None and raised.value.predicted
    sight_scale(shot_of(), SIGHT, ticks[ticks > found.x])


def test_marks_may_bend_the_scale_back():
    """What is added falls faster from 30 m on than the travel grows."""
    falling = Correction(distance=np.array([30.0, 50.0]), added=np.array([0.018, 0.0]))
    with pytest.raises(TurnsBack) as raised:
        sight_scale(shot_of(), SIGHT, TICKS, falling)
    assert not raised.value.predicted
    assert 30.0 <= TICKS[raised.value.at] <= 34.0


def test_lanes_beyond_reach_count_ticks_then_the_zero():
    slow, near = shot_of(launch_speed=20.0), np.array([20.0, 90.0])
    with pytest.raises(BeyondReach) as raised:
        sight_scale(slow, SIGHT, near)
    assert raised.value.lanes == (1,)
    with pytest.raises(BeyondReach) as raised:
        sight_scale(slow, replace(SIGHT, zero_distance=90.0), np.array([20.0, 25.0]))
    assert raised.value.lanes == (2,)


# --- numbers -----------------------------------------------------------------------------


def shown(distances, step, every):
    return [round(d / YARD, 3) for d in distances[numbered(distances, step, every)]]


def test_numbers_stand_on_whole_multiples_of_the_steps():
    yards = np.array([18 * YARD + i * YARD for i in range(20)])
    assert shown(yards, yards[1] - yards[0], 5) == [20, 25, 30, 35]
    twos = np.array([10 * YARD + i * (2 * YARD) for i in range(21)])
    assert shown(twos, twos[1] - twos[0], 5) == [10, 20, 30, 40, 50]
    assert shown(yards, yards[1] - yards[0], 1) == list(range(18, 38))


def test_numbers_go_from_the_first_where_no_tick_is_at_a_multiple():
    odd = YARD * (20.5 + np.arange(11.0))
    assert shown(odd, YARD, 5) == [20.5, 25.5, 30.5]
    assert shown(YARD * np.array([21.0, 22, 23]), YARD, 5) == [21]
    assert shown(YARD * np.array([20.0, 30, 37, 60, 61]), None, 2) == [20, 37, 61]
