"""Impacts: closed forms without drag, the arrow's line on the string, agreement with aim."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arrowloft.core.flight import impacts as module
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.geometry import arrow_line, gravity_vector
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.flight.stepping import integrate
from arrowloft.core.flight.trajectory import trajectory
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.shot import Shot

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
ARROW = Arrow(mass=0.022, shaft_diameter=0.0056)


def vacuum(flow, arrow):
    return np.zeros(flow.airspeed.shape)


def steady(flow, arrow):
    return 1.9 * cross_section(arrow) + np.zeros(flow.airspeed.shape)


def ramp(flow, arrow):
    """Laminar to turbulent in a straight line: kinks at 1.8e4 and 1.9e4."""
    share = np.clip((flow.reynolds(arrow.shaft_diameter) - 1.8e4) / 1e3, 0.0, 1.0)
    return (1.3 + 1.3 * share) * cross_section(arrow)


def shot_of(drag=steady, **changes):
    values = {"launch_speed": 60.0, "peep_height": 0.11, "kinks": (), **changes}
    return Shot(arrow=ARROW, drag=drag, air=AIR, **values)


WINDY = {
    "wind_speed": 7.0,
    "wind_from": 1.0,
    "slope": 0.3,
    "tip_lead": 0.35,
    "launch_forward": 0.9,
}
SETUPS = pytest.mark.parametrize(
    "changes", [{}, WINDY, WINDY | {"slope": -0.9, "wind_from": 4.0}, {"tip_lead": -0.2}]
)


def same(one, other, within=3e-8):
    """Every member of both agrees, lane by lane."""
    for name in ("up", "right", "time", "angle"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), abs=within, nan_ok=True)
    for name in ("speed", "least_airspeed", "greatest_airspeed"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), abs=1e-6, nan_ok=True)


# --- without drag: a parabola (exact, derived) ---------------------------------------------


def parabola(shot, angle, plane, yaw=0.0):
    """Impact (up, right), time and velocity of a weightless-drag flight without a tip lead."""
    line, up = arrow_line(np.array([angle]), yaw, shot.roll)
    place = (shot.launch_forward * line - shot.peep_height * up)[:, 0]
    velocity = shot.launch_speed * line[:, 0]
    pull = np.array(gravity_vector(shot.gravity, shot.slope), dtype=float)
    # The low root of place + velocity t + pull t^2 / 2 = plane, in a form that keeps digits.
    gap = plane - place[0]
    time = 2.0 * gap / (velocity[0] + np.sqrt(velocity[0] ** 2 + 2.0 * pull[0] * gap))
    return (place + velocity * time + 0.5 * pull * time**2)[1:], time, velocity + pull * time


@settings(max_examples=80, deadline=None)
@given(
    speed=st.floats(30.0, 120.0),
    angle=st.floats(-0.3, np.pi / 4),
    yaw=st.floats(-0.1, 0.1),
    roll=st.floats(-np.pi / 4, np.pi / 4),
    slope=st.floats(-np.pi / 3, np.pi / 3),
    share=st.floats(0.01, 0.9),
)
def test_a_vacuum_gives_a_parabola(speed, angle, yaw, roll, slope, share):
    shot = shot_of(vacuum, launch_speed=speed, roll=roll, slope=slope, launch_forward=0.8)
    ahead = speed * arrow_line(np.array([angle]), yaw, roll)[0][0, 0]
    uphill = max(shot.gravity * np.sin(slope), 1e-9)
    plane = 0.95 + share * min(ahead**2 / (2.0 * uphill), 150.0)
    found = impacts(shot, angle, plane, yaw=yaw)
    place, time, velocity = parabola(shot, angle, plane, yaw)
    within = 1e-8 * plane + 1e-9
    assert [found.up[0], found.right[0]] == pytest.approx(place, abs=within)
    assert found.time[0] == pytest.approx(time, rel=1e-8)
    assert found.speed[0] == pytest.approx(np.linalg.norm(velocity), rel=1e-8)
    assert found.angle[0] == pytest.approx(np.arctan2(velocity[1], velocity[0]), abs=1e-8)


def test_yaw_right_and_roll_right_send_it_right():
    """Top limb to the right turns the arrow's rise to the right, and lower (rigid rotation)."""
    shot = shot_of(vacuum)
    straight, yawed = impacts(shot, 0.04, 50.0), impacts(shot, 0.04, 50.0, yaw=0.01)
    assert straight.right[0] == 0.0
    assert yawed.right[0] == pytest.approx(50.0 * np.tan(0.01), rel=1e-3)
    rolled = impacts(shot.with_(roll=0.1), 0.04, 50.0)
    # Departure from the line of sight at the plane, before gravity: R tan(a) - h / cos(a).
    rise = 50.0 * np.tan(0.04) - 0.11 / np.cos(0.04)
    assert rolled.right[0] == pytest.approx(rise * np.sin(0.1), abs=1e-4)
    assert rolled.up[0] - straight.up[0] == pytest.approx(-rise * (1 - np.cos(0.1)), abs=1e-4)


# --- before the launch ---------------------------------------------------------------------


@pytest.mark.parametrize("wind", [0.0, 9.0])
@pytest.mark.parametrize("roll, yaw", [(0.0, 0.0), (0.4, 0.0), (-0.3, 0.08)])
def test_a_plane_before_the_launch_is_met_on_the_arrows_line(wind, roll, yaw):
    shot = shot_of(
        peep_height=0.1,
        launch_forward=0.9,
        tip_lead=0.3,
        roll=roll,
        wind_speed=wind,
        wind_from=1.0,
    )
    angle = 0.05
    line, up = (v[:, 0] for v in arrow_line(np.array([angle]), yaw, roll))
    far = 1.2 * line[0] - 0.1 * up[0]
    for plane in (0.02, 0.5, far - 1e-9):
        found = impacts(shot, angle, plane, yaw=yaw)
        along = (plane + 0.1 * up[0]) / line[0]
        held = along * line - 0.1 * up
        assert held[0] == pytest.approx(plane)
        assert found.time[0] == 0.0
        assert [found.up[0], found.right[0]] == pytest.approx(held[1:], abs=1e-12)
        assert found.speed[0] == shot.launch_speed
        assert found.angle[0] == pytest.approx(np.arctan2(line[1], line[0]), abs=1e-15)


def test_the_path_goes_on_where_the_string_lets_go():
    """In still air the tip is on the line at the launch: no jump there.

    From then on gravity turns the arrow: by g t / v, a tip lead of 0.3 m falls 8e-8 m at 1e-4.
    """
    shot = shot_of(launch_forward=0.9, tip_lead=0.3, roll=0.3)
    line, up = arrow_line(np.array([0.05]), 0.0, 0.3)
    edge = float(1.2 * line[0, 0] - 0.11 * up[0, 0])
    found = impacts(shot, 0.05, edge + np.array([-1e-4, -1e-7, 1e-7, 1e-4]))
    assert np.array_equal(found.time > 0.0, [False, False, True, True])
    slope = line[1, 0] / line[0, 0]
    assert found.up - slope * found.distance == pytest.approx(
        np.full(4, found.up[0] - slope * found.distance[0]), abs=1e-7
    )
    assert np.all(np.diff(found.time) >= 0.0)


def test_let_go_in_wind_the_tip_turns_and_planes_just_beyond_it_are_flown_to():
    shot = shot_of(wind_speed=12.0, wind_from=np.pi / 2, launch_forward=0.9, tip_lead=0.4)
    shot = shot.with_(launch_speed=40.0)
    line = arrow_line(np.array([0.05]))[0][:, 0]
    through = 40.0 * line + np.array([0.0, 0.0, 12.0])  # air from the right moves left
    turned = 0.9 * line[0] - 0.11 * -line[1] + 0.4 * through / np.linalg.norm(through)
    # Turned into the wind the tip reaches less far: on the string it was farther ahead.
    held = 1.3 * line[0] + 0.11 * line[1]
    assert turned[0] < held
    found = impacts(shot, 0.05, held + np.array([-1e-9, 1e-9, 1e-3]))
    assert np.array_equal(found.time > 0.0, [False, True, True])
    assert found.right[0] == 0.0
    assert found.right[1] == pytest.approx(0.4 * through[2] / np.linalg.norm(through), abs=2e-3)


def test_let_go_in_a_head_wind_a_steep_arrow_swings_its_tip_past_planes_ahead():
    """Turned into the airspeed (v cos a + W, v sin a) the tip is farther forward than held.

    A plane between the two is passed as the string lets go: met on the arrow's line, at 0.
    """
    shot = shot_of(launch_speed=40.0, wind_speed=15.0, launch_forward=0.9, tip_lead=0.4)
    sine, cosine = np.sin(1.0), np.cos(1.0)
    held, through = 1.3 * cosine + 0.11 * sine, np.array([40.0 * cosine + 15.0, 40.0 * sine])
    swung = 0.9 * cosine + 0.11 * sine + 0.4 * through[0] / np.hypot(*through)
    assert held + 0.05 < swung
    planes = np.array([held - 1e-6, held + 1e-6, swung - 1e-6, swung + 1e-6])
    found = impacts(shot, 1.0, planes)
    assert np.array_equal(found.time > 0.0, [False, False, False, True])
    along = (planes[:3] - 0.11 * sine) / cosine
    assert found.up[:3] == pytest.approx(along * sine - 0.11 * cosine, abs=1e-12)
    assert found.angle[:3] == pytest.approx(np.ones(3), abs=1e-15)


# --- agreement with what else the core says --------------------------------------------------


@SETUPS
def test_an_aimed_arrow_meets_the_aim_point(changes):
    shot = shot_of(**changes)
    distances = np.array([5.0, 18.0, 40.0, 90.0])
    aimed = aim(shot, distances)
    found = impacts(shot, aimed.launch_angle, distances)
    assert found.up == pytest.approx(np.zeros(4), abs=1e-7)
    assert found.right == pytest.approx(aimed.drift, abs=1e-7)
    assert found.time == pytest.approx(aimed.time, rel=1e-8)
    assert found.speed == pytest.approx(aimed.speed, rel=1e-8)
    assert found.angle == pytest.approx(aimed.descent_angle, abs=1e-8)
    assert np.all(found.error <= 2e-7)
    steered = aim(shot, distances, windage=True)
    found = impacts(shot, steered.launch_angle, distances, yaw=steered.yaw)
    assert found.up == pytest.approx(np.zeros(4), abs=1e-7)
    assert found.right == pytest.approx(np.zeros(4), abs=1e-7)


@SETUPS
@pytest.mark.parametrize("angle", [-0.02, 0.05, 0.5])
def test_a_trajectory_ends_where_the_impact_is(changes, angle):
    shot = shot_of(**changes, roll=0.2)
    found = impacts(shot, angle, 60.0)
    path = trajectory(shot, launch_angle=angle, end=60.0, samples=2)
    assert found.right[0] == pytest.approx(path.drift, abs=3e-7)
    assert found.time[0] == pytest.approx(path.time[-1], rel=1e-8)
    assert found.speed[0] == pytest.approx(path.speed[-1], rel=1e-8)
    if not shot.tip_lead:
        assert found.up[0] == pytest.approx(path.height[-1], abs=3e-7)
        assert found.distance[0] == pytest.approx(path.distance[-1], abs=1e-6)


def test_lanes_of_everything_are_the_flights_one_by_one():
    rng = np.random.default_rng(7)
    count = 24
    lanes = {
        "launch_speed": rng.uniform(30.0, 120.0, count),
        "peep_height": rng.uniform(0.0, 0.15, count),
        "launch_forward": rng.uniform(0.0, 1.0, count),
        "tip_lead": rng.uniform(-0.3, 0.4, count),
        "slope": rng.uniform(-1.0, 1.0, count),
        "wind_speed": rng.uniform(0.0, 12.0, count),
        "wind_from": rng.uniform(0.0, 6.28, count),
        "roll": rng.uniform(-0.7, 0.7, count),
        "drag_scale": rng.uniform(0.5, 1.5, count),
    }
    angle, yaw = rng.uniform(-0.1, 0.6, count), rng.uniform(-0.1, 0.1, count)
    planes = np.concatenate((rng.uniform(0.01, 1.5, 6), rng.uniform(5.0, 120.0, count - 6)))
    for drag, kinks in ((steady, ()), (ramp, (1.8e4, 1.9e4))):
        together = impacts(shot_of(drag, **lanes, kinks=kinks), angle, planes, yaw=yaw)
        assert (together.time == 0.0).any() and (together.time > 0.0).any()
        for lane in range(count):
            alone = {name: float(values[lane]) for name, values in lanes.items()}
            one = impacts(
                shot_of(drag, **alone, kinks=kinks),
                float(angle[lane]),
                float(planes[lane]),
                yaw=float(yaw[lane]),
            )
            for name in ("up", "right"):
                assert getattr(together, name)[lane] == pytest.approx(
                    getattr(one, name)[0], abs=4e-7, nan_ok=True
                )
            assert together.time[lane] == pytest.approx(one.time[0], rel=1e-7, nan_ok=True)


def test_a_mirrored_shot_has_a_mirrored_impact():
    shot = shot_of(**WINDY, roll=0.2)
    mirrored = shot.with_(roll=-0.2, wind_from=-1.0)
    one, other = impacts(shot, 0.05, 50.0, yaw=0.02), impacts(mirrored, 0.05, 50.0, yaw=-0.02)
    assert one.up[0] == pytest.approx(other.up[0], abs=1e-10)
    assert one.right[0] == pytest.approx(-other.right[0], abs=1e-10)


def test_more_lanes_than_a_block_are_the_same():
    shot = shot_of(**WINDY)
    count = 2 * module.BLOCK + 3
    found = impacts(shot, 0.05, np.linspace(0.3, 90.0, count))
    few = impacts(shot, 0.05, found.distance[:: count // 7])
    assert found.arrived.all()
    assert found.up[:: count // 7] == pytest.approx(few.up, abs=3e-7)
    assert np.all(found.error <= 3e-7)


# --- what never arrives ----------------------------------------------------------------------


def test_an_arrow_that_turns_back_uphill_never_comes():
    """Up 60 degrees without drag it stops along the line of sight after v^2 / (2 g sin)."""
    slope, angle = np.pi / 3, 0.1
    shot = shot_of(vacuum, slope=slope, peep_height=0.0)
    farthest = (60.0 * np.cos(angle)) ** 2 / (2 * shot.gravity * np.sin(slope))
    found = impacts(shot, angle, farthest * np.array([0.5, 0.98, 1.02, 2.0]))
    assert np.array_equal(found.arrived, [True, True, False, False])
    for name in ("up", "right", "time", "speed", "error"):
        assert np.array_equal(np.isfinite(getattr(found, name)), found.arrived)
    low, high = found.airspeed_range
    assert 0.0 < low < high and high == pytest.approx(60.0)


def test_planes_near_the_turn_are_met_on_the_way_out_not_on_the_way_back():
    """Up a gentle hill a slow arrow passes each plane twice; only the first time counts."""
    shot = shot_of(launch_speed=10.0, slope=0.1, peep_height=0.0)

    def turn(_, y):
        return y[3]

    turn.terminal = True
    flown = integrate(shot, 0.2, events=turn)
    planes = flown.y[0, -1] * np.array([0.5, 0.8, 0.9, 0.98])
    found = impacts(shot, 0.2, planes)
    assert np.all(found.time < flown.t[-1])
    assert np.all(np.cos(found.angle) > 0.0)
    for lane, plane in enumerate(planes):
        state = integrate(shot, 0.2, events=crossing(plane), max_step=0.05).y_events[0][0]
        assert found.up[lane] == pytest.approx(state[1], abs=1e-6)
        assert found.angle[lane] == pytest.approx(np.arctan2(state[4], state[3]), abs=1e-6)


def test_more_lanes_than_can_be_stepped_are_refused_and_as_many_are_not(monkeypatch):
    """In a vacuum an arrow up 60 degrees stops after v^2 cos(a)^2 / (2 g sin): none comes."""
    shot = shot_of(vacuum, slope=np.pi / 3, peep_height=0.0)
    beyond = 1.5 * (60.0 * np.cos(0.1)) ** 2 / (2 * shot.gravity * np.sin(np.pi / 3))
    monkeypatch.setattr(module, "LEVELS", ())
    found = impacts(shot, 0.1, np.full(module.MOST_STEPPED, beyond))
    assert not found.arrived.any()
    with pytest.raises(Unsolved):
        impacts(shot, 0.1, np.full(module.MOST_STEPPED + 1, beyond))


def test_strong_drag_and_a_head_wind_keep_it_from_coming():
    shot = shot_of(launch_speed=15.0, wind_speed=15.0, drag_scale=60.0, tip_lead=0.3)
    found = impacts(shot, 0.3, np.array([2.0, 60.0]))
    assert np.array_equal(found.arrived, [True, False])


@pytest.mark.parametrize("levels", [module.LEVELS, ()], ids=["whole", "stepped"])
def test_a_tail_wind_may_yet_bring_it(levels, monkeypatch):
    """Uphill it turns back, and the wind carries it on as it falls.

    Its terminal fall w is 20 m/s. At rest the wind W = 0.7 w pushes by g W^2 cos / w^2, less
    than the slope's g sin; falling at w it is carried by W cos, more than w sin.
    """
    area = 1.9 * cross_section(ARROW)
    scale = shot_of().gravity * 2 * ARROW.mass / (AIR.density * area * 20.0**2)
    shot = shot_of(
        launch_speed=2.0,
        slope=np.arctan(0.6),
        wind_speed=14.0,
        wind_from=np.pi,
        drag_scale=scale,
    )
    monkeypatch.setattr(module, "LEVELS", levels)
    assert np.array_equal(impacts(shot, 0.2, np.array([0.2, 15.0])).arrived, [True, True])
    assert impacts(shot, 0.2, 15.0).time[0] > 3.0
    still = shot.with_(wind_speed=0.0)
    assert not impacts(still, 0.2, 15.0).arrived[0]


# --- laws with kinks -------------------------------------------------------------------------


@pytest.mark.parametrize("speed", [52.0, 60.0, 90.0])
def test_a_law_that_hides_its_kinks_gives_the_same_impacts(speed):
    planes = np.array([10.0, 40.0, 80.0, 120.0])
    told = impacts(shot_of(ramp, launch_speed=speed, kinks=(1.8e4, 1.9e4)), 0.1, planes)
    hidden = impacts(shot_of(ramp, launch_speed=speed, kinks=None), 0.1, planes)
    assert np.all(told.error <= 2e-7)
    assert np.all(np.abs(hidden.up - told.up) <= hidden.error + told.error)
    assert np.all(hidden.error <= module.POOR)


@pytest.mark.parametrize("width", [3e-2, 3e-3])
def test_a_narrow_kink_that_the_points_miss_is_split_where_it_is_told(width):
    """A peak of the drag between two points of the first level."""

    def peak(flow, arrow):
        off = np.abs(flow.reynolds(arrow.shaft_diameter) / 2.2e4 - 1.0) / width
        return (1.9 + np.maximum(0.0, 1.0 - off)) * cross_section(arrow)

    kinks = tuple(2.2e4 * np.array([1.0 - width, 1.0, 1.0 + width]))
    shot = shot_of(peak, kinks=kinks)
    found = impacts(shot, 0.1, np.array([30.0, 60.0, 90.0]))
    assert np.all(found.error <= 5e-7)
    for lane, plane in enumerate(found.distance):
        stepped = integrate(shot, 0.1, events=crossing(plane), max_step=1e-3)
        assert found.up[lane] == pytest.approx(stepped.y_events[0][0][1], abs=1e-7)


def crossing(plane):
    def event(_, y):
        return y[0] - plane

    event.terminal = True
    return event


def test_what_settles_poorly_is_stepped(monkeypatch):
    """With so few points that a kink is not resolved, DOP853 takes over."""
    shot = shot_of(ramp, launch_speed=56.0, kinks=None)
    told = impacts(shot.with_(kinks=(1.8e4, 1.9e4)), 0.1, 80.0)
    monkeypatch.setattr(module, "LEVELS", module.LEVELS[:1])
    stepped = impacts(shot, 0.1, 80.0)
    assert stepped.error[0] == module.STEPPED
    assert stepped.up[0] == pytest.approx(told.up[0], abs=module.STEPPED)
    assert stepped.speed[0] == pytest.approx(told.speed[0], abs=1e-6)
    assert stepped.least_airspeed[0] == pytest.approx(told.least_airspeed[0], abs=1e-6)
    assert stepped.greatest_airspeed[0] == pytest.approx(told.greatest_airspeed[0], abs=1e-6)


def test_airspeeds_are_through_the_air():
    """Head wind adds its speed to the arrow's, a tail wind takes it off."""
    angle = 0.0
    head = impacts(shot_of(vacuum, wind_speed=5.0), angle, 30.0)
    tail = impacts(shot_of(vacuum, wind_speed=5.0, wind_from=np.pi), angle, 30.0)
    assert head.greatest_airspeed[0] == pytest.approx(65.0, rel=1e-2)
    assert tail.least_airspeed[0] == pytest.approx(55.0, rel=1e-9)
