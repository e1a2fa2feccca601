"""Cumulants of quadratic forms: chi squared, exact moments by quadrature, turned variables."""

import itertools
import math

import numpy as np
import pytest

from arrowloft.core.chances.quadratic_forms import Cumulants, Forms, cumulants, first_two

POINTS, WEIGHTS = np.polynomial.hermite_e.hermegauss(24)
WEIGHTS = WEIGHTS / WEIGHTS.sum()


def forms(causes, rng, *, cubic=0.0, rows=1, bend=1.0):
    """Any forms of so many causes."""
    square = bend * rng.normal(size=(2, causes, causes, rows))
    return Forms(
        constant=rng.normal(size=(2, rows)),
        linear=rng.normal(size=(2, causes, rows)),
        quadratic=0.5 * (square + np.moveaxis(square, 1, 2)),
        cubic=cubic * rng.normal(size=(2, causes, rows)),
    )


def one_form(linear, quadratic, cubic=None, constant=0.0):
    """One row; the same form up and right."""
    linear, quadratic = np.asarray(linear, float), np.asarray(quadratic, float)
    cubic = np.zeros(linear.size) if cubic is None else np.asarray(cubic, float)
    both = (np.stack([part, part])[..., None] for part in (linear, quadratic, cubic))
    line, square, third = both
    return Forms(constant=np.full((2, 1), constant), linear=line, quadratic=square, cubic=third)


def exact(found, row=0):
    """Cumulants by product quadrature: exact, as each integrand is a polynomial."""
    causes = found.linear.shape[1]
    z = np.array(list(itertools.product(POINTS, repeat=causes))).T
    weight = np.prod(list(itertools.product(WEIGHTS, repeat=causes)), axis=1)
    value = (
        found.constant[:, row, None]
        + found.linear[:, :, row] @ z
        + np.einsum("xij,in,jn->xn", found.quadratic[..., row], z, z)
        + found.cubic[:, :, row] @ (z**3 - 3.0 * z)
    )
    mean = value @ weight
    off = value - mean[:, None]
    second = np.einsum("in,jn,n->ij", off, off, weight)
    third = np.einsum("in,jn,kn,n->ijk", off, off, off, weight)
    fourth = np.einsum("in,jn,kn,ln,n->ijkl", off, off, off, off, weight)
    for pairs in ("ij,kl->ijkl", "ik,jl->ijkl", "il,jk->ijkl"):
        fourth = fourth - np.einsum(pairs, second, second)
    return mean, second, third, fourth


@pytest.mark.parametrize("degrees", [1, 2, 5])
def test_chi_squared(degrees) -> None:
    """Cumulants of chi squared with k degrees of freedom: 2^(n-1) (n-1)! k."""
    found = cumulants(one_form(np.zeros(degrees), np.eye(degrees)))
    parts = (found.mean, found.covariance, found.third, found.fourth)
    for order, part in enumerate(parts, start=1):
        expected = 2 ** (order - 1) * math.factorial(order - 1) * degrees
        assert part == pytest.approx(np.full(part.shape, float(expected)))


def test_shifted_chi_squared() -> None:
    """(z + m)^2 is non-central: cumulants 2^(n-1) (n-1)! (1 + n m^2)."""
    shift = 0.7
    found = cumulants(one_form([2.0 * shift], [[1.0]], constant=shift**2))
    parts = (found.mean, found.covariance, found.third, found.fourth)
    for order, part in enumerate(parts, start=1):
        expected = 2 ** (order - 1) * math.factorial(order - 1) * (1.0 + order * shift**2)
        assert part == pytest.approx(np.full(part.shape, expected))


@pytest.mark.parametrize("causes", [1, 2, 3])
def test_joint_cumulants_are_exact_without_a_cubic_part(causes) -> None:
    some = forms(causes, np.random.default_rng(causes), rows=2)
    found = cumulants(some)
    for row in (0, 1):
        mean, second, third, fourth = exact(some, row)
        assert found.mean[..., row] == pytest.approx(mean)
        assert found.covariance[..., row] == pytest.approx(second)
        assert found.third[..., row] == pytest.approx(third)
        assert found.fourth[..., row] == pytest.approx(fourth)


@pytest.mark.parametrize("causes", [1, 2, 3])
def test_the_first_two_are_exact_with_a_cubic_part(causes) -> None:
    some = forms(causes, np.random.default_rng(10 + causes), cubic=0.5)
    mean, covariance = first_two(some)
    expected = exact(some)
    assert mean[:, 0] == pytest.approx(expected[0])
    assert covariance[..., 0] == pytest.approx(expected[1])


def test_the_cubic_part_in_the_fourth_cumulant() -> None:
    """Without a quadratic part, what is linear in the cubic one is all but its squares."""
    small = 1e-5
    some = forms(2, np.random.default_rng(3), cubic=small, bend=0.0)
    found = cumulants(some)
    _, _, third, fourth = exact(some)
    assert found.third[..., 0] == pytest.approx(third, abs=1e-12)
    assert found.fourth[..., 0] == pytest.approx(fourth, abs=1e3 * small**2)
    assert np.abs(fourth).max() > 1e-5  # there is something to be held against


def test_cumulants_are_symmetric() -> None:
    found = cumulants(forms(3, np.random.default_rng(4), cubic=0.3))
    for order in itertools.permutations(range(3)):
        assert np.array_equal(found.third, found.third.transpose(*order, 3))
    for order in itertools.permutations(range(4)):
        assert np.array_equal(found.fourth, found.fourth.transpose(*order, 4))


def test_turned_variables_change_nothing() -> None:
    """Normal variables turned are normal variables: a -> R a, B -> R B R'."""
    rng = np.random.default_rng(5)
    some = forms(4, rng)
    turn, _ = np.linalg.qr(rng.normal(size=(4, 4)))
    turned = Forms(
        constant=some.constant,
        linear=np.einsum("ij,xjr->xir", turn, some.linear),
        quadratic=np.einsum("ij,xjkr,lk->xilr", turn, some.quadratic, turn),
        cubic=some.cubic,
    )
    one, other = cumulants(some), cumulants(turned)
    for name in ("mean", "covariance", "third", "fourth"):
        assert getattr(other, name) == pytest.approx(getattr(one, name))


def test_a_mapped_impact() -> None:
    """Cumulants of a map of the forms are the map of their cumulants."""
    rng = np.random.default_rng(6)
    some, matrix = forms(3, rng, rows=2), rng.normal(size=(2, 2, 2))
    through = Forms(
        constant=np.einsum("iar,ar->ir", matrix, some.constant),
        linear=np.einsum("iar,acr->icr", matrix, some.linear),
        quadratic=np.einsum("iar,acdr->icdr", matrix, some.quadratic),
        cubic=np.einsum("iar,acr->icr", matrix, some.cubic),
    )
    one, other = cumulants(some).mapped(matrix), cumulants(through)
    for name in ("mean", "covariance", "third", "fourth"):
        assert getattr(one, name) == pytest.approx(getattr(other, name))


def test_parts_of_the_variance_add_up() -> None:
    some = forms(3, np.random.default_rng(7), cubic=0.4, rows=2)
    _, covariance = first_two(some)
    assert some.variances().sum(axis=1) == pytest.approx(covariance[[0, 1], [0, 1]])


def test_two_causes_share_what_they_make_together() -> None:
    """z1 z2 has the variance 1, half of it each one's."""
    some = one_form([0.0, 0.0], [[0.0, 0.5], [0.5, 0.0]])
    assert some.variances()[0, :, 0] == pytest.approx([0.5, 0.5])


def test_without_a_cause() -> None:
    """As quadrature has it with that variable at 0."""
    some = forms(3, np.random.default_rng(8), cubic=0.3)
    kept = [0, 2]
    fewer = Forms(
        constant=some.constant,
        linear=some.linear[:, kept],
        quadratic=some.quadratic[:, kept][:, :, kept],
        cubic=some.cubic[:, kept],
    )
    mean, covariance = first_two(some.without(1))
    expected = exact(fewer)
    assert mean[:, 0] == pytest.approx(expected[0])
    assert covariance[..., 0] == pytest.approx(expected[1])
    assert some.without(1).variances()[:, 1] == pytest.approx(0.0)


def test_nothing_off_has_no_scatter() -> None:
    nothing = Forms(
        constant=np.array([[1.0], [2.0]]),
        linear=np.zeros((2, 0, 1)),
        quadratic=np.zeros((2, 0, 0, 1)),
        cubic=np.zeros((2, 0, 1)),
    )
    found = cumulants(nothing)
    assert isinstance(found, Cumulants)
    assert found.mean[:, 0] == pytest.approx([1.0, 2.0])
    assert not found.covariance.any() and not found.third.any() and not found.fourth.any()
