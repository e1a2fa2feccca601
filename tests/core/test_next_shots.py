"""What to shoot next: against direct inverses, real further ends, and brute force."""

from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import YARD, ends, marks, plain_shot, prior, scatter, sight
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.core.calibration import calibrate
from arrowloft.core.corrected_marks import corrected_marks
from arrowloft.core.next_shots import ALIKE, MOST_ENDS, Butts, Known, Wanted, advise

SHOT, SIGHT = plain_shot(), sight()
AT = np.array([15.0, 18.288, 25.0, 30.0, 40.0, 50.0, 60.0, 70.0])
MARKS = marks(SHOT, SIGHT, AT)
CARED = YARD * np.array([20.0, 40.0, 60.0, 80.0])
SCATTER = scatter(1e-3, degrees=8.0)


def fit_of(observations=()):
    return calibrate(SHOT, SIGHT, prior(), observations, SCATTER)


def known_of(observations=()):
    return Known.of(fit_of(observations), SCATTER.vertical)


def butts_of(distances=AT, observations=()):
    response = corrected_marks(fit_of(observations), SHOT, SIGHT, distances).height_response
    scale = SCATTER.vertical.deviation * distances
    return Butts(distance=distances, response=response, scatter=scale)


def wanted_of(tolerance=1e-3, confidence=0.95, observations=()):
    """Tolerance: share of the distance."""
    table = corrected_marks(fit_of(observations), SHOT, SIGHT, CARED)
    return Wanted(
        response=table.height_response, tolerance=tolerance * CARED, confidence=confidence
    )


def doubt(covariance, wanted):
    """Straight from its meaning: root mean square of each mark's uncertainty over tolerance."""
    deviations = [np.sqrt(row @ covariance @ row) for row in wanted.response]
    return np.sqrt(np.mean((np.array(deviations) / wanted.tolerance) ** 2))


def learned(covariance, response, noise):
    return np.linalg.inv(np.linalg.inv(covariance) + np.outer(response, response) / noise**2)


vectors = st.lists(st.floats(-3.0, 3.0), min_size=6, max_size=6).map(np.array)


@given(st.lists(vectors, max_size=4), vectors, st.floats(0.05, 5.0), st.integers(1, 12))
def test_what_is_known_after_an_end_is_the_direct_inverse(before, response, noise, arrows):
    covariance = np.linalg.inv(np.eye(6) + sum(np.outer(row, row) for row in before))
    scattered = np.diag(np.arange(6.0))
    known = Known(covariance=covariance, scattered=scattered, degrees=5.0)
    found = known.after(response, noise, arrows)
    assert found.covariance == pytest.approx(learned(covariance, response, noise), abs=1e-9)
    added = found.scattered - scattered
    assert added == pytest.approx(np.outer(response, response) / noise**2)
    assert found.degrees == 5.0 + arrows - 1.0


def test_what_is_known_is_what_the_calibration_left():
    observations = ends(SHOT, [(30.0, MARKS[30.0]), (60.0, MARKS[60.0])], 0.02, arrows=[3, 5])
    stated = replace(observations[1], uncertainty=0.03)
    fit = fit_of([observations[0], stated])
    known = Known.of(fit, SCATTER.vertical)
    assert known.covariance.tolist() == fit.covariance.tolist()
    assert known.degrees == 8.0
    # A stated uncertainty does not rest on the archer's scatter.
    row = fit.design[0]
    assert known.scattered == pytest.approx(np.outer(row, row))


@pytest.mark.parametrize(("index", "arrows"), [(3, 3), (5, 1), (7, 6)])
def test_an_end_teaches_what_was_foretold(index, arrows):
    """The end shot in earnest, on the aim point: the fit then has the covariance foretold."""
    before = ends(SHOT, [(18.288, 0.0)], 0.0)
    butts = butts_of(observations=before)
    noise = float(butts.noise(arrows)[index])
    foretold = known_of(before).after(butts.response[index], noise, arrows)
    distance = float(AT[index])
    more = ends(SHOT, [(distance, MARKS[distance])], 0.0, arrows=arrows)
    after = known_of([*before, *more])
    assert foretold.covariance == pytest.approx(after.covariance, rel=2e-3, abs=1e-4)
    assert foretold.scattered == pytest.approx(after.scattered, rel=2e-3, abs=1e-2)
    table = corrected_marks(fit_of([*before, *more]), SHOT, SIGHT, CARED)
    wanted = wanted_of(observations=before)
    found = np.sqrt([row @ foretold.covariance @ row for row in wanted.response])
    assert found == pytest.approx(table.height_uncertainty, rel=2e-3)


def test_the_choices_are_the_doubt_left_by_a_full_end():
    known, wanted, butts = known_of(), wanted_of(), butts_of()
    advice = advise(known, wanted, butts, 4)
    assert advice.doubt == pytest.approx(doubt(known.covariance, wanted), rel=1e-9)
    expected = [
        doubt(learned(known.covariance, row, noise), wanted)
        for row, noise in zip(butts.response, butts.scatter / 2.0, strict=True)
    ]
    assert advice.choices == pytest.approx(expected, rel=1e-6)
    # The mean of squares: far marks that are unsure weigh more than near ones that are not.
    assert advice.choices.argmin() == int(np.argmin(expected)) > 4


@pytest.mark.parametrize("arrows", [1, 3, 6])
@pytest.mark.parametrize("cared", [slice(0, 1), slice(3, 4), slice(None)])
def test_no_distance_and_no_fewer_arrows_are_better_than_the_next_end(arrows, cared):
    known, butts, every = known_of(), butts_of(), wanted_of(1e-4)
    wanted = replace(every, response=every.response[cared], tolerance=every.tolerance[cared])
    plan = advise(known, wanted, butts, arrows).plan
    left = known.covariance
    for end in plan[:3]:
        tried = {
            (index, count): doubt(
                learned(left, butts.response[index], butts.scatter[index] / np.sqrt(count)), wanted
            )
            for index in range(AT.size)
            for count in range(1, arrows + 1)
        }
        assert end.doubt == pytest.approx(tried[end.index, end.arrows], rel=1e-6)
        assert end.doubt <= (1.0 + ALIKE) * min(tried.values()) * (1.0 + 1e-9)
        alike = [
            AT[index]
            for (index, count), value in tried.items()
            if count == arrows and value <= (1.0 + ALIKE) * min(tried.values())
        ]
        assert AT[end.index] == min(alike)
        noise = butts.scatter[end.index] / np.sqrt(end.arrows)
        left = learned(left, butts.response[end.index], noise)


def test_the_nearest_of_equals_is_taken_wherever_it_stands_in_the_list():
    butts = butts_of(np.array([60.0, 60.2, 20.0, 59.8]))
    plan = advise(known_of(), wanted_of(), butts, 3).plan
    assert plan[0].index == 3


@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.95])
def test_it_is_done_where_every_mark_is_as_sure_as_asked(confidence):
    observations = ends(SHOT, {d: MARKS[d] for d in (18.288, 40.0, 60.0)}, 0.0, arrows=6)
    table = corrected_marks(fit_of(observations), SHOT, SIGHT, CARED)
    verdicts = set()
    for tolerance in np.geomspace(1e-4, 1e-2, 25):
        sure = (table.chance(tolerance * CARED) >= confidence).all()
        wanted = wanted_of(tolerance, confidence, observations)
        advice = advise(known_of(observations), wanted, butts_of(), 3)
        assert advice.done == bool(sure)
        assert (advice.plan == ()) == advice.done
        verdicts.add(advice.done)
    assert verdicts == {True, False}


@pytest.mark.parametrize("tolerance", [5e-4, 7e-4, 1e-3, 1.4e-3, 2e-3])
def test_the_plan_leads_there_and_its_last_end_has_the_fewest_arrows(tolerance):
    known, wanted, butts = known_of(), wanted_of(tolerance, 0.9), butts_of()
    advice = advise(known, wanted, butts, 6)
    assert advice.enough
    assert not advice.done
    assert advice.arrows == sum(end.arrows for end in advice.plan)

    def after(ends_shot):
        left = known
        for index, count in ends_shot:
            left = left.after(butts.response[index], float(butts.noise(count)[index]), count)
        return left

    shot = [(end.index, end.arrows) for end in advice.plan]
    assert wanted.sure(after(shot))
    assert not wanted.sure(after(shot[:-1]))
    assert all(count == 6 for _, count in shot[:-1])
    last, fewest = shot[-1]
    for count in range(1, fewest):
        assert not wanted.sure(after([*shot[:-1], (last, count)]))
    assert [end.doubt for end in advice.plan] == pytest.approx(
        [doubt(after(shot[: n + 1]).covariance, wanted) for n in range(len(shot))], rel=1e-6
    )


def test_where_it_cannot_be_had_the_plan_says_so():
    advice = advise(known_of(), wanted_of(1e-7), butts_of(), 3)
    assert not advice.enough
    assert not advice.done
    assert len(advice.plan) == MOST_ENDS
    assert all(end.arrows == 3 for end in advice.plan)
    doubts = [advice.doubt, *(end.doubt for end in advice.plan)]
    assert (np.diff(doubts) < 0.0).all()


def test_more_arrows_leave_less_doubt():
    known, wanted, butts = known_of(), wanted_of(), butts_of()
    choices = np.array([advise(known, wanted, butts, n).choices for n in (1, 2, 4, 8, 16)])
    assert (np.diff(choices, axis=0) < 0.0).all()
    assert (choices < advise(known, wanted, butts, 1).doubt).all()


def test_a_centre_is_not_read_to_nothing():
    """However many arrows: to a millimetre, as the fit itself takes it."""
    butts = replace(butts_of(), scatter=np.full(AT.size, 2e-3))
    assert butts.noise(3) == pytest.approx(2e-3 / np.sqrt(3.0))
    assert butts.noise(100) == pytest.approx(1e-3)


def test_only_the_butts_given_are_used():
    """A club whose longest butt is 40 m: the plan keeps to it, and needs more arrows."""
    short, every = butts_of(AT[AT <= 40.0]), butts_of()
    known, wanted = known_of(), wanted_of(1.2e-3)
    near, far = (advise(known, wanted, butts, 3) for butts in (short, every))
    assert max(end.index for end in near.plan) < 5
    assert near.choices == pytest.approx(far.choices[:5], rel=1e-4)
    assert near.arrows > far.arrows


def test_a_butt_that_a_slower_arrow_does_not_reach_is_left_out():
    butts = butts_of()
    response = butts.response.copy()
    response[6] = np.nan
    advice = advise(known_of(), wanted_of(), replace(butts, response=response), 3)
    assert np.isnan(advice.choices).tolist() == [False] * 6 + [True, False]
    assert advice.plan
    assert all(end.index != 6 for end in advice.plan)


def test_a_mark_whose_response_is_not_known_cannot_be_made_sure():
    wanted = wanted_of()
    response = wanted.response.copy()
    response[-1] = np.nan
    advice = advise(known_of(), replace(wanted, response=response), butts_of(), 3)
    assert (advice.done, advice.enough, advice.plan) == (False, False, ())
    assert np.isnan(advice.doubt)


def test_it_says_nothing_of_degrees_where_no_scatter_enters():
    """A prior alone is normal: 1.96 standard uncertainties are 95 %."""
    wanted = wanted_of()
    deviations = np.sqrt([row @ row for row in wanted.response])
    for factor, sure in ((1.9599, False), (1.96, True)):
        one = replace(wanted, tolerance=factor * deviations)
        assert one.sure(known_of()) is sure
