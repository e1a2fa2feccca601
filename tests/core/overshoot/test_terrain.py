"""The ground along a range: heights, rises, and disorder refused."""

import numpy as np
import pytest

from arrowloft.core.overshoot.terrain import Terrain

HILL = Terrain.under(1.6, ((40.0, 0.0), (60.0, 5.0), (100.0, -3.0)))


def test_level_ground_lies_below_the_eye() -> None:
    flat = Terrain.under(1.6)
    assert flat.height(np.array([-50.0, 0.0, 70.0, 1e4])) == pytest.approx([-1.6] * 4)
    assert flat.rise(np.array([-50.0, 0.0, 70.0])) == pytest.approx([0.0] * 3)
    assert flat.lowest == flat.highest == -1.6


def test_heights_are_relative_to_the_feet() -> None:
    x = np.array([-10.0, 0.0, 20.0, 40.0, 50.0, 60.0, 80.0, 100.0, 500.0])
    feet = np.array([0.0, 0.0, 0.0, 0.0, 2.5, 5.0, 1.0, -3.0, -3.0])
    assert HILL.height(x) == pytest.approx(feet - 1.6)
    assert HILL.lowest == pytest.approx(-4.6) and HILL.highest == pytest.approx(3.4)


def test_the_rise_is_the_derivative_of_the_height() -> None:
    x, step = np.array([-10.0, 20.0, 50.0, 80.0, 500.0]), 1e-6
    slope = (HILL.height(x + step) - HILL.height(x - step)) / (2.0 * step)
    assert HILL.rise(x) == pytest.approx(slope, abs=1e-8)
    assert HILL.rise(np.array([40.0, 60.0, 100.0])) == pytest.approx([0.25, -0.2, 0.0])


@pytest.mark.parametrize(
    "heights",
    [
        ((0.0, 1.0),),
        ((-5.0, 1.0),),
        ((50.0, 0.0), (40.0, 1.0)),
        ((50.0, 0.0), (50.0, 1.0)),
        ((50.0, float("nan")),),
        ((float("inf"), 0.0),),
    ],
)
def test_disorder_is_refused(heights) -> None:
    with pytest.raises(ValueError, match="ground"):
        Terrain.under(1.6, heights)


@pytest.mark.parametrize("eye", [0.0, -1.0, float("nan")])
def test_an_eye_in_the_ground_is_refused(eye) -> None:
    with pytest.raises(ValueError, match=r"eye|finite"):
        Terrain.under(eye)
