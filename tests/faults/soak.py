"""Many requests, with workers that are replaced: nothing fails, grows or is miscounted."""

import re
import time
from contextlib import suppress

from figures import Figure, at_most, seen
from instances import computed, pair
from load_client import start
from processes import family, memory, wait_until
from sizes import size
from wire import exchange, message

CLIENTS = 8
GROWTH = 5.0
"""Per cent."""
RECYCLED = 10_000
"""Requests after which a worker is replaced: several times in the run."""
FIRST = 2000
NAMES = ("mark-table", "trajectory", "wind", "launch-speed", "balance", "setup-change")
"""Those computed within some milliseconds: so many requests take a quarter of an hour as it is."""
TURNS = 4
"""A load ends after some time, whatever was asked for: it is begun anew so often at most."""


def figures():
    count = size("SOAK", 200_000, least=200)
    first = min(FIRST, max(100, count // 10))
    settings = {
        "ARROWLOFT_WORKER_REQUESTS": str(min(RECYCLED, max(20, count // 20))),
        # Lines of the log are no part of what is asked here.
        "ARROWLOFT_LOG_LEVEL": "warning",
    }
    with pair(settings, metrics=True) as (instances, front):
        asks = computed(front.port, NAMES)
        counted = _counted(instances)
        ids = {worker for instance in instances for worker in instance.workers()}
        found = start(front.port, asks, clients=CLIENTS, count=first).finish()
        early = _held(instances)
        begin = time.monotonic()
        for _ in range(TURNS):
            left = count - found.asked
            if left > 0:
                more = start(front.port, asks, clients=CLIENTS, count=left, processes=2).finish()
                found.add(more)
                print(f"  {found.asked:,} requests asked", flush=True)
        rate = (found.asked - first) / (time.monotonic() - begin)
        time.sleep(1.0)
        late = _held(instances)
        ids_late = {worker for instance in instances for worker in instance.workers()}
        yield Figure("requests", f"{found.asked:,}", f">= {count:,}", found.asked >= count)
        yield at_most("  lost or wrong", found.failures, 0)
        if found.failures:
            print(f"  {found}", flush=True)
        yield at_most("  workers that were never replaced", len(ids & ids_late), 0)
        for index, kind in enumerate(("proportional", "resident")):
            before, after = early[index], late[index]
            print(f"  {kind}: {before:.0f} MB after {first}, {after:.0f} MB after all", flush=True)
            yield at_most(f"  {kind} memory grown by", 100.0 * (after / before - 1.0), GROWTH, " %")
        # A line of the metrics is written just before the reply is handed over.
        wait_until(lambda: _counted(instances) - counted >= found.asked, 5.0)
        off = _counted(instances) - counted - found.asked
        yield at_most("  requests that the counters are off by", abs(off), 0)
        yield seen("  requests a second", rate)


def _held(instances):
    """(proportional, resident) memory of all masters, workers and their guardians, MB."""
    parts = []
    for instance in instances:
        for process in family(instance.master):
            # One may have ended just now, as a guardian does with its worker.
            with suppress(OSError):
                parts.append(memory(process))
    return tuple(map(sum, zip(*parts, strict=True)))


_COUNTER = re.compile(
    r'^arrowloft_requests_total\{[^}]*operation="(?!health)[^}]*\} ([0-9.e+]+)$', re.MULTILINE
)


def _counted(instances):
    """Requests of all computations by the instances' own counters."""
    total = 0.0
    for instance in instances:
        port = int(instance.settings["ARROWLOFT_METRICS_PORT"])
        reply = exchange(port, message("GET", "/metrics"))
        total += sum(float(value) for value in _COUNTER.findall(reply.body.decode()))
    return round(total)
