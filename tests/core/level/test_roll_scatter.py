"""The archer's usual roll: pendulums, plain sums and counted arrows."""

import math

import numpy as np
import pytest
from cant_setups import COMPOUND, FEW, SHOTS, shot_of, table, vacuum
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.special import ndtr

from arrowloft.core.archer.groups import Group
from arrowloft.core.archer.shares import share_in_circle
from arrowloft.core.flight.aim import aim, nearest_aim
from arrowloft.core.flight.reach import reach
from arrowloft.core.level import roll_scatter
from arrowloft.core.level.cant import Allowance
from arrowloft.core.level.roll_scatter import group_table, matters_from, roll_spread
from arrowloft.core.level.roll_series import rolled
from arrowloft.core.setup.equipment import Arrow

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
    assume(least > 1.01 * float(nearest_aim(shot)))  # where it does not matter from the start
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
