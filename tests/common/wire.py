"""HTTP/1.1 as bytes on a socket: requests that no library would send, replies read to their end."""

import json
import socket
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

_PART = 65536
_LONGEST_HEAD = 1 << 20


class Cut(OSError):
    """The connection ended in the midst of a reply, or what came is none."""


class NoReply(Cut):
    """The connection ended before the first byte of a reply."""


@dataclass(frozen=True)
class Reply:
    """One reply.

    status: its code.  head: status line and headers as they came.  body: without framing.
    """

    status: int
    head: bytes
    body: bytes

    def header(self, name: str) -> str | None:
        """The first header of that name."""
        return _header(self.head.lower(), self.head, name.lower().encode())

    @property
    def last(self) -> bool:
        """Whether the server closes the connection after it."""
        return (self.header("connection") or "").lower() == "close"


def message(
    method: str,
    path: str,
    body: Any = None,
    headers: Mapping[str, str] | None = None,
    keep: bool = False,
) -> bytes:
    """A well-formed request; a body that is not bytes is sent as JSON."""
    lines = {"Host": "localhost"}
    payload = b""
    if body is not None:
        payload = body if isinstance(body, bytes) else json.dumps(body).encode()
        lines |= {"Content-Type": "application/json", "Content-Length": str(len(payload))}
    if not keep:
        lines["Connection"] = "close"
    lines |= headers or {}
    head = "".join(f"{name}: {value}\r\n" for name, value in lines.items())
    return f"{method} {path} HTTP/1.1\r\n{head}\r\n".encode() + payload


def exchange(port: int, request: bytes, patience: float = 10.0) -> Reply:
    """Send a request on a connection of its own to 127.0.0.1, and read the reply.

    patience: seconds that any one step may take.  Raises OSError.
    """
    with socket.create_connection(("127.0.0.1", port), timeout=patience) as line:
        line.sendall(request)
        return read_reply(line, request.startswith(b"HEAD "))[0]


def read_reply(line: socket.socket, bare: bool = False, rest: bytes = b"") -> tuple[Reply, bytes]:
    """The next reply, and what came after it.

    bare: the reply to HEAD, which has no body.  rest: bytes that were read before.
    Raises Cut, NoReply, TimeoutError or another OSError.
    """
    head, rest = _head(line, rest)
    status = _status(head)
    if 100 <= status < 200 and status != 101:
        return read_reply(line, bare, rest)
    if bare or status in (101, 204, 304):
        return Reply(status, head, b""), rest
    lower = head.lower()
    if b"\r\ntransfer-encoding: chunked" in lower:
        body, rest = _chunked(line, rest)
    elif (length := _header(lower, head, b"content-length")) is not None:
        body, rest = _exactly(line, rest, int(length))
    else:
        body, rest = _all(line, rest), b""
    return Reply(status, head, body), rest


def _head(line: socket.socket, rest: bytes) -> tuple[bytes, bytes]:
    begun = bool(rest)
    while b"\r\n\r\n" not in rest:
        part = line.recv(_PART)
        if not part:
            raise Cut("cut in the head") if begun else NoReply("no reply")
        begun = True
        rest += part
        if len(rest) > _LONGEST_HEAD or not rest.startswith(b"HTTP/"[: len(rest)]):
            raise Cut("no HTTP reply")
    head, _, rest = rest.partition(b"\r\n\r\n")
    return head, rest


def _status(head: bytes) -> int:
    try:
        return int(head.split(b" ", 2)[1])
    except (IndexError, ValueError):
        raise Cut("no status line") from None


def _header(lower: bytes, head: bytes, name: bytes) -> str | None:
    start = lower.find(b"\r\n" + name + b":")
    if start < 0:
        return None
    start += len(name) + 3
    end = head.find(b"\r\n", start)
    return head[start : end if end >= 0 else None].decode("latin-1").strip()


def _exactly(line: socket.socket, rest: bytes, count: int) -> tuple[bytes, bytes]:
    parts, missing = [rest], count - len(rest)
    while missing > 0:
        part = line.recv(min(missing, _PART))
        if not part:
            raise Cut("cut in the body")
        parts.append(part)
        missing -= len(part)
    whole = b"".join(parts)
    return whole[:count], whole[count:]


def _chunked(line: socket.socket, rest: bytes) -> tuple[bytes, bytes]:
    parts = []
    while True:
        size, rest = _line(line, rest)
        count = int(size.split(b";")[0], 16)
        part, rest = _exactly(line, rest, count + 2)
        if count == 0:
            return b"".join(parts), rest
        parts.append(part[:-2])


def _line(line: socket.socket, rest: bytes) -> tuple[bytes, bytes]:
    while b"\r\n" not in rest:
        part = line.recv(_PART)
        if not part:
            raise Cut("cut in a chunk")
        rest += part
    found, _, rest = rest.partition(b"\r\n")
    return found, rest


def _all(line: socket.socket, rest: bytes) -> bytes:
    parts = [rest]
    while part := line.recv(_PART):
        parts.append(part)
    return b"".join(parts)
