"""Requests made from the worked examples: varied so that they may be right, or spoilt."""

import copy
import json
import re
from collections import defaultdict
from functools import cache
from pathlib import Path

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"

_QUANTITY = re.compile(r"(-?[0-9.]+)( ?)([^0-9].*)?")

ODD = (
    None,
    True,
    False,
    0,
    -1,
    1,
    0.5,
    -0.0,
    5e-324,
    1e308,
    -1e308,
    10**20,
    10**399,
    2**63,
    "",
    " ",
    "0 m",
    "-1 m",
    "1e308 m",
    "1e-320 m",
    "1 m; 2",
    "NaN m",
    "inf m",
    "9**9**9 m",
    "1 m m",
    "٣ m",
    "1\u00a0m",
    "\u0000",
    "\ufeff1 m",
    "😀",
    "a" * 5000,
    "%n%s%x",
    "../../etc/passwd",
    "${x}",
    "<b>",
    [],
    {},
    [[]],
    [{}],
    {"": {}},
    {"model": None},
    {"model": "constant", "parameters": None},
    {"from": "1 m", "to": "2 m", "step": "1 mm"},
)
"""Values that no member expects, or hardly any."""


@cache
def examples():
    """Name of a computation -> its worked example."""
    return {
        path.name.removesuffix(".request.json"): json.loads(path.read_text(encoding="utf-8"))
        for path in sorted(EXAMPLES.glob("*.request.json"))
    }


@cache
def _pool():
    """Name of a member -> values that it has anywhere in the examples."""
    found = defaultdict(list)
    for body in examples().values():
        for holder, key in places(body):
            if isinstance(key, str) and holder[key] not in found[key]:
                found[key].append(holder[key])
    return found


def places(value):
    """Every (holder, key) below a value, in order."""
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for key, inner in items:
        yield value, key
        if isinstance(inner, dict | list):
            yield from places(inner)


def varied(body, random):
    """A copy with a few members changed to what may be right as well."""
    return _changed(body, random, (_scaled, _scaled, _scaled, _swapped, _dropped, _added, _listed))


def spoilt(body, random):
    """A copy with a few members changed to whatever."""
    return _changed(body, random, (_scaled, _swapped, _dropped, _added, _listed, _odd, _odd, _odd))


def _changed(body, random, ways):
    body = copy.deepcopy(body)
    for _ in range(min(6, 1 + int(random.expovariate(0.7)))):
        found = list(places(body))
        if not found:
            break
        holder, key = random.choice(found)
        random.choice(ways)(holder, key, random)
    return body


def _scaled(holder, key, random):
    value = holder[key]
    factor = random.lognormvariate(0.0, 0.3)
    if random.random() < 0.1:
        factor = random.choice((0.0, -1.0, 1e-6, 1e-3, 100.0, 1e6))
    if isinstance(value, str) and (match := _QUANTITY.fullmatch(value)):
        number = f"{float(match[1]) * factor:.6g}" if _is_float(match[1]) else match[1]
        holder[key] = f"{number}{match[2]}{match[3] or ''}"
    elif isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15:
        scaled = value * factor
        holder[key] = round(scaled) if isinstance(value, int) else scaled


def _is_float(text):
    try:
        float(text)
    except ValueError:
        return False
    return True


def _swapped(holder, key, random):
    pool = _pool().get(key) if isinstance(key, str) else None
    if pool:
        holder[key] = copy.deepcopy(random.choice(pool))


def _dropped(holder, key, random):
    del holder[key]


def _added(holder, key, random):
    if isinstance(holder, dict):
        name = random.choice(sorted(_pool()))
        holder[name] = copy.deepcopy(random.choice(_pool()[name]))


def _listed(holder, key, random):
    value = holder[key]
    if isinstance(value, list) and value:
        value.insert(random.randrange(len(value)), copy.deepcopy(random.choice(value)))
    elif random.random() < 0.1:
        holder[key] = [value]


def _odd(holder, key, random):
    holder[key] = copy.deepcopy(random.choice(ODD))


TOKENS = (
    b"{",
    b"}",
    b"[",
    b"]",
    b'"',
    b":",
    b",",
    b"\\",
    b"\\u",
    b"\\ud800",
    b"\\u0000",
    b"NaN",
    b"-Infinity",
    b"1e999",
    b"1E-999",
    b"-",
    b"0",
    b"9" * 600,
    b"null",
    b"true",
    b"\x00",
    b"\xff",
    b"\xc0\xaf",
    b"\xed\xa0\x80",
    b"\xef\xbb\xbf",
    b"\xf4\x90\x80\x80",
    b"[" * 40,
    b'{"a":' * 40,
    b"\r\n",
    b" " * 200,
    b'"a":1,"a":1,',
)


def torn(body, random):
    """The bytes with a few of them changed, cut, moved or doubled."""
    body = bytearray(body)
    for _ in range(1 + int(random.expovariate(0.8))):
        at = random.randrange(len(body) + 1)
        end = min(len(body), at + int(random.expovariate(0.1)))
        way = random.randrange(5)
        if way == 0:
            body[at:at] = random.choice(TOKENS)
        elif way == 1:
            del body[at:end]
        elif way == 2:
            body[at:at] = body[at:end] * random.choice((1, 2, 50))
        elif way == 3 and at < len(body):
            body[at] ^= 1 << random.randrange(8)
        else:
            body[at:end] = random.choice(TOKENS)
    return bytes(body)
