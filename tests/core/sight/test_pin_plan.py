"""The best pins: errors even out at the optimum, no search by brute force finds better ones."""

import numpy as np
import pytest
from clearance_setups import none, shot_of, steady
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq, brute

from arrowloft.core.flight.aim import TooNear, aim
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import BeyondReach, reach
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.sight.held_heights import HeldHeights
from arrowloft.core.sight.pin_plan import CloseToReach, best_pins, equal_steps, served

SPEED, GRAVITY = 60.0, 9.80665
EVEN = 3e-5
"""How evenly the best pins err, as a share of the error: the table of angles is that fine."""


def from_the_eye(**changes):
    """Without drag, loosed from the eye."""
    members = {"launch_speed": SPEED, "peep_height": 0.0, "launch_forward": 0.0, "tip_lead": 0.0}
    return shot_of(none, **members | changes)


def parabola(way, angle):
    """H = x tan(a) - g x^2 / (2 v^2 cos^2 a) (closed form)."""
    return way * np.tan(angle) - GRAVITY * way**2 / (2.0 * (SPEED * np.cos(angle)) ** 2)


def mark_of(distance):
    """sin(2 a) = g x / v^2, the low angle (closed form)."""
    return 0.5 * np.arcsin(GRAVITY * distance / SPEED**2)


def worst_of(marks, way):
    """Greatest error of pins with these marks, each distance shot with the best of them."""
    return np.abs([parabola(way, mark_of(mark)) for mark in marks]).min(axis=0).max()


def flown(shot, plan, way):
    """Heights of the best pins' arrows at distances, each flown by itself: (pins, distances)."""
    return np.array([impacts(shot, angle, way).up for angle in plan.launch_angle])


# --- without drag (exact, derived) ------------------------------------------------------------


@pytest.mark.parametrize(("near", "far"), [(10.0, 40.0), (30.0, 60.0), (50.0, 52.0)])
def test_one_pin_is_as_high_at_its_highest_as_it_is_low_at_the_end(near, far):
    """The highest is the top of the arc, (v sin a)^2 / 2g, or the beginning behind it."""

    def uneven(mark):
        angle = mark_of(mark)
        top = max(SPEED**2 * np.sin(2.0 * angle) / (2.0 * GRAVITY), near)
        return parabola(top, angle) + parabola(far, angle)

    mark = brentq(uneven, near, far, xtol=1e-12)
    plan = best_pins(from_the_eye(), 1, near, far)
    assert plan.mark[0] == pytest.approx(mark, abs=1e-3)
    assert plan.launch_angle[0] == pytest.approx(mark_of(plan.mark[0]), abs=1e-9)
    assert plan.service.worst[0] == pytest.approx(-parabola(far, mark_of(mark)), rel=EVEN)
    assert plan.service.spans == [[(near, far)]]
    assert not plan.rising[0]


@pytest.mark.parametrize("count", [2, 3])
@pytest.mark.parametrize(("near", "far"), [(8.0, 50.0), (35.0, 60.0)])
def test_no_search_by_brute_force_finds_better_pins(count, near, far):
    coarse, fine = np.linspace(near, far, 700), np.linspace(near, far, 40001)
    tried = 16 if count == 3 else 40
    marks = brute(worst_of, [(near, far)] * count, (coarse,), Ns=tried)
    plan = best_pins(from_the_eye(), count, near, far)
    worst = float(plan.service.worst.max())
    assert worst == pytest.approx(worst_of(plan.mark, fine), rel=1e-4)
    assert worst <= worst_of(marks, fine) * (1.0 + 1e-5)
    # The search looks at fewer distances and stops close by.
    assert worst >= worst_of(marks, fine) * 0.97


def test_equal_steps_err_as_the_parabola_says():
    for count, marks in ((1, [35.0]), (2, [20.0, 50.0]), (4, [20.0, 30.0, 40.0, 50.0])):
        plan = best_pins(from_the_eye(), count, 20.0, 50.0)
        assert plan.equal == pytest.approx(marks)
        assert np.array_equal(plan.equal, equal_steps(count, 20.0, 50.0))
        way = np.linspace(20.0, 50.0, 40001)
        expected = worst_of(marks, way)
        assert plan.equal_service.worst.max() == pytest.approx(expected, rel=1e-4)
        worst = plan.equal_service.worst_pin
        there = plan.equal_service.at[worst]
        assert abs(parabola(there, mark_of(marks[worst]))) == pytest.approx(expected, rel=1e-4)


def test_the_worst_lies_at_the_top_of_an_arc_wherever_that_is():
    """(v sin a)^2 / 2g high, at v^2 sin(2 a) / 2g (closed forms)."""
    shot, angles = from_the_eye(), mark_of(np.array([36.1, 37.0, 38.3]))
    heights = HeldHeights.flown(shot, (10.0, 39.0), (angles[0] - 1e-3, angles[-1] + 1e-3))
    for angle in angles:
        found = served(heights, np.array([angle]))
        top = SPEED**2 * np.sin(2.0 * angle) / (2.0 * GRAVITY)
        assert found.at[0] == pytest.approx(top, abs=1e-4)
        high = (SPEED * np.sin(angle)) ** 2 / (2.0 * GRAVITY)
        assert found.worst[0] == pytest.approx(high, abs=1e-8)


# --- at the optimum ---------------------------------------------------------------------------


def bent(flow, arrow):
    share = np.clip((flow.reynolds(arrow.shaft_diameter) - 2.4e4) / 1e3, 0.0, 1.0)
    return (1.4 + share) * cross_section(arrow)


SHOTS = pytest.mark.parametrize(
    "shot",
    [
        shot_of(steady),
        shot_of(steady, slope=0.7, wind_speed=5.0, wind_from=2.0),
        shot_of(bent, kinks=(2.4e4, 2.5e4)),
    ],
    ids=["level", "uphill in wind", "kinks"],
)


@SHOTS
@pytest.mark.parametrize("count", [1, 2, 5])
def test_every_pin_errs_as_much_up_as_down_and_all_alike(shot, count):
    """The minimax alternates: what lowers one error raises another."""
    plan = best_pins(shot, count, 9.0, 70.0)
    assert plan.service.worst == pytest.approx(plan.service.worst.max(), rel=EVEN)
    for pin, spans in enumerate(plan.service.spans):
        way = np.concatenate([np.linspace(*span, 1001) for span in spans])
        up = impacts(shot, plan.launch_angle[pin], way).up
        assert up.max() == pytest.approx(plan.service.worst[pin], rel=10 * EVEN)
        assert up.min() == pytest.approx(-plan.service.worst[pin], rel=10 * EVEN)


@SHOTS
def test_each_distance_is_served_once_by_the_pin_that_errs_least(shot):
    plan = best_pins(shot, 4, 5.0, 65.0)
    pieces = sorted(
        (first, last, pin) for pin, spans in enumerate(plan.service.spans) for first, last in spans
    )
    assert pieces[0][0] == 5.0 and pieces[-1][1] == 65.0
    assert [last for _, last, _ in pieces[:-1]] == [first for first, _, _ in pieces[1:]]
    for first, last, pin in pieces:
        inside = np.linspace(first, last, 9)[1:-1]
        size = np.abs(flown(shot, plan, inside))
        assert (size.argmin(axis=0) == pin).all()
        assert (size.min(axis=0) <= plan.service.worst[pin] + 2e-6).all()


@SHOTS
def test_the_worst_is_where_it_is_said(shot):
    plan = best_pins(shot, 3, 9.0, 70.0)
    up = flown(shot, plan, plan.service.at)
    assert np.abs(np.diag(up)) == pytest.approx(plan.service.worst, abs=2e-6)
    assert np.abs(up).min(axis=0) == pytest.approx(plan.service.worst, abs=2e-6)


@SHOTS
def test_pins_stand_from_the_highest_on_the_sight_down_and_are_marks(shot):
    plan = best_pins(shot, 4, 9.0, 70.0)
    assert (np.diff(plan.launch_angle) > 0.0).all()
    assert aim(shot, plan.mark).launch_angle == pytest.approx(plan.launch_angle, abs=1e-7)
    assert not plan.rising.any()


# --- close to the archer, where marks fall with distance -----------------------------------------


def test_close_to_the_archer_a_pin_is_the_mark_on_the_way_up():
    shot = shot_of(steady, launch_forward=0.2, tip_lead=0.2)
    plan = best_pins(shot, 2, 1.0, 6.0)
    assert plan.rising.all()
    assert aim(shot, plan.mark).launch_angle == pytest.approx(plan.launch_angle, abs=1e-6)
    assert (np.diff(plan.mark) < 0.0).all()  # the higher angle for the nearer
    assert plan.service.worst == pytest.approx(plan.service.worst.max(), rel=EVEN)


def test_one_pin_may_serve_near_and_far_with_another_between():
    shot = shot_of(steady, launch_forward=0.2, tip_lead=0.2)
    plan = best_pins(shot, 2, 1.5, 60.0)
    low, high = plan.service.spans
    assert len(low) == 1 and len(high) == 2
    assert high[0][0] == 1.5 and high[1][1] == 60.0
    assert high[0][1] == low[0][0] and low[0][1] == high[1][0]
    # Of the two distances for which it is the mark, the farther is told.
    assert not plan.rising[1] and plan.mark[1] > low[0][1]


def test_a_pin_with_room_to_spare_is_centred():
    """The far ones set the error; the one for the nearest need not err as much, and does not."""
    plan = best_pins(shot_of(steady, launch_forward=0.2, tip_lead=0.2), 2, 3.0, 20.0)
    assert plan.service.spans[1][0][0] == 3.0
    assert plan.service.worst[1] < 0.75 * plan.service.worst[0]


# --- what must hold whatever is asked ------------------------------------------------------------

asked = {
    "near": st.floats(2.0, 30.0),
    "longer": st.floats(2.0, 45.0),
    "count": st.integers(1, 6),
    "slope": st.floats(-1.0, 1.0),
}


@settings(max_examples=25, deadline=None)
@given(**asked)
def test_never_worse_than_equal_steps_nor_with_more_pins(near, longer, count, slope):
    shot = shot_of(steady, slope=slope)
    plan = best_pins(shot, count, near, near + longer)
    worst = plan.service.worst.max()
    assert worst <= plan.equal_service.worst.max() + 1e-7
    assert best_pins(shot, count + 1, near, near + longer).service.worst.max() <= worst + 1e-7


@settings(max_examples=25, deadline=None)
@given(**asked)
def test_a_shorter_span_is_never_harder(near, longer, count, slope):
    shot = shot_of(steady, slope=slope)
    far = near + longer
    worst = best_pins(shot, count, near, far).service.worst.max()
    for ends in ((near + 0.3 * longer, far), (near, far - 0.3 * longer)):
        assert best_pins(shot, count, *ends).service.worst.max() <= worst * (1.0 + EVEN) + 1e-7


# --- refusals -------------------------------------------------------------------------------------


def test_refusals():
    shot = shot_of(steady, launch_speed=35.0)
    limit = float(reach(shot).distance[0])
    with pytest.raises(TooNear) as near:
        best_pins(shot, 3, 1.0, 50.0)
    assert near.value.nearest == pytest.approx(1.24) and near.value.lanes == (0,)
    with pytest.raises(BeyondReach) as beyond:
        best_pins(shot, 3, 10.0, limit + 1.0)
    assert beyond.value.farthest == pytest.approx(limit)
    with pytest.raises(CloseToReach) as close:
        best_pins(shot, 3, 10.0, 0.95 * limit)
    assert close.value.farthest == pytest.approx(0.9 * limit)
    assert best_pins(shot, 3, 10.0, 0.89 * limit).far == 0.89 * limit


def test_marks_are_no_farther_off_than_said():
    """A steep ramp of the drag on the way leaves the table of heights more than an aim."""

    def steep(flow, arrow):
        share = np.clip((flow.reynolds(arrow.shaft_diameter) - 2.4e4) / 1e2, 0.0, 1.0)
        return (1.2 + 2.0 * share) * cross_section(arrow)

    shot = shot_of(steep, kinks=(2.4e4, 2.41e4))
    plan = best_pins(shot, 3, 9.0, 70.0)
    assert np.abs(aim(shot, plan.mark).launch_angle - plan.launch_angle).max() <= plan.error < 1e-6


def test_errors_and_airspeeds():
    plan = best_pins(from_the_eye(), 3, 10.0, 60.0)
    assert 0.0 < plan.position_error < 1e-5
    assert 0.0 < plan.error < 1e-6
    # The lowest mark's arrow, flown to the end as well, gains what it falls (closed form).
    fastest = np.sqrt(SPEED**2 - 2.0 * GRAVITY * parabola(60.0, mark_of(10.0)))
    assert plan.airspeed_range == pytest.approx((SPEED * np.cos(mark_of(60.0)), fastest), rel=2e-3)
