"""Likelihood, criteria and ranking: against direct computations."""

import math

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


def test_the_ranking_is_by_differences_alone():
    fits = [likelihood(scale * RESIDUALS, SIGMA, k) for scale, k in ((1.5, 1), (1.0, 2), (0.9, 4))]
    found = ranking(fits)
    aicc = np.array([fit.aicc for fit in fits])
    assert found.criterion == "aicc"
    assert found.difference == pytest.approx(aicc - aicc.min())
    shares = np.exp(-0.5 * aicc) / np.exp(-0.5 * aicc).sum()
    assert found.weight == pytest.approx(shares)
    assert [float(aicc[index]) for index in found.order] == sorted(aicc.tolist())


def test_one_fit_without_aicc_puts_all_on_aic():
    fits = [likelihood(RESIDUALS, SIGMA, 2), likelihood(0.1 * RESIDUALS, SIGMA, 6)]
    found = ranking(fits)
    assert found.criterion == "aic"
    aic = np.array([fit.aic for fit in fits])
    assert found.difference == pytest.approx(aic - aic.min())
    assert ranking(fits[:1]).weight == pytest.approx([1.0])
