"""Marks after a calibration: responses by differences of tables, doubts by brute force, chances."""

import math
from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import (
    YARD,
    coefficient,
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
from scipy.stats import norm, t

from arrowloft.core.archer.archer_scatter import ArcherScatter, Scatter
from arrowloft.core.flight.aim import aim
from arrowloft.core.learning.calibration import calibrate
from arrowloft.core.learning.corrected_marks import (
    corrected_marks,
    doubt,
    effective_degrees,
    mark_response,
)
from arrowloft.core.learning.observations import SpeedReading
from arrowloft.core.learning.unknowns import DRAG, NAMES, PEEP_HEIGHT, RADIUS, SPEED, WINDAGE, ZERO
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.sight import Scale, Thread
from arrowloft.plugin import Bow, LaunchCase, Registry

INCH, GRAIN, POUND_FORCE = 0.0254, 64.79891e-6, 4.4482216152605
SIGHT = sight()
FEW = np.array([12.0, 20 * YARD, 35.0, 60 * YARD, 80.0])
MANY = np.linspace(9.0, 100.0, 81)
ROWS = pytest.mark.parametrize("distances", [FEW, MANY], ids=["few", "many"])
REAL = plain_shot(launch_speed=79.0, drag_scale=1.2, peep_height=0.12, slope=0.15)
LONG = sight(radius=0.9)


def travels(values, distances):
    """Travel of the mark on a pin with an error at its zero, by a table of its own."""
    speed, drag, peep_height, radius, zero, _ = values
    shot = REAL.with_(launch_speed=speed, drag_scale=drag, peep_height=peep_height)
    return mark_table(shot, sight(radius=radius), distances).travel + zero


HERE = np.array([79.0, 1.2, 0.12, 0.9, 0.0, 0.0])


@ROWS
@pytest.mark.parametrize("name", NAMES)
def test_responses_are_differences_of_mark_tables(name, distances):
    index = NAMES.index(name)
    step = np.where(np.arange(6) == index, 1e-3, 0.0)
    scale = np.where(np.arange(6) <= DRAG, HERE, 1.0)
    above, below = (travels(HERE + side * step * scale, distances) for side in (1.0, -1.0))
    slope = (above - below) / 2e-3
    found = mark_response(REAL, LONG, distances)[:, index]
    assert found == pytest.approx(slope, rel=1e-3, abs=1e-3 * np.abs(slope).max() + 1e-6)
    # Each by itself: 1 for the zero, nothing for the windage, more than nothing for the rest.
    expected = {"zero": 1.0, "windage": 0.0}.get(name)
    if expected is None:
        assert np.abs(found).max() > 5e-3
    else:
        assert found == pytest.approx(np.full(distances.size, expected), rel=1e-6)


def shot_ends(places=(20 * YARD, 40.0, 65.0), truth=None, arrows=3):
    """Ends with the marks of the set-up as assumed, landing as the truth has it."""
    truth = unknowns(speed=82.0, drag=1.2, zero=3e-4) if truth is None else truth
    aimed = ends(plain_shot(), marks(plain_shot(), SIGHT, places), 0.0, arrows=arrows)
    landed = seen(plain_shot(), SIGHT, aimed, truth)
    return [
        replace(end, landed=replace(end.landed, up=float(up)))
        for end, up in zip(aimed, landed, strict=True)
    ]


def shot_with(pins, truth, distances=FEW):
    """Heights of arrows shot with the pin at these travels, the unknowns being `truth`."""
    places = dict(zip(distances.tolist(), pins.tolist(), strict=True))
    return seen(plain_shot(), SIGHT, ends(plain_shot(), places, 0.0), truth)


def calibrated(observations=None, before=None, spread=None):
    observations = shot_ends() if observations is None else observations
    return calibrate(plain_shot(), SIGHT, before or prior(), observations, spread or scatter())


@ROWS
def test_marks_are_those_of_the_fitted_set_up_and_the_zeros_error(distances):
    by = sight(
        elevation=Thread(travel_per_turn=1.2e-3, clicks_per_turn=12),
        scale=Scale(reading_at_zero=20.0, travel_per_unit=1e-3),
    )
    fit = calibrated()
    found = corrected_marks(fit, plain_shot(), by, distances)
    table = mark_table(fit.shot(plain_shot()), replace(by, radius=fit.values[RADIUS]), distances)
    assert found.zero_error == fit.values[ZERO] != 0.0
    assert found.table.travel == pytest.approx(table.travel, rel=1e-12)
    assert found.travel == pytest.approx(table.travel + fit.values[ZERO], rel=1e-12)
    # The sight is turned from where its pin stands now.
    assert found.setting.turns == pytest.approx(found.travel / 1.2e-3, rel=1e-12)
    assert found.setting.clicks.tolist() == np.rint(found.travel / 1e-4).tolist()
    assert found.setting.reading == pytest.approx(20.0 + found.travel / 1e-3, rel=1e-12)


def test_arrows_shot_with_corrected_marks_land_in_the_middle():
    # Marks corrected by sharp ends: shot again by the truth, they are right.
    truth = unknowns(speed=81.0, drag=1.15, zero=-5e-4)
    before = only("speed", "drag", "zero")
    fit = calibrated(shot_ends(truth=truth), before, scatter(1e-6))
    found = corrected_marks(fit, plain_shot(), SIGHT, FEW)
    assert shot_with(found.travel, truth) == pytest.approx(np.zeros(5), abs=2e-3)


@ROWS
@pytest.mark.parametrize(("share", "room"), [(0.2, 0.065), (1.0, 0.15)])
def test_doubts_are_those_of_set_ups_drawn_from_the_fit(distances, share, room):
    """With a fifth of the doubt, where marks are straight in it; with all of it they bend: far
    beyond the farthest end the drag's 27 % make a tenth more.
    """
    fit = calibrated()
    found = corrected_marks(fit, plain_shot(), SIGHT, distances)
    some = np.linspace(0, distances.size - 1, 5).astype(int)
    at = np.append(distances[some], SIGHT.zero_distance)
    random, count = np.random.default_rng(7), 4000
    # In pairs about the fit, so that its mean is exact.
    half = share * random.multivariate_normal(np.zeros(6), fit.covariance, count // 2)
    values = fit.prior.values((fit.x + np.vstack((half, -half))).T)
    several = [np.repeat(value, at.size) for value in values[: PEEP_HEIGHT + 1]]
    shot = plain_shot(launch_speed=several[SPEED], drag_scale=several[DRAG])
    shot = shot.with_(peep_height=several[PEEP_HEIGHT])
    tangent = np.tan(aim(shot, np.tile(at, count)).launch_angle).reshape(count, at.size)
    drawn = values[RADIUS][:, None] * (tangent[:, :-1] - tangent[:, -1:]) + values[ZERO][:, None]
    # A deviation of 2000 pairs is known to 1.6 %: four times that at least.
    assert drawn.std(axis=0) == pytest.approx(share * found.uncertainty[some], rel=room)
    assert np.abs(drawn.mean(axis=0) - found.travel[some]).max() < 0.3 * found.uncertainty.max()


def test_a_doubt_of_the_mark_is_one_of_the_height():
    fit = calibrated()
    found = corrected_marks(fit, plain_shot(), SIGHT, FEW)
    raised, lowered = (shot_with(found.travel + off, fit.values) for off in (1e-4, -1e-4))
    rise = (raised - lowered) / 2e-4
    assert found.height_uncertainty == pytest.approx(found.uncertainty * rise, rel=5e-4)
    assert found.height_response == pytest.approx(-rise[:, None] * found.response, rel=5e-4)
    # The impact's own change with the mark as it is, unknown by unknown.
    step = 1e-2
    for index in (SPEED, DRAG, PEEP_HEIGHT, RADIUS, ZERO, WINDAGE):
        shift = step * (np.arange(6) == index)
        high, low = (
            shot_with(found.travel, fit.prior.values(fit.x + side * shift)) for side in (1.0, -1.0)
        )
        # At the zero distance and near the mark's travel is small: 1e-5 m a unit.
        assert (high - low) / (2.0 * step) == pytest.approx(
            found.height_response[:, index], rel=5e-3, abs=3e-5
        )


def test_at_the_zero_distance_only_the_zeros_doubt_is_left():
    for observations in ([], shot_ends()):
        fit = calibrated(observations)
        found = corrected_marks(fit, plain_shot(), SIGHT, np.array([20 * YARD]))
        assert found.travel == pytest.approx([fit.values[ZERO]], abs=1e-9)
        assert found.uncertainty == pytest.approx([fit.uncertainties[ZERO]], rel=1e-6)
    proven = calibrated([], prior(zero_uncertainty=0.0))
    exact = corrected_marks(proven, plain_shot(), SIGHT, np.array([20 * YARD]))
    assert exact.uncertainty == pytest.approx([0.0], abs=1e-8)
    assert exact.chance(np.array([1e-3])) == pytest.approx([1.0])


@ROWS
def test_before_any_arrow_doubts_are_those_of_the_mark_table(distances):
    fit = calibrated([], only("speed", "drag"))
    found = corrected_marks(fit, plain_shot(), SIGHT, distances)
    table = mark_table(
        plain_shot(), SIGHT, distances, speed_uncertainty=84.0 * 0.035, drag_uncertainty=0.3
    )
    room = 1e-3 * table.travel_uncertainty.max()
    assert found.travel == pytest.approx(table.travel, abs=1e-9)
    assert found.uncertainty == pytest.approx(table.travel_uncertainty, rel=1e-3, abs=room)
    room = 1e-3 * table.height_uncertainty.max()
    assert found.height_uncertainty == pytest.approx(table.height_uncertainty, rel=1e-3, abs=room)
    assert np.isinf(found.degrees).all()


def test_chances_are_students():
    tolerance = np.array([0.05, 0.02, 0.03, 0.04, 0.10])
    found = corrected_marks(calibrated(spread=scatter(1e-3, 4.0)), plain_shot(), SIGHT, FEW)
    for row, chance in enumerate(found.chance(tolerance)):
        least = tolerance[row] / found.height_uncertainty[row]
        both = t.cdf(least, found.degrees[row]) - t.cdf(-least, found.degrees[row])
        assert chance == pytest.approx(both, rel=1e-9)
    assert (np.diff(found.chance(tolerance[3:4] * np.array([[0.5], [1.0], [2.0]])).T) > 0.0).all()
    sure = corrected_marks(calibrated([]), plain_shot(), SIGHT, FEW)
    one = sure.chance(sure.height_uncertainty)
    assert one == pytest.approx(np.full(5, norm.cdf(1.0) - norm.cdf(-1.0)), rel=1e-9)


def test_degrees_of_doubts_that_rest_on_the_scatter_alone_are_the_scatters():
    end = ends(plain_shot(), {20 * YARD: 0.0}, 0.0)
    fit = calibrated(end, only("zero", zero_uncertainty=0.05), scatter(1e-3, 7.0))
    found = corrected_marks(fit, plain_shot(), SIGHT, FEW)
    assert found.degrees == pytest.approx(np.full(5, 7.0), rel=1e-3)
    # Three ends of the same archer rest on one scatter: no more degrees of freedom.
    fit = calibrated(3 * end, only("zero", zero_uncertainty=0.05), scatter(1e-3, 7.0))
    found = corrected_marks(fit, plain_shot(), SIGHT, FEW)
    assert found.degrees == pytest.approx(np.full(5, 7.0), rel=1e-3)


def test_degrees_of_two_scatters_join_by_their_parts():
    # Half of a variance each of k1 and of k2 degrees: 1 / (1 / (4 k1) + 1 / (4 k2)).
    end = ends(plain_shot(), {20 * YARD: 0.0}, 0.0, 0.0)
    axes = ArcherScatter(
        vertical=Scatter(deviation=1e-3, degrees=4.0),
        sideways=Scatter(deviation=1e-3, degrees=12.0),
        assumed=False,
    )
    wide = only("zero", "windage", zero_uncertainty=0.05, windage_uncertainty=0.05)
    fit = calibrated(end, wide, axes)
    root = np.sqrt(np.diag(fit.covariance))
    response = np.zeros((1, 6))
    response[0, [ZERO, WINDAGE]] = 1.0 / root[[ZERO, WINDAGE]]
    assert doubt(fit, response)[1] == pytest.approx([12.0], rel=1e-2)


def test_degrees_where_half_of_the_information_rests_on_the_scatter():
    # Two centres of one uncertainty s, one stated, one of k degrees: the mean's variance is
    # s^2/2, of which the scatter's part is s^2/4: (s^2/2)^2 / ((s^2/4)^2 / k) = 4 k.
    end = ends(plain_shot(), {20 * YARD: 0.0}, 0.0, arrows=1)[0]
    stated = replace(end, uncertainty=1e-3 * 20 * YARD)
    wide = only("zero", zero_uncertainty=0.05)
    fit = calibrated([end, stated], wide, scatter(1e-3, 7.0))
    found = corrected_marks(fit, plain_shot(), SIGHT, FEW)
    assert found.degrees == pytest.approx(np.full(5, 28.0), rel=1e-2)
    # The same where the prior is as sure as the centre.
    own = 0.86 * fit.uncertainties[ZERO] / 0.86 * math.sqrt(2.0)
    half = calibrated([end], only("zero", zero_uncertainty=own), scatter(1e-3, 7.0))
    assert half.learned[ZERO] == pytest.approx(0.5, abs=0.01)
    found = corrected_marks(half, plain_shot(), SIGHT, FEW)
    assert found.degrees == pytest.approx(np.full(5, 28.0), rel=3e-2)


def test_degrees_without_any_scatter_are_infinite():
    reading = SpeedReading(shot=plain_shot(), distance=3.0, speed=83.0, uncertainty=0.5)
    for observations in ([], [reading], [replace(end, uncertainty=0.02) for end in shot_ends()]):
        fit = calibrated(observations, spread=scatter(1e-3, 3.0))
        assert np.isinf(corrected_marks(fit, plain_shot(), SIGHT, FEW).degrees).all()


def test_effective_degrees_and_doubt_by_hand():
    assert effective_degrees(np.array([2.0, 3.0]), np.array([0.5, 0.0])).tolist() == [8.0, math.inf]
    fit = calibrated(spread=scatter(1e-3, 5.0))
    response = np.array([[1.0, 2.0, 0.0, -1.0, 0.5, 0.0]])
    variance, degrees = doubt(fit, response)
    a, p = response[0], fit.covariance
    assert variance == pytest.approx([a @ p @ a], rel=1e-12)
    from_scatter = a @ p @ fit.design.T @ fit.design @ p @ a
    assert degrees == pytest.approx([5.0 * (a @ p @ a / from_scatter) ** 2], rel=1e-12)
    # d(a P a) / d(ln s^2) is that part: the same fit with a scatter larger by 0.1 %.
    larger = calibrated(spread=scatter(1e-3 * 1.0005, 5.0))
    change = (doubt(larger, response)[0] - variance) / 0.001
    assert change == pytest.approx([from_scatter], rel=2e-2)


GROUP = 1e-3  # standard deviation of one arrow's direction, rad


def test_marks_right_at_20_yd_and_beyond_40_are_right_in_between():
    """Within the group (common practice, no source), for bows drawn from the prior."""
    far, between = 60 * YARD, np.array([25.0, 30.0, 35.0, 40.0, 45.0, 50.0]) * YARD
    random = np.random.default_rng(11)
    for x in random.normal(size=(25, 6)):
        truth = prior().values(x)
        speed, drag, peep_height, radius, zero, _ = truth
        real = plain_shot(launch_speed=speed, drag_scale=drag, peep_height=peep_height)
        proven = marks(real, sight(radius=radius), [20 * YARD, far])
        right = ends(plain_shot(), {d: pin + zero for d, pin in proven.items()}, 0.0, arrows=12)
        fit = calibrated(right, spread=scatter(GROUP))
        found = corrected_marks(fit, plain_shot(), SIGHT, between)
        assert (found.height_uncertainty < GROUP * between).all()
        off = shot_with(found.travel, truth, between)
        assert (np.abs(off) < GROUP * between).all()


def first_guess(model, parameters, drag_uncertainty):
    """A prior whose speed a launch model gives, for a bow of 60 lbf and an arrow of 400 gr."""
    shot = plain_shot(drag=coefficient(1.8))
    shot = shot.with_(arrow=replace(shot.arrow, mass=400 * GRAIN))
    bow = Bow(
        peep_height=0.115,
        draw_length=29 * INCH,
        brace_height=6.5 * INCH,
        draw_weight=60 * POUND_FORCE,
    )
    built = Registry.discover().build("launch", model, parameters)
    launched = built.launch_speed(LaunchCase(bow, shot.arrow, shot.air, shot.drag))
    speed, doubtful = float(launched.speed), float(launched.standard_uncertainty)
    before = only(
        "speed", "drag", speed=speed, speed_uncertainty=doubtful / speed,
        drag_uncertainty=drag_uncertainty,
    )  # fmt: skip
    return shot.with_(launch_speed=speed), before


@pytest.mark.parametrize("model", ["rated", "rules"])
def test_3_in_off_at_60_yd_is_what_a_first_guess_expects(model):
    """A first prediction about 3 in off at 60 yd is normal (common practice, no source)."""
    member = {"rated": "rated_speed", "rules": "reference_speed"}[model]
    shot, before = first_guess(model, {member: 96.3}, 0.14)
    fit = calibrate(shot, SIGHT, before, [], scatter())
    found = corrected_marks(fit, shot, SIGHT, np.array([60 * YARD]))
    # Inside one standard uncertainty, 4 in of `rated` and 6 of `rules`: no rare thing, nor is
    # anything as likely.
    assert 3 * INCH < found.height_uncertainty[0] < 8 * INCH
    assert 0.3 < found.chance(np.array([3 * INCH]))[0] < 0.6
