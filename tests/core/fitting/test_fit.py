"""Fits: closed forms give back what they were made with; what is not told is refused."""

import numpy as np
import pytest
from fitted_flights import family, readings, track, unknowns
from reference_setups import AIR, coefficient, in_vacuum, recurve

from arrowloft.core.fitting.coefficients import coefficients
from arrowloft.core.fitting.fit import NeverArrives, NotTold, TooFew, fit
from arrowloft.core.fitting.predictions import Predictions
from arrowloft.core.fitting.series import Series
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section

FLAT = recurve(gravity=1e-4)
DISTANCE = np.array([5.0, 20.0, 40.0, 60.0, 80.0])


def rate(cd):
    """K = rho Cd A / (2 m), 1/m."""
    return 1.225 * cd * cross_section(FLAT.arrow) / (2.0 * 0.02)


def flat_fire(cd, speed, x):
    """Speed, time and drop of flat fire (Didion; McCoy, Modern Exterior Ballistics, quoted)."""
    k = rate(cd)
    late = 1e-4 * (np.exp(2 * k * x) - 1 - 2 * k * x) / (4 * k**2 * speed**2)
    return speed * np.exp(-k * x), (np.exp(k * x) - 1) / (k * speed), late


@pytest.mark.parametrize("kind", ["speeds", "times", "drops"])
@pytest.mark.parametrize("cd", [1.3, 2.6])
def test_flat_fire_gives_its_coefficient_back(kind, cd):
    """With next to no gravity the closed forms of flat fire are exact."""
    seen = dict(zip(("speeds", "times", "drops"), flat_fire(cd, 61.0, DISTANCE), strict=True))
    given = {kind: readings(DISTANCE, seen[kind], 1e-3 * float(np.mean(seen[kind])))}
    found = fit(Predictions([Series(shot=FLAT, **given)]), family(), unknowns((2.0, 57.0)))
    assert found.values == pytest.approx([cd, 61.0], rel=1e-6)
    assert found.likelihood.chi_square < 1e-6


def test_the_covariance_of_flat_fire_in_closed_form():
    """ln v is a straight line in x: its covariance is that of a straight line."""
    speed = flat_fire(2.0, 57.0, DISTANCE)[0]
    series = Series(
        shot=FLAT,
        speeds=readings(DISTANCE, speed, 0.1),
    )
    found = fit(Predictions([series]), family(), unknowns((1.5, 60.0)))
    slope = np.column_stack((-DISTANCE * rate(1.0) * speed, speed / 57.0)) / 0.1
    assert found.covariance == pytest.approx(np.linalg.inv(slope.T @ slope), rel=1e-5)
    assert found.correlations[0, 1] == pytest.approx(found.correlations[1, 0])


def test_a_track_tells_as_much_as_it_shows():
    shot = in_vacuum(peep_height=0.1)
    time = np.linspace(0.0, 1.0, 12)
    places = np.array((61.0 * time, -0.1 - 0.5 * 9.80665 * time**2, 0.0 * time))
    series = Series(shot=shot, track=track(time, places, 0.01, right=True))
    predictions = Predictions([series])
    assert predictions.observed.size == 36
    found = fit(predictions, family(), unknowns((0.5, 57.0)))
    assert found.values[1] == pytest.approx(61.0, abs=1e-4)
    assert found.at_low.tolist() == [True, False]
    assert np.isnan(found.uncertainties[0])
    assert found.uncertainties[1] == pytest.approx(0.01 / np.sqrt((time**2).sum()), rel=1e-3)


def test_several_series_are_fitted_together():
    """Two arrows of another mass each: one law and one speed for both."""
    heavy = FLAT.with_(arrow=Arrow(mass=0.04, shaft_diameter=0.0055, length=0.7))
    series = [
        Series(shot=FLAT, speeds=readings(DISTANCE, flat_fire(2.0, 57.0, DISTANCE)[0], 0.1)),
        Series(shot=heavy, times=readings(DISTANCE, flat_fire(1.0, 57.0, DISTANCE)[1], 1e-3)),
    ]
    found = fit(Predictions(series), family(2), unknowns((1.5, 60.0)))
    assert found.values == pytest.approx([2.0, 57.0], rel=1e-6)
    back = fit(Predictions(series[::-1]), family(2), unknowns((1.5, 60.0)))
    assert back.values == pytest.approx(found.values, rel=1e-9)
    assert back.covariance == pytest.approx(found.covariance, rel=1e-6)


def test_what_arrows_do_not_know_of_themselves_is_none_of_their_neighbours():
    """A law that is three times as much for an arrow whose length is known."""

    def law(value):
        def of(flow, arrow):
            factor = 1.0 if arrow.length is None else 3.0
            return factor * value * cross_section(arrow) + 0.0 * flow.airspeed

        return of

    long = FLAT.with_(arrow=Arrow(mass=0.02, shaft_diameter=0.0055, length=0.7))
    series = [
        Series(shot=FLAT, speeds=readings(DISTANCE, flat_fire(1.0, 57.0, DISTANCE)[0], 0.1)),
        Series(shot=long, speeds=readings(DISTANCE, flat_fire(3.0, 57.0, DISTANCE)[0], 0.1)),
    ]
    found = fit(Predictions(series), family(2, law=law), unknowns((1.5, 60.0)))
    assert found.values == pytest.approx([1.0, 57.0], rel=1e-6)


def test_a_bound_close_by_does_not_bend_the_covariance():
    speed = flat_fire(2.0, 57.0, DISTANCE)[0]
    predictions = Predictions([Series(shot=FLAT, speeds=readings(DISTANCE, speed, 0.1))])
    wide = fit(predictions, family(), unknowns((1.5, 60.0)))
    close = fit(predictions, family(), unknowns((1.5, 60.0), high=(2.0005, 200.0)))
    assert not close.at_high.any()
    assert close.covariance == pytest.approx(wide.covariance, rel=1e-3)


def test_the_least_sum_is_found_from_far_and_near():
    met = impacts(recurve(peep_height=0.1), 0.03, DISTANCE)
    rng = np.random.default_rng(4)
    speeds = readings(DISTANCE, met.speed + rng.normal(0.0, 0.1, 5), 0.1)
    predictions = Predictions([Series(shot=recurve(peep_height=0.1), speeds=speeds)])
    found = [
        fit(predictions, family(angle=0.03), unknowns(start)).values
        for start in ((2.0, 57.0), (0.2, 40.0), (9.0, 120.0))
    ]
    assert found[1] == pytest.approx(found[0], rel=1e-8)
    assert found[2] == pytest.approx(found[0], rel=1e-8)


def test_what_a_model_refuses_is_walked_around():
    """The way from the start to the fit is cut off just beyond it, and steps must turn."""
    speed = flat_fire(2.0, 57.0, DISTANCE)[0]
    predictions = Predictions([Series(shot=FLAT, speeds=readings(DISTANCE, speed, 0.1))])
    picky = family(accepts=lambda value: value <= 2.00001)
    found = fit(predictions, picky, unknowns((1.0, 60.0)))
    assert found.values == pytest.approx([2.0, 57.0], rel=1e-5)
    assert np.isfinite(found.uncertainties).all()


def test_too_few_rows():
    series = Series(shot=FLAT, speeds=readings([20.0], [55.0], 0.1))
    with pytest.raises(TooFew):
        fit(Predictions([series]), family(), unknowns((2.0, 57.0)))


def test_readings_at_one_plane_tell_a_combination_only():
    series = Series(shot=FLAT, speeds=readings([20.0] * 3, [55.0, 55.1, 54.9], 0.1))
    with pytest.raises(NotTold) as caught:
        fit(Predictions([series]), family(), unknowns((2.0, 57.0)))
    assert caught.value.unknowns == (0, 1) and caught.value.together


def test_what_does_nothing_is_named():
    """A law that does not hear its unknown."""
    speed = flat_fire(2.0, 57.0, DISTANCE)[0]
    series = Series(shot=FLAT, speeds=readings(DISTANCE, speed, 0.1))
    with pytest.raises(NotTold) as caught:
        deaf = family(law=lambda _: coefficient(2.0))
        fit(Predictions([series]), deaf, unknowns((2.0, 50.0)))
    assert caught.value.unknowns == (0,) and not caught.value.together


def test_an_uncertainty_of_many_times_the_value_tells_nothing():
    speed = flat_fire(2.0, 57.0, DISTANCE)[0]
    series = Series(shot=FLAT, speeds=readings(DISTANCE, speed, 200.0))
    with pytest.raises(NotTold) as caught:
        fit(Predictions([series]), family(), unknowns((2.0, 57.0)))
    assert caught.value.unknowns == (0,)


def test_what_only_a_small_difference_would_tell_is_not_told():
    """Both unknowns are heard loud and clear, but their difference is below a tenth of noise."""
    at = np.array([20.0, 20.5])
    series = Series(shot=FLAT, speeds=readings(at, flat_fire(2.0, 57.0, at)[0], 2.0))
    with pytest.raises(NotTold) as caught:
        fit(Predictions([series]), family(), unknowns((2.0, 57.0)))
    assert caught.value.unknowns == (0,)


def test_what_never_arrives_is_named():
    shot = recurve(slope=1.0)
    near, far = readings([5.0, 90.0], [50.0, 40.0], 0.1), readings([3.0], [0.1], 0.1)
    predictions = Predictions([Series(shot=recurve(), times=far), Series(shot=shot, speeds=near)])
    with pytest.raises(NeverArrives) as caught:
        fit(predictions, family(2), unknowns((2.0, 12.0)))
    assert 2 in caught.value.rows and 0 not in caught.value.rows


def test_no_unknowns_are_judged_as_they_are():
    speed = flat_fire(2.0, 57.0, DISTANCE)[0]
    predictions = Predictions([Series(shot=FLAT, speeds=readings(DISTANCE, speed + 0.1, 0.1))])
    fixed = family()

    def none(points):
        return fixed(np.repeat([[2.0], [57.0]], points.shape[1], axis=1))

    empty = unknowns((), low=(), high=())
    found = fit(predictions, none, empty)
    assert found.likelihood.chi_square == pytest.approx(5.0, rel=1e-6)
    assert found.likelihood.degrees == 5 and found.values.size == 0
    told = coefficients(found, none, empty, FLAT.arrow, AIR, np.array([2e4]))
    assert told.coefficient == pytest.approx([2.0]) and told.uncertainty == pytest.approx([0.0])


def test_coefficients_carry_the_covariance():
    """Cd = c sqrt(2e4 / Re): its uncertainty is that of c by the same root."""

    def law(value):
        def of(flow, arrow):
            root = np.sqrt(2e4 / flow.reynolds(arrow.shaft_diameter))
            return value * root * cross_section(arrow)

        return of

    speed = flat_fire(2.0, 57.0, DISTANCE)[0]
    predictions = Predictions([Series(shot=FLAT, speeds=readings(DISTANCE, speed, 0.1))])
    start = unknowns((2.0, 57.0))
    found = fit(predictions, family(law=law), start)
    reynolds = np.array([1.5e4, 2e4, 3e4])
    told = coefficients(found, family(law=law), start, FLAT.arrow, AIR, reynolds)
    root = np.sqrt(2e4 / reynolds)
    assert told.coefficient == pytest.approx(found.values[0] * root, rel=1e-9)
    assert told.uncertainty == pytest.approx(found.uncertainties[0] * root, rel=1e-6)
    least, greatest = found.reynolds
    assert greatest == pytest.approx(1.225 * 57.0 * 0.0055 / AIR.viscosity, rel=1e-3)
    assert least < 0.95 * greatest
