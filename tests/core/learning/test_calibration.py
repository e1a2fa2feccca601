"""The fit of a calibration: posteriors known in closed form, identities, refusals."""

import math
from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import (
    ARROW,
    YARD,
    ends,
    marks,
    only,
    parabola,
    plain_shot,
    prior,
    scatter,
    seen,
    sight,
    unknowns,
    vacuum,
)
from scipy.optimize import brentq

from arrowloft.core.archer.archer_scatter import READING, ArcherScatter, Scatter
from arrowloft.core.archer.landed import Landed
from arrowloft.core.flight.reach import BeyondReach, Unsolved
from arrowloft.core.learning import calibration as module
from arrowloft.core.learning.calibration import calibrate, fitted
from arrowloft.core.learning.observations import Predictions, SpeedReading
from arrowloft.core.learning.unknowns import DRAG, NAMES, RADIUS, SPEED, WINDAGE, ZERO
from arrowloft.core.learning.whitened import NeverArrives, Whitened, deviations
from arrowloft.core.setup.flow import cross_section

VACUUM = plain_shot(drag=vacuum, launch_forward=0.0, tip_lead=0.0)
SIGHT = sight()
FAR = 60.0
EXACT = scatter(1e-6)  # every centre is then known to READING


def fit(observations, before, shot=None, by=SIGHT, spread=EXACT, loss="squares"):
    return calibrate(shot or plain_shot(), by, before, observations, spread, loss=loss)


def of_parabola(values, distance, travel):
    """Height and place to the right, in a vacuum, of the pin at a travel from the zero mark."""
    speed, _, peep_height, radius, zero, windage = values
    zero_angle = brentq(
        lambda angle: parabola(angle, 20 * YARD, speed, peep_height)[0], 0.0, 0.3, xtol=1e-15
    )
    angle = math.atan(math.tan(zero_angle) + (travel - zero) / radius)
    return parabola(
        angle, distance, speed, peep_height, -math.atan(windage / radius * math.cos(angle))
    )


def slope_by_hand(name, distance, travel, axis=0):
    """Change of the impact in a vacuum per unknown, of speed per share of it."""
    step = 1e-5 * (84.0 if name == "speed" else 1.0)
    here = unknowns()[NAMES.index(name)]
    high, low = (
        of_parabola(unknowns(**{name: here + side * step}), distance, travel)[axis]
        for side in (1.0, -1.0)
    )
    return (high - low) / 2e-5


SMALL = {"speed": 4e-4, "peep_height": 5e-4, "radius": 3e-4, "zero": 3e-5, "windage": 4e-5}
"""Uncertainties so small that the impact at 60 m is a straight line in them: 1 or 2 mm."""


@pytest.mark.parametrize("name", SMALL)
def test_one_unknown_and_one_end_is_the_mean_of_both_by_their_precisions(name):
    index, doubt, axis = NAMES.index(name), SMALL[name], int(name == "windage")
    slope = slope_by_hand(name, FAR, 0.05, axis)
    centre = of_parabola(unknowns(), FAR, 0.05)
    # The centre is off by 3 mm, and known to 1 mm.
    off = [0.0, 0.0]
    off[axis] = 3e-3
    end = ends(VACUUM, {FAR: 0.05}, centre[0] + off[0], centre[1] + off[1])
    found = fit(end, only(name, **{f"{name}_uncertainty": doubt}), VACUUM)
    variance = 1.0 / (1.0 / doubt**2 + slope**2 / READING**2)
    mean = variance * slope * off[axis] / READING**2
    scale = 84.0 if name == "speed" else 1.0
    moved = found.values - unknowns()
    assert moved[index] == pytest.approx(scale * mean, rel=2e-3)
    assert found.uncertainties[index] == pytest.approx(scale * math.sqrt(variance), rel=2e-3)
    assert found.learned[index] == pytest.approx(1.0 - variance / doubt**2, rel=2e-3)
    left = off[axis] - slope * mean
    assert found.residuals[axis] == pytest.approx(left, rel=2e-3)
    # What is known exactly never moves, and nothing is learned of it.
    others = np.arange(6) != index
    assert (moved[others] == 0.0).all()
    assert (found.uncertainties[others] == 0.0).all()
    assert (found.learned[others] == 0.0).all()


def test_several_unknowns_and_several_ends_have_the_posterior_of_linear_algebra():
    # P = (U^-2 + B^T S^-2 B)^-1, mean P B^T S^-2 y, by the slopes of the parabola.
    names = ["speed", "peep_height", "radius", "zero"]
    places = {20.0: 0.0, 40.0: 0.02, 60.0: 0.05, 75.0: 0.07}
    slopes = np.array([[slope_by_hand(n, d, t) for n in names] for d, t in places.items()])
    centre = np.array([of_parabola(unknowns(), d, t)[0] for d, t in places.items()])
    off = np.array([1e-3, -2e-3, 4e-3, 1e-3])
    arrows = [1, 2, 3, 6]
    doubt = np.array([SMALL[name] for name in names])
    spread = scatter(5e-5)
    deviation = 5e-5 * np.array(list(places)) / np.sqrt(arrows)
    deviation = np.maximum(deviation, READING)
    before = only(*names, **{f"{name}_uncertainty": SMALL[name] for name in names})
    found = fit(ends(VACUUM, places, centre + off, arrows=arrows), before, VACUUM, spread=spread)
    scaled = slopes / deviation[:, None]
    covariance = np.linalg.inv(np.diag(doubt**-2.0) + scaled.T @ scaled)
    mean = covariance @ scaled.T @ (off / deviation)
    free = [NAMES.index(name) for name in names]
    assert found.x[free] * doubt == pytest.approx(mean, rel=4e-3)
    inner = found.covariance[np.ix_(free, free)] * np.outer(doubt, doubt)
    assert inner == pytest.approx(covariance, rel=4e-3)
    root = np.sqrt(np.diag(covariance))
    correlations = covariance / np.outer(root, root)
    assert found.correlations[np.ix_(free, free)] == pytest.approx(correlations, rel=4e-3)


def test_a_speed_far_away_correlates_speed_and_drag():
    # ln v = ln v0 - q k x without gravity: straight in the logarithms of both unknowns.
    shot = plain_shot(gravity=1e-7, peep_height=0.0)
    decay = 1.225 * 1.8 * cross_section(ARROW) / (2.0 * ARROW.mass) * (50.0 - 1.0)
    speed = 84.0 * math.exp(-decay)
    doubt, error = np.array([0.01, 0.2]), 0.4
    reading = SpeedReading(shot=shot, distance=50.0, speed=speed + 0.05, uncertainty=error)
    before = only("speed", "drag", speed_uncertainty=0.01, drag_uncertainty=0.2, peep_height=0.0)
    found = fit([reading], before, shot)
    slopes = speed * np.array([1.0, -decay])
    spread = doubt**2 * slopes
    covariance = np.diag(doubt**2) - np.outer(spread, spread) / (slopes @ spread + error**2)
    mean = covariance @ slopes * 0.05 / error**2
    assert found.x[:2] * doubt == pytest.approx(mean, rel=1e-2)
    expected = covariance[0, 1] / math.sqrt(covariance[0, 0] * covariance[1, 1])
    assert expected > 0.3
    assert found.correlations[0, 1] == pytest.approx(expected, rel=2e-2)
    drag = found.uncertainties[DRAG] / found.values[DRAG]
    assert drag == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-2)


def test_what_says_nothing_leaves_the_prior_as_it_was():
    nothing = fit([], prior())
    assert (nothing.x == 0.0).all()
    assert nothing.covariance.tolist() == np.eye(6).tolist()
    assert nothing.values == pytest.approx(unknowns(), rel=1e-15)
    # Nor does an end whose centre nobody knows, or the shaft's drag in a vacuum.
    vague = replace(ends(plain_shot(), {FAR: 0.05}, 1.0)[0], uncertainty=1e5)
    assert fit([vague], prior()).x == pytest.approx(np.zeros(6), abs=1e-6)
    blind = fit(ends(VACUUM, {FAR: 0.05}, 1.0), only("drag", drag_uncertainty=0.3), VACUUM)
    assert blind.values[DRAG] == 1.0
    assert blind.learned[DRAG] == 0.0


def test_at_the_zero_distance_only_the_zero_is_learned():
    found = fit(ends(plain_shot(), {20 * YARD: 0.0}, 4e-3), prior())
    others = np.arange(6) != ZERO
    # But that a longer radius makes less of the pin's error: of second order.
    assert found.x[others] == pytest.approx(np.zeros(5), abs=2e-3)
    assert found.values[ZERO] == pytest.approx(-4e-3 * 0.86 / (20 * YARD), rel=0.05)
    # Places to the side were not noted: of the windage nothing is learned either.
    assert found.learned[WINDAGE] == 0.0


def test_known_exactly_is_never_moved_however_far_off_the_arrows_are():
    found = fit(ends(plain_shot(), marks(plain_shot(), SIGHT, [30.0, FAR]), 0.3, 0.2), only("drag"))
    known = np.arange(6) != DRAG
    assert (found.values[known] == unknowns()[known]).all()
    assert found.values[DRAG] < 0.5


TRUTH = unknowns(speed=82.0, drag=1.25, peep_height=0.118, radius=0.866, zero=4e-4, windage=5e-4)


def shot_ends(distances=(18.0, 35.0, 55.0, 73.0), shot=None, **options):
    """Ends shot with the marks of the set-up as assumed, landing as the truth has it."""
    assumed = shot or plain_shot()
    aimed = ends(assumed, marks(plain_shot(), SIGHT, distances), 0.0, 0.0, **options)
    landed = seen(plain_shot(), SIGHT, aimed, TRUTH).reshape(2, -1).T
    return [
        replace(end, landed=replace(end.landed, up=float(up), right=float(right)))
        for end, (up, right) in zip(aimed, landed, strict=True)
    ]


def test_their_order_is_of_no_account():
    reading = SpeedReading(shot=plain_shot(), distance=3.0, speed=81.0, uncertainty=0.4)
    several = [*shot_ends(), reading]
    found, turned = fit(several, prior()), fit(several[::-1], prior())
    assert turned.x == pytest.approx(found.x, abs=1e-5)
    assert turned.covariance == pytest.approx(found.covariance, abs=1e-6)


def test_an_end_of_arrows_weighs_as_much_as_its_arrows_one_by_one():
    spread = scatter(1.5e-3)
    together = fit(shot_ends(arrows=4), prior(), spread=spread)
    one = [
        replace(end, landed=replace(end.landed, arrows=1, up=end.landed.up + off, right=aside))
        for end in shot_ends()
        for off, aside in zip((0.02, -0.05, 0.01, 0.02), _about(end.landed.right), strict=True)
    ]
    alone = fit(one, prior(), spread=spread)
    assert alone.x == pytest.approx(together.x, abs=1e-4)
    assert alone.covariance == pytest.approx(together.covariance, abs=1e-5)


def _about(centre):
    return [centre + off for off in (-0.03, 0.03, 0.01, -0.01)]


def test_mirrored_arrows_mirror_the_windage_alone():
    several = shot_ends()
    mirrored = [
        replace(end, landed=replace(end.landed, right=-end.landed.right)) for end in several
    ]
    found, other = fit(several, prior()), fit(mirrored, prior())
    sign = np.where(np.arange(6) == WINDAGE, -1.0, 1.0)
    assert abs(found.x[WINDAGE]) > 0.3
    assert other.x == pytest.approx(sign * found.x, abs=1e-6)


def test_a_larger_world_where_arrows_fly_alike_gives_the_same_fit():
    # All lengths by L and speeds by sqrt(L), the air thinner by L: Froude's similarity.
    scale = 1.5
    large = plain_shot(
        peep_height=scale * 0.115, launch_forward=scale * 0.7, tip_lead=scale * 0.3,
        air=replace(plain_shot().air, density=1.225 / scale),
    )  # fmt: skip
    lengths = ("peep_height", "radius", "peep_height_uncertainty", "radius_uncertainty")
    lengths += ("zero_uncertainty", "windage_uncertainty")
    grown = {name: scale * getattr(prior(), name) for name in lengths}
    several = [
        replace(
            end,
            shot=large,
            travel=scale * end.travel,
            landed=replace(
                end.landed,
                distance=scale * end.landed.distance,
                up=scale * end.landed.up,
                right=scale * end.landed.right,
            ),
        )
        for end in shot_ends()
    ]
    by = sight(radius=scale * 0.86, zero_distance=scale * 20 * YARD)
    before = prior(speed=math.sqrt(scale) * 84.0, **grown)
    found = fit(shot_ends(), prior(), spread=scatter())
    alike = fit(several, before, large, by, spread=scatter())
    assert alike.x == pytest.approx(found.x, abs=1e-4)
    assert alike.covariance == pytest.approx(found.covariance, abs=1e-5)


def test_the_covariance_is_the_inverse_of_the_curvature_where_all_fits():
    # With nothing left over, the sum of squares has no other part: differences of it.
    several = shot_ends()
    landed = seen(plain_shot(), SIGHT, several, unknowns()).reshape(2, -1).T
    several = [
        replace(end, landed=replace(end.landed, up=float(up), right=float(right)))
        for end, (up, right) in zip(several, landed, strict=True)
    ]
    found = fit(several, prior(), spread=scatter())
    assert found.x == pytest.approx(np.zeros(6), abs=1e-6)
    predict = Predictions(plain_shot(), SIGHT.zero_distance, several)
    step = 0.02
    pairs = [(step * a, step * b) for a in (1.0, -1.0) for b in (1.0, -1.0)]
    curvature = np.empty((6, 6))
    for i in range(6):
        for j in range(6):
            x = np.zeros((6, 4))
            x[i] += [a for a, _ in pairs]
            x[j] += [b for _, b in pairs]
            off = (predict(prior().values(x)) - predict.observed) / found.deviation
            cost = 0.5 * ((off**2).sum(axis=1) + (x**2).sum(axis=0))
            curvature[i, j] = (cost[0] - cost[1] - cost[2] + cost[3]) / (4.0 * step**2)
    assert found.covariance == pytest.approx(np.linalg.inv(curvature), abs=2e-3)
    shift = found.design.T @ found.design + np.eye(6)
    assert shift == pytest.approx(curvature, rel=2e-2, abs=2e-2)


def test_the_fitted_set_up_shoots_as_the_fit_says():
    found = fit(shot_ends(), prior(), shot=plain_shot(drag_scale=1.0))
    # The fit has no priors to speak of against centres known to 1 mm: it finds the arrows.
    real, by = found.shot(plain_shot()), found.sight(SIGHT)
    assert (real.launch_speed, real.drag_scale) == tuple(found.values[[SPEED, DRAG]])
    assert by == sight(radius=found.values[RADIUS])
    left = unknowns(speed=real.launch_speed, peep_height=real.peep_height, radius=by.radius)
    left[ZERO], left[WINDAGE] = found.values[ZERO], found.values[WINDAGE]
    aimed = [replace(end, shot=real) for end in shot_ends()]
    up = seen(real, by, aimed, left)
    assert up == pytest.approx(found.predicted, abs=1e-6)
    assert found.observed - found.residuals == pytest.approx(up, abs=1e-6)
    twice = found.shot(plain_shot(drag_scale=2.0))
    assert twice.drag_scale == 2.0 * real.drag_scale


@pytest.mark.parametrize("speed", [45.0, 55.0, 70.0, 85.0, 100.0])
def test_a_vague_speed_is_found_wherever_it_is(speed):
    shot = plain_shot(launch_speed=67.0)
    places = marks(shot, SIGHT, [20 * YARD, 40 * YARD, FAR])
    landed = seen(shot, SIGHT, ends(shot, places, 0.0), unknowns(speed=speed))
    before = only("speed", "drag", "zero", speed=67.0, speed_uncertainty=0.25)
    found = fit(ends(shot, places, landed), before, shot)
    assert found.values[SPEED] == pytest.approx(speed, rel=5e-3)


@pytest.mark.parametrize("speed", [50.0, 67.0, 95.0])
def test_a_vague_speed_is_looked_for_before_the_fit(speed):
    places = marks(plain_shot(), SIGHT, [20 * YARD, FAR])
    landed = seen(plain_shot(), SIGHT, ends(plain_shot(), places, 0.0), unknowns(speed=speed))
    before = prior(speed=67.0, speed_uncertainty=0.25)
    predict = Predictions(plain_shot(), 20 * YARD, ends(plain_shot(), places, landed))
    begin = Whitened(before, predict, scatter()).start()
    # Speeds are tried every quarter of an uncertainty.
    assert begin[SPEED] == pytest.approx(math.log(speed / 67.0) / 0.25, abs=0.13)
    # Where nothing tells, or the speed is known, from the prior.
    nothing = Whitened(before, Predictions(plain_shot(), 20 * YARD, []), scatter())
    assert nothing.start().tolist() == [0.0] * 6
    assert Whitened(prior(), predict, scatter()).start().tolist() == [0.0] * 6


def test_a_vague_speed_that_does_not_carry_so_far_is_no_obstacle():
    # At 19 m/s no arrow comes to 15 m up a slope of 1.2 rad (20 m up at most); at 30 it does.
    steep = plain_shot(launch_speed=19.0, slope=1.2)
    by = sight(zero_distance=8.0)
    end = ends(steep, {25.0: 0.0}, 0.0)
    landed = seen(steep.with_(slope=0.0), by, end, unknowns(speed=30.0))
    before = only("speed", speed=19.0, speed_uncertainty=0.3)
    found = fit(ends(steep, {25.0: 0.0}, landed), before, steep.with_(slope=0.0), by)
    assert found.values[SPEED] == pytest.approx(30.0, rel=1e-2)
    with pytest.raises(NeverArrives):
        fit(end, only("speed", speed=19.0, speed_uncertainty=0.02), steep.with_(slope=0.0), by)


def test_ends_that_never_arrive_are_named():
    weak = plain_shot(launch_speed=20.0)
    steep = ends(weak.with_(slope=1.2), {FAR: 0.0}, 0.0, 0.0)
    several = [*ends(weak, {10.0: 0.0}, 0.0), *steep, *ends(weak, {12.0: 0.0}, 0.0), *steep]
    with pytest.raises(NeverArrives) as caught:
        fit(several, prior(speed=20.0), weak, sight(zero_distance=8.0))
    assert caught.value.ends == (1, 3)


def test_a_zero_or_a_reading_beyond_reach_is_named():
    reading = SpeedReading(shot=plain_shot(), distance=900.0, speed=50.0, uncertainty=1.0)
    with pytest.raises(BeyondReach) as caught:
        fit([*ends(plain_shot(), {20.0: 0.0}, 0.0), reading], prior())
    assert caught.value.lanes == (1,)
    with pytest.raises(BeyondReach) as caught:
        fit(ends(plain_shot(), {20.0: 0.0}, 0.0), prior(), by=sight(zero_distance=900.0))
    assert caught.value.lanes == (0,)


def test_where_a_step_away_no_arrow_arrives_the_fit_is_refused():
    # 20.2433 m/s is the least that brings an arrow there, to 1e-4 m/s (found by bisection).
    weak = plain_shot(launch_speed=20.2434)
    end = ends(weak.with_(slope=1.2), {22.0: 0.03}, -5.0)
    with pytest.raises(Unsolved, match="hardly reach"):
        fit(end, prior(speed=20.2434, speed_uncertainty=0.02), weak, sight(zero_distance=10.0))


def test_a_fit_cut_short_is_never_returned(monkeypatch):
    monkeypatch.setattr(module, "MOST_EVALUATIONS", 1)
    with pytest.raises(Unsolved, match="does not settle"):
        fit(shot_ends(), prior())


def test_inflation_is_as_if_all_had_been_seen_that_much_less_well():
    predict = Predictions(plain_shot(), 20 * YARD, shot_ends())
    found = fitted(Whitened(prior(), predict, scatter(1e-3), inflation=4.0))
    wider = fitted(Whitened(prior(), predict, scatter(2e-3)))
    assert found.x == pytest.approx(wider.x, abs=1e-9)
    assert found.covariance == pytest.approx(wider.covariance, rel=1e-9)
    assert (found.inflation, wider.inflation) == (4.0, 1.0)
    # What they do not tell stays as it was before: no doubt is larger than the prior's.
    assert (np.diag(found.covariance) <= 1.0).all()


def test_deviations_of_the_rows():
    spread = ArcherScatter(
        vertical=Scatter(deviation=1e-3, degrees=7.0),
        sideways=Scatter(deviation=2e-3, degrees=9.0),
        assumed=False,
    )
    several = ends(plain_shot(), {30.0: 0.0, FAR: 0.0}, 0.0, [None, 0.0], arrows=[9, 4])
    stated = replace(several[0], uncertainty=0.05)
    sharp = replace(several[0], landed=Landed(distance=0.9, up=0.0))
    reading = SpeedReading(shot=plain_shot(), distance=3.0, speed=84.0, uncertainty=1e-4)
    predict = Predictions(plain_shot(), 20.0, [*several, stated, reading, sharp])
    rows, scattered, degrees = deviations(predict, spread)
    assert rows == pytest.approx([0.01, 0.03, 0.05, 1e-3, 0.06, 1e-4], rel=1e-12)
    assert scattered.tolist() == [True, True, False, True, True, False]
    assert degrees.tolist() == [7.0, 7.0, math.inf, 7.0, 9.0, math.inf]
