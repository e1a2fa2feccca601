"""A session on the range: scatter learned, a zero mark found off, each axis by its own scatter."""

from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import ends, marks, plain_shot, prior, scatter, seen, sight, unknowns

from arrowloft.api.learning.slips import SLIPS
from arrowloft.core.archer.archer_scatter import USUAL, USUAL_DEGREES, archer_scatter
from arrowloft.core.archer.groups import Group
from arrowloft.core.archer.landed import Landed
from arrowloft.core.learning.calibration import calibrate, weighed_anew
from arrowloft.core.learning.corrections import corrections
from arrowloft.core.learning.misfit import Case
from arrowloft.core.learning.next_shots import Butts, Known, Wanted, advise
from arrowloft.core.learning.observations import SpeedReading
from arrowloft.core.learning.range_session import ANYWHERE, Aims, learn, range_session
from arrowloft.core.learning.slips import SIGNS
from arrowloft.core.learning.unknowns import ZERO

SHOT, SIGHT = plain_shot(), sight()
DISTANCES = (18.288, 30.0, 40.0, 50.0, 60.0, 70.0)
MARKS = marks(SHOT, SIGHT, DISTANCES)
# 1 mrad up and down, 3 mrad sideways, and of so many degrees that an end adds little.
GROUP = Group(distance=50.0, vertical=0.05, sideways=0.15, arrows=61)
AIMS = Aims(
    distances=np.array([25.0, 65.0]),
    tolerance=np.array([0.02, 0.05]),
    confidence=0.9,
    butts=np.array([20.0, 45.0, 70.0]),
    arrows=6,
)


def shot_by(truth, distances=DISTANCES, right=0.0, arrows=6, off=0.0):
    """Ends shot with the marks of the set-up as stated; where they land is the truth's."""
    blank = ends(SHOT, [(d, MARKS[d]) for d in distances], 0.0, right, arrows)
    return put(blank, seen(SHOT, SIGHT, blank, truth) + off)


def put(observations, places):
    """The ends with their centres there: heights of all, then sides of those that have one."""
    sides = iter(places[len(observations) :])
    return [
        replace(
            end,
            landed=replace(
                end.landed,
                up=float(up),
                right=None if end.landed.right is None else float(next(sides)),
            ),
        )
        for end, up in zip(observations, places, strict=False)
    ]


def raised(end, up):
    return replace(end, landed=replace(end.landed, up=end.landed.up + up))


def scattered(rng, deviation, right=0.0):
    """Centres of ends of three arrows of a sound set-up."""
    noise = deviation * np.array(DISTANCES) / np.sqrt(3.0)
    axes = 1 if right is None else 2
    off = np.tile(noise, axes) * rng.standard_normal(axes * noise.size)
    return shot_by(unknowns(), right=right, arrows=3, off=off)


def learned(observations, group=GROUP, **changes):
    return learn(SHOT, SIGHT, prior(), observations, group=group, **changes)


# Each axis by its own scatter


def test_corrections_rest_on_each_axis_own_scatter():
    found = range_session(learned(shot_by(unknowns(), off=0.03)), AIMS)
    centres = np.array(DISTANCES) / np.sqrt(6.0)
    up = found.corrections.nudge_uncertainty / np.abs(found.corrections.nudge)
    aside = found.corrections.windage_nudge_uncertainty / np.abs(found.corrections.windage_nudge)
    landed = found.judged.calibration.predictions.ends
    assert up == pytest.approx(1e-3 * centres / [abs(end.landed.up) for end in landed])
    assert aside == pytest.approx(3e-3 * centres / [abs(end.landed.right) for end in landed])


def test_advice_counts_on_the_scatter_up_and_down():
    told = learned(shot_by(unknowns())[:2])
    found = range_session(told, AIMS)
    butts = Butts(
        distance=AIMS.butts, response=found.at_butts.height_response, scatter=1e-3 * AIMS.butts
    )
    wanted = Wanted(response=found.marks.height_response, tolerance=AIMS.tolerance, confidence=0.9)
    known = Known.of(told.judged.calibration, told.case.scatter.vertical)
    expected = advise(known, wanted, butts, AIMS.arrows)
    assert found.advice.choices == pytest.approx(expected.choices, rel=1e-9)
    assert found.advice.plan == expected.plan != ()
    aside = advise(known, wanted, replace(butts, scatter=3e-3 * AIMS.butts), AIMS.arrows)
    assert np.abs(aside.choices / expected.choices - 1.0).max() > 0.05


def test_marks_are_sure_by_the_degrees_of_the_scatter_up_and_down():
    """An end whose heights alone are told adds its 40 degrees to the one axis."""
    first, *others = shot_by(unknowns())
    heights = replace(first.landed, vertical=1e-3 * 18.288, degrees=40.0)
    told = learned([replace(first, landed=heights), *others], replace(GROUP, arrows=2))
    by = told.case.scatter
    assert (by.vertical.degrees, by.sideways.degrees) == (41.0, 1.0)
    known = Known.of(told.judged.calibration, by.vertical)
    response = range_session(told, AIMS).marks.height_response

    def sure(tolerance, degrees):
        wanted = Wanted(response=response, tolerance=tolerance, confidence=0.9)
        return wanted.sure(replace(known, degrees=degrees))

    tolerances = [share * AIMS.distances for share in np.geomspace(1e-4, 1e-2, 100)]
    enough = next(tolerance for tolerance in tolerances if sure(tolerance, 41.0))
    assert not sure(enough, 1.0)
    assert range_session(told, replace(AIMS, tolerance=enough)).advice.done


def test_marks_are_those_wanted_and_those_at_the_butts():
    found = range_session(learned(shot_by(unknowns())), AIMS)
    everywhere = marks(SHOT, SIGHT, [*AIMS.distances, *AIMS.butts])
    travel = np.concatenate((found.marks.travel, found.at_butts.travel))
    # The ends lie where the set-up as stated has them.
    assert travel == pytest.approx(list(everywhere.values()), abs=1e-5)
    assert (found.marks.travel.size, found.at_butts.travel.size) == (2, 3)


def test_a_speed_alone_leaves_nothing_to_correct():
    reading = SpeedReading(shot=SHOT, distance=3.0, speed=83.0, uncertainty=0.5)
    assert range_session(learned([reading]), AIMS).corrections is None


# The zero mark farther off than the prior has it


@pytest.mark.parametrize("distances", [(30.0, 60.0), DISTANCES[:3], DISTANCES])
def test_a_zero_mark_a_centimetre_off_is_found(distances):
    """The prior has it within half a millimetre; all else is as stated."""
    found = learned(shot_by(unknowns(zero=0.01), distances))
    assert found.zero_off and found.judged.clean
    assert found.case.prior.zero_uncertainty == ANYWHERE
    fit = found.judged.calibration
    assert fit.values[ZERO] == pytest.approx(0.01, abs=1e-4)
    assert fit.uncertainties[ZERO] < 1e-3
    assert range_session(found, AIMS).zero_off


@pytest.mark.parametrize("ends_there", [1, 2, 3])
def test_ends_at_one_distance_do_not_tell_it(ends_there):
    found = learned(shot_by(unknowns(zero=0.01), [18.288] * ends_there))
    assert not found.zero_off and not found.judged.clean
    assert found.case.prior == prior()


def test_one_slip_among_sound_ends_is_not_explained_by_it():
    observations = shot_by(unknowns())
    observations[3] = raised(observations[3], 0.5)
    found = learned(observations)
    assert not found.zero_off
    assert (found.judged.aside, found.judged.contradicting) == ((3,), ())
    assert found.case.prior == prior()


def test_where_all_fits_the_prior_is_left_alone():
    """A quarter of a millimetre is well within it."""
    found = learned(shot_by(unknowns(zero=2.5e-4)))
    assert not found.zero_off and found.judged.clean
    assert found.case.prior == prior()


# An assumed scatter learns from how the ends lie about the fit


@pytest.mark.parametrize("stated", [(), (1, 4)])
@pytest.mark.parametrize("right", [0.0, None])
def test_it_learns_as_many_degrees_as_the_fit_leaves(right, stated):
    """Ends less the trace of their part of the hat matrix; a stated height tells nothing."""
    observations = scattered(np.random.default_rng(5), 2.5e-3, right)
    for index in stated:
        observations[index] = replace(observations[index], uncertainty=0.1)
    fit = calibrate(SHOT, SIGHT, prior(), observations, archer_scatter([]))
    hat = np.diag(fit.design @ fit.covariance @ fit.design.T)
    square = ((fit.observed - fit.predicted) / fit.deviation) ** 2
    found = learned(observations, None).case.scatter
    tell = [index for index in range(6) if index not in stated]
    for axis, rows in ((found.vertical, tell), (found.sideways, slice(6, None))):
        degrees = USUAL_DEGREES + hat[rows].size - hat[rows].sum()
        assert axis.degrees == pytest.approx(degrees, rel=1e-9)
        pooled = (USUAL_DEGREES + square[rows].sum()) / degrees
        assert axis.deviation == pytest.approx(USUAL * np.sqrt(pooled), rel=1e-9)
    assert found.vertical.degrees > USUAL_DEGREES + 1.0
    assert found.assumed


def test_a_wide_archer_is_found_to_be_wide_and_a_narrow_one_narrow():
    rng = np.random.default_rng(17)
    for deviation, low, high in ((3e-3, 1.25, 2.5), (0.3e-3, 0.3, 0.8)):
        found = [learned(scattered(rng, deviation), None).case.scatter for _ in range(12)]
        for axis in ("vertical", "sideways"):
            mean = np.mean([getattr(one, axis).deviation for one in found])
            assert low * USUAL < mean < high * USUAL


def test_the_fit_is_that_of_the_scatter_learned():
    found = learned(scattered(np.random.default_rng(2), 3e-3), None)
    fit, by = found.judged.calibration, found.case.scatter
    assert by.vertical.deviation != pytest.approx(USUAL, rel=0.1)
    centres = [by.vertical.centre(distance, 3) for distance in DISTANCES]
    sides = [by.sideways.centre(distance, 3) for distance in DISTANCES]
    assert fit.deviation == pytest.approx([*centres, *sides], rel=1e-12)
    assert fit.degrees.tolist() == [by.vertical.degrees] * 6 + [by.sideways.degrees] * 6
    whitened = fit.residuals / fit.deviation
    total = whitened @ whitened + fit.x @ fit.x
    assert found.judged.goodness.chi_square == pytest.approx(total, rel=1e-9)


def test_a_group_that_is_given_does_not_learn_from_them():
    observations = scattered(np.random.default_rng(3), 3e-3)
    found = learned(observations)
    assert found.case.scatter == archer_scatter([end.landed for end in observations], GROUP)
    assert found.case.scatter.vertical.deviation == pytest.approx(1e-3, rel=1e-12)


def test_nothing_is_learned_from_ends_that_do_not_fit():
    observations = scattered(np.random.default_rng(4), 1e-3)
    observations[2] = raised(observations[2], 1.5)
    found = learned(observations, None)
    assert found.judged.aside == (2,)
    assert found.case.scatter == archer_scatter([])


def test_weighed_anew_it_is_what_a_full_fit_comes_to():
    """Within a fiftieth of a standard uncertainty, by one step or by two."""
    rng = np.random.default_rng(23)
    rounds = set()
    for _ in range(20):
        observations = scattered(rng, 2.5e-3)
        first = calibrate(SHOT, SIGHT, prior(), observations, scatter(1.5e-3))
        for deviation in (0.9e-3, 2.5e-3, 6e-3):
            case = Case(shot=SHOT, sight=SIGHT, prior=prior(), scatter=scatter(deviation, 7.0))
            whitened = case.whitened(observations)
            found, whole = weighed_anew(first, whitened), case.fit(observations)
            rounds.add((whitened.evaluations, found is not None))
            if found is None:
                continue
            root = np.sqrt(np.diag(whole.covariance))
            assert np.abs((found.x - whole.x) / root).max() < 0.02
            assert np.sqrt(np.diag(found.covariance)) == pytest.approx(root, rel=0.02)
            assert found.predicted == pytest.approx(
                whole.predicted, abs=0.02 * whole.deviation.max()
            )
            assert found.degrees.tolist() == [7.0] * 12
    assert {(0, True), (1, True)} <= rounds


def test_a_session_judged_anew_is_what_a_full_fit_comes_to():
    rng = np.random.default_rng(29)
    for deviation in (0.5e-3, 1.5e-3, 2.5e-3):
        for _ in range(4):
            observations = scattered(rng, deviation)
            found = learned(observations, None)
            whole = found.case.fit(observations)
            root = np.sqrt(np.diag(whole.covariance))
            assert np.abs((found.judged.calibration.x - whole.x) / root).max() < 0.02


# Odd scatters, what is expected, what is passed on


def test_an_odd_scatter_is_no_part_of_the_pool_but_its_centre_counts():
    observations = shot_by(unknowns())
    sound = [
        replace(
            end,
            landed=Landed.of_deviations(
                end.landed.distance,
                end.landed.up,
                end.landed.right,
                6,
                1.2e-3 * end.landed.distance,
                3.3e-3 * end.landed.distance,
            ),
        )
        for end in observations
    ]
    odd = replace(sound[2].landed, vertical=25.4 * sound[2].landed.vertical)
    told = learned([*sound[:2], replace(sound[2], landed=odd), *sound[3:]])
    without = [end.landed for index, end in enumerate(sound) if index != 2]
    assert told.odd == range_session(told, AIMS).odd == (2,)
    assert told.case.scatter == archer_scatter(without, GROUP)
    assert told.judged.kept == (0, 1, 2, 3, 4, 5)
    assert learned(sound).odd == ()


def test_what_is_set_aside_is_expected_all_the_same():
    reading = SpeedReading(shot=SHOT, distance=3.0, speed=83.5, uncertainty=0.5)
    sides = shot_by(unknowns(), right=[0.0, None, 0.0, 0.0, None, 0.0])
    observations = [*sides[:4], reading, *sides[4:]]
    observations[2] = raised(observations[2], 0.6)
    told = learned(observations)
    assert told.judged.aside == (2,)
    found = range_session(told, AIMS).expected
    rows = [[0, 6], [1], [2, 7], [3, 8], [10], [4], [5, 9]]
    assert [own.tolist() for own in found.rows] == rows
    fit, by = told.judged.calibration, told.case.scatter
    assert found.value == pytest.approx(
        seen(SHOT, SIGHT, observations, fit.values), rel=1e-12, abs=1e-12
    )
    centres = [by.vertical.centre(distance, 6) for distance in DISTANCES]
    aside = [by.sideways.centre(DISTANCES[index], 6) for index in (0, 2, 3, 5)]
    assert found.deviation == pytest.approx([*centres, *aside, 0.5], rel=1e-12)
    kept = np.delete(np.arange(11), [2, 7])
    assert found.value[kept] == pytest.approx(fit.predicted, abs=1e-6)


def test_where_all_fits_what_is_expected_is_what_was_fitted():
    told = learned(shot_by(unknowns(speed=84.5)))
    found = range_session(told, AIMS).expected
    assert found.value.tolist() == told.judged.calibration.predicted.tolist()
    assert found.deviation.tolist() == told.judged.calibration.deviation.tolist()
    assert [own.tolist() for own in found.rows] == [[index, 6 + index] for index in range(6)]


def test_slips_are_looked_for_as_asked():
    """70 cm low at 50 m, noted in inches for centimetres: no sign makes that good."""
    observations = shot_by(unknowns(speed=83.0))
    observations[3] = replace(observations[3], travel=MARKS[50.0] - 0.006)
    where = seen(SHOT, SIGHT, observations, unknowns(speed=83.0))
    observations = put(observations, where)
    landed = observations[3].landed
    observations[3] = replace(observations[3], landed=replace(landed, up=landed.up * 2.54))
    by_signs, by_all = learned(observations), learned(observations, slips=SLIPS)
    assert (by_signs.case.slips, by_all.case.slips) == (SIGNS, SLIPS)
    assert by_signs.judged.aside == by_all.judged.aside == (3,)
    assert by_signs.judged.slips == {3: ()}
    assert by_all.judged.slips[3][0] == "inches-for-centimetres"


def test_the_loss_is_that_asked_for():
    observations = scattered(np.random.default_rng(6), 2e-3)
    robust = learned(observations, loss="huber")
    assert robust.case.loss == "huber"
    assert (robust.judged.calibration.weight < 1.0).any()
    assert (learned(observations).judged.calibration.weight == 1.0).all()


def test_corrections_are_of_all_ends_in_their_order():
    observations = shot_by(unknowns())
    observations[2] = raised(observations[2], 0.6)
    told = learned(observations)
    found = range_session(told, AIMS).corrections
    one = corrections(told.judged.calibration, SHOT, SIGHT, [observations[2]], told.case.scatter)
    assert found.nudge.size == 6
    assert found.nudge[2] == pytest.approx(one.nudge[0], rel=1e-9)
    assert found.beyond_scatter.tolist() == [False, False, True, False, False, False]
