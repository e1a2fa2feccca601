"""Killed, frozen, restarted: behind nginx no request is lost, and none waits long.

Sixteen clients ask all the while, by POST and by QUERY, and hold every reply against the bytes
that it must be.
"""

import signal
import time
from pathlib import Path

from figures import Figure, at_most, seen
from instances import computed, pair, signalled, wait_until
from load_client import start
from sizes import size

CLIENTS = 16
TIMES = 5
"""How often an instance, and a worker, is killed."""
ADDED = 150.0
"""Milliseconds."""
READ_TIMEOUT = 13.0
"""Seconds, `proxy_read_timeout` in deploy/nginx/common/service.conf."""
AFTER = 1.0
"""Seconds after a fault in which requests count as touched by it."""
PATIENCE = 40.0


def figures():
    count = size("KILLED", 1000, least=50)
    with pair() as (instances, front):
        asks = computed(front.port)
        calm = start(front.port, asks, clients=CLIENTS, at_least=count).finish()
        yield from _served("calm", calm, count)
        usual = calm.latency(0.99)
        for name, tried in (
            (f"kill -9 of an instance, {TIMES} times", _instances_killed),
            (f"kill -9 of a worker, {TIMES} times", _workers_killed),
            ("kill -9 of a master", _master_killed),
            ("rolling restart", _restarted),
            ("reload", _reloaded),
        ):
            found, moments = _under_load(front.port, asks, count, tried, instances)
            yield from _served(name, found, count)
            touched = _touched(found, moments)
            yield at_most("  added latency, 99 %", 1e3 * (touched - usual), ADDED, " ms")
            yield seen("  the latest reply", 1e3 * found.latency(1.0), " ms")
        found, _ = _under_load(front.port, asks, count, _worker_frozen, instances)
        yield from _served("a frozen worker", found, count)
        yield at_most("  the latest reply", found.latency(1.0), READ_TIMEOUT + 0.1, " s")
        found, _ = _under_load(front.port, asks, count, _instance_frozen, instances)
        yield from _frozen("a frozen instance", found)


def _served(name, found, count):
    yield Figure(f"{name}: requests", f"{found.asked:,}", f">= {count:,}", found.asked >= count)
    yield at_most("  lost or wrong", found.failures, 0)
    if found.failures:
        print(f"  {name}: {found}", flush=True)


def _frozen(name, found):
    """Once it thaws, an instance may turn away (503) what has waited in it: callers ask again."""
    yield seen(f"{name}: requests", found.asked)
    yield at_most("  lost or wrong", found.failures - found.statuses[503], 0)
    yield seen("  turned away", found.statuses[503])
    yield seen("  the latest reply", found.latency(1.0), " s")


def _under_load(port, asks, count, tried, instances):
    """What the clients have seen while it was tried, and when the faults were."""
    with start(port, asks, clients=CLIENTS, seconds=600.0, patience=PATIENCE) as load:
        time.sleep(1.0)
        moments = list(tried(instances))
        time.sleep(1.0)
        found = load.stop()
    if found.asked < count:
        more = start(port, asks, clients=CLIENTS, at_least=count - found.asked).finish()
        found.add(more)
    return found, moments


def _touched(found, moments):
    """The latency that 99 % of the requests touched by a fault stay below, s."""
    touched = sorted(
        latency
        for moment, latency in zip(found.moments, found.latencies, strict=True)
        if any(fault - latency <= moment <= fault + AFTER for fault in moments)
    )
    return touched[int(0.99 * (len(touched) - 1))] if touched else 0.0


def _instances_killed(instances):
    for turn in range(TIMES):
        instance = instances[turn % 2]
        yield time.monotonic()
        instance.kill()
        time.sleep(1.0)
        instance.start()
        time.sleep(0.5)


def _workers_killed(instances):
    for turn in range(TIMES):
        instance = instances[turn % 2]
        before = set(instance.workers())
        yield time.monotonic()
        signalled(min(before), signal.SIGKILL)
        wait_until(lambda inst=instance, old=before: set(inst.workers()) - old)
        time.sleep(2.5)


def _master_killed(instances):
    instance = instances[0]
    workers = instance.workers()
    yield time.monotonic()
    signalled(instance.master, signal.SIGKILL)
    instance.service.process.wait(PATIENCE)
    # Its workers see that they are orphans, and end.
    wait_until(lambda: not any(_alive(worker) for worker in workers))
    instance.start()
    time.sleep(2.5)


def _alive(process):
    try:
        status = Path(f"/proc/{process}/stat").read_text()
    except OSError:
        return False
    return status.rpartition(")")[2].split()[0] != "Z"


def _restarted(instances):
    for instance in instances:
        yield time.monotonic()
        instance.stop()
        instance.start()
        time.sleep(0.5)


def _reloaded(instances):
    for instance in instances:
        before = set(instance.workers())
        yield time.monotonic()
        signalled(instance.master, signal.SIGHUP)
        wait_until(lambda inst=instance, old=before: not old & set(inst.workers()))
        time.sleep(1.0)


def _worker_frozen(instances):
    instance = instances[0]
    frozen = min(instance.workers())
    yield time.monotonic()
    signalled(frozen, signal.SIGSTOP)
    # Its guardian ends it where it has taken a request, else gunicorn at its timeout.
    wait_until(lambda: frozen not in instance.workers())


def _instance_frozen(instances):
    instance = instances[0]
    processes = [instance.master, *instance.workers()]
    yield time.monotonic()
    for process in processes:
        signalled(process, signal.SIGSTOP)
    time.sleep(READ_TIMEOUT + 4.0)
    for process in processes:
        signalled(process, signal.SIGCONT)
    time.sleep(3.0)
