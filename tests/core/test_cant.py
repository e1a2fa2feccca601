"""Cant against the closed form without drag, published figures, symmetries, and plain sums.

"derived": from mechanics, here or once from the stated equation by an independent
integrator. "common practice": the trade's, no source.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator
from scipy.special import ndtr

from arrowloft.core import impacts as impacts_module
from arrowloft.core import roll_scatter, spirit_level
from arrowloft.core.aim import TooNear, aim
from arrowloft.core.air import Air
from arrowloft.core.cant import Allowance, cant_table
from arrowloft.core.equipment import Arrow
from arrowloft.core.flow import cross_section
from arrowloft.core.groups import Group
from arrowloft.core.impacts import impacts
from arrowloft.core.reach import BeyondReach, reach
from arrowloft.core.roll_scatter import group_table, matters_from, roll_spread
from arrowloft.core.roll_series import RolledShot, rolled
from arrowloft.core.shares import share_in_circle
from arrowloft.core.shot import Shot
from arrowloft.core.spirit_level import false_roll, level_table

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
YARD = 0.9144
MANY = np.linspace(5.0, 90.0, 40)  # read from series over the distance
FEW = np.array([20.0, 70.0, 45.0])  # a series in the roll at each
ROWS = pytest.mark.parametrize("distances", [MANY, FEW], ids=["many", "few"])
RADIUS = Allowance(radius=0.05)


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
        "drag": coefficient(2.0),
        "air": AIR,
        "peep_height": 0.115,
        "launch_forward": 0.8,
        "tip_lead": 0.3,
        "kinks": (),
    }
    return Shot(**{**values, **changes})


COMPOUND = shot_of(
    launch_speed=85.0,
    drag=coefficient(1.6),
    arrow=Arrow(mass=0.023, shaft_diameter=0.006),
    peep_height=0.0,
    launch_forward=0.0,
    tip_lead=0.0,
)


def table(shot=None, distances=FEW, cants=(0.0,), allowance=RADIUS):
    return cant_table(shot or shot_of(), distances, np.array(cants, dtype=float), allowance)


# --- closed forms ------------------------------------------------------------------------


@ROWS
@pytest.mark.parametrize("height", [0.0, 0.115])
@pytest.mark.parametrize("slope", np.radians([-40.0, 0.0, 30.0]))
def test_without_drag_the_drop_swings_like_a_pendulum(distances, height, slope):
    """Derived: D sin(b) aside and D (1 - cos(b)) low, D = g cos(slope) t^2 / 2 the drop.

    The arrow's line meets the plane of the target at D above the aim point, as the arrow
    falls by D from it; a roll about the line of sight turns that point about the aim point
    and leaves the fall, the time and the way along the line of sight as they were.
    """
    shot = shot_of(drag=vacuum, peep_height=height, launch_forward=0.0, tip_lead=0.0, slope=slope)
    cants = np.radians([-45.0, -3.0, 0.5, 20.0, 45.0])
    aimed = aim(shot, distances)
    drop = (0.5 * shot.gravity * np.cos(slope) * aimed.time**2)[:, None]
    if slope == 0.0:  # the drop below the line of departure, the eye h above it
        angle = aimed.launch_angle
        line = distances * np.tan(angle) - height / np.cos(angle)
        assert drop[:, 0] == pytest.approx(line, abs=1e-8)
    found = table(shot, distances, cants)
    assert not found.rolled.flown.size  # the series hold: no flights but theirs
    assert found.right == pytest.approx(drop * np.sin(cants), abs=1e-7)
    assert found.up == pytest.approx(-drop * (1.0 - np.cos(cants)), abs=1e-7)
    most = 2.0 * np.arcsin(np.minimum(0.05 / (2.0 * drop[:, 0]), 1.0))
    within = most < np.pi / 4
    assert within.any()
    assert found.max_cant[within] == pytest.approx(most[within], abs=1e-6)
    assert np.isnan(found.max_cant[~within]).all()
    assert found.error < 3e-7


def test_compound_at_sixty_yards_three_degrees():
    """Derived (computed once from the equation of motion by an independent integrator):
    85 m/s, Cd 1.6, 6 mm, 23 g, from the eye, 54.864 m, 3 deg: 111.955 mm aside, 2.932 low."""
    found = table(COMPOUND, np.array([54.864]), [math.radians(3.0)])
    assert found.right[0, 0] == pytest.approx(0.111955, abs=6e-7)
    assert found.up[0, 0] == pytest.approx(-0.002932, abs=6e-7)


def test_a_few_degrees_show_at_far_marks_only():
    """Common practice: a few degrees of roll do not show at 20 to 30 yd and do at 50 to 80."""
    yards = np.array([20.0, 30.0, 50.0, 80.0]) * YARD
    size = table(shot_of(launch_speed=80.0), yards, [math.radians(3.0)]).displacement[:, 0]
    assert size[:2].max() < 0.045  # within an archer's usual group there
    assert size[2] > 0.07
    assert size[3] > 0.2


# --- symmetries and identities -------------------------------------------------------------

SHOTS = st.fixed_dictionaries(
    {
        "launch_speed": st.floats(45.0, 110.0),
        "slope": st.floats(-0.8, 0.8),
        "wind_speed": st.sampled_from([0.0, 3.0, 10.0]),
        "wind_from": st.floats(0.0, 2.0 * math.pi),
        "peep_height": st.floats(0.0, 0.15),
        "tip_lead": st.sampled_from([0.0, 0.3]),
    }
)
CANTS = st.lists(st.floats(0.001, math.pi / 4), min_size=1, max_size=3)


@ROWS
@given(members=SHOTS)
def test_no_cant_shifts_nothing_at_all(distances, members):
    found = table(shot_of(**members), distances, [0.0, 0.1])
    assert not found.right[:, 0].any()
    assert not found.up[:, 0].any()
    assert found.right[:, 1].all()


@ROWS
@given(members=SHOTS, cants=CANTS)
def test_a_mirrored_cant_in_a_mirrored_wind_mirrors_the_side(distances, members, cants):
    one = table(shot_of(**members), distances, cants)
    mirrored = members | {"wind_from": -members["wind_from"]}
    other = table(shot_of(**mirrored), distances, [-cant for cant in cants])
    assert other.right == pytest.approx(-one.right, abs=1e-7)
    assert other.up == pytest.approx(one.up, abs=1e-7)
    assert other.max_cant_left == pytest.approx(one.max_cant_right, abs=1e-6, nan_ok=True)
    # To the top limb's side; nearer, wind on the tip may outweigh a drop of millimetres.
    assert (one.right[distances > 15.0] > 0.0).all()
    if members["wind_speed"] == 0.0:
        assert (one.up < 0.0).all()


@ROWS
@given(members=SHOTS, side=st.sampled_from([-1.0, 1.0]))
def test_the_shift_grows_with_the_cant(distances, members, side):
    cants = side * np.linspace(0.0, math.pi / 4, 12)
    size = table(shot_of(**members), distances, cants).displacement
    assert (np.diff(size, axis=1) > 0.0).all()


@ROWS
@given(members=SHOTS, radius=st.floats(0.005, 3.0))
def test_the_largest_cant_puts_the_impact_on_the_allowance(distances, members, radius):
    found = table(shot_of(**members), distances, allowance=Allowance(radius=radius))
    for side, most in ((-1.0, found.max_cant_left), (1.0, found.max_cant_right)):
        end = np.where(np.isnan(most), math.pi / 4, most)
        size = np.hypot(*found.rolled.shift(side * end[:, None]))[:, 0]
        kept = np.isnan(most)
        assert (size[kept] <= radius).all()
        assert size[~kept] == pytest.approx(radius, rel=1e-6)
    both = np.fmin(found.max_cant_left, found.max_cant_right)
    assert found.max_cant == pytest.approx(both, nan_ok=True)


@given(members=SHOTS)
def test_many_rows_say_what_each_says_by_itself(members):
    """Series over the distance, against flights of the very distance and cant."""
    cants = np.radians([-41.0, -4.0, 1.0, 33.0])
    found = table(shot_of(**members), MANY, cants)
    some = np.array([0, 1, 17, 39])
    shot, rolls = shot_of(**members), np.concatenate((cants, [0.0]))
    angle = np.repeat(aim(shot, MANY[some]).launch_angle, rolls.size)
    lanes = shot.with_(roll=np.tile(rolls, some.size))
    met = impacts(lanes, angle, np.repeat(MANY[some], rolls.size))
    right, up = (v.reshape(some.size, -1) for v in (met.right, met.up))
    assert found.right[some] == pytest.approx(right[:, :-1] - right[:, -1:], abs=2e-7)
    assert found.up[some] == pytest.approx(up[:, :-1] - up[:, -1:], abs=2e-7)


def test_the_allowance_as_radius_or_angle():
    assert Allowance(radius=0.2).at(FEW) == pytest.approx([0.2, 0.2, 0.2])
    assert Allowance(angle=0.001).at(FEW) == pytest.approx(FEW * math.tan(0.001))
    wide = table(allowance=Allowance(angle=0.002))
    assert (np.diff(wide.max_cant[np.argsort(FEW)]) < 0.0).all()


# --- what does not fit the series ------------------------------------------------------------


def bent(flow, arrow):
    """A coefficient that grows with the Reynolds number from a knot on."""
    reynolds = flow.reynolds(arrow.shaft_diameter)
    return cross_section(arrow) * (1.5 + np.maximum(reynolds - 1.95e4, 0.0) / 4e3)


def test_rows_that_the_series_do_not_fit_are_flown():
    """One flight each is the truth: the row's series and its flights must agree where both are."""
    shot = shot_of(drag=bent, kinks=(1.95e4,), launch_speed=54.0, wind_speed=3.0, wind_from=1.0)
    cants = np.radians([-30.0, -2.0, 0.0, 2.0, 30.0])
    found = table(shot, MANY, cants)
    flown = RolledShot(
        shot,
        MANY,
        found.rolled.launch_angle,
        found.rolled.series,
        np.arange(MANY.size),
        found.error,
        found.airspeed_range,
    )
    right, up = flown.shift(cants)
    assert found.right == pytest.approx(right, abs=max(found.error, 1e-6))
    assert found.up == pytest.approx(up, abs=max(found.error, 1e-6))
    assert not found.right[:, 2].any()
    most = flown.largest_roll(found.allowance, 1)
    assert found.max_cant_right == pytest.approx(most, rel=1e-4, nan_ok=True)


COEFFICIENTS = PchipInterpolator((1.0e4, 1.4e4, 2.0e4, 4.0e4), (1.6, 1.5, 2.6, 2.3))


def tabled(flow, arrow):
    reynolds = np.clip(flow.reynolds(arrow.shaft_diameter), 1.0e4, 4.0e4)
    return cross_section(arrow) * COEFFICIENTS(reynolds)


@pytest.mark.parametrize("wind", [0.0, 3.0])
def test_long_flights_of_a_kinked_law_are_not_stepped(monkeypatch, wind):
    """One by one they would take seconds; and each must be what it is flown by itself."""
    shot = shot_of(drag=tabled, kinks=(1.0e4, 1.4e4, 2.0e4, 4.0e4), wind_speed=wind)
    distances, cants = np.linspace(10.0, 180.0, 80), np.radians([-8.0, 3.0])

    def stepped(*_):
        pytest.fail("a flight is integrated step by step")

    with monkeypatch.context() as patched:
        patched.setattr(impacts_module, "_step", stepped)
        found = table(shot, distances, cants)
        assert not found.rolled.flown.size
        assert found.error < 5e-6
    some = np.array([5, 60, 70, 79])
    angle, rolls = np.repeat(found.rolled.launch_angle[some], 3), np.tile([*cants, 0.0], 4)
    met = impacts(shot.with_(roll=rolls), angle, np.repeat(distances[some], 3))
    right = met.right.reshape(4, 3)
    assert found.right[some] == pytest.approx(right[:, :2] - right[:, 2:], abs=2e-6)


def test_near_the_reach_the_roll_has_a_finer_series():
    shot = shot_of()
    distances = np.linspace(10.0, 0.98 * float(reach(shot).distance[0]), 80)
    cants = np.radians([-40.0, -8.0, 25.0])
    found = table(shot, distances, cants)
    assert not found.rolled.flown.size
    for row in (60, 77, 79):
        lanes = shot.with_(roll=np.array([*cants, 0.0]))
        met = impacts(lanes, np.full(4, found.rolled.launch_angle[row]), np.full(4, distances[row]))
        assert found.right[row] == pytest.approx(met.right[:3] - met.right[3], abs=found.error)
        assert found.up[row] == pytest.approx(met.up[:3] - met.up[3], abs=found.error)


def test_an_arrow_that_never_arrives_is_nan_and_out():
    """Steeply uphill near the reach, a canted arrow turns back before the target's plane."""
    shot = shot_of(slope=math.radians(60.0), drag=coefficient(8.0), launch_speed=45.0)
    far = 0.9999 * float(reach(shot).distance[0])
    found = table(shot, np.array([30.0, far]), np.radians([0.0, 1.0, 45.0]), Allowance(radius=5.0))
    assert np.isfinite(found.right[0]).all()
    assert np.isnan(found.right[1, 2])
    assert np.isnan(found.displacement[1, 2])
    assert 0.0 < found.max_cant[1] < math.pi / 4
    assert found.right[1, 0] == 0.0


def test_refusals():
    with pytest.raises(BeyondReach) as beyond:
        table(distances=np.array([20.0, 900.0]))
    assert beyond.value.lanes == (1,)
    with pytest.raises(BeyondReach) as beyond:
        table(distances=np.linspace(20.0, 900.0, 40))
    assert min(beyond.value.lanes) > 3
    with pytest.raises(TooNear):
        table(distances=np.array([1.0, 20.0]))
    with pytest.raises(ValueError, match="45 degrees"):
        table(cants=[0.8])


# --- the archer ------------------------------------------------------------------------------

GROUP = Group(distance=50.0, vertical=0.06, sideways=0.05)


def test_roll_spread_of_a_pendulum():
    """Derived: Var(D sin(b)) = D^2 (1 - exp(-2 s^2)) / 2 for a normal roll b of deviation s."""
    shot = shot_of(drag=vacuum, peep_height=0.0, launch_forward=0.0, tip_lead=0.0)
    drop = FEW * np.tan(aim(shot, FEW).launch_angle)
    for scatter in (0.01, 0.08):
        exact = drop * math.sqrt(0.5 * (1.0 - math.exp(-2.0 * scatter**2)))
        assert roll_spread(rolled(shot, FEW), scatter) == pytest.approx(exact, rel=1e-5)


@pytest.mark.parametrize("scatter", np.radians([0.5, 3.0, 9.0]))
def test_shares_count_arrows(scatter):
    """Against 400,000 arrows drawn at random, each with its own roll."""
    found = table(shot_of(wind_speed=4.0, wind_from=1.0), FEW, allowance=Allowance(radius=0.12))
    shares = group_table(found, GROUP, scatter)
    rng = np.random.default_rng(7)
    count = 400_000
    rolls = rng.normal(0.0, scatter, count)
    right, up = found.rolled.shift(np.clip(rolls, -math.pi / 4, math.pi / 4))
    for row, distance in enumerate(FEW):
        aside = rng.normal(0.0, 0.05 / 50.0 * distance, count)
        high = rng.normal(0.0, 0.06 / 50.0 * distance, count)
        level = np.mean(np.hypot(aside, high) <= 0.12)
        canted = np.mean(np.hypot(aside + right[row], high + up[row]) <= 0.12)
        assert shares.share_level[row] == pytest.approx(level, abs=3e-3)
        assert shares.share_rolled[row] == pytest.approx(canted, abs=3e-3)
        assert shares.roll_spread[row] == pytest.approx(np.std(right[row]), rel=0.01)
    assert (shares.share_rolled < shares.share_level).all()
    assert shares.roll_share == pytest.approx(shares.roll_spread / shares.group_sideways)


YOUTH = shot_of(launch_speed=40.0, arrow=Arrow(mass=0.016, shaft_diameter=0.0055))
WINDY = shot_of(wind_speed=6.0, wind_from=1.2)


def share_summed(flown, radius, group, scatter):
    """Share of one row by a sum over 30,001 even rolls, those beyond 45 degrees held there."""
    rolls = np.linspace(-1.0, 1.0, 30_001) * min(math.pi / 4, 8.0 * scatter)
    right, up = (v[0] for v in flown.shift(rolls))
    distance = flown.distance[0]
    deviations = group.angular_vertical * distance, group.angular_sideways * distance
    inside = share_in_circle(radius, *deviations, up, right)
    density = np.exp(-0.5 * (rolls / scatter) ** 2) / (scatter * math.sqrt(2.0 * math.pi))
    beyond = float(ndtr(-math.pi / 4 / scatter))
    return np.trapezoid(density * inside, rolls) + beyond * (inside[0] + inside[-1])


NARROW = [  # shot, standard deviation, where shot, roll in degrees, distance, radius
    (YOUTH, 0.03, 20.0, 4.0, 59.84, 0.1),
    (YOUTH, 0.01, 30.0, 10.0, 59.84, 0.1),
    (COMPOUND, 0.005, 50.0, 5.0, 100.0, 0.05),
    (WINDY, 0.002, 50.0, 8.0, 60.0, 0.06),
    (WINDY, 0.1, 50.0, 15.0, 60.0, 0.3),
    (YOUTH, 0.0005, 50.0, 15.0, 12.5, 0.4),
]


@pytest.mark.parametrize(("shot", "size", "at", "degrees", "distance", "radius"), NARROW)
def test_the_share_is_the_sum_whatever_the_table(shot, size, at, degrees, distance, radius):
    """However narrow the group beside the roll, and however many rows beside the one."""
    group, scatter = Group(distance=at, vertical=0.8 * size, sideways=size), math.radians(degrees)

    def share(*others):
        rows = table(shot, np.array([distance, *others]), allowance=Allowance(radius=radius))
        return group_table(rows, group, scatter).share_rolled

    true = share_summed(rolled(shot, np.array([distance])), radius, group, scatter)
    assert share()[0] == pytest.approx(true, abs=1e-5)
    assert share(*np.linspace(5.0, 70.0, 97)[::-1])[0] == pytest.approx(true, abs=1e-4)
    long = share(*np.linspace(5.0, 70.0, 714))
    assert long[0] == pytest.approx(true, abs=1e-4)
    assert (np.diff(long[1:]) < 1e-9).all()


def test_the_share_of_a_narrow_group_counts_arrows():
    """Against a million arrows drawn at random."""
    group, scatter, count = Group(distance=30.0, vertical=0.01, sideways=0.01), 0.17, 1_000_000
    found = table(YOUTH, np.array([40.0]), allowance=Allowance(radius=0.2))
    rng = np.random.default_rng(11)
    rolls = np.clip(rng.normal(0.0, scatter, count), -math.pi / 4, math.pi / 4)
    right, up = (v[0] for v in found.rolled.shift(rolls))
    aside, high = rng.normal(0.0, 0.01 / 30.0 * 40.0, (2, count))
    counted = np.mean(np.hypot(right + aside, up + high) <= 0.2)
    share = group_table(found, group, scatter).share_rolled[0]
    assert share == pytest.approx(counted, abs=5.0 * math.sqrt(counted / count))


def test_a_distance_asked_twice_has_one_share():
    rows = np.concatenate((np.linspace(70.0, 5.0, 150), [33.0, 33.0]))
    share = group_table(table(YOUTH, rows), GROUP, 0.05).share_rolled
    assert share[-1] == share[-2]


def test_a_group_without_roll_has_no_roll_columns():
    shares = group_table(table(), GROUP)
    assert shares.group_sideways == pytest.approx(0.05 / 50.0 * FEW)
    assert shares.group_vertical == pytest.approx(0.06 / 50.0 * FEW)
    assert shares.share_rolled is shares.roll_spread is shares.roll_share is None


@given(members=SHOTS, share=st.floats(0.2, 1.5))
def test_where_roll_matters_it_adds_that_share(members, share):
    shot, scatter = shot_of(**members), math.radians(1.5)
    least = matters_from(shot, GROUP, scatter, share)
    part = group_table(table(shot, np.array([least * 0.999, least, least * 1.001])), GROUP, scatter)
    assert part.roll_share[1] == pytest.approx(share, rel=2e-4)
    assert part.roll_share[0] < share < part.roll_share[2]


def test_roll_that_always_or_never_matters():
    shot = shot_of()
    nearest = 0.8 + 0.3 + 0.1
    assert matters_from(shot, GROUP, math.radians(15.0), 0.01) == pytest.approx(nearest)
    assert math.isnan(matters_from(shot, GROUP, math.radians(0.01), 5.0))


@pytest.mark.parametrize(
    ("shot", "size"), [(shot_of(), 5.0), (COMPOUND, 20.0), (YOUTH, 3.0), (shot_of(), 1.0)]
)
def test_the_search_ends_well_within_the_reach(monkeypatch, shot, size):
    """At the lesser of 300 m and 0.9 of the reach, beyond which flights are slow to solve."""
    end = min(300.0, 0.9 * float(reach(shot).distance[0]))
    asked = [0.0]

    def recording(shot, distances):
        found = rolled(shot, distances)
        asked.append(float(distances.max()))
        return found

    monkeypatch.setattr(roll_scatter, "rolled", recording)
    group = Group(distance=50.0, vertical=size, sideways=size)
    least = matters_from(shot, group, math.radians(1.5), 0.5)
    assert max(asked) <= max(end, 100.0) + 1e-6
    assert math.isnan(least) == (size > 1.0)
    if size == 1.0:
        assert 100.0 < least < end
        rows = table(shot, least * np.array([1.0, 0.999, 1.001]))
        part = group_table(rows, group, math.radians(1.5)).roll_share
        assert part[0] == pytest.approx(0.5, rel=2e-4)
        assert part[1] < 0.5 < part[2]


# --- the level ---------------------------------------------------------------------------------


def test_a_level_that_is_off_rolls_the_bow():
    """Each row is the shift of its false roll, aimed and flown at its slope."""
    slopes, off = np.radians([-30.0, 0.0, 25.0]), np.radians([1.0, 2.0])
    found = level_table(shot_of(), slopes, FEW, *off)
    assert found.slope == pytest.approx(np.repeat(slopes, 3))
    assert found.distance == pytest.approx(np.tile(FEW, 3))
    for index, slope in enumerate(slopes):
        shot, rows = shot_of(slope=slope), slice(3 * index, 3 * index + 3)
        angle = aim(shot, FEW).launch_angle
        roll = false_roll(*off, np.full(3, slope), angle)
        assert found.false_roll[rows] == pytest.approx(roll, abs=1e-12)
        right, up = rolled(shot, FEW).shift(np.asarray(roll)[:, None])
        assert found.right[rows] == pytest.approx(right[:, 0], abs=2e-7)
        assert found.up[rows] == pytest.approx(up[:, 0], abs=2e-7)
    assert found.false_roll[3] == pytest.approx(math.radians(1.0), abs=1e-2)
    assert found.right[3] > 0.0


def test_a_true_level_shifts_nothing():
    found = level_table(shot_of(wind_speed=5.0, wind_from=1.0), np.array([0.3]), FEW, 0.0, 0.0)
    assert not found.right.any()
    assert not found.up.any()


def test_level_refuses_the_row_beyond_reach():
    with pytest.raises(BeyondReach) as beyond:
        level_table(shot_of(), np.array([0.0, 0.9]), np.array([20.0, 215.0]), 0.01, 0.0)
    assert beyond.value.lanes == (3,)
    assert beyond.value.case == 1


def test_level_is_refused_by_its_steepest_slope_alone(monkeypatch):
    """Else each row beyond reach is searched for by itself, which takes seconds."""
    lanes = []

    def counting(shot, distance):
        lanes.append(np.size(distance))
        return aim(shot, distance)

    monkeypatch.setattr(spirit_level, "aim", counting)
    slopes, distances = np.radians([10.0, 50.0, -20.0]), np.linspace(20.0, 215.0, 60)
    with pytest.raises(BeyondReach) as beyond:
        level_table(shot_of(), slopes, distances, 0.01, 0.0)
    assert sum(lanes) == 1
    assert beyond.value.case == 1
    uphill = shot_of(slope=slopes[1])
    assert beyond.value.farthest == pytest.approx(float(reach(uphill).distance[0]))
    past = 60 + np.flatnonzero(distances > beyond.value.farthest)
    assert beyond.value.lanes == tuple(past)
