"""A full server says so at once; where the kernel tells nothing, nobody is turned away."""

import json
import re
import socket
import time
from collections.abc import Iterator
from http.client import HTTPResponse
from pathlib import Path

import pytest
import requests
from flask.testing import FlaskClient
from proxied import served

from arrowloft.app import create_app
from arrowloft.operation import admission
from arrowloft.operation.admission import Admission

ROOM = 3
MODELS = b"GET /v1/models HTTP/1.1\r\nHost: range\r\n\r\n"

told = pytest.mark.skipif(admission._TCP_INFO is None, reason="this system does not tell")


@pytest.fixture
def listening() -> Iterator[socket.socket]:
    """A socket that listens and accepts nobody."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server


@pytest.fixture
def door(listening: socket.socket) -> Admission:
    return Admission(listening=[listening], most=ROOM)


@pytest.fixture
def callers(listening: socket.socket) -> Iterator[list[socket.socket]]:
    """As many callers as may wait, and one too many."""
    lines = [socket.create_connection(listening.getsockname()) for _ in range(ROOM + 1)]
    yield lines
    for line in lines:
        line.close()


@pytest.fixture
def line() -> Iterator[tuple[socket.socket, socket.socket]]:
    """The two ends of an accepted connection: a caller's, and the service's."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        caller = socket.create_connection(server.getsockname(), timeout=30.0)
        taken, _ = server.accept()
        with caller, taken:
            yield caller, taken


def refusal(caller: socket.socket, method: str = "GET") -> HTTPResponse:
    """What the caller reads, to the end of the connection; checked."""
    reply = HTTPResponse(caller, method=method)
    reply.begin()
    assert reply.status == 503
    assert int(reply.headers["Retry-After"]) >= 1
    assert reply.headers["Content-Type"] == "application/problem+json"
    assert reply.headers["Cache-Control"] == "no-store"
    assert reply.headers["X-Content-Type-Options"] == "nosniff"
    assert re.fullmatch("[0-9a-f]{32}", reply.headers["X-Request-Id"])
    body = reply.read()
    assert caller.recv(1) == b""
    if method != "HEAD":
        assert json.loads(body)["type"] == "/problems/overloaded"
    return reply


Line = tuple[socket.socket, socket.socket]


@told
def test_one_too_many_waits(door: Admission, callers: list[socket.socket], line: Line) -> None:
    caller, taken = line
    caller.sendall(MODELS)
    assert door.waiting() == ROOM + 1
    assert door.turned_away(taken) == b"GET"
    refusal(caller)


@told
def test_a_body_is_taken_in_so_that_the_answer_arrives(
    door: Admission, callers: list[socket.socket], line: Line
) -> None:
    caller, taken = line
    caller.sendall(b"POST /v1/mark-table HTTP/1.1\r\nContent-Length: 60000\r\n\r\n" + b"{" * 60000)
    assert door.turned_away(taken) == b"POST"
    taken.close()
    refusal(caller)


@told
def test_head_gets_the_head_alone(
    door: Admission, callers: list[socket.socket], line: Line
) -> None:
    caller, taken = line
    caller.sendall(MODELS.replace(b"GET", b"HEAD"))
    assert door.turned_away(taken) == b"HEAD"
    refusal(caller, "HEAD")


@told
@pytest.mark.parametrize("begin", [b"GET /healthz ", b"HEAD /readyz ", b"GET /readyz?x "])
def test_it_is_alive_and_ready_all_the_same(
    door: Admission, callers: list[socket.socket], line: Line, begin: bytes
) -> None:
    caller, taken = line
    caller.sendall(begin + b"HTTP/1.1\r\n\r\n")
    assert door.turned_away(taken) is None
    assert taken.recv(1000).startswith(begin)


@told
@pytest.mark.parametrize("begin", [b"", b"GET /healthzz", b"POST /healthz ", b"\x16\x03\x01"])
def test_nothing_else_is_let_in(
    door: Admission, callers: list[socket.socket], line: Line, begin: bytes
) -> None:
    caller, taken = line
    caller.sendall(begin)
    assert door.turned_away(taken) is not None
    refusal(caller)


@told
def test_as_many_as_allowed_wait(
    door: Admission, listening: socket.socket, callers: list[socket.socket], line: Line
) -> None:
    caller, taken = line
    caller.sendall(MODELS)
    first, _ = listening.accept()
    with first:
        assert door.waiting() == ROOM
        assert door.turned_away(taken) is None
    assert taken.recv(1000) == MODELS


@told
def test_who_has_waited_too_long_is_told_so(
    door: Admission, line: Line, monkeypatch: pytest.MonkeyPatch
) -> None:
    caller, taken = line
    caller.sendall(MODELS)
    assert door.turned_away(taken) is None
    time.sleep(0.05)
    assert 0.03 < admission.waited(taken) < 30.0
    monkeypatch.setattr(admission, "LATE", 0.01)
    assert door.turned_away(taken) == b"GET"
    refusal(caller)


def test_nobody_is_turned_away_where_nothing_is_told(
    door: Admission, callers: list[socket.socket], line: Line, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(admission, "_TCP_INFO", None)
    assert door.waiting() == 0
    assert door.turned_away(line[1]) is None


def test_what_is_no_tcp_socket_is_no_fault() -> None:
    near, far = socket.socketpair()
    with near, far:
        assert Admission(listening=[near], most=0).turned_away(near) is None
    gone = socket.socket()
    gone.close()
    assert admission.waited(gone) == 0.0


@told
def test_a_served_instance_turns_away_counts_and_recovers(tmp_path: Path) -> None:
    """One worker computes while more wait than may: all but those are told so, and all counted."""
    with socket.create_server(("127.0.0.1", 0)) as held:
        metrics = held.getsockname()[1]
    settings = {"ARROWLOFT_WAITING": "1", "ARROWLOFT_METRICS_PORT": str(metrics)}
    with served(tmp_path / "a", settings, options=("--workers", "1")) as instance:
        # Its request is not whole: the only worker waits for the rest of it.
        with socket.create_connection(("127.0.0.1", instance.port), timeout=30.0) as slow:
            slow.sendall(b"GET /healthz HTTP/1.1\r\n")
            time.sleep(0.3)
            waiting = [
                socket.create_connection(("127.0.0.1", instance.port), timeout=30.0)
                for _ in range(4)
            ]
            for caller in waiting:
                caller.sendall(b"GET /v1/units HTTP/1.1\r\nHost: range\r\n\r\n")
            slow.sendall(b"\r\n")
            statuses = []
            for caller in waiting:
                with caller:
                    statuses.append(int(caller.recv(64).split()[1]))
        assert sorted(statuses) == [200, 200, 503, 503]
        assert requests.get(f"{instance.url}/v1/units", timeout=30).status_code == 200
        text = requests.get(f"http://127.0.0.1:{metrics}/metrics", timeout=30).text
        assert 'arrowloft_problems_total{code="overloaded"} 2.0' in text


def test_the_document_says_so() -> None:
    client: FlaskClient = create_app().test_client()
    for path, operations in client.get("/openapi.json").get_json()["paths"].items():
        for operation in operations.values():
            said = operation["responses"].get("503", {"description": ""})
            turned_away = path not in ("/healthz", "/readyz")
            assert ("overloaded" in said["description"]) == turned_away, path
            assert ("Retry-After" in said.get("headers", {})) == turned_away, path
