"""Cant against the closed form without drag, published figures, symmetries, and plain sums.

"derived": from mechanics, here or once from the stated equation by an independent
integrator. "common practice": the trade's, no source.
"""

import math

import numpy as np
import pytest
from cant_setups import COMPOUND, FEW, MANY, ROWS, SHOTS, YARD, coefficient, shot_of, table, vacuum
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from arrowloft.core.flight import impacts as impacts_module
from arrowloft.core.flight.aim import TooNear, aim
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import BeyondReach, reach
from arrowloft.core.level.cant import Allowance
from arrowloft.core.level.roll_series import RolledShot
from arrowloft.core.setup.flow import cross_section

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
