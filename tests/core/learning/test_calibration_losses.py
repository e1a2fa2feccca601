"""Robust losses of the fit, and that whatever it returns is a least sum, prior included."""

import math
from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import ends, marks, only, plain_shot, prior, scatter, seen, sight, unknowns
from scipy.integrate import quad
from scipy.special import huber
from scipy.stats import norm

from arrowloft.core.learning import calibration as module
from arrowloft.core.learning.calibration import CAUCHY, HUBER, STATIONARY, calibrate
from arrowloft.core.learning.observations import Predictions
from arrowloft.core.learning.unknowns import SPEED

SIGHT = sight()
DISTANCES = (18.0, 35.0, 46.0, 55.0, 73.0)
LOSSES = ("squares", "huber", "cauchy")


def rho(loss, z):
    """The losses as their authors write them, of the squared residual."""
    if loss == "squares":
        return z
    if loss == "huber":
        return 2.0 * huber(HUBER, np.sqrt(z))
    return CAUCHY**2 * np.log1p(z / CAUCHY**2)


def shot_ends(off, truth=None):
    """Ends at DISTANCES that land as the truth has it, but off by so much, m."""
    aimed = ends(plain_shot(), marks(plain_shot(), SIGHT, DISTANCES), 0.0)
    landed = seen(plain_shot(), SIGHT, aimed, unknowns() if truth is None else truth)
    return [
        replace(end, landed=replace(end.landed, up=float(up)))
        for end, up in zip(aimed, landed + off, strict=True)
    ]


def fit(observations, loss, before=None):
    return calibrate(plain_shot(), SIGHT, before or prior(), observations, scatter(), loss=loss)


def cost(found, loss, x):
    """What is to be least, by the test's own sum, (lanes,), at x (6, lanes)."""
    off = found.predictions(found.prior.values(x)) - found.predictions.observed
    z = (off / found.deviation) ** 2
    return 0.5 * (rho(loss, z).sum(axis=1) + (x**2).sum(axis=0))


SMALL = np.array([2e-3, -4e-3, 3e-3, 5e-3, -6e-3])
FLYER = np.array([2e-3, -4e-3, 0.6, 5e-3, -6e-3])


def test_where_all_fits_a_robust_loss_is_least_squares():
    squares = fit(shot_ends(SMALL), "squares")
    assert (np.abs(squares.residuals / squares.deviation) < 0.5).all()
    assert (squares.weight == 1.0).all()
    found = fit(shot_ends(SMALL), "huber")
    assert (found.weight == 1.0).all()
    assert found.x == pytest.approx(squares.x, abs=1e-5)
    assert found.covariance == pytest.approx(squares.covariance, abs=1e-6)
    # Cauchy's weighs each residual down by its square over c^2 = 5.7: here by 1 % at most.
    found = fit(shot_ends(SMALL), "cauchy")
    assert found.x == pytest.approx(squares.x, abs=5e-3)
    assert found.covariance == pytest.approx(squares.covariance, abs=1e-2)


def test_one_flyer_moves_a_robust_fit_less():
    squares, by_huber, by_cauchy = (
        abs(fit(shot_ends(FLYER), loss).x - fit(shot_ends(SMALL), loss).x)[SPEED] for loss in LOSSES
    )
    assert by_cauchy < 0.2 * by_huber < 0.2 * 0.5 * squares


@pytest.mark.parametrize("loss", LOSSES)
def test_weights_design_and_covariance(loss):
    found = fit(shot_ends(FLYER), loss)
    standard = np.abs(found.residuals / found.deviation)
    weight = {
        "squares": np.ones(5),
        "huber": np.minimum(1.0, HUBER / standard),
        "cauchy": 1.0 / (1.0 + (standard / CAUCHY) ** 2),
    }[loss]
    assert found.weight == pytest.approx(weight, rel=1e-9)
    assert loss == "squares" or weight.min() < 0.2
    step = 0.01
    points = found.x[:, None] + step * np.hstack((np.eye(6), -np.eye(6)))
    predicted = found.predictions(found.prior.values(points)) / found.deviation
    slopes = ((predicted[:6] - predicted[6:]) / (2.0 * step)).T
    assert found.design == pytest.approx(np.sqrt(weight)[:, None] * slopes, rel=2e-3, abs=1e-3)
    information = slopes.T @ np.diag(weight) @ slopes + np.eye(6)
    assert found.covariance == pytest.approx(np.linalg.inv(information), abs=5e-4)


@pytest.mark.parametrize("loss", ["huber", "cauchy"])
def test_derivatives_of_the_losses(loss):
    # The sum that SciPy is handed: the rows' loss with two derivatives, the prior's as it is.
    size = np.array([0.0, 0.3, 1.2, 1.5, 3.0, 20.0, 400.0])
    z, step = np.append(size, [0.3, 50.0]), 1e-5
    value, slope, bend = module._loss(loss, size.size)(z)
    assert value[:7] == pytest.approx(rho(loss, size), rel=1e-12)
    above, below = (module._loss(loss, size.size)(z * f + step * (f - 1.0)) for f in (1.01, 0.99))
    width = 0.02 * (z + step)
    assert slope[1:] == pytest.approx(((above - below)[0] / width)[1:], rel=1e-3)
    assert bend[1:] == pytest.approx(((above - below)[1] / width)[1:], rel=1e-3)
    assert slope[0] == 1.0
    assert value[7:].tolist() == [0.3, 50.0]
    assert slope[7:].tolist() == [1.0, 1.0]
    assert bend[7:].tolist() == [0.0, 0.0]


@pytest.mark.parametrize("loss", ["huber", "cauchy"])
def test_where_all_is_normal_they_are_95_percent_as_efficient(loss):
    # Variance of an M estimate of a centre: E psi^2 / (E psi')^2; the mean's is 1.
    def psi(r):
        if loss == "huber":
            return max(-HUBER, min(r, HUBER))
        return r / (1.0 + (r / CAUCHY) ** 2)

    def steepness(r):
        return (psi(r + 1e-6) - psi(r - 1e-6)) / 2e-6

    def mean(of):
        points = (-HUBER, HUBER)
        return quad(lambda r: of(r) * norm.pdf(r), -9.0, 9.0, points=points, limit=200)[0]

    efficiency = mean(steepness) ** 2 / mean(lambda r: psi(r) ** 2)
    assert efficiency == pytest.approx(0.95, abs=5e-4)


@pytest.mark.parametrize("loss", LOSSES)
def test_whatever_comes_back_is_a_least_sum(loss):
    """Ends that contradict each other, by up to 20 standard uncertainties, and vague priors."""
    random = np.random.default_rng(4)
    for _ in range(12):
        off = random.normal(0.0, 0.15, 5) * random.choice([0.1, 1.0, 3.0], 5)
        truth = unknowns(speed=random.normal(84.0, 4.0), drag=random.uniform(0.7, 1.4))
        found = fit(shot_ends(off, truth), loss)
        step = 1e-3
        points = found.x[:, None] + step * np.hstack((np.eye(6), -np.eye(6)))
        values = cost(found, loss, points)
        slope = (values[:6] - values[6:]) / (2.0 * step)
        # By the slope left, the least sum is no farther away than this.
        assert math.sqrt(slope @ found.covariance @ slope) < 1.5 * STATIONARY
        # Nor is there less in any direction round about.
        around = found.x[:, None] + 0.3 * random.normal(size=(6, 40))
        assert (cost(found, loss, around) > cost(found, loss, found.x[:, None])).all()


def test_the_prior_is_never_weighed_down():
    # One end known well, 23 uncertainties of the prior off: the prior's own part stays squared.
    before = only("speed", speed_uncertainty=1e-3)
    end = replace(shot_ends(np.zeros(5), unknowns(speed=86.0))[4], uncertainty=1e-3)
    found = fit([end], "huber", before)
    assert found.x[SPEED] > 3.0
    slope = found.design[0, SPEED] / math.sqrt(found.weight[0])
    standard = found.residuals[0] / found.deviation[0]
    # Stationary: psi(r) dr/dx = x, psi held to HUBER.
    assert min(standard, HUBER) * slope == pytest.approx(found.x[SPEED], rel=1e-3)


def test_predictions_are_those_of_the_observations():
    found = fit(shot_ends(FLYER), "squares")
    assert isinstance(found.predictions, Predictions)
    again = found.predictions(found.values[:, None])[0]
    # The last step takes them on a straight line: a micrometre is far below what is seen.
    assert found.predicted == pytest.approx(again, abs=1e-6)
    assert found.observed.tolist() == [end.landed.up for end in found.predictions.ends]
