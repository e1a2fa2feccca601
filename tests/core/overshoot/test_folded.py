"""Areas of directions beyond the farthest carry, where the ground folds over itself."""

import numpy as np
import pytest
from ground_outlines import inside
from hypothesis import given, settings
from hypothesis import strategies as st
from reference_setups import G, compound, fall, in_vacuum, recurve

from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.overshoot import carry as module
from arrowloft.core.overshoot import landing
from arrowloft.core.overshoot.carry import Target, farthest_carry, gross_area, group_area
from arrowloft.core.overshoot.landing import land
from arrowloft.core.overshoot.outline import signed_size
from arrowloft.core.overshoot.terrain import Terrain

EYE = 1.6
FLAT = Terrain.under(EYE)
ACROSS = np.pi / 2
BUTT = {"half_width": 0.65, "half_height": 0.65}


def target_at(elevation, distance=50.0, slope=0.0, **stop):
    return Target(
        elevation=elevation,
        distance=distance * np.cos(slope),
        slant=distance,
        slope=slope,
        **{"half_width": 0.0, "half_height": 0.0, **stop},
    )


def passing(shot, target, ground, up, aside):
    """Landings behind the target of directions about the mark's that its butt does not stop."""
    window = module._window(shot, target)
    found = land(shot, target.elevation + up, target.bearing + aside, ground)
    lands = found.distance > target.distance
    if window is not None:
        lands &= ~((window.left < aside) & (aside < window.right) & (up < window.top))
    return found.distance[lands], found.right[lands]


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from([recurve, compound]),
    st.floats(10.0, 20.0),
    st.floats(ACROSS - 0.6, ACROSS + 0.6),
    st.floats(20.0, 80.0),
    st.floats(0.5, 45.0),
    st.booleans(),
    st.integers(0, 2**32),
)
def test_in_a_cross_wind_all_that_passes_lands_inside(
    make, wind, comes_from, high, aside, stopped, seed
) -> None:
    """However high: arrows loosed above the farthest carry's elevation drift farther aside."""
    shot, rng = make(wind_speed=wind, wind_from=comes_from), np.random.default_rng(seed)
    target = target_at(0.03, **(BUTT if stopped else {}))
    high, aside = np.radians(high), np.radians(aside)
    area = gross_area(shot, target, FLAT, high, aside)
    assert area is not None
    # Where nothing folds, the edges are straight between points of the outline.
    up, side = rng.uniform(-0.1, 0.99 * high, 600), rng.uniform(-0.99, 0.99, 600) * aside
    distance, right = passing(shot, target, FLAT, up, side)
    assert distance.size > 100
    assert inside(area, distance, right).all()


def test_high_arrows_in_a_cross_wind_drift_out_of_the_low_ones_ground() -> None:
    """60 deg high, 1 deg aside, 10 m/s from the right: the release itself is in the area."""
    shot, target = compound(wind_speed=10.0, wind_from=ACROSS), target_at(0.02, **BUTT)
    high, aside = np.radians((60.0, 1.0))
    area = gross_area(shot, target, FLAT, high, aside)
    release = land(shot, np.array([target.elevation + high]), np.zeros(1), FLAT)
    assert area is not None and inside(area, release.distance, release.right).all()
    lower = land(shot, np.array([farthest_carry(shot, FLAT).elevation]), np.array([-aside]), FLAT)
    assert release.right[0] < lower.right[0] - 2.0  # which bounded it if the area ended there


def test_a_mark_above_the_farthest_carry_lies_in_a_plain_outline() -> None:
    """Without drag: 55 deg up, 20 deg to either side, from all that land behind the target.

    Low arrows carry v sqrt(v2 + 2 g h) / g, farther than the mark's own: a sector that far
    (closed form), and, as a hull, nothing that is hollow.
    """
    shot, slope = in_vacuum(), np.radians(50.0)
    target = target_at(np.radians(55.0), 60.0, slope)
    aside = np.radians(20.0)
    area = gross_area(shot, target, FLAT, 0.1, aside)
    far = 57.0 * np.sqrt(57.0**2 + 2.0 * G * EYE) / G
    assert area is not None
    assert far - 1e-3 < area.farthest < far * 1.002
    sector = aside * far**2 - target.distance**2 * np.tan(aside)
    assert area.size == pytest.approx(sector, rel=0.012) and area.size > sector
    assert signed_size(area.distance[:-1], area.right[:-1]) == pytest.approx(area.size)
    edge = np.column_stack((np.diff(area.distance), np.diff(area.right)))
    after = np.roll(edge, -1, axis=0)
    assert (edge[:, 0] * after[:, 1] - edge[:, 1] * after[:, 0] > -1e-6).all()  # convex


@pytest.mark.parametrize(("wind", "elevation"), [(0.0, 55.0), (15.0, 3.0), (15.0, 55.0)])
def test_a_wild_group_is_covered_too(wind, elevation) -> None:
    shot = recurve(wind_speed=wind, wind_from=ACROSS)
    target = target_at(np.radians(elevation), 40.0, np.radians(elevation - 2.0), **BUTT)
    share, vertical, sideways = 0.95, 0.35, 0.02
    area = group_area(shot, target, FLAT, vertical, sideways, share)
    assert area is not None
    rng, k = np.random.default_rng(7), np.sqrt(-2.0 * np.log(1.0 - share))
    size, angle = np.sqrt(rng.uniform(0.0, 1.0, 1500)), rng.uniform(0.0, 2.0 * np.pi, 1500)
    up = np.minimum(k * vertical * size * np.sin(angle), np.pi / 2 - target.elevation)
    aside = k * sideways * size * np.cos(angle) / np.cos(target.elevation)
    distance, right = passing(shot, target, FLAT, up, aside)
    assert distance.size > 200
    assert inside(area, distance, right).all()


def test_over_a_rise_arrows_loosed_aside_clear_it_higher() -> None:
    """A ridge across the range is farther away for an arrow loosed aside."""
    ridge = Terrain.under(EYE, ((90.0, 0.0), (100.0, 60.0), (110.0, 0.0)))
    shot, target, aside = in_vacuum(), target_at(0.5, 40.0, 0.5), 0.6
    over = farthest_carry(shot, ridge)
    area = gross_area(shot, target, ridge, 1.0, aside)
    assert area is not None
    rng = np.random.default_rng(3)
    up, side = rng.uniform(-0.3, 1.0, 3000), rng.uniform(-aside, aside, 3000)
    distance, right = passing(shot, target, ridge, up, side)
    assert (distance[np.abs(np.arctan2(right, distance)) > 0.5] > 120.0).any()
    assert over.elevation - target.elevation < 1.0
    assert inside(area, distance, right).all()


def test_still_air_ends_it_at_the_farthest_carry() -> None:
    """Over level ground higher arrows land where lower ones do: the butt's shadow stays clear."""
    shot, target = in_vacuum(), target_at(0.05, **BUTT)
    area = gross_area(shot, target, FLAT, 1.3, 0.3)
    assert area is not None
    assert area.farthest == pytest.approx(fall(57.0, np.pi / 4, EYE)[1], abs=0.02)
    assert not inside(area, np.array([51.0]), np.array([0.0])).any()


def test_only_what_comes_down_about_the_archer_may_be_left_out(monkeypatch) -> None:
    shot, target = recurve(wind_speed=10.0, wind_from=ACROSS), target_at(0.03)
    whole = gross_area(shot, target, FLAT, 1.5, 0.1, farthest=0.7)
    flown = landing.land

    def losing(least):
        def land(shot, elevation, bearing, terrain):
            found = flown(shot, elevation, bearing, terrain)
            found.distance[elevation > np.radians(least)] = np.nan
            return found

        return land

    monkeypatch.setattr(module, "land", losing(81.0))
    part = gross_area(shot, target, FLAT, 1.5, 0.1, farthest=0.7)
    assert whole is not None and part is not None
    assert part.farthest == pytest.approx(whole.farthest, abs=0.01)
    monkeypatch.setattr(module, "land", losing(60.0))
    with pytest.raises(Unsolved):
        gross_area(shot, target, FLAT, 1.5, 0.1, farthest=0.7)


def test_a_hull_of_nothing_behind_the_target_is_no_area() -> None:
    shot = recurve(wind_speed=10.0, wind_from=ACROSS)
    high = gross_area(shot, target_at(0.03, 400.0), FLAT, 1.2, 0.1)
    assert high is None  # beyond the farthest carry
