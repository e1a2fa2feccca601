"""Joint cumulants of two quadratic forms of independent standard normal variables.

Impacts up and right follow from what is off at a shot, each scaled to a standard normal
variable z_i, to second order:

    Q = c + a.z + z' B z + sum_i d_i (z_i^3 - 3 z_i)

The cumulants of such forms are sums of traces and of products with a:

    k(Q1)             = c1 + tr B1
    k(Q1, Q2)         = a1.a2 + 2 tr B1 B2
    k(Q1, Q2, Q3)     = sum over the 6 orders  a B a  + 8 tr B1 B2 B3 (symmetrised)
    k(Q1, Q2, Q3, Q4) = sum over the 24 orders (2 a B B a + 2 tr B B B B)

Source: Mathai and Provost, Quadratic Forms in Random Variables, 1992 (from memory); the
tests hold them against exact quadrature and the chi-squared distribution.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement, permutations

import numpy as np

from arrowloft.core.arrays import Array

UP, RIGHT = 0, 1
"""Axes of the target plane, in this order in every array."""


@dataclass(frozen=True, kw_only=True)
class Cumulants:
    """Cumulants of the impact up and right; the last axis is rows, SI.

    mean: (2, rows).  covariance: (2, 2, rows).  third: (2, 2, 2, rows).
    fourth: (2, 2, 2, 2, rows).
    """

    mean: Array
    covariance: Array
    third: Array
    fourth: Array

    def mapped(self, matrix: Array) -> "Cumulants":
        """Those of a linear map of the impact; matrix: (2, 2, rows), new axes first."""
        return Cumulants(
            mean=np.einsum("iar,ar->ir", matrix, self.mean),
            covariance=np.einsum("iar,jbr,abr->ijr", matrix, matrix, self.covariance),
            third=np.einsum("iar,jbr,kcr,abcr->ijkr", matrix, matrix, matrix, self.third),
            fourth=np.einsum(
                "iar,jbr,kcr,ldr,abcdr->ijklr", matrix, matrix, matrix, matrix, self.fourth
            ),
        )


@dataclass(frozen=True, kw_only=True)
class Forms:
    """The two forms, up and right; the last axis is rows, SI.

    constant: (2, rows).  linear: (2, causes, rows).  quadratic: (2, causes, causes, rows),
    symmetric.  cubic: (2, causes, rows).
    """

    constant: Array
    linear: Array
    quadratic: Array
    cubic: Array

    def without(self, cause: int) -> "Forms":
        """The forms with one cause held at its mean."""
        linear, quadratic, cubic = self.linear.copy(), self.quadratic.copy(), self.cubic.copy()
        linear[:, cause] = cubic[:, cause] = 0.0
        quadratic[:, cause] = quadratic[:, :, cause] = 0.0
        return Forms(constant=self.constant, linear=linear, quadratic=quadratic, cubic=cubic)

    def only(self, causes: Sequence[int]) -> "Forms":
        """The forms of some causes, all others held at their means."""
        at = list(causes)
        return Forms(
            constant=self.constant,
            linear=self.linear[:, at],
            quadratic=self.quadratic[:, at][:, :, at],
            cubic=self.cubic[:, at],
        )

    def variances(self) -> Array:
        """Each cause's part of the variance, (2, causes, rows).

        Its own, and half of what two causes make together: they sum to the whole.
        """
        both = 2.0 * (self.quadratic**2).sum(axis=2)
        parts: Array = self.linear**2 + both + 6.0 * self.cubic**2
        return parts


def first_two(forms: Forms) -> tuple[Array, Array]:
    """Mean (2, rows) and covariance (2, 2, rows)."""
    square = forms.quadratic
    mean = forms.constant + np.einsum("xiir->xr", square)
    covariance = (
        np.einsum("xir,yir->xyr", forms.linear, forms.linear)
        + 2.0 * np.einsum("xijr,yijr->xyr", square, square)
        + 6.0 * np.einsum("xir,yir->xyr", forms.cubic, forms.cubic)
    )
    return mean, covariance


def cumulants(forms: Forms) -> Cumulants:
    """The cumulants up to the fourth.

    Of the cubic part, beyond the second only what weighs most: a a a d in the fourth, summed
    over the 24 orders and the causes. What it makes with B is of the order that Edgeworth's
    expansion leaves out, and to take a part of that makes the whole worse (measured).
    """
    mean, covariance = first_two(forms)
    # Matrices of one row side by side, (rows, causes, causes), for matrix products.
    square = np.moveaxis(forms.quadratic, -1, 1)
    line = np.moveaxis(forms.linear, -1, 1)
    bent = np.einsum("xrij,yrj->xyri", square, line)  # B_x a_y
    product = np.einsum("xrij,yrjk->xyrik", square, square)  # B_x B_y
    own = np.moveaxis(forms.cubic, -1, 1)
    rows = mean.shape[1]
    third, fourth = np.empty((2, 2, 2, rows)), np.empty((2, 2, 2, 2, rows))
    for axes in combinations_with_replacement((UP, RIGHT), 3):
        x, y, z = axes
        whole = 8.0 * np.einsum("rij,rji->r", product[x, y], square[z])
        for (x, y, z), times in Counter(permutations(axes)).items():
            whole += times * np.einsum("ri,ri->r", line[x], bent[y, z])
        _everywhere(third, axes, whole)
    for four in combinations_with_replacement((UP, RIGHT), 4):
        whole = np.zeros(rows)
        for (w, x, y, z), times in Counter(permutations(four)).items():
            part = 2.0 * np.einsum("ri,ri->r", bent[x, w], bent[y, z])
            part += 2.0 * np.einsum("rij,rji->r", product[w, x], product[y, z])
            whole += times * (part + (line[w] * line[x] * line[y] * own[z]).sum(axis=1))
        _everywhere(fourth, four, whole)
    return Cumulants(mean=mean, covariance=covariance, third=third, fourth=fourth)


def _everywhere(tensor: Array, axes: Sequence[int], values: Array) -> None:
    """Write a component of a symmetric tensor at each order of its axes."""
    for order in set(permutations(axes)):
        tensor[order] = values
