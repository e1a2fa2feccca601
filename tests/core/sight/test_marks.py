"""Mark tables: what the sight does with aimed flights, and tables by interpolation."""

import numpy as np
import pytest

from arrowloft.core.flight import distances as distances_module
from arrowloft.core.flight.aim import TooNear, aim
from arrowloft.core.flight.reach import BeyondReach
from arrowloft.core.flight.trajectory import trajectory
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.sight import Scale, Sight, Thread

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
INCH, YARD, FOOT, GRAIN = 0.0254, 0.9144, 0.3048, 64.79891e-6


def friction_like(flow, arrow):
    """A smooth law that depends on speed."""
    reynolds = np.maximum(flow.reynolds(arrow.shaft_diameter), 1.0)
    return cross_section(arrow) * (1.2 + 110.0 / np.sqrt(reynolds))


def cornered(flow, arrow):
    """Laminar below Re 2.02e4, a steep rise above: a corner in mid-flight of a slow arrow."""
    reynolds = flow.reynolds(arrow.shaft_diameter)
    return cross_section(arrow) * (1.4 + 3e-4 * np.maximum(reynolds - 2.02e4, 0.0))


def coefficient(value):
    def law(flow, arrow):
        return value * cross_section(arrow) + np.zeros(flow.airspeed.shape)

    return law


def shot_of(law=friction_like, **changes):
    values = {
        "launch_speed": 57.0,
        "arrow": Arrow(mass=0.020, shaft_diameter=0.0055),
        "drag": law,
        "air": AIR,
        "peep_height": 0.115,
    }
    return Shot(**{**values, **changes})


WINDY = {"wind_speed": 5.0, "wind_from": 1.1, "slope": 0.2, "tip_lead": 0.3, "launch_forward": 0.9}
SIGHT = Sight(
    radius=0.86,
    zero_distance=18.0,
    elevation=Thread(travel_per_turn=0.0012, clicks_per_turn=12),
    windage=Thread(travel_per_turn=0.001, clicks_per_turn=10),
    scale=Scale(reading_at_zero=20.0, travel_per_unit=0.001),
    pins=(20.0, 40.0, 60.0),
)
ROWS = np.array([30.0, 50.0, 18.0, 70.0, 90.0, 50.0])
SETUPS = pytest.mark.parametrize("changes", [{}, WINDY])


# --- the sight ---------------------------------------------------------------------------


def test_reference_travel():
    """Derived: the recurve of the reference flights, peep 115 mm, radius 860 mm, from 18 m."""
    table = mark_table(shot_of(coefficient(2.0)), SIGHT, ROWS)
    wanted = [14.1931, 41.2922, 0.0, 70.7804, 102.5407, 41.2922]
    assert 1e3 * table.travel == pytest.approx(wanted, abs=6e-5)


@SETUPS
def test_rows_are_those_of_aim_in_the_order_asked(changes):
    shot = shot_of(**changes)
    table, aimed = mark_table(shot, SIGHT, ROWS), aim(shot, ROWS)
    assert table.distance.tolist() == ROWS.tolist()
    for name in ("launch_angle", "time", "speed", "descent_angle", "apex_height", "drift"):
        assert getattr(table, name) == pytest.approx(getattr(aimed, name), rel=1e-8, abs=5e-9), name
    assert table.energy == pytest.approx(0.5 * 0.020 * aimed.speed**2, rel=1e-8)
    assert table.momentum == pytest.approx(0.020 * aimed.speed, rel=1e-8)


def test_the_same_distance_twice_gives_the_same_row_twice():
    table = mark_table(shot_of(), SIGHT, ROWS)
    assert table.travel[1] == table.travel[5]
    many = mark_table(shot_of(), SIGHT, np.concatenate((np.linspace(20, 80, 40), [50.0, 50.0])))
    assert many.travel[-1] == many.travel[-2]


def test_turns_clicks_and_reading_follow_the_travel():
    table = mark_table(shot_of(), SIGHT, ROWS)
    assert table.turns == pytest.approx(table.travel / 0.0012)
    assert table.clicks == pytest.approx(np.round(table.travel / 0.0001), abs=0.0)
    assert table.reading == pytest.approx(20.0 + table.travel / 0.001)
    assert table.travel[2] == 0.0
    assert table.clicks[2] == 0.0
    assert table.reading[2] == 20.0


def test_a_scale_that_runs_the_other_way():
    scale = Scale(reading_at_zero=20.0, travel_per_unit=0.001, increases_down=False)
    sight = Sight(radius=0.86, zero_distance=18.0, scale=scale)
    table = mark_table(shot_of(), sight, ROWS)
    assert table.reading == pytest.approx(20.0 - table.travel / 0.001)
    for left_out in ("turns", "clicks", "click_shift", "windage_turns", "windage_clicks", "pins"):
        assert getattr(table, left_out) is None


def test_the_zero_need_not_be_among_the_rows():
    at_zero = mark_table(shot_of(), SIGHT, np.array([18.0, 50.0])).travel
    alone = mark_table(shot_of(), SIGHT, np.array([50.0])).travel
    assert alone[0] == pytest.approx(at_zero[1] - at_zero[0], abs=1e-9)


def test_pins_and_gaps():
    pins = mark_table(shot_of(), SIGHT, ROWS).pins
    angle = aim(shot_of(), np.array(SIGHT.pins)).launch_angle
    heights = 0.115 - 0.86 * np.tan(angle)
    assert pins.distance.tolist() == [20.0, 40.0, 60.0]
    assert pins.launch_angle == pytest.approx(angle, abs=1e-9)
    assert pins.travel == pytest.approx(heights[0] - heights, abs=1e-9)
    assert pins.gap == pytest.approx([0.0, *(heights[:-1] - heights[1:])], abs=1e-9)


def test_pins_in_any_order_count_from_the_first():
    sight = Sight(radius=0.86, zero_distance=18.0, pins=(40.0, 20.0))
    pins = mark_table(shot_of(), sight, ROWS).pins
    assert pins.travel[0] == 0.0
    assert pins.travel[1] < 0.0
    assert pins.gap[1] == pins.travel[1]


def test_click_shift_is_where_the_rounded_mark_hits():
    """Against loosing the arrow at the angle that the whole clicks set."""
    shot = shot_of()
    coarse = Thread(travel_per_turn=0.0012, clicks_per_turn=2)
    sight = Sight(radius=0.86, zero_distance=18.0, elevation=coarse)
    table = mark_table(shot, sight, ROWS)
    zero = aim(shot, 18.0).launch_angle[0]
    for row, distance in enumerate(ROWS):
        set_travel = table.clicks[row] * 0.0006
        angle = np.arctan(np.tan(zero) + set_travel / 0.86)
        hit = trajectory(shot, launch_angle=float(angle), end=float(distance)).height[-1]
        assert table.click_shift[row] == pytest.approx(hit, rel=0.02, abs=2e-6)


@SETUPS
def test_windage_travel_puts_the_pin_where_the_yawed_bow_needs_it(changes):
    shot = shot_of(**changes)
    table, steered = mark_table(shot, SIGHT, ROWS), aim(shot, ROWS, windage=True)
    # The angle is the row's own: a yaw changes it in the second order only.
    wanted = -0.86 * np.tan(steered.yaw) / np.cos(table.launch_angle)
    assert table.windage_travel == pytest.approx(wanted, abs=1e-9)
    assert table.windage_turns == pytest.approx(table.windage_travel / 0.001)
    assert table.windage_clicks == pytest.approx(np.round(table.windage_travel / 1e-4), abs=0.0)


def test_windage_travel_follows_the_drift():
    """The pin goes where the arrow goes: left drift, pin to the left; about radius / distance."""
    table = mark_table(shot_of(wind_speed=5.0, wind_from=np.pi / 2), SIGHT, ROWS)
    assert np.all(table.drift < 0.0)
    assert table.windage_travel == pytest.approx(table.drift * 0.86 / ROWS, rel=0.03)
    still = mark_table(shot_of(), SIGHT, ROWS)
    assert not still.windage_travel.any()
    assert not np.signbit(still.windage_travel).any()


# --- uncertainties -----------------------------------------------------------------------


@SETUPS
def test_uncertainties_are_what_changed_inputs_do(changes):
    """Against solving again with speed and drag up and down by a standard uncertainty.

    The zero is proven: the mark at its distance is shot in, and travel counts from it.
    """
    shot, speed, drag = shot_of(**changes), 0.4, 0.05

    def travel(**altered):
        return mark_table(shot.with_(**altered), SIGHT, ROWS).travel

    by_speed = travel(launch_speed=57.0 + speed) - travel(launch_speed=57.0 - speed)
    by_drag = travel(drag_scale=1.0 + drag) - travel(drag_scale=1.0 - drag)
    wanted = 0.5 * np.hypot(by_speed, by_drag)
    table = mark_table(shot, SIGHT, ROWS, speed_uncertainty=speed, drag_uncertainty=drag)
    assert table.travel_uncertainty == pytest.approx(wanted, rel=5e-3, abs=1e-8)
    assert table.travel_uncertainty[2] == 0.0
    only = mark_table(shot, SIGHT, ROWS, speed_uncertainty=speed)
    assert only.travel_uncertainty == pytest.approx(0.5 * np.abs(by_speed), rel=5e-3, abs=1e-8)


def test_height_uncertainty_is_that_travel_at_the_target():
    """The impact of an arrow loosed with the mark off by its uncertainty."""
    shot = shot_of()
    table = mark_table(shot, SIGHT, ROWS, speed_uncertainty=0.4, drag_uncertainty=0.05)
    for row in (0, 3, 4):
        off = np.arctan(np.tan(table.launch_angle[row]) + table.travel_uncertainty[row] / 0.86)
        hit = trajectory(shot, launch_angle=float(off), end=float(ROWS[row])).height[-1]
        assert table.height_uncertainty[row] == pytest.approx(hit, rel=0.03)


def test_no_uncertainty_unless_told():
    table = mark_table(shot_of(), SIGHT, ROWS)
    assert not table.travel_uncertainty.any()
    assert not table.height_uncertainty.any()


# --- tables by interpolation -------------------------------------------------------------

TABLE_FIELDS = {
    "launch_angle": 2e-10,
    "travel": 2e-10,
    "time": 5e-9,
    "speed": 5e-7,
    "energy": 1e-6,
    "momentum": 1e-8,
    "apex_height": 1e-7,
    "descent_angle": 5e-9,
    "drift": 1e-7,
    "windage_travel": 1e-9,
    "height_uncertainty": 1e-6,
    "travel_uncertainty": 1e-8,
}
LOOSE = {"height_uncertainty": 2e-3, "travel_uncertainty": 2e-3}
"""Uncertainties need three digits."""

RANGES = [(5.0, 90.0), (18.0, 100.0), (40.0, 41.0), (3.0, 20.0)]
PLAIN_SIGHT = Sight(radius=0.86, zero_distance=18.0)


TOLD = {"speed_uncertainty": 0.4, "drag_uncertainty": 0.05}


def assert_rows_as_solved(shot, table):
    """Each row against a table that holds only it, too short for any interpolation."""
    alone = [mark_table(shot, PLAIN_SIGHT, np.array([d]), **TOLD) for d in table.distance]
    error = table.error + max(each.error for each in alone)
    for name, within in TABLE_FIELDS.items():
        theirs = np.concatenate([getattr(each, name) for each in alone])
        margin = 2 * error if name in ("launch_angle", "travel") else 0.0
        wanted = pytest.approx(theirs, rel=LOOSE.get(name, 1e-8), abs=within + margin)
        assert getattr(table, name) == wanted, name


@SETUPS
@pytest.mark.parametrize(("low", "high"), RANGES)
def test_interpolated_rows_equal_solved_ones(changes, low, high, monkeypatch):
    shot, distances = shot_of(**changes), np.random.default_rng(3).uniform(low, high, 57)
    with monkeypatch.context() as patch:
        patch.setattr(distances_module, "_each", refuse)  # or a thing is compared with itself
        table = mark_table(shot, PLAIN_SIGHT, distances, **TOLD)
    assert table.error <= 4e-10
    assert_rows_as_solved(shot, table)


def test_a_corner_in_the_law_is_solved_row_by_row(monkeypatch):
    shot, distances = shot_of(cornered), np.linspace(5.0, 90.0, 30)
    table = mark_table(shot, PLAIN_SIGHT, distances, **TOLD)
    assert table.error <= 1e-5
    solved = aim(shot, distances)
    margin = 2 * table.error + 2 * solved.error.max()
    assert table.launch_angle == pytest.approx(solved.launch_angle, abs=margin)
    monkeypatch.setattr(distances_module, "_each", refuse)
    with pytest.raises(AssertionError, match="row by row"):
        mark_table(shot, PLAIN_SIGHT, distances)


def refuse(shot, distances):
    raise AssertionError("solved row by row")


def test_up_to_the_reach_is_solved_row_by_row():
    shot = shot_of(launch_speed=40.0)
    distances = np.linspace(20.0, 130.0, 30)
    table = mark_table(shot, SIGHT, distances)
    assert table.launch_angle == pytest.approx(aim(shot, distances).launch_angle, abs=2e-8)


def test_what_cannot_be_reached_is_named_with_its_place():
    shot = shot_of(launch_speed=40.0)
    for rows in (3, 40):
        distances = np.concatenate((np.linspace(20.0, 60.0, rows), [400.0]))
        with pytest.raises(BeyondReach) as caught:
            mark_table(shot, SIGHT, distances)
        assert caught.value.lanes == (rows,)
        assert 120.0 < caught.value.farthest < 150.0
    with pytest.raises(BeyondReach) as caught:
        mark_table(shot, Sight(radius=0.86, zero_distance=400.0), np.array([20.0]))
    assert caught.value.lanes == (1,)
    with pytest.raises(BeyondReach) as caught:
        mark_table(shot, Sight(radius=0.86, zero_distance=18.0, pins=(20.0, 400.0)), ROWS)
    assert caught.value.lanes == (ROWS.size + 2,)
    with pytest.raises(TooNear) as caught:
        mark_table(shot, SIGHT, np.array([20.0, 0.05]))
    assert caught.value.lanes == (1,)


# --- common practice ---------------------------------------------------------------------

# Common practice, no source: 477 grains from a bow of 70 lbf at 30 in, about 275 ft/s, sight
# radius near 33 in. A peep 4.6 in over the arrow and Cd 1.9 on 5.9 mm are usual values.
HUNTER = shot_of(
    coefficient(1.9),
    launch_speed=275.0 * FOOT,
    arrow=Arrow(mass=477.0 * GRAIN, shaft_diameter=0.0059),
    peep_height=4.6 * INCH,
)


def pin_travel(*yards):
    pins = tuple(y * YARD for y in yards)
    sight = Sight(radius=33.0 * INCH, zero_distance=pins[0], pins=pins)
    return mark_table(HUNTER, sight, np.array([pins[0]])).pins.travel / INCH


def test_common_practice_pin_span():
    """From 20 yd to about 87 yd: 1.2 to 1.6 in of travel."""
    span = pin_travel(20, 87)[-1]
    assert 1.2 <= span <= 1.6


def test_common_practice_the_same_span_from_40_yd_ends_near_100():
    """The same travel from 40 yd on ends between about 95 and 120 yd."""
    span = pin_travel(20, 87)[-1]
    assert pin_travel(40, 95)[-1] < span < pin_travel(40, 120)[-1]


def test_common_practice_two_pins_fix_those_between():
    """Pins at 20 and 60 yd fix 30, 40 and 50: speed and drag trade against each other.

    A slower arrow with less drag that shares both marks shares the others to 0.1 mm.
    """
    yards = np.array([20.0, 30.0, 40.0, 50.0, 60.0]) * YARD
    sight = Sight(radius=33.0 * INCH, zero_distance=yards[0])
    target = mark_table(HUNTER, sight, yards).travel
    slippery = HUNTER.with_(drag_scale=0.7)
    low, high = 70.0, 84.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        other = mark_table(slippery.with_(launch_speed=middle), sight, yards).travel
        low, high = (middle, high) if other[-1] > target[-1] else (low, middle)
    assert other[-1] == pytest.approx(target[-1], abs=1e-8)
    assert other == pytest.approx(target, abs=1e-4)


def test_common_practice_70_m_is_about_76_yd():
    assert round(70.0 / YARD) in (76, 77)
