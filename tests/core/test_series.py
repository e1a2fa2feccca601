"""Chebyshev series: exact on polynomials, and honest about what they leave out."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arrowloft.core.series import chebyshev, left_out, terms

AT = np.linspace(-1.0, 1.0, 401)


def interpolated(function, count, at=AT):
    points, to_series = chebyshev(count)
    series = function(points) @ to_series
    return series, series @ terms(at, count)


@pytest.mark.parametrize("count", [2, 3, 5, 9, 16, 24])
def test_points_are_the_extrema_of_a_chebyshev_polynomial(count):
    """T_n is +-1 in turn at its n + 1 extrema, the ends among them (definition)."""
    points, _ = chebyshev(count)
    assert points.size == count
    assert (points[0], points[-1]) == (-1.0, 1.0)
    assert np.all(np.diff(points) > 0.0)
    signs = np.cos((count - 1) * np.arccos(np.clip(points, -1.0, 1.0)))
    assert np.abs(signs) == pytest.approx(np.ones(count))
    assert np.all(signs[1:] * signs[:-1] < 0.0)


def test_terms_are_cosines_of_the_multiple_angle():
    """T_k(cos x) = cos(k x) (definition)."""
    angle = np.linspace(0.0, np.pi, 57)
    found = terms(np.cos(angle), 20)
    assert found.shape == (20, 57)
    assert found == pytest.approx(np.cos(np.arange(20)[:, None] * angle), abs=1e-12)


def test_terms_keep_the_shape_asked_for():
    at = np.linspace(-1.0, 1.0, 6).reshape(2, 3)
    assert terms(at, 4).shape == (4, 2, 3)
    assert terms(at, 4)[3] == pytest.approx(4 * at**3 - 3 * at)
    assert terms(at, 2) == pytest.approx(np.array([np.ones_like(at), at]))


@settings(max_examples=50, deadline=None)
@given(
    coefficients=st.lists(st.floats(-10.0, 10.0), min_size=1, max_size=12),
    spare=st.integers(0, 6),
)
def test_a_polynomial_is_met_exactly(coefficients, spare):
    count = max(len(coefficients) + spare, 2)
    polynomial = np.polynomial.Polynomial(coefficients)
    series, read = interpolated(polynomial, count)
    assert read == pytest.approx(polynomial(AT), abs=1e-11)
    assert series == pytest.approx(
        np.pad(polynomial.convert(kind=np.polynomial.Chebyshev).coef, (0, count))[:count],
        abs=1e-11,
    )


def test_values_at_the_points_are_kept():
    points, _ = chebyshev(7)
    values = np.array([3.0, -1.0, 4.0, 1.0, -5.0, 9.0, 2.0])
    assert values @ chebyshev(7)[1] @ terms(points, 7) == pytest.approx(values, abs=1e-12)


SMOOTH = {
    "exp": np.exp,
    "steep exp": lambda x: np.exp(3.0 * x),
    "tanh": np.tanh,
    "pole": lambda x: 1.0 / (1.5 + x),
    "sine": lambda x: np.sin(4.0 * x + 0.3),
    "like an angle": lambda x: 0.1 * np.exp(-x) + 0.02 * np.exp(x),
}
# Whose coefficients fall to no less than a quarter from one pair to the next.
SLOW = {"steep tanh": lambda x: np.tanh(2.0 * x), "bell": lambda x: 1.0 / (1.0 + 4.0 * x * x)}

COUNTS = pytest.mark.parametrize("count", [8, 9, 16, 24])


@COUNTS
@pytest.mark.parametrize("function", SMOOTH.values(), ids=SMOOTH.keys())
def test_left_out_bounds_the_true_error(function, count):
    series, read = interpolated(function, count)
    error = np.abs(read - function(AT)).max()
    told = left_out(series)
    assert error <= told + 1e-13
    # An estimate that says nothing is no estimate.
    assert told <= 300.0 * error + 1e-12


@COUNTS
@pytest.mark.parametrize("function", SLOW.values(), ids=SLOW.keys())
def test_left_out_is_of_the_size_of_the_error_where_it_falls_slowly(function, count):
    series, read = interpolated(function, count)
    error = np.abs(read - function(AT)).max()
    assert error <= left_out(series) + 1e-13
    assert left_out(series) <= 100.0 * error + 1e-12


def test_left_out_is_told_for_each_series():
    fine, coarse = np.exp2(-3.0 * np.arange(9)), np.exp2(-np.arange(9.0))
    told = left_out(np.array([fine, coarse]))
    assert told.tolist() == [left_out(fine), left_out(coarse)]
    assert 0.0 < told[0] < told[1]
    assert left_out(np.zeros(9)) == 0.0
    assert np.isnan(left_out(np.full(9, np.nan)))


def test_a_last_pair_that_is_small_by_chance_does_not_deceive():
    series = 0.5 ** np.arange(10.0)
    series[-2:] = 1e-12
    assert left_out(series) > 1e-4
