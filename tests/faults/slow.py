"""Slow clients by the hundred, through nginx: others do not notice."""

import socket
import time
from contextlib import ExitStack, suppress
from pathlib import Path

import strangers
from figures import Figure, at_most
from instances import pair
from load_client import Ask, run
from processes import children
from sizes import size
from wire import exchange, message

LARGEST = b"GET /docs/swagger-ui-bundle.js HTTP/1.1\r\nHost: x\r\n\r\n"
"""The largest file of the pages, as a client asks for it that knows no compression."""
LONGEST = 50.0
"""Milliseconds until the health check is answered."""
ASKED = 200


def figures():
    count = size("SLOW", 200, least=10)
    with pair() as (_, front):
        for what, parts in (
            ("slow heads", (b"POST /v1/mark-table HTTP/1.1\r\nHost: x\r\nX: ", b"a")),
            ("slow bodies", (_head(5000), b" ")),
            ("half-closed sockets", (_head(5000) + b"{", None)),
            ("readers that do not read", (LARGEST, b"")),
        ):
            yield from _beside(front, count, what, *parts)


def _far_away(port):
    """A connection as over a real network: the kernel takes few bytes that nobody has read."""
    line = socket.socket()
    line.settimeout(5.0)
    line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 12)
    line.setsockopt(socket.IPPROTO_TCP, socket.TCP_MAXSEG, 1400)
    line.connect(("127.0.0.1", port))
    return line


def _kept(front):
    """Bytes in files of nginx's that hold what clients have not read; such a file has no name."""
    found = 0
    for worker in children(front.process.pid):
        for descriptor in Path(f"/proc/{worker}/fd").iterdir():
            with suppress(OSError):  # closed meanwhile
                if "/proxied/" in str(descriptor.readlink()):
                    found += descriptor.stat().st_blocks * 512
    return found


def _head(length):
    return (
        b"POST /v1/mark-table HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
        b"Content-Length: %d\r\n\r\n" % length
    )


def _beside(front, count, what, begin, drop):
    """The health check and a computation beside `count` clients that send a byte now and then.

    drop: what they send; None: they close their end instead.
    """
    port = front.port
    health = message("GET", "/healthz")
    request = message("POST", "/v1/mark-table", strangers.demo_request())
    asks = [
        Ask(message=health, body=exchange(port, health).body),
        Ask(message=request, body=exchange(port, request).body),
    ]
    with ExitStack() as stack:
        lines = [stack.enter_context(_far_away(port)) for _ in range(count)]
        held = _dripping(lines, begin, drop)
        if begin == LARGEST:
            held = sum(line.recv(12) == b"HTTP/1.1 200" for line in lines)
        alone = run(port, asks[:1], clients=1, count=ASKED)
        _dripping(lines, b"", drop)
        both = run(port, asks, clients=2, count=ASKED)
        kept = _kept(front)
    yield Figure(f"{what}", f"{held}", f">= {count}", held >= count)
    yield at_most("  health checks lost beside them", alone.failures + both.failures, 0)
    yield at_most("  health check, the latest of 99 %", 1e3 * alone.latency(0.99), LONGEST, " ms")
    # They would be memory where the service is deployed.
    yield at_most("  bytes that nginx holds in files", kept, 0)


def _dripping(lines, begin, drop):
    """How many of them still took a byte."""
    held = 0
    for line in lines:
        try:
            if begin:
                line.sendall(begin)
            if drop is None:
                line.shutdown(socket.SHUT_WR)
            else:
                line.sendall(drop)
            held += 1
        except OSError:
            continue
    time.sleep(0.2)
    return held
