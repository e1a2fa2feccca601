"""Spans of fixed pins: closed forms without drag, edges flown to, what a zone can and cannot do."""

from itertools import pairwise

import numpy as np
import pytest
from clearance_setups import none, shot_of, steady
from hypothesis import given, settings
from hypothesis import strategies as st

from arrowloft.core.flight.aim import TooNear, aim, nearest_aim
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import BeyondReach, Unsolved, reach
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.sight.pins import (
    FARTHEST,
    Paths,
    farthest_searched,
    nearest_searched,
    pin_spans,
)
from arrowloft.core.sight.sight_window import NEAR_REACH

SPEED, GRAVITY = 60.0, 9.80665
EDGE = 1e-4
"""How well an edge is known, m."""


def from_the_eye(**changes):
    """Without drag, loosed from the eye: H(x) = x tan(a) - k x^2, k = g / (2 v^2 cos^2 a)."""
    members = {"launch_speed": SPEED, "peep_height": 0.0, "launch_forward": 0.0, "tip_lead": 0.0}
    return shot_of(none, **members | changes)


def mark_of(distance):
    """sin(2 a) = g x / v^2, the low angle (closed form)."""
    return 0.5 * np.arcsin(GRAVITY * distance / SPEED**2)


def crossings(distance, height):
    """Where the parabola of a mark is at a height, m: none, or the near and the far one."""
    angle = mark_of(distance)
    bend = GRAVITY / (2.0 * (SPEED * np.cos(angle)) ** 2)
    under = np.tan(angle) ** 2 - 4.0 * bend * height
    if under < 0.0:
        return []
    return [(np.tan(angle) + sign * np.sqrt(under)) / (2.0 * bend) for sign in (-1.0, 1.0)]


def one(shot, pin, zone, near=None, far=None):
    """The spans of one pin, and the one that holds it."""
    found = pin_spans(shot, np.array([float(pin)]), zone, near, far)
    own = found.own[0]
    return found.spans[0], None if own is None else found.spans[0][own]


# --- without drag (exact, derived) ------------------------------------------------------------


@pytest.mark.parametrize("pin", [12.0, 30.0, 55.0])
def test_the_marks_angle(pin):
    found = pin_spans(from_the_eye(), np.array([pin]), 0.2)
    assert found.aimed.launch_angle[0] == pytest.approx(mark_of(pin), abs=1e-10)


def test_an_arc_inside_the_zone_makes_one_span():
    """At 20 m the arc is 14 cm high."""
    spans, own = one(from_the_eye(), 20.0, 0.4, 1.0, 60.0)
    assert spans == [own]
    assert own == (1.0, pytest.approx(crossings(20.0, -0.2)[1], abs=EDGE))


@pytest.mark.parametrize(("pin", "zone"), [(40.0, 0.2), (60.0, 0.5), (55.0, 0.06)])
def test_an_arc_taller_than_the_zone_makes_two(pin, zone):
    rises, falls = crossings(pin, 0.5 * zone)
    spans, own = one(from_the_eye(), pin, zone, 0.2, 80.0)
    assert len(spans) == 2
    assert spans[0] == (0.2, pytest.approx(rises, abs=EDGE))
    beyond = crossings(pin, -0.5 * zone)[1]
    assert spans[1] == own == (pytest.approx(falls, abs=EDGE), pytest.approx(beyond, abs=EDGE))


@pytest.mark.parametrize(("more", "spans"), [(1e-4, 1), (-1e-4, 2)])
def test_a_zone_as_tall_as_twice_the_arc_just_holds_it(more, spans):
    """The arc is (v sin a)^2 / 2g high (closed form)."""
    top = (SPEED * np.sin(mark_of(35.0))) ** 2 / (2.0 * GRAVITY)
    assert len(one(from_the_eye(), 35.0, 2.0 * (top + more), 0.5, 60.0)[0]) == spans


def test_a_pin_close_to_the_archer_has_its_distance_on_the_way_up():
    """Loosed under the eye it rises through the line of sight, and comes down far behind."""
    shot = from_the_eye(peep_height=0.12)
    spans, own = one(shot, 3.0, 0.04, 1.0, 100.0)
    angle = aim(shot, 3.0).launch_angle
    assert len(spans) == 2 and own == spans[0] and own[0] < 3.0 < own[1] < spans[1][0]
    edges = np.array([*spans[0], *spans[1]])
    heights = impacts(shot, angle, edges).up
    assert heights == pytest.approx([-0.02, 0.02, 0.02, -0.02], abs=1e-6)


# --- with drag, wind and slope ----------------------------------------------------------------

WAYS = pytest.mark.parametrize(
    "changes",
    [{}, {"slope": 0.6}, {"slope": -0.9, "wind_speed": 8.0, "wind_from": 0.7}],
    ids=["level", "uphill", "downhill in wind"],
)


@WAYS
def test_an_arrow_flown_to_an_edge_meets_the_zones_edge(changes):
    shot = shot_of(steady, **changes)
    pins = np.array([8.0, 24.0, 45.0, 62.0])
    found = pin_spans(shot, pins, 0.3)
    for angle, spans in zip(found.aimed.launch_angle, found.spans, strict=True):
        edges = [edge for span in spans for edge in span if found.near < edge < found.far]
        assert edges
        assert np.abs(impacts(shot, angle, np.array(edges)).up) == pytest.approx(0.15, abs=2e-7)


@WAYS
def test_inside_is_inside_and_outside_is_outside(changes):
    shot = shot_of(steady, **changes)
    pins = np.array([5.0, 18.0, 33.0, 58.0])
    found = pin_spans(shot, pins, 0.25, 2.0, 70.0)
    way = np.linspace(2.0, 70.0, 120)
    for angle, spans in zip(found.aimed.launch_angle, found.spans, strict=True):
        held = np.abs(impacts(shot, angle, way).up) <= 0.125
        said = np.any([(first <= way) & (way <= last) for first, last in spans], axis=0)
        assert np.array_equal(held, said)


def bent(flow, arrow):
    """A steep ramp that the arrow's speed passes on the way."""
    share = np.clip((flow.reynolds(arrow.shaft_diameter) - 2.4e4) / 1e2, 0.0, 1.0)
    return (1.2 + 2.0 * share) * cross_section(arrow)


def test_edges_hold_for_a_law_with_kinks():
    shot = shot_of(bent, kinks=(2.4e4, 2.41e4))
    pins = np.array([30.0, 50.0, 75.0])
    found = pin_spans(shot, pins, 0.2, 2.0, 90.0)
    assert found.position_error < 1e-5
    for angle, spans in zip(found.aimed.launch_angle, found.spans, strict=True):
        edges = np.array([spans[0][1], *spans[-1]])
        missed = np.abs(np.abs(impacts(shot, angle, edges[edges > 2.0]).up) - 0.1)
        assert missed.max() <= found.position_error


def test_single_flights_are_no_farther_off_a_path_than_said():
    """Between the planes flown to, where a law with kinks leaves a series most."""

    def ramp(flow, arrow):
        share = np.clip((flow.reynolds(arrow.shaft_diameter) - 2.2e4) / 2e3, 0.0, 1.0)
        return (1.2 + share) * cross_section(arrow)

    shot = shot_of(ramp, kinks=(2.2e4, 2.4e4))
    angle = aim(shot, np.array([60.0])).launch_angle
    path = Paths.flown(shot, angle, 2.0, np.array([90.0]))
    number = np.linspace(-1.0, 1.0, 401)
    arrows = np.zeros(number.size, dtype=np.intp)
    met = impacts(shot, angle, path.distance(arrows, number))
    assert np.abs(path.points(arrows, number) - met.up).max() <= path.error < 1e-6


@settings(max_examples=25, deadline=None)
@given(
    pin=st.floats(2.0, 60.0),
    zone=st.floats(0.01, 1.0),
    taller=st.floats(1.0, 3.0),
    slope=st.floats(-1.0, 1.0),
)
def test_a_taller_zone_shortens_no_span(pin, zone, taller, slope):
    shot = shot_of(steady, slope=slope)
    small, _ = one(shot, pin, zone, 1.5, 70.0)
    large, _ = one(shot, pin, zone * taller, 1.5, 70.0)
    for first, last in small:
        assert any(a - 1e-6 <= first and last <= b + 1e-6 for a, b in large)


@settings(max_examples=25, deadline=None)
@given(pin=st.floats(1.6, 120.0), zone=st.floats(0.005, 2.0), wind=st.floats(0.0, 10.0))
def test_a_pins_own_distance_is_in_its_own_span(pin, zone, wind):
    shot = shot_of(steady, wind_speed=wind)
    spans, own = one(shot, pin, zone)
    assert own is not None and own[0] - 1e-6 <= pin <= own[1] + 1e-6
    assert all(last < first for (_, last), (first, _) in pairwise(spans))


# --- where it is looked ------------------------------------------------------------------------


def test_it_is_looked_from_as_near_as_can_be_aimed_to_150_m():
    found = pin_spans(shot_of(steady), np.array([30.0]), 0.2)
    assert found.near == nearest_searched(shot_of(steady)) == pytest.approx(1.24)
    assert found.far == FARTHEST


def test_under_a_high_eye_it_is_looked_from_twice_its_height():
    shot = shot_of(steady, launch_forward=0.0, tip_lead=0.0)
    assert float(nearest_aim(shot)) < 0.2
    assert nearest_searched(shot) == pytest.approx(0.232)


def test_a_weak_bow_is_followed_to_a_share_of_its_reach():
    weak = shot_of(steady, launch_speed=30.0)
    assert farthest_searched(weak) == pytest.approx(
        NEAR_REACH * float(reach(weak).distance[0]), rel=1e-6
    )
    assert pin_spans(weak, np.array([20.0]), 0.2).far == farthest_searched(weak)
    far = 0.97 * float(reach(weak).distance[0])
    assert pin_spans(weak, np.array([20.0, far]), 0.2).far == far


def test_a_pin_that_was_not_searched_has_no_span_of_its_own():
    spans, own = one(shot_of(steady), 50.0, 0.2, 2.0, 30.0)
    assert own is None
    assert spans and spans[0][0] == 2.0


def test_a_pin_nearer_than_the_search_may_have_nothing():
    spans, own = one(shot_of(steady), 20.0, 0.2, 50.0, 60.0)
    assert (spans, own) == ([], None)


@pytest.mark.parametrize(("near", "far"), [(20.0, 40.0), (5.0, 20.0)])
def test_a_pin_at_an_end_of_the_search_is_in_it_though_units_round_apart(near, far):
    for pin in (np.nextafter(20.0, 0.0), 20.0, np.nextafter(20.0, 90.0)):
        own = one(shot_of(steady), pin, 0.2, near, far)[1]
        assert own is not None and 20.0 in own
    assert one(shot_of(steady), near - 0.01, 0.2, near, far)[1] is None


def test_a_span_may_end_with_the_search():
    spans, own = one(shot_of(steady), 40.0, 0.2, 38.0, 41.0)
    assert spans == [own] == [(38.0, 41.0)]


def test_refusals_count_pins_then_ends():
    shot = shot_of(steady)
    limit = float(reach(shot).distance[0])
    with pytest.raises(TooNear) as near:
        pin_spans(shot, np.array([30.0, 1.0]), 0.2, 1.1)
    assert near.value.lanes == (1, 2)
    with pytest.raises(BeyondReach) as beyond:
        pin_spans(shot, np.array([30.0, limit + 1.0]), 0.2, 2.0, limit + 2.0)
    assert beyond.value.lanes == (1, 2)
    assert beyond.value.farthest == pytest.approx(limit)


def test_an_arrow_that_never_comes_there_is_refused():
    """Uphill, a flat shot turns back before a plane that its own mark would reach."""
    steep = shot_of(none, slope=1.0, launch_speed=20.0)
    with pytest.raises(Unsolved):
        Paths.flown(steep, np.array([0.0]), 2.0, np.array([30.0]))


def test_the_flight_to_a_pin_behind_the_search_counts_too():
    shot = from_the_eye()
    found = pin_spans(shot, np.array([60.0]), 0.2, 1.0, 10.0)
    assert found.airspeed_range[0] == pytest.approx(SPEED * np.cos(mark_of(60.0)), abs=0.02)


def test_errors_and_airspeeds():
    shot = from_the_eye()
    found = pin_spans(shot, np.array([20.0, 60.0]), 0.2, 1.0, 70.0)
    assert 0.0 < found.position_error < 1e-6
    # Fastest as it is loosed; slowest at the top of the higher arc: v cos(a) (closed form).
    assert found.airspeed_range == pytest.approx((SPEED * np.cos(mark_of(60.0)), SPEED), rel=1e-3)
