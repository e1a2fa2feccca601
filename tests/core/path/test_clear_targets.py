"""Targets that are clear: searches against single aims, and what hides between them."""

import numpy as np
import pytest
from clearance_setups import ENVELOPE, NOCK_LEAD, patch, shot_of

from arrowloft.core.flight.reach import Unsolved, reach
from arrowloft.core.path import clear_targets as module
from arrowloft.core.path.clear_targets import NEAR_REACH, clear_targets, farthest_target
from arrowloft.core.path.clearance import Loosed
from arrowloft.core.path.patches import margins

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
