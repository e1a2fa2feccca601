"""Groups: closed forms, then scipy's distributions, then simulated arrows."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import integrate, stats

from arrowloft.core.archer.groups import (
    LEAST_ARROWS,
    MOST_ARROWS,
    Group,
    largest_spread,
)
from arrowloft.core.archer.shares import half_width, share_in_circle, share_in_rectangle

INF = math.inf
deviations = st.floats(-3.0, 3.0).map(lambda power: 10.0**power)
places = st.floats(-5.0, 5.0)
radii = st.floats(0.1, 10.0)


# The greatest spread


def test_two_arrows_are_the_distance_of_two_points():
    # The difference of two is normal with sqrt(2) times the deviation: Rayleigh, mean sqrt(pi).
    assert largest_spread(2) == math.sqrt(math.pi)
    assert pair().relative_uncertainty == pytest.approx(math.sqrt(4.0 / math.pi - 1.0), rel=1e-12)


def pair() -> Group:
    return Group.of_diameter(50.0, 0.1, 2)


def test_three_arrows_by_quadrature():
    # Triangles about their own mean are two vectors u = (b - a) / sqrt(2) and
    # v = (a + b - 2 c) / sqrt(6) of independent standard normals: their lengths and angle
    # give the three sides, and the mean of the longest is an integral over two angles.
    def longest(turn, between):
        u, v = math.cos(turn), math.sin(turn)
        sides = [
            2.0 * u * u,
            0.5 * (u * u + 3.0 * v * v + 2.0 * math.sqrt(3.0) * u * v * math.cos(between)),
            0.5 * (u * u + 3.0 * v * v - 2.0 * math.sqrt(3.0) * u * v * math.cos(between)),
        ]
        return math.sqrt(max(sides)) * u * v * 2.0

    mean, _ = integrate.dblquad(longest, 0.0, math.pi, 0.0, math.pi / 2, epsabs=1e-6)
    # Mean length of (u, v), a chi variable with four degrees of freedom: 3/4 sqrt(2 pi).
    expected = mean / math.pi * 0.75 * math.sqrt(2.0 * math.pi)
    assert largest_spread(3) == pytest.approx(expected, abs=4 * 2.1e-4)


def test_spread_grows_ever_more_slowly():
    spreads = np.array([largest_spread(n) for n in range(LEAST_ARROWS, MOST_ARROWS + 1)])
    assert np.all(np.diff(spreads) > 0.0)
    assert np.all(np.diff(spreads, 2) < 0.0)


def test_no_slip_in_a_spread():
    # Each stands where a smooth curve through all others has it.
    arrows = np.arange(LEAST_ARROWS, MOST_ARROWS + 1)
    mean = np.array([largest_spread(n) for n in arrows])
    share = np.array([Group.of_diameter(50.0, 0.1, n).relative_uncertainty for n in arrows])
    for values, slip in ((mean, 6e-4), (share * mean, 6e-4)):
        for left_out in range(1, arrows.size - 1):
            others = np.arange(arrows.size) != left_out
            curve = np.polynomial.Polynomial.fit(np.log(arrows[others]), values[others], 7)
            assert curve(np.log(arrows[left_out])) == pytest.approx(values[left_out], abs=slip)


def test_spread_of_simulated_groups():
    rng = np.random.default_rng(7)
    count = 20_000
    impacts = rng.standard_normal((MOST_ARROWS, count)) + 1j * rng.standard_normal(
        (MOST_ARROWS, count)
    )
    for arrows in (3, 5, 6, 12, 24, 30):
        pairs = itertools.combinations(range(arrows), 2)
        greatest = np.zeros(count)
        for one, other in pairs:
            np.maximum(greatest, np.abs(impacts[one] - impacts[other]), out=greatest)
        error = greatest.std() / math.sqrt(count)
        assert largest_spread(arrows) == pytest.approx(greatest.mean(), abs=4.5 * error)
        group = Group.of_diameter(18.0, 0.1, arrows)
        spread = greatest.std() / greatest.mean()
        assert group.relative_uncertainty == pytest.approx(spread, rel=0.03)


@pytest.mark.parametrize("arrows", [-1, 0, 1, 31])
def test_spread_of_other_numbers_is_unknown(arrows):
    with pytest.raises(ValueError, match="2 to 30"):
        largest_spread(arrows)


# The group


def test_group_of_a_diameter():
    group = Group.of_diameter(50.0, 0.12, 6)
    assert group.vertical == group.sideways == 0.12 / largest_spread(6)
    assert (group.distance, group.arrows) == (50.0, 6)
    assert group.angular_vertical == pytest.approx(group.vertical / 50.0)


def test_group_of_impacts():
    """Of 1, 2, 4 and 9 the squares about the mean 4 sum to 9 + 4 + 0 + 25 = 38, over n - 1."""
    up, right = np.array([1.0, 2.0, 4.0, 9.0]) * 0.01, np.array([3.0, -3.0, 3.0, -3.0]) * 0.01
    group = Group.of_impacts(40.0, up, right)
    assert group.vertical == pytest.approx(0.01 * math.sqrt(38.0 / 3.0))
    assert group.sideways == pytest.approx(0.01 * math.sqrt(36.0 / 3.0))
    assert (group.distance, group.arrows, group.from_spread) == (40.0, 4, False)
    moved = Group.of_impacts(40.0, up + 0.3, right - 0.2)
    assert moved.vertical == pytest.approx(group.vertical)
    assert moved.sideways == pytest.approx(group.sideways)


@pytest.mark.parametrize(("up", "right"), [([0.1], [0.2]), ([], []), ([0.1, 0.2], [0.1])])
def test_impacts_that_make_no_group(up, right):
    with pytest.raises(ValueError, match="group"):
        Group.of_impacts(40.0, up, right)


def test_angles_of_a_group():
    group = Group(distance=50.0, vertical=0.035, sideways=0.028)
    assert group.angular_vertical == pytest.approx(0.0007)
    assert group.angular_sideways == pytest.approx(0.00056)
    assert group.relative_uncertainty is None


def test_uncertainty_of_the_deviation_of_few_arrows():
    # Standard deviations of simulated groups of 12, two axes pooled.
    rng = np.random.default_rng(11)
    pooled = np.sqrt(rng.standard_normal((12, 2, 40_000)).var(axis=0, ddof=1).mean(axis=0))
    group = Group(distance=50.0, vertical=0.04, sideways=0.04, arrows=12)
    assert group.relative_uncertainty == pytest.approx(pooled.std() / pooled.mean(), rel=0.02)


def test_spread_says_less_than_the_deviation_of_the_same_arrows():
    for arrows in range(3, MOST_ARROWS + 1):
        spread = Group.of_diameter(50.0, 0.1, arrows).relative_uncertainty
        counted = Group(distance=50.0, vertical=0.1, sideways=0.1, arrows=arrows)
        assert spread > counted.relative_uncertainty


@pytest.mark.parametrize(
    "members",
    [
        {"distance": 0.0, "vertical": 0.1, "sideways": 0.1},
        {"distance": 50.0, "vertical": -0.1, "sideways": 0.1},
        {"distance": 50.0, "vertical": 0.1, "sideways": math.nan},
        {"distance": 50.0, "vertical": 0.1, "sideways": 0.1, "arrows": 1},
        {"distance": 50.0, "vertical": 0.1, "sideways": 0.1, "arrows": 31, "from_spread": True},
        {"distance": 50.0, "vertical": 0.1, "sideways": 0.1, "from_spread": True},
    ],
)
def test_impossible_groups(members):
    with pytest.raises(ValueError):
        Group(**members)


# A circle


@given(radii, deviations)
def test_centred_circle_is_rayleigh(radius, deviation):
    expected = -math.expm1(-0.5 * (radius / deviation) ** 2)
    assert share_in_circle(radius, deviation, deviation) == pytest.approx(expected, abs=1e-10)


def test_off_centre_circle_against_scipy():
    rng = np.random.default_rng(3)
    count = 4000
    deviation = 10.0 ** rng.uniform(-3.0, 4.0, count)
    near_edge = np.abs(1.0 + 3.0 * deviation * rng.standard_normal(count))
    off = np.where(rng.random(count) < 0.5, near_edge, rng.exponential(2.0, count))
    side = rng.choice([0.0, 0.3, 1.57, np.pi / 2, np.pi], count)
    found = share_in_circle(1.0, deviation, deviation, off * np.sin(side), off * np.cos(side))
    noncentral = stats.ncx2.cdf(1.0 / deviation**2, 2, (off / deviation) ** 2)
    assert found == pytest.approx(noncentral, abs=1e-10)
    some = slice(0, 40)
    rice = stats.rice.cdf(1.0, (off / deviation)[some], scale=deviation[some])
    assert found[some] == pytest.approx(rice, abs=1e-9)


@pytest.mark.parametrize(
    ("vertical", "sideways", "up", "right"),
    [(0.3, 0.9, 0.4, -0.2), (2.0, 0.05, 0.0, 0.9), (0.02, 5.0, 0.99, 0.0), (0.5, 0.01, 1.2, 0.3)],
)
def test_unequal_deviations_by_adaptive_quadrature(vertical, sideways, up, right):
    def slice_at(height):
        half = math.sqrt(1.0 - height * height)
        across = stats.norm(right, sideways)
        return stats.norm(up, vertical).pdf(height) * (across.cdf(half) - across.cdf(-half))

    breaks = np.clip([up - 3 * vertical, up, up + 3 * vertical, 0.0], -0.999999, 0.999999)
    expected, _ = integrate.quad(slice_at, -1.0, 1.0, points=breaks, epsabs=1e-11, limit=500)
    found = share_in_circle(1.0, vertical, sideways, up, right)
    assert found == pytest.approx(expected, abs=1e-9)


@given(radii, deviations, deviations, places, places)
def test_circle_is_the_same_from_every_side(radius, one, other, up, right):
    share = share_in_circle(radius, one, other, up, right)
    assert 0.0 <= share <= 1.0
    for mirrored in (
        share_in_circle(radius, one, other, -up, right),
        share_in_circle(radius, one, other, up, -right),
        share_in_circle(radius, other, one, right, up),
        share_in_circle(2 * radius, 2 * one, 2 * other, 2 * up, 2 * right),
    ):
        assert mirrored == pytest.approx(share, abs=1e-11)


@given(radii, deviations, deviations, places, places, st.floats(1.0, 2.0))
def test_larger_circle_holds_no_less(radius, one, other, up, right, factor):
    inner = share_in_circle(radius, one, other, up, right)
    assert share_in_circle(factor * radius, one, other, up, right) >= inner - 1e-10


@given(radii, deviations, deviations, places, places)
def test_circle_lies_between_the_squares_in_and_about_it(radius, one, other, up, right):
    share = share_in_circle(radius, one, other, up, right)
    half = radius / math.sqrt(2.0)
    inner = share_in_rectangle(-half, half, -half, half, one, other, up, right)
    outer = share_in_rectangle(-radius, radius, -radius, radius, one, other, up, right)
    assert inner - 1e-10 <= share <= outer + 1e-10


@given(deviations, places, places)
def test_no_scatter_in_one_axis_is_the_chord(deviation, up, right):
    assume(abs(abs(up) - 2.0) > 1e-6)
    half = math.sqrt(max(4.0 - up * up, 0.0))
    across = stats.norm(right, deviation)
    chord = across.cdf(half) - across.cdf(-half) if abs(up) < 2.0 else 0.0
    assert share_in_circle(2.0, 0.0, deviation, up, right) == pytest.approx(chord, abs=1e-12)
    assert share_in_circle(2.0, deviation, 0.0, right, up) == pytest.approx(chord, abs=1e-12)


@pytest.mark.parametrize("tiny", [0.0, 1e-300, 1e-9, 1e-7, 1e-6, 1e-5])
def test_tiny_scatter_tends_to_none(tiny):
    assert share_in_circle(1.0, tiny, tiny) == pytest.approx(1.0, abs=1e-9)
    assert share_in_circle(1.0, tiny, tiny, 0.6, 0.79) == pytest.approx(1.0, abs=1e-9)
    assert share_in_circle(1.0, tiny, tiny, 0.6, 0.81) == pytest.approx(0.0, abs=1e-9)
    chord = 2.0 * stats.norm.cdf(0.8 / 0.5) - 1.0
    assert share_in_circle(1.0, tiny, 0.5, 0.6) == pytest.approx(chord, abs=1e-9)
    assert share_in_circle(1.0, 0.5, tiny, 0.0, 0.6) == pytest.approx(chord, abs=1e-9)


@pytest.mark.parametrize("small", [2e-7, 1e-6, 1e-4])
def test_edge_of_a_circle_much_larger_than_the_group_is_straight(small):
    # Half the group, less what the curve takes: to first order sd / (2 r sqrt(2 pi)).
    expected = 0.5 - small / (2.0 * math.sqrt(2.0 * math.pi))
    for side in (0.0, 0.7, math.pi / 2):
        found = share_in_circle(1.0, small, small, math.sin(side), math.cos(side))
        assert found == pytest.approx(expected, abs=1e-9)


def test_point_circle_and_far_centre():
    assert share_in_circle(0.0, 0.1, 0.1) == 0.0
    assert share_in_circle(0.0, 0.0, 0.0) == 1.0
    assert share_in_circle(0.1, 0.05, 0.05, 1e9, 0.0) == 0.0
    assert share_in_circle(0.1, 0.05, 0.0, -1e9, 1e9) == 0.0


def test_huge_scatter_keeps_the_digits_of_a_small_share():
    # Density at the centre times the area of the circle.
    assert share_in_circle(1.0, 1e6, 1e5) == pytest.approx(0.5e-11, rel=1e-9)


def test_impact_that_never_arrives_has_no_share():
    found = share_in_circle(1.0, np.array([0.5, 0.0, 0.5]), 0.5, [math.nan, math.nan, 0.0])
    assert list(np.isnan(found)) == [True, True, False]
    assert np.isnan(share_in_circle(1.0, 0.0, 0.0, 0.0, math.nan))
    assert np.isnan(share_in_rectangle(-1.0, 1.0, -1.0, 1.0, 0.0, 0.5, math.nan))


def test_shares_broadcast_over_blocks():
    deviation = np.linspace(0.1, 1.0, 1300)
    found = share_in_circle(np.array([[0.5], [1.0]]), deviation, deviation)
    assert found.shape == (2, 1300)
    expected = -np.expm1(-0.5 / deviation**2)
    assert found[1] == pytest.approx(expected, abs=1e-10)


@pytest.mark.parametrize("arguments", [(-1.0, 1.0, 1.0), (1.0, -1.0, 1.0), (INF, 1.0, 1.0)])
def test_circle_that_is_none(arguments):
    with pytest.raises(ValueError, match="not negative"):
        share_in_circle(*arguments)


# A rectangle


@given(deviations, deviations, places, places)
def test_rectangle_is_the_product_of_its_sides(vertical, sideways, up, aside):
    high = stats.norm(up, vertical)
    wide = stats.norm(aside, sideways)
    expected = (high.cdf(0.5) - high.cdf(-0.2)) * (wide.cdf(2.0) - wide.cdf(-1.0))
    found = share_in_rectangle(-0.2, 0.5, -1.0, 2.0, vertical, sideways, up, aside)
    assert found == pytest.approx(expected, abs=1e-14)


def test_open_rectangles():
    assert share_in_rectangle(-INF, INF, -INF, INF, 0.1, 0.1) == 1.0
    assert share_in_rectangle(-INF, 0.0, -INF, INF, 0.1, 0.1) == 0.5
    above, right = stats.norm.sf(2.0), stats.norm.sf(1.0)
    found = share_in_rectangle(0.2, INF, 0.1, INF, 0.1, 0.1)
    assert found == pytest.approx(above * right, rel=1e-12)


def test_far_rectangle_keeps_the_digits_of_a_small_share():
    above = stats.norm.sf(8.0)
    assert share_in_rectangle(8.0, INF, -INF, INF, 1.0, 1.0) == pytest.approx(above, rel=1e-12)
    assert share_in_rectangle(-INF, -8.0, -INF, INF, 1.0, 1.0) == pytest.approx(above, rel=1e-12)


@pytest.mark.parametrize(("up", "share"), [(0.0, 1.0), (1.0, 1.0), (1.0001, 0.0), (-2.0, 0.0)])
def test_rectangle_without_scatter(up, share):
    assert share_in_rectangle(-1.0, 1.0, -INF, INF, 0.0, 0.0, up) == share
    assert share_in_rectangle(-INF, INF, -1.0, 1.0, 0.0, 0.0, 0.0, up) == share
    half = share_in_rectangle(-1.0, 1.0, 0.0, INF, 0.0, 0.3, up)
    assert half == pytest.approx(0.5 * share)


@given(deviations, deviations, places)
def test_rectangles_side_by_side_add_up(vertical, sideways, edge):
    left = share_in_rectangle(-1.0, 1.0, -INF, edge, vertical, sideways)
    right = share_in_rectangle(-1.0, 1.0, edge, INF, vertical, sideways)
    whole = share_in_rectangle(-1.0, 1.0, -INF, INF, vertical, sideways)
    assert left + right == pytest.approx(whole, abs=1e-14)


def test_rectangles_broadcast():
    found = share_in_rectangle(-1.0, 1.0, -1.0, 1.0, np.array([0.0, 1.0]), np.ones((3, 1)))
    assert found.shape == (3, 2)


@pytest.mark.parametrize("edges", [(1.0, -1.0, -1.0, 1.0), (-1.0, 1.0, 1.0, -1.0)])
def test_rectangle_turned_inside_out(edges):
    with pytest.raises(ValueError, match="opposite"):
        share_in_rectangle(*edges, 1.0, 1.0)


# The width that holds a share


@given(st.floats(0.001, 0.999))
def test_rectangle_of_the_half_width_holds_the_share(share):
    z = half_width(share)
    found = share_in_rectangle(-z * 0.2, z * 0.2, -z * 3.0, z * 3.0, 0.2, 3.0)
    assert found == pytest.approx(share, rel=1e-9)


@pytest.mark.parametrize("share", [0.0, 1.0, -0.5, math.nan])
def test_share_that_no_width_holds(share):
    with pytest.raises(ValueError, match="between 0 and 1"):
        half_width(share)
