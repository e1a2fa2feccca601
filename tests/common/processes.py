"""Processes, their ports and their memory, as the system tells of them."""

import os
import random
import socket
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

PATIENCE = 60.0
_PORTS = range(20_000, 32_000)
"""None of those that the system gives to connections by itself: one of them may be in use by
the time that a server listens on it."""
_random = random.SystemRandom()


def free_port() -> int:
    """A port of the loopback that nobody uses; another process may take it, but hardly does."""
    while True:
        port = _random.choice(_PORTS)
        with socket.socket() as probe, suppress(OSError):
            probe.bind(("127.0.0.1", port))
            return port


def wait_until(true: Callable[[], object], seconds: float = PATIENCE) -> bool:
    """Whether it became true in time."""
    end = time.monotonic() + seconds
    while not true():
        if time.monotonic() >= end:
            return False
        time.sleep(0.02)
    return True


def children(process: int) -> list[int]:
    """None of a process that is gone."""
    try:
        told = Path(f"/proc/{process}/task/{process}/children").read_text()
    except OSError:
        return []
    return [int(child) for child in told.split()]


def family(process: int) -> list[int]:
    """Itself, its children and theirs: of an instance, its workers and their guardians."""
    return [process, *(one for child in children(process) for one in family(child))]


def arguments(process: int) -> bytes:
    """As it was started; nothing of one that is gone, or has ended and is not yet buried."""
    try:
        return Path(f"/proc/{process}/cmdline").read_bytes()
    except OSError:
        return b""


def gone(process: int) -> bool:
    """Whether it has ended, buried or not."""
    try:
        told = Path(f"/proc/{process}/stat").read_text()
    except OSError:
        return True
    return told.rpartition(")")[2].split()[0] in ("Z", "X")


def signalled(process: int, number: int) -> None:
    """Send a signal to a process that may be gone."""
    with suppress(ProcessLookupError):
        os.kill(process, number)


def memory(process: int) -> tuple[float, float]:
    """(proportional, resident) memory, MB.  Raises OSError for one that is gone."""
    found = {}
    for line in Path(f"/proc/{process}/smaps_rollup").read_text().splitlines():
        name, _, rest = line.partition(":")
        if name in ("Pss", "Rss"):
            found[name] = int(rest.split()[0]) / 1024.0
    if len(found) < 2:
        raise ProcessLookupError(f"{process} has ended")
    return found["Pss"], found["Rss"]
