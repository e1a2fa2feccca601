"""The wind's effect: the lag rule, closed forms without drag, symmetries, what cancels it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference_setups import coefficient
from reference_setups import recurve as shot_of

from arrowloft.core.flight.aim import TooNear, aim
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import BeyondReach, reach
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.sight.sight import Sight, Thread
from arrowloft.core.sight.wind_table import wind_table

QUARTERS = np.radians([0.0, 90.0, 180.0, 270.0])
SIGHT = Sight(
    radius=0.86,
    zero_distance=18.0,
    elevation=Thread(travel_per_turn=0.0012, clicks_per_turn=12),
    windage=Thread(travel_per_turn=0.001, clicks_per_turn=10),
)
LONG = {"tip_lead": 0.3, "launch_forward": 0.9, "peep_height": 0.115}


def bent(flow, arrow):
    """A ramp of the drag between Reynolds numbers above those of the still flight, 2.15e4."""
    share = np.clip((flow.reynolds(arrow.shaft_diameter) - 2.2e4) / 2e3, 0.0, 1.0)
    return (1.5 + share) * cross_section(arrow)


def test_a_cross_wind_at_70_m() -> None:
    """0.327829 m for 5 m/s: computed from the equations by an 8th-order integrator."""
    table = wind_table(shot_of(), np.array([70.0]), np.array([5.0]), QUARTERS[[1, 3]])
    assert table.drift == pytest.approx([-0.327829, 0.327829], abs=6e-7)


@pytest.mark.parametrize("wind", [1.0, 3.0, 5.0])
def test_drift_follows_the_lag_rule(wind) -> None:
    """W (t - X / v_x0), t of the still flight: Didion; McCoy, Modern Exterior Ballistics
    (1999), quoted; for a point mass, to a few percent."""
    distances = np.array([30.0, 50.0, 70.0, 90.0])
    table = wind_table(shot_of(), distances, np.array([wind]), QUARTERS[1:2])
    still = aim(shot_of(), distances)
    lag = wind * (still.time - distances / (57.0 * np.cos(still.launch_angle)))
    assert -table.drift == pytest.approx(lag, rel=0.012)


def test_the_lag_rule_at_70_m() -> None:
    """0.326520 m, computed from the rule: the full flight drifts 0.4 % more."""
    still = aim(shot_of(), 70.0)
    lag = 5.0 * (still.time[0] - 70.0 / (57.0 * np.cos(still.launch_angle[0])))
    assert lag == pytest.approx(0.326520, abs=6e-7)
    drift = wind_table(shot_of(), np.array([70.0]), np.array([5.0]), QUARTERS[3:]).drift[0]
    assert 1.002 < drift / lag < 1.006


def test_without_drag_the_wind_carries_nothing() -> None:
    """Only the tip turns: to the side by its lead times the share of the airspeed (exact)."""
    distances, wind = np.array([18.0, 70.0]), 6.0
    shot = shot_of(drag=coefficient(0.0))
    table = wind_table(shot, distances, np.array([wind]), QUARTERS)
    assert table.drift == pytest.approx(np.zeros(8), abs=1e-12)
    assert table.up == pytest.approx(np.zeros(8), abs=1e-11)
    turned = wind_table(shot.with_(tip_lead=0.3), distances, np.array([wind]), QUARTERS[1:2])
    angle = aim(shot.with_(tip_lead=0.3), distances).launch_angle
    forth = 57.0 * np.cos(angle)
    down = 57.0 * np.sin(angle) - 9.80665 * turned.time
    expected = 0.3 * wind / np.sqrt(forth**2 + down**2 + wind**2)
    assert turned.drift == pytest.approx(expected, abs=1e-10)
    assert (turned.drift > 0.0).all()  # toward where the wind comes from


def test_head_wind_lowers_and_tail_wind_lifts() -> None:
    table = wind_table(shot_of(**LONG), np.array([50.0, 70.0]), np.array([2.0, 4.0]), QUARTERS)
    head, right, tail, left = table.up.reshape(4, 4).T
    assert (head < -0.005).all() and (tail > 0.005).all()
    assert (np.abs(right) < 0.1 * np.abs(head)).all()
    assert np.array_equal(right, left)
    assert (np.diff(head.reshape(2, 2)) < 0.0).all()
    change = table.launch_angle_change.reshape(4, 4)
    assert (change[:, 0] > 0.0).all() and (change[:, 2] < 0.0).all()
    assert table.time.reshape(4, 4)[0, 0] > aim(shot_of(**LONG), 50.0).time[0]


def test_no_wind_does_exactly_nothing() -> None:
    distances = np.array([30.0, 70.0])
    for speeds in ([0.0], [3.0, 0.0]):
        table = wind_table(shot_of(**LONG), distances, np.array(speeds), QUARTERS, SIGHT)
        still = table.wind_speed == 0.0
        for name in ("drift", "up", "launch_angle_change", "windage_angle", "windage_travel"):
            assert not getattr(table, name)[still].any(), name
        assert not table.elevation_travel[still].any()
        times = np.repeat(aim(shot_of(**LONG), distances).time, 4)
        assert table.time[still] == pytest.approx(times, abs=1e-12)
        assert table.drift[~still].any() == (len(speeds) > 1)


winds = {
    "speed": st.floats(0.1, 15.0),
    "comes_from": st.floats(-6.28, 6.28),
    "slope": st.floats(-1.0, 1.0),
    "distance": st.floats(3.0, 70.0),
}


@settings(max_examples=30, deadline=None)
@given(**winds)
def test_a_mirrored_wind_mirrors_the_drift(speed, comes_from, slope, distance) -> None:
    shot = shot_of(**LONG, slope=slope)
    table = wind_table(
        shot, np.array([distance]), np.array([speed]), np.array([comes_from, -comes_from])
    )
    for name, sign in (
        ("drift", -1.0),
        ("windage_angle", -1.0),
        ("up", 1.0),
        ("launch_angle_change", 1.0),
        ("time", 1.0),
    ):
        one, other = getattr(table, name)
        assert one == pytest.approx(sign * other, abs=1e-9), name


@settings(max_examples=30, deadline=None)
@given(**winds)
def test_what_is_set_brings_the_tip_back(speed, comes_from, slope, distance) -> None:
    """Loosed with both changes into the wind, the tip meets the aim point."""
    shot = shot_of(**LONG, slope=slope)
    table = wind_table(shot, np.array([distance]), np.array([speed]), np.array([comes_from]))
    still = aim(shot, distance).launch_angle
    windy = shot.with_(wind_speed=speed, wind_from=comes_from)
    met = impacts(windy, still, distance)
    assert (table.drift[0], table.up[0]) == pytest.approx((met.right[0], met.up[0]), abs=1e-8)
    back = impacts(windy, still + table.launch_angle_change, distance, yaw=table.windage_angle)
    assert (back.up[0], back.right[0]) == pytest.approx((0.0, 0.0), abs=3e-7)


def test_what_the_sight_does() -> None:
    table = wind_table(shot_of(**LONG), np.array([50.0, 70.0]), np.array([4.0]), QUARTERS, SIGHT)
    still = np.repeat(aim(shot_of(**LONG), np.array([50.0, 70.0])).launch_angle, 4)
    angle = still + table.launch_angle_change
    # The arrow that drifts left is fetched back by a pin moved left, after it.
    assert (np.sign(table.windage_travel.round(9)) == np.sign(table.drift.round(9))).all()
    aside = -0.86 * np.tan(table.windage_angle) / np.cos(angle)
    assert table.windage_travel == pytest.approx(aside, abs=1e-15)
    assert table.windage_turns == pytest.approx(aside / 0.001)
    assert np.array_equal(table.windage_clicks, np.rint(aside / 0.001 * 10))
    down = 0.86 * (np.tan(angle) - np.tan(still))
    assert table.elevation_travel == pytest.approx(down, abs=1e-12)
    assert table.elevation_turns == pytest.approx(down / 0.0012)
    assert np.array_equal(table.elevation_clicks, np.rint(down / 0.0012 * 12))
    bare = wind_table(shot_of(), np.array([50.0]), np.array([4.0]), QUARTERS)
    assert bare.windage_travel is bare.elevation_travel is bare.windage_clicks is None
    plain = Sight(radius=0.86, zero_distance=18.0)
    bare = wind_table(shot_of(), np.array([50.0]), np.array([4.0]), QUARTERS, plain)
    assert bare.windage_turns is bare.elevation_clicks is None
    assert bare.windage_travel is not None


def test_rows_stand_in_the_order_asked_for() -> None:
    distances, speeds = np.array([60.0, 20.0, 40.0]), np.array([5.0, 0.0, 2.0])
    directions = np.array([1.0, -2.0])
    table = wind_table(shot_of(**LONG), distances, speeds, directions)
    grid = [(d, s, f) for d in distances for s in speeds for f in directions]
    rows = zip(table.distance, table.wind_speed, table.wind_from, strict=True)
    assert list(rows) == grid
    for row in (0, 5, 10, 17):
        d, s, f = (np.array([value]) for value in grid[row])
        one = wind_table(shot_of(**LONG), d, s, f)
        for name in ("drift", "up", "time", "launch_angle_change", "windage_angle"):
            assert getattr(one, name)[0] == pytest.approx(getattr(table, name)[row], abs=1e-8)


def test_the_shots_own_wind_plays_no_part() -> None:
    asked = (np.array([40.0]), np.array([3.0]), QUARTERS)
    one = wind_table(shot_of(**LONG), *asked)
    other = wind_table(shot_of(**LONG, wind_speed=9.0, wind_from=2.0), *asked)
    assert np.array_equal(one.drift, other.drift) and np.array_equal(one.up, other.up)


def test_refusals_name_the_distances() -> None:
    shot = shot_of(**LONG)
    speeds = np.array([2.0, 12.0])
    windy = shot.with_(wind_speed=12.0)
    headwind, calm = float(reach(windy).distance[0]), float(reach(shot).distance[0])
    assert headwind < calm - 10.0
    for distance in (headwind + 2.0, calm + 2.0):
        with pytest.raises(BeyondReach) as beyond:
            wind_table(shot, np.array([30.0, distance]), speeds, QUARTERS)
        assert beyond.value.lanes == (1,)
    with pytest.raises(TooNear) as near:
        wind_table(shot, np.array([30.0, 40.0, 1.1]), speeds, QUARTERS)
    assert near.value.lanes == (2,)


def test_a_refusal_names_the_strongest_head_wind() -> None:
    """The case counts the winds, each speed with each direction in turn; a gale aside is none."""
    shot = shot_of(**LONG)
    speeds, directions = np.array([4.0, 12.0]), np.radians([90.0, 180.0, 60.0, 0.0])
    ahead = float(reach(shot.with_(wind_speed=12.0), np.ones(1, dtype=bool)).distance[0])
    with pytest.raises(BeyondReach) as beyond:
        wind_table(shot, np.array([30.0, ahead + 2.0]), speeds, directions)
    assert beyond.value.case == 7
    assert beyond.value.farthest == pytest.approx(ahead)
    assert beyond.value.lanes == (1,)


def test_a_refusal_in_a_cross_wind_alone_counts_the_distances_too() -> None:
    """No wind has a head on it, and yet the stronger reaches less: it adds to the airspeed."""
    shot, aside = shot_of(**LONG), QUARTERS[3:]
    limits = [
        float(reach(shot.with_(wind_speed=speed, wind_from=aside[0])).distance[0])
        for speed in (5.0, 20.0)
    ]
    between = 0.5 * sum(limits)
    assert limits[1] + 2.0 < between < limits[0] - 2.0
    with pytest.raises(BeyondReach) as beyond:
        wind_table(shot, np.array([20.0, 30.0, between]), np.array([0.0, 5.0, 20.0]), aside)
    assert beyond.value.lanes == (2,)
    assert beyond.value.farthest == pytest.approx(limits[1], rel=2e-3)


def test_the_error_is_the_worst_of_the_still_and_of_the_windy_aims() -> None:
    """Only into the head wind the flight is split at the ramp's ends: its aims are known less."""
    shot, distances = shot_of(drag=bent, kinks=(2.2e4, 2.4e4), **LONG), np.array([40.0])
    still = aim(shot, distances).error.max()
    windy = aim(shot.with_(wind_speed=8.0), distances, windage=True).error.max()
    assert windy > 4.0 * still
    table = wind_table(shot, distances, np.array([0.0, 8.0]), QUARTERS[:1])
    assert table.error == pytest.approx(windy, rel=0.5)
    assert table.position_error > 0.0
    assert wind_table(shot, distances, np.zeros(1), QUARTERS).error == pytest.approx(still, rel=0.5)


def test_airspeeds_without_drag() -> None:
    """From the eye the apex is on the way: least v cos a - W there in a tail wind, greatest
    hypot(v cos a + W, v sin a) at the launch into a head wind (derived); read at points."""
    shot, wind = shot_of(drag=coefficient(0.0)), 9.0
    angle = 0.5 * np.arcsin(9.80665 * 60.0 / 57.0**2)
    along, up = 57.0 * np.cos(angle), 57.0 * np.sin(angle)
    for blows_from, bounds in (
        (QUARTERS[:1], (along, np.hypot(along + wind, up))),
        (QUARTERS[2:3], (along - wind, 57.0)),
        (QUARTERS[[0, 2]], (along - wind, np.hypot(along + wind, up))),
    ):
        table = wind_table(shot, np.array([60.0]), np.array([wind]), blows_from)
        assert table.airspeed_range == pytest.approx(bounds, rel=5e-4)
