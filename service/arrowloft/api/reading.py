"""A request's body as one strict JSON object, or a problem that says where and why not."""

import json
import re
from collections.abc import Iterator
from typing import Any, NoReturn

from flask import Request
from werkzeug.exceptions import LengthRequired, RequestEntityTooLarge, UnsupportedMediaType

from arrowloft.plugin.time_limit import Running

DEEPEST = 32
"""Most levels of nesting; the deepest request that means anything has five."""
DIGITS = 400
"""Most digits of a whole number: the largest float has 309."""
_KEPT = "arrowloft.body"
"""Where a request's environment keeps the body read."""


class _Sender:
    """Takes the time that a body is waited for."""

    kind, name = "caller", "body"


SENDER = _Sender()
"""Who is to blame, before the time limit, for a body that comes too slowly."""

# An unterminated string matches to the end of the text, so that the scan stays linear.
_STRING_OR_BRACKET = re.compile(r'"(?:[^"\\]|\\.)*(?:"|\Z)|[\[\]{}]', re.DOTALL)


class MalformedJson(ValueError):
    """The body is not one strict JSON object.

    pointer: JSON pointer to the member at fault, None where none can be named.
    detail: what is wrong and what to do.
    """

    def __init__(self, detail: str, pointer: str | None = None) -> None:
        super().__init__(detail)
        self.detail = detail
        self.pointer = pointer


class _Fault(ValueError):
    """Something strict JSON refuses; `_locate` finds out where it stands."""


class _Refused:
    """Stands where a refused value stood, while `_locate` looks for it."""

    def __init__(self, detail: str) -> None:
        self.detail = detail


def escape(token: str | int) -> str:
    """One step of a JSON pointer, escaped after RFC 6901."""
    return str(token).replace("~", "~0").replace("/", "~1")


def read_object(request: Request, limit: int) -> dict[str, Any]:
    """The request's body as a JSON object of at most `limit` bytes.

    Raises UnsupportedMediaType (415), LengthRequired (411), RequestEntityTooLarge (413)
    or MalformedJson (400).
    """
    _check_media_type(request)
    body = _body(request, limit)
    request.environ[_KEPT] = body
    return parse_object(body)


def body_of(request: Request) -> bytes:
    """The body that `read_object` has read: what came over the wire can be read once only."""
    return request.environ[_KEPT]  # type: ignore[no-any-return]


def _check_media_type(request: Request) -> None:
    media_type = request.mimetype
    if media_type != "application/json" and not (
        media_type.startswith("application/") and media_type.endswith("+json")
    ):
        raise UnsupportedMediaType(
            "Send the request as JSON, with the header Content-Type: application/json."
        )
    if request.mimetype_params.get("charset", "utf-8").lower() not in ("utf-8", "utf8"):
        raise UnsupportedMediaType("JSON is sent in UTF-8: leave the charset out.")
    if request.headers.get("Content-Encoding", "identity").lower() != "identity":
        raise UnsupportedMediaType("Send the body uncompressed, without Content-Encoding.")


def _body(request: Request, limit: int) -> bytes:
    """All bytes of the body; a body over the limit is refused, never cut.

    A chunked body has no length to check beforehand, so one byte more than the limit
    is asked for. A server that does not mark the end of its input cannot be asked.
    """
    length = request.content_length
    if length is None:
        if not request.headers.get("Transfer-Encoding"):
            return b""
        if not request.environ.get("wsgi.input_terminated"):
            raise LengthRequired("Send the body with a Content-Length.")
    elif length > limit:
        raise too_large(limit)
    source = request.environ["wsgi.input"] if length is None else request.stream
    parts: list[bytes] = []
    wanted = limit + 1
    with Running(SENDER):
        while wanted and (part := source.read(wanted)):
            parts.append(part)
            wanted -= len(part)
    if not wanted:
        raise too_large(limit)
    return b"".join(parts)


def too_large(limit: int) -> RequestEntityTooLarge:
    """The refusal of a body over the limit."""
    return RequestEntityTooLarge(f"Send at most {limit} bytes; ask for fewer things at once.")


def parse_object(body: bytes) -> dict[str, Any]:
    """One JSON object from UTF-8 bytes; everything RFC 8259 leaves open is refused.

    Refused: duplicate member names, NaN and infinities, whole numbers over DIGITS digits,
    nesting over DEEPEST levels, half surrogate pairs, anything but an object at the top.
    Raises MalformedJson.
    """
    if not body.strip():
        raise MalformedJson("The body is empty: send a JSON object.")
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as error:
        raise MalformedJson(
            f"The body is not UTF-8 at byte {error.start}: send JSON in UTF-8."
        ) from None
    _check_depth(text)
    try:
        value = _STRICT.decode(text)
    except json.JSONDecodeError as error:
        raise MalformedJson(
            f"The body is not JSON at line {error.lineno}, column {error.colno} "
            f"({error.msg}): correct it there."
        ) from None
    except _Fault:
        _locate(text)
    if not isinstance(value, dict):
        raise MalformedJson("The body is no JSON object: send one in braces {...}.", "")
    if "\\u" in text:
        _check_surrogates(value)
    return value


def _check_depth(text: str) -> None:
    if text.count("[") + text.count("{") <= DEEPEST:
        return
    depth = 0
    for match in _STRING_OR_BRACKET.finditer(text):
        mark = match.group()
        if mark in ("[", "{"):
            depth += 1
            if depth > DEEPEST:
                raise MalformedJson(
                    f"The body is nested deeper than {DEEPEST} levels: "
                    "send the members as the API document shows them."
                )
        elif mark in ("]", "}"):
            depth -= 1


def _strict_pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        raise _Fault
    return members


def _strict_integer(digits: str) -> int:
    if len(digits) > DIGITS:
        raise _Fault
    return int(digits)


def _strict_constant(_: str) -> NoReturn:
    raise _Fault


# Decoders are made once: json.loads with hooks makes one for every call.
_STRICT = json.JSONDecoder(
    object_pairs_hook=_strict_pairs, parse_int=_strict_integer, parse_constant=_strict_constant
)


def _marked_pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members: dict[str, Any] = {}
    for name, value in pairs:
        if name in members:
            value = _Refused("The member stands here twice: keep one of them.")
        members[name] = value
    return members


def _marked_integer(digits: str) -> Any:
    if len(digits) > DIGITS:
        return _Refused(f"The number has {len(digits)} digits: give at most {DIGITS}.")
    return int(digits)


def _marked_constant(name: str) -> _Refused:
    return _Refused(f"{name} is no JSON number: give a finite one, or leave the member out.")


_MARKING = json.JSONDecoder(
    object_pairs_hook=_marked_pairs, parse_int=_marked_integer, parse_constant=_marked_constant
)


def _locate(text: str) -> NoReturn:
    """Parse again, slowly, and name the first refused value's place."""
    try:
        value = _MARKING.decode(text)
    except json.JSONDecodeError as error:
        raise MalformedJson(
            f"The body is not JSON at line {error.lineno}, column {error.colno} "
            f"({error.msg}): correct it there."
        ) from None
    for pointer, item in _walk(value, ""):
        if isinstance(item, _Refused):
            raise MalformedJson(item.detail, pointer)
    raise AssertionError("a fault was seen, and is gone")


def _walk(value: Any, pointer: str) -> Iterator[tuple[str, Any]]:
    """Every value with its pointer, in the order of the text."""
    yield pointer, value
    if isinstance(value, dict):
        for name, member in value.items():
            yield from _walk(member, f"{pointer}/{escape(name)}")
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from _walk(item, f"{pointer}/{index}")


def _check_surrogates(value: dict[str, Any]) -> None:
    """Refuse text that UTF-8 cannot carry: half a surrogate pair, escaped."""
    for pointer, item in _walk(value, ""):
        names = item if isinstance(item, dict) else (item,) if isinstance(item, str) else ()
        if any(not _encodable(name) for name in names):
            where = pointer if _encodable(pointer) else None
            raise MalformedJson(
                "The text holds half of a surrogate pair: send whole characters.", where
            )


def _encodable(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True
