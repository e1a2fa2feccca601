"""Collocation rules against integrals of polynomials and SciPy's quadrature."""

import numpy as np
import pytest
from scipy.special import eval_legendre

from arrowloft.core.flight.collocation import lobatto

counts = pytest.mark.parametrize("count", [3, 5, 8, 16, 32, 128])


@counts
def test_points_are_the_ends_and_the_extrema_of_legendre(count):
    """Published: Abramowitz and Stegun 25.4.32: inside, the zeros of P'_(n-1)."""
    x = 2.0 * lobatto(count).points - 1.0
    assert x[0] == -1.0
    assert x[-1] == 1.0
    assert np.all(np.diff(x) > 0.0)
    n = count - 1
    inner = x[1:-1]
    slope = n * (inner * eval_legendre(n, inner) - eval_legendre(n - 1, inner)) / (inner**2 - 1)
    assert np.abs(slope).max() < 1e-9 * n**2


def test_five_points_of_the_tables():
    """Published: Abramowitz and Stegun 25.4.32: n = 5 has sqrt(3/7)."""
    x = 2.0 * lobatto(5).points - 1.0
    assert x[3] == pytest.approx(np.sqrt(3.0 / 7.0), abs=1e-15)
    weights = 2.0 * lobatto(5).running[-2]
    assert weights == pytest.approx([1 / 10, 49 / 90, 32 / 45, 49 / 90, 1 / 10], abs=1e-14)


@counts
def test_integrals_of_powers_are_exact(count):
    """Derived: of t^p, t^(p+1) / (p+1) and t^(p+2) / ((p+1)(p+2)), for p below the points."""
    rule = lobatto(count)
    for power in {0, 1, 2, count - 1}:
        values = rule.points**power
        once = rule.points ** (power + 1) / (power + 1)
        twice = rule.points ** (power + 2) / ((power + 1) * (power + 2))
        assert rule.running[:count] @ values == pytest.approx(once, abs=1e-13)
        assert rule.double @ values == pytest.approx(twice, abs=1e-13)
        assert rule.running[-1] @ values == pytest.approx(twice[-1], abs=1e-13)


@counts
def test_whole_interval_is_exact_to_degree_2n_minus_3(count):
    """Published: the degree of Lobatto quadrature."""
    rule = lobatto(count)
    top = 2 * count - 3
    # Legendre polynomials, not powers: those lose digits at high degree.
    exact = 1.0 if top == 0 else 0.0
    whole = rule.running[-2] @ eval_legendre(top, 2.0 * rule.points - 1.0)
    assert whole == pytest.approx(exact, abs=1e-13)
    beyond = rule.running[-2] @ eval_legendre(top + 1, 2.0 * rule.points - 1.0)
    assert abs(beyond) > 1e-6, "one degree more must not be exact, or the test sees nothing"


@counts
def test_coefficients_take_a_legendre_polynomial_to_its_own(count):
    rule = lobatto(count)
    degree = count // 2
    found = rule.coefficients @ eval_legendre(degree, 2.0 * rule.points - 1.0)
    assert found == pytest.approx(np.eye(count)[degree], abs=1e-12)


@counts
def test_basis_interpolates_between_and_at_the_points(count):
    rule = lobatto(count)
    at = np.concatenate((np.linspace(0.0, 1.0, 23), rule.points))
    degree = min(count - 1, 9)
    wanted = eval_legendre(degree, 2.0 * at - 1.0)
    given = eval_legendre(degree, 2.0 * rule.points - 1.0)
    assert given @ rule.basis(at) == pytest.approx(wanted, abs=1e-11)


def test_rules_cannot_be_changed_by_a_caller():
    with pytest.raises(ValueError, match="read-only"):
        lobatto(8).points[0] = 1.0
