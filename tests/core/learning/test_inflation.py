"""Observations that contradict each other: what was fitted is that much less certain, for all."""

from dataclasses import replace

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
)
from scipy import stats

from arrowloft.core.learning.calibration import CAUCHY, HUBER
from arrowloft.core.learning.corrected_marks import corrected_marks
from arrowloft.core.learning.corrections import corrections
from arrowloft.core.learning.misfit import Case, judged_calibration
from arrowloft.core.learning.next_shots import Known, Wanted
from arrowloft.core.learning.unknowns import NAMES, WINDAGE, ZERO
from arrowloft.core.sight.marks import mark_table

SHOT, SIGHT = plain_shot(), sight()
MARK = marks(SHOT, SIGHT, [50.0])[50.0]
NOISE = 1e-3 * 50.0 / np.sqrt(3.0)  # of the centre of an end at 50 m
BROAD = {"zero_uncertainty": 5e-3, "windage_uncertainty": 5e-3}
FREE = [NAMES.index("zero"), NAMES.index("windage")]


def case(known=None, **changes):
    known = known or prior()
    return Case(**{"shot": SHOT, "sight": SIGHT, "prior": known, "scatter": scatter(), **changes})


def pair(up, right=None):
    """Ends at 50 m of which only the zero and the windage can be wrong."""
    return ends(SHOT, [(50.0, MARK)] * 2, up, right)


VAGUE = case(only("zero", "windage", **BROAD))
APART, HERE = (0.3, -0.25), (0.0, 0.0)
ABOVE = (0.5, 0.1)  # both on one side: the prior has its part in how ill they fit
LIFT, SHIFT = (
    (seen(SHOT, SIGHT, pair(0.0, 0.0), VAGUE.prior.values(np.eye(6)[one])) / NOISE)[row]
    for one, row in ((ZERO, 0), (WINDAGE, 2))
)
"""Change of the height and of the side per x, in standard uncertainties of a centre."""


def axis(response, places):
    """One unknown and two places: x, its variance, and the factor on what was seen, by hand.

    x = b sum(y) / (n b^2 + 1) of places y in their standard uncertainties; the factor f is
    the sum of squares with the prior's over n. With it and with the distances of x from the
    fits without one of the two:  (n b^2 / f + 1)^-1 + sum (x_i - x)^2.
    """
    y = np.array(places) / NOISE
    plain = response * y.sum() / (2.0 * response**2 + 1.0)
    factor = max((((y - response * plain) ** 2).sum() + plain**2) / 2.0, 1.0)
    x = response * y.sum() / (2.0 * response**2 + factor)
    without = response * y / (response**2 + 1.0)
    variance = 1.0 / (2.0 * response**2 / factor + 1.0)
    return x, variance, factor, variance + ((without - x) ** 2).sum()


def in_doubt(up, right):
    found = judged_calibration(VAGUE, pair(up, right))
    assert found.contradicting == (0, 1) and found.aside == ()
    return found.calibration


@pytest.mark.parametrize(
    ("up", "right"),
    [(APART, HERE), (HERE, APART), (APART, APART), (ABOVE, HERE), (HERE, ABOVE)],
)
def test_the_fit_is_inflated_and_spread_as_by_hand(up, right):
    """Either axis by itself; heights do not lessen trust in the windage, nor the reverse."""
    fit = in_doubt(up, right)
    high, aside = axis(LIFT, up), axis(SHIFT, right)
    for unknown, (x, _, _, spread) in zip(FREE, (high, aside), strict=True):
        assert fit.x[unknown] == pytest.approx(x, rel=1e-3, abs=1e-4)
        assert fit.covariance[unknown, unknown] == pytest.approx(spread, rel=2e-3)
        assert fit.uncertainties[unknown] == pytest.approx(5e-3 * np.sqrt(spread), rel=2e-3)
    factors = [high[2]] * 2 + [aside[2]] * 2
    assert fit.deviation / NOISE == pytest.approx(np.sqrt(factors), rel=1e-3)
    assert fit.inflation == pytest.approx(max(factors), rel=1e-3)
    assert max(factors) > 40.0
    if HERE in (up, right):
        assert min(factors) == 1.0


def test_what_comes_next_and_the_moves_know_of_it():
    observations = pair(APART, HERE)
    fit = judged_calibration(VAGUE, observations).calibration
    _, _, factor, spread = axis(LIFT, APART)
    known = Known.of(fit, scatter().vertical)
    assert known.covariance[ZERO, ZERO] == pytest.approx(spread, rel=2e-3)
    assert known.scattered[ZERO, ZERO] == pytest.approx(2.0 * LIFT**2 / factor, rel=2e-3)
    assert known.scattered[WINDAGE, WINDAGE] == pytest.approx(2.0 * SHIFT**2, rel=2e-3)
    asked = corrections(fit, SHOT, SIGHT, observations, scatter())
    doubt = 5e-3 * np.sqrt(spread)
    assert asked.move_uncertainty == pytest.approx([doubt] * 2, rel=2e-3)
    table = corrected_marks(fit, SHOT, SIGHT, np.array([30.0, 50.0]))
    assert table.uncertainty == pytest.approx([doubt] * 2, rel=2e-3)
    aside = 5e-3 / np.sqrt(2.0 * SHIFT**2 + 1.0)
    few = replace(known, degrees=3.0)
    responses = np.eye(6)[[ZERO]]
    for factor, sure in ((0.999, False), (1.001, True)):
        limit = factor * stats.t.ppf(0.975, 3.0) * np.sqrt(known.covariance[ZERO, ZERO])
        wanted = Wanted(response=responses, tolerance=np.array([limit]), confidence=0.95)
        assert wanted.sure(few) is sure
    assert asked.windage_move_uncertainty == pytest.approx([aside] * 2, rel=2e-3)


def test_no_mark_rests_on_fewer_degrees_than_the_scatter_is_known_with():
    """Doubt between fits exceeds what the scatter leaves of it, which is no doubt of its own."""
    uncertain = replace(VAGUE, scatter=scatter(degrees=5.0))
    fit = judged_calibration(uncertain, pair(APART, HERE)).calibration
    found = corrected_marks(fit, SHOT, SIGHT, np.array([30.0, 50.0])).degrees
    assert found == pytest.approx([5.0, 5.0])


def test_a_side_that_is_noted_changes_no_heights_inflation():
    both, alone = in_doubt(APART, HERE), in_doubt(APART, None)
    assert both.deviation[:2] == pytest.approx(alone.deviation, rel=1e-6)
    assert both.x[ZERO] == pytest.approx(alone.x[ZERO], rel=1e-6)
    assert both.covariance[ZERO, ZERO] == pytest.approx(alone.covariance[ZERO, ZERO], rel=1e-6)


def test_of_many_that_contradict_none_is_left_out_for_the_spread():
    """Six at one place, five of them suspected: more than FEW; inflated, no more."""
    up = [0.5, -0.5, 0.4, -0.4, 0.3, -0.3]
    found = judged_calibration(VAGUE, ends(SHOT, [(50.0, MARK)] * 6, up))
    assert len(found.contradicting) > 4
    y = np.array(up) / NOISE
    factor = (y**2).sum() / 6.0
    variance = 1.0 / (6.0 * LIFT**2 / factor + 1.0)
    assert found.calibration.covariance[ZERO, ZERO] == pytest.approx(variance, rel=2e-3)


TRUTH_AT = YARD * np.array([20.0, 35.0, 50.0, 65.0, 80.0])


def true_travel(values):
    speed, drag, peep_height, radius, zero, _ = values
    real = SHOT.with_(launch_speed=speed, drag_scale=drag, peep_height=peep_height)
    return mark_table(real, sight(radius=radius), TRUTH_AT).travel + zero


def test_stated_intervals_hold_the_truth_where_one_of_two_ends_is_wrong():
    """20 and 60 yd, the second 10 standard uncertainties off; the scatter of a group of 12."""
    rng = np.random.default_rng(2025)
    known = prior(speed_uncertainty=0.01, drag_uncertainty=0.1)
    one = case(known, scatter=scatter(1e-3, 11.0))
    pins = marks(SHOT, SIGHT, [20 * YARD, 60 * YARD])
    noise = 1e-3 * np.array([*pins]) / np.sqrt(3.0)
    held, doubtful = [], 0
    for index in range(40):
        values = known.values(rng.standard_normal(6))
        blank = ends(SHOT, pins, 0.0)
        up = seen(SHOT, SIGHT, blank, values) + noise * rng.standard_normal(2)
        up[1] += (-1.0) ** index * 10.0 * noise[1]
        found = judged_calibration(one, ends(SHOT, pins, up.tolist()))
        if not found.contradicting:
            continue
        doubtful += 1
        table = corrected_marks(found.calibration, SHOT, SIGHT, TRUTH_AT)
        # A scatter known with 11 degrees leaves no fewer to what rests on it.
        assert (table.degrees >= 11.0 - 1e-9).all()
        limit = stats.t.ppf(0.975, table.degrees) * table.uncertainty
        held.append(np.abs(table.travel - true_travel(values)) <= limit)
    assert doubtful >= 10
    assert np.mean(held) >= 0.8


@pytest.mark.parametrize("loss", ["squares", "huber", "cauchy"])
def test_the_sum_of_squares_is_weighed_as_the_loss_has_it(loss):
    """All is known: w r^2 of each end's own distance r."""
    off = np.array([2.9, -2.5, 1.0, 0.3])
    exact = case(only(), loss=loss)
    found = judged_calibration(exact, ends(SHOT, [(50.0, MARK)] * 4, (off * NOISE).tolist()))
    weight = {
        "squares": np.ones(4),
        "huber": np.minimum(HUBER / np.abs(off), 1.0),
        "cauchy": 1.0 / (1.0 + (off / CAUCHY) ** 2),
    }[loss]
    assert found.goodness.chi_square == pytest.approx(weight @ off**2, rel=1e-5)
    assert found.goodness.degrees == 4
    assert found.goodness.chance == pytest.approx(stats.chi2.sf(weight @ off**2, 4), rel=1e-5)
    assert (found.aside, found.contradicting) == ((), ())


@pytest.mark.parametrize("loss", ["huber", "cauchy"])
def test_a_robust_loss_inflates_by_what_it_heeds(loss):
    off = np.array([3.5, -3.4, 3.3, -3.2])
    known = case(only(), loss=loss)
    observations = [
        replace(end, landed=replace(end.landed, up=float(up)))
        for end, up in zip(ends(SHOT, [(50.0, MARK)] * 4, 0.0), off * NOISE, strict=True)
    ]
    found = judged_calibration(known, observations)
    weight = HUBER / np.abs(off) if loss == "huber" else 1.0 / (1.0 + (off / CAUCHY) ** 2)
    factor = (weight @ off**2) / 4.0
    assert found.contradicting
    assert found.calibration.inflation == pytest.approx(factor, rel=1e-4)
    assert factor < 0.6 * (off**2).mean()
