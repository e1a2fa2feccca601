"""A bow's balance: the lever, what must not matter, and what brings a moment back."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from arrowloft.core.bow.balance import (
    FARTHEST,
    FORWARD,
    HEAVIEST,
    LIGHTEST,
    ON_PIVOT,
    RIGHT,
    CannotRestore,
    Items,
    Why,
    balance,
    restored_by_mass,
    restored_by_place,
)

G = 9.80665
EXACT = 1e-12
"""Rounding of a handful of sums of masses below 5 kg at levers below 1 m."""

places = st.tuples(*[st.floats(-1.0, 1.0)] * 3)
things = st.tuples(st.floats(0.01, 3.0), places)
bows = st.lists(things, min_size=1, max_size=8)


def items_of(bow):
    return Items(
        mass=np.array([mass for mass, _ in bow]), position=np.array([place for _, place in bow])
    )


def lever(*masses_and_levers):
    return items_of([(mass, (forward, 0.0, 0.0)) for mass, forward in masses_and_levers])


def same(one, other, abs=EXACT):
    assert one.mass == pytest.approx(other.mass, abs=abs)
    assert one.centre == pytest.approx(other.centre, abs=100 * abs)  # divided by 0.01 kg
    assert one.moment == pytest.approx(other.moment, abs=10 * abs)  # times g


def test_two_masses_on_a_lever_hang_even():
    """0.2 kg at 0.6 m ahead against 0.4 kg at 0.3 m behind: Archimedes."""
    found = balance(lever((0.2, 0.6), (0.4, -0.3)), G)
    assert found.mass == pytest.approx(0.6)
    assert found.moment == pytest.approx([0.0, 0.0], abs=EXACT)
    assert found.centre == pytest.approx([0.0, 0.0, 0.0], abs=EXACT)
    assert found.item_moment[:, FORWARD] == pytest.approx([0.12 * G, -0.12 * G])


def test_each_axis_by_itself():
    """1 kg at (0.1, -0.2, 0.3): forward and up positive, left negative; height has no moment."""
    found = balance(items_of([(1.0, (0.1, -0.2, 0.3)), (1.0, (0.0, 0.0, 0.0))]), G)
    assert found.centre == pytest.approx([0.05, -0.1, 0.15])
    assert found.moment == pytest.approx([0.1 * G, -0.2 * G])
    assert found.item_moment == pytest.approx(np.array([[0.1 * G, -0.2 * G], [0.0, 0.0]]))


@given(bows)
def test_the_moments_are_those_of_the_whole_mass_in_its_centre(bow):
    found = balance(items_of(bow), G)
    assert found.moment == pytest.approx(found.mass * G * found.centre[:2], abs=10 * EXACT)
    assert found.item_moment.sum(axis=0) == pytest.approx(found.moment, abs=10 * EXACT)


@given(bows, st.floats(0.05, 0.95))
def test_an_item_cut_in_two_changes_nothing(bow, share):
    (mass, place), *others = bow
    halves = [(share * mass, place), *others, ((1.0 - share) * mass, place)]
    same(balance(items_of(halves), G), balance(items_of(bow), G))


@given(bows, st.floats(0.01, 1.0), st.floats(-1.0, 1.0))
def test_a_rod_may_be_given_by_its_middle_or_in_pieces(bow, length, start):
    """0.3 kg along its length, as one thing in the middle or as sixteen in a row."""
    middles = start + length * (np.arange(16) + 0.5) / 16
    pieces = [(0.3 / 16, (forward, 0.1, 0.0)) for forward in middles]
    whole = [(0.3, (start + 0.5 * length, 0.1, 0.0))]
    same(balance(items_of(bow + pieces), G), balance(items_of(bow + whole), G))


@given(bows, places)
def test_all_moved_alike_moves_the_centre_alike(bow, by):
    shift = np.array(by)
    items = items_of(bow)
    was = balance(items, G)
    found = balance(Items(mass=items.mass, position=items.position + shift), G)
    assert found.centre == pytest.approx(was.centre + shift, abs=100 * EXACT)
    assert found.moment == pytest.approx(was.moment + was.mass * G * shift[:2], abs=10 * EXACT)


@given(bows, st.randoms(use_true_random=False))
def test_the_order_plays_no_part(bow, random):
    shuffled = random.sample(bow, len(bow))
    same(balance(items_of(shuffled), G), balance(items_of(bow), G))


@given(bows)
def test_a_mirrored_bow_tips_to_the_other_side(bow):
    mirrored = [(mass, (forward, -right, up)) for mass, (forward, right, up) in bow]
    was, found = balance(items_of(bow), G), balance(items_of(mirrored), G)
    assert found.moment[RIGHT] == -was.moment[RIGHT]
    assert found.moment[FORWARD] == was.moment[FORWARD]


@given(bows, st.floats(9.76, 9.84))
def test_the_centre_is_the_same_in_any_gravity(bow, gravity):
    was, found = balance(items_of(bow), G), balance(items_of(bow), gravity)
    assert np.array_equal(found.centre, was.centre)
    assert found.moment / gravity == pytest.approx(was.moment / G, abs=EXACT)


def test_a_heavier_sight_by_hand():
    """A sight of 310 g in place of 205 g at 160 mm adds 16.8 g m: 16.8 / 0.8 = 21 g less at
    800 mm behind, that is of an end weight 21 g lighter ahead, or its 100 g 168 mm nearer."""
    before = lever((2.0, 0.01), (0.205, 0.16), (0.1, 0.8))
    after = lever((2.0, 0.01), (0.310, 0.16), (0.1, 0.8))
    assert restored_by_mass(before, after, 2).mass[2] == pytest.approx(0.079, abs=EXACT)
    moved = restored_by_place(before, after, 2)
    assert moved.position[2, FORWARD] == pytest.approx(0.632, abs=EXACT)
    assert np.array_equal(moved.mass, after.mass)


def test_what_comes_off_is_made_up_for():
    """A quiver of 300 g at 50 mm comes off: 15 g m are missing, 20 g at 750 mm."""
    before = lever((2.0, 0.01), (0.3, 0.05), (0.1, 0.75))
    after = lever((2.0, 0.01), (0.1, 0.75))
    assert restored_by_mass(before, after, 1).mass == pytest.approx([2.0, 0.12], abs=EXACT)


@given(bows, bows, places, st.sampled_from([FORWARD, RIGHT]))
def test_the_restoring_mass_restores(before, others, place, axis):
    """Whatever is found, the moment is back; the rest stays as the change made it."""
    was, after = items_of(before), items_of([*others, (0.2, place)])
    try:
        found = restored_by_mass(was, after, len(others), axis)
    except CannotRestore:
        assume(False)
    reach = np.abs(was.mass) @ np.abs(was.position[:, axis]) + found.mass.sum()
    expected = balance(was, G).moment[axis]
    assert balance(found, G).moment[axis] == pytest.approx(expected, abs=EXACT * max(1.0, reach))
    assert np.array_equal(found.position, after.position)
    assert np.array_equal(found.mass[:-1], after.mass[:-1])
    assert LIGHTEST <= found.mass[-1] <= HEAVIEST


@given(bows, bows, st.floats(0.5, 3.0), places, st.sampled_from([(FORWARD,), (RIGHT,), (0, 1)]))
def test_the_restoring_place_restores(before, others, mass, place, axes):
    was, after = items_of(before), items_of([*others, (mass, place)])
    try:
        found = restored_by_place(was, after, len(others), axes)
    except CannotRestore:
        assume(False)
    old, new = balance(was, G), balance(found, G)
    for axis in (FORWARD, RIGHT):
        if axis in axes:
            assert new.moment[axis] == pytest.approx(old.moment[axis], abs=100 * EXACT)
        else:
            assert np.array_equal(found.position[:, axis], after.position[:, axis])
    assert np.array_equal(found.position[:-1], after.position[:-1])
    assert np.array_equal(found.position[:, 2], after.position[:, 2])
    assert np.array_equal(found.mass, after.mass)


@given(bows, st.integers(0, 7), st.sampled_from([FORWARD, RIGHT]))
def test_without_a_change_the_answer_is_the_item_as_it_is(bow, item, axis):
    items = items_of(bow)
    item %= len(bow)
    assume(abs(items.position[item, axis]) > 0.01)
    found = restored_by_mass(items, items, item, axis)
    assert found.mass == pytest.approx(items.mass, abs=100 * 10 * EXACT)  # divided by 0.01 m
    assert restored_by_place(items, items, item, (axis,)).position == pytest.approx(
        items.position, abs=100 * 10 * EXACT
    )


def test_nothing_given_is_written_to():
    before, after = lever((1.0, 0.1), (0.2, 0.5)), lever((1.2, 0.1), (0.2, 0.5))
    restored_by_mass(before, after, 1)
    restored_by_place(before, after, 1)
    assert after.mass.tolist() == [1.2, 0.2] and after.position[:, 0].tolist() == [0.1, 0.5]


def refused(restoring, before, after, item, *rest):
    with pytest.raises(CannotRestore) as caught:
        restoring(before, after, item, *rest)
    return caught.value


def test_an_item_on_the_pivot_has_no_lever():
    for at in (0.0, ON_PIVOT, -ON_PIVOT):
        before, after = lever((1.0, 0.1), (0.2, at)), lever((1.1, 0.1), (0.2, at))
        error = refused(restored_by_mass, before, after, 1)
        assert error.why is Why.NO_LEVER and error.axis == FORWARD and error.needed is None
    # Sideways too: it is ahead of the pivot, and in its plane.
    before, after = lever((1.0, 0.1), (0.2, 0.5)), lever((1.1, 0.1), (0.2, 0.5))
    assert refused(restored_by_mass, before, after, 1, RIGHT).why is Why.NO_LEVER
    # Moved, it may leave the pivot: what 0.1 kg too much at 0.1 m ahead asks of 0.2 kg.
    before, after = lever((1.0, 0.1), (0.2, 0.0)), lever((1.1, 0.1), (0.2, 0.0))
    assert restored_by_place(before, after, 1).position[1, 0] == pytest.approx(-0.05)


def test_no_mass_is_no_answer():
    """10 g m too much ahead: an item of 20 g at 400 mm has but 8 g m to give."""
    before, after = lever((1.0, 0.1), (0.02, 0.4)), lever((1.1, 0.1), (0.02, 0.4))
    error = refused(restored_by_mass, before, after, 1)
    assert error.why is Why.NO_MASS
    assert error.needed == pytest.approx(-0.002 / 0.4)
    # With 25 g it has just what is needed, and would weigh nothing.
    before, after = lever((1.0, 0.1), (0.025, 0.4)), lever((1.1, 0.1), (0.025, 0.4))
    error = refused(restored_by_mass, before, after, 1)
    assert error.why is Why.NO_MASS and error.needed == pytest.approx(0.0, abs=EXACT)


def test_more_than_a_bow_carries_is_no_answer():
    before, after = lever((2.0, 0.5), (0.1, 0.01)), lever((1.0, 0.5), (0.1, 0.01))
    error = refused(restored_by_mass, before, after, 1)
    assert error.why is Why.TOO_HEAVY and error.needed == pytest.approx(50.1)
    assert error.needed > HEAVIEST


def test_farther_than_a_bow_reaches_is_no_answer():
    """1 kg too much at 0.5 m, ahead or behind, of an item of 0.1 kg: 5 m from where it is."""
    for sign in (1.0, -1.0):
        before = lever((2.0, sign * 0.5), (0.1, 0.0))
        after = lever((1.0, sign * 0.5), (0.1, 0.0))
        error = refused(restored_by_place, before, after, 1)
        assert error.why is Why.TOO_FAR and error.needed == pytest.approx(5.0 * sign)
        assert abs(error.needed) > FARTHEST
    # Along right nothing is amiss.
    assert np.array_equal(restored_by_place(before, after, 1, (RIGHT,)).position, after.position)


@pytest.mark.parametrize(
    ("mass", "position", "word"),
    [
        ([], np.empty((0, 3)), "at least one"),
        ([[1.0]], [[0.0, 0.0, 0.0]], "at least one"),
        ([1.0, 1.0], [[0.0, 0.0, 0.0]], "positions"),
        ([1.0], [[0.0, 0.0]], "positions"),
        ([0.0], [[0.0, 0.0, 0.0]], "positive"),
        ([-0.1], [[0.0, 0.0, 0.0]], "positive"),
        ([np.nan], [[0.0, 0.0, 0.0]], "finite"),
        ([np.inf], [[0.0, 0.0, 0.0]], "finite"),
        ([1.0], [[0.0, np.nan, 0.0]], "finite"),
    ],
)
def test_what_is_no_bow_is_refused(mass, position, word):
    with pytest.raises(ValueError, match=word):
        Items(mass=np.array(mass), position=np.array(position))
