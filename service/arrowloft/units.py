"""Units: the only conversions of the project, and how a request writes a quantity.

Inside, every quantity is in the coherent unit of the SI. One table says what a unit is
worth; a request's text is read by a grammar of its own, never by a general expression
parser, so that no text can be expensive or mean something its writer did not see.

    quantity = number [space] unit        "281 ft/s", "5.9mm", "-3 degC", "1.2e3 J"
    number   = as in JSON, with an exponent of at most two digits
    unit     = exactly one of the symbols of the dimension asked for
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction
from functools import lru_cache
from math import pi
from types import MappingProxyType
from typing import Any, TypeVar, overload

LONGEST = 64
"""Characters of the longest text that is read."""

_T = TypeVar("_T")


class UnitError(ValueError):
    """A text that is no quantity of the dimension asked for, or a unit that is none of its."""


@dataclass(frozen=True)
class Unit:
    """A unit: SI value = value * factor + offset; the offset is for temperatures alone."""

    symbol: str
    factor: float
    offset: float = 0.0


def _units(
    factors: Mapping[str, Fraction | float], offsets: Mapping[str, Fraction] | None = None
) -> Mapping[str, Unit]:
    """Units by symbol, each factor the float nearest to its exact value."""
    offsets = offsets or {}
    return MappingProxyType(
        {
            symbol: Unit(symbol, float(factor), float(offsets.get(symbol, 0)))
            for symbol, factor in factors.items()
        }
    )


# What the other factors follow from, each exact by definition.
_ONE = Fraction(1)
_FOOT = Fraction("0.3048")  # international yard and pound agreement, 1959: yard 0.9144 m
_INCH = _FOOT / 12
_POUND = Fraction("0.45359237")  # the same agreement; 7000 grains, 16 ounces
_MILE = 5280 * _FOOT
_NAUTICAL_MILE = Fraction(1852)
_HOUR = Fraction(3600)
_GRAVITY = Fraction("9.80665")  # standard acceleration of free fall, 3rd CGPM, 1901
_POUND_FORCE = _POUND * _GRAVITY
_MERCURY = Fraction("13595.1") * _GRAVITY  # conventional column, Pa per metre

_LENGTH = _units(
    {
        "m": _ONE,
        "cm": _ONE / 100,
        "mm": _ONE / 1000,
        "km": _ONE * 1000,
        "in": _INCH,
        "ft": _FOOT,
        "yd": 3 * _FOOT,
    }
)

DIMENSIONS: Mapping[str, Mapping[str, Unit]] = MappingProxyType(
    {
        "length": _LENGTH,
        "distance": _LENGTH,  # along the line of sight or the path: chosen apart in replies
        "mass": _units(
            {
                "kg": _ONE,
                "g": _ONE / 1000,
                "mg": _ONE / 1_000_000,
                "gr": _POUND / 7000,
                "oz": _POUND / 16,
                "lb": _POUND,
            }
        ),
        "speed": _units(
            {
                "m/s": _ONE,
                "km/h": 1000 / _HOUR,
                "ft/s": _FOOT,
                "mph": _MILE / _HOUR,
                "kn": _NAUTICAL_MILE / _HOUR,
            }
        ),
        "force": _units({"N": _ONE, "kgf": _GRAVITY, "lbf": _POUND_FORCE}),
        "energy": _units({"J": _ONE, "ft lbf": _FOOT * _POUND_FORCE}),
        "momentum": _units({"kg m/s": _ONE, "slug ft/s": _POUND_FORCE}),  # slug ft/s = lbf s
        "angle": _units(
            {
                "rad": _ONE,
                "mrad": _ONE / 1000,
                "deg": pi / 180,
                "arcmin": pi / 10_800,
                "arcsec": pi / 648_000,
            }
        ),
        "temperature": _units(
            {"K": _ONE, "degC": _ONE, "degF": Fraction(5, 9)},
            {"degC": Fraction("273.15"), "degF": Fraction("459.67") * 5 / 9},
        ),
        "pressure": _units(
            {
                "Pa": _ONE,
                "hPa": _ONE * 100,
                "kPa": _ONE * 1000,
                "bar": _ONE * 100_000,
                "mbar": _ONE * 100,
                "mmHg": _MERCURY / 1000,
                "inHg": _MERCURY * _INCH,
                "psi": _POUND_FORCE / _INCH**2,
            }
        ),
        "time": _units({"s": _ONE, "ms": _ONE / 1000}),
        "area": _units(
            {"m2": _ONE, "cm2": _ONE / 10_000, "mm2": _ONE / 1_000_000, "in2": _INCH**2}
        ),
        "ground_area": _units(
            {"m2": _ONE, "ha": _ONE * 10_000, "ft2": _FOOT**2, "yd2": 9 * _FOOT**2}
        ),
        "moment": _units(
            {
                "N m": _ONE,
                "N cm": _ONE / 100,
                "kgf cm": _GRAVITY / 100,
                "lbf in": _POUND_FORCE * _INCH,
                "lbf ft": _POUND_FORCE * _FOOT,
            }
        ),
        "stiffness": _units({"N m2": _ONE, "lbf in2": _POUND_FORCE * _INCH**2}),
        "mass_per_force": _units(
            {"gr/lbf": _POUND / 7000 / _POUND_FORCE, "g/N": _ONE / 1000, "kg/N": _ONE}
        ),
        "angle_rate": _units({"rad/s": _ONE, "deg/s": pi / 180, "rpm": pi / 30}),
        "inertia": _units({"kg m2": _ONE, "g cm2": _ONE / 10_000_000}),
        "density": _units({"kg/m3": _ONE}),
        "viscosity": _units({"Pa s": _ONE}),
        "number": _units({"": _ONE}),
    }
)
"""Dimension -> unit symbol -> unit. A "number" has the empty symbol: no unit is written."""

DEFAULTS: Mapping[str, str] = MappingProxyType(
    {
        "distance": "m",
        "length": "mm",
        "angle": "deg",
        "speed": "m/s",
        "time": "s",
        "mass": "g",
        "energy": "J",
        "momentum": "kg m/s",
        "force": "N",
        "temperature": "degC",
        "pressure": "hPa",
        "area": "mm2",
        "ground_area": "m2",
        "moment": "N m",
        "stiffness": "N m2",
        "mass_per_force": "gr/lbf",
        "angle_rate": "rad/s",
        "inertia": "g cm2",
        "density": "kg/m3",
        "viscosity": "Pa s",
    }
)
"""Dimension -> unit of replies where the request does not choose one."""

# Two digits of exponent and LONGEST characters cannot overflow, nor vanish to zero.
_NUMBER = r"-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{1,2})?"
_SHAPE = re.compile(rf"({_NUMBER})(?: ?(?![eE][+-]?[0-9])([A-Za-z][A-Za-z0-9/ ]*))?")


def units_of(dimension: str) -> tuple[str, ...]:
    """List the unit symbols of a dimension, in the table's order; KeyError where unknown."""
    return tuple(DIMENSIONS[dimension])


def pattern(dimension: str) -> str:
    """Regular expression of the texts that `parse` reads, for JSON Schema (ECMA-262).

    With it goes a maxLength of `LONGEST`. Python's `$` also matches before a final line
    feed, which ECMA-262's does not and `parse` refuses: use `re.fullmatch` there.
    """
    if dimension == "number":
        return f"^{_NUMBER}$"
    return f"^{_NUMBER} ?(?:{'|'.join(units_of(dimension))})$"


def parse(text: str, dimension: str) -> float:
    """SI value of a text such as "281 ft/s".

    UnitError, with a sentence that says what to write, for anything else than one number
    and one unit of the dimension; KeyError for an unknown dimension. Pure, and bounded in
    time and memory whatever the text; the last few thousand readings are kept.
    """
    if not isinstance(text, str) or len(text) > LONGEST:
        raise UnitError(
            f"write {_named(dimension)} as a text of at most {LONGEST} characters, "
            f"for example {_example(dimension)}"
        )
    return _read(text, dimension)


@overload
def to_si(values: float, dimension: str, unit: str) -> float: ...
@overload
def to_si(values: _T, dimension: str, unit: str) -> _T: ...
def to_si(values: Any, dimension: str, unit: str) -> Any:
    """SI values of values in a unit: a float, or an array of any shape.

    UnitError for a unit that is none of the dimension's; KeyError for an unknown dimension.
    """
    found = _unit(dimension, unit)
    return values * found.factor + found.offset


@overload
def from_si(values: float, dimension: str, unit: str) -> float: ...
@overload
def from_si(values: _T, dimension: str, unit: str) -> _T: ...
def from_si(values: Any, dimension: str, unit: str) -> Any:
    """Values in a unit of SI values: a float, or an array of any shape. Errors as in `to_si`."""
    found = _unit(dimension, unit)
    return (values - found.offset) / found.factor


@lru_cache(maxsize=4096)
def _read(text: str, dimension: str) -> float:
    shape = _SHAPE.fullmatch(text)
    if shape is None:
        raise UnitError(
            f"cannot read {text!a} as {_named(dimension)}: write {_form(dimension)}, "
            f"for example {_example(dimension)}"
        )
    number, symbol = shape.groups()
    unit = DIMENSIONS[dimension].get(symbol or "")
    if unit is None:
        raise UnitError(_wrong_unit(dimension, symbol or "", number))
    return float(number) * unit.factor + unit.offset


def _unit(dimension: str, symbol: str) -> Unit:
    unit = DIMENSIONS[dimension].get(symbol)
    if unit is None:
        raise UnitError(_wrong_unit(dimension, symbol))
    return unit


def _wrong_unit(dimension: str, symbol: str, number: str | None = None) -> str:
    """Say what is wrong with a unit, which ones there are, and the likeliest text."""
    named, symbol = _named(dimension), symbol[:LONGEST]
    if dimension == "number":
        example = "" if number is None else f', for example "{number}"'
        return f"{named} takes no unit, found {symbol!a}; use digits alone{example}"
    elsewhere = next((other for other, units in DIMENSIONS.items() if symbol in units), "")
    if not symbol:
        fault = f"{named} needs a unit"
    elif elsewhere:
        fault = f"{symbol!a} is a unit of {elsewhere}, and {named} is due"
    else:
        fault = f"unknown unit {symbol!a} for {named}"
    unit = DEFAULTS[dimension] if elsewhere else _likeliest(dimension, symbol)
    example = "" if number is None else f', for example "{number} {unit}"'
    return f"{fault}; use one of {', '.join(units_of(dimension))}{example}"


def _likeliest(dimension: str, symbol: str) -> str:
    """Pick the dimension's unit that looks most like the symbol, or its usual one."""
    folded = {known.casefold(): known for known in reversed(units_of(dimension))}
    near = get_close_matches(symbol.casefold(), folded, n=1)
    return folded[near[0]] if near else DEFAULTS[dimension]


def _named(dimension: str) -> str:
    words = dimension.replace("_", " ")
    return f"{'an' if words[0] in 'aeiou' else 'a'} {words}"


def _form(dimension: str) -> str:
    if dimension == "number":
        return "digits alone"
    return f"a number, at most one space and one of {', '.join(units_of(dimension))}"


def _example(dimension: str) -> str:
    return '"1.5"' if dimension == "number" else f'"1.5 {DEFAULTS[dimension]}"'
