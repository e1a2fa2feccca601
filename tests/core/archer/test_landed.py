"""Where arrows landed: moments of the arrows themselves, and what each form knows."""

import math

import numpy as np
import pytest

from arrowloft.core.archer.groups import largest_spread, spread_degrees
from arrowloft.core.archer.landed import Landed

UP = np.array([0.03, -0.01, 0.05, 0.01])
RIGHT = np.array([0.00, 0.02, -0.04, 0.06])


def test_arrows_one_by_one_have_the_moments_of_their_places():
    found = Landed.of_arrows(30.0, UP, RIGHT)
    assert (found.distance, found.arrows, found.degrees) == (30.0, 4, 3.0)
    assert found.up == pytest.approx(0.02, rel=1e-12)
    assert found.right == pytest.approx(0.01, rel=1e-12)
    # Squares about the centre, over n - 1: (1 + 9 + 9 + 1) and (1 + 1 + 25 + 25) cm2 over 3.
    assert found.vertical == pytest.approx(math.sqrt(20e-4 / 3.0), rel=1e-12)
    assert found.sideways == pytest.approx(math.sqrt(52e-4 / 3.0), rel=1e-12)


def test_their_order_is_of_no_account():
    turned = Landed.of_arrows(30.0, UP[::-1], RIGHT[::-1])
    found = Landed.of_arrows(30.0, UP, RIGHT)
    for name in ("up", "right", "vertical", "sideways"):
        assert getattr(turned, name) == pytest.approx(getattr(found, name), rel=1e-14)


def test_one_arrow_has_a_place_and_no_scatter():
    found = Landed.of_arrows(30.0, UP[:1], RIGHT[:1])
    assert (found.up, found.right, found.arrows, found.degrees) == (0.03, 0.0, 1, 0.0)
    assert found.vertical is found.sideways is None


def test_what_was_not_noted_is_none():
    found = Landed.of_arrows(30.0, UP)
    assert found.right is found.sideways is None
    assert found.vertical is not None
    assert Landed.of_deviations(30.0, 0.02, None, 6, 0.03).sideways is None


def test_all_arrows_in_one_hole_have_no_scatter():
    found = Landed.of_arrows(30.0, np.full(3, 0.25), np.full(3, -0.5))
    assert found.vertical == found.sideways == 0.0
    assert found.degrees == 2.0
    assert Landed.of_diameter(30.0, 0.1, None, 3, 0.0).vertical == 0.0


def test_deviations_are_kept_with_their_degrees():
    found = Landed.of_deviations(30.0, 0.02, -0.01, 6, 0.03, 0.04)
    assert found == Landed(
        distance=30.0, up=0.02, right=-0.01, arrows=6, vertical=0.03, sideways=0.04, degrees=5.0
    )


@pytest.mark.parametrize("arrows", [2, 6, 30])
def test_a_diameter_is_the_deviation_that_makes_such_a_spread(arrows):
    found = Landed.of_diameter(30.0, 0.02, None, arrows, 0.12)
    assert found.vertical == found.sideways == 0.12 / largest_spread(arrows)
    assert found.degrees == spread_degrees(arrows)
    assert found.right is None


def test_a_diameter_says_less_than_the_arrows_themselves():
    # Of two arrows: half of pi / (4 - pi), of the mean and deviation of a Rayleigh variable.
    pair = Landed.of_diameter(30.0, 0.0, 0.0, 2, 0.1)
    assert pair.degrees == pytest.approx(0.5 * math.pi / (4.0 - math.pi), rel=1e-12)
    for arrows in (3, 12, 30):
        # Both axes together would have twice the arrows less one.
        degrees = Landed.of_diameter(30.0, 0.0, 0.0, arrows, 0.1).degrees
        assert degrees < 2.0 * (arrows - 1.0)


@pytest.mark.parametrize("distance", [0.0, -1.0, math.inf, math.nan])
def test_no_such_distance(distance):
    with pytest.raises(ValueError, match="distance must be positive"):
        Landed(distance=distance, up=0.0)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"arrows": 0}, "at least one arrow"),
        ({"arrows": -3}, "at least one arrow"),
        ({"vertical": -0.01}, "not negative"),
        ({"sideways": -0.01}, "not negative"),
        ({"degrees": -1.0}, "degrees of freedom"),
    ],
)
def test_no_such_arrows(changes, words):
    with pytest.raises(ValueError, match=words):
        Landed(distance=30.0, up=0.0, **changes)


def test_places_must_be_there_and_match():
    with pytest.raises(ValueError, match="at least one arrow"):
        Landed.of_arrows(30.0, np.array([]))
    with pytest.raises(ValueError, match="as many places"):
        Landed.of_arrows(30.0, UP, RIGHT[:3])


@pytest.mark.parametrize("arrows", [1, 0])
def test_one_arrow_does_not_scatter(arrows):
    with pytest.raises(ValueError, match="no standard deviation"):
        Landed.of_deviations(30.0, 0.0, 0.0, arrows, 0.02)


@pytest.mark.parametrize("arrows", [1, 31])
def test_a_diameter_of_so_many_says_nothing(arrows):
    with pytest.raises(ValueError, match="2 to 30"):
        Landed.of_diameter(30.0, 0.0, 0.0, arrows, 0.1)


def test_a_negative_diameter_is_refused():
    with pytest.raises(ValueError, match="not negative"):
        Landed.of_diameter(30.0, 0.0, 0.0, 6, -0.1)
