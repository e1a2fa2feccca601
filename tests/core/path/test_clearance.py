"""What the arrow passes: closed forms first, then identities, then brute force."""

from dataclasses import replace

import numpy as np
import pytest
from clearance_setups import ENVELOPE, NOCK_LEAD, PLANES, TARGET, none, patch, shot_of

from arrowloft.core.flight.aimed import LEVER_LEAST
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import reach
from arrowloft.core.path.clear_targets import clear_targets
from arrowloft.core.path.clearance import Loosed
from arrowloft.core.path.patches import margins

# --- passing planes ----------------------------------------------------------------------


def test_parabola_in_a_vacuum():
    """Balance point on y = x tan - g x^2 / (2 v^2 cos^2); tip and nock ahead along v."""
    shot = shot_of(none)
    loosed = Loosed.at(shot, TARGET, NOCK_LEAD)
    angle, speed = loosed.launch_angle, 68.0
    found = loosed.passes(PLANES)
    start = 0.84 * np.array([np.cos(angle), np.sin(angle)])
    start += 0.116 * np.array([np.sin(angle), -np.cos(angle)])
    for lead, up in ((0.3, found.swept.tip_up), (NOCK_LEAD, found.swept.nock_up)):
        for plane, height in zip(PLANES, up, strict=True):
            time = 0.0
            for _ in range(60):  # fixed point: the time at which the end is in the plane
                v = speed * np.array([np.cos(angle), np.sin(angle)]) - [0.0, 9.80665 * time]
                time = (plane - lead * v[0] / np.hypot(*v) - start[0]) / v[0]
            y = start[1] + speed * np.sin(angle) * time - 0.5 * 9.80665 * time**2
            assert height == pytest.approx(y + lead * v[1] / np.hypot(*v), abs=2e-7)
    assert not found.swept.tip_right.any() and not found.swept.nock_right.any()


def test_the_lever_is_the_derivative_of_the_height():
    loosed = Loosed.at(shot_of(slope=0.4), TARGET, NOCK_LEAD)
    step = 2e-3
    higher, lower = (loosed.passes(PLANES, s).swept.tip_up for s in (step, -step))
    assert loosed.passes(PLANES).lever == pytest.approx((higher - lower) / (2 * step), rel=1e-4)
    at_target = loosed.passes(np.array([TARGET]))
    assert at_target.swept.tip_up[0] == pytest.approx(0.0, abs=1e-6)
    assert at_target.lever[0] == pytest.approx(loosed.aimed.lever[0], rel=0.02)


def test_an_aim_known_worse_is_passed_on_by_the_lever():
    loosed = Loosed.at(shot_of(slope=0.4), TARGET, NOCK_LEAD)
    worse = replace(loosed, aimed=replace(loosed.aimed, error=loosed.aimed.error + 1e-3))
    one, other = loosed.passes(PLANES), worse.passes(PLANES)
    assert other.error - one.error == pytest.approx(1e-3 * np.abs(one.lever), rel=1e-9)
    assert np.all(one.error > float(loosed.aimed.error[0]) * np.abs(one.lever))


def test_the_nocks_error_counts_where_the_tip_is_still_on_the_line():
    """A plane that the tip has passed before the launch, exactly known, the nock flies to."""
    loosed = Loosed.at(shot_of(), TARGET, NOCK_LEAD)
    plane, angle = np.array([0.8]), loosed.launch_angle
    tip = impacts(loosed.shot, angle, plane)
    nock = impacts(loosed.shot.with_(tip_lead=NOCK_LEAD), angle, plane)
    assert tip.error[0] == 0.0 < nock.error[0] and nock.time[0] > 0.0
    certain = replace(loosed, aimed=replace(loosed.aimed, error=np.zeros(1)))
    assert certain.passes(plane).error[0] == pytest.approx(nock.error[0], rel=0.5, abs=0.0)


def test_near_the_reach_the_lever_is_held_at_its_least():
    """There the impact hardly rises with the angle: a scatter or a change must not divide by it."""
    shot = shot_of(launch_speed=34.0)
    target = float(reach(shot).distance[0]) * (1.0 - 1e-5)
    loosed = Loosed.at(shot, target, NOCK_LEAD)
    assert abs(loosed.at_target.lever[0]) < 0.5 * LEVER_LEAST * target
    assert loosed.lever == LEVER_LEAST * target


@pytest.mark.parametrize("slope", [0.0, -0.7])
def test_mirrored_wind_mirrors_the_margins(slope):
    there = shot_of(slope=slope, wind_speed=6.0, wind_from=1.1)
    back = there.with_(wind_from=-1.1)
    one, other = (Loosed.at(s, TARGET, NOCK_LEAD).passes(PLANES) for s in (there, back))
    left = patch(bottom=-0.2, left=-0.5, right=-0.06)
    right = patch(bottom=-0.2, left=0.06, right=0.5)
    a, b = margins(one.swept, left, ENVELOPE), margins(other.swept, right, ENVELOPE)
    assert a == pytest.approx(b, abs=1e-9)
    assert not np.allclose(a, margins(one.swept, right, ENVELOPE), atol=1e-3)  # wind matters


# --- what is not known ---------------------------------------------------------------------


def test_height_uncertainty_in_a_vacuum():
    """Start at the eye, flat: h(x) = g x (R - x) / (2 v^2), so a speed off by u moves it by
    g x (R - x) u / v^3; drag plays no part."""
    shot = shot_of(none, peep_height=0.0, launch_forward=0.0, tip_lead=0.0, launch_speed=80.0)
    loosed = Loosed.at(shot, TARGET, 0.0)
    found = loosed.height_uncertainty(PLANES, 0.1, 0.3)
    assert found == pytest.approx(9.80665 * PLANES * (TARGET - PLANES) * 0.1 / 80.0**3, rel=0.01)


def test_height_uncertainty_adds_both_and_ends_at_the_proven_mark():
    loosed = Loosed.at(shot_of(wind_speed=4.0, wind_from=1.0), TARGET, NOCK_LEAD)
    both = loosed.height_uncertainty(PLANES, 0.5, 0.1)
    speed = loosed.height_uncertainty(PLANES, 0.5, 0.0)
    drag = loosed.height_uncertainty(PLANES, 0.0, 0.1)
    assert np.all(speed > 0.0) and np.all(drag > 0.0)
    assert both == pytest.approx(np.hypot(speed, drag))
    assert loosed.height_uncertainty(np.array([TARGET]), 0.5, 0.1)[0] < 1e-6
    assert not loosed.height_uncertainty(PLANES, 0.0, 0.0).any()


# --- aiming off ----------------------------------------------------------------------------


def test_an_arrow_aimed_off_meets_the_middle():
    shot = shot_of(wind_speed=6.0, wind_from=1.3)
    straight, off = (Loosed.at(shot, TARGET, NOCK_LEAD, aim_off=on) for on in (False, True))
    at_target = np.array([TARGET])
    assert straight.passes(at_target).swept.tip_right[0] == pytest.approx(straight.drift)
    assert off.passes(at_target).swept.tip_right[0] == pytest.approx(0.0, abs=1e-7)
    assert off.drift == pytest.approx(0.0, abs=1e-7)
    # On the way it is upwind, to the right, of the one that drifts.
    assert np.all(off.passes(PLANES).swept.tip_right > straight.passes(PLANES).swept.tip_right)


def test_spans_of_an_arrow_aimed_off_end_where_it_touches():
    shot = shot_of(wind_speed=6.0, wind_from=1.3)
    trunk, way = patch(left=0.01), np.array([21.0])
    search = clear_targets(shot, NOCK_LEAD, way, trunk, 0.0028, 110.0, aim_off=True)
    ends = [end for span in search.spans[0] for end in span if way[0] * 1.01 < end < 110.0]
    assert ends
    for target in ends:
        swept = Loosed.at(shot, target, NOCK_LEAD, aim_off=True).passes(way).swept
        assert margins(swept, trunk, 0.0028)[0] == pytest.approx(0.0, abs=2e-6)
