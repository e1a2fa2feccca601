"""Killed, frozen, restarted: behind nginx no request is lost, and none waits long.

Clients ask all the while, by POST and by QUERY, and hold every reply against the bytes that it
must be. Each fault is tried twice: under as much load as the machine bears, and under a third of
that, which comes at its own pace and leaves room to start an instance beside it, as in operation.
A fault is repeated until enough requests were asked while it lasted; no others count.
"""

import signal
import time
from dataclasses import dataclass

from figures import Figure, at_most, seen
from instances import STARTING, computed, pair
from load_client import Seen, start
from processes import PATIENCE, gone, signalled, wait_until
from sizes import size

CLIENTS = 16
PACED_CLIENTS = 64
"""So many that one is free whenever a request is due."""
SHARE = 1.0 / 3.0
"""Of the peak, that the paced load asks for."""
CALM = 5.0
"""Seconds in which the load is measured without a fault."""
TIMES = 5
"""How often an instance, and a worker, is killed at least."""
ADDED = 150.0
"""Milliseconds."""
READ_TIMEOUT = 13.0
"""Seconds, `proxy_read_timeout` in deploy/nginx/common/service.conf."""
AFTER = 1.0
"""Seconds for which a fault lasts at least: so soon a worker that was killed is back."""
LONGEST = 600.0
"""Seconds after which a fault is repeated no more."""
WAITED = 40.0
"""Seconds after which a client gives up."""


@dataclass(frozen=True, kw_only=True)
class Tried:
    """What clients have seen of a fault.

    during: requests answered that were under way while the fault lasted.
    latency: which 99 % of them stayed below, s.  times: how often it was tried.
    """

    seen: Seen
    during: int
    latency: float
    times: int


class Clients:
    """A kind of load: a closed loop, or an open one with so many requests a second."""

    def __init__(self, port, asks, rate=None):
        self.port = port
        self.asks = asks
        self.rate = rate

    def start(self, **bounds):
        clients = CLIENTS if self.rate is None else PACED_CLIENTS
        return start(
            self.port, self.asks, clients=clients, rate=self.rate, patience=WAITED, **bounds
        )


def figures():
    count = size("KILLED", 1000, least=50)
    with pair() as (instances, front):
        full = Clients(front.port, computed(front.port))
        calm = full.start(seconds=CALM, at_least=count).finish()
        yield from _all_right("calm", calm, calm.asked, count)
        yield seen("  replies a second, the peak", calm.rate)
        paced = Clients(front.port, full.asks, SHARE * calm.rate)
        usual = paced.start(seconds=CALM).finish().latency(0.99)
        yield seen("  99 % of the latencies, at the peak", 1e3 * calm.latency(0.99), " ms")
        yield seen("  99 % of the latencies, at a third of it", 1e3 * usual, " ms")
        for name, fault, times in (
            ("kill -9 of an instance", _instance_killed, TIMES),
            ("kill -9 of a worker", _worker_killed, TIMES),
            ("kill -9 of a master", _master_killed, 1),
            ("rolling restart", _restarted, 2),
            ("reload", _reloaded, 2),
        ):
            tried = _under_load(full, front, count, fault, times, instances)
            yield from _all_right(f"{name}, x {tried.times}", tried.seen, tried.during, count)
            added = 1e3 * (tried.latency - calm.latency(0.99))
            yield at_most("  added latency, 99 %, saturated", added, ADDED, " ms")
            yield seen("  the latest reply, saturated", 1e3 * tried.seen.latency(1.0), " ms")
            tried = _under_load(paced, front, count, fault, times, instances)
            name = f"{name}, x {tried.times}, a third of the peak"
            yield from _all_right(name, tried.seen, tried.during, count)
            added = 1e3 * (tried.latency - usual)
            yield at_most("  added latency, 99 %, a third of the peak", added, ADDED, " ms")
            yield seen("  the latest reply", 1e3 * tried.seen.latency(1.0), " ms")
        tried = _under_load(full, front, count, _worker_frozen, 1, instances)
        yield from _all_right(f"a frozen worker, x {tried.times}", tried.seen, tried.during, count)
        yield at_most("  the latest reply", tried.seen.latency(1.0), READ_TIMEOUT + 0.1, " s")
        yield from _frozen(_under_load(full, front, count, _instance_frozen, 1, instances))


def _all_right(name, found, during, count):
    yield Figure(f"{name}: requests", f"{during:,}", f">= {count:,}", during >= count)
    yield at_most("  lost or wrong", found.failures, 0)
    if found.failures:
        print(f"  {name}: {found}", flush=True)


def _frozen(tried):
    """Reported, as nobody promises it: once it thaws, it turns away what has waited in it."""
    found = tried.seen
    yield seen(f"a frozen instance, x {tried.times}: requests", tried.during)
    yield seen("  not answered with the result", found.failures)
    yield seen("  of which turned away (503)", found.statuses[503])
    yield seen("  of which lost or wrong", found.failures - found.statuses[503])
    yield seen("  the latest reply", found.latency(1.0), " s")
    if found.failures:
        print(f"  a frozen instance: {found}", flush=True)


def _under_load(clients, front, count, fault, times, instances):
    """The fault at one instance after the other, until enough was asked while it lasted."""
    spans = []
    answered = _Answered(front)
    with clients.start(seconds=LONGEST + 60.0) as load:
        time.sleep(1.0)
        until = time.monotonic() + LONGEST
        while len(spans) < times or (answered.during < count and time.monotonic() < until):
            answered.begin()
            begin = time.monotonic()
            fault(instances[len(spans) % len(instances)])
            time.sleep(max(0.0, begin + AFTER - time.monotonic()))
            spans.append((begin, time.monotonic()))
            answered.end()
            time.sleep(0.5)
        time.sleep(1.0)
        found = load.stop()
    touched = sorted(
        latency
        for moment, latency in zip(found.moments, found.latencies, strict=True)
        if any(begin - latency <= moment <= end for begin, end in spans)
    )
    return Tried(
        seen=found,
        during=len(touched),
        latency=touched[int(0.99 * (len(touched) - 1))] if touched else 0.0,
        times=len(spans),
    )


class _Answered:
    """Requests that nginx has answered while faults lasted, by its log."""

    def __init__(self, front):
        self.log = front.folder / "written" / "requests"
        self.during = 0

    def begin(self):
        self.position = self.log.stat().st_size

    def end(self):
        with self.log.open("rb") as lines:
            lines.seek(self.position)
            self.during += sum(1 for _ in lines)


def _until(true):
    """What does not come true was not tried."""
    if not wait_until(true):
        raise RuntimeError("a fault did not take its course in time")


def _instance_killed(instance):
    instance.kill()
    time.sleep(1.0)
    instance.start(patience=STARTING)


def _worker_killed(instance):
    before = set(instance.workers())
    signalled(min(before), signal.SIGKILL)
    _until(lambda: set(instance.workers()) - before)


def _master_killed(instance):
    workers = instance.workers()
    signalled(instance.master, signal.SIGKILL)
    instance.service.process.wait(PATIENCE)
    # Its workers see that they are orphans, and end.
    _until(lambda: all(map(gone, workers)))
    instance.start(patience=STARTING)


def _restarted(instance):
    instance.stop()
    instance.start(patience=STARTING)


def _reloaded(instance):
    before = set(instance.workers())
    signalled(instance.master, signal.SIGHUP)
    _until(lambda: not before & set(instance.workers()))


def _worker_frozen(instance):
    frozen = min(instance.workers())
    signalled(frozen, signal.SIGSTOP)
    # Its guardian ends it where it has taken a request, else gunicorn at its timeout.
    _until(lambda: frozen not in instance.workers())


def _instance_frozen(instance):
    processes = [instance.master, *instance.workers()]
    for process in processes:
        signalled(process, signal.SIGSTOP)
    time.sleep(READ_TIMEOUT + 4.0)
    for process in processes:
        signalled(process, signal.SIGCONT)
    time.sleep(3.0)
