"""The table of drag coefficients over Reynolds number."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.plugin import Arrow, Flow, ParameterError
from arrowloft_models.drag.table import Table

DIAMETER = 0.006
ARROW = Arrow(mass=0.02, shaft_diameter=DIAMETER)
CROSS_SECTION = np.pi / 4.0 * DIAMETER**2
VISCOSITY = 1.8e-5


def coefficient(model, reynolds):
    """Drag coefficient of the model at Reynolds numbers on the shaft diameter, density 1."""
    airspeed = np.asarray(reynolds, dtype=float) * VISCOSITY / DIAMETER
    return model.drag_area(Flow(airspeed, 1.0, VISCOSITY, 340.0), ARROW) / CROSS_SECTION


points = st.integers(2, 12).flatmap(
    lambda count: st.tuples(
        st.lists(st.integers(10, 100_000), min_size=count, max_size=count, unique=True).map(sorted),
        st.lists(st.floats(0.0, 20.0), min_size=count, max_size=count),
    )
)


@given(points)
def test_passes_through_its_points(data):
    reynolds, values = data
    model = Table(reynolds=reynolds, coefficient=values)
    # A step over a short interval turns rounding of Re into as much of the coefficient.
    np.testing.assert_allclose(coefficient(model, reynolds), values, rtol=1e-9, atol=1e-8)


@given(points)
def test_never_leaves_the_span_of_two_neighbours(data):
    """Monotone interpolation: no overshoot, and no turn between two points."""
    reynolds, values = np.array(data[0], dtype=float), np.array(data[1])
    model = Table(reynolds=reynolds, coefficient=values)
    for left in range(len(reynolds) - 1):
        inner = np.linspace(reynolds[left], reynolds[left + 1], 41)[1:-1]
        read = coefficient(model, inner)
        low, high = np.sort(values[left : left + 2])
        assert np.all(read >= low - 1e-9)
        assert np.all(read <= high + 1e-9)
        rising = np.sign(values[left + 1] - values[left])
        assert np.all(rising * np.diff(read) >= -1e-9)


@given(points, st.floats(1e-6, 0.99), st.floats(1.01, 100.0))
def test_holds_its_end_values_outside(data, below, above):
    model = Table(reynolds=data[0], coefficient=data[1])
    read = coefficient(model, [below * data[0][0], above * data[0][-1]])
    np.testing.assert_allclose(read, [data[1][0], data[1][-1]], rtol=1e-12, atol=1e-12)


@given(st.floats(0.0, 20.0), st.floats(0.0, 20.0))
def test_two_points_make_a_straight_line(first, last):
    """Limit: with two points the monotone cubic is the chord."""
    model = Table(reynolds=[1.0e4, 3.0e4], coefficient=[first, last])
    reynolds = np.linspace(1.0e4, 3.0e4, 9)
    expected = first + (last - first) * (reynolds - 1.0e4) / 2.0e4
    np.testing.assert_allclose(coefficient(model, reynolds), expected, rtol=1e-9, atol=1e-9)


def test_coefficients_that_hardly_differ_are_level():
    with np.errstate(all="raise", under="ignore"):
        model = Table(reynolds=[1.0e4, 2.0e4, 3.0e4], coefficient=[0.0, 5e-324, 2.0])
        read = coefficient(model, [1.0e4, 1.5e4, 2.0e4])
    np.testing.assert_allclose(read, 0.0, atol=1e-300)


def test_slope_is_continuous_across_a_point():
    """Three points of unequal slope: the weighted harmonic mean, Fritsch & Butland (memory)."""
    model = Table(reynolds=[1.0e4, 1.4e4, 2.0e4], coefficient=[1.0, 1.4, 2.6])
    step = 0.01
    left, middle, right = coefficient(model, [1.4e4 - step, 1.4e4, 1.4e4 + step])
    first, second, width, next_width = 0.4 / 4.0e3, 1.2 / 6.0e3, 4.0e3, 6.0e3
    near, far = 2.0 * next_width + width, next_width + 2.0 * width
    slope = (near + far) / (near / first + far / second)
    assert (middle - left) / step == pytest.approx(slope, rel=1e-4)
    assert (right - middle) / step == pytest.approx(slope, rel=1e-4)


def test_validity_is_the_range_of_the_points():
    (limit,) = Table(reynolds=[1.0e4, 1.4e4, 2.0e4], coefficient=[1.5, 2.0, 2.6]).limits()
    assert (limit.quantity, limit.low, limit.high) == ("reynolds", 1.0e4, 2.0e4)
    assert limit.outside == "note"


@pytest.mark.parametrize(
    ("reynolds", "values", "at_fault"),
    [
        ([1.0e4, 2.0e4], [1.5], "coefficient"),
        ([1.0e4, 2.0e4], [1.5, 2.0, 2.5], "coefficient"),
        ([2.0e4, 1.0e4], [1.5, 2.0], "reynolds"),
        ([1.0e4, 1.0e4], [1.5, 2.0], "reynolds"),
        ([1.0e4, float("nan")], [1.5, 2.0], "reynolds"),
        ([1.0e4], [1.5], "reynolds"),
        ([], [], "reynolds"),
    ],
)
def test_points_that_do_not_fit_together_are_refused(reynolds, values, at_fault):
    with pytest.raises(ParameterError) as caught:
        Table(reynolds=reynolds, coefficient=values)
    assert caught.value.parameter == at_fault


def test_the_callers_lists_are_copied_and_kept_from_change():
    reynolds = np.array([1.0e4, 2.0e4])
    model = Table(reynolds=reynolds, coefficient=[1.5, 2.6])
    reynolds[0] = 1.9e4
    assert model.reynolds[0] == 1.0e4
    with pytest.raises(ValueError, match="read-only"):
        model.coefficient[0] = 9.0
