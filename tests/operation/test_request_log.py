"""The log: a line of JSON a record, and nothing in it that a caller wrote."""

import io
import json
import logging
import logging.config
import sys
from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

import pytest
from flask import g
from flask.testing import FlaskClient
from hypothesis import given
from hypothesis import strategies as st
from strangers import demo_request

from arrowloft.app import create_app
from arrowloft.operation import request_log
from arrowloft.operation.settings import FORMATS

SECRET = "geheim"
TRACE = "0af7651916cd43dd8448eb211c80319c"


@pytest.fixture
def log(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., io.StringIO]]:
    """A function that sets the log up as the service does, and hands over where it goes."""
    kept = {
        name: logging.getLogger(name)
        for name in request_log.configuration("json", "info")["loggers"]
    }
    before = {name: (it.level, it.handlers[:], it.propagate) for name, it in kept.items()}
    root = logging.getLogger()
    level, handlers = root.level, root.handlers[:]

    def configured(form: str = "json", level: str = "info") -> io.StringIO:
        stream = io.StringIO()
        monkeypatch.setattr(sys, "stderr", stream)
        logging.config.dictConfig(request_log.configuration(form, level))
        return stream

    yield configured
    root.setLevel(level)
    root.handlers[:] = handlers
    for name, (was, had, went) in before.items():
        kept[name].setLevel(was)
        kept[name].handlers[:] = had
        kept[name].propagate = went


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return create_app().test_client()


def lines(stream: io.StringIO) -> list[dict[str, Any]]:
    return [json.loads(line) for line in stream.getvalue().splitlines()]


def test_a_request_is_one_line(client: FlaskClient, log: Callable[..., io.StringIO]) -> None:
    stream = log()
    parent = f"00-{TRACE}-b7ad6b7169203331-01"
    headers = {"X-Request-Id": "mine.1", "traceparent": parent}
    reply = client.post("/v1/mark-table", json=demo_request(), headers=headers)
    (line,) = lines(stream)
    moment = datetime.fromisoformat(line.pop("time"))
    assert moment.utcoffset() is not None and moment.utcoffset().total_seconds() == 0.0  # type: ignore[union-attr]
    assert line.pop("seconds") > 0.0 and line.pop("process") > 0
    assert line.pop("lanes") > 0 and line.pop("evaluations") > 0
    assert line == {
        "level": "INFO",
        "message": "request",
        "logger": "arrowloft.requests",
        "request_id": "mine.1",
        "trace_id": TRACE,
        "span_id": reply.headers["traceresponse"].split("-")[2],
        "parent_id": "b7ad6b7169203331",
        "operation": "mark_table",
        "method": "POST",
        "status": 200,
        "bytes": len(reply.data),
        "problem": None,
        "key": None,
    }


def test_a_problem_is_named(client: FlaskClient, log: Callable[..., io.StringIO]) -> None:
    stream = log()
    client.post("/v1/mark-table", json={})
    (line,) = lines(stream)
    assert (line["status"], line["problem"]) == (422, "invalid-request")


def test_the_name_of_a_key_is_logged(log: Callable[..., io.StringIO]) -> None:
    app = create_app()

    @app.before_request
    def known() -> None:
        g.key_name = "club"

    stream = log()
    app.test_client().get("/healthz")
    assert [line["key"] for line in lines(stream)] == ["club"]


@pytest.mark.parametrize("form", FORMATS)
def test_nothing_that_a_caller_wrote_is_logged(
    client: FlaskClient, log: Callable[..., io.StringIO], form: str
) -> None:
    stream = log(form, "debug")
    headers = {
        "X-Request-Id": f"{SECRET} id",
        "traceparent": f"{SECRET}-x",
        "tracestate": SECRET,
        "Authorization": f"Bearer {SECRET}",
        "User-Agent": SECRET,
        "Referer": SECRET,
        "X-Forwarded-For": SECRET,
        "Cookie": SECRET,
    }
    client.get(f"/{SECRET}?{SECRET}={SECRET}", headers=headers)
    client.get(f"/problems/{SECRET}?x={SECRET}", headers=headers)
    client.open("/healthz", method=SECRET.upper(), headers=headers)
    client.post("/v1/mark-table", json={SECRET: SECRET}, headers=headers)
    client.post("/v1/mark-table", data=SECRET, content_type="application/json", headers=headers)
    said = stream.getvalue()
    assert len(said.splitlines()) == 5
    assert SECRET not in said.lower()


@pytest.mark.parametrize(
    ("level", "statuses"), [("info", [200, 500]), ("warning", [500]), ("critical", [])]
)
def test_levels(log: Callable[..., io.StringIO], level: str, statuses: list[int]) -> None:
    app = create_app()
    app.add_url_rule("/fails", "fails", lambda: 1 / 0)
    stream = log("json", level)
    client = app.test_client()
    client.get("/healthz")
    client.get("/fails")
    assert [line["status"] for line in lines(stream) if "status" in line] == statuses


def test_what_was_raised_has_the_ids_of_its_request(log: Callable[..., io.StringIO]) -> None:
    app = create_app()
    app.add_url_rule("/fails", "fails", lambda: 1 / 0)
    stream = log()
    app.test_client().get("/fails", headers={"X-Request-Id": "mine"})
    raised, told = lines(stream)
    assert (
        raised["exception"].startswith("Traceback") and "ZeroDivisionError" in raised["exception"]
    )
    assert raised["level"] == told["level"] == "ERROR"
    for name in ("request_id", "trace_id", "span_id"):
        assert raised[name] == told[name]
    assert told["problem"] == "defect" and raised["request_id"] == "mine"


@given(st.text())
def test_any_message_is_one_line_of_json(said: str) -> None:
    record = logging.LogRecord("arrowloft.x", logging.ERROR, "", 0, "%s", (said,), None)
    line = request_log.Json().format(record)
    assert line.splitlines() == [line] or not set(line) & {"\n", "\r"}
    read = json.loads(line)["message"]
    assert read == said or read == said.encode("utf-8", "backslashreplace").decode()


def test_half_a_surrogate_pair_can_be_logged() -> None:
    record = logging.LogRecord("arrowloft.x", logging.ERROR, "", 0, "a\ud800b", (), None)
    assert json.loads(request_log.Json().format(record))["message"] == "a\\ud800b"


@pytest.mark.parametrize(
    ("message", "values", "left"),
    [
        (f"Invalid request from ip=1.2.3.4: '/{SECRET}'", (), "Invalid request"),
        ("Error handling request %s %s", ("GET", f"/{SECRET}"), "Error handling request"),
        ("Booting worker with pid: %s", (7,), "Booting worker with pid: 7"),
    ],
)
def test_the_servers_own_records_quote_no_request(
    log: Callable[..., io.StringIO], message: str, values: tuple[Any, ...], left: str
) -> None:
    stream = log()
    logging.getLogger("gunicorn.error").warning(message, *values)
    assert [line["message"] for line in lines(stream)] == [left]


def test_text_is_for_a_terminal(client: FlaskClient, log: Callable[..., io.StringIO]) -> None:
    stream = log("text")
    client.get("/healthz", headers={"X-Request-Id": "mine"})
    logging.getLogger("gunicorn.error").error("Connection in use")
    told, failed = stream.getvalue().splitlines()
    assert "operation=health" in told and "request_id=mine" in told and "problem" not in told
    # The form in which deploy/run looks for the reason of a start that failed.
    assert failed.endswith("[ERROR] Connection in use") and failed.startswith("[")
