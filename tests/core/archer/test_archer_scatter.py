"""An archer's scatter pooled: against raw arrows, its own distribution, and limits."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from arrowloft.core.archer.archer_scatter import (
    KNOWN_DEGREES,
    READING,
    USUAL,
    USUAL_DEGREES,
    Scatter,
    archer_scatter,
    own_scatter,
    told_more,
)
from arrowloft.core.archer.groups import Group, spread_degrees
from arrowloft.core.archer.landed import Landed


def test_it_is_the_pooled_deviation_of_raw_arrows():
    """Three groups at one distance: squares about each one's own centre, over n - groups."""
    rng = np.random.default_rng(5)
    ends = [rng.normal(m, s, (n, 2)) for m, s, n in ((0.1, 0.02, 4), (-0.2, 0.03, 7), (0, 0.1, 2))]
    first = Group(
        distance=40.0,
        vertical=ends[0][:, 0].std(ddof=1),
        sideways=ends[0][:, 1].std(ddof=1),
        arrows=4,
    )
    landed = [Landed.of_arrows(40.0, *end.T) for end in ends[1:]]
    found = archer_scatter(landed, first)
    squares = sum(((end - end.mean(axis=0)) ** 2).sum(axis=0) for end in ends)
    expected = np.sqrt(squares / (13 - 3)) / 40.0
    assert found.vertical.deviation == pytest.approx(expected[0], rel=1e-12)
    assert found.sideways.deviation == pytest.approx(expected[1], rel=1e-12)
    assert found.vertical.degrees == found.sideways.degrees == 10.0
    assert not found.assumed


def test_nothing_known_is_what_is_usual():
    for landed in ([], [Landed(distance=30.0, up=0.5, right=0.1)]):
        found = archer_scatter(landed)
        assert found.vertical == found.sideways == Scatter(deviation=USUAL, degrees=USUAL_DEGREES)
        assert found.assumed


def test_what_is_usual_is_outweighed_by_arrows():
    # (4 u^2 + 8 (2 u)^2) / 12 = 3 u^2
    landed = Landed.of_deviations(20.0, 0.0, 0.0, 9, 2.0 * USUAL * 20.0, 0.0)
    found = archer_scatter([landed])
    assert found.vertical.deviation == pytest.approx(math.sqrt(3.0) * USUAL, rel=1e-12)
    assert found.sideways.deviation == pytest.approx(math.sqrt(4.0 / 12.0) * USUAL, rel=1e-12)
    assert found.vertical.degrees == 12.0
    assert found.assumed


def test_a_group_takes_the_place_of_what_is_usual():
    group = Group(distance=50.0, vertical=0.1, sideways=0.05, arrows=13)
    found = archer_scatter([], group)
    assert found.vertical == Scatter(deviation=0.002, degrees=12.0)
    assert found.sideways == Scatter(deviation=0.001, degrees=12.0)


def test_degrees_of_a_group_are_its_own():
    unknown = Group(distance=50.0, vertical=0.1, sideways=0.05)
    assert archer_scatter([], unknown).vertical.degrees == KNOWN_DEGREES
    spread = Group.of_diameter(50.0, 0.2, 6)
    assert archer_scatter([], spread).vertical.degrees == spread_degrees(6)


def test_a_group_whose_arrows_are_not_told_counts_as_much_as_eleven():
    told, untold = (
        archer_scatter(
            [Landed.of_deviations(40.0, 0.0, 0.0, 6, 0.02, 0.05)],
            Group(distance=50.0, vertical=0.1, sideways=0.05, arrows=count),
        )
        for count in (11, None)
    )
    assert untold == told
    # (10 (2 mrad)^2 + 5 (0.5 mrad)^2) / 15
    assert untold.vertical.deviation == pytest.approx(1e-3 * math.sqrt(41.25 / 15), rel=1e-12)


def test_three_archers_of_four_scatter_as_is_usual():
    """As the comment on USUAL_DEGREES says: k s^2 / sigma^2 is chi-squared."""
    least, most = (USUAL_DEGREES * (USUAL / sigma) ** 2 for sigma in (2.7e-3, 1.1e-3))
    chance = np.diff(stats.chi2(USUAL_DEGREES).cdf([least, most]))[0]
    assert chance == pytest.approx(0.75, abs=0.02)


def test_a_side_not_noted_adds_nothing_to_its_axis():
    group = Group(distance=50.0, vertical=0.1, sideways=0.05, arrows=13)
    landed = Landed.of_arrows(50.0, np.array([0.0, 0.1, 0.3]))
    found = archer_scatter([landed], group)
    assert found.sideways == Scatter(deviation=0.001, degrees=12.0)
    assert found.vertical.degrees == 14.0


def test_arrows_in_one_hole_shrink_it_but_not_to_nothing():
    hole = Landed.of_arrows(20.0, np.zeros(9), np.zeros(9))
    found = archer_scatter([hole])
    assert found.vertical.deviation == pytest.approx(USUAL * math.sqrt(4.0 / 12.0), rel=1e-12)
    nothing = Group(distance=20.0, vertical=0.0, sideways=0.0, arrows=3)
    still = archer_scatter([hole], nothing).vertical
    assert still == Scatter(deviation=0.0, degrees=10.0)
    assert still.centre(20.0, 9) == READING


lengths = st.floats(1e-3, 0.5)
counts = st.integers(2, 30)


@given(st.lists(st.tuples(st.floats(5.0, 90.0), lengths, counts), min_size=1, max_size=5))
def test_angles_do_not_know_where_they_were_shot(ends):
    """Distance and lengths grown alike leave the angles; the order is of no account; the
    pooled one lies between the least and the greatest."""
    group = Group(distance=30.0, vertical=0.02, sideways=0.03, arrows=6)

    def scatter(scale, order):
        return archer_scatter(
            [Landed.of_deviations(scale * d, 0.0, 0.0, n, scale * s) for d, s, n in ends][::order],
            group,
        )

    found = scatter(1.0, 1)
    for other in (scatter(3.0, 1), scatter(1.0, -1)):
        assert other.vertical.deviation == pytest.approx(found.vertical.deviation, rel=1e-12)
        assert other.vertical.degrees == found.vertical.degrees
    angles = [group.angular_vertical, *(s / d for d, s, _ in ends)]
    slack = 1e-12
    assert min(angles) * (1 - slack) <= found.vertical.deviation <= max(angles) * (1 + slack)


def test_it_has_the_distribution_that_its_degrees_say():
    """k s^2 / sigma^2 is chi-squared with k degrees where every end has the same scatter."""
    rng = np.random.default_rng(11)
    sigma, found = 1.2e-3, []
    for _ in range(2000):
        known = rng.normal(0.0, sigma * 60.0, (5, 2))
        group = Group(
            distance=60.0,
            vertical=known[:, 0].std(ddof=1),
            sideways=known[:, 1].std(ddof=1),
            arrows=5,
        )
        ends = [
            Landed.of_arrows(d, *rng.normal(0.3, sigma * d, (n, 2)).T)
            for d, n in ((20.0, 3), (35.0, 4), (70.0, 1))
        ]
        found.append(archer_scatter(ends, group))
    assert {one.vertical.degrees for one in found} == {9.0}
    for axis in ("vertical", "sideways"):
        scaled = [9.0 * (getattr(one, axis).deviation / sigma) ** 2 for one in found]
        assert stats.kstest(scaled, stats.chi2(9).cdf).pvalue > 1e-3


def test_the_centre_of_arrows_is_known_by_their_number():
    scatter = Scatter(deviation=1.5e-3, degrees=5.0)
    assert scatter.centre(60.0, 1) == pytest.approx(0.09)
    assert scatter.centre(60.0, 9) == pytest.approx(0.03)


def test_a_centre_is_read_to_a_millimetre_at_best():
    scatter = Scatter(deviation=1e-3, degrees=5.0)
    assert scatter.centre(10.0, 99) == pytest.approx(0.01 / math.sqrt(99.0), rel=1e-12)
    assert scatter.centre(10.0, 101) == scatter.centre(0.5, 1) == READING == 1e-3


# Of some arrows alone


def test_the_arrows_own_scatter_is_their_deviation_alone():
    places = np.array([[0.01, 0.05, -0.02, 0.0], [0.0, 0.03, 0.1, -0.04]])
    own = own_scatter(Landed.of_arrows(25.0, *places))
    expected = places.std(axis=1, ddof=1) / 25.0
    assert [own.vertical.deviation, own.sideways.deviation] == pytest.approx(expected, rel=1e-12)
    assert own.vertical.degrees == own.sideways.degrees == 3.0
    assert not own.assumed
    # Nothing usual is pooled with it, however little they scatter.
    hole = own_scatter(Landed.of_arrows(25.0, np.zeros(3), np.zeros(3)))
    assert hole.vertical == hole.sideways == Scatter(deviation=0.0, degrees=2.0)


def test_where_no_side_was_noted_that_axis_is_as_the_other():
    up = np.array([0.0, 0.1, 0.3])
    own = own_scatter(Landed.of_arrows(50.0, up))
    assert own.vertical == own.sideways == Scatter(deviation=up.std(ddof=1) / 50.0, degrees=2.0)


@pytest.mark.parametrize(
    "landed",
    [
        Landed(distance=30.0, up=0.5, right=0.1),
        Landed(distance=30.0, up=0.5, right=0.1, arrows=6),
        Landed.of_arrows(30.0, np.array([0.1]), np.array([0.2])),
        Landed.of_deviations(30.0, 0.0, 0.1, 6, 0.02),  # nothing of the side that was noted
        Landed(distance=30.0, up=0.0, arrows=6, vertical=0.02, sideways=0.02),
    ],
)
def test_arrows_that_do_not_tell_their_scatter(landed):
    assert own_scatter(landed) is None


def test_what_more_is_told_is_pooled_like_arrows():
    """Squares of ends about a fit, in variances of the scatter as it was: s'^2 is the sum of
    all squares over all degrees, and the order is of no account."""
    before = Scatter(deviation=1.5e-3, degrees=4.0)
    off = np.array([0.4, -1.1, 2.0])
    found = told_more(before, float((off**2).sum()), 2.5)
    squares = 4.0 * 1.5e-3**2 + ((off * 1.5e-3) ** 2).sum()
    assert found.deviation == pytest.approx(math.sqrt(squares / 6.5), rel=1e-12)
    assert found.degrees == 6.5
    assert told_more(before, 0.0, 0.0) == before
    # As large as foretold on average, it stays as it is, but better known.
    assert told_more(before, 3.0, 3.0) == Scatter(deviation=1.5e-3, degrees=7.0)
    one = told_more(before, 1.2, 1.0)
    both = told_more(one, 4.2 * (before.deviation / one.deviation) ** 2, 2.0)
    assert both.deviation == pytest.approx(told_more(before, 5.4, 3.0).deviation, rel=1e-12)
