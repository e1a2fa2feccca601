"""Flyers: against Fisher's distribution, seeded ends, and limits."""

import numpy as np
import pytest
from scipy import stats

from arrowloft.core.archer import flyers as module
from arrowloft.core.archer.archer_scatter import USUAL, USUAL_DEGREES
from arrowloft.core.archer.flyers import UNLIKELY, flyers
from arrowloft.core.archer.groups import Group

DISTANCE = 30.0
KNOWN = Group(distance=60.0, vertical=0.06, sideways=0.09, arrows=9)
"""1 mrad up and down, 1.5 mrad sideways."""


def ends(rng, count, arrows, scatter=1e-3):
    return scatter * DISTANCE * rng.standard_normal((count, 2, arrows))


def off_by(chance, others, sides=(1e-3,), k=8.0):
    """How far from the others' centre, each axis by its deviation, an arrow is so unlikely.

    others: places of the others, each axis (arrows,), m; the scatter is pooled with `KNOWN`.
    """
    n = others.shape[1]
    angles = others / DISTANCE
    pooled = (k * np.array(sides) ** 2 + (n - 1) * angles.var(axis=1, ddof=1)) / (k + n - 1)
    most = stats.f.isf(chance, len(sides), k + n - 1)
    return DISTANCE * np.sqrt(pooled * (1.0 + 1.0 / n) * most)


@pytest.mark.parametrize("sideways", [False, True])
def test_the_limit_is_that_of_fishers_distribution(sideways):
    """An arrow just over it is a flyer, one just under is not; the others lie close."""
    rng = np.random.default_rng(2)
    sides = (1e-3, 1.5e-3) if sideways else (1e-3,)
    others = 0.3e-3 * DISTANCE * rng.standard_normal((len(sides), 6))
    limit = off_by(UNLIKELY / 7.0, others, sides)
    for factor, expected in ((0.999, []), (1.001, [6])):
        places = np.column_stack((others, others.mean(axis=1) + factor * limit))
        right = places[1] if sideways else None
        assert flyers(DISTANCE, places[0], right, KNOWN) == expected


def test_without_a_group_what_is_usual_is_the_scatter():
    others = np.array([[0.01, -0.01, 0.0, 0.0]])
    limit = off_by(UNLIKELY / 5.0, others, (USUAL,), USUAL_DEGREES)[0]
    assert flyers(DISTANCE, np.append(others, 0.999 * limit)) == []
    assert flyers(DISTANCE, np.append(others, 1.001 * limit)) == [4]


def test_the_distance_counts():
    up = np.array([0.0, 0.005, -0.005, 0.0, 0.1])
    assert flyers(10.0, up, None, KNOWN) == [4]
    assert flyers(70.0, up, None, KNOWN) == []


@pytest.mark.parametrize("arrows", [3, 6])
@pytest.mark.parametrize("sideways", [False, True])
def test_sound_arrows_are_seldom_flyers(arrows, sideways):
    rng = np.random.default_rng(17)
    alarms, count = 0, 400
    for up, right in ends(rng, count, arrows):
        before = (0.06 * rng.standard_normal((2, 9))).std(axis=1, ddof=1)
        group = Group(distance=60.0, vertical=before[0], sideways=before[1], arrows=9)
        alarms += bool(flyers(DISTANCE, up, right if sideways else None, group))
    assert alarms <= stats.binom.isf(1e-3, count, UNLIKELY)


def test_the_chance_of_a_sound_arrow_is_even():
    """One axis: the distance of an arrow from the others follows Fisher's F exactly."""
    rng, chances = np.random.default_rng(18), []
    for up, _ in ends(rng, 800, 4):
        before = 0.06 * rng.standard_normal(6).std(ddof=1)
        group = Group(distance=60.0, vertical=before, sideways=before, arrows=6)
        # A matter of one module alone; flyers() itself gives positions only.
        chances.append(module._chances(DISTANCE, [up], group)[1])
    assert stats.kstest(chances, "uniform").pvalue > 1e-3


@pytest.mark.parametrize("axes", [1, 2])
def test_each_is_held_against_the_others_without_it(axes):
    """One by one, the centre and the deviation of the others found anew."""
    places = ends(np.random.default_rng(19), 1, 7)[0, :axes]
    before = np.array([1e-3, 1.5e-3])[:axes] * DISTANCE
    expected = []
    for index in range(7):
        others = np.delete(places, index, axis=1)
        pooled = (8.0 * before**2 + 5.0 * others.var(axis=1, ddof=1)) / 13.0
        off = places[:, index] - others.mean(axis=1)
        ratio = np.mean(off**2 / (pooled * (1.0 + 1.0 / 6.0)))
        expected.append(stats.f.sf(ratio, axes, 13.0))
    assert module._chances(DISTANCE, list(places), KNOWN) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("group", [None, KNOWN])
def test_a_flagrant_one_is_found_wherever_it_stands(axis, group):
    places = ends(np.random.default_rng(3), 1, 6)[0]
    for index in range(6):
        moved = places.copy()
        moved[axis, index] += 1.0
        assert flyers(DISTANCE, moved[0], moved[1], group) == [index]


@pytest.mark.parametrize("offs", [(1.0, -1.5), (1.0, 1.4)])
def test_two_of_seven(offs):
    up = ends(np.random.default_rng(4), 1, 7)[0, 0]
    up[[5, 1]] += offs
    assert flyers(DISTANCE, up, None, KNOWN) == [1, 5]


@pytest.mark.parametrize(("arrows", "most"), [(3, 1), (5, 1), (6, 2), (8, 2), (9, 3)])
def test_never_more_than_one_in_three(arrows, most):
    up = np.zeros(arrows)
    up[: most + 1] = 3.0 * 4.0 ** np.arange(most + 1.0)
    found = flyers(DISTANCE, up, None, KNOWN)
    # The farthest first: the nearest of them is one too many.
    assert found == list(range(1, most + 1))


@pytest.mark.parametrize("up", [[], [0.3], [0.0, 5.0]])
def test_of_fewer_than_three_none_can_be_told(up):
    assert flyers(DISTANCE, np.array(up), None, KNOWN) == []


NOTHING = Group(distance=60.0, vertical=0.0, sideways=0.0, arrows=9)


@pytest.mark.parametrize("group", [None, KNOWN, NOTHING])
@pytest.mark.parametrize("place", [0.0, 0.1])
def test_arrows_in_one_hole_are_none(group, place):
    hole = np.full(6, place)
    assert flyers(DISTANCE, hole, hole, group) == []
    assert flyers(DISTANCE, hole, None, group) == []


def test_beside_arrows_in_one_hole_one_is_told_by_what_is_read_on_a_target():
    """No scatter at all: a millimetre is no flyer, a centimetre is."""
    up = np.full(6, 0.1)
    up[2] += 0.001
    assert flyers(DISTANCE, up, None, NOTHING) == []
    up[2] += 0.009
    assert flyers(DISTANCE, up, None, NOTHING) == [2]


def test_the_order_and_the_side_are_of_no_account():
    places = ends(np.random.default_rng(5), 1, 7)[0]
    places[:, 3] += (0.3, -0.4)
    turned = flyers(DISTANCE, -places[0, ::-1] + 0.2, places[1, ::-1], KNOWN)
    assert flyers(DISTANCE, *places, KNOWN) == [3] == turned
