"""A reload: no old worker goes before new ones serve; and a worker that ends well ends at once."""

import atexit
import os
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any

PATIENCE = 2.0
"""Seconds that are waited for new workers at a time; the master hears no signal meanwhile, and
after that not before gunicorn's reload has waited in vain for the old ones (graceful_timeout)."""

LOOK = 0.005
"""Seconds from one look at them to the next."""


def handing_over(server: Any) -> Callable[[], None]:
    """What this master is to call in place of gunicorn's `manage_workers`.

    It lets old workers go once new ones serve. On a reload gunicorn forks the new ones and tells
    the old ones to end at once: nobody would accept until the new ones have settled, which takes
    a busy machine some tenths of a second. Where new ones do not serve, as for want of memory,
    the old ones stay; gunicorn calls again, once it has replaced those that died.
    """
    manage = server.manage_workers

    def manage_workers() -> None:
        if _some_may_go(server) and not _all_serve_soon(server):
            server.log.warning("new workers do not serve yet: the old ones stay")
            return
        manage()

    return manage_workers


def _some_may_go(server: Any) -> bool:
    return len(server.WORKERS) > int(server.num_workers)


def _all_serve_soon(server: Any) -> bool:
    until = time.monotonic() + PATIENCE
    while not (serve := _all_serve(server)) and time.monotonic() < until:
        time.sleep(LOOK)
    return serve


def _all_serve(server: Any) -> bool:
    """Whether those that are to stay, the youngest, serve."""
    by_age = sorted(server.WORKERS.values(), key=lambda worker: int(worker.age))
    # Workers of another class do not say so, and are not waited for.
    return all(
        getattr(worker, "serving", True) for worker in by_age[len(by_age) - server.num_workers :]
    )


def end_at_once() -> None:
    """End this worker's process where it is about to end well; return where it is not.

    Python would take down every module first, and so write to nearly all of the memory that
    workers share: 22,000 pages and 0.12 s of a core, just when another worker has to begin.
    `atexit` is heard, and standard output and error are written; threads are not waited for, nor
    are files written that a model has left open.
    """
    leaving = sys.exc_info()[1]
    if not isinstance(leaving, SystemExit) or leaving.code:
        return
    try:
        for last in (atexit._run_exitfuncs, sys.stdout.flush, sys.stderr.flush):
            with suppress(Exception):
                last()
    finally:
        os._exit(0)
