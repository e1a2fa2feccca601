"""The arrow under the sight's housing: closed forms, and the farthest mark found otherwise."""

import math

import numpy as np
import pytest
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

from arrowloft.core.aim import aim
from arrowloft.core.air import Air
from arrowloft.core.equipment import Arrow
from arrowloft.core.flow import cross_section
from arrowloft.core.housing import AlwaysTouches, Housing, farthest_clear, nearest_aim
from arrowloft.core.reach import reach
from arrowloft.core.shot import Shot

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
RADIUS = 0.84


def steady(flow, arrow):
    return 1.8 * cross_section(arrow) + np.zeros(flow.airspeed.shape)


def shot_of(**changes):
    values = {
        "launch_speed": 78.0,
        "arrow": Arrow(mass=0.0245, shaft_diameter=0.0056, balance_point=0.41),
        "drag": steady,
        "air": AIR,
        "peep_height": 0.118,
        "launch_forward": 0.9,
        "tip_lead": 0.31,
        "kinks": (),
    }
    return Shot(**{**values, **changes})


def housing_of(**changes):
    values = {"below_pin": 0.03, "ahead_of_eye": 0.84, "arrow_radius": 0.012}
    return Housing(**{**values, **changes})


def test_clearance_in_numbers() -> None:
    """Worked by hand (derived): the nock end starts 0.49 m ahead of the eye, 0.35 m short of
    the housing; 0.35 m at 70 m/s take 5 ms, in which it falls 9.8 x 25e-6 / 2 = 0.1225 mm."""
    shot = shot_of(launch_speed=70.0, gravity=9.8)
    angle = math.atan(0.05)  # pin 118 - 42 = 76 mm above the line, housing 46 mm
    assert housing_of().fall(shot) == pytest.approx(122.5e-6, rel=1e-12)
    assert housing_of().clearance(shot, RADIUS, angle) == pytest.approx(0.0341225, abs=1e-12)
    aside = housing_of(sideways=-0.02).clearance(shot, RADIUS, angle)
    assert aside == pytest.approx(math.hypot(0.0461225, 0.02) - 0.012, abs=1e-12)


def test_fall_counts_from_where_the_string_lets_go() -> None:
    """None while the string holds the nock; on a slope, and rolled, gravity's part in the
    bow's plane (derived); an unknown balance point counts as the nock's own end."""
    held = shot_of(launch_forward=1.3)
    assert housing_of().fall(held) == 0.0
    level = housing_of().fall(shot_of())
    assert housing_of().fall(shot_of(slope=math.pi / 3)) == pytest.approx(level / 2)
    assert housing_of().fall(shot_of(roll=math.pi / 3)) == pytest.approx(level / 2)
    bare = shot_of(arrow=Arrow(mass=0.0245, shaft_diameter=0.0056), launch_forward=0.49)
    assert housing_of().fall(bare) == pytest.approx(level, rel=1e-12)


lengths = st.floats(0.0, 0.05)


@given(below=lengths, radius=st.floats(0.001, 0.03), aside=st.floats(-0.04, 0.04))
def test_clearance_is_nothing_at_the_steepest_angle(
    below: float, radius: float, aside: float
) -> None:
    housing = housing_of(below_pin=below, arrow_radius=radius, sideways=aside)
    shot = shot_of()
    steepest = housing.steepest(shot, RADIUS)
    if abs(aside) >= radius:
        assert steepest is None
        angles = np.linspace(-0.1, 0.4, 50)
        assert (housing.clearance(shot, RADIUS, angles) >= 0.0).all()
        return
    assert steepest is not None
    # A radius hardly above the offset leaves a root that loses half its digits.
    assert housing.clearance(shot, RADIUS, steepest) == pytest.approx(0.0, abs=1e-12)
    assume(radius - abs(aside) > 1e-6)
    assert housing.clearance(shot, RADIUS, steepest + 1e-3) < 0.0
    assert housing.clearance(shot, RADIUS, steepest - 1e-3) > 0.0


@given(aside=st.floats(0.0, 0.03), step=st.floats(1e-5, 0.02))
def test_the_steeper_the_closer_and_the_further_aside_the_freer(aside: float, step: float) -> None:
    shot, angles = shot_of(), np.linspace(-0.05, 0.3, 200)
    clearance = housing_of(sideways=aside).clearance(shot, RADIUS, angles)
    assert (np.diff(clearance) <= 0.0).all()
    assert np.abs(np.diff(clearance)).max() < 2 * RADIUS * np.diff(angles)[0]  # no jump
    assert (housing_of(sideways=aside + step).clearance(shot, RADIUS, angles) >= clearance).all()
    mirrored = housing_of(sideways=-aside).clearance(shot, RADIUS, angles)
    assert (mirrored == clearance).all()


@settings(max_examples=25, deadline=None, phases=[Phase.explicit, Phase.generate])
@given(
    below=st.floats(0.0, 0.1),
    slope=st.floats(-1.0, 1.0),
    speed=st.floats(40.0, 100.0),
    wind=st.floats(0.0, 8.0),
)
def test_farthest_is_the_last_clear_mark(
    below: float, slope: float, speed: float, wind: float
) -> None:
    """Against a table of marks: clear just inside, touching from there on out."""
    shot = shot_of(launch_speed=speed, slope=slope, wind_speed=wind, wind_from=0.7)
    housing = housing_of(below_pin=below)
    limit = float(reach(shot).distance[0])
    try:
        farthest = farthest_clear(shot, RADIUS, housing)
    except AlwaysTouches:
        grid = np.geomspace(nearest_aim(shot), 0.97 * limit, 300)
        angles = aim(shot, grid).launch_angle
        assert (housing.clearance(shot, RADIUS, angles) < 1e-9).all()
        return
    grid = np.geomspace(nearest_aim(shot), 0.97 * limit, 60)
    if farthest is None:
        angles = aim(shot, grid).launch_angle
        assert (housing.clearance(shot, RADIUS, angles[30:]) > 0.0).all()
        return
    assert nearest_aim(shot) < farthest < limit
    at = np.minimum(farthest * np.array([1.0 - 1e-6, 1.0, 1.0 + 1e-6]), limit)
    inside, there, outside = housing.clearance(shot, RADIUS, aim(shot, at).launch_angle)
    assert there == pytest.approx(0.0, abs=2e-8)
    assert inside >= -1e-9
    assert outside <= 1e-9
    beyond = grid[grid > farthest * 1.001]
    if beyond.size:
        angles = aim(shot, beyond).launch_angle
        assert (housing.clearance(shot, RADIUS, angles) < 0.0).all()


def flattest(shot: Shot) -> tuple[float, float]:
    """Distance and launch angle of the flattest mark, by a fine table."""
    grid = np.linspace(nearest_aim(shot), 40.0, 4000)
    angles = aim(shot, grid).launch_angle
    least = int(np.argmin(angles))
    return float(grid[least]), float(angles[least])


@pytest.mark.parametrize("peep", [0.118, -0.03])
def test_around_the_flattest_mark(peep: float) -> None:
    """Where nothing is flatter nothing is clear; a little less hangs it clear close by."""
    shot = shot_of(peep_height=peep)
    distance, angle = flattest(shot)
    edge = RADIUS * math.tan(angle)  # peep - below + fall - arrow_radius at the limit
    room = peep + housing_of().fall(shot) - 0.012 - edge
    with pytest.raises(AlwaysTouches):
        farthest_clear(shot, RADIUS, housing_of(below_pin=room + 1e-6))
    found = farthest_clear(shot, RADIUS, housing_of(below_pin=room - 1e-6))
    assert found is not None
    assert distance < found < distance + 1.0
    assert aim(shot, found).launch_angle[0] == pytest.approx(math.atan2(edge + 1e-6, RADIUS))


def test_close_to_the_reach_and_beyond() -> None:
    """A housing so high that only the longest shots meet it, or none of all."""
    shot = shot_of(launch_speed=30.0)
    limit = reach(shot)
    for share, expected in ((0.995, True), (1.005, False)):
        angle = share * float(limit.launch_angle[0])
        room = shot.peep_height + housing_of().fall(shot) - 0.012 - RADIUS * math.tan(angle)
        found = farthest_clear(shot, RADIUS, housing_of(below_pin=room))
        assert (found is not None) is expected
        if found is not None:
            assert 0.99 * limit.distance[0] < found < limit.distance[0]


def test_an_arrow_beside_the_housing_is_never_limited() -> None:
    assert farthest_clear(shot_of(), RADIUS, housing_of(below_pin=0.2, sideways=0.012)) is None
