"""What is to be hit: zones and faces against closed forms of a normal group."""

import math

import pytest
from hit_requests import PLACE, row, within
from scipy.special import ndtr
from scipy.stats import ncx2

SHAFT = 5.7
"""Diameter of the example's shaft, mm."""


def between(half, deviation):
    """Share of a normal variable within half a width of its mean."""
    return 2.0 * ndtr(half / deviation) - 1.0


def ten_rings(width, lowest, touch, deviation):
    """Mean points: one for each ring that holds the arrow, and what the outermost has more."""
    hits = [within((11 - ring) * width + touch, deviation) for ring in range(lowest, 11)]
    return sum(hits) + (lowest - 1) * hits[0]


def test_a_circle_is_rayleigh(ask, plain):
    found = row(ask, plain)
    assert found["probability"] == pytest.approx(within(50, 20), abs=PLACE)
    assert found["error"] == 0
    assert found["up"] == found["right"] == pytest.approx(0, abs=1e-3)
    assert found["sd_up"] == found["sd_right"] == 20


def test_a_circle_aimed_off_is_non_central(ask, plain):
    found = row(ask, plain, aimed_off={"up": "-3 cm", "right": "1.5 cm"})
    assert (found["up"], found["right"]) == pytest.approx((-30, 15), abs=1e-3)
    expected = ncx2.cdf((50 / 20) ** 2, 2, (30**2 + 15**2) / 20**2)
    assert found["probability"] == pytest.approx(expected, abs=PLACE)


def test_a_circle_is_an_ellipse_of_equal_sides(ask, plain):
    sides = {"width": "10 cm", "height": "10 cm"}
    circle = row(ask, plain)
    assert row(ask, plain, zone=sides) == circle
    assert row(ask, plain, zone=sides | {"shape": "ellipse"}) == circle
    assert row(ask, plain, zone={"diameter": "0.1 m"}) == circle


def test_an_ellipse_is_the_circle_of_a_group_stretched_alike(ask, plain):
    group = {"distance": "30 m", "vertical": "30 mm", "sideways": "10 mm"}
    found = row(ask, plain, group=group, zone={"width": "5 cm", "height": "15 cm"})
    assert found["probability"] == pytest.approx(within(25, 10), abs=PLACE)


def test_a_rectangle_is_a_product(ask, plain):
    """Unequal in everything, so that width and height cannot be mixed up."""
    group = {"distance": "30 m", "vertical": "30 mm", "sideways": "10 mm"}
    zone = {"width": "3 cm", "height": "5 cm", "shape": "rectangle"}
    found = row(ask, plain, group=group, zone=zone)
    expected = between(25, 30) * between(15, 10)
    assert found["probability"] == pytest.approx(expected, abs=PLACE)


def test_a_zone_has_no_score(ask, plain):
    assert not {"score", "score_error", "score_sd", "inner_ten"} & set(row(ask, plain))


@pytest.mark.parametrize("diameter", [122, 80, 60, 40])
def test_ten_rings_and_their_inner_ten(ask, plain, diameter):
    """Ring k reaches 11 - k twentieths of the diameter; the arrow's axis half a shaft more.

    The group is so wide that a quarter of the arrows miss, and every ring counts.
    """
    width, touch, deviation = 10 * diameter / 20, SHAFT / 2, 3 * diameter
    group = {"distance": "30 m", "vertical": f"{deviation} mm"}
    found = row(ask, plain, zone=None, face={"diameter": f"{diameter} cm"}, group=group)
    hit = within(10 * width + touch, deviation)
    assert found["probability"] == pytest.approx(hit, abs=PLACE)
    assert found["score"] == pytest.approx(ten_rings(width, 1, touch, deviation), abs=1e-5)
    assert found["inner_ten"] == pytest.approx(within(width / 2 + touch, deviation), abs=PLACE)
    assert found["score_error"] < 1e-6
    rings = [within((11 - ring) * width + touch, deviation) for ring in range(1, 11)]
    square = sum((2 * ring - 1) * share for ring, share in enumerate(rings, 1))
    assert found["score_sd"] == pytest.approx(math.sqrt(square - sum(rings) ** 2), abs=1e-5)


@pytest.mark.parametrize("lowest", [5, 6])
def test_outer_rings_that_are_not_printed_score_nothing(ask, plain, lowest):
    group = {"distance": "30 m", "vertical": "15 cm"}
    found = row(ask, plain, zone=None, face={"diameter": "80 cm", "lowest": lowest}, group=group)
    touch, width = SHAFT / 2, 40
    expected = ten_rings(width, lowest, touch, 150)
    assert found["score"] == pytest.approx(expected, abs=1e-5)
    hit = within((11 - lowest) * width + touch, 150)
    assert found["probability"] == pytest.approx(hit, abs=PLACE)


def test_a_line_may_count_for_the_ring_without(ask, plain):
    face = {"diameter": "40 cm", "line_counts": False}
    found = row(ask, plain, zone=None, face=face)
    assert found["score"] == pytest.approx(ten_rings(20, 1, 0, 20), abs=1e-5)
    assert found["inner_ten"] == pytest.approx(within(10, 20), abs=PLACE)
    touched = row(ask, plain, zone=None, face=face | {"line_counts": True})
    assert touched == row(ask, plain, zone=None, face={"diameter": "40 cm"})
    assert touched["score"] > found["score"]


def test_rings_of_ones_own(ask, plain):
    """As on animals of foam: 5 points in the outline, 8 and 10 within; no inner ten."""
    rings = [
        {"diameter": "12 cm", "points": 5},
        {"diameter": "6 cm", "points": 8},
        {"diameter": "2.5 cm", "points": 10},
    ]
    found = row(ask, plain, zone=None, face={"rings": rings, "line_counts": False})
    expected = 5 * within(60, 20) + 3 * within(30, 20) + 2 * within(12.5, 20)
    assert found["score"] == pytest.approx(expected, abs=1e-5)
    assert found["probability"] == pytest.approx(within(60, 20), abs=PLACE)
    assert "inner_ten" not in found


def test_ten_rings_may_be_listed(ask, plain):
    rings = [{"diameter": f"{4 * (11 - ring)} cm", "points": ring} for ring in range(1, 11)]
    listed = row(ask, plain, zone=None, face={"rings": rings})
    named = row(ask, plain, zone=None, face={"diameter": "40 cm"})
    del named["inner_ten"]
    assert listed == named
