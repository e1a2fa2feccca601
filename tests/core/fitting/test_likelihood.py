"""Likelihood, criteria and ranking: against direct computations."""

import math
from dataclasses import replace

import numpy as np
import pytest

from arrowloft.core.fitting.likelihood import likelihood, ranking

RESIDUALS = np.array([0.3, -0.1, 0.25, 0.02, -0.4, 0.11, 0.0])
SIGMA = np.array([0.2, 0.1, 0.2, 0.1, 0.3, 0.1, 0.2])


def normal(value, sigma):
    """Density of the normal distribution."""
    return math.exp(-0.5 * (value / sigma) ** 2) / (sigma * math.sqrt(2.0 * math.pi))


def test_criteria_from_the_product_of_densities():
    found = likelihood(RESIDUALS, SIGMA, 3)
    product = math.prod(map(normal, RESIDUALS, SIGMA))
    assert found.log_likelihood == pytest.approx(math.log(product), abs=1e-12)
    assert found.aic == pytest.approx(6.0 - 2.0 * math.log(product))
    assert found.aicc == pytest.approx(found.aic + 2 * 3 * 4 / 3)
    assert found.bic == pytest.approx(3.0 * math.log(7) - 2.0 * math.log(product))
    assert found.degrees == 4
    assert found.stretch == pytest.approx(math.sqrt(found.chi_square / 4))


@pytest.mark.parametrize("chi_square", [0.5, 3.0, 20.0])
def test_the_chance_in_closed_form(chi_square):
    """With two degrees of freedom exp(-x/2), with four (1 + x/2) exp(-x/2)."""
    residuals = np.zeros(5)
    residuals[0] = math.sqrt(chi_square)
    half = 0.5 * chi_square
    assert likelihood(residuals, np.ones(5), 3).chance == pytest.approx(math.exp(-half))
    assert likelihood(residuals, np.ones(5), 1).chance == pytest.approx(
        (1 + half) * math.exp(-half)
    )


def test_without_degrees_nothing_is_said_of_the_chance():
    found = likelihood(RESIDUALS, SIGMA, 7)
    assert math.isnan(found.chance) and math.isnan(found.stretch) and math.isnan(found.aicc)
    assert math.isnan(likelihood(RESIDUALS, SIGMA, 6).aicc)
    assert math.isfinite(likelihood(RESIDUALS, SIGMA, 5).aicc)


def test_the_ranking_is_by_differences_of_aic_alone():
    fits = [likelihood(scale * RESIDUALS, SIGMA, k) for scale, k in ((1.5, 1), (1.0, 2), (0.9, 4))]
    found = ranking(fits)
    aic = np.array([fit.aic for fit in fits])
    assert found.difference == pytest.approx(aic - aic.min(), abs=1e-6)
    shares = np.exp(-0.5 * aic) / np.exp(-0.5 * aic).sum()
    assert found.weight == pytest.approx(shares, rel=1e-6)
    assert [float(aic[index]) for index in found.order] == sorted(aic.tolist())
    assert ranking(fits[:1]).weight == pytest.approx([1.0])


def test_no_bystander_changes_the_order():
    """By AICc the first would win, where it is defined; one without it changes nothing."""
    fits = [likelihood(1.8 * RESIDUALS, SIGMA, 2), likelihood(0.5 * RESIDUALS, SIGMA, 5)]
    assert fits[0].aicc < fits[1].aicc and fits[1].aic < fits[0].aic
    saturated = likelihood(3.0 * RESIDUALS, SIGMA, 7)
    assert ranking(fits).order == (1, 0)
    assert ranking([*fits, saturated]).order == (1, 0, 2)


def test_noise_of_rounding_changes_neither_order_nor_differences():
    """As the last bits of another machine would: the request's order decides between equals."""
    exact = [likelihood(scale * RESIDUALS, SIGMA, 2) for scale in (1.0, 1.0, 1.2)]
    for noise in (-1e-8, 1e-8):
        noisy = [replace(exact[0], aic=exact[0].aic + noise), *exact[1:]]
        assert ranking(noisy).order == (0, 1, 2)
        assert ranking(noisy).difference.tolist() == ranking(exact).difference.tolist()
        assert ranking(noisy).difference[1] == 0.0


def test_what_aic_adds_is_what_fits_gain_by_their_own_noise():
    """A straight line and a parabola through five values of known spread.

    On new values chi^2 exceeds that on the fitted ones by 2 k on average (standard error
    0.02): what AIC adds, and far from what AICc does.
    """
    rng = np.random.default_rng(1)
    for count in (2, 3):
        base = np.vander(np.linspace(-1.0, 1.0, 5), count)
        onto = base @ np.linalg.pinv(base)
        seen, new = rng.normal(size=(2, 200_000, 5))
        fits = seen @ onto.T
        excess = ((new - fits) ** 2).sum(axis=1) - ((seen - fits) ** 2).sum(axis=1)
        assert excess.mean() == pytest.approx(2.0 * count, abs=0.1)
