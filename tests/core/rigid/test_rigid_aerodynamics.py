"""Slopes, centres and spin of a finned body: formulas worked apart, limits, identities."""

import numpy as np
import pytest
from rigid_setups import LARGE, SMALL, heavy, light

from arrowloft.core.rigid.aerodynamics import CROSS_FLOW, Vanes, aerodynamics, vane_slope


def test_the_vanes_slope_worked_apart() -> None:
    """Barrowman 1967 (published formula; numbers computed by hand for this test).

    Three vanes 44 x 7.5 mm on 5.5 mm: 12 (7.5/5.5)^2 / (1 + sqrt(1 + (7.5/44)^2)) = 11.07714,
    times 1 + 2.75 / 10.25 = 1.268293 for the shaft between them, and once more for what they
    carry over onto it (NACA Report 1307, 1957, from memory).
    """
    assert vane_slope(SMALL, 0.0055) == pytest.approx(11.07714 * 1.268293**2, rel=1e-5)


def test_a_tall_vane_lifts_like_a_long_wing() -> None:
    """Two pi per angle and own area for a wing of great span: the formula's other limit."""
    tall = Vanes(count=4, length=1e-4, height=10.0, position=0.0)
    two_vanes = 2.0 * 10.0 * 1e-4 / (np.pi / 4 * 0.01**2)
    assert vane_slope(tall, 0.01) == pytest.approx(2.0 * np.pi * two_vanes, rel=1e-3)


def test_slender_vanes_lift_by_their_span_alone() -> None:
    """Slender wing: the slope does not depend on the length."""
    long, longer = (
        vane_slope(Vanes(count=3, length=length, height=0.005, position=0.0), 0.006)
        for length in (1.0, 2.0)
    )
    assert long == pytest.approx(longer, rel=1e-4)


def test_more_vanes_hold_more() -> None:
    few, *more = (
        vane_slope(Vanes(count=n, length=0.05, height=0.01, position=0.0), 0.006)
        for n in (3, 4, 5, 6)
    )
    assert more[0] == pytest.approx(few * 4 / 3)
    # Close together each does less: Niskanen 2013, published.
    assert more[1] == pytest.approx(few * 5 / 3 * 0.948)
    assert more[2] == pytest.approx(few * 2 * 0.913)
    for count in (2, 7):
        with pytest.raises(ValueError):
            Vanes(count=count, length=0.05, height=0.01, position=0.0)


@pytest.mark.parametrize("make", [light, heavy])
def test_the_static_margin(make) -> None:
    """Where the moments of all parts balance: at angle 0 vanes and nose, then the shaft too."""
    rigid = make()
    air, shot = rigid.air, rigid.shot
    (vanes, nose), (back, front) = air.stations.slope, air.stations.arm
    straight = -(vanes * back + nose * front) / (vanes + nose)
    assert air.static_margin(np.zeros(1))[0] == pytest.approx(straight)
    angle = np.radians(4.0)
    across = CROSS_FLOW * shot.arrow.shaft_diameter * shot.arrow.length / air.cross_section
    across *= np.sin(angle) ** 2
    along = np.sin(angle) * np.cos(angle)
    arm = shot.arrow.length / 2 - rigid.body.balance_point
    force = (vanes + nose) * along + across
    margin = -((vanes * back + nose * front) * along + across * arm) / force
    assert air.static_margin(np.array([angle, -angle])) == pytest.approx([margin, margin])
    assert air.normal_force(np.array([angle, -angle])) == pytest.approx([force, -force])
    # Broadside, all that is left is the shaft, pushed at its middle.
    assert air.static_margin(np.array([np.pi / 2]))[0] == pytest.approx(-arm)


def test_vanes_act_at_a_quarter_of_their_length() -> None:
    rigid = light()
    place = rigid.air.stations.arm[0] + rigid.body.balance_point
    assert place == pytest.approx(0.025 + 0.044 - 0.044 / 4)


def test_the_nose_acts_behind_the_tip() -> None:
    """Two thirds of a cone three diameters long: two diameters."""
    rigid = heavy()
    place = rigid.air.stations.arm[1] + rigid.body.balance_point
    assert rigid.air.stations.slope[1] == 2.0
    assert place == pytest.approx(0.73 - 2.0 * 0.006)


def test_the_torque_of_vanes_that_stand_askew() -> None:
    """Each is pushed as by its own angle, in the middle of its height: per rho V^2 / 2,
    n A C_Na1 offset (d / 2 + h / 2) with C_Na1 = 8 (h / d)^2 / (1 + sqrt(1 + (h / l)^2))."""
    vanes = Vanes(count=4, length=0.05, height=0.01, position=0.02, offset=0.03)
    rolling, area = light(vanes).air.rolling, np.pi / 4 * 0.0055**2
    one = 8.0 * (0.01 / 0.0055) ** 2 / (1.0 + np.sqrt(1.0 + 0.2**2)) * area
    expected = 4.0 * one * 0.03 * (0.00275 + 0.005)
    assert rolling.slope * rolling.first * rolling.offset == pytest.approx(expected)


def test_the_rise_of_the_drag_at_three_degrees() -> None:
    """About 0.04 was derived beforehand for vanes and nose, without the carry-over onto the
    shaft; with it a third more, and half as much again from the shaft's cross flow."""
    air, angle = light().air, np.radians(3.0)
    alone = air.stations.moment(0) * np.sin(angle) ** 2
    assert alone == pytest.approx(0.04 * 1.268293, rel=0.3)
    whole = float(air.normal_force(np.array([angle]))[0]) * np.sin(angle)
    assert 1.3 < whole / alone < 2.0


def test_the_spin_at_which_the_vanes_torque_vanishes() -> None:
    """p / V = offset (integral of r) / (integral of r^2): by midpoint sums of 1000 strips."""
    vanes = Vanes(count=3, length=0.044, height=0.0075, position=0.0, offset=np.radians(2.0))
    edges = np.linspace(0.00275, 0.01025, 1001)
    strips = 0.5 * (edges[1:] + edges[:-1])
    expected = vanes.offset * strips.sum() / (strips**2).sum()
    assert light(vanes).air.rolling.spin_per_speed() == pytest.approx(expected, rel=1e-6)
    # A vane on no shaft meets the air square at two thirds of its height.
    assert expected == pytest.approx(vanes.offset / 0.0069, rel=0.1)


def test_slender_wing_and_body_together() -> None:
    """Slender-body theory (NACA Report 1307, 1957, from memory): a pair of wings on a shaft,
    what they carry onto it, and nothing else, have the slope 2 pi (s^2 - r^2)^2 / s^2 over the
    cross-section; four vanes are two such pairs, of which one meets each direction."""
    radius, top = 0.003, 0.013
    vanes = Vanes(count=4, length=10.0, height=top - radius, position=0.0)
    whole = 2.0 * np.pi * (top**2 - radius**2) ** 2 / top**2
    assert vane_slope(vanes, 2.0 * radius) * np.pi * radius**2 == pytest.approx(whole, rel=1e-3)


def test_without_cross_flow_the_slope_stays() -> None:
    rigid = light()
    sizes = {"length": rigid.shot.arrow.length, "diameter": rigid.shot.arrow.shaft_diameter}
    flat = aerodynamics(rigid.body, SMALL, **sizes, cross_flow=0.0)
    angle = np.radians([4.0])
    linear = flat.stations.moment(0) * np.sin(angle) * np.cos(angle)
    assert flat.normal_force(angle) == pytest.approx(linear)
    assert flat.static_margin(angle) == pytest.approx(rigid.air.static_margin(np.zeros(1)))
    double = aerodynamics(rigid.body, SMALL, **sizes, cross_flow=2 * CROSS_FLOW)
    assert double.cross_flow == pytest.approx(2.0 * rigid.air.cross_flow)


def test_larger_vanes_hold_more_and_steady_more() -> None:
    assert vane_slope(LARGE, 0.006) > 1.5 * vane_slope(SMALL, 0.006)
    margins = [rigid.air.static_margin(np.zeros(1))[0] for rigid in (light(), light(LARGE))]
    assert 0.2 < margins[0] < margins[1] < 0.4
