"""Landings: closed forms without drag, symmetries, rises of the ground, ways out."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference_setups import G, coefficient, compound, elevation_through, fall, in_vacuum, recurve

from arrowloft.core.overshoot import landing
from arrowloft.core.overshoot.landing import Landings, land
from arrowloft.core.overshoot.terrain import Terrain
from arrowloft.core.setup.flow import cross_section

EYE = 1.6
FLAT = Terrain.under(EYE)
LONG = {"peep_height": 0.115, "launch_forward": 0.9, "tip_lead": 0.3}
ELEVATIONS = np.radians([-60.0, -20.0, -1.0, 0.0, 3.0, 20.0, 45.0, 70.0, 85.0])
NAMES = ("distance", "right", "time", "speed", "descent_angle", "apex_height", "apex_distance")


def kinked(flow, arrow):
    """Drag that doubles within a narrow band of Reynolds numbers."""
    share = np.clip((flow.reynolds(arrow.shaft_diameter) - 2.0e4) / 500.0, 0.0, 1.0)
    return (1.3 + 1.3 * share) * cross_section(arrow)


def ahead(count):
    return np.zeros(count)


def one(shot, elevation, terrain=FLAT, bearing=0.0):
    return land(shot, np.array([elevation]), np.array([bearing]), terrain)


# --- without drag -------------------------------------------------------------------------------


def test_a_throw_without_drag_from_a_height() -> None:
    """x = v cos(e) t down to 1.6 m below the eye; energy; (v sin(e))^2 / 2g at the top."""
    found = land(in_vacuum(), ELEVATIONS, ahead(9), FLAT)
    time, way = fall(57.0, ELEVATIONS, 1.6)
    assert found.distance == pytest.approx(way, abs=1e-6)
    assert found.time == pytest.approx(time, abs=1e-8)
    assert found.right == pytest.approx(ahead(9), abs=1e-12)
    assert found.height == pytest.approx(ahead(9) - 1.6)
    speed = np.sqrt(57.0**2 + 2.0 * G * 1.6)
    assert found.speed == pytest.approx(ahead(9) + speed)
    assert found.descent_angle == pytest.approx(-np.arccos(57.0 * np.cos(ELEVATIONS) / speed))
    rising = np.maximum(57.0 * np.sin(ELEVATIONS), 0.0)
    assert found.apex_height == pytest.approx(rising**2 / (2.0 * G), abs=1e-7)
    forth = 57.0 * np.cos(ELEVATIONS) * rising / G
    assert found.apex_distance == pytest.approx(forth, abs=1e-6)


def test_the_bow_turns_about_the_eye() -> None:
    """The launch is ahead of and below the eye, in the bow's own frame."""
    shot = in_vacuum(peep_height=0.115, launch_forward=0.9)
    found = land(shot, ELEVATIONS[1:], ahead(8), FLAT)
    sine, cosine = np.sin(ELEVATIONS[1:]), np.cos(ELEVATIONS[1:])
    start_x, start_y = 0.9 * cosine + 0.115 * sine, 0.9 * sine - 0.115 * cosine
    time, way = fall(57.0, ELEVATIONS[1:], 1.6 + start_y)
    assert found.distance == pytest.approx(start_x + way, abs=1e-6)
    assert found.time == pytest.approx(time, abs=1e-8)


def test_straight_up_comes_straight_down() -> None:
    found = one(in_vacuum(), np.pi / 2)
    assert found.distance[0] == pytest.approx(0.0, abs=1e-6)
    assert found.time[0] == pytest.approx(fall(57.0, np.pi / 2, 1.6)[0], abs=1e-6)
    assert found.apex_height[0] == pytest.approx(57.0**2 / (2.0 * G), abs=1e-6)


def test_airspeeds_without_drag() -> None:
    """Least v cos(e) at the top, greatest at the landing; nothing flown beyond it counts.

    The ground falls away behind the landing, to a depth that would add speed.
    """
    cliff = Terrain.under(1.6, ((400.0, 0.0), (401.0, -80.0)))
    found = one(in_vacuum(), 0.4, cliff)
    assert found.least_airspeed[0] == pytest.approx(57.0 * np.cos(0.4), rel=2e-3)
    greatest = np.sqrt(57.0**2 + 2.0 * G * 1.6)
    assert found.greatest_airspeed[0] == pytest.approx(greatest, rel=1e-6)


def test_without_drag_the_wind_carries_nothing() -> None:
    windy = in_vacuum(wind_speed=8.0, wind_from=1.0)
    still, blown = (land(shot, ELEVATIONS, ahead(9), FLAT) for shot in (in_vacuum(), windy))
    assert blown.distance == pytest.approx(still.distance, abs=1e-6)
    assert blown.right == pytest.approx(ahead(9), abs=1e-6)


# --- frames -------------------------------------------------------------------------------------


def test_a_bearing_turns_the_landing_about_the_archer() -> None:
    bearings = np.radians([-80.0, -20.0, 5.0, 60.0])
    straight = one(compound(**LONG), 0.3)
    turned = land(compound(**LONG), np.full(4, 0.3), bearings, FLAT)
    assert turned.distance == pytest.approx(straight.distance[0] * np.cos(bearings))
    assert turned.right == pytest.approx(straight.distance[0] * np.sin(bearings))
    assert turned.apex_distance == pytest.approx(np.full(4, straight.apex_distance[0]))


def test_turning_bow_and_wind_turns_the_landing() -> None:
    """Over level ground nothing else knows where the target is."""
    bearing, comes_from = 0.4, 1.1
    first = one(compound(**LONG, wind_speed=7.0, wind_from=comes_from), 0.5)
    second = one(
        compound(**LONG, wind_speed=7.0, wind_from=comes_from + bearing), 0.5, FLAT, bearing
    )
    sine, cosine = np.sin(bearing), np.cos(bearing)
    assert second.distance == pytest.approx(first.distance * cosine - first.right * sine)
    assert second.right == pytest.approx(first.distance * sine + first.right * cosine)
    assert second.time == pytest.approx(first.time)
    assert abs(first.right[0]) > 1.0


def test_left_and_right_mirror_each_other() -> None:
    hill = Terrain.under(1.6, ((60.0, 0.0), (120.0, 20.0)))
    bearings = np.full(9, 0.3)
    shot = recurve(**LONG, wind_speed=5.0, roll=0.1)
    right = land(shot.with_(wind_from=0.7), ELEVATIONS, bearings, hill)
    left = land(shot.with_(wind_from=-0.7, roll=-0.1), ELEVATIONS, -bearings, hill)
    for name in NAMES:
        sign = -1.0 if name == "right" else 1.0
        assert getattr(left, name) == pytest.approx(sign * getattr(right, name), abs=1e-7)


def test_a_wind_from_the_right_carries_left_and_a_tail_wind_farther() -> None:
    quarters = np.radians([0.0, 90.0, 180.0, 270.0])
    found = land(recurve(wind_speed=4.0, wind_from=quarters), np.full(4, 0.5), ahead(4), FLAT)
    still = one(recurve(), 0.5).distance[0]
    assert found.distance[0] < still - 1.0 and found.distance[2] > still + 1.0
    assert found.right[1] < -1.0 and found.right[3] == pytest.approx(-found.right[1])


def test_a_roll_swings_the_line_about_the_level() -> None:
    """Rolled by a quarter turn, all of the elevation has become bearing: 0.2 rad to the right."""
    rolled = one(in_vacuum(roll=np.pi / 2), 0.2)
    aside = one(in_vacuum(), 0.0, FLAT, 0.2)
    assert rolled.distance == pytest.approx(aside.distance, abs=1e-6)
    assert rolled.right == pytest.approx(aside.right, abs=1e-6)


def test_the_shot_must_be_level() -> None:
    with pytest.raises(ValueError, match="level"):
        one(recurve(slope=0.1), 0.2)


# --- ground that rises and falls ----------------------------------------------------------------


def test_a_plane_hill_without_drag() -> None:
    """Loosed at a up a plane of slope p from its foot, in a vacuum:
    R = 2 v^2 cos(a) sin(a - p) / (g cos^2(p)) along it."""
    rise, angle = 0.3, 0.7
    plane = Terrain(x=np.array([-1e4, 1e4]), y=np.tan(rise) * np.array([-1e4, 1e4]) - 1e-9)
    found = one(in_vacuum(), angle, plane)
    way = 2.0 * 57.0**2 * np.cos(angle) * np.sin(angle - rise) / (G * np.cos(rise) ** 2)
    assert found.distance[0] == pytest.approx(way * np.cos(rise), abs=1e-5)
    assert found.height[0] == pytest.approx(way * np.sin(rise), abs=1e-5)


@pytest.mark.parametrize("bearing", [0.0, 0.5])
def test_a_crest_is_met_or_cleared_to_a_millimetre(bearing) -> None:
    """A ridge 2 m wide, between two readings of the path: what passes below its crest lands
    on it, what passes above flies on (closed form without drag)."""
    crest, height = 130.0, 9.0
    ridge = Terrain.under(1.6, ((crest - 1.0, 0.0), (crest, 1.6 + height), (crest + 1.0, 0.0)))
    way = crest / np.cos(bearing)
    low, high = (elevation_through(57.0, way, height + miss) for miss in (-1e-3, 1e-3))
    found = land(in_vacuum(), np.array([low, high]), np.full(2, bearing), ridge)
    assert crest - 0.01 < found.distance[0] < crest
    assert found.distance[1] == pytest.approx(fall(57.0, high, 1.6)[1] * np.cos(bearing), abs=1e-6)


@pytest.mark.parametrize("kinks", [(), (2.0e4, 2.05e4)], ids=["smooth", "split"])
def test_a_crest_is_met_or_cleared_under_drag(kinks) -> None:
    """A wall of 0.1 mm tells the height of the arc there; a sharp ridge is then put under it."""
    shot = recurve(**LONG, drag=kinked if kinks else coefficient(6.0), kinks=kinks)
    crest, elevation = 100.0, 0.3
    wall = Terrain.under(EYE, ((crest, 0.0), (crest + 1e-4, 60.0)))
    there = one(shot, elevation, wall)
    assert there.distance[0] == pytest.approx(crest, abs=1e-4) and there.height[0] > 1.0
    for miss, clears in ((-1e-3, True), (1e-3, False)):
        top = there.height[0] + EYE + miss
        ridge = Terrain.under(EYE, ((crest - 0.1, 0.0), (crest, top), (crest + 0.1, 0.0)))
        assert (one(shot, elevation, ridge).distance[0] > crest + 5.0) == clears


def test_a_steep_arc_falls_on_the_near_side_of_a_ridge() -> None:
    """A high arc comes down before a ridge that lower arcs meet on their way."""
    ridge = Terrain.under(1.6, ((130.0, 0.0), (135.0, 60.0), (140.0, 0.0)))
    low, steep = 0.3, 1.4
    found = land(in_vacuum(), np.array([low, steep]), ahead(2), ridge)
    assert 130.0 < found.distance[0] < 135.0
    assert found.distance[1] == pytest.approx(fall(57.0, steep, 1.6)[1], abs=1e-6)


@pytest.mark.parametrize("levels", [landing.LEVELS, ()], ids=["solved", "stepped"])
def test_an_arrow_that_meets_a_bank_on_its_way_up_ends_there(levels, monkeypatch) -> None:
    """Straight ahead a bank of 20 m: the highest point of the flight is where it meets it."""
    monkeypatch.setattr(landing, "LEVELS", levels)
    bank = Terrain.under(1.6, ((30.0, 0.0), (31.0, 20.0)))
    found = one(in_vacuum(), 0.4, bank)
    assert 30.0 < found.distance[0] < 31.0
    assert found.descent_angle[0] > 0.2
    assert found.apex_height[0] == pytest.approx(found.height[0], abs=1e-6)
    x = found.distance[0]
    y = x * np.tan(0.4) - 0.5 * G * (x / (57.0 * np.cos(0.4))) ** 2
    assert found.height[0] == pytest.approx(y, abs=1e-6)
    assert found.height[0] == pytest.approx(20.0 * (x - 30.0) - 1.6)


@settings(max_examples=25, deadline=None)
@given(
    st.floats(-0.5, 1.3),
    st.floats(-0.6, 0.6),
    st.lists(st.tuples(st.floats(1.0, 60.0), st.floats(-15.0, 25.0)), min_size=1, max_size=6),
)
def test_a_landing_lies_on_the_ground_and_ends_an_arc_over_it(elevation, bearing, hills) -> None:
    """The part of the closed-form arc before it lies over the ground."""
    x = np.cumsum([step for step, _ in hills])
    heights = tuple((float(way), height) for way, (_, height) in zip(x, hills, strict=True))
    terrain = Terrain.under(1.6, heights)
    found = one(in_vacuum(), elevation, terrain, bearing)
    time = np.linspace(0.0, found.time[0], 4001)[:-2]
    along = 57.0 * np.cos(elevation) * np.cos(bearing) * time
    up = 57.0 * np.sin(elevation) * time - 0.5 * G * time**2
    assert (up - terrain.height(along)).min() > -1e-5
    last = 57.0 * np.sin(elevation) * found.time[0] - 0.5 * G * found.time[0] ** 2
    assert last == pytest.approx(found.height[0], abs=1e-5)
    assert found.height == pytest.approx(terrain.height(found.distance), abs=1e-9)


def test_rising_ground_shortens_and_falling_ground_lengthens() -> None:
    up, down = (Terrain.under(1.6, ((20.0, 0.0), (400.0, end))) for end in (100.0, -100.0))
    elevations = np.radians([2.0, 15.0, 40.0, 60.0])
    flat, above, below = (
        land(compound(**LONG), elevations, ahead(4), ground) for ground in (FLAT, up, down)
    )
    assert (above.distance < flat.distance).all() and (flat.distance < below.distance).all()
    assert (above.time < flat.time).all() and (flat.time < below.time).all()


def test_a_tip_in_the_ground_at_launch_lands_there() -> None:
    """Loosed steeply down from a low stand: 1.2 m of bow and arrow, the eye 1 m up."""
    found = one(in_vacuum(launch_forward=0.9, tip_lead=0.3), -1.5, Terrain.under(1.0), 0.2)
    assert found.time[0] == 0.0 and found.speed[0] == 57.0
    assert found.distance[0] == pytest.approx(1.2 * np.cos(1.5) * np.cos(0.2))
    assert found.right[0] == pytest.approx(1.2 * np.cos(1.5) * np.sin(0.2))
    # Rolled by a quarter turn the same bow points to the left; its tip sinks as it falls.
    level = in_vacuum(launch_forward=0.9, tip_lead=0.3, roll=np.pi / 2)
    rolled = one(level, -1.5, Terrain.under(1.0), 0.2)
    assert rolled.time[0] == pytest.approx(np.sqrt(2.0 / G), rel=0.02)


# --- how it is solved ---------------------------------------------------------------------------


def test_lanes_do_not_know_of_each_other() -> None:
    """Across blocks, and in any company."""
    shot = compound(**LONG, wind_speed=6.0, wind_from=0.8)
    elevations, bearings = np.linspace(-0.4, 1.5, 700), np.linspace(-0.5, 0.5, 700)
    hill = Terrain.under(1.6, ((60.0, 0.0), (90.0, 12.0), (200.0, -30.0)))
    many = land(shot, elevations, bearings, hill)
    assert many.followed.all() and many.error.max() < 0.02
    for lane in (0, 350, 520, 699):
        alone = one(shot, elevations[lane], hill, bearings[lane])
        for name in NAMES:
            expected = getattr(many, name)[lane]
            assert getattr(alone, name)[0] == pytest.approx(expected, abs=2e-4)


def test_a_law_with_kinks_lands_alike_told_or_not() -> None:
    elevations = np.radians([5.0, 20.0, 43.0])
    hill = Terrain.under(1.6, ((100.0, 0.0), (140.0, 12.0)))
    told, hidden = (
        land(recurve(**LONG, drag=kinked, kinks=kinks), elevations, ahead(3), hill)
        for kinks in ((2.0e4, 2.05e4), None)
    )
    assert told.distance == pytest.approx(hidden.distance, abs=1e-3)
    assert told.error.max() < 1e-4


def test_the_way_out_lands_as_the_rest(monkeypatch) -> None:
    """Every lane step by step: the same landings, within the errors said."""
    shot = recurve(**LONG, wind_speed=6.0, wind_from=1.0)
    hill = Terrain.under(1.6, ((60.0, 0.0), (90.0, 4.0), (300.0, -20.0)))
    solved = land(shot, ELEVATIONS[1:8], np.full(7, 0.2), hill)
    monkeypatch.setattr(landing, "LEVELS", ())
    stepped = land(shot, ELEVATIONS[1:8], np.full(7, 0.2), hill)
    missed = np.hypot(stepped.distance - solved.distance, stepped.right - solved.right)
    assert (missed <= stepped.error + solved.error).all() and missed.max() < 1e-4
    for name in NAMES:
        assert getattr(stepped, name) == pytest.approx(getattr(solved, name), abs=1e-4)
    assert stepped.least_airspeed == pytest.approx(solved.least_airspeed, rel=5e-3)
    assert stepped.greatest_airspeed == pytest.approx(solved.greatest_airspeed, rel=5e-3)


def test_the_way_out_sees_a_crest_that_is_grazed(monkeypatch) -> None:
    """A ridge met 0.3 m below its crest for 0.6 m: a step of the integrator would pass it by."""
    monkeypatch.setattr(landing, "LEVELS", ())
    ridge = Terrain.under(EYE, ((120.0, 0.0), (130.0, EYE + 9.0), (140.0, 0.0)))
    low, high = (elevation_through(57.0, 130.0, 9.0 + miss) for miss in (-0.3, 0.3))
    found = land(in_vacuum(), np.array([low, high]), ahead(2), ridge)
    assert 129.0 < found.distance[0] < 130.0
    assert found.distance[1] == pytest.approx(fall(57.0, high, EYE)[1], abs=1e-4)


def test_what_converged_stands_where_too_many_do_not_settle(monkeypatch) -> None:
    """Bends of a law that are not told leave large estimates, of which few are stepped."""
    shot = recurve(**LONG, drag=kinked, kinks=(2.0e4, 2.05e4))
    elevations = np.linspace(0.1, 0.8, 30)
    told = land(shot, elevations, ahead(30), FLAT)
    monkeypatch.setattr(landing, "POOR", 0.0)
    found = land(shot.with_(kinks=None), elevations, ahead(30), FLAT)
    assert found.followed.all()
    assert found.distance == pytest.approx(told.distance, abs=2e-2)
    assert (np.abs(found.distance - told.distance) <= found.error + told.error).all()


def test_what_drag_all_but_stops_is_followed_or_said_not_to_be(monkeypatch) -> None:
    """A law a thousand times too strong: as a feather, down from a height at its last speed."""
    shot, elevations = recurve(drag=coefficient(2000.0)), np.full(4, 0.5)
    found = land(shot, elevations, ahead(4), Terrain.under(30.0))
    last = np.sqrt(2.0 * 0.020 * G / (1.225 * 2000.0 * np.pi / 4.0 * 0.0055**2))
    assert found.speed == pytest.approx(np.full(4, last), rel=1e-6)
    assert found.descent_angle == pytest.approx(np.full(4, -np.pi / 2), abs=1e-3)
    monkeypatch.setattr(landing, "MOST_STEPPED", 2)
    monkeypatch.setattr(landing, "LEVELS", ())
    part = land(shot, elevations, ahead(4), Terrain.under(30.0))
    assert part.followed.tolist() == [True, True, False, False]
    assert np.isnan(part.error[2:]).all() and (part.elevation == elevations).all()


def test_a_blank_holds_its_lanes_and_nothing_else() -> None:
    blank = Landings.blank(np.array([0.1, 0.2]), np.zeros(2))
    assert not blank.followed.any() and np.isnan(blank.time).all()
