"""Where words change: each limit by its figure, from either side."""

from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import (
    ends,
    marks,
    parabola,
    plain_shot,
    prior,
    scatter,
    sight,
    vacuum,
)
from scipy import stats

from arrowloft.api.learning.calibration_reply import status_of
from arrowloft.core.archer.archer_scatter import ArcherScatter, Scatter
from arrowloft.core.archer.groups import Group
from arrowloft.core.archer.landed import Landed
from arrowloft.core.archer.odd_scatters import odd_scatters
from arrowloft.core.chances.budget_inputs import Draw, Input, click_input, draw_input, usual_inputs
from arrowloft.core.chances.error_budget import error_budget
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.learning.calibration import calibrate
from arrowloft.core.learning.corrected_marks import corrected_marks, mark_response
from arrowloft.core.learning.corrections import corrections
from arrowloft.core.learning.next_shots import Butts, Known, Wanted, advise
from arrowloft.core.learning.sight_shift import sight_shift

SHOT, SIGHT = plain_shot(), sight()
NOTHING = calibrate(SHOT, SIGHT, prior(), [], scatter())


# What an end asks for


@pytest.mark.parametrize(("off", "beyond"), [(1.955, False), (1.965, True)])
def test_a_centre_is_beyond_the_scatter_once_in_twenty(off, beyond):
    """1.960 standard uncertainties of a normal distribution hold 95 in a hundred."""
    away = off * 1e-3 * 50.0 / np.sqrt(3.0)
    end = ends(SHOT, marks(SHOT, SIGHT, [50.0]), away, -away)
    found = corrections(NOTHING, SHOT, SIGHT, end, scatter())
    assert found.beyond_scatter.tolist() == found.windage_beyond_scatter.tolist() == [beyond]


def test_a_steep_arrow_needs_more_windage():
    """A pin W to the right yaws by b, tan(b) = -W cos(a) / r: at 27 degrees 11 % less."""
    distance = 130.0
    slow = plain_shot(launch_speed=40.0, drag=vacuum, launch_forward=0.0, tip_lead=0.0)
    angle = float(aim(slow, np.array([distance])).launch_angle[0])
    assert np.cos(angle) < 0.9
    fit = calibrate(slow, SIGHT, prior(speed=40.0), [], scatter())
    yaw = 1e-3
    up, right = parabola(angle, distance, 40.0, 0.115, yaw)
    end = ends(slow, marks(slow, SIGHT, [distance]), up, right)
    found = corrections(fit, slow, SIGHT, end, scatter())
    nudge = 0.86 * np.tan(yaw) / np.cos(angle)
    assert found.windage_nudge == pytest.approx([nudge], rel=1e-3)
    centre = 1e-3 * distance / np.sqrt(3.0)
    doubt = 0.86 * centre / distance / np.cos(angle)
    assert found.windage_nudge_uncertainty == pytest.approx([doubt], rel=1e-3)


# Scatters


@pytest.mark.parametrize(("share", "odd"), [(0.99, []), (1.01, [0])])
def test_a_sound_scatter_is_odd_once_in_two_hundred(share, odd):
    """Both tails of one axis that two are looked at for: a quarter of 0.005 in the upper one."""
    limit = np.sqrt(stats.f(5, 12).isf(0.00125))
    group = Group(distance=50.0, vertical=0.05, sideways=0.05, arrows=13)
    end = Landed.of_deviations(50.0, 0.0, 0.0, 6, 0.05 * limit * share)
    assert odd_scatters([end], group) == odd


# Advice


def test_a_plan_looks_twelve_ends_ahead():
    """Six arrows an end lessen one unknown's variance to 1 / (1 + 6 n): never to a hundredth."""
    response = np.eye(1, 6)
    butts = Butts(distance=np.array([20.0]), response=0.02 * response, scatter=np.array([0.02]))
    known = Known(covariance=np.eye(6), scattered=np.zeros((6, 6)), degrees=np.inf)

    def plan(tolerance):
        wanted = Wanted(response=0.02 * response, tolerance=np.array([tolerance]), confidence=0.95)
        return advise(known, wanted, butts, 6)

    def limit(arrows):
        return stats.norm.ppf(0.975) * 0.02 / np.sqrt(1.0 + arrows)

    last, beyond = plan(1.0001 * limit(72)), plan(0.9999 * limit(72))
    assert (len(last.plan), last.arrows, last.enough) == (12, 72, True)
    assert (len(beyond.plan), beyond.arrows, beyond.enough) == (12, 72, False)
    assert len(plan(1.0001 * limit(66)).plan) == 11


# What was learned


@pytest.mark.parametrize(
    ("share", "word"),
    [(0.501, "learned"), (0.499, "partly"), (0.101, "partly"), (0.099, "prior"), (0.0, "prior")],
)
def test_words_of_what_was_learned(share, word):
    """Shares of the prior variance that are gone; what was known exactly is not learned."""
    fit = calibrate(SHOT, SIGHT, prior(radius_uncertainty=0.0), [], scatter())
    fit = replace(fit, covariance=np.diag([1.0 - share] * 6))
    assert status_of(fit) == [word] * 3 + ["fixed"] + [word] * 2


# The error budget


def moves(scatter, by):
    """An input that shifts the impact right by as much as `by` has it, m."""
    return Input(
        change=lambda held, delta: replace(held, right=by(delta)), step=1e-5, scatter=scatter
    )


def bend(share, scatter, side):
    """A straight line, but from half a standard deviation on to one side of zero."""

    def by(delta):
        far = side * delta > 0.5 * scatter
        return delta + np.where(far, share * scatter * side, 0.0)

    return moves(scatter, by)


def straight(scatter):
    return moves(scatter, lambda delta: delta + 0.0)


@pytest.mark.parametrize("side", [-1.0, 1.0])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize(("share", "told"), [(0.098, False), (0.102, True)])
def test_a_tenth_off_the_straight_line_is_bent_on_either_side(share, told, side, sign):
    inputs = {"bent": bend(sign * share, 0.01, side), "straight": straight(0.01)}
    found = error_budget(SHOT, np.array([20.0, 50.0]), inputs)
    assert found.bent.tolist() == [[told] * 2, [False] * 2]
    assert found.up[0] == pytest.approx([0.0, 0.0], abs=1e-5)
    assert found.right == pytest.approx(np.ones((2, 2)), rel=1e-5)


@pytest.mark.parametrize("side", [-1.0, 1.0])
@pytest.mark.parametrize(("share", "told"), [(0.98, False), (1.02, True)])
def test_what_is_lost_in_a_hundredth_of_all_scatter_is_not_told(share, told, side):
    """Another input scatters fifty times as wide: half of this one's deviation is lost in it."""
    whole = np.hypot(0.01, 0.5)
    inputs = {"bent": bend(share * 0.01 * whole / 0.01, 0.01, side), "wide": straight(0.5)}
    found = error_budget(SHOT, np.array([50.0]), inputs)
    assert found.bent.tolist() == [[told], [False]]
    alone = error_budget(SHOT, np.array([50.0]), {"bent": inputs["bent"]})
    assert alone.bent.tolist() == [[True]]


def test_what_stays_through_an_end_moves_the_group_and_does_not_widen_it():
    draw = Draw(speed=lambda length: 84.0 * length / 0.7, length=0.7, carries=True)
    inputs = usual_inputs(SHOT, 0.86, None)
    inputs |= {"click": click_input(0.86, 1e-4), "draw": draw_input(0.86, draw)}
    still = {"range", "slope", "temperature", "pressure", "click"}
    assert {name for name, item in inputs.items() if not item.widens} == still
    known = {name: item.scatter for name, item in inputs.items() if item.scatter is not None}
    assert known == {"click": pytest.approx(np.sqrt(1.0 / 12.0))}


# What was flown, and where


@pytest.mark.parametrize(("up", "right"), [(-0.8, None), (0.8, None), (-0.8, 1.5), (0.8, -1.5)])
@pytest.mark.parametrize("wind", [0.0, 12.0])
def test_the_airspeeds_of_a_shift_are_those_of_the_mark_and_of_the_centre(up, right, wind):
    shot = plain_shot(wind_speed=wind, wind_from=1.2)
    by = ArcherScatter(
        vertical=Scatter(deviation=1e-3, degrees=9.0),
        sideways=Scatter(deviation=1e-3, degrees=9.0),
        assumed=False,
    )
    landed = Landed(distance=60.0, up=up, right=right, arrows=6)
    found = sight_shift(shot, SIGHT, landed, by)
    aimed = aim(shot, np.full(2, 60.0), windage=np.array([True, False]))
    centre = impacts(shot, np.array([found.landed_angle]), 60.0, yaw=np.array([found.landed_yaw]))
    least, greatest = found.airspeed_range
    assert least <= min(float(aimed.least_airspeed.min()), centre.airspeed_range[0]) + 1e-9
    assert greatest >= max(float(aimed.greatest_airspeed.max()), centre.airspeed_range[1]) - 1e-9
    assert least == pytest.approx(float(aimed.least_airspeed.min()), rel=0.02)


# Marks at equal distances


@pytest.mark.parametrize("count", [9, 10, 30])
def test_marks_at_as_many_equal_distances_are_all_the_one(count):
    """Nothing is read between distances that do not differ."""
    one = corrected_marks(NOTHING, SHOT, SIGHT, np.array([50.0]))
    for spread in (0.0, 1e-6):
        distances = 50.0 + spread * np.arange(count) / count
        found = corrected_marks(NOTHING, SHOT, SIGHT, distances)
        assert found.travel == pytest.approx(np.full(count, one.travel[0]), abs=1e-8)
        assert found.uncertainty == pytest.approx(np.full(count, one.uncertainty[0]), rel=1e-6)
        response = mark_response(SHOT, SIGHT, distances)
        assert response == pytest.approx(
            np.tile(mark_response(SHOT, SIGHT, np.array([50.0])), (count, 1)), rel=1e-5, abs=1e-9
        )
