"""What to shoot next: against direct inverses, real further ends, and brute force."""

from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import YARD, ends, marks, plain_shot, prior, scatter, sight
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.core.learning.calibration import calibrate
from arrowloft.core.learning.corrected_marks import corrected_marks
from arrowloft.core.learning.next_shots import ALIKE, MOST_ENDS, SAFE, Butts, Known, Wanted, advise

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


def safe_by_hand(covariance, butts):
    """Whether twice the standard deviation of one arrow's height is within half a metre."""
    marks = np.array([row @ covariance @ row for row in butts.response])
    return 2.0 * np.sqrt(marks + butts.scatter**2) <= 0.5


def fall_by_hand(covariance, wanted, butts, index, arrows):
    after = learned(covariance, butts.response[index], butts.scatter[index] / np.sqrt(arrows))
    return doubt(covariance, wanted) ** 2 - doubt(after, wanted) ** 2


@pytest.mark.parametrize("arrows", [1, 3, 6])
@pytest.mark.parametrize("cared", [slice(0, 1), slice(3, 4), slice(None)])
def test_no_safe_distance_and_no_fewer_arrows_take_more_doubt_away(arrows, cared):
    known, butts, every = known_of(), butts_of(), wanted_of(1e-4)
    wanted = replace(every, response=every.response[cared], tolerance=every.tolerance[cared])
    plan = advise(known, wanted, butts, arrows).plan
    left = known.covariance
    for end in plan[:4]:
        safe = safe_by_hand(left, butts)
        falls = {
            (index, count): fall_by_hand(left, wanted, butts, index, count)
            for index in np.flatnonzero(safe)
            for count in range(1, arrows + 1)
        }
        most = max(falls.values())
        assert end.arrows == arrows
        assert safe[end.index]
        good = [
            AT[index] for (index, n), fall in falls.items() if n == arrows and fall >= 0.95 * most
        ]
        assert AT[end.index] == min(good)
        left = learned(left, butts.response[end.index], butts.scatter[end.index] / np.sqrt(arrows))
        assert end.doubt == pytest.approx(doubt(left, wanted), rel=1e-6)


def test_late_in_a_session_one_arrow_is_not_wasted_on_the_nearest_butt():
    """After 20 ends one arrow takes little away anywhere: all doubts are alike, not all falls."""
    observations = ends(SHOT, ([(d, MARKS[d]) for d in AT] * 3)[:20], 0.0)
    known, butts = known_of(observations), butts_of(observations=observations)
    wanted = wanted_of(1e-5, observations=observations)
    advice = advise(known, wanted, butts, 1)
    assert (advice.choices <= (1.0 + ALIKE) * advice.choices.min()).all()
    assert advice.safe.all()
    falls = [fall_by_hand(known.covariance, wanted, butts, i, 1) for i in range(AT.size)]
    assert AT[advice.plan[0].index] == AT[int(np.argmax(falls))] == 70.0


def plain_butts(distances, mark, scatter):
    """Butts whose marks are wrong by so much, m, for one and the same unknown."""
    response = np.zeros((len(distances), 6))
    response[:, 0] = mark
    return Butts(
        distance=np.array(distances), response=response, scatter=np.array(scatter, dtype=float)
    )


UNTOUCHED = Known(covariance=np.eye(6), scattered=np.zeros((6, 6)), degrees=8.0)


def test_safe_is_that_arrows_stay_within_half_a_metre():
    # 0.15^2 + 0.2^2 = 0.25^2: the limit.
    butts = plain_butts([20.0] * 5, [0.15, 0.151, 0.15, 0.0, 0.0], [0.2, 0.2, 0.201, 0.249, 0.251])
    assert butts.safe(UNTOUCHED).tolist() == [True, False, False, True, False]
    # Of the arrows of all archers who know as little, 95 % land there.
    rng = np.random.default_rng(1)
    landed = rng.normal(0.0, 0.15, 100_000) + rng.normal(0.0, 0.2, 100_000)
    assert np.mean(np.abs(landed) <= SAFE) == pytest.approx(0.9545, abs=3e-3)
    # What is learned makes safe.
    surer = replace(UNTOUCHED, covariance=0.5 * np.eye(6))
    assert butts.safe(surer).tolist() == [True, True, True, True, False]
    unknown = replace(butts, response=np.full((5, 6), np.nan))
    assert not unknown.safe(UNTOUCHED).any()


def wanted_for(share):
    return Wanted(response=np.eye(1, 6) * 0.4, tolerance=np.array([share]), confidence=0.95)


def test_from_the_near_butts_to_the_far_ones_as_they_become_safe():
    butts = plain_butts([60.0, 20.0, 40.0], [0.4, 0.1, 0.2], [0.1, 0.1, 0.1])
    advice = advise(UNTOUCHED, wanted_for(1e-3), butts, 1)
    assert advice.safe.tolist() == [False, True, True]
    # The far one takes most away, but is not safe before the first end.
    assert advice.choices.argmin() == 0
    assert [end.index for end in advice.plan[:3]] == [2, 0, 0]


def test_where_no_butt_is_safe_it_is_the_nearest():
    butts = plain_butts([60.0, 20.0, 40.0], [0.9, 0.3, 0.6], [0.02, 0.02, 0.02])
    advice = advise(UNTOUCHED, wanted_for(1e-3), butts, 1)
    assert not advice.safe.any()
    assert [end.index for end in advice.plan[:2]] == [1, 0]


@pytest.mark.parametrize(("share", "index"), [(0.951, 1), (0.949, 0)])
def test_as_good_is_within_a_twentieth_of_the_fall(share, index):
    """One unknown of variance 1 and response b: the fall goes with b^2 / (b^2 + s^2)."""
    far = 0.04 / (0.04 + 0.1**2)
    scatter = 0.2 * np.sqrt(1.0 / (share * far) - 1.0)
    butts = plain_butts([60.0, 20.0], [0.2, 0.2], [0.1, scatter])
    assert butts.safe(UNTOUCHED).all()
    assert advise(UNTOUCHED, wanted_for(1e-3), butts, 1).plan[0].index == index


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
