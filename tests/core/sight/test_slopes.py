"""Slopes: closed forms in a vacuum, identities of the level-equivalent distance, refusals."""

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from arrowloft.core.flight.aim import TooNear, aim
from arrowloft.core.flight.reach import BeyondReach, reach
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.level_marks import LevelMarks, steepness
from arrowloft.core.sight.sight import Scale, Sight, Thread
from arrowloft.core.sight.slopes import slope_table

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
G = 9.80665
SLOPES = np.radians([-60.0, -25.0, -1.0, 0.0, 1.0, 25.0, 60.0])
DISTANCES = np.array([70.0, 18.0, 40.0])
SIGHT = Sight(
    radius=0.86,
    zero_distance=30.0,
    elevation=Thread(travel_per_turn=0.0012, clicks_per_turn=12),
    scale=Scale(reading_at_zero=30.0, travel_per_unit=0.001),
)


def nothing(flow, arrow):
    """No drag."""
    return np.zeros(flow.airspeed.shape)


def friction_like(flow, arrow):
    """A smooth law that depends on speed."""
    reynolds = np.maximum(flow.reynolds(arrow.shaft_diameter), 1.0)
    return cross_section(arrow) * (1.2 + 110.0 / np.sqrt(reynolds))


def cornered(flow, arrow):
    """A corner in mid-flight of a slow arrow, at Reynolds number 2.02e4."""
    reynolds = flow.reynolds(arrow.shaft_diameter)
    return cross_section(arrow) * (1.4 + 3e-4 * np.maximum(reynolds - 2.02e4, 0.0))


def shot_of(law=friction_like, **changes):
    values = {
        "launch_speed": 57.0,
        "arrow": Arrow(mass=0.020, shaft_diameter=0.0055),
        "drag": law,
        "air": AIR,
        "peep_height": 0.115,
        "kinks": (),
    }
    return Shot(**{**values, **changes})


LONG = {"tip_lead": 0.3, "launch_forward": 0.9}
WINDY = {**LONG, "wind_speed": 6.0, "wind_from": 0.7}


def vacuum_height(angle, slope, distance, speed, below=0.0):
    """Where an arrow crosses the plane at `distance`, without drag (exact, derived).

    s = s0 + v cos a t - g sin(slope) t^2 / 2, n = n0 + v sin a t - g cos(slope) t^2 / 2, from
    (s0, n0) = below (sin a, -cos a).
    """
    along, pull = speed * np.cos(angle), G * np.sin(slope)
    way = distance - below * np.sin(angle)
    time = 2.0 * way / (along + np.sqrt(along**2 - 2.0 * pull * way))
    return -below * np.cos(angle) + speed * np.sin(angle) * time - G * np.cos(slope) * time**2 / 2


def level_angle(distance, speed):
    """sin(2 a) = g R / v^2 on the level, from the eye (exact, derived)."""
    return 0.5 * np.arcsin(G * distance / speed**2)


def test_launch_angles_in_a_vacuum() -> None:
    """Published, exact: sin(2 a + s) = sin s + g R cos^2 s / v^2, the start at the eye."""
    table = slope_table(shot_of(nothing, peep_height=0.0), DISTANCES, SLOPES)
    right = np.sin(table.slope) + G * table.distance * np.cos(table.slope) ** 2 / 57.0**2
    expected = 0.5 * (np.arcsin(right) - table.slope)
    assert table.launch_angle == pytest.approx(expected, abs=1e-11)


def test_the_level_distance_in_a_vacuum() -> None:
    """x = v^2 sin(2 a) / g, the level's own closed form turned round (derived)."""
    table = slope_table(shot_of(nothing, peep_height=0.0), DISTANCES, SLOPES)
    expected = 57.0**2 * np.sin(2.0 * table.launch_angle) / G
    assert table.level_distance == pytest.approx(expected, abs=1e-7)
    assert table.cut == pytest.approx(table.distance - expected, abs=1e-7)


def test_what_the_two_rules_miss_by_in_a_vacuum() -> None:
    table = slope_table(shot_of(nothing, peep_height=0.0), DISTANCES, SLOPES)
    flat = table.distance * np.cos(table.slope)
    assert table.horizontal_distance == pytest.approx(flat, rel=1e-14)
    for found, at in ((table.horizontal_up, flat), (table.slant_up, table.distance)):
        expected = vacuum_height(level_angle(at, 57.0), table.slope, table.distance, 57.0)
        assert found == pytest.approx(expected, abs=1e-9)


def test_the_horizontal_rule_hits_low_uphill_and_high_downhill() -> None:
    """In a vacuum by -R a^2 tan s, to the next order in the small angle a (derived)."""
    slopes = np.radians([-30.0, 30.0])
    table = slope_table(
        shot_of(nothing, peep_height=0.0, launch_speed=90.0), np.array([40.0]), slopes
    )
    expected = -40.0 * table.launch_angle**2 * np.tan(slopes)
    assert table.horizontal_up == pytest.approx(expected, rel=0.08)
    assert table.horizontal_up[0] > 0.009 > -0.009 > table.horizontal_up[1]


def test_the_eye_above_the_arrow_makes_the_rule_hit_high_both_ways() -> None:
    """A start h below the eye adds h (1 / cos s - 1), the mean of up and down (derived)."""
    slopes = np.radians([-40.0, 40.0])

    def rule(below):
        shot = shot_of(nothing, peep_height=below, launch_speed=90.0)
        return slope_table(shot, np.array([25.0]), slopes).horizontal_up

    added = rule(0.12) - rule(0.0)
    assert added.mean() == pytest.approx(0.12 * (1.0 / np.cos(slopes[0]) - 1.0), rel=0.01)
    assert added.min() > 0.03
    for found, slope in zip(rule(0.12), slopes, strict=True):
        level = shot_of(nothing, peep_height=0.12, launch_speed=90.0)
        mark = aim(level, 25.0 * np.cos(slope)).launch_angle[0]
        assert found == pytest.approx(vacuum_height(mark, slope, 25.0, 90.0, 0.12), abs=1e-9)


def test_drag_tells_up_from_down_by_a_little() -> None:
    up, down = slope_table(
        shot_of(**LONG), np.array([50.0]), np.radians([30.0, -30.0])
    ).level_distance
    assert 0.5 < up - down < 5.0


@pytest.mark.parametrize("changes", [{}, LONG, WINDY, {"drag": cornered, "kinks": (2.02e4,)}])
def test_a_level_shot_is_its_own_equivalent(changes) -> None:
    distances = np.array([2.0, 5.0, 8.7, 9.0, 30.0, 90.0])
    table = slope_table(shot_of(**changes), distances, np.array([0.0]))
    assert np.array_equal(table.level_distance, distances)
    assert not table.cut.any()
    assert table.horizontal_up == pytest.approx(np.zeros(6), abs=2e-8)
    assert table.slant_up == pytest.approx(np.zeros(6), abs=2e-8)


@pytest.mark.parametrize("changes", [{}, LONG, WINDY])
def test_slopes_next_to_none_cut_next_to_nothing_on_either_branch(changes) -> None:
    """The solved equivalents, not the level row's own, meet the level from both sides."""
    distances = np.array([2.0, 5.0, 7.0, 14.0, 30.0, 90.0])
    table = slope_table(shot_of(**changes), distances, np.array([-1e-8, 1e-8]))
    assert table.level_distance == pytest.approx(table.distance, abs=1e-4)


EVERY_LAW = {"smooth": (friction_like, ()), "cornered": (cornered, (2.02e4,))}


@pytest.mark.parametrize(("law", "kinks"), EVERY_LAW.values(), ids=EVERY_LAW)
@pytest.mark.parametrize("changes", [{}, LONG, WINDY, {"launch_speed": 45.0}])
def test_the_level_distance_has_the_same_mark(law, kinks, changes) -> None:
    """Null exactly where the angle is less than the least that any level distance needs."""
    shot = shot_of(law, **{**changes, "kinks": kinks})
    distances = np.concatenate((np.linspace(2.0, 16.0, 15), [30.0, 60.0]))
    table = slope_table(shot, distances, np.radians([-45.0, -10.0, 5.0, 50.0]))
    least = minimize_scalar(
        lambda x: aim(shot, x).launch_angle[0], bounds=(1.5, 30.0), options={"xatol": 1e-7}
    ).fun
    known = np.isfinite(table.level_distance)
    assert np.array_equal(known, table.launch_angle >= least)
    assert 5 < known.sum() < known.size
    level = aim(shot, table.level_distance[known]).launch_angle
    assert level == pytest.approx(table.launch_angle[known], abs=1e-9)


@settings(max_examples=40, deadline=None, phases=[Phase.explicit, Phase.generate])
@given(
    speed=st.floats(50.0, 110.0),
    peep=st.floats(0.0, 0.16),
    lead=st.floats(0.0, 0.4),
    forward=st.floats(0.0, 1.0),
    wind=st.floats(0.0, 12.0),
    comes_from=st.floats(0.0, 6.28),
    slope=st.floats(-1.04, 1.04),
    distance=st.floats(1.6, 60.0),
)
def test_the_same_mark_for_any_set_up(
    speed, peep, lead, forward, wind, comes_from, slope, distance
) -> None:
    """The equivalent has the row's mark, and lies on the row's side of the least angle."""
    shot = shot_of(
        launch_speed=speed,
        peep_height=peep,
        tip_lead=lead,
        launch_forward=forward,
        wind_speed=wind,
        wind_from=comes_from,
    )
    table = slope_table(shot, np.array([distance]), np.array([slope]))
    around = np.geomspace(max(forward + lead, 2.0 * peep, 0.2) + 0.11, 1.5 * distance + 10.0, 300)
    angles = aim(shot, around).launch_angle
    if np.isnan(table.level_distance[0]):
        assert table.launch_angle[0] < angles.min() + 1e-9 or table.launch_angle[0] > angles.max()
        return
    level = aim(shot, table.level_distance).launch_angle
    assert level == pytest.approx(table.launch_angle, abs=1e-9)
    steps = aim(shot.with_(slope=slope), distance * np.array([1.0, 1.0001])).launch_angle
    level = aim(shot, table.level_distance * np.array([1.0, 1.0001])).launch_angle
    # A mark too high for the near branch stands on the far one: a wind pitches the tip.
    near = table.launch_angle[0] < angles[0]
    if near and abs(steps[1] - steps[0]) > 1e-7 and abs(level[1] - level[0]) > 1e-7:
        assert (steps[1] > steps[0]) == (level[1] > level[0])


def test_marks_by_series_are_marks() -> None:
    shot = shot_of(**WINDY)
    marks = LevelMarks.over(shot, np.array([10.0, 90.0]), 0.0)
    assert marks.series is not None
    at = np.geomspace(2.1, 89.0, 77)
    angle, rate = marks.at(at)
    assert angle == pytest.approx(aim(shot, at).launch_angle, abs=1e-9)
    step = 1e-4
    change = aim(shot, at + step).launch_angle - aim(shot, at - step).launch_angle
    assert rate == pytest.approx(change / (2.0 * step), abs=1e-6)
    solved = LevelMarks(shot, marks.low, marks.high, marks.smooth, None)
    assert solved.at(at)[0] == pytest.approx(angle, abs=1e-9)
    # This rate only steers Newton's steps, but its zero is the least angle.
    assert solved.at(at)[1] == pytest.approx(rate, rel=0.03, abs=1e-6)
    assert solved.least() == pytest.approx(marks.least(), rel=1e-5)
    assert np.isnan(marks.at(np.array([1.0, 95.0]))).all()


@given(
    speed=st.floats(8.0, 90.0),
    angle=st.floats(-1.0, 1.0),
    slope=st.floats(-1.2, 1.2),
    lead=st.floats(-0.4, 0.4),
    wind=st.floats(-5.0, 5.0),
)
def test_the_steepness_is_that_of_the_tips_path(speed, angle, slope, lead, wind) -> None:
    """Tip p + l U / |U|, U = v - w, in a vacuum: dn / ds by differences over 2 ms (derived)."""
    shot = shot_of(nothing, tip_lead=lead, slope=slope, wind_speed=wind)
    pull = -G * np.array([np.sin(slope), np.cos(slope)])
    air = -wind * np.array([np.cos(slope), -np.sin(slope)])
    velocity = speed * np.array([np.cos(angle), np.sin(angle)])

    def tip(time):
        through = velocity + pull * time - air
        place = velocity * time + 0.5 * pull * time**2
        return place + lead * through / np.hypot(*through)

    along, up = tip(1e-3) - tip(-1e-3)
    found = steepness(shot, np.array([speed]), np.array([angle]))[0]
    assert found == pytest.approx(up / along, rel=1e-5, abs=1e-5)


def test_the_error_counts_either_rule_where_the_other_has_no_answer() -> None:
    near = slope_table(shot_of(**LONG), np.array([2.0]), np.radians([60.0]))
    assert np.isnan(near.horizontal_up).all() and np.isfinite(near.slant_up).all()
    assert near.position_error > 0.0
    slow = shot_of(launch_speed=40.0)
    far = slope_table(slow, np.array([1.2 * float(reach(slow).distance[0])]), np.array([-1.0]))
    assert np.isnan(far.slant_up).all() and np.isfinite(far.horizontal_up).all()
    assert far.position_error > 0.0


def test_rows_do_not_depend_on_the_table_around_them() -> None:
    shot = shot_of(**WINDY)
    table = slope_table(shot, DISTANCES, SLOPES, SIGHT)
    assert table.distance.tolist() == np.repeat(DISTANCES, SLOPES.size).tolist()
    assert table.slope.tolist() == SLOPES.tolist() * 3
    for row in (0, 5, 12):
        one = slope_table(shot, table.distance[[row]], table.slope[[row]], SIGHT)
        for name in (
            "launch_angle",
            "travel",
            "horizontal_up",
            "slant_up",
            "drift",
            "level_distance",
        ):
            found, alone = getattr(table, name)[row], getattr(one, name)[0]
            assert alone == pytest.approx(found, abs=2e-8, nan_ok=True), name


def test_the_sight_counts_from_the_level_mark_of_its_zero() -> None:
    table = slope_table(shot_of(), np.array([30.0, 50.0]), np.array([0.3, 0.0]), SIGHT)
    zero = aim(shot_of(), 30.0).launch_angle[0]
    assert table.travel == pytest.approx(
        0.86 * (np.tan(table.launch_angle) - np.tan(zero)), abs=1e-10
    )
    assert table.travel[1] == pytest.approx(0.0, abs=1e-10)
    assert table.travel[0] < -1e-4 < 0.0 < table.travel[2]
    assert table.turns == pytest.approx(table.travel / 0.0012)
    assert np.array_equal(table.clicks, np.rint(table.turns * 12))
    assert table.reading == pytest.approx(30.0 + table.travel / 0.001)
    bare = slope_table(shot_of(), DISTANCES, SLOPES)
    assert bare.travel is bare.turns is bare.clicks is bare.reading is None


def test_no_rule_where_the_horizontal_distance_is_too_near() -> None:
    table = slope_table(shot_of(**LONG), np.array([2.0, 4.0]), np.radians([60.0, 0.0]))
    assert np.isnan(table.horizontal_up).tolist() == [True, False, False, False]
    assert np.isfinite(table.slant_up).all()


@pytest.mark.parametrize("peep", [-0.1, 0.0, 0.2, 0.5])
def test_the_nearest_distances_are_answered_whatever_the_peep_height(peep) -> None:
    shot = shot_of(peep_height=peep)
    table = slope_table(shot, np.array([1.0, 2.0, 30.0]), np.radians([-60.0, 30.0]))
    assert np.isfinite(table.slant_up).all()
    known = np.isfinite(table.level_distance)
    assert known[:4].all() or peep <= 0.0
    assert aim(shot, table.level_distance[known]).launch_angle == pytest.approx(
        table.launch_angle[known], abs=1e-9
    )


def test_downhill_reaches_where_no_level_mark_does() -> None:
    shot = shot_of(launch_speed=40.0)
    farthest = float(reach(shot).distance[0])
    table = slope_table(shot, np.array([1.2 * farthest, 60.0]), np.array([-1.0]))
    assert np.isnan(table.slant_up).tolist() == [True, False]
    assert np.isfinite(table.horizontal_up).all()
    assert aim(shot, table.level_distance).launch_angle == pytest.approx(
        table.launch_angle, abs=1e-9
    )


def test_refusals_name_the_rows() -> None:
    shot = shot_of(**LONG)
    slopes = np.array([0.0, 0.9])
    uphill = float(reach(shot.with_(slope=0.9)).distance[0])
    with pytest.raises(BeyondReach) as beyond:
        slope_table(shot, np.array([30.0, uphill + 5.0, 20.0]), slopes)
    assert beyond.value.lanes == (3,)
    assert beyond.value.farthest == pytest.approx(uphill)
    with pytest.raises(TooNear) as near:
        slope_table(shot, np.array([30.0, 1.1]), slopes)
    assert near.value.lanes == (2, 3)
    zeroed_near = Sight(radius=0.86, zero_distance=1.1)
    with pytest.raises(TooNear) as near:
        slope_table(shot, np.array([30.0, 20.0]), slopes, zeroed_near)
    assert near.value.lanes == (4,)
