"""Symmetries and identities of aimed flights, whatever the numbers."""

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arrowloft.core.flight import aim as aim_module
from arrowloft.core.flight.aim import TooNear, aim
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.shot import Shot

# Two solves of one flight may stop at different places within the solver's own tolerance.
SAME = 5e-10


def air_of(density=1.225):
    return Air(288.15, 101325.0, 0.0, density, 1.789e-5, 340.3)


def friction_like(flow, arrow):
    """A smooth law that depends on speed."""
    reynolds = np.maximum(flow.reynolds(arrow.shaft_diameter), 1.0)
    return cross_section(arrow) * (1.2 + 110.0 / np.sqrt(reynolds))


def steady(flow, arrow):
    return 1.9 * cross_section(arrow) + np.zeros(flow.airspeed.shape)


def shot_of(law=friction_like, mass=0.022, density=1.225, **changes):
    values = {"launch_speed": 60.0, "peep_height": 0.11, **changes}
    arrow = Arrow(mass=mass, shaft_diameter=0.0056)
    return Shot(arrow=arrow, drag=law, air=air_of(density), **values)


setups = st.fixed_dictionaries(
    {
        "launch_speed": st.floats(40.0, 120.0),
        "slope": st.floats(-1.0, 1.0),
        "wind_speed": st.floats(0.0, 12.0),
        "wind_from": st.floats(0.0, 6.28),
        "tip_lead": st.sampled_from([0.0, 0.35]),
        "launch_forward": st.sampled_from([0.0, 0.9]),
    }
)
distances = st.floats(5.0, 70.0)
few = settings(max_examples=40, deadline=None)


@few
@given(setups, distances)
def test_mirrored_wind_mirrors_drift_and_yaw(setup, distance):
    shot = shot_of(**setup)
    mirror = shot.with_(wind_from=2 * np.pi - setup["wind_from"])
    ours, theirs = (aim(each, distance, windage=True) for each in (shot, mirror))
    assert ours.launch_angle[0] == pytest.approx(theirs.launch_angle[0], abs=SAME)
    assert ours.yaw[0] == pytest.approx(-theirs.yaw[0], abs=SAME)
    drift, mirrored = (aim(each, distance).drift[0] for each in (shot, mirror))
    assert drift == pytest.approx(-mirrored, abs=SAME * distance)


@few
@given(setups, distances, st.floats(-0.2, 0.2))
def test_mirrored_cant_and_wind_mirror_the_drift(setup, distance, roll):
    shot = shot_of(**setup, roll=roll)
    mirror = shot.with_(wind_from=2 * np.pi - setup["wind_from"], roll=-roll)
    ours, theirs = aim(shot, distance), aim(mirror, distance)
    assert ours.launch_angle[0] == pytest.approx(theirs.launch_angle[0], abs=SAME)
    assert ours.drift[0] == pytest.approx(-theirs.drift[0], abs=SAME * distance)


@few
@given(setups, distances)
def test_windage_yaw_brings_the_tip_back(setup, distance):
    """And it turns the bow toward the wind."""
    aimed = aim(shot_of(**setup), distance, windage=True)
    assert aimed.drift[0] == pytest.approx(0.0, abs=SAME * distance)
    free = aim(shot_of(**setup), distance).drift[0]
    if abs(free) > 1e-3:
        assert np.sign(aimed.yaw[0]) == -np.sign(free)
        assert aimed.yaw[0] == pytest.approx(-free / distance, rel=0.4)


@few
@given(setups, distances, st.floats(0.0, 6.28))
def test_no_wind_is_wind_of_no_speed(setup, distance, elsewhere):
    still = {**setup, "wind_speed": 0.0}
    ours = aim(shot_of(**still), distance)
    theirs = aim(shot_of(**{**still, "wind_from": elsewhere}), distance)
    assert ours.launch_angle[0] == theirs.launch_angle[0]
    breath = aim(shot_of(**{**setup, "wind_speed": 1e-9}), distance)
    assert breath.launch_angle[0] == pytest.approx(ours.launch_angle[0], abs=SAME)
    assert ours.drift[0] == 0.0


@few
@given(setups, distances, st.floats(0.5, 2.0))
def test_only_density_times_drag_over_mass_counts(setup, distance, factor):
    base = aim(shot_of(steady, **setup), distance).launch_angle[0]
    heavy = shot_of(steady, mass=0.022 * factor, drag_scale=factor, **setup)
    dense = shot_of(steady, density=1.225 * factor, drag_scale=1.0 / factor, **setup)
    assert aim(heavy, distance).launch_angle[0] == pytest.approx(base, abs=SAME)
    assert aim(dense, distance).launch_angle[0] == pytest.approx(base, abs=SAME)


@few
@given(setups, distances, st.floats(0.6, 1.6))
def test_lengths_times_f_and_speeds_times_root_f(setup, distance, factor):
    """Froude's similarity: with gravity kept, every length by f, speed by sqrt(f), drag by 1/f."""
    root = np.sqrt(factor)
    grown = {
        **setup,
        "launch_speed": setup["launch_speed"] * root,
        "wind_speed": setup["wind_speed"] * root,
        "tip_lead": setup["tip_lead"] * factor,
        "launch_forward": setup["launch_forward"] * factor,
    }
    small = aim(shot_of(steady, peep_height=0.11, **setup), distance)
    large = aim(
        shot_of(steady, peep_height=0.11 * factor, drag_scale=1.0 / factor, **grown),
        distance * factor,
    )
    assert large.launch_angle[0] == pytest.approx(small.launch_angle[0], abs=SAME)
    assert large.time[0] == pytest.approx(small.time[0] * root, rel=1e-8)
    assert large.drift[0] == pytest.approx(small.drift[0] * factor, abs=SAME * distance * 2)


@few
@given(setups, distances)
def test_still_air_never_adds_energy(setup, distance):
    still = {**setup, "wind_speed": 0.0}
    shot = shot_of(**still)
    aimed = aim(shot, distance)
    climbed = distance * np.sin(shot.slope)  # of the tip; the balance point within a metre or two
    lost = 0.5 * (shot.launch_speed**2 - aimed.speed[0] ** 2) - shot.gravity * climbed
    assert lost > -2.5 * shot.gravity
    level = aim(shot.with_(slope=0.0, tip_lead=0.0, launch_forward=0.0), distance)
    assert level.speed[0] < shot.launch_speed
    assert level.greatest_airspeed[0] == pytest.approx(shot.launch_speed, rel=1e-3)
    assert 0.0 < level.least_airspeed[0] <= level.speed[0] * (1 + 1e-12)


@few
@given(setups)
def test_farther_takes_longer(setup):
    aimed = aim(shot_of(**setup), np.linspace(5.0, 70.0, 14))
    assert np.all(np.diff(aimed.time) > 0.0)
    lowest = int(np.argmin(aimed.launch_angle))
    # Very near, the peep's height asks for more angle again; from the lowest on it rises.
    assert np.all(np.diff(aimed.launch_angle[lowest:]) > 0.0)
    assert np.all(np.diff(aimed.launch_angle[: lowest + 1]) < 0.0)


def many_lanes(count=37):
    rng = np.random.default_rng(5)
    shot = shot_of(
        launch_speed=rng.uniform(45.0, 110.0, count),
        slope=rng.uniform(-1.0, 1.0, count),
        wind_speed=rng.uniform(0.0, 9.0, count),
        wind_from=rng.uniform(0.0, 6.0, count),
        tip_lead=rng.choice([0.0, 0.3], count),
        mass=rng.uniform(0.015, 0.03, count),
        peep_height=rng.uniform(0.0, 0.13, count),
    )
    return shot, rng.uniform(5.0, 90.0, count)


def assert_same(ours, theirs):
    """Every figure, NaN beside NaN; the estimate and the points used may differ."""
    for item in fields(Aimed):
        if item.name in ("error", "points", "least_airspeed", "greatest_airspeed"):
            continue
        mine, yours = getattr(ours, item.name), getattr(theirs, item.name)
        assert mine == pytest.approx(yours, rel=2e-8, abs=2e-8, nan_ok=True), item.name
    assert ours.launch_angle == pytest.approx(theirs.launch_angle, abs=SAME, nan_ok=True)


@pytest.mark.parametrize("windage", [False, True])
def test_a_lane_does_not_feel_its_neighbours(windage):
    shot, distance = many_lanes()
    together = aim(shot, distance, windage=windage)
    for lane in range(0, distance.size, 5):
        alone = aim(shot.take(slice(lane, lane + 1)), distance[lane], windage=windage)
        assert_same(together.lanes(slice(lane, lane + 1)), alone)


def test_an_unreachable_neighbour_spoils_nothing():
    shot = shot_of(launch_speed=50.0)
    alone = aim(shot, np.array([20.0, 60.0]))
    beside = aim(shot, np.array([20.0, 2000.0, 60.0]))
    assert beside.reached.tolist() == [True, False, True]
    for item in fields(Aimed):
        if item.name not in ("distance", "points"):
            assert np.isnan(getattr(beside, item.name)[1]), item.name
    kept = beside.launch_angle[[0, 2]]
    assert kept == pytest.approx(alone.launch_angle, abs=SAME)


def test_order_of_the_lanes_does_not_matter():
    shot, distance = many_lanes()
    order = np.random.default_rng(1).permutation(distance.size)
    mixed = aim(shot.take(order), distance[order])
    assert mixed.distance.tolist() == distance[order].tolist()
    back = np.argsort(order)
    sorted_back = Aimed(**{i.name: getattr(mixed, i.name)[back] for i in fields(Aimed)})
    assert_same(aim(shot, distance), sorted_back)


@pytest.mark.parametrize("block", [1, 2, 5, 36, 37, 1000])
def test_size_of_the_blocks_does_not_matter(block, monkeypatch):
    shot, distance = many_lanes()
    whole = aim(shot, distance)
    monkeypatch.setattr(aim_module, "BLOCK", block)
    assert_same(aim(shot, distance), whole)


def test_one_number_stands_for_all_lanes():
    distance = np.array([20.0, 40.0, 60.0])
    ours = aim(shot_of(), distance)
    theirs = aim(shot_of(launch_speed=np.full(3, 60.0), slope=np.zeros(3)), distance)
    assert_same(ours, theirs)
    with pytest.raises(ValueError, match="lanes"):
        aim(shot_of(launch_speed=np.full(2, 60.0)), distance)


def test_inputs_are_not_changed():
    shot, distance = many_lanes()
    kept = distance.copy(), shot.launch_speed.copy()
    for array in (distance, shot.launch_speed, shot.slope, shot.arrow.mass):
        array.flags.writeable = False
    aimed = aim(shot, distance)
    assert distance.tolist() == kept[0].tolist()
    assert shot.launch_speed.tolist() == kept[1].tolist()
    assert not np.shares_memory(aimed.distance, distance)


@pytest.mark.parametrize("distance", [0.0, -5.0, 1.0, 1.3, np.nan])
def test_a_target_behind_the_tip_is_refused(distance):
    with pytest.raises(TooNear) as caught:
        aim(shot_of(tip_lead=0.3, launch_forward=0.95), np.array([20.0, distance]))
    assert caught.value.lanes == (1,)
    assert caught.value.nearest == pytest.approx(1.35)
