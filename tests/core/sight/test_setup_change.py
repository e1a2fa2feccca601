"""Change of set-up: identities, symmetries, sensitivities, and figures computed from formula."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arrowloft.core.flight.aim import TooNear, aim
from arrowloft.core.flight.geometry import pin_height
from arrowloft.core.flight.reach import BeyondReach
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.setup_change import SetupChange, change_to, first_marks, setup_change
from arrowloft.core.sight.sight import Scale, Sight, Thread

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
DISTANCES = np.array([18.0, 70.0, 30.0, 50.0])
SIGHT = Sight(radius=0.86, zero_distance=18.0)
DIALLED = Sight(
    radius=0.86,
    zero_distance=18.0,
    elevation=Thread(travel_per_turn=1.2e-3, clicks_per_turn=12),
    scale=Scale(reading_at_zero=18.0, travel_per_unit=5e-3),
)


class Steady:
    def __init__(self, coefficient):
        self.coefficient = coefficient

    def __call__(self, flow, arrow):
        return self.coefficient * cross_section(arrow) + np.zeros(flow.airspeed.shape)


def vacuum(flow, arrow):
    return np.zeros(flow.airspeed.shape)


def shot_of(drag=None, mass=0.02, **changes):
    """A light target arrow, level, from the eye."""
    values = {
        "launch_speed": 57.0,
        "arrow": Arrow(mass=mass, shaft_diameter=5.5e-3),
        "drag": drag or Steady(2.0),
        "air": AIR,
        "peep_height": 0.0,
        "kinks": (),
    }
    return Shot(**{**values, **changes})


def test_the_same_set_up_moves_nothing():
    shot = shot_of(peep_height=0.115, launch_forward=0.9, tip_lead=0.3, wind_speed=4, wind_from=1)
    sight = replace(DIALLED, zero_distance=90.0)
    found = setup_change(shot, shot, sight, DISTANCES)
    assert not found.move.any()
    assert not found.move_clicks.any()
    assert found.held_angle == pytest.approx(found.launch_angle, abs=1e-15)
    assert found.up == pytest.approx(np.zeros(4), abs=2e-8)
    assert found.right == pytest.approx(found.drift, abs=2e-8)
    for name in ("travel", "turns", "clicks", "reading", "speed", "time", "launch_angle"):
        assert np.array_equal(getattr(found, name), getattr(found, f"new_{name}"))
    assert np.array_equal(found.drift, found.new_drift)


@settings(max_examples=25, deadline=None)
@given(
    speed=st.floats(45.0, 100.0),
    coefficient=st.floats(1.2, 3.0),
    slope=st.floats(-0.8, 0.8),
    peep=st.floats(0.0, 0.15),
    lower=st.floats(-0.05, 0.05),
)
def test_there_and_back_again(speed, coefficient, slope, peep, lower):
    """The move reverses; seen from the other's zero mark the travels differ by a constant."""
    first = shot_of(peep_height=peep)
    second = shot_of(Steady(coefficient), launch_speed=speed, slope=slope, peep_height=peep + lower)
    there = setup_change(first, second, SIGHT, DISTANCES)
    back = setup_change(second, first, SIGHT, DISTANCES)
    assert back.move == pytest.approx(-there.move, abs=1e-9)
    assert back.new_travel - there.travel == pytest.approx(np.full(4, back.new_travel[0]), abs=1e-9)
    assert back.launch_angle == pytest.approx(there.new_launch_angle, abs=1e-9)
    # What hits high wants the pin up, whichever set-up it is.
    hits = there.up[np.abs(there.up) > 1e-6]
    assert np.array_equal(np.sign(hits), -np.sign(there.move[np.abs(there.up) > 1e-6]))


def test_a_chain_of_changes_adds_up():
    one, two, three = shot_of(), shot_of(Steady(2.4), peep_height=0.1), shot_of(launch_speed=61.0)
    through = (
        setup_change(one, two, SIGHT, DISTANCES).move
        + setup_change(two, three, SIGHT, DISTANCES).move
    )
    assert through == pytest.approx(setup_change(one, three, SIGHT, DISTANCES).move, abs=1e-9)


def test_shot_at_its_new_mark_the_second_hits():
    """Held at its own marks, as a first set-up, nothing is left of the shift up."""
    second = shot_of(Steady(2.6), launch_speed=54.0, wind_speed=3.0, wind_from=2.0)
    found = setup_change(shot_of(), second, SIGHT, DISTANCES)
    again = setup_change(second.with_(launch_speed=54.0), second, SIGHT, DISTANCES)
    assert again.launch_angle == pytest.approx(found.new_launch_angle, abs=1e-12)
    assert again.up == pytest.approx(np.zeros(4), abs=2e-8)
    assert again.right == pytest.approx(found.new_drift, abs=2e-8)


def test_the_pin_is_fixed_to_the_bow():
    """tan(held) = (h2 - H) / r; the move is the difference of the pin's heights (geometry)."""
    first, second = shot_of(peep_height=0.115), shot_of(peep_height=0.1, launch_speed=60.0)
    found = setup_change(first, second, SIGHT, DISTANCES)
    old = pin_height(0.115, 0.86, aim(first, DISTANCES).launch_angle)
    new = pin_height(0.1, 0.86, aim(second, DISTANCES).launch_angle)
    assert np.tan(found.held_angle) == pytest.approx((0.1 - old) / 0.86, abs=1e-12)
    assert found.move == pytest.approx(old - new, abs=1e-12)
    zero = pin_height(0.115, 0.86, aim(first, 18.0).launch_angle)
    assert found.travel == pytest.approx(zero - old, abs=1e-12)
    assert found.new_travel == pytest.approx(zero - new, abs=1e-12)
    assert found.travel[0] == 0.0


def test_a_lower_peep_without_gravitys_part_tilts_the_arrow():
    """At one distance, no drag and no drop to speak of: the arrow's line turns with the peep.

    The line of sight passes eye and pin; lowered by dh at the eye, the arrow's line is dh
    nearer to it there and as before at the pin, so it points lower by dh / r.
    """
    fast = {"launch_speed": 200.0, "gravity": 1e-6}
    found = setup_change(
        shot_of(vacuum, peep_height=0.115, **fast),
        shot_of(vacuum, peep_height=0.105, **fast),
        SIGHT,
        np.array([40.0]),
    )
    assert found.up[0] == pytest.approx(0.01 - 0.01 / 0.86 * 40.0, rel=1e-4)


@pytest.mark.parametrize(
    "second, up",
    [
        ({"drag": Steady(2.2)}, -0.0569),
        ({"launch_speed": 57.0 * 1.01}, 0.1582),
        ({"air": Air(288.15, 101325.0, 0.0, 1.1025, 1.789e-5, 340.3)}, 0.0563),
    ],
    ids=["drag +10 %", "speed +1 %", "density -10 %"],
)
def test_shifts_at_70_m(second, up):
    """57 m/s, Cd 2.0 on 5.5 mm, 20.0 g, 1.225 kg/m3, level, start at the eye.

    Computed from the equation of motion by an 8th-order integrator, to 0.1 mm.
    """
    found = setup_change(shot_of(), shot_of(**second), SIGHT, np.array([70.0]))
    assert found.up[0] == pytest.approx(up, abs=6e-5)
    assert found.right[0] == found.drift[0] == 0.0


def test_a_cross_wind_moves_it_aside():
    """The same arrow in 5 m/s from the left: 0.327829 m at 70 m (computed as above)."""
    windy = shot_of(wind_speed=5.0, wind_from=3 * np.pi / 2)
    found = setup_change(shot_of(), windy, SIGHT, np.array([70.0]))
    assert found.right[0] == pytest.approx(0.327829, abs=1e-5)
    assert found.new_drift[0] == pytest.approx(0.327829, abs=1e-5)
    assert found.drift[0] == 0.0
    assert abs(found.up[0]) < 3e-3


def test_a_small_change_follows_the_sensitivities():
    """To first order the impact moves by the lever times the angle's change, up for faster."""
    step = 1e-5
    first = shot_of(peep_height=0.115)
    found = setup_change(first, first.with_(launch_speed=57.0 * (1 + step)), SIGHT, DISTANCES)
    angles = [
        aim(first.with_(launch_speed=57.0 * (1 + share)), DISTANCES).launch_angle
        for share in (step, -step)
    ]
    change = (angles[0] - angles[1]) / 2.0
    aimed = aim(first, DISTANCES)
    # The lever leaves out how drag answers to the angle: under 1 % here.
    assert found.up == pytest.approx(-aimed.lever * change, rel=0.01)
    per_angle = 0.86 / np.cos(aimed.launch_angle) ** 2
    assert found.move == pytest.approx(per_angle * change, rel=1e-3)


def test_turns_clicks_and_readings_belong_to_the_travels():
    found = setup_change(shot_of(), shot_of(launch_speed=54.0), DIALLED, DISTANCES)
    assert found.turns == pytest.approx(found.travel / 1.2e-3)
    assert found.new_turns == pytest.approx(found.new_travel / 1.2e-3)
    assert np.array_equal(found.new_clicks, np.rint(found.new_travel / 1e-4))
    assert np.array_equal(found.move_clicks, found.new_clicks - found.clicks)
    assert found.reading == pytest.approx(18.0 + found.travel / 5e-3)
    assert found.new_reading == pytest.approx(18.0 + found.new_travel / 5e-3)
    assert np.all(found.move > 0.0)  # slower: the pin goes down


def test_what_the_sight_lacks_is_none():
    found = setup_change(shot_of(), shot_of(launch_speed=54.0), SIGHT, DISTANCES)
    for name in ("turns", "clicks", "reading"):
        assert getattr(found, name) is getattr(found, f"new_{name}") is None
    assert found.move_clicks is None


def test_rows_keep_their_order_and_do_not_depend_on_each_other():
    second = shot_of(Steady(2.4))
    several = setup_change(shot_of(), second, SIGHT, DISTANCES)
    for row, distance in enumerate(DISTANCES):
        one = setup_change(shot_of(), second, SIGHT, np.array([distance]))
        assert one.up[0] == pytest.approx(several.up[row], abs=3e-8)
        assert one.move[0] == pytest.approx(several.move[row], abs=1e-9)


def test_each_set_up_says_how_fast_it_flew_and_how_well_it_is_known():
    found = setup_change(shot_of(), shot_of(launch_speed=70.0), SIGHT, DISTANCES)
    assert found.airspeed_range == pytest.approx((found.speed.min(), 57.0), rel=1e-3)
    # Held to the first's marks it flies a little farther along a higher arc.
    assert found.new_airspeed_range == pytest.approx((found.new_speed.min(), 70.0), rel=1e-2)
    assert 0.0 < found.error < 1e-9
    assert 0.0 < found.position_error < 2e-7
    assert isinstance(found, SetupChange)


def hidden_bend(flow, arrow):
    """A bend in mid-flight of an arrow of 57 m/s."""
    reynolds = flow.reynolds(arrow.shaft_diameter)
    return (1.5 + 3e-4 * np.maximum(reynolds - 2.02e4, 0.0)) * cross_section(arrow)


def test_the_error_is_the_worse_set_ups() -> None:
    """A law that does not tell of its bend makes its marks known less, old or new."""
    near = np.array([30.0])
    plain, bent = shot_of(), shot_of(hidden_bend, kinks=None)
    errors = [float(aim(shot, near).error.max()) for shot in (plain, bent)]
    assert errors[1] > 5.0 * errors[0]
    for first, second in ((plain, bent), (bent, plain)):
        found = setup_change(first, second, SIGHT, near)
        assert found.error == pytest.approx(errors[1], rel=0.5)
    assert setup_change(plain, plain, SIGHT, near).error == pytest.approx(errors[0], rel=0.5)


def test_airspeeds_count_the_flights_at_the_old_marks() -> None:
    """In a vacuum v^2 - 2 g y: a fast arrow at a slow one's mark still climbs at the plane."""
    slow, fast = shot_of(vacuum, launch_speed=28.0), shot_of(vacuum, launch_speed=70.0)
    found = setup_change(slow, fast, replace(SIGHT, zero_distance=60.0), np.array([60.0]))
    held = 0.5 * np.arcsin(9.80665 * 60.0 / 28.0**2)
    assert found.held_angle[0] == pytest.approx(held)
    time = 60.0 / (70.0 * np.cos(held))
    up = 70.0 * np.sin(held) * time - 0.5 * 9.80665 * time**2
    assert 70.0 * np.sin(held) > 9.80665 * time
    least = np.sqrt(70.0**2 - 2.0 * 9.80665 * up)
    assert least < 70.0 * np.cos(found.new_launch_angle[0]) - 1.0
    assert found.new_airspeed_range == pytest.approx((least, 70.0))


def test_an_arrow_that_never_comes_at_the_old_mark_is_nan():
    """A peep raised by 0.5 m over a radius of 0.3 m: up 60 degrees, it is loosed backward."""
    first = shot_of(launch_speed=50.0, slope=np.radians(60.0))
    found = setup_change(
        first, first.with_(peep_height=0.5), replace(SIGHT, radius=0.3), np.array([18.0, 60.0])
    )
    assert np.all(found.held_angle > np.radians(59.0))
    assert np.isnan(found.up[1]) and np.isnan(found.right[1])
    assert np.isfinite(found.new_travel).all() and np.isfinite(found.position_error)
    assert np.isfinite(found.new_airspeed_range).all()


@pytest.mark.parametrize("error, distances", [(BeyondReach, [50.0, 400.0]), (TooNear, [0.05, 9.0])])
def test_refusals_count_the_distances(error, distances):
    with pytest.raises(error) as caught:
        setup_change(shot_of(), shot_of(), SIGHT, np.array(distances))
    assert caught.value.lanes == ((1,) if error is BeyondReach else (0,))


def test_the_first_is_aimed_before_the_second_is_refused():
    """Which set-up cannot reach is told by which call refuses."""
    marks = first_marks(shot_of(), SIGHT, np.array([18.0, 90.0]))
    with pytest.raises(BeyondReach) as caught:
        change_to(shot_of(launch_speed=25.0), marks)
    assert caught.value.lanes == (1,)
    assert 40.0 < caught.value.farthest < 65.0
    with pytest.raises(BeyondReach) as caught:
        first_marks(shot_of(launch_speed=25.0), Sight(radius=0.86, zero_distance=90.0), DISTANCES)
    assert caught.value.lanes == (1, 4)
