"""How many may wait: a full server says so at once.

Where the kernel tells (TCP_INFO on Linux), each worker looks how many connections wait on the
sockets it listens on, and how long the one it has taken has waited. Who is turned away is
answered, under an id that is new, before a line of the request is parsed: whoever turns away must
be much quicker than whoever computes, or a server with twice its load would do little else.
Elsewhere nobody is turned away here.
"""

import socket
import struct
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from arrowloft.api.problems import KINDS, Problem
from arrowloft.api.resource import ALWAYS_ANSWERED
from arrowloft.operation.trace_context import new_id
from arrowloft.operation.wire import Written, written

LATE = 3.0
"""Seconds after which whoever sent a request has probably given up: the service does better by
those who came since."""

RETRY_AFTER = 1
"""Seconds after which to ask again: by then a full queue of usual requests has been worked off."""

# struct tcp_info of linux/tcp.h, of which later kernels only make more: eight bytes, then words.
_INFO = struct.Struct("=8B24I")
_STATE, _LISTENING = 0, 10
_WAITING = 8 + 4
"""tcpi_unacked: of a listening socket, connections that are not yet accepted."""
_SINCE_DATA = 8 + 11
"""tcpi_last_data_recv: milliseconds since the last data came."""
_TCP_INFO = getattr(socket, "TCP_INFO", None)

_LINE = 64
"""Bytes in which a request for the state of the service has said what it wants."""
_ANSWERED = tuple(
    f"{method} {path}{end}".encode()
    for method in ("GET", "HEAD")
    for path in ALWAYS_ANSWERED
    for end in (" ", "?")
)
_AT_ONCE = 1 << 17
"""Bytes read of a request that is turned away: what is left unread would spoil the reply."""


@dataclass(frozen=True, kw_only=True)
class Admission:
    """Whom a worker turns away.

    listening: sockets that it takes requests from.  most: requests that may wait there.
    """

    listening: Sequence[Any] = ()
    most: int = 0

    def turned_away(self, client: Any) -> bytes | None:
        """The method, where the client was turned away; None where its request is due.

        client: a connection just accepted; its request is left unread in the latter case.
        """
        reply = self._refusal(client)
        if reply is None:
            return None
        begin = _at_hand(client, _LINE, socket.MSG_PEEK)
        if begin.startswith(_ANSWERED):
            return None
        method = begin.partition(b" ")[0]
        _at_hand(client, _AT_ONCE)
        with suppress(OSError):  # gone, or slow to read: it is told nothing, then
            client.send(reply.reply(head=method == b"HEAD", request_id=new_id()))
            client.shutdown(socket.SHUT_WR)
        return method

    def waiting(self) -> int:
        """Connections that wait for a worker; 0 where nobody knows."""
        found = (_info(one) for one in self.listening)
        return sum(info[_WAITING] for info in found if info and info[_STATE] == _LISTENING)

    def _refusal(self, client: Any) -> Written | None:
        if self.listening and self.waiting() > self.most:
            return self._full
        return self._late if waited(client) > LATE else None

    @cached_property
    def _full(self) -> Written:
        return _refusal("Too many requests wait.")

    @cached_property
    def _late(self) -> Written:
        return _refusal(f"The request has waited longer than {LATE:g} s.")


def waited(client: Any) -> float:
    """Seconds since the last data came from a client; 0 where nobody knows."""
    info = _info(client)
    return info[_SINCE_DATA] / 1000.0 if info else 0.0


def _info(connection: Any) -> tuple[int, ...] | None:
    if _TCP_INFO is None:
        return None
    try:
        found = connection.getsockopt(socket.IPPROTO_TCP, _TCP_INFO, _INFO.size)
    except (OSError, AttributeError):
        return None  # closed meanwhile, or no TCP, as a Unix socket
    return _INFO.unpack(found) if len(found) == _INFO.size else None


def _at_hand(client: Any, most: int, flags: int = 0) -> bytes:
    """What a client has sent already: nobody waits for more."""
    with suppress(OSError):
        return bytes(client.recv(most, flags | socket.MSG_DONTWAIT))
    return b""


def _refusal(reason: str) -> Written:
    problem = Problem("overloaded", f"{reason} {KINDS['overloaded'].advice}")
    return written(problem, [("Retry-After", str(RETRY_AFTER))])
