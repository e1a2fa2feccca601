"""Published drag figures, as data: flights made with them are fitted, and they come back.

Coefficients on the shaft cross-section: 1.56 and 2.05 with small and large straight vanes at
Re 1.2e4 (Ortiz et al., Proceedings (MDPI) 49(1):56, 2020, doi 10.3390/proceedings2020049056,
published); 1.3 laminar and 2.6 turbulent (Miyazaki, KAKEN 18K03943, report, 2020, published).
The flights are made by an integrator that shares no equation with the core.
"""

import numpy as np
import pytest
from fitted_flights import family, readings, unknowns
from reference_setups import AIR, coefficient, recurve

from arrowloft.core.fitting.fit import fit
from arrowloft.core.fitting.predictions import Predictions
from arrowloft.core.fitting.series import Series

PUBLISHED = (1.56, 2.05, 1.3, 2.6)
DISTANCES = (4.0, 12.0, 25.0, 40.0, 60.0)
ANGLE = 0.035


def shot_of(cd):
    """Loosed so that it flies at Re 1.2e4, with tip, peep and wind as they come."""
    speed = 1.25e4 * AIR.viscosity / (1.225 * 0.0055)
    return recurve(
        launch_speed=speed,
        drag=coefficient(cd),
        peep_height=0.11,
        launch_forward=0.9,
        tip_lead=0.33,
        wind_speed=2.0,
        wind_from=0.7,
        slope=0.05,
    )


def drop_of(flown, distance):
    """Of the tip below the line of departure, in the plane across the line of sight."""
    foot = np.array((np.sin(ANGLE), -np.cos(ANGLE))) * 0.11
    return foot[1] + (distance - foot[0]) * np.tan(ANGLE) - flown.tip[1]


def series_of(independent, shot, noise=None, sigma=(0.15, 4e-4, 4e-3)):
    """Speeds, times and drops as measured, with noise in their uncertainties or without."""
    flown = [independent.fly(shot, ANGLE, distance) for distance in DISTANCES]
    seen = np.array(
        [(f.speed, f.time, drop_of(f, d)) for f, d in zip(flown, DISTANCES, strict=True)]
    ).T
    if noise is not None:
        seen = seen + np.array(sigma)[:, None] * noise
    names = zip(("speeds", "times", "drops"), seen, sigma, strict=True)
    return Series(shot=shot, **{name: readings(DISTANCES, v, u) for name, v, u in names})


@pytest.mark.parametrize("cd", PUBLISHED)
@pytest.mark.parametrize("kind", ["speeds", "times", "drops", "all"])
def test_published_coefficients_come_back(independent, cd, kind):
    shot = shot_of(cd)
    series = series_of(independent, shot)
    if kind != "all":
        series = Series(shot=shot, **{kind: getattr(series, kind)})
    found = fit(Predictions([series]), family(angle=ANGLE), unknowns((1.9, 50.0)))
    assert found.values == pytest.approx([cd, shot.launch_speed], rel=2e-7)
    assert found.predicted == pytest.approx(Predictions([series]).observed, rel=1e-8, abs=1e-7)


@pytest.mark.parametrize("cd", PUBLISHED)
def test_with_noise_they_come_back_within_their_uncertainty(independent, cd):
    noise = np.random.default_rng(int(100 * cd)).normal(size=(3, len(DISTANCES)))
    series = series_of(independent, shot_of(cd), noise)
    found = fit(Predictions([series]), family(angle=ANGLE), unknowns((1.9, 50.0)))
    assert abs(found.values[0] - cd) < 3.0 * found.uncertainties[0]
    assert 0.01 < found.uncertainties[0] < 0.2
    assert 1e-3 < found.likelihood.chance < 0.999


def test_two_hundred_fits_scatter_as_they_say(independent):
    """Pulls have mean 0 and deviation 1, chi-square its degrees; each within 4 of their errors."""
    shot, rng = shot_of(1.56), np.random.default_rng(20)
    clean = series_of(independent, shot)
    pulls, chi_squares = [], []
    for _ in range(200):
        noise = rng.normal(size=(3, len(DISTANCES)))
        parts = {}
        for name, more in zip(("speeds", "times", "drops"), noise, strict=True):
            was = getattr(clean, name)
            parts[name] = readings(DISTANCES, was.value + was.uncertainty * more, 1.0)
            parts[name].uncertainty[:] = was.uncertainty
        predictions = Predictions([Series(shot=shot, **parts)])
        found = fit(predictions, family(angle=ANGLE), unknowns((1.6, shot.launch_speed)))
        pulls.append((found.values - (1.56, shot.launch_speed)) / found.uncertainties)
        chi_squares.append(found.likelihood.chi_square)
    pulls = np.array(pulls)
    assert np.abs(pulls.mean(axis=0)) == pytest.approx([0.0, 0.0], abs=4.0 / np.sqrt(200))
    assert pulls.std(axis=0) == pytest.approx([1.0, 1.0], abs=4.0 / np.sqrt(400))
    # Of 13 degrees: the mean's standard error is sqrt(2 * 13 / 200).
    assert np.mean(chi_squares) == pytest.approx(13.0, abs=4.0 * np.sqrt(26.0 / 200))


def test_the_covariance_is_the_inverse_hessian_of_the_likelihood(independent):
    """By second differences of -ln L over flights of the independent integrator."""
    shot = shot_of(2.05)
    series = series_of(independent, shot)
    predictions = Predictions([series])
    found = fit(predictions, family(angle=ANGLE), unknowns((1.9, 50.0)))
    step = 0.05 * found.uncertainties

    def half_chi_square(one, other):
        x = found.values + step * np.array((one, other))
        there = shot.with_(drag=coefficient(x[0]), launch_speed=x[1])
        off = series_of(independent, there).observed() - series.observed()
        return 0.5 * float(((off / series.uncertainty()) ** 2).sum())

    at = {(i, j): half_chi_square(i, j) for i in (-1, 0, 1) for j in (-1, 0, 1)}
    hessian = np.empty((2, 2))
    hessian[0, 0] = (at[1, 0] - 2 * at[0, 0] + at[-1, 0]) / step[0] ** 2
    hessian[1, 1] = (at[0, 1] - 2 * at[0, 0] + at[0, -1]) / step[1] ** 2
    mixed = at[1, 1] - at[1, -1] - at[-1, 1] + at[-1, -1]
    hessian[0, 1] = hessian[1, 0] = mixed / (4 * step[0] * step[1])
    assert found.covariance == pytest.approx(np.linalg.inv(hessian), rel=2e-3)
