"""A request's body as one strict JSON object, or a problem that says where and why not."""

import json
import re
from collections.abc import Iterator
from functools import cache
from typing import Any, NoReturn, Protocol

from flask import Request
from werkzeug.exceptions import (
    BadRequest,
    HTTPException,
    LengthRequired,
    RequestEntityTooLarge,
    UnsupportedMediaType,
)

from arrowloft.plugin.time_limit import Running

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


class Bounds(Protocol):
    """What a body may have: bytes, levels of nesting, digits of a whole number."""

    @property
    def body(self) -> int:
        """Bytes."""

    @property
    def depth(self) -> int:
        """Levels; the deepest request that means anything has five."""

    @property
    def digits(self) -> int:
        """Digits; the largest float has 309."""


def read_object(request: Request, bounds: Bounds) -> dict[str, Any]:
    """The request's body as a JSON object within these bounds.

    Raises UnsupportedMediaType (415), LengthRequired (411), RequestEntityTooLarge (413),
    BadRequest (400) or MalformedJson (400).
    """
    _check_media_type(request)
    body = _body(request, bounds.body)
    request.environ[_KEPT] = body
    return parse_object(body, depth=bounds.depth, digits=bounds.digits)


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
        coding = request.headers.get("Transfer-Encoding")
        if not coding:
            return b""
        if coding.strip().lower() != "chunked":
            raise BadRequest("Send the body with a Content-Length, or chunked and no more.")
        if not request.environ.get("wsgi.input_terminated"):
            raise LengthRequired("Send the body with a Content-Length.")
    elif length > limit:
        raise too_large(limit)
    source = request.environ["wsgi.input"] if length is None else request.stream
    parts: list[bytes] = []
    wanted = limit + 1
    with Running(SENDER):
        while wanted and (part := _received(source, wanted)):
            parts.append(part)
            wanted -= len(part)
    if not wanted:
        raise too_large(limit)
    return b"".join(parts)


def _received(source: Any, wanted: int) -> bytes:
    """The next bytes of a body, at most so many; none at its end."""
    try:
        return source.read(wanted)  # type: ignore[no-any-return]
    except HTTPException:
        raise
    except Exception:
        # Each server raises what it likes for chunks that are none, or a sender that is gone.
        raise BadRequest(
            "The body broke off, or its chunks cannot be read: send it anew."
        ) from None


def too_large(limit: int) -> RequestEntityTooLarge:
    """The refusal of a body over the limit."""
    return RequestEntityTooLarge(f"Send at most {limit} bytes; ask for fewer things at once.")


def parse_object(body: bytes, *, depth: int = 32, digits: int = 400) -> dict[str, Any]:
    """One JSON object from UTF-8 bytes; everything RFC 8259 leaves open is refused.

    Refused: duplicate member names, NaN and infinities, whole numbers over `digits` digits,
    nesting over `depth` levels, half surrogate pairs, anything but an object at the top.
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
    _check_depth(text, depth)
    try:
        value = _strict(digits).decode(text)
    except json.JSONDecodeError as error:
        raise MalformedJson(
            f"The body is not JSON at line {error.lineno}, column {error.colno} "
            f"({error.msg}): correct it there."
        ) from None
    except _Fault:
        _locate(text, digits)
    if not isinstance(value, dict):
        raise MalformedJson("The body is no JSON object: send one in braces {...}.", "")
    if "\\u" in text:
        _check_surrogates(value)
    return value


def _check_depth(text: str, most: int) -> None:
    if text.count("[") + text.count("{") <= most:
        return
    depth = 0
    for match in _STRING_OR_BRACKET.finditer(text):
        mark = match.group()
        if mark in ("[", "{"):
            depth += 1
            if depth > most:
                raise MalformedJson(
                    f"The body is nested deeper than {most} levels: "
                    "send the members as the API document shows them."
                )
        elif mark in ("]", "}"):
            depth -= 1


def _strict_pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        raise _Fault
    return members


def _strict_constant(_: str) -> NoReturn:
    raise _Fault


@cache
def _strict(most: int) -> json.JSONDecoder:
    """A decoder that refuses whole numbers of more digits.

    Made once: json.loads with hooks makes one for every call.
    """

    def integer(digits: str) -> int:
        if len(digits) > most:
            raise _Fault
        return int(digits)

    return json.JSONDecoder(
        object_pairs_hook=_strict_pairs, parse_int=integer, parse_constant=_strict_constant
    )


def _marked_pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members: dict[str, Any] = {}
    for name, value in pairs:
        if name in members:
            value = _Refused("The member stands here twice: keep one of them.")
        members[name] = value
    return members


def _marked_constant(name: str) -> _Refused:
    return _Refused(f"{name} is no JSON number: give a finite one, or leave the member out.")


def _marking(most: int) -> json.JSONDecoder:
    """A decoder that puts a mark where `_strict` refuses."""

    def integer(digits: str) -> Any:
        if len(digits) > most:
            return _Refused(f"The number has {len(digits)} digits: give at most {most}.")
        return int(digits)

    return json.JSONDecoder(
        object_pairs_hook=_marked_pairs, parse_int=integer, parse_constant=_marked_constant
    )


def _locate(text: str, digits: int) -> NoReturn:
    """Parse again, slowly, and name the first refused value's place."""
    try:
        value = _marking(digits).decode(text)
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
