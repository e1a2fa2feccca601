"""The grammar of quantities, and conversions as round trips."""

import ast
import math
import re
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from arrowloft import units

PAIRS = [(dimension, unit) for dimension in units.DIMENSIONS for unit in units.units_of(dimension)]
WITH_UNIT = [pair for pair in PAIRS if pair[1]]
dimensions = st.sampled_from(sorted(units.DIMENSIONS))
pairs = st.sampled_from(PAIRS)
values = st.floats(-1e9, 1e9)
# Text made of what quantities are made of comes closer to the grammar's edges than any text.
pieces = st.lists(
    st.sampled_from(
        [*"0123456789", *"+-.eE _\n\t,;*/", "NaN", "inf", "\u0661", "\uff11", "\u00a0", "\u212a"]
        + [unit for _, unit in WITH_UNIT]
    ),
    max_size=8,
).map("".join)
texts = st.one_of(st.text(max_size=80), pieces)


# Reading


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("281 ft/s", "speed", 281 * 0.3048),
        ("5.9 mm", "length", 0.0059),
        ("62 lbf", "force", 62 * 4.4482216152605),
        ("12 degC", "temperature", 285.15),
        ("59 degF", "temperature", 288.15),
        ("-40 degF", "temperature", 233.15),
        ("0 K", "temperature", 0.0),
        ("421gr", "mass", 421 * 64.79891e-6),
        ("20 yd", "distance", 18.288),
        ("-3.5e-2 mrad", "angle", -3.5e-5),
        ("1E+2 cm", "length", 1.0),
        ("80 ft lbf", "energy", 80 * 1.3558179483314004),
        ("0.5 slug ft/s", "momentum", 0.5 * 4.4482216152605),
        ("1.8e-5 Pa s", "viscosity", 1.8e-5),
        ("0.25", "number", 0.25),
        ("1" + "0" * 60 + " m", "length", 1e60),
    ],
)
def test_quantities_are_read(text, dimension, value):
    assert units.parse(text, dimension) == pytest.approx(value, rel=1e-15, abs=1e-13)


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "m",
        "1",
        "1.",
        "1. m",
        ".5 m",
        "01 m",
        "+1 m",
        "--1 m",
        "- 1 m",
        "1  m",
        "1\tm",
        "1\u00a0m",
        " 1 m",
        "1 m ",
        "1 m\n",
        "\n1 m",
        "1 m; 2",
        "1 m m",
        "1 M",
        "1 Mm",
        "1 metre",
        '1 "',
        "1_0 m",
        "1,5 m",
        "1e m",
        "1e+ m",
        "1e999 m",
        "1e100 m",
        "1e-100 m",
        "0x10 m",
        "NaN m",
        "nan m",
        "inf m",
        "Infinity m",
        "-Infinity m",
        "1/2 m",
        "2*3 m",
        "9**9**9**9",
        "9**9**9**9 m",
        "\u0661 m",  # an Arabic digit
        "\uff11 m",  # a full-width digit
        "1 \u217f",  # a Roman numeral that looks like m
        "1 m\x00",
        "1 " + " " * 70 + "m",
        "0" * 65,
        "1" * 62 + " mm",
        "1" * 5000 + " m",
        "__import__('os')",
    ],
)
def test_everything_else_is_refused(text):
    with pytest.raises(units.UnitError):
        units.parse(text, "length")


@pytest.mark.parametrize("text", ["1 ", "1 m", "1 number", "1e100", "NaN", "true", ""])
def test_a_number_takes_no_unit(text):
    with pytest.raises(units.UnitError):
        units.parse(text, "number")


@pytest.mark.parametrize("value", [5, 5.0, True, None, b"5 m", ["5 m"], {"5 m": 1}])
def test_what_is_no_text_is_refused(value):
    with pytest.raises(units.UnitError, match="as a text"):
        units.parse(value, "length")


def test_the_longest_text():
    text = "1" * (units.LONGEST - 2) + " m"
    assert units.parse(text, "length") == float(text[:-2])
    with pytest.raises(units.UnitError):
        units.parse("1" + text, "length")


@pytest.mark.parametrize(
    ("text", "dimension", "message"),
    [
        (
            "40 lbs",
            "force",
            "unknown unit 'lbs' for a force; use one of N, kgf, lbf, for example \"40 lbf\"",
        ),
        ("40", "force", 'a force needs a unit; use one of N, kgf, lbf, for example "40 N"'),
        (
            "3 m",
            "energy",
            "'m' is a unit of length, and an energy is due; use one of J, ft lbf, "
            'for example "3 J"',
        ),
        (
            "12 DEGC",
            "temperature",
            "unknown unit 'DEGC' for a temperature; use one of K, degC, degF, "
            'for example "12 degC"',
        ),
        (
            "1 s; 2",
            "time",
            "cannot read '1 s; 2' as a time: write a number, at most one space and one of "
            's, ms, for example "1.5 s"',
        ),
        (
            "1e555 m",  # not a unit called e555 m
            "time",
            "cannot read '1e555 m' as a time: write a number, at most one space and one of "
            's, ms, for example "1.5 s"',
        ),
        ("2 m", "number", "a number takes no unit, found 'm'; use digits alone, for example \"2\""),
        ("x", "number", "cannot read 'x' as a number: write digits alone, for example \"1.5\""),
    ],
)
def test_a_refusal_says_what_to_write(text, dimension, message):
    with pytest.raises(units.UnitError) as refusal:
        units.parse(text, dimension)
    assert str(refusal.value) == message


@given(texts, dimensions)
@example("1 m\n", "length")
@example("1e99 km", "length")
@example("1" * 60 + "e99 km", "length")
def test_any_text_is_read_as_the_pattern_says_or_refused_in_plain_ascii(text, dimension):
    written = len(text) <= units.LONGEST and re.fullmatch(units.pattern(dimension), text)
    try:
        value = units.parse(text, dimension)
    except units.UnitError as refusal:
        assert not written
        message = str(refusal)
        assert message.isascii()
        assert message.isprintable()
        assert len(message) < 900
    else:
        assert written
        assert math.isfinite(value)


@given(st.data(), dimensions)
def test_whatever_the_pattern_describes_is_read(data, dimension):
    text = data.draw(st.from_regex(units.pattern(dimension), fullmatch=True))
    if len(text) <= units.LONGEST:
        assert math.isfinite(units.parse(text, dimension))


@pytest.mark.parametrize(("dimension", "unit"), WITH_UNIT)
def test_each_unit_is_read_with_and_without_its_space(dimension, unit):
    assert units.parse(f"1 {unit}", dimension) == units.to_si(1.0, dimension, unit)
    assert units.parse(f"1{unit}", dimension) == units.to_si(1.0, dimension, unit)


@pytest.mark.parametrize(("dimension", "unit"), PAIRS)
def test_no_value_that_can_be_written_overflows_or_vanishes(dimension, unit):
    largest = units.parse(("9" * 50 + f"e99 {unit}").rstrip(), dimension)
    least = units.parse(("0." + "0" * 45 + f"1e-99 {unit}").rstrip(), dimension)
    assert 1e140 < largest < math.inf
    assert least > 0.0


def test_a_suspicious_text_costs_no_time():
    """Backtracking would show: each text is as near a quantity as it can be and is none."""
    for text in ("1" * 63 + "!", "1e" * 32, "0." + "0" * 61 + "!", "1 " + "m" * 61 + "!"):
        with pytest.raises(units.UnitError):
            units.parse(text, "length")


@pytest.mark.parametrize("dimension", list(units.DIMENSIONS))
def test_the_pattern_is_plain_enough_for_both_dialects(dimension):
    """Only syntax that Python and ECMA-262, with its u flag too, read alike."""
    found = units.pattern(dimension)
    assert found.startswith("^")
    assert found.endswith("$")
    assert "\\" not in found.replace("\\.", "")
    assert re.findall(r"\(\?.", found) == ["(?:"] * found.count("(")
    for unit in units.units_of(dimension):
        assert re.fullmatch(r"[A-Za-z0-9/ ]*", unit)  # nothing to escape
        assert re.fullmatch(found, f"1.5 {unit}".rstrip())


# Converting


@given(pairs, values)
def test_there_and_back(pair, value):
    dimension, unit = pair
    back = units.from_si(units.to_si(value, dimension, unit), dimension, unit)
    # An offset costs the digits that it shifts out of the float; so do subnormal floats.
    slack = 1e-12 if units.DIMENSIONS[dimension][unit].offset else 1e-300
    assert back == pytest.approx(value, rel=1e-15, abs=slack)


@given(pairs, values)
def test_what_is_written_is_what_is_converted(pair, value):
    dimension, unit = pair
    text = f"{value:.12f} {unit}".rstrip()
    assert units.parse(text, dimension) == units.to_si(float(f"{value:.12f}"), dimension, unit)


@pytest.mark.parametrize(("dimension", "unit"), PAIRS)
def test_arrays_are_converted_as_their_elements(dimension, unit):
    array = np.array([[0.0, 1.5], [-2.0, 1e6]])
    for convert in (units.to_si, units.from_si):
        found = convert(array, dimension, unit)
        assert found.shape == array.shape
        assert found.dtype == float
        assert found[1, 1] == convert(1e6, dimension, unit)
    assert array[0, 1] == 1.5  # not converted in place


def test_known_conversions_the_other_way():
    assert units.from_si(0.3048, "length", "in") == pytest.approx(12.0, rel=1e-15)
    assert units.from_si(273.15, "temperature", "degC") == 0.0
    assert units.from_si(273.15, "temperature", "degF") == pytest.approx(32.0, rel=1e-13)
    assert units.from_si(math.pi, "angle", "deg") == pytest.approx(180.0, rel=1e-15)


def test_a_unit_of_another_dimension_is_refused():
    for convert in (units.to_si, units.from_si):
        with pytest.raises(units.UnitError, match="'kg' is a unit of mass, and a length is due"):
            convert(1.0, "length", "kg")
        with pytest.raises(units.UnitError, match="a length needs a unit"):
            convert(1.0, "length", "")


def test_a_unit_of_any_length_and_script_is_refused_in_short_plain_ascii():
    for unit in ("\u217f", "\n", "m" * 1_000_000):
        with pytest.raises(units.UnitError) as refusal:
            units.from_si(1.0, "length", unit)
        assert str(refusal.value).isascii()
        assert str(refusal.value).isprintable()
        assert len(str(refusal.value)) < 200


def test_an_unknown_dimension_is_a_defect_of_the_caller():
    for call in (
        lambda: units.units_of("colour"),
        lambda: units.pattern("colour"),
        lambda: units.parse("1 m", "colour"),
        lambda: units.to_si(1.0, "colour", "m"),
        lambda: units.from_si(1.0, "colour", "m"),
    ):
        with pytest.raises(KeyError):
            call()


# The table


def test_every_dimension_has_its_si_unit_and_a_reply_unit():
    for dimension, table in units.DIMENSIONS.items():
        assert any(unit.factor == 1.0 and unit.offset == 0.0 for unit in table.values())
        assert all(symbol == unit.symbol for symbol, unit in table.items())
        assert dimension == "number" or units.DEFAULTS[dimension] in table
    assert units.DEFAULTS.keys() == units.DIMENSIONS.keys() - {"number"}


def test_a_distance_takes_what_a_length_takes():
    assert units.units_of("distance") == units.units_of("length")


def test_the_table_cannot_be_changed():
    with pytest.raises(TypeError):
        units.DIMENSIONS["mass"]["stone"] = units.Unit("stone", 6.35029318)
    with pytest.raises(TypeError):
        units.DEFAULTS["mass"] = "kg"


def test_nothing_but_the_standard_library_is_imported():
    tree = ast.parse(Path(units.__file__).read_text())
    imported = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            imported |= {name.name.split(".")[0] for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            imported.add(node.module.split(".")[0])
    assert imported
    assert imported <= sys.stdlib_module_names
