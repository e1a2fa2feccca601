"""The fit against SciPy's general minimisers, on a sum and flights that share nothing with it.

The oracle is independent.py: DOP853 in the world frame. The pin is a point of the bow; the
eye sees it on the line of sight, which sets the arrow's line.
"""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from calibration_setups import (
    YARD,
    ends,
    marks,
    only,
    plain_shot,
    prior,
    scatter,
    seen,
    sight,
    unknowns,
)
from scipy.optimize import curve_fit, minimize

from arrowloft.core.learning.calibration import CAUCHY, HUBER, calibrate
from arrowloft.core.learning.observations import SpeedReading
from arrowloft.core.learning.unknowns import NAMES

SIGHT = sight()
COARSE = {"rtol": 1e-10, "atol": 1e-11, "max_step": math.inf}
"""Of the integrator where thousands of flights are asked of it: 1e-8 m."""


def oracle(independent, shot, truth, observations, **options):
    """What the observations come to by the oracle, in the order of `Predictions.values`."""
    speed, drag, peep_height, radius, zero, windage = truth

    def real(one):
        return replace(one, launch_speed=speed, drag_scale=drag, peep_height=peep_height)

    zero_angle = independent.aim(real(shot), SIGHT.zero_distance, **options).angle
    up, right, speeds = [], [], []
    for seen_one in observations:
        here = real(seen_one.shot)
        if isinstance(seen_one, SpeedReading):
            speeds.append(independent.aim(here, seen_one.distance, **options).speed)
            continue
        # A pin lowered by the travel from its place at the zero, where it stood too high.
        below = radius * math.tan(zero_angle) + seen_one.travel - zero
        angle, beside = math.atan2(below, radius), seen_one.windage_travel + windage
        yaw = -math.atan2(beside, math.hypot(radius, below))
        flown = independent.fly(here, angle, seen_one.landed.distance, yaw, **options)
        up.append(flown.tip[1])
        if seen_one.landed.right is not None:
            right.append(flown.tip[2])
    return np.array([*up, *right, *speeds])


TRUTH = unknowns(speed=81.0, drag=1.3, peep_height=0.118, radius=0.852, zero=-4e-4, windage=1e-3)


def observed(distances, off=0.0, *, conditions=False, reading=False):
    """Observations with the marks of the set-up as assumed, landing as TRUTH has it."""
    shot = plain_shot()
    places = marks(shot, SIGHT, distances)
    several = ends(shot, places, 0.0, 0.0)
    if conditions:
        shots = (shot.with_(slope=0.3), shot.with_(wind_speed=3.0, wind_from=0.8), shot)
        several = [replace(end, shot=one) for end, one in zip(several, shots, strict=False)]
    landed = seen(shot, SIGHT, several, TRUTH).reshape(2, -1) + off
    several = [
        replace(end, landed=replace(end.landed, up=float(up), right=float(right)))
        for end, up, right in zip(several, *landed, strict=True)
    ]
    if reading:
        several.append(SpeedReading(shot=shot, distance=3.0, speed=81.4, uncertainty=0.4))
    return several


def test_predictions_are_the_oracles(independent):
    several = observed([18.0, 40.0, 70.0], conditions=True, reading=True)
    several[1] = replace(several[1], windage_travel=-2e-3)
    for truth in (unknowns(), TRUTH):
        found = seen(plain_shot(), SIGHT, several, truth)
        assert found == pytest.approx(oracle(independent, plain_shot(), truth, several), abs=2e-7)


def rho(loss, z):
    """The losses of the squared residual, written anew."""
    if loss == "huber":
        return np.where(z <= HUBER**2, z, 2.0 * HUBER * np.sqrt(z) - HUBER**2)
    return z if loss == "squares" else CAUCHY**2 * np.log1p(z / CAUCHY**2)


def log_posterior(before, predict, seen_values, deviation, loss="squares"):
    """Minus the logarithm of the posterior of the unknowns themselves, each written out."""

    def of(x):
        names = dict(zip(NAMES, before, strict=True))
        values = [
            names["speed"][0] * math.exp(names["speed"][1] * x[0]),
            math.exp(names["drag"][1] * x[1]),
            *(mean + doubt * z for (mean, doubt), z in zip(before[2:], x[2:], strict=True)),
        ]
        off = (predict(tuple(values)) - seen_values) / deviation
        return 0.5 * (rho(loss, off**2).sum() + (np.asarray(x) ** 2).sum())

    return of


BEFORE = ((84.0, 0.035), (1.0, 0.3), (0.115, 0.003), (0.86, 0.008), (0.0, 5e-4), (0.0, 1e-3))


@pytest.mark.parametrize("loss", ["squares", "huber", "cauchy"])
def test_the_same_fit_as_a_quasi_newton_search_of_the_oracles_flights(independent, loss):
    several = observed([20 * YARD, 45.0, 70.0], np.array([0.02, -0.25, 0.01]), reading=True)
    found = calibrate(plain_shot(), SIGHT, prior(), several, scatter(), loss=loss)
    # 1 mrad, three arrows; the reading by its own.
    deviation = np.append(np.tile(1e-3 * np.array([20 * YARD, 45.0, 70.0]) / math.sqrt(3), 2), 0.4)

    @cache
    def predict(values):
        return oracle(independent, plain_shot(), values, several, **COARSE)

    ups = [end.landed.up for end in several[:3]]
    rights = [end.landed.right for end in several[:3]]
    of = log_posterior(BEFORE, predict, np.array([*ups, *rights, 81.4]), deviation, loss)
    searched = minimize(of, np.zeros(6), method="BFGS", options={"gtol": 1e-4, "eps": 1e-4})
    # BFGS by one-sided differences stops within 1e-4 of the least sum or says so.
    assert np.abs(searched.jac).max() < 1e-3
    # And none of the sums by the oracle is less than at the fit.
    spread = np.sqrt(np.diag(found.covariance))
    assert (searched.x - found.x) / spread == pytest.approx(np.zeros(6), abs=1e-3)
    assert of(found.x) <= searched.fun + 1e-6


def test_the_same_fit_as_a_simplex_search(independent):
    # Without derivatives at all: speed and zero by two ends.
    several = observed([40.0, 70.0], np.array([0.05, -0.03]))
    before = only("speed", "zero")
    found = calibrate(plain_shot(), SIGHT, before, several, scatter())
    predict = cache(lambda values: oracle(independent, plain_shot(), values, several, **COARSE))
    exact = (BEFORE[0], (1.0, 0.0), (0.115, 0.0), (0.86, 0.0), BEFORE[4], (0.0, 0.0))
    seen_values = np.array(
        [end.landed.up for end in several] + [end.landed.right for end in several]
    )
    deviation = np.tile(1e-3 * np.array([40.0, 70.0]) / math.sqrt(3), 2)
    of = log_posterior(exact, predict, seen_values, deviation)
    options = {"xatol": 1e-5, "fatol": 1e-9, "initial_simplex": [[0, 0], [1, 0], [0, 1]]}
    searched = minimize(
        lambda two: of([two[0], 0.0, 0.0, 0.0, two[1], 0.0]),
        np.zeros(2),
        method="Nelder-Mead",
        options=options,
    )
    assert found.x[[0, 4]] == pytest.approx(searched.x, abs=5e-4)


def test_without_priors_the_covariance_is_that_of_curve_fit(independent):
    # Speed, drag and the zero's error by six ends, their priors as wide as can be.
    distances = [20 * YARD, 30.0, 40.0, 50.0, 60.0, 75.0]
    noise = np.array([0.01, -0.02, 0.01, 0.03, -0.02, 0.01])
    several = [
        replace(end, landed=replace(end.landed, right=None)) for end in observed(distances, noise)
    ]
    wide = {"speed_uncertainty": 0.6, "drag_uncertainty": 20.0, "zero_uncertainty": 1.0}
    before = only("speed", "drag", "zero", **wide)
    spread = scatter(2e-4)
    found = calibrate(plain_shot(), SIGHT, before, several, spread)
    deviation = 2e-4 * np.array(distances) / math.sqrt(3)

    def model(_, speed, drag, zero):
        values = unknowns(speed=speed, drag=drag, zero=zero)
        return oracle(independent, plain_shot(), values, several, **COARSE)

    ups = np.array([end.landed.up for end in several])
    best, covariance = curve_fit(
        model, np.array(distances), ups, p0=(83.0, 1.2, 0.0), sigma=np.maximum(deviation, 1e-3),
        absolute_sigma=True, epsfcn=1e-9,
    )  # fmt: skip
    free = [0, 1, 4]
    doubt = np.sqrt(np.diag(covariance))
    # The priors' hold: (their uncertainty over the posterior's)^2, and what STATIONARY leaves.
    assert (found.values[free] - best) / doubt == pytest.approx(np.zeros(3), abs=2e-3)
    assert found.uncertainties[free] == pytest.approx(doubt, rel=2e-3)
    correlations = covariance / np.outer(doubt, doubt)
    assert found.correlations[np.ix_(free, free)] == pytest.approx(correlations, abs=2e-3)
