"""What is counted of each request, for Prometheus; exact over all workers.

With PROMETHEUS_MULTIPROC_DIR set, prometheus_client keeps the counts of each process in files
of that folder, which `operation.metrics_server` adds up.
"""

import logging
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram
from prometheus_client.mmap_dict import mmap_key

from arrowloft.api.problems import KINDS
from arrowloft.operation import metrics_files
from arrowloft.operation.metrics_process import FOLDER
from arrowloft.plugin.meter import Metered

_log = logging.getLogger(__name__)

SECONDS = (0.001, 0.002, 0.003, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
"""Upper ends of the histogram's bins, s: from a constant reply to the limit of a request."""

METHODS = frozenset({"GET", "HEAD", "POST", "QUERY", "OPTIONS", "PUT", "PATCH", "DELETE"})
"""Methods that are counted by name; a caller may invent any number of others."""

_RESERVED = {"counter": 1 << 18, "histogram": 1 << 18, "gauge_livesum": 1 << 16}
"""Bytes of each kind of file: more than all operations, statuses and bins take."""


@dataclass(frozen=True, kw_only=True)
class Request:
    """One request that was answered.

    operation: name of the endpoint, "page file" or "none".  method: one of METHODS or "other".
    seconds: wall time within the app.  size: bytes of the reply's body.
    problem: its code; "": the reply is none.
    """

    operation: str
    method: str
    status: int
    seconds: float
    size: int
    problem: str
    metered: Metered


class Metrics:
    """The service's metrics.

    Every label's values come from a fixed list or from what is installed: no caller can
    make new ones.
    """

    def __init__(self) -> None:
        self.usable = True
        of = self.registry = CollectorRegistry()
        self.requests = Counter(
            "arrowloft_requests",
            "Requests that were answered.",
            ("operation", "method", "status"),
            registry=of,
        )
        self.seconds = Histogram(
            "arrowloft_request_seconds",
            "Wall time from a request's head to its reply, within a worker.",
            ("operation",),
            buckets=SECONDS,
            registry=of,
        )
        self.size = Counter(
            "arrowloft_reply_bytes", "Bytes of replies' bodies.", ("operation",), registry=of
        )
        self.problems = Counter(
            "arrowloft_problems", "Problem replies by their code.", ("code",), registry=of
        )
        self.lanes = Counter(
            "arrowloft_lanes", "Flights that were solved.", ("operation",), registry=of
        )
        self.evaluations = Counter(
            "arrowloft_drag_evaluations",
            "Values that drag laws were asked for: flights times points of a flight.",
            ("operation",),
            registry=of,
        )
        self.model_seconds = Counter(
            "arrowloft_model_seconds",
            "Wall time in models' own code.",
            ("kind", "model"),
            registry=of,
        )
        self.running = Gauge(
            "arrowloft_requests_running",
            "Requests that workers are computing now.",
            multiprocess_mode="livesum",
            registry=of,
        )

        self.workers = Gauge(
            "arrowloft_workers",
            "Workers that are alive.",
            multiprocess_mode="livesum",
            registry=of,
        )

    def begin(self) -> None:
        """A request begins."""
        self._safely(self.running.inc)

    def end(self, request: Request) -> None:
        """A request that began is over."""
        self._safely(lambda: self._count(request))

    def _safely(self, step: Callable[[], None]) -> None:
        """Count, and where that fails no more: the reply is right all the same."""
        if not self.usable:
            return
        try:
            step()
        except OSError as error:
            self.usable = False
            _log.error("this worker counts no longer", exc_info=error)

    def _count(self, request: Request) -> None:
        self.running.dec()
        operation = request.operation
        self.requests.labels(operation, request.method, str(request.status)).inc()
        self.seconds.labels(operation).observe(request.seconds)
        self.size.labels(operation).inc(request.size)
        if request.problem:
            self.problems.labels(request.problem).inc()
        metered = request.metered
        if metered.evaluations:
            self.lanes.labels(operation).inc(metered.lanes)
            self.evaluations.labels(operation).inc(metered.evaluations)
        for (kind, name), seconds in metered.model_seconds.items():
            # Only installed models run under their kinds; a caller's slow body is none.
            if kind in ("drag", "launch"):
                self.model_seconds.labels(kind, name).inc(seconds)

    def count_apart(self, method: str, problem: str) -> None:
        """Count a request and its problem in a file that is made for it.

        For a process that has closed the files of the one that it was forked from, which the
        library would close once more.
        """
        counted = (
            _key(self.requests, "none", method, str(KINDS[problem].status)),
            _key(self.problems, problem),
        )
        self._safely(lambda: metrics_files.leave(Path(os.environ[FOLDER]), counted))

    def reserve(self) -> None:
        """Reserve the space of a new worker's files, or count nothing where there is none.

        Otherwise a file system that fills up later would end the worker by a signal, in the
        midst of a request.
        """
        try:
            metrics_files.reserve(Path(os.environ[FOLDER]), _RESERVED)
            self.workers.set(1)
        except OSError as error:
            self.usable = False
            _log.error("this worker counts nothing: no space for its metrics", exc_info=error)


def _key(counter: Counter, *labels: str) -> str:
    """What the library calls this value in its files."""
    of: Any = counter
    key: str = mmap_key(
        of._name, f"{of._name}_total", of._labelnames, list(labels), of._documentation
    )
    return key
