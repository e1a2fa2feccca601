"""The files in which prometheus_client keeps the counts of each process, added up.

Neither numpy nor the service is imported here: the small process that serves metrics reads them.
"""

import fcntl
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from prometheus_client import Metric, mmap_dict, multiprocess

# prometheus_client says nothing of the types here.
_LIBRARY: Any = multiprocess
_COLLECTOR: Any = multiprocess.MultiProcessCollector
_FILE: Any = mmap_dict.MmapedDict

KINDS = ("counter", "histogram")
"""Kinds of files whose counts stay when their process has ended."""

_LEAST = 1 << 16
"""Least bytes of a file."""


def collect(folder: Path) -> list[Metric]:
    """The metrics of all processes together."""
    with _held(folder, fcntl.LOCK_SH):
        # A worker that was ended while it made a file left it empty: nothing to read.
        files = [str(path) for path in folder.glob("*.db") if _size(path)]
        found: list[Metric] = list(_COLLECTOR.merge(files, accumulate=True))
        return found


def end(folder: Path, processes: set[int]) -> set[int]:
    """Add the counts of ended processes to those of all that ended; those not added yet.

    So the folder does not grow with each worker that is replaced.  Nothing is waited for: while
    someone reads, and where there is no space, all stays as it is until the next time.
    Others that have counted and ended, as a worker's guardian does, are found by themselves.
    """
    processes = processes | _gone(folder)
    for process in processes:
        _LIBRARY.mark_process_dead(process, str(folder))
    try:
        with _held(folder, fcntl.LOCK_EX | fcntl.LOCK_NB):
            for kind in KINDS:
                _add(folder, kind, processes)
    except OSError:
        return processes
    return set()


def _gone(folder: Path) -> set[int]:
    """Processes that have left counts and are no more; none where the system does not tell."""
    if not Path("/proc/self").exists():
        return set()
    names = (path.stem.partition("_")[2] for path in folder.glob("counter_*.db"))
    return {int(it) for it in names if it.isdigit() and not Path(f"/proc/{it}").exists()}


def _add(folder: Path, kind: str, processes: set[int]) -> None:
    ended = folder / f"{kind}_ended.db"
    theirs = [folder / f"{kind}_{process}.db" for process in processes]
    sources = [path for path in (ended, *theirs) if _size(path)]
    totals: dict[str, float] = {}
    for path in sources:
        for key, value, _, _ in _FILE.read_all_values_from_file(str(path)):
            totals[key] = totals.get(key, 0.0) + value
    fresh = folder / f"{kind}_ended.new"
    fresh.unlink(missing_ok=True)
    _reserve(fresh, max(_LEAST, sum(len(key.encode()) + 32 for key in totals)))
    written = _FILE(str(fresh))
    for key, value in totals.items():
        written.write_value(key, value, 0.0)
    written.close()
    fresh.replace(ended)
    for path in theirs:
        path.unlink(missing_ok=True)


def leave(folder: Path, keys: Iterable[str]) -> None:
    """Count one of each, by their names in the files, in a new file of this process's."""
    path = folder / f"counter_{os.getpid()}.db"
    _reserve(path, _LEAST)
    written = _FILE(str(path))
    for key in keys:
        written.write_value(key, 1.0, 0.0)
    written.close()


def reserve(folder: Path, sizes: dict[str, int]) -> None:
    """Make this process's files, kind -> bytes; OSError where there is no space.

    A file system that fills up later would otherwise end the process by a signal.
    """
    for kind, size in sizes.items():
        _reserve(folder / f"{kind}_{os.getpid()}.db", size)


def _reserve(path: Path, size: int) -> None:
    with path.open("ab") as file:
        if hasattr(os, "posix_fallocate"):
            os.posix_fallocate(file.fileno(), 0, size)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except FileNotFoundError:  # of a worker that ended since it was listed
        return 0


@contextmanager
def _held(folder: Path, how: int) -> Iterator[None]:
    """Hold the folder: readers together, or one who writes."""
    with (folder / "lock").open("a") as lock:
        fcntl.flock(lock, how)
        yield
