"""The log: one line of JSON a record, with the ids of the request that it belongs to.

No body, query, path or header of a caller's is written, but for the ids of
`operation.trace_context`, whose form is checked.
"""

import logging
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from flask import g, has_request_context
from pythonjsonlogger.orjson import OrjsonFormatter

from arrowloft.operation.metrics import Request
from arrowloft.operation.trace_context import Ids

REQUESTS = "arrowloft.requests"
"""Logger of the lines that tell of one request each."""

_log = logging.getLogger(REQUESTS)


def write(request: Request, ids: Ids, key: str | None) -> None:
    """Log one request: an error from status 500 on, a warning where it is to come again later.

    key: the name of the key that asked.
    """
    level = logging.INFO
    if request.status >= 500:
        level = logging.WARNING if request.status == 503 else logging.ERROR
    if not _log.isEnabledFor(level):
        return
    fields = {
        "operation": request.operation,
        "method": request.method,
        "status": request.status,
        "seconds": round(request.seconds, 6),
        "bytes": request.size,
        "problem": request.problem or None,
        "key": key,
        "lanes": request.metered.lanes,
        "evaluations": request.metered.evaluations,
    }
    # Made here, as the usual way looks for the line of code that logs, in a third of the time.
    record = _log.makeRecord(REQUESTS, level, "", 0, "request", (), None)
    record.of_request = fields | _names(ids)
    _log.handle(record)


def _names(ids: Ids) -> dict[str, str]:
    names = {"request_id": ids.request_id, "trace_id": ids.trace_id, "span_id": ids.span_id}
    return names | ({"parent_id": ids.parent_id} if ids.parent_id else {})


class Json(OrjsonFormatter):
    """A record as one line of JSON; whatever it says, it cannot begin another line."""

    def add_fields(
        self, log_data: dict[str, Any], record: logging.LogRecord, message_dict: dict[str, Any]
    ) -> None:
        """Time as in RFC 3339, in UTC; level, message, and the request's own fields."""
        moment = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        log_data["time"] = moment.replace("+00:00", "Z")
        log_data["level"] = record.levelname
        log_data["message"] = record.message
        log_data["logger"] = record.name
        log_data["process"] = record.process
        log_data.update(_of_request(record))
        if "exc_info" in message_dict:
            log_data["exception"] = message_dict["exc_info"]

    def jsonify_log_record(self, log_data: dict[str, Any]) -> str:
        """The line; half surrogate pairs, which no UTF-8 can hold, are replaced."""
        try:
            return super().jsonify_log_record(log_data)
        except TypeError:
            whole = {name: _encodable(value) for name, value in log_data.items()}
            return super().jsonify_log_record(whole)


def _of_request(record: logging.LogRecord) -> Mapping[str, Any]:
    fields: Mapping[str, Any] | None = getattr(record, "of_request", None)
    if fields is not None:
        return fields
    ids = g.get("ids") if has_request_context() else None
    return {} if ids is None else _names(ids)


def _encodable(value: Any) -> Any:
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode()
    return value


class Text(logging.Formatter):
    """A record as a person reads it at a terminal."""

    def __init__(self) -> None:
        super().__init__("[%(asctime)s] [%(process)d] [%(levelname)s] %(message)s")

    def format(self, record: logging.LogRecord) -> str:
        """The line, with the request's fields behind it, and what was raised below."""
        line = super().format(record)
        fields = _of_request(record)
        said = " ".join(f"{name}={value}" for name, value in fields.items() if value is not None)
        head, break_, rest = line.partition("\n")
        return f"{head} {said}{break_}{rest}" if said else line


class NothingOfTheCallers(logging.Filter):
    """Takes out of the server's own records what they quote of a request's head."""

    def filter(self, record: logging.LogRecord) -> bool:
        """True: the record stays, in words that are ours."""
        said = str(record.msg)
        for quoting in ("Invalid request from", "Error handling request"):
            if said.startswith(quoting):
                record.msg, record.args = quoting.removesuffix(" from"), ()
        return True


def configuration(form: str, level: str) -> dict[str, Any]:
    """For `logging.config`: everything to stderr, as json or text, from this level on."""
    formatter = {"json": Json, "text": Text}[form]
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"line": {"()": formatter}},
        "filters": {"ours": {"()": NothingOfTheCallers}},
        "handlers": {
            "stderr": {
                "class": "logging.StreamHandler",
                "formatter": "line",
                "filters": ["ours"],
                "stream": "ext://sys.stderr",
            }
        },
        # Libraries speak up where something is wrong, and of nothing else.
        "root": {"level": "WARNING", "handlers": ["stderr"]},
        "loggers": {
            "arrowloft": {"level": level.upper(), "propagate": True},
            "gunicorn.error": {
                "level": level.upper(),
                "handlers": ["stderr"],
                "propagate": False,
                "qualname": "gunicorn.error",
            },
            "gunicorn.access": {"handlers": [], "propagate": False},
            # It warns of headers that a caller sends and that are ignored.
            "opentelemetry": {"level": "ERROR"},
        },
    }
