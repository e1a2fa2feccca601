"""What the arrow passes: closed forms first, then identities, then brute force."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr

from arrowloft.core import clear_targets as module
from arrowloft.core.aim import aim
from arrowloft.core.aimed import LEVER_LEAST
from arrowloft.core.air import Air
from arrowloft.core.clear_targets import NEAR_REACH, clear_targets, farthest_target
from arrowloft.core.clearance import Loosed
from arrowloft.core.equipment import Arrow
from arrowloft.core.flow import cross_section
from arrowloft.core.geometry import seen_over_sight
from arrowloft.core.ground import Ground, Upright
from arrowloft.core.groups import Group
from arrowloft.core.impacts import impacts
from arrowloft.core.patches import Patches, margins
from arrowloft.core.reach import Unsolved, reach
from arrowloft.core.scatter import Scatter, corridor, touch_chance
from arrowloft.core.shot import Shot

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
ENVELOPE = 0.0128
NOCK_LEAD = -0.4
TARGET = 54.0
PLANES = np.array([4.0, 17.0, 33.0, 52.0])


def steady(flow, arrow):
    return 1.9 * cross_section(arrow) + 0.0 * flow.airspeed


def none(flow, arrow):
    return 0.0 * flow.airspeed


def shot_of(law=steady, **changes):
    members = {
        "launch_speed": 68.0,
        "arrow": Arrow(mass=0.0224, shaft_diameter=0.0056),
        "drag": law,
        "kinks": (),
        "air": AIR,
        "peep_height": 0.116,
        "launch_forward": 0.84,
        "tip_lead": 0.3,
    }
    return Shot(**{**members, **changes})


def patch(bottom=-np.inf, top=np.inf, left=-np.inf, right=np.inf):
    lanes = np.broadcast_arrays(*(np.atleast_1d(np.float64(v)) for v in (bottom, top, left, right)))
    return Patches(bottom=lanes[0], top=lanes[1], left=lanes[2], right=lanes[3])


# --- passing planes ----------------------------------------------------------------------


def test_parabola_in_a_vacuum():
    """Balance point on y = x tan - g x^2 / (2 v^2 cos^2); tip and nock ahead along v."""
    shot = shot_of(none)
    loosed = Loosed.at(shot, TARGET, NOCK_LEAD)
    angle, speed = loosed.launch_angle, 68.0
    found = loosed.passes(PLANES)
    start = 0.84 * np.array([np.cos(angle), np.sin(angle)])
    start += 0.116 * np.array([np.sin(angle), -np.cos(angle)])
    for lead, up in ((0.3, found.swept.tip_up), (NOCK_LEAD, found.swept.nock_up)):
        for plane, height in zip(PLANES, up, strict=True):
            time = 0.0
            for _ in range(60):  # fixed point: the time at which the end is in the plane
                v = speed * np.array([np.cos(angle), np.sin(angle)]) - [0.0, 9.80665 * time]
                time = (plane - lead * v[0] / np.hypot(*v) - start[0]) / v[0]
            y = start[1] + speed * np.sin(angle) * time - 0.5 * 9.80665 * time**2
            assert height == pytest.approx(y + lead * v[1] / np.hypot(*v), abs=2e-7)
    assert not found.swept.tip_right.any() and not found.swept.nock_right.any()


def test_the_lever_is_the_derivative_of_the_height():
    loosed = Loosed.at(shot_of(slope=0.4), TARGET, NOCK_LEAD)
    step = 2e-3
    higher, lower = (loosed.passes(PLANES, s).swept.tip_up for s in (step, -step))
    assert loosed.passes(PLANES).lever == pytest.approx((higher - lower) / (2 * step), rel=1e-4)
    at_target = loosed.passes(np.array([TARGET]))
    assert at_target.swept.tip_up[0] == pytest.approx(0.0, abs=1e-6)
    assert at_target.lever[0] == pytest.approx(loosed.aimed.lever[0], rel=0.02)


def test_an_aim_known_worse_is_passed_on_by_the_lever():
    loosed = Loosed.at(shot_of(slope=0.4), TARGET, NOCK_LEAD)
    worse = replace(loosed, aimed=replace(loosed.aimed, error=loosed.aimed.error + 1e-3))
    one, other = loosed.passes(PLANES), worse.passes(PLANES)
    assert other.error - one.error == pytest.approx(1e-3 * np.abs(one.lever), rel=1e-9)
    assert np.all(one.error > float(loosed.aimed.error[0]) * np.abs(one.lever))


def test_the_nocks_error_counts_where_the_tip_is_still_on_the_line():
    """A plane that the tip has passed before the launch, exactly known, the nock flies to."""
    loosed = Loosed.at(shot_of(), TARGET, NOCK_LEAD)
    plane, angle = np.array([0.8]), loosed.launch_angle
    tip = impacts(loosed.shot, angle, plane)
    nock = impacts(loosed.shot.with_(tip_lead=NOCK_LEAD), angle, plane)
    assert tip.error[0] == 0.0 < nock.error[0] and nock.time[0] > 0.0
    certain = replace(loosed, aimed=replace(loosed.aimed, error=np.zeros(1)))
    assert certain.passes(plane).error[0] == pytest.approx(nock.error[0], rel=0.5, abs=0.0)


def test_near_the_reach_the_lever_is_held_at_its_least():
    """There the impact hardly rises with the angle: a scatter or a change must not divide by it."""
    shot = shot_of(launch_speed=34.0)
    target = float(reach(shot).distance[0]) * (1.0 - 1e-5)
    loosed = Loosed.at(shot, target, NOCK_LEAD)
    assert abs(loosed.at_target.lever[0]) < 0.5 * LEVER_LEAST * target
    assert loosed.lever == LEVER_LEAST * target


@pytest.mark.parametrize("slope", [0.0, -0.7])
def test_mirrored_wind_mirrors_the_margins(slope):
    there = shot_of(slope=slope, wind_speed=6.0, wind_from=1.1)
    back = there.with_(wind_from=-1.1)
    one, other = (Loosed.at(s, TARGET, NOCK_LEAD).passes(PLANES) for s in (there, back))
    left = patch(bottom=-0.2, left=-0.5, right=-0.06)
    right = patch(bottom=-0.2, left=0.06, right=0.5)
    a, b = margins(one.swept, left, ENVELOPE), margins(other.swept, right, ENVELOPE)
    assert a == pytest.approx(b, abs=1e-9)
    assert not np.allclose(a, margins(one.swept, right, ENVELOPE), atol=1e-3)  # wind matters


# --- over the sight ----------------------------------------------------------------------


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


# --- targets that are clear ----------------------------------------------------------------

OBSTACLES = {
    "branch": (21.0, {"bottom": 0.45}),
    "hedge": (30.0, {"top": 0.35}),
    "gate bar": (25.0, {"bottom": 0.5, "top": 0.62}),
    "trunk": (35.0, {"right": -0.2}),
    "trunk in the wind's way": (35.0, {"right": -0.075}),
    "near the bow": (0.6, {"top": -0.1}),
    "twig": (28.0, {"bottom": 0.7003, "top": 0.7005}),
}


def spans_of(shot, names=tuple(OBSTACLES), farthest=110.0, **changes):
    boxes = [{**OBSTACLES[name][1], **changes} for name in names]
    unbounded = {"bottom": -np.inf, "top": np.inf, "left": -np.inf, "right": np.inf}
    patches = patch(
        **{side: np.array([box.get(side, unbounded[side]) for box in boxes]) for side in unbounded}
    )
    way = np.array([OBSTACLES[name][0] for name in names])
    return clear_targets(shot, NOCK_LEAD, way, patches, 0.0028, farthest), way, patches


@pytest.mark.parametrize(
    "shot",
    [shot_of(), shot_of(slope=-0.6, wind_speed=6.0, wind_from=1.3)],
    ids=["level", "down, windy"],
)
def test_spans_are_those_of_a_scan_of_targets(shot):
    search, way, patches = spans_of(shot)
    kinds = set()
    for row in range(way.size):
        first, last = search.nearest[row], search.farthest[row]
        for target in (first, *np.geomspace(first, last, 90)[1:-1], last):
            swept = Loosed.at(shot, float(target), NOCK_LEAD).passes(way[row : row + 1]).swept
            space = margins(swept, patches.take(np.array([row])), 0.0028)[0]
            inside = any(a <= target <= b for a, b in search.spans[row])
            assert inside == (space > 0.0) or abs(space) < 1e-6
            kinds.add(inside)
    assert kinds == {True, False}


def test_one_span_ends_and_another_begins_at_a_bar_between():
    search, way, patches = spans_of(shot_of(), ("gate bar",))
    (first, second) = search.spans[0]
    for target in (first[1], second[0]):
        swept = Loosed.at(shot_of(), target, NOCK_LEAD).passes(way).swept
        assert margins(swept, patches, 0.0028)[0] == pytest.approx(0.0, abs=2e-6)


def test_however_coarsely_a_span_is_ended_it_ends_clear(monkeypatch):
    """Stopped on the grid, steps of a few decimetres, before the changes of sign are halved."""
    names = ("branch", "hedge", "gate bar")
    exact, way, patches = spans_of(shot_of(), names)
    monkeypatch.setattr(module, "HALVINGS", 0)
    coarse, _, _ = spans_of(shot_of(), names)
    inner = 0
    for row, spans in enumerate(coarse.spans):
        for span, true in zip(spans, exact.spans[row], strict=True):
            assert true[0] <= span[0] < span[1] <= true[1]
            for target, end in zip(span, true, strict=True):
                if target in (coarse.nearest[row], coarse.farthest[row]):
                    continue
                inner += 1
                assert abs(target - end) > 1e-3
                swept = Loosed.at(shot_of(), target, NOCK_LEAD).passes(way[row : row + 1]).swept
                assert margins(swept, patches.take(np.array([row])), 0.0028)[0] > 1e-5
    assert inner == 4


def test_a_search_says_what_its_series_leave_out_and_refuses_too_much(monkeypatch):
    """Fewer knots leave out more; the end of a span is off by no more, turned into a margin."""
    misses = []
    for knots in (24, 10, 8):
        monkeypatch.setattr(module, "KNOTS", (knots,))
        search, way, patches = spans_of(shot_of(), ("branch",))
        swept = Loosed.at(shot_of(), search.spans[0][-1][1], NOCK_LEAD).passes(way).swept
        missed = abs(float(margins(swept, patches, 0.0028)[0]))
        assert 0.0 < missed <= search.error + 1e-7  # and what the flights themselves miss
        misses.append((missed, search.error))
    assert misses[0][1] < 1e-5 < misses[-1][1] < module.WORST
    monkeypatch.setattr(module, "KNOTS", (4,))
    with pytest.raises(Unsolved):
        spans_of(shot_of(), ("branch",))


def test_a_twig_thinner_than_a_step_of_the_search_is_not_missed():
    """The search steps 7 mm of height at this twig; every position of it must show."""
    shot = shot_of()
    for bottom in np.linspace(0.70, 0.715, 16):
        search, _, _ = spans_of(shot, ("twig",), bottom=bottom, top=bottom + 1e-4)
        assert len(search.spans[0]) == 2, bottom


def test_a_higher_branch_never_takes_a_target_away():
    shot = shot_of(slope=0.5, wind_speed=4.0, wind_from=0.8)
    ends = [spans_of(shot, ("branch",), bottom=b)[0].spans[0][-1][1] for b in (0.3, 0.4, 0.6)]
    assert ends == sorted(ends)
    assert ends[0] < ends[-1]


def test_a_search_of_arrows_aimed_off_ends_before_their_own_reach():
    """Turned into a strong cross wind, an arrow falls short of where it would drift to."""
    shot = shot_of(launch_speed=40.0, wind_speed=25.0, wind_from=1.57)
    straight, off = (farthest_target(shot, 700.0, aim_off=on) for on in (False, True))
    assert off < straight
    limit = float(reach(shot, np.ones(1, dtype=bool)).distance[0])
    assert off == pytest.approx(NEAR_REACH * limit, rel=1e-9)
    clear_targets(shot, NOCK_LEAD, np.array([20.0]), patch(top=-3.0), 0.0, off, aim_off=True)


def test_a_search_up_to_the_reach_ends_there():
    """Near the reach, where the angle rises steeply, it agrees with single aims."""
    shot = shot_of(launch_speed=34.0)
    limit = float(reach(shot).distance[0])
    farthest = farthest_target(shot, 1000.0)
    assert farthest == pytest.approx(NEAR_REACH * limit, rel=1e-9)
    assert farthest_target(shot, 60.0) == 60.0
    branch = patch(bottom=5.0)
    search = clear_targets(shot, NOCK_LEAD, np.array([20.0]), branch, ENVELOPE, farthest)
    ((_, end),) = search.spans[0]
    swept = Loosed.at(shot, end, NOCK_LEAD).passes(np.array([20.0])).swept
    assert margins(swept, branch, ENVELOPE)[0] == pytest.approx(0.0, abs=1e-5)


# --- scatter -------------------------------------------------------------------------------

GROUP = Group(distance=40.0, vertical=0.08, sideways=0.05)


def scattered(shot=None):
    loosed = Loosed.at(shot or shot_of(wind_speed=5.0, wind_from=1.2), TARGET, NOCK_LEAD)
    passage = loosed.passes(PLANES)
    return loosed, passage, Scatter.of(GROUP, loosed, passage)


def test_scatter_is_the_groups_at_the_target_and_grows_along_the_way():
    loosed, _, on_the_way = scattered()
    at_target = Scatter.of(GROUP, loosed, loosed.passes(np.array([TARGET])))
    assert at_target.vertical[0] == pytest.approx(0.08 * TARGET / 40.0, rel=1e-9)
    assert at_target.sideways[0] == pytest.approx(0.05 * TARGET / 40.0)
    assert np.all(np.diff(on_the_way.vertical) > 0.0)
    swings = [loosed.passes(PLANES, s).swept.tip_up for s in (1e-3, -1e-3)]
    at_end = [loosed.passes(np.array([TARGET]), s).swept.tip_up for s in (1e-3, -1e-3)]
    share = (swings[0] - swings[1]) / (at_end[0] - at_end[1])
    assert on_the_way.vertical == pytest.approx(0.08 / 40.0 * TARGET * share, rel=1e-4)
    # Sideways the path hardly bends away from the bow's direction.
    assert on_the_way.sideways == pytest.approx(0.05 * PLANES / 40.0, rel=0.01)


def test_sideways_scatter_is_that_of_yawed_bows():
    """Up a steep hill drag and gravity leave little of the speed: the way aside bends."""
    loosed = Loosed.at(shot_of(launch_speed=36.0, slope=0.7), 60.0, NOCK_LEAD)
    passage = loosed.passes(PLANES)
    scatter = Scatter.of(GROUP, loosed, passage)
    step = 0.01
    met = impacts(loosed.shot, loosed.launch_angle, np.append(PLANES, 60.0), yaw=step)
    share = met.right[:-1] / met.right[-1]
    assert scatter.sideways == pytest.approx(0.05 / 40.0 * 60.0 * share, rel=1e-3)
    assert not np.allclose(scatter.sideways, 0.05 / 40.0 * PLANES, rtol=0.02)


# --- what is not known ---------------------------------------------------------------------


def test_height_uncertainty_in_a_vacuum():
    """Start at the eye, flat: h(x) = g x (R - x) / (2 v^2), so a speed off by u moves it by
    g x (R - x) u / v^3; drag plays no part."""
    shot = shot_of(none, peep_height=0.0, launch_forward=0.0, tip_lead=0.0, launch_speed=80.0)
    loosed = Loosed.at(shot, TARGET, 0.0)
    found = loosed.height_uncertainty(PLANES, 0.1, 0.3)
    assert found == pytest.approx(9.80665 * PLANES * (TARGET - PLANES) * 0.1 / 80.0**3, rel=0.01)


def test_height_uncertainty_adds_both_and_ends_at_the_proven_mark():
    loosed = Loosed.at(shot_of(wind_speed=4.0, wind_from=1.0), TARGET, NOCK_LEAD)
    both = loosed.height_uncertainty(PLANES, 0.5, 0.1)
    speed = loosed.height_uncertainty(PLANES, 0.5, 0.0)
    drag = loosed.height_uncertainty(PLANES, 0.0, 0.1)
    assert np.all(speed > 0.0) and np.all(drag > 0.0)
    assert both == pytest.approx(np.hypot(speed, drag))
    assert loosed.height_uncertainty(np.array([TARGET]), 0.5, 0.1)[0] < 1e-6
    assert not loosed.height_uncertainty(PLANES, 0.0, 0.0).any()


# --- aiming off ----------------------------------------------------------------------------


def test_an_arrow_aimed_off_meets_the_middle():
    shot = shot_of(wind_speed=6.0, wind_from=1.3)
    straight, off = (Loosed.at(shot, TARGET, NOCK_LEAD, aim_off=on) for on in (False, True))
    at_target = np.array([TARGET])
    assert straight.passes(at_target).swept.tip_right[0] == pytest.approx(straight.drift)
    assert off.passes(at_target).swept.tip_right[0] == pytest.approx(0.0, abs=1e-7)
    assert off.drift == pytest.approx(0.0, abs=1e-7)
    # On the way it is upwind, to the right, of the one that drifts.
    assert np.all(off.passes(PLANES).swept.tip_right > straight.passes(PLANES).swept.tip_right)


def test_spans_of_an_arrow_aimed_off_end_where_it_touches():
    shot = shot_of(wind_speed=6.0, wind_from=1.3)
    trunk, way = patch(left=0.01), np.array([21.0])
    search = clear_targets(shot, NOCK_LEAD, way, trunk, 0.0028, 110.0, aim_off=True)
    ends = [end for span in search.spans[0] for end in span if way[0] * 1.01 < end < 110.0]
    assert ends
    for target in ends:
        swept = Loosed.at(shot, target, NOCK_LEAD, aim_off=True).passes(way).swept
        assert margins(swept, trunk, 0.0028)[0] == pytest.approx(0.0, abs=2e-6)


def test_chance_of_one_edge_is_the_normal_tail():
    _, passage, scatter = scattered()
    _, high, leftmost, _ = passage.swept.extent
    above = touch_chance(passage.swept, patch(bottom=high + 0.1), ENVELOPE, scatter)
    assert above == pytest.approx(ndtr(-(0.1 - ENVELOPE) / scatter.vertical), rel=1e-9)
    beside = touch_chance(passage.swept, patch(right=leftmost - 0.07), ENVELOPE, scatter)
    assert beside == pytest.approx(ndtr(-(0.07 - ENVELOPE) / scatter.sideways), rel=1e-9)
    # From the other two sides: the wind lays the segment aslant, so each side has its own end.
    low, _, _, rightmost = passage.swept.extent
    assert np.all(rightmost - leftmost > 0.02) and np.all(high - low > 1e-4)
    below = touch_chance(passage.swept, patch(top=low - 0.1), ENVELOPE, scatter)
    assert below == pytest.approx(ndtr(-(0.1 - ENVELOPE) / scatter.vertical), rel=1e-9)
    beside = touch_chance(passage.swept, patch(left=rightmost + 0.07), ENVELOPE, scatter)
    assert beside == pytest.approx(ndtr(-(0.07 - ENVELOPE) / scatter.sideways), rel=1e-9)


def test_chance_counts_every_arrow_that_touches_and_few_that_do_not():
    """A hundred thousand arrows about the mean, each held against the patch by its margin."""
    rng = np.random.default_rng(5)
    _, passage, scatter = scattered()
    box = patch(bottom=passage.swept.tip_up - 0.1, top=passage.swept.tip_up - 0.03, left=0.0)
    chance = touch_chance(passage.swept, box, ENVELOPE, scatter)
    for lane_ in range(PLANES.size):
        up = rng.normal(0.0, scatter.vertical[lane_], 100_000)
        aside = rng.normal(0.0, scatter.sideways[lane_], 100_000)
        swept = passage.swept.take(slice(lane_, lane_ + 1))
        moved = type(swept)(
            tip_up=swept.tip_up + up,
            tip_right=swept.tip_right + aside,
            nock_up=swept.nock_up + up,
            nock_right=swept.nock_right + aside,
        )
        touched = np.mean(margins(moved, box.take(np.array([lane_])), ENVELOPE) <= 0.0)
        assert touched - 0.005 <= chance[lane_] <= touched + 0.05


def test_the_lane_holds_its_share():
    rng = np.random.default_rng(6)
    _, passage, scatter = scattered()
    edges = corridor(passage.swept, ENVELOPE, scatter, 0.9)
    low, high, leftmost, rightmost = passage.swept.extent
    for i in range(PLANES.size):
        up = rng.normal(0.0, scatter.vertical[i], 100_000)
        aside = rng.normal(0.0, scatter.sideways[i], 100_000)
        inside = (low[i] + up - ENVELOPE >= edges.bottom[i]) & (
            high[i] + up + ENVELOPE <= edges.top[i]
        )
        inside &= (leftmost[i] + aside - ENVELOPE >= edges.left[i]) & (
            rightmost[i] + aside + ENVELOPE <= edges.right[i]
        )
        assert np.mean(inside) == pytest.approx(0.9, abs=0.005)


def test_the_lowest_branch_is_just_touched():
    _, passage, _ = scattered()
    top = corridor(passage.swept, ENVELOPE, None, 0.95).top
    assert margins(passage.swept, patch(bottom=top), ENVELOPE) == pytest.approx(0.0, abs=1e-12)


# --- ground --------------------------------------------------------------------------------


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
