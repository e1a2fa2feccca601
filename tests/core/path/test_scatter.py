"""How arrows scatter on their way: normal tails, counted arrows, the corridor."""

import numpy as np
import pytest
from clearance_setups import ENVELOPE, NOCK_LEAD, PLANES, TARGET, patch, shot_of
from scipy.special import ndtr

from arrowloft.core.archer.groups import Group
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.path.clearance import Loosed
from arrowloft.core.path.patches import margins
from arrowloft.core.path.scatter import Scatter, corridor, touch_chance

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
