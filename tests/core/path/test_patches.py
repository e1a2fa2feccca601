"""Margins between a passing arrow and a patch: against brute force, and as properties."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize

from arrowloft.core.path.patches import EDGES, Patches, Swept, margins, nearest_edges

ENVELOPE = 0.003
SIZES = st.floats(-2.0, 2.0)
SEGMENTS = st.tuples(SIZES, SIZES, SIZES, SIZES)
BOXES = st.tuples(SIZES, st.floats(0.01, 2.0), SIZES, st.floats(0.01, 2.0))


def swept(tip_up, tip_right, nock_up, nock_right):
    return Swept(
        tip_up=np.atleast_1d(tip_up),
        tip_right=np.atleast_1d(tip_right),
        nock_up=np.atleast_1d(nock_up),
        nock_right=np.atleast_1d(nock_right),
    )


def patch(bottom=-np.inf, top=np.inf, left=-np.inf, right=np.inf):
    return Patches(
        bottom=np.atleast_1d(bottom),
        top=np.atleast_1d(top),
        left=np.atleast_1d(left),
        right=np.atleast_1d(right),
    )


def boxed(box):
    bottom, height, left, width = box
    return patch(bottom, bottom + height, left, left + width)


def margin(segment, rectangle, envelope=0.0):
    return float(margins(segment, rectangle, envelope)[0])


def brute(segment, rectangle, points=4001):
    """Distance from many points of the segment to the rectangle; 0 where one lies inside."""
    share = np.linspace(0.0, 1.0, points)
    up = segment.tip_up + share * (segment.nock_up - segment.tip_up)
    right = segment.tip_right + share * (segment.nock_right - segment.tip_right)
    above = up - np.clip(up, rectangle.bottom, rectangle.top)
    aside = right - np.clip(right, rectangle.left, rectangle.right)
    return float(np.sqrt(above**2 + aside**2).min())


def moved(segment, up, right):
    return swept(
        segment.tip_up + up,
        segment.tip_right + right,
        segment.nock_up + up,
        segment.nock_right + right,
    )


@given(SEGMENTS, BOXES)
def test_margin_is_the_distance_of_the_nearest_of_many_points(segment, box):
    segment, rectangle = swept(*segment), boxed(box)
    found = margin(segment, rectangle)
    # 4000 steps of at most 5.7 m; the nearest of them is off by less than half a step.
    assert max(found, 0.0) == pytest.approx(brute(segment, rectangle), abs=7.5e-4)


def test_margin_against_a_constrained_minimum():
    """A corner in the middle of a slanted segment: distance of a point from a line, derived."""
    segment = swept(0.0, 0.0, 0.3, 0.4)  # 3-4-5: direction (0.6 up, 0.8 right)
    rectangle = patch(bottom=-1.0, top=0.05, left=0.3, right=2.0)
    expected = abs(0.8 * 0.05 - 0.6 * 0.3)
    assert margin(segment, rectangle, ENVELOPE) == pytest.approx(expected - ENVELOPE, abs=1e-12)

    def squared(x):
        return (0.3 * x[0] - x[1]) ** 2 + (0.4 * x[0] - x[2]) ** 2

    found = minimize(squared, (0.5, 0.0, 0.5), bounds=((0, 1), (-1, 0.05), (0.3, 2.0)), tol=1e-14)
    assert np.sqrt(found.fun) == pytest.approx(expected, abs=1e-5)


@given(SEGMENTS, BOXES)
def test_the_depth_is_the_least_move_that_frees(segment, box):
    segment, rectangle = swept(*segment), boxed(box)
    depth = -margin(segment, rectangle)
    if depth <= 1e-6:
        return
    ways = [(-1, 0), (1, 0), (0, -1), (0, 1)]
    for up, right in ways:  # a little less frees it in no direction
        less = 0.999 * depth
        assert margin(moved(segment, up * less, right * less), rectangle) <= 1e-12
    more = depth + 1e-9
    freed = [margin(moved(segment, up * more, right * more), rectangle) for up, right in ways]
    assert max(freed) > 0.0
    edge = int(nearest_edges(segment, rectangle)[0])
    assert freed[edge] > 0.0


@given(SEGMENTS, BOXES, SEGMENTS)
def test_continuous(segment, box, change):
    """Outside it changes by no more than an end moves; inside by a bounded multiple."""
    rectangle = boxed(box)
    share = np.linspace(0.0, 1.0, 2001)
    start, way = np.array(segment), np.array(change)
    path = swept(*(start[:, None] + way[:, None] * share))
    values = margins(path, rectangle, ENVELOPE)
    step = float(np.abs(way).max()) / 2000 * np.sqrt(2.0)
    outside = values > -ENVELOPE
    both = outside[1:] & outside[:-1]
    assert np.all(np.abs(np.diff(values))[both] <= step + 1e-9)
    # From touching on, the first move inside is small too: no jump at the edge.
    entering = outside[:-1] != outside[1:]
    inner = np.where(outside[1:], values[:-1], values[1:])[entering] + ENVELOPE
    assert np.all(inner >= -60.0 * step - 1e-9)


@pytest.mark.parametrize("edge", EDGES)
def test_the_sign_changes_where_the_envelope_meets_the_edge(edge):
    """One edge alone, all else unbounded: the margin is the gap, linear through zero."""
    segment = swept(0.20, -0.01, 0.21, 0.03)
    touching = {
        "bottom": 0.21 + ENVELOPE,
        "top": 0.20 - ENVELOPE,
        "left": 0.03 + ENVELOPE,
        "right": -0.01 - ENVELOPE,
    }[edge]
    away = 1.0 if edge in ("bottom", "left") else -1.0
    for gap in (-0.02, -1e-6, 0.0, 1e-6, 0.02):
        found = margin(segment, patch(**{edge: touching + away * gap}), ENVELOPE)
        assert found == pytest.approx(gap, abs=1e-12)
        only = nearest_edges(segment, patch(**{edge: touching + away * gap}))
        assert EDGES[int(only[0])] == edge


@given(SEGMENTS, SIZES, st.floats(0.0, 1.0))
def test_a_higher_branch_is_never_less_clear(segment, bottom, raised):
    segment = swept(*segment)
    lower = margin(segment, patch(bottom=bottom, left=-0.3, right=0.4))
    higher = margin(segment, patch(bottom=bottom + raised, left=-0.3, right=0.4))
    assert higher >= lower - 1e-12


@given(SEGMENTS, BOXES)
def test_mirrored(segment, box):
    tip_up, tip_right, nock_up, nock_right = segment
    there = margin(swept(*segment), boxed(box))
    bottom, height, left, width = box
    mirrored = patch(bottom, bottom + height, -left - width, -left)
    back = margin(swept(tip_up, -tip_right, nock_up, -nock_right), mirrored)
    assert back == pytest.approx(there, abs=1e-12)


@given(SEGMENTS, BOXES)
def test_tip_and_nock_count_alike(segment, box):
    tip_up, tip_right, nock_up, nock_right = segment
    there = margin(swept(*segment), boxed(box))
    assert margin(swept(nock_up, nock_right, tip_up, tip_right), boxed(box)) == pytest.approx(
        there, abs=1e-12
    )


def test_a_point_is_a_segment_too():
    assert margin(swept(0.0, 0.0, 0.0, 0.0), patch(0.3, 1.0, 0.4, 1.0)) == pytest.approx(0.5)
    assert margin(swept(0.5, 0.5, 0.5, 0.5), patch(0.0, 2.0, 0.0, 4.0)) == pytest.approx(-0.5)


def test_many_segments_against_many_patches():
    ups = np.linspace(-1.0, 1.0, 7)
    segments = swept(ups, 0.0 * ups, ups + 0.1, 0.0 * ups + 0.05)
    rows = Patches(
        bottom=np.array([0.2, -np.inf]),
        top=np.array([np.inf, -0.1]),
        left=np.array([-np.inf, -1.0]),
        right=np.array([np.inf, 1.0]),
    )
    found = margins(segments, rows.wider(1), 0.0)
    for row in range(2):
        one = rows.take(np.array([row]))
        for lane in range(7):
            single = margin(segments.take(slice(lane, lane + 1)), one)
            assert found[row, lane] == pytest.approx(single, abs=1e-12)


@given(SEGMENTS, SEGMENTS)
def test_no_point_of_a_segment_moves_farther_than_moves_says_and_one_as_far(one, other):
    """Points of the same share of the length, end to end, from the one to the other."""
    share = np.linspace(0.0, 1.0, 11)
    from_, to = (
        np.array([ends[0] + share * (ends[2] - ends[0]), ends[1] + share * (ends[3] - ends[1])])
        for ends in (one, other)
    )
    way = np.linalg.norm(to - from_, axis=0).max()
    assert swept(*one).moves(swept(*other))[0] == pytest.approx(way, abs=1e-12)
