"""Which observation does not fit: against refits, closed forms, and seeded false alarms."""

from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import (
    coefficient,
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

from arrowloft.core.archer.landed import Landed
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.learning import calibration, misfit
from arrowloft.core.learning.misfit import (
    GROSS,
    WILD,
    Case,
    foretold_from_outside,
    judged_calibration,
)
from arrowloft.core.learning.observations import End, SpeedReading
from arrowloft.core.learning.suspects import UNLIKELY, Foretold, foretold, rows_of
from arrowloft.core.learning.unknowns import ZERO

SHOT, SIGHT = plain_shot(), sight()
DISTANCES = (18.288, 30.0, 40.0, 50.0, 60.0, 70.0)
MARKS = marks(SHOT, SIGHT, DISTANCES)
SCATTER = 1e-3  # rad; an end of three arrows at 50 m then is known to 29 mm
DEVIATIONS = SCATTER * np.array(DISTANCES) / np.sqrt(3.0)


def case(**changes):
    return Case(**{"shot": SHOT, "sight": SIGHT, "prior": prior(), "scatter": scatter(), **changes})


def narrow():
    """Known so well that what is predicted is nearly linear in what is not known."""
    return prior(speed_uncertainty=0.005, drag_uncertainty=0.05)


EXACT = case(prior=only())  # all known: an end's height is its own misfit


def reading(distance, speed, uncertainty):
    return SpeedReading(shot=SHOT, distance=distance, speed=speed, uncertainty=uncertainty)


def sound(rng, right=None, known=prior):
    """Six ends, and a speed, as an archer shoots them whose bow is drawn from the prior."""
    x = rng.standard_normal(6)
    blank = [*ends(SHOT, MARKS, 0.0, right), reading(3.0, 80.0, 0.4)]
    mean = seen(SHOT, SIGHT, blank, known().values(x))
    found = []
    for item, rows in zip(blank, rows_of(blank), strict=True):
        if isinstance(item, End):
            deviation = SCATTER * item.landed.distance / np.sqrt(3.0)
            places = mean[rows] + deviation * rng.standard_normal(rows.size)
            aside = float(places[1]) if rows.size > 1 else None
            found.append(moved(item, up=float(places[0]), right=aside))
        else:
            found.append(replace(item, speed=float(mean[rows[0]] + 0.4 * rng.standard_normal())))
    return found


def moved(end, **changes):
    """The end with its arrows elsewhere."""
    return replace(end, landed=replace(end.landed, **changes))


def in_deviations(*distances):
    """Ends whose centres lie so many standard uncertainties high."""
    count = len(distances)
    up = np.array(distances) * DEVIATIONS[:count]
    return ends(SHOT, list(MARKS.items())[:count], [float(value) for value in up])


def without(observations, index):
    return [item for place, item in enumerate(observations) if place != index]


def sum_of_squares(fit):
    whitened = fit.residuals / fit.deviation
    return whitened @ whitened + fit.x @ fit.x


@pytest.mark.parametrize("right", [None, 0.0])
def test_it_is_the_fall_of_the_sum_of_squares_on_leaving_it_out(right):
    observations, one = sound(np.random.default_rng(3), right, narrow), case(prior=narrow())
    observations[2] = moved(observations[2], up=observations[2].landed.up + 0.15)
    found = foretold(one.fit(observations), observations)
    whole = sum_of_squares(one.fit(observations))
    falls = [
        whole - sum_of_squares(one.fit(without(observations, index)))
        for index in range(len(observations))
    ]
    assert found.distance**2 == pytest.approx(falls, rel=5e-3, abs=5e-3)
    assert found.distance[2] > 4.0


@pytest.mark.parametrize("right", [None, 0.0])
def test_it_is_the_distance_from_what_the_others_foretell(right):
    observations, one = sound(np.random.default_rng(4), right, narrow), case(prior=narrow())
    inside = foretold(one.fit(observations), observations)
    for index, observation in enumerate(observations):
        fit = one.fit(without(observations, index))
        outside = foretold_from_outside(one, fit, [observation])
        assert inside.distance[index] == pytest.approx(outside.distance[0], rel=1e-2, abs=3e-3)
        assert inside.chance[index] == pytest.approx(outside.chance[0], rel=1e-2, abs=3e-3)


def test_several_ends_at_one_distance_have_a_closed_form():
    """One error of the zero, heights y_i = -b e + noise: against the mean of the others."""
    up = np.array([0.03, -0.05, 0.09, 0.01])
    observations = ends(SHOT, [(50.0, MARKS[50.0])] * 4, up.tolist())
    one = case(prior=only("zero"))
    lift = seen(SHOT, SIGHT, observations[:1], prior().values(np.eye(6)[ZERO]))[0]
    noise = SCATTER**2 * 50.0**2 / 3.0
    expected = []
    for index in range(4):
        others = np.delete(up, index)
        variance = 1.0 / (1.0 / lift**2 + 3.0 / noise)
        centre = variance * others.sum() / noise
        expected.append(abs(up[index] - centre) / np.sqrt(noise + variance))
    found = foretold(one.fit(observations), observations)
    assert found.distance == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("degrees", [1.0, 4.0, 30.0])
def test_its_chance_is_of_student_where_the_scatter_is_uncertain(degrees):
    observations = [*in_deviations(0.5, 3.0), reading(2.0, 82.5, 0.5)]
    uncertain = case(prior=only(), scatter=scatter(degrees=degrees))
    fit = uncertain.fit(observations)
    for found in (
        foretold(fit, observations),
        foretold_from_outside(uncertain, fit, observations),
    ):
        assert found.distance[:2] == pytest.approx([0.5, 3.0], abs=1e-6)
        off = found.distance
        assert found.chance[:2] == pytest.approx(2.0 * stats.t.sf(off[:2], degrees), rel=1e-9)
        # A speed has nothing to do with the archer's scatter.
        assert found.chance[2] == pytest.approx(2.0 * stats.norm.sf(off[2]), rel=1e-9)
        assert off[2] > 1.5


@pytest.mark.parametrize("degrees", [4.0, np.inf])
def test_both_axes_of_an_end_are_judged_together(degrees):
    both = ends(SHOT, {50.0: MARKS[50.0]}, 2.0 * DEVIATIONS[3], -1.5 * DEVIATIONS[3])
    one = case(prior=only(), scatter=scatter(degrees=degrees))
    found = foretold(one.fit(both), both)
    square = 2.0**2 + 1.5**2
    assert found.distance[0] ** 2 == pytest.approx(square, rel=1e-6)
    # Of two rows chi-squared is exponential, Fisher's F a power.
    expected = np.exp(-0.5 * square) if np.isinf(degrees) else (1 + square / degrees) ** -2.0
    assert found.chance[0] == pytest.approx(expected, rel=1e-6)


def test_rows_are_those_of_the_predictions():
    sides = ends(SHOT, MARKS, [float(n) for n in range(6)], [None, 10.0, None, 11.0, 12.0, None])
    readings = [reading(5.0, speed, 1.0) for speed in (20.0, 21.0)]
    mixed = [sides[0], readings[0], *sides[1:4], readings[1], *sides[4:]]
    observed = EXACT.fit(mixed).predictions.observed
    found = [observed[rows].tolist() for rows in rows_of(mixed)]
    assert found == [[0], [20], [1, 10], [2], [3, 11], [21], [4, 12], [5]]


def test_sound_observations_are_seldom_told_not_to_fit():
    """Of 250 sound ranges about UNLIKELY, and each observation's chance is even from 0 to 1."""
    rng = np.random.default_rng(2024)
    alarms, chances = 0, []
    for _ in range(250):
        observations = sound(rng)
        found = foretold(case().fit(observations), observations)
        alarms += not found.sound
        chances.append(found.chance)
    assert alarms <= stats.binom.isf(1e-3, 250, UNLIKELY)
    for column in np.array(chances).T:
        assert stats.kstest(column, "uniform").pvalue > 1e-3


@pytest.mark.parametrize("loss", ["squares", "huber", "cauchy"])
def test_a_flagrant_end_is_set_aside_and_the_fit_is_that_of_the_others(loss):
    observations = sound(np.random.default_rng(7))
    observations[3] = moved(observations[3], up=observations[3].landed.up + 0.5)
    robust = case(loss=loss)
    judged = judged_calibration(robust, observations)
    assert (judged.aside, judged.contradicting) == ((3,), ())
    assert judged.kept == (0, 1, 2, 4, 5, 6)
    alone = robust.fit(without(observations, 3))
    assert judged.calibration.x.tolist() == alone.x.tolist()
    outside = foretold_from_outside(robust, alone, [observations[3]])
    assert judged.foretold.distance[3] == pytest.approx(outside.distance[0], rel=1e-12)
    inside = foretold(alone, without(observations, 3))
    assert np.delete(judged.foretold.distance, 3) == pytest.approx(inside.distance, rel=1e-12)
    assert judged.foretold.chance[3] < 1e-6


@pytest.mark.parametrize("loss", ["huber", "cauchy"])
def test_a_robust_loss_does_not_hide_what_it_heeds_little(loss):
    observations = sound(np.random.default_rng(8))
    observations[4] = moved(observations[4], up=observations[4].landed.up - 0.8)
    robust = case(loss=loss)
    found = foretold(robust.fit(observations), observations)
    outside = foretold_from_outside(robust, robust.fit(without(observations, 4)), [observations[4]])
    assert found.distance[4] == pytest.approx(outside.distance[0], rel=0.05)
    assert found.distance[4] > 10.0


def test_two_that_contradict_each_other_are_both_named_and_none_is_set_aside():
    pair = ends(SHOT, [(50.0, MARKS[50.0])] * 2, [0.1, -0.7])
    vague = case(prior=prior(zero_uncertainty=0.05))
    judged = judged_calibration(vague, pair)
    assert (judged.aside, judged.contradicting, judged.kept) == ((), (0, 1), (0, 1))
    assert judged.foretold.distance[0] == pytest.approx(judged.foretold.distance[1], rel=1e-2)
    # Each scatters about the mean by 0.4 m, of a standard uncertainty of 29 mm.
    expected = 2.0 * (0.4 / DEVIATIONS[3]) ** 2
    assert judged.goodness.chi_square == pytest.approx(expected, rel=1e-2)
    assert judged.calibration.inflation == pytest.approx(expected / 2.0, rel=1e-2)


@pytest.mark.parametrize(
    ("squares", "aside", "contradicting"),
    [
        ((49.0, 43.1), (0, 1), ()),  # one alone would leave the other
        ((49.0, 36.0, 25.0), (), (0, 1, 2)),  # two of six and no more: three are too many
        ((225.0, 121.0, 81.0), (0, 1, 2), ()),  # three of six where gross
        ((225.0, 121.0, 81.0, 64.0), (), (0, 1, 2, 3)),
        ((900.0, 121.0, 66.0), (0, 1, 2), ()),  # the first is wild; 8.12
        ((900.0, 62.0, 61.0), (0,), (1, 2)),  # 7.87
        ((3600.0, 1e4), (0, 1), ()),  # no chance left to tell them by
        ((9.7,), (), ()),  # a chance of 0.0018, and six to have it
        ((10.0,), (0,), ()),  # 0.00157
    ],
)
def test_how_many_of_six_are_set_aside(squares, aside, contradicting):
    off = np.sqrt(np.pad(np.array(squares), (0, 6 - len(squares))))
    judged = judged_calibration(EXACT, in_deviations(*off))
    assert (judged.aside, judged.contradicting) == (aside, contradicting)
    assert judged.kept == tuple(sorted(set(range(6)) - set(aside)))
    assert set(judged.slips) == {*aside, *contradicting}
    assert judged.foretold.distance == pytest.approx(off, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize(
    ("off", "aside", "contradicting"),
    [
        ((5.0,), (), (0,)),  # it contradicts the prior; which of them is wrong nobody knows
        ((20.0,), (0,), ()),
        ((5.0, 0.0), (), (0,)),
        ((20.0, 0.0), (0,), ()),
        ((19.0, 15.0), (), (0, 1)),
        ((5.0, 0.0, 0.0), (0,), ()),
        ((7.0, 5.0, 0.0), (), (0, 1)),
    ],
)
def test_how_many_of_few_are_set_aside(off, aside, contradicting):
    judged = judged_calibration(EXACT, in_deviations(*off))
    assert (judged.aside, judged.contradicting) == (aside, contradicting)


def test_the_order_is_of_no_account():
    observations = sound(np.random.default_rng(9), 0.0)
    observations[1] = moved(observations[1], up=observations[1].landed.up + 0.6)
    observations[5] = moved(observations[5], right=observations[5].landed.right - 0.9)
    judged = judged_calibration(case(), observations)
    assert set(judged.aside) == {1, 5}
    order = np.random.default_rng(1).permutation(len(observations))
    mixed = judged_calibration(case(), [observations[index] for index in order])
    assert {int(order[index]) for index in mixed.aside} == {1, 5}
    assert {int(order[index]): names for index, names in mixed.slips.items()} == judged.slips
    assert mixed.foretold.distance == pytest.approx(judged.foretold.distance[order], rel=1e-5)
    assert mixed.calibration.x == pytest.approx(judged.calibration.x, abs=1e-5)


def test_without_observations_nothing_is_judged():
    judged = judged_calibration(case(), [])
    assert (judged.kept, judged.aside, judged.contradicting, judged.slips) == ((), (), (), {})
    assert judged.goodness.chance == 1.0
    assert judged.calibration.inflation == 1.0
    nothing = Foretold(distance=np.array([]), chance=np.array([]))
    assert nothing.sound


@pytest.mark.parametrize("degrees", [6.0, np.inf])
def test_goodness_is_the_chance_of_the_sum_of_squares(degrees):
    """Here that sum is of the ends' own distances: 4 * 2.8 ^ 2 and 2 * 1."""
    off = (2.8, -2.8, 2.8, -2.8, 1.0, -1.0)
    one = case(prior=only(), scatter=scatter(degrees=degrees))
    judged = judged_calibration(one, in_deviations(*off))
    total = 4.0 * 2.8**2 + 2.0
    assert judged.aside == judged.contradicting == ()
    assert judged.goodness.chi_square == pytest.approx(total, rel=1e-6)
    assert judged.goodness.degrees == 6
    known = stats.chi2.sf(total, 6) if np.isinf(degrees) else stats.f.sf(total / 6, 6, degrees)
    assert judged.goodness.chance == pytest.approx(known, rel=1e-5)
    # Where so much is beyond chance, all that was fitted is that much less certain.
    expected = total / 6.0 if known < UNLIKELY else 1.0
    assert judged.calibration.inflation == pytest.approx(expected, rel=1e-6)


def test_what_is_told_not_to_fit_and_stays_makes_all_less_certain():
    """8.1 over two is not beyond chance, one of them is: 0.0044, of two."""
    judged = judged_calibration(EXACT, in_deviations(2.85, 0.0))
    assert judged.contradicting == (0,)
    assert judged.goodness.chance > UNLIKELY
    assert judged.calibration.inflation == pytest.approx(2.85**2 / 2.0, rel=1e-6)


def test_the_prior_counts_in_the_goodness():
    """One end that the zero follows wholly: (y / b)^2 in the prior's uncertainties."""
    end = ends(SHOT, {50.0: MARKS[50.0]}, 0.06)
    lift = seen(SHOT, SIGHT, end, prior().values(np.eye(6)[ZERO]))[0]
    tight = case(prior=only("zero"), scatter=scatter(1e-5))
    judged = judged_calibration(tight, end)
    variance = lift**2 + 1e-3**2  # an end is read to a millimetre
    assert judged.goodness.chi_square == pytest.approx(0.06**2 / variance, rel=1e-3)


@pytest.mark.parametrize("free", [(), ("zero",)])
def test_an_arrow_that_never_comes_there_is_foretold_least_of_all(free):
    """A drag as of a parachute: nothing flies level for 60 m; the others keep their own."""
    heavy = plain_shot(launch_speed=40.0, drag=coefficient(60.0))
    far, near = (
        End(shot=heavy, landed=Landed(distance=distance, up=0.0), travel=travel)
        for distance, travel in ((60.0, 0.3), (18.288, 0.0))
    )
    slow = case(shot=heavy, prior=only(*free, speed=40.0))
    fit = slow.fit([])
    found = foretold_from_outside(slow, fit, [near, far])
    assert found.distance[0] == pytest.approx(0.0, abs=1e-6)
    assert (found.distance[1], found.chance[1]) == (np.inf, 0.0)


def unsettled_by(wild, monkeypatch):
    """No fit settles that has to do with what is wild; to settle by itself is slow."""
    fit = misfit.fitted

    def of(whitened, loss="squares"):
        if any(wild(item) for item in (*whitened.predictions.ends, *whitened.predictions.readings)):
            raise Unsolved("the calibration does not settle")
        return fit(whitened, loss)

    for module in (misfit, calibration):
        monkeypatch.setattr(module, "fitted", of)


@pytest.mark.parametrize(("speed", "far"), [(264.0, True), (110.0, False)])
def test_one_too_wild_for_any_fit_is_set_aside_all_the_same(speed, far, monkeypatch):
    """Far beyond what the prior foretells before any fit; less far once none settles."""
    observations = sound(np.random.default_rng(6))
    observations[6] = replace(observations[6], speed=speed)
    before = foretold_from_outside(case(), case().fit([]), observations[6:]).distance[0]
    assert before > WILD if far else GROSS < before < WILD
    unsettled_by(lambda item: isinstance(item, SpeedReading), monkeypatch)
    judged = judged_calibration(case(), observations)
    assert (judged.aside, judged.contradicting) == ((6,), ())
    assert judged.calibration.x.tolist() == case().fit(observations[:6]).x.tolist()
    assert judged.foretold.distance[6] > before


@pytest.mark.parametrize("off", [(7.9,), (20.0, 15.0, 12.0)])
def test_what_does_not_settle_for_another_reason_is_told(off, monkeypatch):
    unsettled_by(lambda item: True, monkeypatch)
    with pytest.raises(Unsolved):
        judged_calibration(EXACT, in_deviations(*off))


def test_two_slips_do_not_hide_behind_sound_ends():
    """Ends at 50 and 60 m both too high bend a fit so far that others look worse than they."""
    exact = innocent = 0
    for seed in range(20):
        observations = sound(np.random.default_rng(1000 + seed))
        for index, off in ((3, 0.4), (4, 0.48)):
            higher = observations[index].landed.up + off
            observations[index] = moved(observations[index], up=higher)
        judged = judged_calibration(case(), observations)
        exact += set(judged.aside) == {3, 4} and not judged.contradicting
        innocent += bool(set(judged.aside) - {3, 4})
    # A sound end is told not to fit in one range of a hundred anyway.
    assert innocent <= 1
    assert exact >= 18
