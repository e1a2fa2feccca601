"""Attacks carried out over raw sockets, one after the other, and what each was answered."""

import json
import selectors
import socket
import time
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass

from attack_forms import Case
from wire import Cut, Reply, read_reply

PATIENCE = 3.0
"""Seconds after which a server that says nothing is given up."""
_LINGER = 0.03
"""Seconds for which a further reply on the same connection is waited for."""
_MEDIA_TYPE = "application/problem+json"


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What came back.

    statuses: of the replies in order; 0: closed without one, -1: nothing within PATIENCE.
    seconds: from the last byte sent to the whole of the first reply.  first: that reply.
    """

    statuses: tuple[int, ...]
    seconds: float
    first: Reply | None

    def faults(self, case: Case, proxied: bool) -> list[str]:
        """What is not as it must be."""
        allowed = case.proxied if proxied else case.direct
        found = []
        if self.statuses[0] not in allowed:
            found.append(f"answered {self.statuses[0]}, not one of {sorted(allowed)}")
        if len(self.statuses) > case.most:
            found.append(f"{len(self.statuses)} replies {self.statuses}, not {case.most}")
        if proxied and self.first is not None and self.first.status >= 400:
            found += _misshapen(self.first)
        return found


def attack(port: int, case: Case) -> Answer:
    """Carry it out on 127.0.0.1."""
    bare = any(part.startswith(b"HEAD ") for part in case.parts if isinstance(case.parts, tuple))
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE) as line:
        line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        _send(line, case.parts)
        begin = time.perf_counter()
        if case.closes:
            with suppress(OSError):
                line.shutdown(socket.SHUT_WR)
        return _answer(line, bare, begin)


def _send(line: socket.socket, parts: Iterable[bytes]) -> None:
    """Send until all is sent, or an answer comes, or nobody takes more."""
    with selectors.DefaultSelector() as selector:
        selector.register(line, selectors.EVENT_READ | selectors.EVENT_WRITE)
        line.setblocking(False)
        for part in parts:
            rest = memoryview(part)
            while rest:
                ready = selector.select(PATIENCE)
                if not ready or ready[0][1] & selectors.EVENT_READ:
                    line.settimeout(PATIENCE)
                    return
                try:
                    rest = rest[line.send(rest) :]
                except BlockingIOError:
                    continue
                except OSError:
                    line.settimeout(PATIENCE)
                    return
        line.settimeout(PATIENCE)


def _answer(line: socket.socket, bare: bool, begin: float) -> Answer:
    statuses: list[int] = []
    first, rest, seconds = None, b"", 0.0
    while len(statuses) < 10:
        try:
            reply, rest = read_reply(line, bare, rest)
        except TimeoutError:
            statuses += [] if statuses else [-1]
            break
        except (Cut, OSError):
            statuses += [] if statuses else [0]
            break
        statuses.append(reply.status)
        if first is None:
            first, seconds = reply, time.perf_counter() - begin
            line.settimeout(_LINGER)
    return Answer(
        statuses=tuple(statuses), seconds=seconds or time.perf_counter() - begin, first=first
    )


def _misshapen(reply: Reply) -> list[str]:
    """What keeps a refusal from being a problem after RFC 9457."""
    if not reply.body:
        return []
    if reply.header("content-type") != _MEDIA_TYPE:
        return [f"Content-Type {reply.header('content-type')}"]
    try:
        body = json.loads(reply.body)
    except ValueError:
        return ["the body is no JSON"]
    missing = {"type", "title", "status", "detail"} - set(body)
    if missing or body["status"] != reply.status:
        return [f"problem without {missing}" if missing else "another status in the problem"]
    return []
