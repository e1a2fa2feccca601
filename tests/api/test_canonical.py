"""Canonical JSON against RFC 8785's own examples."""

import json
import math
import struct
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from arrowloft.api.canonical import canonical, digest


def double(bits: str) -> float:
    (value,) = struct.unpack(">d", bytes.fromhex(bits))
    return float(value)


# Double as its bits, and as it is written.
# RFC 8785, appendix B (published).
NUMBERS = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("ffefffffffffffff", "-1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("44b52d02c7e14af7", "1.0000000000000001e+23"),
    ("444b1ae4d6e2ef4e", "999999999999999700000"),
    ("444b1ae4d6e2ef4f", "999999999999999900000"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("41b3de4355555554", "333333333.33333325"),
    ("41b3de4355555555", "333333333.3333333"),
    ("41b3de4355555556", "333333333.3333334"),
    ("41b3de4355555557", "333333333.33333343"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
    ("43143ff3c1cb0959", "1424953923781206.2"),
]


@pytest.mark.parametrize(("bits", "written"), NUMBERS)
def test_numbers_as_published(bits: str, written: str) -> None:
    assert canonical(double(bits)) == written.encode()


def test_names_stand_in_the_published_order() -> None:
    """RFC 8785, 3.2.3 (published): by UTF-16 code units, which is not by code points."""
    names = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\x80": "Control",
        "\xf6": "Latin Small Letter O With Diaeresis",
    }
    assert list(json.loads(canonical(names)).values()) == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


def test_the_published_whole() -> None:
    """RFC 8785, 3.2.2 and 3.2.3 (published)."""
    text = r"""{
      "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
      "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
      "literals": [null, true, false]
    }"""
    assert canonical(json.loads(text)).decode() == (
        r'{"literals":[null,true,false],'
        r'"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"\u20ac$'
        r"""\u000f\nA'B\"\\\\\"/"}"""
    )


@pytest.mark.parametrize("number", [1, -3, 0, 2**53, -(2**53), 2**53 + 2, 10**17, 10**30])
def test_whole_numbers_are_doubles(number: int) -> None:
    assert canonical(number) == canonical(float(number))


@pytest.mark.parametrize("value", [{}, [], [[], {}], {"a": {}, "b": []}])
def test_nothing_is_written_as_such(value: Any) -> None:
    assert canonical(value) == json.dumps(value, separators=(",", ":")).encode()


@pytest.mark.parametrize("value", [math.inf, -math.inf, math.nan, 10**400, "\ud800", {"\ud800": 1}])
def test_what_no_json_text_holds_is_refused(value: Any) -> None:
    with pytest.raises(ValueError):
        canonical([value])


def test_the_digest_is_of_the_bytes() -> None:
    # As `printf '{"a":1}' | sha256sum` prints it.
    known = "015abd7f5cc57a2dd94b7590f04ad8084273905ee33ec5cebeae62276a97f862"
    assert digest({"a": 1.0}) == f"sha256:{known}"


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False)))
@example([0.0, -0.0, 1.0, -10.0, 0.1])
@example([10.05, -0.0, 1e15, 1e16, 1e-4, 1e-5, 123456.0])
def test_many_numbers_are_written_as_each_of_them(values: list[float]) -> None:
    each = [canonical(value).decode() for value in values]
    assert canonical(values).decode() == f"[{','.join(each)}]"


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_refused_among_many(bad: float) -> None:
    with pytest.raises(ValueError, match="double"):
        canonical([1.0, bad, 2.0])
