"""JSON in one form only, after RFC 8785, and the digest of it.

Members stand sorted by their names' UTF-16 code units, nothing stands between the tokens,
texts escape what must be escaped, numbers are written as ECMAScript writes a double:
1 and 1.0 and 1e0 are the same number, and the same bytes. So the digest outlives a reply's
way through a browser, a database or a formatter.
"""

import hashlib
import json
import math
from typing import Any

import orjson

_EXACT = 2**53
"""Whole numbers up to here are doubles."""
_LEAST_PLAIN, _LEAST_EXPONENT = -6, 21
"""Powers of ten from which ECMAScript writes a double without an exponent, and with one again."""


def digest(value: Any) -> str:
    """SHA-256 of the canonical JSON, as `sha256:` and 64 hexadecimal digits.

    Raises ValueError.
    """
    return f"sha256:{hashlib.sha256(canonical(value)).hexdigest()}"


def canonical(value: Any) -> bytes:
    """The value, as a JSON parser gives it, as the bytes of RFC 8785.

    Raises ValueError for a number that no double holds, and for half a surrogate pair.
    """
    parts: list[str] = []
    _write(value, parts, {})
    return "".join(parts).encode()


_encoded = json.JSONEncoder(ensure_ascii=False).encode
"""A text, true, false or null: the encoder is made once."""

_Names = dict[tuple[str, ...], list[tuple[str, str]]]
"""Names of an object's members -> each with what stands before its value, in order.

The rows of a table have the same names: they are put into order once.
"""


def _write(value: Any, parts: list[str], known: _Names) -> None:
    if isinstance(value, float):
        parts.append(_number(value))
    elif isinstance(value, dict):
        names = tuple(value)
        if names not in known:
            known[names] = [(name, f"{_encoded(name)}:") for name in sorted(names, key=_code_units)]
        opening = "{"
        for name, before in known[names]:
            parts.append(opening + before)
            _write(value[name], parts, known)
            opening = ","
        parts.append("}" if value else "{}")
    elif isinstance(value, list):
        _write_list(value, parts, known)
    elif isinstance(value, int) and not isinstance(value, bool):
        parts.append(str(value) if -_EXACT <= value <= _EXACT else _number(_double(value)))
    else:
        parts.append(_encoded(value))


def _write_list(values: list[Any], parts: list[str], known: _Names) -> None:
    if len(values) > 1 and all(type(value) is float for value in values):
        parts.append(_numbers(values))
        return
    opening = "["
    for item in values:
        parts.append(opening)
        _write(item, parts, known)
        opening = ","
    parts.append("]" if values else "[]")


def _numbers(values: list[float]) -> str:
    """An array of doubles, as a sweep has columns of a hundred thousand.

    orjson writes the same digits in a twentieth of the time, and otherwise only where it writes
    an exponent, or a whole number.
    """
    text = orjson.dumps(values).decode()
    if "e" in text or "n" in text:
        return f"[{','.join(map(_number, values))}]"
    ended = f"{text[:-1]},"
    return f"{ended.replace('-0.0,', '0,').replace('.0,', ',')[:-1]}]"


def _code_units(name: str) -> bytes:
    return name.encode("utf-16-be")


def _double(value: int) -> float:
    try:
        return float(value)
    except OverflowError:
        return math.inf


def _number(value: float) -> str:
    """Number::toString of ECMAScript; Python's repr has the same digits, not the same form."""
    text = repr(value)
    if "e" not in text and "n" not in text:
        return "0" if text == "-0.0" else text.removesuffix(".0")
    if not math.isfinite(value):
        raise ValueError("a number is too large for a double, or none")
    mantissa, exponent = text.split("e")
    power = int(exponent)
    if not _LEAST_PLAIN <= power < _LEAST_EXPONENT:
        return f"{mantissa.removesuffix('.0')}e{power:+d}"
    sign = "-" if value < 0.0 else ""
    digits = mantissa.removeprefix("-").replace(".", "")
    if power < 0:
        return f"{sign}0.{'0' * (-power - 1)}{digits}"
    return f"{sign}{digits.ljust(power + 1, '0')}"
