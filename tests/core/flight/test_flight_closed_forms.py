"""Aimed flights against closed forms, limits, and figures with their source beside them.

"published": read in the source or in a text that quotes it. "derived": from mechanics,
here or computed once from the stated equation by an independent 8th-order integrator at
1e-12: it checks code against formula. "common practice": the trade's, no source.
"""

import numpy as np
import pytest

from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.reach import reach
from arrowloft.core.flight.trajectory import trajectory
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.shot import Shot

G = 9.80665
AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
INCH, YARD, FOOT = 0.0254, 0.9144, 0.3048


def vacuum(flow, arrow):
    return np.zeros(flow.airspeed.shape)


def coefficient(value):
    def law(flow, arrow):
        return value * cross_section(arrow) + np.zeros(flow.airspeed.shape)

    return law


def shot_of(**changes):
    values = {
        "launch_speed": 57.0,
        "arrow": Arrow(mass=0.020, shaft_diameter=0.0055),
        "drag": vacuum,
        "air": AIR,
        "peep_height": 0.0,
    }
    return Shot(**{**values, **changes})


# The two reference set-ups: a recurve and a compound, level, loosed from the eye.
RECURVE = shot_of(drag=coefficient(2.0))
COMPOUND = shot_of(
    launch_speed=85.0, drag=coefficient(1.6), arrow=Arrow(mass=0.023, shaft_diameter=0.006)
)


def impact(shot, angle, distance):
    """Right and up of the impact of an arrow loosed at an angle, m."""
    flown = trajectory(shot, launch_angle=float(angle), end=distance, samples=2)
    return flown.right[-1], flown.height[-1]


# --- vacuum ------------------------------------------------------------------------------

SLOPES = pytest.mark.parametrize("slope", np.radians([-60.0, -30.0, 0.0, 17.0, 45.0, 60.0]))


@SLOPES
def test_exact_slope_relation(slope):
    """Derived: sin(2 a + s) = sin(s) + g R cos(s)^2 / v^2, loosed from the eye."""
    distance = np.array([5.0, 20.0, 70.0, 120.0])
    aimed = aim(shot_of(slope=slope), distance)
    sine = np.sin(slope) + G * distance * np.cos(slope) ** 2 / 57.0**2
    exact = 0.5 * (np.arcsin(sine) - slope)
    assert aimed.launch_angle == pytest.approx(exact, abs=1e-12)
    level_way = distance * np.cos(slope)
    assert aimed.time == pytest.approx(level_way / (57.0 * np.cos(exact + slope)), rel=1e-11)
    lost = 2.0 * G * distance * np.sin(slope)
    assert aimed.speed == pytest.approx(np.sqrt(57.0**2 - lost), rel=1e-11)


@SLOPES
def test_apex_over_the_line_of_sight(slope):
    """Derived: the speed away from the line, v sin(a), is used up by g cos(s)."""
    aimed = aim(shot_of(slope=slope), np.array([30.0, 90.0]))
    angle, pull = aimed.launch_angle, G * np.cos(slope)
    time = 57.0 * np.sin(angle) / pull
    assert aimed.apex_height == pytest.approx((57.0 * np.sin(angle)) ** 2 / (2 * pull), rel=1e-9)
    way = 57.0 * np.cos(angle) * time - 0.5 * G * np.sin(slope) * time**2
    assert aimed.apex_distance == pytest.approx(way, rel=1e-7)


@SLOPES
def test_eye_launch_point_and_tip_in_a_vacuum(slope):
    """Derived: the parabola from behind and below the eye, its tip along its tangent.

    The eye is above the arrow's line perpendicular to that line, not vertically.
    """
    peep, forward, lead, distance = 0.12, 0.9, 0.35, 40.0
    aimed = aim(shot_of(slope=slope, peep_height=peep, launch_forward=forward, tip_lead=lead), 40.0)
    elevation, time = aimed.launch_angle[0] + slope, aimed.time[0]
    level = forward * np.cos(elevation) + peep * np.sin(elevation)
    upright = forward * np.sin(elevation) - peep * np.cos(elevation)
    velocity = np.array([57.0 * np.cos(elevation), 57.0 * np.sin(elevation) - G * time])
    place = np.array([level, upright]) + np.array(
        [57.0 * np.cos(elevation) * time, 57.0 * np.sin(elevation) * time - 0.5 * G * time**2]
    )
    tip = place + lead * velocity / np.hypot(*velocity)
    aim_point = distance * np.array([np.cos(slope), np.sin(slope)])
    assert tip == pytest.approx(aim_point, abs=2e-9)


def test_longest_range_in_a_vacuum():
    """Derived: v^2 / (g (1 + sin s)) along the slope, at (90 deg - s) / 2 above it."""
    for slope in (-0.5, 0.0, 0.6):
        found = reach(shot_of(slope=slope))
        assert found.distance[0] == pytest.approx(57.0**2 / (G * (1 + np.sin(slope))), rel=1e-6)
        assert found.launch_angle[0] == pytest.approx((np.pi / 2 - slope) / 2, abs=1e-3)


# --- drag: flat fire, cross wind ---------------------------------------------------------


def test_flat_fire_is_the_limit_of_weak_gravity():
    """Derived: v e^(-kx), (e^(kx) - 1) / (k v), g (e^(2kx) - 1 - 2kx) / (4 k^2 v^2)."""
    shot = RECURVE.with_(gravity=1e-3)
    x = np.array([5.0, 30.0, 90.0])
    k = 1.225 * 2.0 * np.pi * 0.0055**2 / 4 / (2 * 0.020)
    aimed = aim(shot, x)
    assert aimed.speed == pytest.approx(57.0 * np.exp(-k * x), rel=1e-7)
    assert aimed.time == pytest.approx((np.exp(k * x) - 1) / (k * 57.0), rel=1e-7)
    drop = 1e-3 * (np.exp(2 * k * x) - 1 - 2 * k * x) / (4 * k**2 * 57.0**2)
    # To second order in the angle, 1e-5 here; below that it is the solver's own 2e-10 rad.
    assert aimed.launch_angle == pytest.approx(drop / x, rel=1e-6, abs=2e-10)


def test_lag_rule_is_the_limit_of_weak_wind_and_gravity():
    """Published (Didion; quoted in McCoy, Modern Exterior Ballistics): W (t - X / v)."""
    distance = np.array([20.0, 70.0])
    aimed = aim(RECURVE.with_(gravity=1e-3, wind_speed=0.05, wind_from=np.pi / 2), distance)
    assert aimed.drift == pytest.approx(-0.05 * (aimed.time - distance / 57.0), rel=1e-4)


def test_lag_rule_in_a_fresh_cross_wind():
    """Derived: 0.327829 m at 70 m in 5 m/s; the rule (published) gives 0.326520."""
    windy = RECURVE.with_(wind_speed=5.0, wind_from=np.pi / 2)
    still = aim(RECURVE, 70.0)
    assert impact(windy, still.launch_angle[0], 70.0)[0] == pytest.approx(-0.327829, abs=1e-6)
    aimed = aim(windy, 70.0)
    along = 57.0 * np.cos(still.launch_angle[0])
    rule = 5.0 * (still.time[0] - 70.0 / along)
    assert rule == pytest.approx(0.326520, abs=1e-6)
    assert -aimed.drift[0] == pytest.approx(rule, rel=0.005)


def test_wind_from_the_right_blows_left_and_head_wind_wants_a_higher_angle():
    right = aim(RECURVE.with_(wind_speed=3.0, wind_from=np.pi / 2), 50.0)
    left = aim(RECURVE.with_(wind_speed=3.0, wind_from=3 * np.pi / 2), 50.0)
    assert right.drift[0] < 0.0 < left.drift[0]
    head = aim(RECURVE.with_(wind_speed=3.0, wind_from=0.0), 50.0)
    tail = aim(RECURVE.with_(wind_speed=3.0, wind_from=np.pi), 50.0)
    assert tail.launch_angle[0] < aim(RECURVE, 50.0).launch_angle[0] < head.launch_angle[0]
    assert tail.speed[0] > head.speed[0]


# --- reference flights -------------------------------------------------------------------

# Derived: distance m, launch angle deg, time s, speed m/s, descent deg, apex m, at m.
REFERENCE = [
    (RECURVE, 18.0, 1.58480489, 0.32008462, 55.5269196, -1.612709, 0.125594, 9.03929),
    (RECURVE, 50.0, 4.56058467, 0.91281996, 53.0127618, -4.786346, 1.021562, 25.30321),
    (RECURVE, 70.0, 6.54371010, 1.30142728, 51.5160667, -6.999628, 2.076803, 35.59442),
    (RECURVE, 90.0, 8.64285094, 1.70684382, 50.0833851, -9.419467, 3.572925, 45.98293),
    (COMPOUND, 18.288, 0.72175575, 0.21755791, 83.1478944, -0.732434, 0.058021, 9.17758),
    (COMPOUND, 54.864, 2.23284029, 0.66778072, 79.5676205, -2.333323, 0.546703, 27.73417),
    (COMPOUND, 73.152, 3.02494438, 0.90094762, 77.8397919, -3.207633, 0.995230, 37.11317),
]


@pytest.mark.parametrize(
    "row", REFERENCE, ids=lambda row: f"{row[0].launch_speed:.0f}-{row[1]:.0f}"
)
def test_reference_flights(row):
    shot, distance, angle, time, speed, descent, apex, at = row
    aimed = aim(shot, distance)
    assert np.degrees(aimed.launch_angle[0]) == pytest.approx(angle, abs=1.2e-8)
    assert aimed.time[0] == pytest.approx(time, abs=1.2e-8)
    assert aimed.speed[0] == pytest.approx(speed, abs=2e-7)
    assert np.degrees(aimed.descent_angle[0]) == pytest.approx(descent, abs=1e-6)
    assert aimed.apex_height[0] == pytest.approx(apex, abs=1e-6)
    assert aimed.apex_distance[0] == pytest.approx(at, abs=2e-5)


def test_reference_sight_travel():
    """Derived: peep 115 mm off the arrow's line, radius 860 mm, from 18 m.

    A start 115 mm vertically below the eye would give 14.197, 41.305, 70.803, 102.576.
    """
    distance = np.array([18.0, 30.0, 50.0, 70.0, 90.0])
    tangent = np.tan(aim(RECURVE.with_(peep_height=0.115), distance).launch_angle)
    travel = 860.0 * (tangent[1:] - tangent[0])
    assert travel == pytest.approx([14.1931, 41.2922, 70.7804, 102.5407], abs=6e-5)


def test_longest_ranges():
    """Derived: 245 m and 456 m without lift; common practice puts a compound near 450 m."""
    assert reach(RECURVE).distance[0] == pytest.approx(245.0, abs=0.5)
    assert reach(COMPOUND).distance[0] == pytest.approx(456.0, abs=0.5)


@pytest.mark.parametrize(
    ("changes", "up_mm"),
    [
        ({"drag_scale": 1.1}, -56.9),
        ({"launch_speed": 57.0 * 1.01}, 158.2),
        ({"drag_scale": 0.9}, 56.3),  # a tenth less density is a tenth less drag
    ],
)
def test_reference_sensitivities_at_70_m(changes, up_mm):
    """Derived: where the arrow lands when an input changes and the aim does not."""
    angle = aim(RECURVE, 70.0).launch_angle[0]
    assert 1e3 * impact(RECURVE.with_(**changes), angle, 70.0)[1] == pytest.approx(up_mm, abs=0.06)


def test_thinner_air_is_less_drag():
    angle = aim(RECURVE, 70.0).launch_angle[0]
    thin = RECURVE.with_(air=Air(288.15, 91192.5, 0.0, 1.225 * 0.9, 1.789e-5, 340.3))
    assert 1e3 * impact(thin, angle, 70.0)[1] == pytest.approx(56.3, abs=0.06)


def test_reference_cant():
    """Derived: 3 degrees, top limb to the right, at 54.864 m: 111.955 mm right, 2.932 mm low."""
    angle = aim(COMPOUND, 54.864).launch_angle[0]
    right, up = impact(COMPOUND.with_(roll=np.radians(3.0)), angle, 54.864)
    assert (1e3 * right, 1e3 * up) == pytest.approx((111.955, -2.932), abs=1e-3)


def test_cant_without_drag():
    """Derived: D sin(b) aside and D (1 - cos b) low, D = R tan(a) - h from h below the eye."""
    shot, distance, roll = shot_of(peep_height=0.1), 50.0, np.radians(5.0)
    angle = aim(shot, distance).launch_angle[0]
    drop = distance * np.tan(angle) - 0.1 / np.cos(angle)
    right, up = impact(shot.with_(roll=roll), angle, distance)
    # The plane is met where the rolled arrow is as far along as the upright one.
    assert right == pytest.approx(drop * np.sin(roll), rel=1e-8)
    assert up == pytest.approx(-drop * (1 - np.cos(roll)), rel=1e-6)


# --- published figures and common practice -----------------------------------------------


@pytest.mark.parametrize(("yards", "inches"), [(40, 5.9), (50, 9.4), (60, 13.5), (80, 24.5)])
def test_klopsteg_creep_table(yards, inches):
    """Published: Klopsteg, The Effect on Scores of Errors in Aiming and Holding, Table III.

    Half an inch of creep, 150 ft/s, same launch angle. Speed in proportion to the draw from
    the braced string: 20.5 / 21 of it, 146.5 ft/s (Hickman, quoted by Klopsteg, published).
    Without drag this gives 6.02, 9.44, 13.67, 24.64 (derived): within 2 % of the table.
    """
    full = shot_of(launch_speed=150.0 * FOOT)
    angle = aim(full, yards * YARD).launch_angle[0]
    low = -impact(full.with_(launch_speed=146.5 * FOOT), angle, yards * YARD)[1]
    assert low / INCH == pytest.approx(inches, rel=0.021)


def test_sight_shift_for_an_impact_error():
    """Common practice, no source: 30 cm at 60 yd is about 5 mm; b d / R gives 4.70 at 0.86 m."""
    distance = 60.0 * YARD
    angle = aim(RECURVE, distance).launch_angle[0]
    shift = 0.0047 / 0.86  # rise of the tangent
    higher = np.arctan(np.tan(angle) + shift)
    assert impact(RECURVE, higher, distance)[1] == pytest.approx(0.30, rel=0.03)


def test_uphill_and_downhill_want_less_angle_than_level():
    """Common practice: less sight either way; derived: the drop shrinks about as cos(s)."""
    level = aim(RECURVE, 50.0).launch_angle[0]
    for degrees in (-30.0, 30.0):
        steep = aim(RECURVE.with_(slope=np.radians(degrees)), 50.0).launch_angle[0]
        assert steep / level == pytest.approx(np.cos(np.radians(30.0)), rel=0.06)
