"""Heights over distance and angle: a parabola without drag, single flights with it, and back."""

import numpy as np
import pytest
from clearance_setups import none, shot_of, steady

from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.sight.held_heights import LEFT_OUT, WORST, Fit, HeldHeights, loosed

ANGLES = (0.01, 0.07)
WAYS = np.linspace(4.0, 70.0, 41)


def ramp(flow, arrow):
    """Drag that begins to fall on the way, and stops."""
    share = np.clip((flow.reynolds(arrow.shaft_diameter) - 2.3e4) / 1e3, 0.0, 1.0)
    return (1.2 + share) * cross_section(arrow)


def test_a_parabola_without_drag():
    """H = x tan(a) - g x^2 / (2 v^2 cos^2 a) from the eye (closed form)."""
    shot = shot_of(none, launch_speed=60.0, peep_height=0.0, launch_forward=0.0, tip_lead=0.0)
    held = HeldHeights.flown(shot, (4.0, 70.0), ANGLES)
    angle = np.linspace(*ANGLES, 5)
    fall = shot.gravity * WAYS**2 / (2.0 * (60.0 * np.cos(angle[:, None])) ** 2)
    exact = WAYS * np.tan(angle)[:, None] - fall
    assert held.at(WAYS, angle) == pytest.approx(exact, abs=1e-6)
    assert held.pairs(WAYS[:5], angle) == pytest.approx(np.diag(exact[:, :5]), abs=1e-6)
    assert np.abs(held.at(WAYS, angle) - exact).max() <= held.error


@pytest.mark.parametrize("law", [steady, ramp])
def test_single_flights_are_no_farther_off_than_said(law):
    shot = shot_of(law, slope=0.4, wind_speed=6.0, wind_from=0.5, kinks=(2.3e4, 2.4e4))
    held = HeldHeights.flown(shot, (4.0, 70.0), ANGLES)
    for angle in (0.01, 0.0333, 0.07):
        met = impacts(shot, angle, WAYS)
        missed = np.abs(held.at(WAYS, np.array([angle]))[0] - met.up)
        assert missed.max() <= held.error < 1e-4
        assert held.airspeed_range[0] - 0.1 <= met.airspeed_range[0]
        assert met.airspeed_range[1] <= held.airspeed_range[1] + 0.1


def test_the_inverse_gives_the_angle_of_a_height():
    held = HeldHeights.flown(shot_of(steady), (4.0, 70.0), ANGLES)
    inverse = held.inverse(WAYS)
    for angle in (ANGLES[0], 0.02, 0.0456, ANGLES[1]):
        heights = held.at(WAYS, np.array([angle]))[0]
        assert inverse.at(heights) == pytest.approx(angle, abs=1e-9)


def test_bounds_keep_within_a_height_and_inside_the_table():
    """A table between the marks' own angles holds every mark."""
    shot = shot_of(steady)
    marks = aim(shot, WAYS).launch_angle
    ends = float(marks.min()), float(marks.max())
    held = HeldHeights.flown(shot, (4.0, 70.0), ends)
    low, high = held.inverse(WAYS).bounds(np.full(WAYS.size, 0.2))
    assert (low <= marks + 1e-9).all() and (marks <= high + 1e-9).all()
    for angle, height, end in ((low, -0.2, ends[0]), (high, 0.2, ends[1])):
        met, cut = held.pairs(WAYS, angle), np.abs(angle - end) < 1e-9
        assert met[~cut] == pytest.approx(height, abs=1e-8)
        assert cut.any() and not cut.all()
        assert (np.abs(met[cut]) <= 0.2 + 1e-8).all()


def test_of_ever_finer_series_the_first_good_one_is_taken_or_else_the_last():
    met = loosed(shot_of(steady), np.array([0.02, 0.03]), np.array([20.0, 60.0]))

    def taken(*missed):
        return Fit.good(Fit(series=np.zeros(1), missed=one, flown=met) for one in missed)

    good, fair = 0.5 * LEFT_OUT, 0.5 * WORST
    assert taken(2.0 * WORST, fair, good, 0.1 * good).missed == good
    assert taken(2.0 * WORST, fair).missed == fair
    assert taken(fair).error == fair + met.error.max() > fair
    for coarse in (2.0 * WORST, np.nan):
        with pytest.raises(Unsolved):
            taken(fair, coarse)


def test_where_a_higher_angle_brings_it_lower_there_is_no_inverse():
    """Beyond 45 degrees, without drag and from the eye."""
    shot = shot_of(none, launch_speed=25.0, peep_height=0.0, launch_forward=0.0, tip_lead=0.0)
    held = HeldHeights.flown(shot, (5.0, 55.0), (0.5, 0.9))
    with pytest.raises(Unsolved):
        held.inverse(WAYS[WAYS < 55.0])
    assert held.inverse(np.array([10.0])).at(np.array([2.0])).shape == (1,)


def test_an_arrow_that_never_comes_there_is_refused():
    steep = shot_of(none, slope=1.0, launch_speed=20.0)
    with pytest.raises(Unsolved):
        HeldHeights.flown(steep, (2.0, 30.0), (0.0, 0.4))
