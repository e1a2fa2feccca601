"""Overshoot: farthest carries and areas of known shape without drag, and their identities."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from ground_outlines import inside
from hypothesis import given, settings
from hypothesis import strategies as st
from reference_setups import G, coefficient, compound, elevation_through, fall, in_vacuum, recurve

from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.overshoot import carry as module
from arrowloft.core.overshoot import landing
from arrowloft.core.overshoot.carry import (
    Target,
    carry_at,
    farthest_carry,
    gross_area,
    group_area,
)
from arrowloft.core.overshoot.landing import land
from arrowloft.core.overshoot.outline import signed_size
from arrowloft.core.overshoot.terrain import Terrain

EYE = 1.6
FLAT = Terrain.under(EYE)
LONG = {"peep_height": 0.115, "launch_forward": 0.9, "tip_lead": 0.3}
BUTT = {"half_width": 0.65, "half_height": 0.65}
OPEN = {"half_width": 0.0, "half_height": 0.0}
GROUP = (0.004, 0.003)  # rad, up and sideways


def marked(shot, slant, slope=0.0, **stop):
    """The target that the mark at `slant` is set for, its drift corrected."""
    aimed = aim(shot.with_(slope=slope), slant, windage=True)
    return Target(
        elevation=slope + float(aimed.launch_angle[0]),
        bearing=float(aimed.yaw[0]) / np.cos(slope),
        distance=slant * np.cos(slope),
        slant=slant,
        slope=slope,
        **stop,
    )


# --- the farthest carry -------------------------------------------------------------------------


@pytest.mark.parametrize("height", [1.6, 40.0])
def test_farthest_without_drag_from_a_height(height) -> None:
    """v sqrt(v^2 + 2 g h) / g at tan(e) = v / sqrt(v^2 + 2 g h)."""
    found = farthest_carry(in_vacuum(), Terrain.under(height))
    root = np.sqrt(57.0**2 + 2.0 * G * height)
    assert found.distance == pytest.approx(57.0 * root / G, abs=1e-5)
    assert found.elevation == pytest.approx(np.arctan(57.0 / root), abs=1e-4)
    time, _ = fall(57.0, found.elevation, height)
    assert found.time == pytest.approx(time, abs=1e-6)
    assert found.speed == pytest.approx(root)
    rising = 57.0 * np.sin(found.elevation)
    assert found.apex_height == pytest.approx(rising**2 / (2.0 * G), abs=1e-5)
    assert found.apex_distance == pytest.approx(57.0 * np.cos(found.elevation) * rising / G)
    assert found.descent_angle == pytest.approx(found.elevation - np.pi / 2, abs=3e-4)
    assert found.right == pytest.approx(0.0, abs=1e-9)
    assert found.upper == found.distance and 0.0 < found.error < 1e-5
    assert found.airspeed_range[1] == pytest.approx(root)


@pytest.mark.parametrize(("shot", "reach"), [(recurve(), 245.0), (compound(), 456.0)])
def test_maximum_ranges_computed(shot, reach) -> None:
    """R 245 m, K 456 m to level ground at the height of the launch: computed beside the
    reference flights by an 8th-order integrator, to the metre; no published evidence."""
    found = farthest_carry(shot, Terrain.under(1e-6))
    assert found.distance == pytest.approx(reach, abs=1.0)
    assert np.radians(38.0) < found.elevation < np.radians(44.0)


def test_a_compound_at_40_degrees() -> None:
    """About 450 m: stated in common practice for a modern compound bow."""
    found = carry_at(compound(**LONG), np.radians([40.0]), FLAT)
    assert found.distance[0] == pytest.approx(450.0, rel=0.05)


def test_the_farthest_over_a_ridge_just_clears_it() -> None:
    """Below the arc of 45 degrees' top a ridge of 75 m: the arc through its crest carries
    farthest, as steeper ones land nearer (closed form without drag)."""
    crest, height = 100.0, 75.0
    ridge = Terrain.under(EYE, ((crest - 1.0, 0.0), (crest, EYE + height), (crest + 1.0, 0.0)))
    found = farthest_carry(in_vacuum(), ridge)
    over = elevation_through(57.0, crest, height)
    assert over > np.pi / 4
    assert found.elevation == pytest.approx(over, abs=5e-5)
    assert found.distance == pytest.approx(fall(57.0, over, EYE)[1], abs=0.05)


def test_the_upper_carry_is_that_of_a_faster_arrow_with_less_drag() -> None:
    """Half of the drag area uncertain leaves none at two standard uncertainties."""
    found = farthest_carry(recurve(), FLAT, speed_uncertainty=1.5, drag_uncertainty=0.5)
    speed = 60.0
    expected = speed * np.sqrt(speed**2 + 2.0 * G * EYE) / G
    assert found.upper == pytest.approx(expected, abs=1e-4)
    assert found.distance == pytest.approx(farthest_carry(recurve(), FLAT).distance)
    less = farthest_carry(recurve(), FLAT, drag_uncertainty=0.1)
    thin = recurve(drag=coefficient(1.6))
    assert less.upper == pytest.approx(farthest_carry(thin, FLAT).distance)


def test_no_slope_of_the_line_of_sight_moves_a_carry() -> None:
    shot = compound(**LONG)
    level = farthest_carry(shot, FLAT)
    assert farthest_carry(shot.with_(slope=0.3), FLAT) == level
    elevations = np.radians([5.0, 10.0])
    same = carry_at(shot.with_(slope=0.3), elevations, FLAT).distance
    assert np.array_equal(same, carry_at(shot, elevations, FLAT).distance)


def test_no_elevation_carries_farther() -> None:
    hill = Terrain.under(EYE, ((60.0, 0.0), (110.0, 14.0), (150.0, -8.0), (240.0, 10.0)))
    for ground in (FLAT, hill):
        for shot in (recurve(**LONG), recurve(**LONG, wind_speed=9.0, wind_from=0.4)):
            found = farthest_carry(shot, ground)
            tried = carry_at(shot, np.linspace(-0.4, 1.5, 400), ground)
            assert tried.distance.max() <= found.distance + 0.02


@settings(max_examples=10, deadline=None)
@given(
    st.floats(40.0, 90.0),
    st.floats(0.0, 15.0),
    st.floats(0.0, 3.0),
    st.floats(-30.0, 30.0),
    st.floats(0.0, 6.0),
    st.floats(0.0, 6.28),
)
def test_more_speed_never_carries_less(speed, more, coefficient_, rise, wind, comes_from) -> None:
    slow = recurve(
        **LONG,
        launch_speed=speed,
        drag=coefficient(coefficient_),
        wind_speed=wind,
        wind_from=comes_from,
    )
    ground = Terrain.under(EYE, ((100.0, 0.0), (250.0, rise)))
    fast = slow.with_(launch_speed=speed + more)
    assert farthest_carry(fast, ground).distance >= farthest_carry(slow, ground).distance - 0.05


def test_an_arrow_that_cannot_be_followed_is_said_so(monkeypatch) -> None:
    monkeypatch.setattr(landing, "LEVELS", ())
    monkeypatch.setattr(landing, "MOST_STEPPED", 0)
    with pytest.raises(Unsolved):
        farthest_carry(recurve(), FLAT)
    with pytest.raises(Unsolved):
        gross_area(recurve(), marked(recurve(), 50.0, **OPEN), FLAT, 0.1, 0.1, farthest=0.7)


# --- areas of known shape -----------------------------------------------------------------------


def carry(elevation):
    return fall(57.0, elevation, EYE)[1]


def sector(half_angle, near, far):
    return half_angle * (far**2 - near**2)


def behind(half_angle, far):
    """Of the sector out to `far`, what lies behind the target's line 50 m away."""
    return half_angle * far**2 - 50.0**2 * np.tan(half_angle)


def test_gross_errors_without_a_stop_cover_a_sector_behind_the_target() -> None:
    """Without drag from the eye: from the target's line to the carry of 0.2 rad over the mark."""
    target = marked(in_vacuum(), 50.0, **OPEN)
    area = gross_area(in_vacuum(), target, FLAT, 0.2, 0.3)
    far = carry(target.elevation + 0.2)
    assert area is not None
    assert area.size == pytest.approx(behind(0.3, far), rel=2e-3)
    assert area.farthest == pytest.approx(far, abs=1e-5)
    assert area.nearest == 50.0
    assert area.rightmost == -area.leftmost == pytest.approx(far * np.sin(0.3), abs=1e-5)
    for stop in ({"half_width": 0.65}, {"half_height": 0.65}):
        same = gross_area(in_vacuum(), replace(target, **stop), FLAT, 0.2, 0.3)
        assert same is not None and same.size == area.size
    way = np.hypot(area.distance, area.right)
    assert (area.distance >= 50.0).all() and (way < far + 1e-5).all()
    assert signed_size(area.distance[:-1], area.right[:-1]) == pytest.approx(area.size)
    assert (area.distance[0], area.right[0]) == (area.distance[-1], area.right[-1])


def test_a_stop_keeps_its_shadow_clear() -> None:
    """As wide as it is seen, and up to the arc over its upper edge (closed form)."""
    shot, distance = in_vacuum(), 50.0
    target = marked(shot, distance, **BUTT)
    area = gross_area(shot, target, FLAT, 0.2, 0.3)
    far = carry(target.elevation + 0.2)
    over = carry(elevation_through(57.0, distance, 0.65))
    aside = np.arctan(0.65 / distance)
    assert area is not None
    expected = behind(0.3, far) - behind(aside, over)
    assert area.size == pytest.approx(expected, rel=2e-3)
    held = inside(area, np.array([50.5, over - 0.5, over + 0.5, 50.5]), np.array([0, 0, 0, 0.67]))
    assert held.tolist() == [False, False, True, True]
    low = gross_area(shot, target, FLAT, 0.05, 0.9 * aside)
    top = carry(target.elevation + 0.05)
    assert low is not None
    assert low.size == pytest.approx(sector(0.9 * aside, over, top), rel=2e-3)
    assert low.nearest == pytest.approx(over * np.cos(0.9 * aside), abs=1e-3)


@pytest.mark.parametrize("high", [0.0, 0.01])
def test_beside_a_stop_only(high) -> None:
    """Loosed no higher than its upper edge: two parts, the ground between them clear."""
    shot = in_vacuum()
    target = marked(shot, 50.0, **BUTT)
    area = gross_area(shot, target, FLAT, high, 0.1)
    far, aside = carry(target.elevation + high), np.arctan(0.65 / 50.0)
    assert area is not None
    assert area.size == pytest.approx(behind(0.1, far) - behind(aside, far), rel=2e-3)
    assert area.nearest == 50.0 and area.farthest == pytest.approx(far * np.cos(aside), abs=1e-5)
    assert (np.abs(np.arctan2(area.right, area.distance)) > aside - 1e-6).all()


def test_a_group_covers_the_image_of_its_ellipse() -> None:
    """Of small angles without drag: pi k^2 s_up s_side R dR/de, by the carry's derivative."""
    shot = in_vacuum()
    target = marked(shot, 50.0, **OPEN)
    share, up, aside = 0.9, 2e-4, 3e-4
    area = group_area(shot, target, FLAT, up, aside, share)
    e, step = target.elevation, 1e-5
    steep = (carry(e + step) - carry(e - step)) / (2.0 * step)
    k_squared = -2.0 * np.log(1.0 - share)
    expected = np.pi * k_squared * up * aside / np.cos(e) * carry(e) * steep
    assert area is not None
    assert area.size == pytest.approx(expected, rel=1e-2)
    half = np.sqrt(k_squared) * aside / np.cos(e) * carry(e)
    assert area.rightmost == -area.leftmost == pytest.approx(half, rel=1e-3)
    assert area.farthest == pytest.approx(carry(e + np.sqrt(k_squared) * up), abs=1e-4)


def test_the_share_is_that_of_a_bivariate_normal() -> None:
    """Directions drawn at random land inside its area as often as it says."""
    shot = in_vacuum()
    target = marked(shot, 50.0, **OPEN)
    rng, (up, aside) = np.random.default_rng(3), (4e-4, 3e-4)
    elevation = target.elevation + rng.normal(0.0, up, 4000)
    bearing = rng.normal(0.0, aside, 4000) / np.cos(target.elevation)
    found = land(shot, elevation, bearing, FLAT)
    for share in (0.5, 0.9):
        area = group_area(shot, target, FLAT, up, aside, share)
        assert area is not None
        held = inside(area, found.distance, found.right).mean()
        assert held == pytest.approx(share, abs=0.02)


# --- areas in general ---------------------------------------------------------------------------


@pytest.mark.parametrize("slope", [-0.2, 0.0, 0.25])
@pytest.mark.parametrize(("wind", "corrected"), [(0.0, True), (6.0, True), (6.0, False)])
def test_all_that_passes_lands_inside_and_all_that_is_stopped_outside(
    slope, wind, corrected
) -> None:
    """Random directions of the group, flown to the target's plane and to the ground."""
    shot = recurve(**LONG, wind_speed=wind, wind_from=1.2)
    target = marked(shot, 60.0, slope, **BUTT)
    if not corrected:
        target = replace(target, bearing=0.0)
    feet = (60.0 * np.cos(slope), 60.0 * np.sin(slope) + EYE - 1.3)
    ground = Terrain.under(EYE, (feet, (feet[0] + 100.0, feet[1] + 5.0)))
    up, aside, share = 0.008, 0.008, 0.99
    area = group_area(shot, target, ground, up, aside, share)
    assert area is not None
    rng = np.random.default_rng(11)
    k, size = np.sqrt(-2.0 * np.log(1.0 - share)), np.sqrt(rng.uniform(0.0, 0.99, 2000))
    angle = rng.uniform(0.0, 2.0 * np.pi, 2000)
    high = k * up * size * np.sin(angle)
    side = k * aside * size * np.cos(angle) / np.cos(target.elevation)
    met = module._passing(shot, target, high, side)
    found = land(shot, target.elevation + high, target.bearing + side, ground)
    clear = 0.01  # m; of the edges, between whose points the outline is straight
    over = met.up > 0.65 + clear
    beside = np.abs(met.right) > 0.65 + clear
    behind = found.distance > target.distance + 0.1
    stopped = (met.up < 0.65 - clear) & (np.abs(met.right) < 0.65 - clear)
    held = inside(area, found.distance, found.right)
    assert (over & behind).sum() > 50 and (beside & behind).sum() > 50
    assert held[(over | beside) & behind].mean() > 0.99
    # On level ground no other arrow lands where those beside it do.
    assert not held[stopped & (np.abs(met.right) < 0.6)].any()
    assert not held[found.distance < target.distance - 0.1].any()
    assert (area.distance >= target.distance - 1e-9).all()


@pytest.mark.parametrize(
    ("make", "slant", "slope", "aside"),
    [
        (recurve, 60.0, -0.2, 0.3),
        (recurve, 60.0, 0.0, 0.3),
        (recurve, 20.0, 0.0, 0.7),
        (compound, 18.0, 0.3, 0.7),  # aside, a lower line leads over ground as high as the foot
    ],
)
@pytest.mark.parametrize("wind", [0.0, 6.0])
def test_every_gross_error_that_passes_lands_inside_however_low(
    make, slant, slope, aside, wind
) -> None:
    """Random directions, most of them lower than the mark."""
    shot = make(**LONG, wind_speed=wind, wind_from=1.2)
    target = marked(shot, slant, slope, **BUTT)
    foot = slant * np.sin(slope) + EYE - 1.3
    ground = Terrain.under(EYE, ((target.distance, foot), (target.distance + 100.0, foot + 5.0)))
    high = 0.1
    area = gross_area(shot, target, ground, high, aside)
    assert area is not None
    rng = np.random.default_rng(17)
    # The far edges are straight between points of the outline.
    up, side = rng.uniform(-0.3, 0.95 * high, 4000), rng.uniform(-0.98, 0.98, 4000) * aside
    met = module._passing(shot, target, up, side)
    found = land(shot, target.elevation + up, target.bearing + side, ground)
    passes = (met.up > 0.66) | (np.abs(met.right) > 0.66) | ~np.isfinite(met.right)
    lands = passes & (found.distance > target.distance + 0.01)
    assert (lands & (up < 0.0)).sum() > 100
    assert inside(area, found.distance[lands], found.right[lands]).all()
    assert not inside(area, found.distance, found.right)[found.distance < target.distance].any()


def test_a_smaller_share_lies_inside_a_larger() -> None:
    shot = recurve(**LONG, wind_speed=4.0, wind_from=2.0)
    target = marked(shot, 60.0, **BUTT)
    areas = [group_area(shot, target, FLAT, 0.006, 0.005, share) for share in (0.9, 0.97, 0.995)]
    rng = np.random.default_rng(5)
    for small, large in pairwise(areas):
        assert small is not None and large is not None
        assert small.size < large.size
        assert large.nearest <= small.nearest and small.farthest < large.farthest
        assert large.leftmost < small.leftmost and small.rightmost < large.rightmost
        at = rng.uniform(
            (small.nearest, small.leftmost), (small.farthest, small.rightmost), (2000, 2)
        )
        held = inside(small, *at.T)
        # Both have an edge along the shadow of the butt, each drawn by its own points.
        assert held.sum() > 300 and inside(large, *at[held].T).mean() > 0.99


def test_left_and_right_are_alike_without_wind_and_mirror_it() -> None:
    still = group_area(recurve(), marked(recurve(), 60.0, **BUTT), FLAT, *GROUP, 0.999)
    assert still is not None
    assert still.leftmost == pytest.approx(-still.rightmost)
    sides = []
    for comes_from in (1.0, -1.0):
        shot = recurve(wind_speed=8.0, wind_from=comes_from)
        sides.append(gross_area(shot, marked(shot, 60.0, **BUTT), FLAT, 0.3, 0.2))
    first, second = sides
    assert first is not None and second is not None
    assert first.leftmost == pytest.approx(-second.rightmost, abs=1e-4)
    assert first.size == pytest.approx(second.size)
    assert first.leftmost + first.rightmost < -3.0  # blown from the right


def test_the_farthest_carry_bounds_gross_errors() -> None:
    shot = recurve(**LONG)
    target = marked(shot, 50.0, **BUTT)
    far = farthest_carry(shot, FLAT)
    area = gross_area(shot, target, FLAT, 1.3, 0.4)
    assert area is not None
    assert area.farthest == pytest.approx(far.distance, abs=1e-3)
    known = gross_area(shot, target, FLAT, 1.3, 0.4, farthest=far.elevation)
    assert known is not None and known.size == area.size
    wild = group_area(shot, target, FLAT, 0.4, 0.01, 0.95)
    assert wild is not None and wild.farthest == pytest.approx(far.distance, abs=1e-3)


def test_nothing_passes() -> None:
    shot = recurve(**LONG)
    target = marked(shot, 20.0, **BUTT)
    assert gross_area(shot, target, FLAT, 0.02, 0.02) is None  # the butt is wider, and higher
    assert gross_area(shot, target, FLAT, 0.0, 0.02) is None
    assert gross_area(shot, target, FLAT, 0.0, 0.04) is not None
    assert group_area(shot, target, FLAT, 0.004, 0.004, 0.95) is None
    assert group_area(shot, target, FLAT, 0.0, 0.004, 0.95) is None
    # A bank in front of the target takes all of them, whether or not it ends there.
    for rest in ((), ((19.0, 30.0), (19.5, 0.0))):
        bank = Terrain.under(EYE, ((18.0, 0.0), (18.5, 30.0), *rest))
        assert gross_area(shot, target, bank, 0.3, 0.2) is None


@pytest.mark.parametrize("share", [0.0, 1.0, -0.1, float("nan")])
def test_a_share_that_is_none_is_refused(share) -> None:
    with pytest.raises(ValueError, match="share"):
        group_area(recurve(), marked(recurve(), 50.0, **BUTT), FLAT, *GROUP, share)


def test_close_to_the_reach_nothing_counts_as_stopped() -> None:
    """No arrow passes a metre over the aim point there: its upper edge is not met."""
    shot = recurve()
    farthest = farthest_carry(shot, Terrain.under(1e-6)).distance
    target = marked(shot, farthest - 0.05, half_width=0.65, half_height=1.0)
    assert module._window(shot, target) is None
    assert group_area(shot, target, FLAT, 0.002, 0.002, 0.9) is not None


# --- few arrows ---------------------------------------------------------------------------------


@pytest.mark.parametrize("degrees", [2.0, 5.0, 17.0])
def test_the_ellipse_holds_its_share_of_arrows_to_come(degrees) -> None:
    """The deviation itself drawn from its chi-squared distribution, an arrow from it (simulated).

    And Student's closed form on two axes: (1 + k^2 / n)^(-n / 2) of them lie outside.
    """
    rng, share = np.random.default_rng(4), 0.9
    k = module._ellipse_of(share, degrees)
    assert (1.0 + k**2 / degrees) ** (-degrees / 2.0) == pytest.approx(1.0 - share)
    found = np.sqrt(rng.chisquare(degrees, 200_000) / degrees)
    arrows = np.hypot(*rng.standard_normal((2, 200_000)))
    assert np.mean(arrows <= k * found) == pytest.approx(share, abs=3e-3)
    known = module._ellipse_of(share, None)
    assert known == pytest.approx(np.sqrt(-2.0 * np.log(0.1))) and known < k
    assert module._ellipse_of(share, 1e7) == pytest.approx(known, rel=1e-5)


def test_a_group_of_few_arrows_takes_more_ground() -> None:
    shot = recurve()
    target = marked(shot, 50.0, **OPEN)
    sizes = [
        group_area(shot, target, FLAT, *GROUP, 0.99, degrees=degrees, farthest=0.7).size
        for degrees in (None, 20.0, 4.0)
    ]
    assert sizes == sorted(sizes) and sizes[2] > 2.0 * sizes[0]
