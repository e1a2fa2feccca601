"""What an attack is made of: its bytes, and what it may be answered.

A status of 0 stands for a connection that is closed without a word.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import strangers
from wire import message

TARGET = "/v1/mark-table"
JSON_TYPE = "Content-Type: application/json\r\n"
REFUSED = frozenset({400})


@dataclass(frozen=True, kw_only=True)
class Case:
    """One attack.

    name: what it tries.  parts: what is sent.  direct, proxied: statuses that gunicorn by
    itself, and nginx in front of it, may answer.  most: replies at most, as a request that was
    smuggled would be answered as well.  closes: no more is sent after the parts.
    """

    name: str
    parts: Iterable[bytes]
    direct: frozenset[int]
    proxied: frozenset[int]
    most: int = 1
    closes: bool = False


def attempt(
    name: str,
    sent: bytes | Iterable[bytes],
    *allowed: int,
    proxied: Iterable[int] = (),
    most: int = 1,
    closes: bool = False,
) -> Case:
    direct = frozenset(allowed) or REFUSED
    return Case(
        name=name,
        parts=(sent,) if isinstance(sent, bytes) else sent,
        direct=direct,
        proxied=frozenset(proxied) or direct,
        most=most,
        closes=closes,
    )


@cache
def demo_body() -> bytes:
    return message("POST", TARGET, strangers.demo_request()).partition(b"\r\n\r\n")[2]


SMUGGLED = b"GET /smuggled HTTP/1.1\r\nHost: x\r\n\r\n"


def post(headers: str, body: bytes = b"", path: str = TARGET) -> bytes:
    """A POST with these header lines, none of which is added to."""
    return f"POST {path} HTTP/1.1\r\nHost: x\r\n{JSON_TYPE}{headers}\r\n".encode("latin-1") + body


def chunked(body: bytes) -> bytes:
    return b"%x\r\n%b\r\n0\r\n\r\n" % (len(body), body)


def get(head: str, path: str = "/healthz", version: str = "HTTP/1.1") -> bytes:
    return f"GET {path} {version}\r\n{head}\r\n".encode("latin-1")


def sized(body: bytes, extra: str = "") -> bytes:
    return post(f"{extra}Content-Length: {len(body)}\r\n", body)
