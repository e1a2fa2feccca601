"""Slips of the pen: each, made in a sound observation, is found and named."""

from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import YARD, ends, marks, only, plain_shot, prior, scatter, seen, sight

from arrowloft.api.learning.slips import SLIPS
from arrowloft.core.archer.landed import Landed
from arrowloft.core.learning.misfit import Case, judged_calibration
from arrowloft.core.learning.observations import End, SpeedReading
from arrowloft.core.learning.slips import put_right

SHOT, SIGHT = plain_shot(), sight()
MARKS = marks(SHOT, SIGHT, [18.288, 30.0, 40.0, 50.0, 60.0, 70.0])
CASE = Case(shot=SHOT, sight=SIGHT, prior=prior(), scatter=scatter(3e-4), slips=SLIPS)
INCH, FOOT = 0.0254, 0.3048
BY_NAME = {slip.name: slip for slip in SLIPS}
LOW = 3e-3  # the pin stands so much too high, m: the arrows come low by a lever of its own

# What is meant, what is written for it, and the lengths of both.
UNITS = {"inches": INCH, "centimetres": 0.01, "millimetres": 1e-3, "feet": FOOT, "metres": 1.0}
UNITS["yards"] = YARD


def range_day(right=None):
    """Six ends whose pin stands too high, their centres as the set-up has them; a speed."""
    blank = ends(SHOT, {d: travel - LOW for d, travel in MARKS.items()}, 0.0, right)
    blank = [replace(end, windage_travel=2e-3) for end in blank]
    reading = SpeedReading(shot=SHOT, distance=3.0, speed=0.0, uncertainty=0.3)
    where = seen(SHOT, SIGHT, [*blank, reading], prior().values(np.zeros(6)))
    asides = where[6:12] if right is not None else [None] * 6
    found = [
        replace(end, landed=replace(end.landed, up=float(up), right=aside and float(aside)))
        for end, up, aside in zip(blank, where, asides, strict=False)
    ]
    return [*found, replace(reading, speed=float(where[-1]))]


def written(observation, slip):
    """The observation with the slip made in it: the inverse of what puts it right."""
    if isinstance(observation, SpeedReading):
        return replace(observation, speed=observation.speed / slip.factor)
    landed = observation.landed
    if slip.of == "mark":
        return replace(observation, travel=-observation.travel)
    if slip.of == "distance":
        return replace(observation, landed=replace(landed, distance=landed.distance / slip.factor))
    up, aside = landed.up, landed.right
    if slip.of != "side":
        up /= slip.factor
    if slip.of != "height" and aside is not None:
        aside /= slip.factor
    return replace(observation, landed=replace(landed, up=up, right=aside))


def judged(observations, index, slip, case=CASE):
    made = list(observations)
    made[index] = written(made[index], slip)
    return judged_calibration(case, made)


@pytest.mark.parametrize("right", [None, 0.0])
@pytest.mark.parametrize("name", BY_NAME)
def test_a_slip_is_found_and_named_first(name, right):
    slip = BY_NAME[name]
    if right is None and slip.of in ("height", "side"):
        pytest.skip("without a side the sign is that of the height")
    index = 6 if slip.of == "speed" else 4
    found = judged(range_day(right), index, slip)
    assert (found.aside, found.contradicting) == ((index,), ())
    assert found.slips[index][0] == name


@pytest.mark.parametrize("slip", SLIPS, ids=[slip.name for slip in SLIPS])
def test_a_factor_is_that_of_the_units_it_names(slip):
    """One inch, written for what were centimetres, is put right as one centimetre."""
    if "-for-" not in slip.name or slip.of in ("height", "side"):
        assert slip.factor == -1.0
        return
    wrote, meant = slip.name.split("-for-")
    assert slip.factor * UNITS[wrote] == pytest.approx(UNITS[meant], rel=1e-12)


def test_each_slip_changes_what_it_was_made_in_and_nothing_else():
    end = replace(ends(SHOT, {50.0: 0.02}, 0.3, -0.1)[0], windage_travel=1e-3, uncertainty=0.02)
    righted = {slip.name: found for slip, found in put_right(end, SLIPS)}
    assert set(righted) == {slip.name for slip in SLIPS if slip.of != "speed"}
    assert righted["sign-of-mark"] == replace(end, travel=-0.02)
    landed = replace(end.landed, up=-0.3, right=0.1)
    assert righted["sign"] == replace(end, landed=landed)
    assert righted["up-for-down"] == replace(end, landed=replace(end.landed, up=-0.3))
    assert righted["left-for-right"] == replace(end, landed=replace(end.landed, right=0.1))
    far = righted["yards-for-metres"]
    assert far == replace(end, landed=replace(end.landed, distance=far.landed.distance))
    assert far.landed.distance == pytest.approx(50.0 / YARD)
    inches = righted["inches-for-centimetres"].landed
    assert (inches.up, inches.right) == pytest.approx((0.3 / 2.54, -0.1 / 2.54))
    speed = SpeedReading(shot=SHOT, distance=3.0, speed=80.0, uncertainty=1.0)
    found = {slip.name: item for slip, item in put_right(speed, SLIPS)}
    assert set(found) == {"feet-for-metres", "metres-for-feet"}
    assert found["metres-for-feet"] == replace(speed, speed=pytest.approx(24.384))


def test_a_side_not_noted_stays_so():
    for slip, righted in put_right(ends(SHOT, {50.0: 0.02}, 0.3)[0], SLIPS):
        assert righted.landed.right is None
        assert slip.of not in ("height", "side")


def test_nothing_is_offered_where_no_slip_explains():
    observations = range_day(0.0)
    landed = observations[3].landed
    # Far to the side only: no sign and no unit of both makes that good.
    observations[3] = replace(observations[3], landed=replace(landed, right=landed.right + 2.0))
    found = judged_calibration(CASE, observations)
    assert found.aside == (3,)
    assert found.slips == {3: ()}


def test_sound_observations_are_offered_no_slip():
    found = judged_calibration(CASE, range_day(0.0))
    assert (found.aside, found.contradicting, found.slips) == ((), (), {})


def test_each_of_a_contradicting_pair_is_offered_what_would_reconcile_them():
    """Two ends at one distance, 12 cm high and 12 cm low: one of them has the wrong sign."""
    vague = Case(
        shot=SHOT,
        sight=SIGHT,
        prior=prior(zero_uncertainty=0.05),
        scatter=scatter(3e-4),
        slips=SLIPS,
    )
    pair = ends(SHOT, [(50.0, MARKS[50.0])] * 2, [0.12, -0.12])
    found = judged_calibration(vague, pair)
    assert (found.aside, found.contradicting) == ((), (0, 1))
    assert found.slips[0][0] == found.slips[1][0] == "sign"


def test_a_single_end_far_from_the_prior_is_offered_its_slip():
    exact = Case(shot=SHOT, sight=SIGHT, prior=only(), scatter=scatter(3e-4), slips=SLIPS)
    end = range_day()[4]
    found = judged_calibration(exact, [written(end, BY_NAME["sign"])])
    assert found.aside == (0,)
    assert found.kept == ()
    assert found.slips[0] == ("sign",)


@pytest.mark.parametrize(("off", "explained"), [(1.95, True), (1.97, False)])
def test_a_slip_explains_what_it_leaves_within_19_chances_of_20(off, explained):
    """An inch for a centimetre, which leaves so many standard uncertainties."""
    exact = Case(shot=SHOT, sight=SIGHT, prior=only(), scatter=scatter(1e-3), slips=SLIPS)
    landed = Landed(distance=50.0, up=off * 0.05 * 2.54)
    found = judged_calibration(exact, [End(shot=SHOT, landed=landed, travel=MARKS[50.0])])
    assert found.contradicting == (0,)
    assert ("inches-for-centimetres" in found.slips[0]) is explained


def test_the_likeliest_slip_comes_first():
    """90 cm low, to be within 20 cm of the aim point: several would do, the smallest best."""
    low = 0.9
    end = End(shot=SHOT, landed=Landed(distance=50.0, up=-low), travel=MARKS[50.0])
    exact = Case(shot=SHOT, sight=SIGHT, prior=only(), scatter=scatter(2e-3), slips=SLIPS)
    found = judged_calibration(exact, [end])
    assert found.aside == (0,)
    left = {slip.name: abs(low * slip.factor) for slip in SLIPS if slip.of == "impact"}
    explains = sorted((off, name) for name, off in left.items() if off < 1.96 * 0.1)
    assert len(explains) > 1
    assert list(found.slips[0]) == [name for _, name in explains]
