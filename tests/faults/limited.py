"""Rate limits count over all of nginx's workers: no more pass than promised, none fewer.

And with the limits that are deployed, whoever asks as often as it can does not crowd others out.
"""

import json
import time
from contextlib import contextmanager

from figures import Figure, at_most, seen
from instances import computed, pair
from load_client import Ask, start
from proxied import COMMON
from wire import exchange, message
from worst_requests import answered

RATE, BURST = 20, 10
"""Requests a second, and requests ahead of it."""
SECONDS = 6.0
CROWD = 64
"""Clients at one address that ask for the worst there is, each as often as it is answered."""
WORST = "64 tables"
"""What they ask for, of `worst_requests`: near the most work that is allowed."""
PACE = 5.0
"""Requests a second from another address."""
WAIT = 1000.0
"""Milliseconds that the other address waits at most, 99 % of its requests: what the worst takes."""
CLIENTS = 8
HURRY = 0.1
"""Seconds after which those hang up who do not wait."""
EDGE = 2
"""Requests by which the count may be off: the clock starts and ends between two of them."""


def figures():
    yield from _counted()
    yield from _crowded()
    yield from _hanging_up()


def _crowded():
    """One address asks without pause; another one, now and then."""
    with _crowd() as (asking, other):
        found = asking.stop()
    yield seen(f"{CROWD} clients of one address: requests a second", found.asked / found.seconds)
    yield seen("  of which computed", found.right / found.seconds)
    refused = found.statuses[429]
    yield Figure("  of which refused by 429", f"{refused:,}", ">= 1", refused >= 1)
    yield at_most("  of which neither", found.asked - found.right - refused, 0)
    yield from _another(other)


def _hanging_up():
    """The same, but none of them waits for its answer: the worker computes it all the same."""
    with _crowd(patience=HURRY) as (asking, other):
        found = asking.stop()
    given_up = sum(found.lost.values())
    yield seen(
        f"{CROWD} clients of one address that hang up after {HURRY:g} s: requests a second",
        found.asked / found.seconds,
    )
    yield Figure("  of which hung up on", f"{given_up:,}", ">= 1", given_up >= 1)
    yield from _another(other)


@contextmanager
def _crowd(**clients):
    """Clients at one address that still ask for the worst, and what another address has seen."""
    with pair(rates=None, bursts=None) as (_, front):
        worst = next(one for one in answered() if one.name == WORST)
        many = [Ask(message=message("POST", worst.path, worst.body))]
        few = computed(front.port)
        asking = start(front.port, many, clients=CROWD, seconds=60.0, source="127.0.0.2", **clients)
        with asking:
            time.sleep(2.0)
            other = start(
                front.port, few, clients=CLIENTS, rate=PACE, seconds=SECONDS, source="127.0.0.3"
            )
            yield asking, other.finish()


def _another(other):
    least = PACE * SECONDS - 1
    yield Figure(
        "  another address meanwhile: requests",
        f"{other.asked}",
        f">= {least:.0f}",
        other.asked >= least,
    )
    yield at_most("    not answered with the result", other.failures, 0)
    yield at_most("    99 % of the latencies", 1e3 * other.latency(0.99), WAIT, " ms")


def _counted():
    rates = f"""
        limit_req_zone $binary_remote_addr zone=address:10m rate={RATE}r/s;
        limit_conn_zone $binary_remote_addr zone=connections:10m;
    """
    bursts = f"limit_req zone=address burst={BURST} nodelay; limit_conn connections 32;"
    workers = next(
        int(line.split()[1].rstrip(";"))
        for line in (COMMON / "nginx.conf").read_text().splitlines()
        if line.startswith("worker_processes")
    )
    with pair(rates=rates, bursts=bursts) as (_, front):
        # Probes are not limited.
        request = message("GET", "/v1/units")
        time.sleep(1.0)
        begin = time.monotonic()
        load = start(
            front.port, [Ask(message=request)], clients=CLIENTS, rate=4.0 * RATE, seconds=SECONDS
        )
        found = load.finish()
        # What passes is known from when requests were made, not from how long the client ran.
        lasted = max(found.moments) - max(begin, min(found.moments))
        allowed = RATE * lasted + BURST + 1
        passed, refused = found.statuses[200], found.statuses[429]
        yield seen("nginx's workers that share a rate limit", workers)
        yield Figure(
            f"let through at {RATE}/s and {BURST} ahead in {lasted:.1f} s",
            f"{passed}",
            f"{allowed - EDGE:.0f} to {allowed + EDGE:.0f}",
            abs(passed - allowed) <= EDGE,
        )
        yield seen("  refused by 429", refused)
        yield at_most("  answered otherwise", found.asked - passed - refused, 0)
        reply = _refusal(front.port, request)
        said = json.loads(reply.body)
        yield Figure(
            "  a refusal",
            f"{said['type']}, Retry-After {reply.header('retry-after')}",
            "a problem, with Retry-After",
            said["type"] == "/problems/too-many-requests" and bool(reply.header("retry-after")),
        )


def _refusal(port, request):
    for _ in range(20 * BURST):
        reply = exchange(port, request)
        if reply.status == 429:
            return reply
    raise RuntimeError("no request was refused")
