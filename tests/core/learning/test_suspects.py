"""Sets of observations that do not fit: against refits, brute force, and sets that are known."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from calibration_setups import ends, marks, only, plain_shot, prior, scatter, seen, sight
from scipy import stats

from arrowloft.core.archer.archer_scatter import ArcherScatter, Scatter
from arrowloft.core.learning.misfit import Case, foretold_from_outside, judged_calibration
from arrowloft.core.learning.observations import SpeedReading
from arrowloft.core.learning.suspects import foretold, rows_of, sets_of, squared_distance

SHOT, SIGHT = plain_shot(), sight()
SCATTER = 1e-3


def case(**changes):
    return Case(**{"shot": SHOT, "sight": SIGHT, "prior": prior(), "scatter": scatter(), **changes})


def narrow():
    """Known so well that what is predicted is nearly linear in what is not known."""
    return prior(speed_uncertainty=0.005, drag_uncertainty=0.05)


EXACT = case(prior=only())  # all known: an end's height is its own misfit


def deviations(distances):
    return SCATTER * np.asarray(distances) / np.sqrt(3.0)


def off_by(distances, *off):
    """Ends whose centres lie so many standard uncertainties high, the others at 0."""
    distances = np.asarray(distances)
    up = np.pad(np.array(off, dtype=float), (0, distances.size - len(off))) * deviations(distances)
    return ends(SHOT, marks(SHOT, SIGHT, distances), up.tolist())


def mixed(rng, known):
    """Ends, every other with its side noted, and a speed, of a bow drawn from the prior."""
    where = np.array([18.288, 30.0, 40.0, 50.0, 60.0, 70.0])
    blank = ends(SHOT, marks(SHOT, SIGHT, where), 0.0, [0.0, None] * 3)
    reading = SpeedReading(shot=SHOT, distance=3.0, speed=80.0, uncertainty=0.4)
    mean = seen(SHOT, SIGHT, [*blank, reading], known.values(rng.standard_normal(6)))
    noise = np.concatenate((deviations(where), deviations(where[::2]), [0.4]))
    places = mean + noise * rng.standard_normal(mean.size)
    found = []
    for index, end in enumerate(blank):
        right = None if index % 2 else float(places[6 + index // 2])
        landed = replace(end.landed, up=float(places[index]), right=right)
        found.append(replace(end, landed=landed))
    return [*found[:3], replace(reading, speed=float(places[-1])), *found[3:]]


def sum_of_squares(fit):
    whitened = fit.residuals / fit.deviation
    return whitened @ whitened + fit.x @ fit.x


def fall(fit, rows):
    """By how much the least sum of squares of the linearised fit falls without some rows."""
    start = fit.residuals / fit.deviation + fit.design @ fit.x

    def least(left):
        matrix = np.vstack((fit.design[left], np.eye(6)))
        wanted = np.concatenate((start[left], np.zeros(6)))
        return np.linalg.lstsq(matrix, wanted, rcond=None)[1][0]

    every = np.arange(fit.residuals.size)
    return least(every) - least(np.setdiff1d(every, rows))


@pytest.mark.parametrize("size", [1, 2, 3])
def test_a_sets_distance_is_the_fall_of_the_sum_of_squares_on_a_refit(size):
    one = case(prior=narrow())
    observations = mixed(np.random.default_rng(3), narrow())
    landed = observations[4].landed
    observations[4] = replace(observations[4], landed=replace(landed, up=landed.up + 0.15))
    fit, rows = one.fit(observations), list(rows_of(observations))
    whole = sum_of_squares(fit)
    for members in list(combinations(range(7), size))[::3]:
        left = [item for index, item in enumerate(observations) if index not in members]
        own = np.concatenate([rows[index] for index in members])
        expected = whole - sum_of_squares(one.fit(left))
        assert squared_distance(fit, own) == pytest.approx(expected, rel=1e-2, abs=1e-2)
        assert squared_distance(fit, own) == pytest.approx(fall(fit, own), rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("size", [1, 2, 3])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_worst_set_is_that_of_brute_force(seed, size):
    observations = mixed(np.random.default_rng(seed), prior())
    fit, rows = case().fit(observations), list(rows_of(observations))
    falls = {
        members: fall(fit, np.concatenate([rows[index] for index in members]))
        for members in combinations(range(7), size)
    }
    most = max(falls.values())
    worst, alike = sets_of(fit, observations, size)
    assert worst == max(falls, key=falls.get)
    assert alike == [one for one, found in falls.items() if found > max(most - 6.0, 0.0)]


@pytest.mark.parametrize(
    ("squares", "alike"),
    [
        ((49.0, 43.1), [0, 1]),
        ((49.0, 42.9), [0]),
        ((49.0, 46.0, 42.9), [0, 1]),
    ],
)
def test_sets_are_told_apart_by_odds_of_twenty_to_one(squares, alike):
    """exp(6 / 2) is 20."""
    observations = off_by([30.0, 40.0, 50.0, 60.0], *np.sqrt(squares))
    worst, found = sets_of(EXACT.fit(observations), observations, 1)
    assert worst == (0,)
    assert [index for (index,) in found] == alike


@pytest.mark.parametrize(("count", "expected"), [(32, (0, 1, 2)), (33, (0, 4, 5))])
def test_beyond_so_many_sets_only_those_that_hold_the_smaller_are_weighed(count, expected):
    """4960 sets of three of 32, 5456 of 33: these grow from the two that were worst."""
    observations = off_by(np.linspace(18.288, 80.0, count), 9.4, 9.0, 9.0)
    fit = EXACT.fit(observations)
    worst, alike = sets_of(fit, observations, 3, (4, 5))
    assert worst == expected
    held = [one for one in alike if {4, 5} <= set(one)]
    assert (held == alike) is (count == 33)


@pytest.mark.parametrize("count", [33, 40, 100])
def test_three_slips_among_many_are_exactly_those_set_aside(count):
    rng = np.random.default_rng(count)
    slips = sorted(rng.choice(count, 3, replace=False).tolist())
    off = rng.standard_normal(count)
    off[slips] += 12.0 * np.array([1.0, -1.0, 1.0])
    found = judged_calibration(case(), off_by(np.linspace(18.288, 80.0, count), *off))
    assert sorted(found.aside) == slips
    assert found.contradicting == ()
    assert found.goodness.chance > 0.01


def test_the_chance_counts_the_fewest_degrees_of_an_observations_rows():
    """A stated height is known as it stands; the side rests on a scatter of four degrees."""
    by = ArcherScatter(
        vertical=Scatter(deviation=SCATTER, degrees=9.0),
        sideways=Scatter(deviation=SCATTER, degrees=4.0),
        assumed=False,
    )
    (end,) = ends(SHOT, marks(SHOT, SIGHT, [50.0]), 0.06, 1.5 * SCATTER * 50.0 / np.sqrt(3.0))
    one = case(prior=only(), scatter=by)
    for observation, degrees in ((replace(end, uncertainty=0.03), 4.0), (end, 4.0)):
        fit = one.fit([observation])
        up = 0.06 / (observation.uncertainty or SCATTER * 50.0 / np.sqrt(3.0))
        square = up**2 + 1.5**2
        expected = stats.f.sf(square / 2.0, 2, degrees)
        inside = foretold(fit, [observation])
        outside = foretold_from_outside(one, fit, [observation])
        assert inside.distance == pytest.approx([np.sqrt(square)], rel=1e-5)
        assert inside.chance == pytest.approx([expected], rel=1e-4)
        assert outside.chance == pytest.approx([expected], rel=1e-4)
