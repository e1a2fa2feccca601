"""The arrow under the sight's housing: closed forms, and the farthest mark found otherwise."""

import math

import numpy as np
import pytest
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.reach import reach
from arrowloft.core.flight.stepping import range_of_angle
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight import housing as module
from arrowloft.core.sight.housing import AlwaysTouches, Housing, farthest_clear, nearest_aim

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


OVERLAP = {"below_pin": 0.03, "arrow_radius": 0.013, "sideways": 0.005}
"""5, 12, 13: the lowest point just touches where it is 12 mm above the axis."""


def test_an_overlap_is_what_the_pin_must_rise() -> None:
    """In numbers (derived): 10 mm above the axis 2 mm are missing, 4 mm below it 16 mm; and
    a pin raised by that just touches. A mark over the touching one is short of its distance."""
    shot, housing = shot_of(), housing_of(**OVERLAP)
    for above, clearance in ((0.010, -0.002), (-0.004, -0.016), (0.012, 0.0)):
        pin = above + housing.below_pin - housing.fall(shot)
        angle = math.atan((shot.peep_height - pin) / RADIUS)
        assert housing.clearance(shot, RADIUS, angle) == pytest.approx(clearance, abs=1e-12)
        raised = math.atan((shot.peep_height - pin + clearance) / RADIUS)
        assert housing.clearance(shot, RADIUS, raised) == pytest.approx(0.0, abs=1e-12)


@given(aside=st.floats(-0.011, 0.011), radius=st.floats(0.0115, 0.03), step=st.floats(1e-9, 1e-4))
def test_clearance_is_continuous_at_touching(aside: float, radius: float, step: float) -> None:
    """Under the touching height it falls one for one; over it, it rises by no more."""
    shot = shot_of()
    housing = housing_of(sideways=aside, arrow_radius=radius)
    steepest = housing.steepest(shot, RADIUS)
    assert steepest is not None
    angles = np.arctan(math.tan(steepest) + np.array([step, -step]) / RADIUS)
    under, over = housing.clearance(shot, RADIUS, angles)
    assert under == pytest.approx(-step, abs=1e-12)
    assert 0.0 < over <= step + 1e-12


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
    if abs(aside) > radius:
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
    """Except one that grazes it: no space is left at its side."""
    shot = shot_of()
    assert farthest_clear(shot, RADIUS, housing_of(below_pin=0.2, sideways=0.0121)) is None
    grazing = housing_of(below_pin=0.05, sideways=0.012)
    found = farthest_clear(shot, RADIUS, grazing)
    assert found is not None
    angles = aim(shot, found * np.array([0.99, 1.01])).launch_angle
    clearance = grazing.clearance(shot, RADIUS, angles)
    assert clearance[0] > 0.0
    assert clearance[1] == 0.0


@pytest.mark.parametrize("slope", [-45, -35, -20, 0, 45])
@pytest.mark.parametrize("below", [0.03, 0.106, 0.11, 0.2])
def test_the_limit_takes_few_near_aims(slope: float, below: float, monkeypatch) -> None:
    """Aims close to the reach take a tenth of a second each: none is made for the answer."""
    wind = {"wind_speed": 9.0, "wind_from": math.radians(135)}
    shot = shot_of(launch_speed=35.0, slope=math.radians(slope), **wind)
    aimed: list[float] = []

    def counted(one: Shot, distance):
        aimed.extend(np.atleast_1d(distance))
        return aim(one, distance)

    monkeypatch.setattr(module, "aim", counted)
    farthest = 0.0
    try:
        farthest = farthest_clear(shot, RADIUS, housing_of(below_pin=below)) or 0.0
        assert below < 0.11
    except AlwaysTouches:
        assert below > 0.1
    assert len(aimed) < 200
    assert max(aimed, default=0.0) < max(25.0, 2.1 * farthest)


@pytest.mark.parametrize("near", [None, (1.4, 3.0)])
@pytest.mark.parametrize("changes", [{}, {"slope": -0.6, "wind_speed": 7.0, "wind_from": 2.0}])
def test_aims_find_what_the_falling_flight_tells(changes, near, monkeypatch) -> None:
    """Outward from the near marks, be they enough or be they stretched first."""
    shot = shot_of(launch_speed=40.0, **changes)
    top = float(reach(shot).launch_angle[0])
    room = shot.peep_height + housing_of().fall(shot) - 0.012
    angles = (0.2, 0.4, 0.5 * top, top + 0.01)
    belows = [0.07, 0.06, 0.05, *(room - RADIUS * math.tan(angle) for angle in angles)]
    expected = [farthest_clear(shot, RADIUS, housing_of(below_pin=below)) for below in belows]
    monkeypatch.setattr(module, "_falls_at", lambda *_: None)
    if near:
        monkeypatch.setattr(module, "_near_marks", lambda _: np.geomspace(*near, 24))
    for below, flown in zip(belows, expected, strict=True):
        found = farthest_clear(shot, RADIUS, housing_of(below_pin=below))
        assert found == (None if flown is None else pytest.approx(flown, rel=1e-6))
    assert expected[-1] is None
    assert expected[0] < 20.0 < 60.0 < expected[-2]
    with pytest.raises(AlwaysTouches):
        farthest_clear(shot, RADIUS, housing_of(below_pin=0.2))


def cornered(flow, arrow):
    """A law with two steep corners, not named, that flights of 78 m/s pass on their way."""
    reynolds = flow.reynolds(arrow.shaft_diameter)
    return cross_section(arrow) * (1.4 + 4e-4 * np.clip(reynolds - 2.6e4, 0.0, 1e3))


def test_corners_that_a_law_does_not_name(monkeypatch) -> None:
    """Followed step by step, to a micrometre of the clearance."""
    stepped = []

    def counted(*args):
        stepped.append(args)
        return range_of_angle(*args)

    monkeypatch.setattr(module, "range_of_angle", counted)
    shot = shot_of(drag=cornered, kinks=None)
    for below in (0.04, 0.02, 0.0):
        housing = housing_of(below_pin=below)
        found = farthest_clear(shot, RADIUS, housing)
        assert found is not None
        angle = aim(shot, found).launch_angle
        assert housing.clearance(shot, RADIUS, angle) == pytest.approx(0.0, abs=1e-6)
    assert stepped
