"""Slow clients by the hundred, through nginx: others do not notice."""

import socket
import time
from contextlib import ExitStack

import strangers
from figures import Figure, at_most
from instances import pair
from load_client import Ask, run
from sizes import size
from wire import exchange, message

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
        ):
            yield from _beside(front.port, count, what, *parts)


def _head(length):
    return (
        b"POST /v1/mark-table HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
        b"Content-Length: %d\r\n\r\n" % length
    )


def _beside(port, count, what, begin, drop):
    """The health check and a computation beside `count` clients that send a byte now and then.

    drop: what they send; None: they close their end instead.
    """
    health = message("GET", "/healthz")
    request = message("POST", "/v1/mark-table", strangers.demo_request())
    asks = [
        Ask(message=health, body=exchange(port, health).body),
        Ask(message=request, body=exchange(port, request).body),
    ]
    with ExitStack() as stack:
        lines = [
            stack.enter_context(socket.create_connection(("127.0.0.1", port), timeout=5.0))
            for _ in range(count)
        ]
        held = _dripping(lines, begin, drop)
        alone = run(port, asks[:1], clients=1, count=ASKED)
        _dripping(lines, b"", drop)
        both = run(port, asks, clients=2, count=ASKED)
    yield Figure(f"{what}", f"{held}", f">= {count}", held >= count)
    yield at_most("  health checks lost beside them", alone.failures + both.failures, 0)
    yield at_most("  health check, the latest of 99 %", 1e3 * alone.latency(0.99), LONGEST, " ms")


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
