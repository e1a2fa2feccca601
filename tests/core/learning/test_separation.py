"""Whether observations tell speed and drag apart: closed forms, blind directions, what would."""

import math
from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import YARD, ends, marks, only, plain_shot, prior, scatter, sight

from arrowloft.core.learning.calibration import calibrate
from arrowloft.core.learning.corrected_marks import corrected_marks
from arrowloft.core.learning.next_shots import Butts
from arrowloft.core.learning.observations import SpeedReading
from arrowloft.core.learning.separation import (
    TELLING,
    Separation,
    arrival_reading,
    prospects,
    separation,
    speed_reading,
)
from arrowloft.core.learning.unknowns import DRAG, SPEED

SIGHT = sight()


def proven(*distances, before=None, spread=None, arrows=12):
    """A calibration by marks that are right at these distances, each shown by an end."""
    places = marks(plain_shot(), SIGHT, distances)
    several = ends(plain_shot(), places, 0.0, arrows=arrows)
    return calibrate(plain_shot(), SIGHT, before or prior(), several, spread or scatter())


def test_two_marks_cannot_tell_speed_and_drag():
    found = separation(proven(20 * YARD, 60 * YARD))
    assert math.isinf(found.speed)
    assert math.isinf(found.drag)
    assert math.isnan(found.correlation)
    assert not found.told
    # Nor can three, unless arrows without number tell them.
    found = separation(proven(20 * YARD, 40 * YARD, 60 * YARD))
    assert found.speed > TELLING[SPEED]
    assert found.drag > TELLING[DRAG]
    assert found.correlation > 0.9


def test_a_chronograph_tells_them():
    fit = proven(20 * YARD, 80 * YARD, spread=scatter(4e-4))
    assert not separation(fit).told
    # 0.2 % of the speed: as it repeats (Tuijn and Kooi).
    with_one = separation(fit, speed_reading(fit, 0.002 * 84.0))
    assert with_one.told
    assert with_one.speed == pytest.approx(0.002, rel=1e-6)
    # A poor one does not.
    assert not separation(fit, speed_reading(fit, 0.03 * 84.0)).told


def test_what_might_be_read_is_what_is_read():
    # At the end of the string: 0.1 m before it, the drag takes 0.01 % of the speed.
    reading = SpeedReading(shot=plain_shot(), distance=1.1, speed=84.0, uncertainty=0.5)
    places = marks(plain_shot(), SIGHT, [20 * YARD, 60 * YARD])
    without = calibrate(plain_shot(), SIGHT, prior(), ends(plain_shot(), places, 0.0), scatter())
    read = calibrate(
        plain_shot(), SIGHT, prior(), [*ends(plain_shot(), places, 0.0), reading], scatter()
    )
    row = speed_reading(without, 0.5)
    assert row == pytest.approx(read.design[-1], rel=1e-3, abs=1e-2)
    found, foretold = separation(read), separation(without, row)
    assert found.speed == pytest.approx(foretold.speed, rel=1e-2)
    assert found.drag == pytest.approx(foretold.drag, rel=1e-2)


def test_a_reading_on_arrival_foretold_is_the_one_read():
    # Along a path so flat that its length is the distance's: 60 m less 1 m of the bow's.
    reading = SpeedReading(shot=plain_shot(), distance=61.0, speed=75.0, uncertainty=0.5)
    fit = calibrate(plain_shot(), SIGHT, prior(), [reading], scatter())
    row = arrival_reading(fit, float(fit.predicted[0]), 0.5)
    assert row[:2] == pytest.approx(fit.design[0, :2], rel=2e-2)
    assert row[2:].tolist() == [0.0] * 4


def test_prospects_are_what_would_be_told():
    fit = proven(20 * YARD, 60 * YARD)
    at = np.array([30.0, 90.0, 50.0])
    places = marks(plain_shot(), SIGHT, at)
    response = corrected_marks(fit, plain_shot(), SIGHT, at).height_response
    butts = Butts(distance=at, response=response, scatter=1e-3 * at)
    speeds = np.array([80.0, 71.0, 77.0])
    launch, both, arrows = prospects(fit, butts, 6, speeds)
    assert (launch.kind, launch.index) == ("speed-reading", None)
    assert launch.then == separation(fit, speed_reading(fit))
    assert (both.kind, both.index) == ("two-speed-readings", 1)
    assert both.then == separation(fit, speed_reading(fit), arrival_reading(fit, 71.0))
    assert both.then.drag < launch.then.drag
    # Arrows at each of the butts, fitted with the others: the farthest tell most.
    more = [
        ends(plain_shot(), {distance: places[distance]}, 0.0, arrows=6) for distance in at.tolist()
    ]
    old = ends(plain_shot(), marks(plain_shot(), SIGHT, [20 * YARD, 60 * YARD]), 0.0, arrows=12)
    then = [
        separation(calibrate(plain_shot(), SIGHT, prior(), [*old, *end], scatter())) for end in more
    ]
    assert (arrows.kind, arrows.index) == ("arrows", int(np.argmin([item.drag for item in then])))
    assert arrows.then.drag == pytest.approx(min(item.drag for item in then), rel=0.02)


def test_of_speed_and_drag_alone_it_is_the_inverse_of_two_by_two():
    fit = proven(20 * YARD, 40.0, 65.0, 80.0, before=only("speed", "drag"))
    own = fit.design[:, : DRAG + 1] / np.array([0.035, 0.3])
    a, b, c = own[:, 0] @ own[:, 0], own[:, 1] @ own[:, 1], own[:, 0] @ own[:, 1]
    left = a * b - c * c
    found = separation(fit)
    assert found.speed == pytest.approx(math.sqrt(b / left), rel=1e-6)
    assert found.drag == pytest.approx(math.sqrt(a / left), rel=1e-6)
    assert found.correlation == pytest.approx(-c / math.sqrt(a * b), rel=1e-6)
    assert found.correlation > 0.95


def test_priors_of_speed_and_drag_are_of_no_account():
    distances = (25.0, 45.0, 65.0, 90.0)
    some = separation(proven(*distances))
    wider = separation(
        proven(*distances, before=prior(speed_uncertainty=0.049, drag_uncertainty=0.6))
    )
    assert wider.speed == pytest.approx(some.speed, rel=1e-3)
    assert wider.drag == pytest.approx(some.drag, rel=1e-3)
    # Those of the sight are: known better, it tells more.
    sharp = separation(
        proven(*distances, before=prior(radius_uncertainty=1e-4, zero_uncertainty=1e-5))
    )
    assert sharp.speed < 0.8 * some.speed


def test_with_the_priors_the_fit_knows_more_than_the_observations_alone():
    fit = proven(25.0, 45.0, 65.0, 90.0)
    found = separation(fit)
    assert fit.uncertainties[SPEED] / fit.values[SPEED] < found.speed
    assert fit.uncertainties[DRAG] / fit.values[DRAG] < found.drag


def test_without_observations_nothing_is_told():
    found = separation(calibrate(plain_shot(), SIGHT, prior(), [], scatter()))
    assert math.isinf(found.speed)
    assert math.isinf(found.drag)
    assert math.isnan(found.correlation)
    assert not found.told


def test_a_speed_alone_tells_the_speed_alone():
    nothing = calibrate(plain_shot(), SIGHT, prior(), [], scatter())
    found = separation(nothing, speed_reading(nothing, 0.42))
    assert found.speed == pytest.approx(0.42 / 84.0, rel=1e-9)
    assert math.isinf(found.drag)
    assert not found.told
    # A second bow's length of flight away: they differ by the drag on the way.
    far = SpeedReading(shot=plain_shot(), distance=61.0, speed=75.0, uncertainty=0.42)
    both = calibrate(plain_shot(), SIGHT, prior(), [replace(far, distance=1.1), far], scatter())
    assert math.isfinite(separation(both).drag)


@pytest.mark.parametrize(("known", "other"), [("speed", "drag"), ("drag", "speed")])
def test_what_is_known_exactly_is_told(known, other):
    before = prior(**{f"{known}_uncertainty": 0.0})
    fit = proven(20 * YARD, 60 * YARD, before=before)
    found = separation(fit)
    assert getattr(found, known) == 0.0
    assert 0.0 < getattr(found, other) < math.inf
    assert math.isnan(found.correlation)
    nothing = separation(calibrate(plain_shot(), SIGHT, before, [], scatter()))
    assert getattr(nothing, known) == 0.0
    assert math.isinf(getattr(nothing, other))


@pytest.mark.parametrize(
    ("speed", "drag", "told"),
    [(0.02, 0.15, True), (0.021, 0.1, False), (0.01, 0.16, False), (0.0, 0.0, True)],
)
def test_told_is_both(speed, drag, told):
    assert Separation(speed=speed, drag=drag, correlation=0.0).told is told
