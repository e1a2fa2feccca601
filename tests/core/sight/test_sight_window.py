"""The sight's window: exact counting, spans that end on its edges, moves and their rounding."""

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import reach
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.sight import Sight, Thread
from arrowloft.core.sight.sight_window import (
    Brought,
    Curve,
    Search,
    Step,
    Window,
    brought,
    joined,
    searched,
    shifts_after,
    without,
)

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
CLICKS = Thread(travel_per_turn=0.0013, clicks_per_turn=12)
SIGHT = Sight(radius=0.84, zero_distance=18.0, elevation=CLICKS)
ROWS = np.array([18.0, 25.0, 40.0, 55.0, 70.0, 90.0])
FEW = settings(max_examples=12, deadline=None, phases=[Phase.explicit, Phase.generate])


def steady(flow, arrow):
    return 1.8 * cross_section(arrow) + np.zeros(flow.airspeed.shape)


def cornered(flow, arrow):
    """A law with a corner that flights of 78 m/s pass on their way."""
    reynolds = flow.reynolds(arrow.shaft_diameter)
    return cross_section(arrow) * (1.4 + 3e-4 * np.maximum(reynolds - 2.8e4, 0.0))


def shot_of(**changes):
    values = {
        "launch_speed": 78.0,
        "arrow": Arrow(mass=0.0245, shaft_diameter=0.0056, balance_point=0.41),
        "drag": steady,
        "air": AIR,
        "peep_height": 0.118,
        "launch_forward": 0.9,
        "tip_lead": 0.31,
        "kinks": (),
    }
    return Shot(**{**values, **changes})


def curve_of(shot=None, search=None, distances=ROWS):
    shot = shot or shot_of()
    ends = searched(shot, search or Search(), distances)
    return Curve.of(shot, SIGHT, distances, ends, ends)


def travels(shot, *distances):
    """Travel at distances by the ordinary mark table."""
    return mark_table(shot, SIGHT, np.array(distances)).travel


steps = st.builds(
    Step,
    turns=st.floats(-50, 50),
    clicks=st.integers(-500, 500),
    length=st.floats(-0.1, 0.1),
)


@given(st.lists(steps, max_size=8), st.randoms())
def test_there_and_back_leaves_exactly_nothing(moves: list[Step], random) -> None:
    back = [Step(turns=-m.turns, clicks=-m.clicks, length=-m.length) for m in moves]
    both = moves + back
    random.shuffle(both)
    assert (0.0, *shifts_after(both, CLICKS))[-1] == 0.0


def test_clicks_make_turns_and_steps_add_up() -> None:
    """Twelve clicks undo one turn exactly, though a twelfth of it is no exact float."""
    assert shifts_after([Step(turns=1), Step(clicks=-12)], CLICKS) == (0.0013, 0.0)
    assert shifts_after([Step(turns=2, clicks=6), Step(length=-0.001)], CLICKS) == pytest.approx(
        (0.00325, 0.00225), rel=1e-15
    )
    for step, thread in (
        (Step(turns=1), None),
        (Step(clicks=1), None),
        (Step(clicks=1), Thread(travel_per_turn=0.001)),
    ):
        with pytest.raises(ValueError, match="need a thread"):
            shifts_after([step], thread)


def test_a_shift_moves_both_edges_down_and_a_mark_up_in_the_sight() -> None:
    window = Window(top=-0.002, bottom=0.030)
    assert window.shifted(0.005).edges == pytest.approx((0.003, 0.035), abs=1e-15)
    assert window.shifted(0.005).shifted(0.0) == window
    assert window.shifted(0.005).place("middle") == pytest.approx(
        0.014
    )  # in the sight, whatever its shift
    held = window.shifted(0.005).holds(np.array([0.0029, 0.003, 0.035, 0.0351]))
    assert held.tolist() == [False, True, True, False]


@FEW
@given(
    top=st.floats(-0.01, 0.02),
    width=st.floats(0.001, 0.06),
    shift=st.floats(-0.01, 0.04),
    slope=st.sampled_from([0.0, 0.5, -0.7]),
    law=st.sampled_from([steady, cornered]),
    wind=st.sampled_from([0.0, 6.0]),
)
def test_spans_end_on_the_windows_edges(top, width, shift, slope, law, wind) -> None:
    """Ends have the edge's travel, by aims of their own; and every mark inside fits."""
    kinks = () if law is steady else (2.8e4,)
    shot = shot_of(slope=slope, drag=law, kinks=kinks, wind_speed=wind, wind_from=0.6)
    curve = curve_of(shot, Search(nearest=4.0, farthest=110.0))
    window = Window(top=top, bottom=top + width)
    windows = [window, window.shifted(shift)]
    probes = np.geomspace(4.0, 110.0, 150)
    marks = travels(shot, *probes)
    for window, spans in zip(windows, curve.spans(windows), strict=True):
        ends = [end for span in spans for end in span if end not in (4.0, 110.0)]
        if ends:
            found = travels(shot, *ends)
            edges = np.array(window.edges)
            assert np.abs(found[:, None] - edges).min(axis=1).max() < 1e-7
        fits = window.holds(marks)
        inside = np.array([any(a <= d <= b for a, b in spans) for d in probes])
        near_end = np.array([any(abs(d - e) < 1e-3 for e in ends) for d in probes])
        # A window that just takes in the flattest mark may differ by its rounding.
        graze = np.abs(marks[:, None] - np.array(window.edges)).min(axis=1) < 1e-7
        assert (fits == inside)[~near_end & ~graze].all()


@pytest.mark.parametrize("edge", [150.0, 190.0, 196.9])
def test_edges_close_to_the_reach_are_mended(edge: float) -> None:
    """A slow bow's marks run away there, and the curve's spline alone misses by 1e-5 m."""
    shot = shot_of(launch_speed=55.0)
    curve = curve_of(shot, Search(nearest=2.0, farthest=200.0))
    at = float(travels(shot, edge)[0])
    (span,) = curve.spans([Window(top=at - 0.02, bottom=at)])[0]
    assert travels(shot, span[1])[0] == pytest.approx(at, abs=1e-7)
    assert span[1] == pytest.approx(edge, abs=1e-5)


def test_one_window_may_have_two_spans_about_the_flattest_mark() -> None:
    """Marks nearer than the flattest come down again: a window below it has both sides."""
    shot = shot_of()
    near, flat, far = travels(shot, 4.0, 12.0, 40.0)
    assert near > flat < far
    curve = curve_of(shot, Search(nearest=2.0, farthest=100.0))
    level = 0.5 * (flat + float(travels(shot, 18.0)[0]))
    low, high = curve.spans([Window(top=level, bottom=float(travels(shot, 60.0)[0]))])[0]
    assert low[1] < 12.0 < high[0]
    assert high[1] == pytest.approx(60.0, abs=1e-4)


def test_the_housing_cuts_the_far_end() -> None:
    curve = curve_of()
    window = Window(top=-0.01, bottom=0.05)
    lowest = float(travels(shot_of(), 52.0)[0])
    (span,) = curve.spans([window], lowest)[0]
    assert span[1] == pytest.approx(52.0, abs=1e-4)
    assert curve.spans([window], -0.02) == [[]]


def test_a_window_by_its_distances_shows_all_between() -> None:
    """From 20 m on its edges are those marks; from nearer, the flattest mark is its top."""
    shot = shot_of()
    curve = curve_of(shot, Search(nearest=3.0, farthest=120.0))

    def window(near: float, far: float) -> Window:
        ends = travels(shot, near, far)
        return curve.window_of((near, float(ends[0])), (far, float(ends[1])))

    assert window(20.0, 60.0).edges == tuple(travels(shot, 20.0, 60.0))
    assert curve.spans([window(20.0, 60.0)])[0][-1] == pytest.approx((20.0, 60.0), abs=1e-4)
    low, high = curve.spans([window(5.0, 60.0)])[0][0]
    assert low <= 5.0 + 1e-4
    assert high == pytest.approx(60.0, abs=1e-4)
    least = travels(shot, *np.linspace(5.0, 30.0, 3000)).min()
    assert window(5.0, 60.0).top == pytest.approx(least, abs=1e-8)


@given(exact=st.floats(-0.05, 0.05), place=st.sampled_from([None, "middle", "top", "bottom"]))
def test_whole_clicks_stay_inside(exact: float, place: str | None) -> None:
    """Position after = asked + remaining: at the top not above, at the bottom not below."""
    move = brought(exact, CLICKS, place)
    click = 0.0013 / 12
    assert move.clicks is not None
    assert move.made == pytest.approx(move.clicks * click, abs=1e-15)
    assert move.made + move.remaining == pytest.approx(exact, abs=1e-15)
    slack = 1e-6 * click + 1e-15
    if place == "top":
        assert -slack <= move.remaining < click
    elif place == "bottom":
        assert -click < move.remaining <= slack
    else:
        assert abs(move.remaining) <= 0.5 * click + slack


def test_without_clicks_nothing_is_rounded() -> None:
    plain = Thread(travel_per_turn=0.0013)
    assert brought(0.0026, plain) == Brought(
        exact=0.0026, turns=2.0, clicks=None, made=0.0026, remaining=0.0
    )
    bare = brought(0.0026, None, "top")
    assert (bare.turns, bare.clicks, bare.made, bare.remaining) == (None, None, 0.0026, 0.0)


@pytest.mark.parametrize("remaining", [5e-5, -4e-5])
@pytest.mark.parametrize("changes", [{}, {"slope": -0.4, "wind_speed": 6.0, "wind_from": 1.0}])
def test_rounding_moves_the_impact_as_the_flight_does(remaining: float, changes) -> None:
    """The pin stands `remaining` too high: the arrow's line is that much flatter (derived)."""
    shot = shot_of(**changes)
    aimed = aim(shot, ROWS)
    move = Brought(exact=0.0, turns=None, clicks=0, made=-remaining, remaining=remaining)
    flatter = np.arctan(np.tan(aimed.launch_angle) - remaining / SIGHT.radius)
    flown = impacts(shot, flatter, ROWS).up
    assert move.rise(SIGHT.radius, aimed) == pytest.approx(flown, rel=0.01)
    assert (np.sign(flown) == -np.sign(remaining)).all()


def test_the_search_keeps_to_what_the_shot_allows() -> None:
    assert searched(shot_of(), Search(), ROWS) == (5.0, 200.0)
    assert searched(shot_of(), Search(), np.array([3.0, 210.0])) == (3.0, 210.0)
    assert searched(shot_of(), Search(nearest=9.0, farthest=80.0), ROWS) == (9.0, 80.0)
    low, high = searched(shot_of(launch_speed=25.0), Search(), np.array([18.0]))
    assert low == 5.0
    assert 18.0 < high < 25.0**2 / 9.8  # the reach in vacuum, level
    assert searched(shot_of(launch_speed=7.0), Search(), np.array([2.0]))[0] > 1.31


@pytest.mark.parametrize("speed", [35.0, 50.0])
@pytest.mark.parametrize("slope", [0.0, 0.5])
@pytest.mark.parametrize("law", [steady, cornered])
def test_the_search_ends_at_nine_tenths_of_the_reach(speed, slope, law) -> None:
    """Or at 200 m; its shortcuts, without a law's corners, leave 1e-4 of that."""
    kinks = () if law is steady else (1.5e4,)
    shot = shot_of(launch_speed=speed, slope=slope, drag=law, kinks=kinks)
    expected = min(200.0, 0.9 * float(reach(shot).distance[0]))
    assert searched(shot, Search(), ROWS[:1])[1] == pytest.approx(expected, rel=1e-4)


def test_spans_joined_and_taken_away() -> None:
    assert joined([(1.0, 2.0), (2.0, 3.0), (4.0, 4.000001), (5.0, 6.0)]) == [(1.0, 3.0), (5.0, 6.0)]
    assert without([(1.0, 5.0), (7.0, 9.0)], [(2.0, 3.0), (4.0, 8.0)]) == [
        (1.0, 2.0),
        (3.0, 4.0),
        (8.0, 9.0),
    ]
    assert without([(1.0, 5.0)], [(0.0, 6.0)]) == []
    assert without([(1.0, 5.0)], []) == [(1.0, 5.0)]
