"""What an operator sees of each request: metrics, and a line of log."""

from dataclasses import dataclass
from time import perf_counter
from typing import Any

import orjson
from flask import Flask, Response, g, request

from arrowloft.api.problems import KINDS, MEDIA_TYPE
from arrowloft.operation import request_log
from arrowloft.operation.metrics import METHODS, Metrics, Request
from arrowloft.operation.settings import Settings
from arrowloft.operation.trace_context import REQUEST_ID, TRACE_RESPONSE, Ids, ids_of
from arrowloft.plugin import meter
from arrowloft.plugin.meter import Metered

EXTENSION = "arrowloft-metrics"
"""Key of the app's extensions under which its Metrics are kept, where it has some."""

FILES = "files of "
"""What the endpoint of every route of a page's files begins with."""


@dataclass(slots=True)
class _Seen:
    """A request on its way: when it began, by `perf_counter`, its ids, and its reply so far."""

    began: float
    ids: Ids
    response: Response | None = None


def install(app: Flask, settings: Settings) -> None:
    """Count and log every request of the app, and give each its ids.

    Without a port for metrics nothing is counted.  A request is counted and logged when it
    is over, just before its reply is handed to the server.
    """
    metrics = None if settings.metrics_port is None else Metrics()
    if metrics is not None:
        app.extensions[EXTENSION] = metrics

    def begun() -> None:
        meter.begin()
        g.seen = seen = _Seen(perf_counter(), _ids())
        g.ids = seen.ids
        if metrics is not None:
            metrics.begin()

    def named(response: Response) -> Response:
        if "seen" not in g:
            # What stands before this one has answered.
            begun()
        seen = g.seen
        seen.response = response
        headers = response.headers
        headers[REQUEST_ID] = seen.ids.request_id
        headers[TRACE_RESPONSE] = seen.ids.response
        return response

    def ended(_: BaseException | None) -> None:
        if "seen" not in g:
            begun()
        seen = g.seen
        done = _request(seen)
        request_log.write(done, seen.ids, g.get("key_name"))
        if metrics is not None:
            metrics.end(done)

    app.before_request(begun)
    app.after_request(named)
    app.teardown_request(ended)


def _ids() -> Ids:
    given = request.environ.get
    return ids_of(given("HTTP_X_REQUEST_ID", ""), given("HTTP_TRACEPARENT", ""))


def forked(app: Flask) -> None:
    """Make ready a worker that has just been forked."""
    metrics: Metrics | None = app.extensions.get(EXTENSION)
    if metrics is not None:
        metrics.reserve()


def turned_away(app: Flask, method: str) -> None:
    """Count a request that was answered past the app, as the service is full.

    Nothing is logged: writing takes longer than turning away.
    """
    metrics: Metrics | None = app.extensions.get(EXTENSION)
    if metrics is not None:
        metrics.begin()
        metrics.end(_unseen(method))


def hung(app: Flask, method: str) -> None:
    """Count a request that a worker's guardian has answered, which is logged by that one."""
    metrics: Metrics | None = app.extensions.get(EXTENSION)
    if metrics is not None:
        metrics.count_apart(method if method in METHODS else "other", "takes-too-long")


def _unseen(method: str) -> Request:
    """What there is to say of a request that was turned away."""
    return Request(
        operation="none",
        method=method if method in METHODS else "other",
        status=KINDS["overloaded"].status,
        seconds=0.0,
        size=0,
        problem="overloaded",
        metered=Metered(lanes=0, evaluations=0, model_seconds={}),
    )


def _request(seen: _Seen) -> Request:
    """What there is to say of the current request; without a reply, that it got lost."""
    asked, response = request, seen.response
    endpoint, method = asked.endpoint, asked.method
    return Request(
        operation=_operation(endpoint),
        method=method if method in METHODS else "other",
        status=response.status_code if response else 500,
        seconds=perf_counter() - seen.began,
        size=_size(method, response) if response else 0,
        problem=_problem(response) if response else "defect",
        metered=meter.now(),
    )


def _operation(endpoint: str | None) -> str:
    """A name out of a fixed list: never what the caller wrote."""
    if endpoint is None:
        return "none"
    return "page file" if endpoint.startswith(FILES) else endpoint


def _size(method: str, response: Response) -> int:
    if method == "HEAD" or response.status_code in (204, 304):
        return 0
    return response.content_length or 0


def _problem(response: Response) -> str:
    """The code of a problem reply; "" for any other reply."""
    if response.status_code < 400 or response.mimetype != MEDIA_TYPE or not response.is_sequence:
        return ""
    body: dict[str, Any] = orjson.loads(response.get_data())
    code = str(body.get("type", "")).rpartition("/")[2]
    return code if code in KINDS else "none"
