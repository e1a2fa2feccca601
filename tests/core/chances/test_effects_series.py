"""Effects read from series over the distances against those flown at each of them."""

from dataclasses import fields

import numpy as np
import pytest
from cant_setups import shot_of

from arrowloft.core.chances import effects_series as module
from arrowloft.core.chances.aim_errors import AimErrors, Movement
from arrowloft.core.chances.effects import effects
from arrowloft.core.chances.effects_series import CLOSE, KNOTS, effects_over
from arrowloft.core.chances.quadratic_forms import Forms
from arrowloft.core.flight.aim import TooNear
from arrowloft.core.flight.reach import BeyondReach

MANY = np.linspace(10.0, 80.0, 2 * KNOTS + 1)
ALL = AimErrors(
    speed=0.5,
    roll=0.03,
    range=0.5,
    range_share=0.04,
    wind_along=1.0,
    wind_across=1.0,
    mark_distances=np.array([10.0, 80.0]),
    mark_angles=np.array([5e-4, 1e-3]),
    movement=Movement(away=0.5, right=0.3, scatter=0.4, delay=0.05),
)
BLOWN = {"wind_speed": 4.0, "wind_from": 1.0, "slope": 0.2}


def differences(one, other):
    """Greatest difference of any effect, m, and of any time, s."""
    pairs = [(getattr(one.forms, f.name), getattr(other.forms, f.name)) for f in fields(Forms)]
    pairs += [(one.quartic, other.quartic), (one.time, other.time)]
    return max(float(np.abs(left - right).max()) for left, right in pairs)


@pytest.fixture
def flown(monkeypatch):
    """Numbers of distances that were flown, in the order of the calls."""
    sizes = []

    def counting(shot, distance, errors, **options):
        sizes.append(distance.size)
        return effects(shot, distance, errors, **options)

    monkeypatch.setattr(module, "effects", counting)
    return sizes


@pytest.mark.parametrize("members", [{}, BLOWN])
@pytest.mark.parametrize("allowed", [True, False])
def test_they_are_those_of_each_distance(flown, members, allowed) -> None:
    shot = shot_of(**members)
    rows = MANY[::-1]  # in any order
    read = effects_over(shot, rows, ALL, wind_allowed=allowed)
    assert flown == [KNOTS]
    alone = effects(shot, rows, ALL, wind_allowed=allowed)
    missed = differences(read, alone)
    assert missed <= CLOSE
    assert missed <= read.position_error
    assert read.causes == alone.causes
    assert read.known.all() and not read.begins.any() and read.known.size == rows.size


@pytest.mark.parametrize(
    ("distances", "errors"),
    [
        (MANY[:-1], ALL),  # few
        (np.linspace(30.0, 30.1, MANY.size), ALL),  # as good as one
        (MANY, AimErrors(mark_distances=np.array([30.0]), mark_angles=np.array([1e-3]))),
        (MANY, AimErrors(range=4.9)),  # the nearest guess has no mark
        (MANY, AimErrors(movement=Movement(scatter=1.0, delay=0.5))),  # begins on the way
    ],
    ids=["few", "one", "marks", "no mark", "begins"],
)
def test_what_is_not_smooth_is_flown_at_every_distance(flown, distances, errors) -> None:
    shot = shot_of()
    read = effects_over(shot, distances, errors)
    assert flown[-1] == distances.size
    assert differences(read, effects(shot, distances, errors)) == 0.0


def test_series_that_leave_out_too_much_are_not_read(flown, monkeypatch) -> None:
    monkeypatch.setattr(module, "CLOSE", 0.0)
    effects_over(shot_of(), MANY, ALL)
    assert flown == [KNOTS, MANY.size]


@pytest.mark.parametrize(
    ("distances", "refusal"),
    [(np.append(MANY, 2000.0), BeyondReach), (np.append(MANY, 0.5), TooNear)],
)
def test_refusals_name_the_distances_asked_for(distances, refusal) -> None:
    with pytest.raises(refusal) as raised:
        effects_over(shot_of(), distances, ALL)
    assert raised.value.lanes == (MANY.size,)
