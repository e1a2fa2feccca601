"""Mass for the draw weight, FOC, and energy on the way: closed forms first."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from reference_setups import coefficient
from reference_setups import recurve as shot_of

from arrowloft.core.bow.arrow_check import arrivals, front_of_centre, mass_check
from arrowloft.core.flight.aim import TooNear, aim
from arrowloft.core.flight.reach import BeyondReach, Unsolved, reach
from arrowloft.core.setup.equipment import Arrow

GRAIN, FOOT, POUND_FORCE, INCH = 64.79891e-6, 0.3048, 4.4482216152605, 0.0254
DOUBT = {"speed_uncertainty": 0.5, "drag_uncertainty": 0.2}


FADING = 1.225 * 2.0 * np.pi * 0.0055**2 / 4.0 / (2.0 * 0.020)
"""k = rho Cd A / (2 m) of the reference set-up, 1/m: speed fades as exp(-k x) on a flat path."""


# Mass


def test_five_grains_per_pound() -> None:
    """Common practice: 60 lbf want 300 gr."""
    check = mass_check(350 * GRAIN, 60 * POUND_FORCE)
    assert check.least / GRAIN == pytest.approx(300.0)
    assert check.margin / GRAIN == pytest.approx(50.0)
    assert check.per_draw_weight * POUND_FORCE / GRAIN == pytest.approx(350 / 60)
    assert not check.light
    assert mass_check(299 * GRAIN, 60 * POUND_FORCE).light


@given(pounds=st.floats(10, 100), grains=st.floats(1, 20), off=st.floats(1e-6, 0.5))
def test_the_least_mass_itself_is_not_light(pounds, grains, off) -> None:
    least = grains * GRAIN / POUND_FORCE
    mass = pounds * grains * GRAIN
    at, under = (mass_check(m, pounds * POUND_FORCE, least) for m in (mass, mass * (1 - off)))
    assert not at.light and under.light
    assert at.margin == pytest.approx(0.0, abs=1e-12)
    assert at.per_draw_weight == pytest.approx(least)
    assert under.margin == pytest.approx(-off * mass, rel=1e-6, abs=1e-15)


# Balance

lengths = st.floats(0.4, 1.0)


@given(length=lengths)
def test_a_rod_that_is_the_same_from_either_end_has_none(length) -> None:
    assert front_of_centre(length / 2, length) == 0.0
    assert front_of_centre(length, length) == pytest.approx(50.0)


@given(length=lengths, share=st.floats(0.0, 0.9))
def test_a_rod_with_a_share_of_its_mass_at_its_end(length, share) -> None:
    """B = (1 - s) L/2 + s L, so FOC = 50 s (exact)."""
    balance = (1 - share) * length / 2 + share * length
    assert front_of_centre(balance, length) == pytest.approx(50.0 * share, abs=1e-9)


@given(length=lengths, balance=st.floats(0.2, 0.9), factor=st.floats(0.1, 10), way=lengths)
def test_foc_is_a_share(length, balance, factor, way) -> None:
    """Not of the unit; and a balance point further on by a hundredth of L adds one percent."""
    one = front_of_centre(balance, length)
    assert front_of_centre(factor * balance, factor * length) == pytest.approx(one, abs=1e-9)
    assert front_of_centre(balance + 0.01 * length, length) == pytest.approx(one + 1, abs=1e-9)
    # Counted on a longer way the same balance point lies less far ahead.
    assert front_of_centre(balance, length + way) < one


# Energy and momentum


def test_400_grains_at_300_feet_a_second() -> None:
    """108.36028 J, from the exact units; no drag, no fall to speak of, so it arrives with it."""
    arrow = Arrow(mass=400 * GRAIN, shaft_diameter=0.006)
    shot = shot_of(arrow=arrow, launch_speed=300 * FOOT, drag=coefficient(0.0), gravity=1e-6)
    found = arrivals(shot, np.array([20.0]))
    assert found.energy[0] == pytest.approx(108.36028, abs=5e-6)
    assert found.momentum[0] == pytest.approx(400 * GRAIN * 300 * FOOT, rel=1e-9)
    assert found.energy_lost[0] == pytest.approx(0.0, abs=1e-8)


@pytest.mark.parametrize(
    ("distance", "speed"),
    [(18.0, 55.5269196), (50.0, 53.0127618), (70.0, 51.5160667), (90.0, 50.0833851)],
)
def test_reference_flights(distance, speed) -> None:
    """Speeds at arrival computed by an 8th-order integrator from the stated equations."""
    found = arrivals(shot_of(), np.array([distance]))
    assert found.energy[0] == pytest.approx(0.01 * speed**2, rel=1e-8)
    assert found.momentum[0] == pytest.approx(0.02 * speed, rel=1e-8)
    assert found.energy_lost[0] == pytest.approx(1 - (speed / 57) ** 2, rel=1e-7)
    assert found.momentum_lost[0] == pytest.approx(1 - speed / 57, rel=1e-7)


def test_a_straight_flight_in_closed_form() -> None:
    """v = v0 exp(-k x) where nothing falls: with it every uncertainty (exact).

    d ln v / d ln v0 = 1, d ln v / d ln k = -k x; the share lost, 1 - exp(-2 k x), does not
    depend on v0 at all.
    """
    distances = np.array([90.0, 10.0, 45.0])
    found = arrivals(shot_of(gravity=1e-6), distances, **DOUBT)
    fade = FADING * distances
    speed = 57.0 * np.exp(-fade)
    doubt = np.hypot(0.5 / 57.0, 0.2 * fade)
    assert found.speed == pytest.approx(speed, rel=1e-8)
    assert found.speed_uncertainty == pytest.approx(speed * doubt, rel=2e-6)
    assert found.energy_uncertainty == pytest.approx(found.energy * 2 * doubt, rel=2e-6)
    assert found.momentum_uncertainty == pytest.approx(found.momentum * doubt, rel=2e-6)
    assert found.energy_lost == pytest.approx(1 - np.exp(-2 * fade), rel=1e-7)
    lost = 2 * np.exp(-2 * fade) * 0.2 * fade
    assert found.energy_lost_uncertainty == pytest.approx(lost, rel=2e-6)


@given(slope=st.floats(-1.0, 1.0), distance=st.floats(5.0, 60.0))
@settings(max_examples=25)
def test_without_drag_height_alone_costs_energy(slope, distance) -> None:
    """m v^2 / 2 falls by m g h; h of the balance point, from the eye along the slope (exact).

    So v dv = v0 dv0 at any distance.
    """
    shot = shot_of(drag=coefficient(0.0), slope=slope)
    found = arrivals(shot, np.array([distance]), **DOUBT)
    risen = distance * np.sin(slope)
    left = 0.02 * (57.0**2 / 2 - 9.80665 * risen)
    assert found.energy[0] == pytest.approx(left, rel=1e-8)
    assert found.energy_lost[0] == pytest.approx(1 - left / (0.01 * 57.0**2), abs=1e-8)
    assert found.energy_uncertainty[0] == pytest.approx(0.02 * 57.0 * 0.5, rel=1e-5)


def test_uncertainties_against_whole_flights() -> None:
    """Flights with more and less of each by a standard deviation: half their difference."""
    distances = np.array([20.0, 60.0])
    long = {"peep_height": 0.115, "launch_forward": 0.9, "tip_lead": 0.3, "slope": 0.3}
    shot = shot_of(**long, wind_speed=4.0, wind_from=0.4)
    found = arrivals(shot, distances, **DOUBT)

    def half(name, low, high):
        pair = [aim(shot.with_(**{name: value}), distances).speed for value in (low, high)]
        return 0.5 * (pair[1] - pair[0])

    by_both = np.hypot(half("launch_speed", 56.5, 57.5), half("drag_scale", 0.8, 1.2))
    assert found.speed_uncertainty == pytest.approx(by_both, rel=2e-3)


@given(distance=st.floats(3.0, 80.0), speed=st.floats(40.0, 100.0), drag=st.floats(0.5, 3.0))
@settings(max_examples=25)
def test_farther_has_less_left(distance, speed, drag) -> None:
    shot = shot_of(launch_speed=speed, drag=coefficient(drag))
    found = arrivals(shot, np.array([distance, distance + 5.0]), **DOUBT)
    near, far = found.energy
    assert 0 < far < near < 0.01 * speed**2
    assert 0 < found.energy_lost[0] < found.energy_lost[1] < 1
    assert (found.momentum_lost < found.energy_lost).all()
    assert found.energy_uncertainty.min() > 0
    assert found.energy_lost_uncertainty[1] > found.energy_lost_uncertainty[0]


@given(u=st.floats(0.0, 1.0), d=st.floats(0.0, 0.3))
@settings(max_examples=10)
def test_no_doubt_no_uncertainty_and_independent_doubts_add_squares(u, d) -> None:
    assume(u + d > 1e-3)
    distances = np.array([30.0, 70.0])

    def of(speed, drag):
        doubt = {"speed_uncertainty": speed, "drag_uncertainty": drag}
        return arrivals(shot_of(), distances, **doubt).energy_uncertainty

    assert not of(0.0, 0.0).any()
    assert of(u, d) == pytest.approx(np.hypot(of(u, 0.0), of(0.0, d)), rel=1e-9)
    assert of(u, d) == pytest.approx(0.5 * of(2 * u, 2 * d), rel=1e-9)


# Edges


def test_uncertainties_end_before_the_reach() -> None:
    """Not known where an arrow weaker by a standard uncertainty of both does not arrive."""
    shot = shot_of()
    weaker = shot.with_(launch_speed=56.5, drag_scale=1.2)
    far, near = float(reach(shot).distance[0]), float(reach(weaker).distance[0])
    found = arrivals(shot, np.array([near - 0.1, near + 0.1, far - 1.0, 40.0]), **DOUBT)
    for name in ("speed_uncertainty", "energy_uncertainty", "energy_lost_uncertainty"):
        assert np.isnan(getattr(found, name)).tolist() == [False, True, True, False], name
    assert np.isfinite(found.energy).all() and np.isfinite(found.energy_lost).all()


@pytest.mark.parametrize(("doubt", "lost"), [(28.0, False), (29.0, True), (80.0, True)])
def test_a_speed_known_to_nothing_leaves_the_speeds(doubt, lost) -> None:
    """Half the speed's size is the most that an uncertainty may be in proportion to."""
    found = arrivals(shot_of(), np.array([20.0]), speed_uncertainty=doubt)
    assert found.speed[0] == pytest.approx(aim(shot_of(), 20.0).speed[0])
    assert np.isnan(found.speed_uncertainty).all() == lost


def test_a_weaker_arrow_that_hardly_flies_leaves_no_uncertainty() -> None:
    """A gale from behind, steeply downhill: half as fast, it never comes down to the line."""
    gale = {"slope": -1.0, "wind_speed": 40.0, "wind_from": np.pi, "drag": coefficient(20.0)}
    shot = shot_of(**gale, launch_speed=8.0)
    with pytest.raises(Unsolved):
        reach(shot.with_(launch_speed=4.4, drag_scale=1.3))
    found = arrivals(shot, np.array([4.0]), speed_uncertainty=3.6, drag_uncertainty=0.3)
    assert np.isfinite(found.speed).all()
    assert np.isnan(found.speed_uncertainty).all()


def test_refusals_name_the_distances() -> None:
    farthest = float(reach(shot_of()).distance[0])
    with pytest.raises(BeyondReach) as beyond:
        arrivals(shot_of(), np.array([30.0, farthest + 1.0]), **DOUBT)
    assert beyond.value.lanes == (1,)
    with pytest.raises(TooNear) as near:
        arrivals(shot_of(launch_forward=0.9, tip_lead=0.3), np.array([1.2, 30.0]), **DOUBT)
    assert near.value.lanes == (0,)


def test_how_it_was_solved() -> None:
    found = arrivals(shot_of(), np.array([30.0, 70.0]), **DOUBT)
    assert found.error < 1e-9
    assert found.airspeed_range == pytest.approx((51.5160667, 57.0), rel=1e-7)
    assert np.array_equal(found.distance, [30.0, 70.0])
    assert found.time == pytest.approx(aim(shot_of(), np.array([30.0, 70.0])).time)
