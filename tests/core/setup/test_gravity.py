"""Normal gravity against published values and the exact field of the ellipsoid."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.core.setup.gravity import STANDARD, normal_gravity

latitudes = st.floats(-math.pi / 2, math.pi / 2)

# Published, World Geodetic System 1984: the four constants that define the ellipsoid's field.
A = 6_378_137.0
FLATTENING = 1 / 298.257223563
GM = 3.986004418e14
OMEGA = 7.292115e-5


def potential(radius, axial):
    """Gravity potential of the rotating level ellipsoid, in closed form (Pizzetti, Somigliana).

    radius and axial: cylindrical coordinates from the centre, m, real or complex.
    """
    b = A * (1 - FLATTENING)
    focus = np.sqrt(A**2 - b**2)
    excess = radius**2 + axial**2 - focus**2
    u = np.sqrt(excess / 2 + np.sqrt(excess**2 / 4 + (focus * axial) ** 2))
    squared_sine = (axial / u) ** 2

    def q(semi_axis):
        ratio = semi_axis / focus
        return ((1 + 3 * ratio**2) * np.arctan(1 / ratio) - 3 * ratio) / 2

    return (
        GM / focus * np.arctan(focus / u)
        + OMEGA**2 * A**2 / 2 * q(u) / q(b) * (squared_sine - 1 / 3)
        + OMEGA**2 / 2 * radius**2
    )


def exact_gravity(latitude, height):
    """Length of the potential's gradient, by complex steps: no difference, no cancellation."""
    normal = A / math.sqrt(1 - FLATTENING * (2 - FLATTENING) * math.sin(latitude) ** 2)
    radius = (normal + height) * math.cos(latitude)
    axial = (normal * (1 - FLATTENING) ** 2 + height) * math.sin(latitude)
    step = 1e-3
    outward = potential(radius + step * 1j, axial + 0j).imag / step
    upward = potential(radius + 0j, axial + step * 1j).imag / step
    return math.hypot(outward, upward)


def test_standard_gravity():
    assert STANDARD == 9.80665  # published, exact by definition (3rd CGPM, 1901)


@pytest.mark.parametrize(
    ("degrees", "gravity", "digits"),
    [
        (0.0, 9.7803253359, 1e-10),  # published, WGS 84
        (90.0, 9.8321849378, 1e-10),  # published, WGS 84
        (-90.0, 9.8321849378, 1e-10),  # published, WGS 84
        (45.0, 9.80619777, 5e-9),  # computed from the formula, no published evidence
    ],
)
def test_gravity_on_the_ellipsoid(degrees, gravity, digits):
    assert normal_gravity(math.radians(degrees)) == pytest.approx(gravity, abs=digits)


@given(latitudes)
def test_gravity_on_the_ellipsoid_is_the_exact_field_s(latitude):
    assert normal_gravity(latitude) == pytest.approx(exact_gravity(latitude, 0.0), abs=2e-11)


@given(latitudes, st.floats(-500.0, 11_000.0))
def test_gravity_at_a_height_is_the_exact_field_s_to_second_order(latitude, height):
    # The formula drops products of height and squared flattening: 1.04e-7 m/s2 a kilometre
    # at the equator, where the exact field shows them most.
    slack = 2e-11 + 1.1e-10 * abs(height)
    assert normal_gravity(latitude, height) == pytest.approx(
        exact_gravity(latitude, height), abs=slack
    )


@given(latitudes, st.floats(-500.0, 9000.0))
def test_both_hemispheres_are_alike_and_height_weakens(latitude, height):
    assert normal_gravity(-latitude, height) == normal_gravity(latitude, height)
    assert normal_gravity(latitude, height + 10.0) < normal_gravity(latitude, height)


def test_free_air_gradient():
    # Published in every geodesy text: about -0.3086 mGal a metre.
    gradient = (normal_gravity(math.radians(45), 100.0) - normal_gravity(math.radians(45))) / 100
    assert gradient == pytest.approx(-0.3086e-5, rel=5e-4)


def test_lanes_broadcast():
    latitude = np.radians([0.0, 45.0, 90.0])
    found = normal_gravity(latitude, np.array([[0.0], [1000.0]]))
    assert found.shape == (2, 3)
    assert found[1, 1] == normal_gravity(math.radians(45), 1000.0)


@pytest.mark.parametrize(
    ("latitude", "height"),
    [(47.0, 0.0), (-1.6, 0.0), (np.nan, 0.0), (0.5, np.nan), (0.5, np.inf), ([0.1, 2.0], 0.0)],
)
def test_degrees_and_gaps_are_refused(latitude, height):
    with pytest.raises(ValueError, match="must"):
        normal_gravity(np.asarray(latitude), height)
