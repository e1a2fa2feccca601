"""What the arrow passes, held against SciPy's DOP853 in the world frame, aim included.

The oracle aims by its own secant steps and flies a tip at `tip_lead`, then a nock at
-balance_point, to each plane. Every position must agree within 1e-5 m.
"""

import numpy as np
import pytest

from arrowloft.core.path.clear_targets import clear_targets, farthest_target
from arrowloft.core.path.clearance import Loosed
from arrowloft.core.path.ground import Ground
from arrowloft.core.path.patches import Patches, Swept, margins
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.shot import Shot
from arrowloft.plugin import Registry, guarded_kinks, guarded_law

WITHIN = 1e-5  # m
TARGET = 62.0
NOCK_LEAD = -0.41
ENVELOPE = 0.0125
PLANES = np.array([3.0, 21.0, 47.0, 61.0])
AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
ARROW = Arrow(mass=0.0231, shaft_diameter=0.0056, length=0.72, balance_point=-NOCK_LEAD)

SETUPS = {
    "level, slow": {"launch_speed": 46.0},
    "up 40, cross wind": {
        "slope": np.radians(40.0),
        "wind_speed": 9.0,
        "wind_from": np.pi / 2,
    },
    "down 50, oblique wind": {
        "slope": np.radians(-50.0),
        "wind_speed": 7.0,
        "wind_from": 4.0,
        "launch_speed": 91.0,
    },
}


def shot_of(name, **changes):
    registry = Registry.discover()
    model = registry.build("drag", name, registry.get("drag", name).example)
    members = {
        "launch_speed": 71.0,
        "arrow": ARROW,
        "drag": guarded_law(model),
        "kinks": guarded_kinks(model),
        "air": AIR,
        "peep_height": 0.117,
        "launch_forward": 0.86,
        "tip_lead": 0.31,
    }
    return Shot(**{**members, **changes})


def swept_by(independent, shot, angle, planes):
    """Tip's up and right, nock's up and right, from the oracle, (4, planes)."""
    tip = [independent.fly(shot, angle, d).tip[1:] for d in planes]
    nock = [independent.fly(shot.with_(tip_lead=NOCK_LEAD), angle, d).tip[1:] for d in planes]
    return np.concatenate((np.array(tip).T, np.array(nock).T))


def rows_of(swept):
    return np.array((swept.tip_up, swept.tip_right, swept.nock_up, swept.nock_right))


@pytest.mark.parametrize("setup", SETUPS.values(), ids=SETUPS.keys())
@pytest.mark.parametrize("name", Registry.discover().names("drag"))
def test_tip_and_nock_pass_where_the_oracle_has_them(independent, name, setup):
    shot = shot_of(name, **setup)
    found = Loosed.at(shot, TARGET, NOCK_LEAD).passes(PLANES)
    angle = independent.aim(shot, TARGET).angle
    theirs = swept_by(independent, shot, angle, PLANES)
    missed = np.abs(rows_of(found.swept) - theirs)
    assert missed.max() <= WITHIN
    assert np.all(found.error > 0.0)
    assert np.all(missed.max(axis=0) <= found.error + 1e-10), "the estimate must cover the error"
    assert found.error.max() <= WITHIN


def test_the_wind_lays_tip_and_nock_side_by_side(independent):
    """The arrow lies along its airspeed: about length x wind / speed apart, in the oracle too."""
    shot = shot_of("constant", **SETUPS["up 40, cross wind"])
    swept = Loosed.at(shot, TARGET, NOCK_LEAD).passes(PLANES).swept
    apart = swept.tip_right - swept.nock_right
    assert np.all(apart > 0.03)
    theirs = swept_by(independent, shot, independent.aim(shot, TARGET).angle, PLANES)
    assert apart == pytest.approx(theirs[1] - theirs[3], abs=WITHIN)


@pytest.mark.parametrize("setup", SETUPS.values(), ids=SETUPS.keys())
def test_points_between_tip_and_nock_keep_to_the_segment(independent, setup):
    """What the straight segment leaves out: g L^2 / (8 v^2), and a tenth of a millimetre more."""
    shot = shot_of("constant", **setup)
    loosed = Loosed.at(shot, TARGET, NOCK_LEAD)
    swept = loosed.passes(PLANES).swept
    bow = 9.81 * 0.72**2 / (8.0 * shot.launch_speed**2)
    for lane, plane in enumerate(PLANES):
        for lead in (-0.2, 0.0, 0.15):
            part = independent.fly(shot.with_(tip_lead=lead), loosed.launch_angle, plane).tip
            point = Patches(
                bottom=np.array([part[1] - 1e-9]),
                top=np.array([part[1] + 1e-9]),
                left=np.array([part[2] - 1e-9]),
                right=np.array([part[2] + 1e-9]),
            )
            one = swept.take(slice(lane, lane + 1))
            assert margins(one, point, 0.0)[0] <= 2.0 * bow + 1e-4


@pytest.mark.parametrize("name", ["constant", "table"])
def test_a_span_of_targets_ends_where_the_oracle_touches(independent, name):
    shot = shot_of(name, **SETUPS["down 50, oblique wind"])
    distance, bottom = 24.0, 0.35
    branch = Patches(
        bottom=np.array([bottom]),
        top=np.array([np.inf]),
        left=np.array([-np.inf]),
        right=np.array([np.inf]),
    )
    farthest = farthest_target(shot, 140.0)
    search = clear_targets(shot, NOCK_LEAD, np.array([distance]), branch, ENVELOPE, farthest)
    ((start, end),) = search.spans[0]
    assert start == pytest.approx(1.001 * distance)
    assert distance < end < farthest
    angle = independent.aim(shot, end).angle
    rows = swept_by(independent, shot, angle, [distance])
    swept = Swept(tip_up=rows[0], tip_right=rows[1], nock_up=rows[2], nock_right=rows[3])
    missed = abs(float(margins(swept, branch, ENVELOPE)[0]))
    assert missed <= WITHIN
    assert search.error > 0.0
    assert missed <= search.error + 1e-10, "the estimate must cover the error"


def test_heights_above_the_ground_in_the_world_frame(independent):
    """Downhill, over a rise: the oracle's world coordinates against lines drawn by hand."""
    shot = shot_of("constant", **SETUPS["down 50, oblique wind"])
    eye, at_target, rise = 1.6, 1.2, 0.5
    loosed = Loosed.at(shot, TARGET, NOCK_LEAD)
    ground = Ground.under(shot.slope, TARGET, eye, at_target, ((30.0, rise),))
    planes = np.array([10.0, 45.0])
    swept = loosed.passes(planes).swept
    frame = independent.axes(shot)
    for lane, plane in enumerate(planes):
        tip = independent.fly(shot, loosed.launch_angle, plane).tip
        x, y = tip @ frame[:, :2]
        ends = np.array([0.0, 30.0, TARGET]) * np.cos(shot.slope)
        foot = TARGET * np.sin(shot.slope) - at_target
        middle = -eye + (foot + eye) * 30.0 / TARGET + rise
        expected = y - np.interp(x, ends, [-eye, middle, foot])
        height = ground.height(planes[lane : lane + 1], swept.tip_up[lane : lane + 1])[0]
        assert height == pytest.approx(expected, abs=WITHIN)


def test_the_lowered_arrow_arrives_that_much_lower(independent):
    shot = shot_of("component", **SETUPS["up 40, cross wind"])
    loosed = Loosed.at(shot, TARGET, NOCK_LEAD)
    angle = loosed.launch_angle + loosed.lowered(0.61)
    assert independent.fly(shot, angle, TARGET).tip[1] == pytest.approx(-0.61, abs=WITHIN)
