"""Every factor of the table against pint, a general-purpose units library, and definitions.

pint is the oracle here and never reads a caller's text at run time. It is run on exact
fractions, so that the only rounding is the one to the nearest float.
"""

from fractions import Fraction

import pint
import pytest

from arrowloft import units

# How pint writes the table's symbols, where its own differ or read as something else.
NAMES = {
    "in": "inch",
    "gr": "grain",
    "kn": "knot",
    "ft/s": "foot / second",
    "kgf": "kilogram_force",
    "lbf": "pound_force",
    "ft lbf": "foot * pound_force",
    "kg m/s": "kilogram * meter / second",
    "slug ft/s": "slug * foot / second",
    "deg": "degree",
    "arcmin": "arcminute",
    "arcsec": "arcsecond",
    "m2": "meter ** 2",
    "cm2": "centimeter ** 2",
    "mm2": "millimeter ** 2",
    "in2": "inch ** 2",
    "ft2": "foot ** 2",
    "yd2": "yard ** 2",
    "ha": "hectare",
    "N m": "newton * meter",
    "N cm": "newton * centimeter",
    "kgf cm": "kilogram_force * centimeter",
    "lbf in": "pound_force * inch",
    "lbf ft": "pound_force * foot",
    "N m2": "newton * meter ** 2",
    "lbf in2": "pound_force * inch ** 2",
    "gr/lbf": "grain / pound_force",
    "g/N": "gram / newton",
    "kg/N": "kilogram / newton",
    "rad/s": "radian / second",
    "deg/s": "degree / second",
    "rpm": "turn / minute",
    "kg m2": "kilogram * meter ** 2",
    "g cm2": "gram * centimeter ** 2",
    "kg/m3": "kilogram / meter ** 3",
    "Pa s": "pascal * second",
}
COHERENT = {
    "length": "meter",
    "distance": "meter",
    "mass": "kilogram",
    "speed": "meter / second",
    "force": "newton",
    "energy": "joule",
    "momentum": "newton * second",
    "angle": "radian",
    "temperature": "kelvin",
    "pressure": "pascal",
    "time": "second",
    "area": "meter ** 2",
    "ground_area": "meter ** 2",
    "moment": "newton * meter",
    "stiffness": "newton * meter ** 2",
    "mass_per_force": "kilogram / newton",
    "angle_rate": "radian / second",
    "inertia": "kilogram * meter ** 2",
    "density": "kilogram / meter ** 3",
    "viscosity": "pascal * second",
}
PAIRS = [(name, unit) for name in COHERENT for unit in units.units_of(name)]


@pytest.fixture(scope="module")
def oracle():
    registry = pint.UnitRegistry(non_int_type=Fraction)

    def convert(value, dimension, unit):
        quantity = registry.Quantity(Fraction(value), NAMES.get(unit, unit))
        return quantity.to(COHERENT[dimension]).magnitude

    return convert


def test_every_dimension_is_checked():
    assert COHERENT.keys() == units.DIMENSIONS.keys() - {"number"}
    assert units.DIMENSIONS["number"][""] == units.Unit("", 1.0)


@pytest.mark.parametrize(("dimension", "unit"), PAIRS)
def test_factor_and_offset_are_the_floats_nearest_to_the_library_s(oracle, dimension, unit):
    offset = oracle(0, dimension, unit)
    factor = oracle(1, dimension, unit) - offset
    found = units.DIMENSIONS[dimension][unit]
    # pi is a float before it is divided: one rounding more.
    slack = 2.3e-16 if dimension in {"angle", "angle_rate"} else 0.0
    assert found.factor == pytest.approx(float(factor), rel=slack, abs=0.0)
    assert found.offset == float(offset)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        # Exact by definition: international yard and pound agreement, 1959.
        ("1 yd", "length", 0.9144),
        ("1 ft", "length", 0.3048),
        ("1 in", "length", 0.0254),
        ("1 lb", "mass", 0.45359237),
        ("1 gr", "mass", 64.79891e-6),
        ("1 oz", "mass", 28.349523125e-3),
        ("1 in2", "area", 645.16e-6),
        ("1 mph", "speed", 0.44704),
        ("1 ft/s", "speed", 0.3048),
        # Exact with the standard acceleration of free fall, 9.80665 m/s2 (3rd CGPM, 1901).
        ("1 kgf", "force", 9.80665),
        ("1 lbf", "force", 4.4482216152605),
        ("1 ft lbf", "energy", 1.3558179483314004),
        ("1 slug ft/s", "momentum", 4.4482216152605),
        # Exact by definition: international nautical mile, 1929; the bar.
        ("1 kn", "speed", 1852 / 3600),
        ("1 bar", "pressure", 1e5),
        # Conventional columns and the pound-force per square inch: from memory, NIST SP 811.
        ("1 mmHg", "pressure", 133.3224),
        ("1 inHg", "pressure", 3386.389),
        ("1 psi", "pressure", 6894.757),
    ],
)
def test_published_factors(text, dimension, value):
    rounded = 1e-6 if text.split()[1] in {"mmHg", "inHg", "psi"} else 2.3e-16
    assert units.parse(text, dimension) == pytest.approx(value, rel=rounded, abs=0.0)


def test_arrow_energy_worked_apart():
    # Computed from the definitions, no published evidence: 400 gr at 300 ft/s.
    mass = units.parse("400 gr", "mass")
    speed = units.parse("300 ft/s", "speed")
    assert mass * speed**2 / 2 == pytest.approx(108.36028, abs=5.1e-6)
    # With gr and ft/s the divisor of the trade's formula is 450 436.68.
    assert units.from_si(mass * speed**2 / 2, "energy", "ft lbf") == pytest.approx(
        400 * 300**2 / 450_436.68, rel=1e-8
    )
