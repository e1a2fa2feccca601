"""The guardian of a worker: what hangs in C is answered, what is frozen is asked for elsewhere."""

import os
import re
import select
import signal
import socket
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import requests
from gunicorn.workers.sync import SyncWorker
from processes import children, gone, wait_until
from proxied import Instance, proxy, served
from strangers import PATIENCE, Distribution, demo_request, free_port

from arrowloft.operation import lookout
from arrowloft.operation.wire import Written
from arrowloft.operation.worker import Worker

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/stat").exists(), reason="the system does not tell what processes do"
)

STRANGER = Distribution(
    "harmful",
    drag={
        "harm-hangs": "harmful:Hangs",
        "harm-waits": "harmful:Waits",
        "harm-exits": "harmful:Exits",
    },
    modules={
        "harmful": """
            import collections, itertools, os, time
            from dataclasses import dataclass
            from pathlib import Path
            import numpy as np
            from arrowloft.plugin import Array, Arrow, DragModel, Flow, Source

            class Harmful(DragModel):
                version = "1"
                sources = (Source("Invented for these trials", "derived"),)
                default_uncertainty = 0.1

                def drag_area(self, flow: Flow, arrow: Arrow) -> Array:
                    self.harm()
                    return np.full(flow.airspeed.shape, 4e-5)

            @dataclass(frozen=True, kw_only=True)
            class Hangs(Harmful):
                "Hands control to code in C that looks at no signal for hours."
                name = "harm-hangs"

                def harm(self) -> None:
                    Path(__file__).with_name("hanging").touch()
                    collections.deque(itertools.repeat(None, 10**13), maxlen=0)

            @dataclass(frozen=True, kw_only=True)
            class Waits(Harmful):
                "Takes a while, once a process, and notes which it is."
                name = "harm-waits"

                def harm(self) -> None:
                    global waited
                    if not waited:
                        waited = True
                        Path(__file__).with_name("waiting").write_text(str(os.getpid()))
                        time.sleep(0.6)

            waited = False

            @dataclass(frozen=True, kw_only=True)
            class Exits(Harmful):
                "Ends its process as a worker of the server's that cannot begin does."
                name = "harm-exits"

                def harm(self) -> None:
                    os._exit(3)
        """
    },
)
LIMIT = 2.0
QUICK = {"ARROWLOFT_LIMIT_SECONDS": f"{LIMIT:g}"}
"""The service's limit in these trials, s."""
ENDED = 10.0
"""Seconds after which gunicorn would end a worker that hangs, without an answer."""


@pytest.fixture(scope="module")
def laid(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("laid")
    STRANGER.lay_down(folder)
    return folder


@pytest.fixture(scope="module")
def instance(laid: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Instance]:
    """One of two workers."""
    folder = tmp_path_factory.mktemp("instance")
    settings = QUICK | {"ARROWLOFT_WORKERS": "2", "ARROWLOFT_METRICS_PORT": str(free_port())}
    with served(folder, settings, folders=[laid]) as one:
        settled(one, 2)
        yield one


def guardians(instance: Instance) -> list[int]:
    found = [child for worker in instance.workers() for child in children(worker)]
    return [child for child in found if not gone(child)]


def until(met: Callable[[], Any]) -> None:
    assert wait_until(met)


def settled(instance: Instance, workers: int) -> None:
    """Wait until as many workers serve, each with its guardian."""
    until(lambda: len(instance.workers()) == len(guardians(instance)) == workers)


def asked(url: str, model: str) -> requests.Response:
    body = demo_request() | {"drag": {"model": model}}
    return requests.post(f"{url}/v1/mark-table", json=body, timeout=PATIENCE)


@contextmanager
def meanwhile(url: str, path: str = "/readyz") -> Iterator[list[int]]:
    """Statuses of what another one asks all the while."""
    statuses: list[int] = []
    going = True

    def ask() -> None:
        while going:
            statuses.append(requests.get(url + path, timeout=PATIENCE).status_code)
            time.sleep(0.05)

    with ThreadPoolExecutor(1) as pool:
        asking = pool.submit(ask)
        try:
            yield statuses
        finally:
            going = False
            asking.result()


def test_what_hangs_in_c_is_answered_and_costs_its_worker(instance: Instance) -> None:
    before, watching = set(instance.workers()), set(guardians(instance))
    begin = time.monotonic()
    with meanwhile(instance.url) as statuses:
        reply = asked(instance.url, "harm-hangs")
    passed = time.monotonic() - begin
    until(lambda: len(set(instance.workers()) - before) == 1)
    assert reply.status_code == 503
    assert reply.headers["Content-Type"] == "application/problem+json"
    assert reply.headers["Cache-Control"] == "no-store"
    assert reply.headers["X-Content-Type-Options"] == "nosniff"
    assert reply.headers["Connection"] == "close"
    said = reply.json()
    assert said["type"] == "/problems/takes-too-long" and said["status"] == 503
    assert said["detail"].startswith(f"The request took longer than {LIMIT:g} s. ")
    assert LIMIT + lookout.GRACE <= passed < ENDED
    assert len(statuses) > 10 and set(statuses) == {200}
    assert len(before - set(instance.workers())) == 1
    settled(instance, 2)
    assert len(watching & set(guardians(instance))) == 1
    assert f"request_id={reply.headers['X-Request-Id']}" in instance.service.log.read_text()
    # Counted once, by a process that has ended.
    counts = {'operation="none",status="503"} 1.0', 'problems_total{code="takes-too-long"} 1.0'}
    metrics = f"http://127.0.0.1:{instance.settings['ARROWLOFT_METRICS_PORT']}/metrics"
    said = requests.get(metrics, timeout=PATIENCE).text
    assert [count for count in counts if count not in said] == []


def test_what_takes_a_while_is_answered_by_its_worker(instance: Instance) -> None:
    before = set(instance.workers())
    assert asked(instance.url, "harm-waits").status_code == 200
    assert set(instance.workers()) == before


def test_what_exits_as_a_worker_that_cannot_begin_does_not_end_the_master(
    instance: Instance,
) -> None:
    before = set(instance.workers())
    with pytest.raises(requests.ConnectionError):
        asked(instance.url, "harm-exits")
    until(lambda: before - set(instance.workers()))
    settled(instance, 2)
    assert requests.get(instance.url + "/healthz", timeout=PATIENCE).status_code == 200


def test_the_end_of_a_reply_is_seen_at_once(instance: Instance) -> None:
    """Though another process could hold the connection open."""
    message = b"GET /healthz HTTP/1.1\r\nHost: here\r\n\r\n"
    delays = []
    for _ in range(30):
        with socket.create_connection(("127.0.0.1", instance.port), PATIENCE) as line:
            line.sendall(message)
            parts = [line.recv(65536)]
            answered = time.monotonic()
            while part := line.recv(65536):
                parts.append(part)
            delays.append(time.monotonic() - answered)
        assert b"".join(parts).startswith(b"HTTP/1.1 200")
    # Any delay would be anything up to that of the guardian's looks. Most are none, however
    # laden the machine is.
    assert sorted(delays)[len(delays) // 4] < lookout.LOOK / 10.0


def test_a_worker_killed_in_the_midst_lets_its_client_go(instance: Instance, laid: Path) -> None:
    """Unanswered: the proxy asks another instance then."""
    settled(instance, 2)
    note = laid / "hanging"
    note.unlink(missing_ok=True)
    before = set(instance.workers())
    with ThreadPoolExecutor(1) as pool:
        reply = pool.submit(asked, instance.url, "harm-hangs")
        until(note.exists)
        killed = time.monotonic()
        for worker in before:
            os.kill(worker, signal.SIGKILL)
        with pytest.raises(requests.ConnectionError):
            reply.result()
        assert time.monotonic() - killed < ENDED
    settled(instance, 2)


def test_guardians_are_small_and_hold_no_listening_socket(instance: Instance) -> None:
    settled(instance, 2)
    for guardian in guardians(instance):
        told = Path(f"/proc/{guardian}/smaps_rollup").read_text().splitlines()
        own = sum(int(line.split()[1]) for line in told if line.startswith("Private"))
        assert own < 16_000  # kB
        until(lambda process=guardian: len(list(Path(f"/proc/{process}/fd").iterdir())) == 4)


def test_behind_nginx_a_hang_costs_one_worker_of_two_instances(laid: Path, tmp_path: Path) -> None:
    settings = QUICK | {"ARROWLOFT_WORKERS": "2"}
    with (
        served(tmp_path / "a", settings, folders=[laid]) as a,
        served(tmp_path / "b", settings, folders=[laid]) as b,
        proxy(tmp_path / "nginx", [a.port, b.port], rates="") as front,
    ):
        settled(a, 2)
        settled(b, 2)
        before = {*a.workers(), *b.workers()}
        begin = time.monotonic()
        with meanwhile(front.url) as statuses:
            reply = asked(front.url, "harm-hangs")
            passed = time.monotonic() - begin
            time.sleep(1.0)
        assert reply.status_code == 503 and passed < ENDED
        assert reply.json()["type"] == "/problems/takes-too-long"
        assert "X-Request-Id" in reply.headers
        assert set(statuses) == {200}
        settled(a, 2)
        settled(b, 2)
        assert len(before - {*a.workers(), *b.workers()}) == 1

        _frozen_while_it_computes(a, b, front.url, laid / "waiting")


def _frozen_while_it_computes(a: Instance, b: Instance, url: str, note: Path) -> None:
    """A worker that is frozen loses nothing: its request is answered by the other instance."""
    note.unlink(missing_ok=True)
    before = {*a.workers(), *b.workers()}
    with ThreadPoolExecutor(1) as pool:
        reply = pool.submit(asked, url, "harm-waits")
        until(lambda: note.exists() and note.read_text())
        frozen = int(note.read_text())
        os.kill(frozen, signal.SIGSTOP)
        assert reply.result().status_code == 200
    until(lambda: gone(frozen))
    settled(a, 2)
    settled(b, 2)
    assert before - {*a.workers(), *b.workers()} == {frozen}
    logs = a.service.log.read_text() + b.service.log.read_text()
    assert logs.count("a worker was frozen") == 1


def test_nobody_is_left_after_recycling_reload_and_stop(tmp_path: Path) -> None:
    with served(tmp_path, {"ARROWLOFT_WORKER_REQUESTS": "3"}) as instance:
        settled(instance, 1)
        seen = set(guardians(instance))
        before = instance.workers()
        while instance.workers() == before:
            requests.get(instance.url + "/healthz", timeout=PATIENCE)
        settled(instance, 1)
        until(lambda: all(gone(guardian) for guardian in seen))

        seen = set(guardians(instance))
        instance.service.process.send_signal(signal.SIGHUP)
        until(lambda: all(gone(guardian) for guardian in seen))
        settled(instance, 1)

        seen = set(guardians(instance))
        # As a terminal or a supervisor does: nobody must end before the worker has answered.
        for guardian in seen:
            os.kill(guardian, signal.SIGTERM)
            os.kill(guardian, signal.SIGINT)
        time.sleep(2.0 * lookout.LOOK)
        assert set(guardians(instance)) == seen
        instance.service.process.terminate()
        assert instance.service.process.wait(PATIENCE) == 0
        until(lambda: all(gone(guardian) for guardian in seen))
    log = instance.service.log.read_text()
    assert "a guardian failed" not in log and "a worker was frozen" not in log


def test_a_worker_whose_guardian_is_gone_gives_its_place_to_another(tmp_path: Path) -> None:
    with served(tmp_path, {"ARROWLOFT_WORKERS": "1"}) as instance:
        settled(instance, 1)
        before, (guardian,) = instance.workers(), guardians(instance)
        requests.get(instance.url + "/healthz", timeout=PATIENCE)
        assert instance.workers() == before
        os.kill(guardian, signal.SIGKILL)
        until(lambda: gone(guardian))
        # Whoever asks next is answered all the same.
        assert requests.get(instance.url + "/healthz", timeout=PATIENCE).status_code == 200
        until(lambda: instance.workers() != before)
        settled(instance, 1)
    assert "guardian is gone" in instance.service.log.read_text()


@pytest.fixture
def line() -> Iterator[tuple[socket.socket, socket.socket]]:
    ours, theirs = socket.socketpair()
    with ours, theirs:
        theirs.settimeout(5.0)
        yield ours, theirs


@pytest.fixture
def shared() -> Iterator[lookout.Guarded]:
    near, far = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    theirs, lifeline = os.pipe()
    with near, far, os.fdopen(theirs, "rb"), os.fdopen(lifeline, "wb"):
        yield lookout.Guarded(near, far, lifeline, os.getpid())


def watching(shared: lookout.Guarded) -> lookout._Guardian:
    """A guardian in this very process, which thinks that its parent is the worker."""
    said = Written(b"head\r\n\r\n", b"body")
    return lookout._Guardian(os.getppid(), shared.near, shared.far, -1, 0.0, said, counted.append)


counted: list[str] = []
"""Methods of what was answered."""


@pytest.fixture
def killed(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Processes that would have been killed."""
    found: list[int] = []
    monkeypatch.setattr(os, "kill", lambda process, _: found.append(process))
    return found


@pytest.mark.parametrize(("method", "said"), [("POST", b"body"), ("HEAD", b"")])
def test_who_holds_the_message_answers(
    shared: lookout.Guarded,
    line: tuple[socket.socket, socket.socket],
    killed: list[int],
    caplog: pytest.LogCaptureFixture,
    method: str,
    said: bytes,
) -> None:
    ours, theirs = line
    shared.begin(ours, SimpleNamespace(method=method))
    guardian = watching(shared)
    lying = guardian._lying()
    assert lying is not None and guardian._lying() == lying
    counted.clear()
    assert guardian._ended(lying)
    assert counted == [method]
    reply = re.fullmatch(
        rb"head\r\nX-Request-Id: ([0-9a-f]{32})\r\n\r\n(.*)", theirs.recv(100), re.DOTALL
    )
    assert reply and reply[2] == said and theirs.recv(100) == b""
    assert reply[1].decode() in caplog.text
    assert killed == [os.getppid()]
    # The worker would wait for its end.
    assert not select.select([shared.far], [], [], 0.0)[0]


def test_what_the_worker_answers_the_guardian_does_not(
    shared: lookout.Guarded, line: tuple[socket.socket, socket.socket], killed: list[int]
) -> None:
    ours, theirs = line
    guardian = watching(shared)
    shared.begin(ours, SimpleNamespace(method="GET"))
    lying = guardian._lying()
    shared.end()
    shared.end()
    assert lying is not None and guardian._lying() is None
    assert not guardian._ended(lying)
    ours.close()
    assert theirs.recv(100) == b""
    assert not killed


def test_the_next_request_is_not_taken_for_the_overdue_one(
    shared: lookout.Guarded, line: tuple[socket.socket, socket.socket], killed: list[int]
) -> None:
    """It may have begun between the guardian's look and its hand."""
    ours, theirs = line
    guardian = watching(shared)
    shared.begin(ours, SimpleNamespace(method="GET"))
    first = guardian._lying()
    shared.end()
    shared.begin(ours, SimpleNamespace(method="GET"))
    assert first is not None and not guardian._ended(first)
    assert guardian._lying() not in (None, first)
    shared.end()
    ours.sendall(b"the worker's")
    assert theirs.recv(100) == b"the worker's"
    assert not killed


@pytest.mark.parametrize("way", ["a reply", "a file", "a failure"])
def test_a_worker_takes_it_back_before_anything_is_written(
    shared: lookout.Guarded,
    line: tuple[socket.socket, socket.socket],
    monkeypatch: pytest.MonkeyPatch,
    way: str,
) -> None:
    guardian = watching(shared)
    lying: list[bytes | None] = []

    def sent(*_: object, **__: object) -> int:
        lying.append(guardian._lying())
        return 0

    def handle(_: object, __: object, ___: object, client: Any, ____: object) -> None:
        assert guardian._lying() is not None
        client.sendall(b"head")
        if way == "a file":
            client.sendfile(None)
        if way == "a failure":
            raise OSError

    worker = Worker.__new__(Worker)
    worker.lookout = shared
    monkeypatch.setattr(SyncWorker, "handle_request", handle)
    client = SimpleNamespace(fileno=line[0].fileno, sendall=sent, sendfile=sent)
    with suppress(OSError):
        worker.handle_request(None, SimpleNamespace(method="GET"), client, None)
    # gunicorn answers for a failure itself.
    assert guardian._lying() is None and set(lying) <= {None}
    assert len(lying) == {"a reply": 1, "a file": 2, "a failure": 0}[way]


def test_a_frozen_worker_is_not_answered_for(
    shared: lookout.Guarded,
    line: tuple[socket.socket, socket.socket],
    killed: list[int],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ours, theirs = line
    guardian = watching(shared)
    shared.begin(ours, SimpleNamespace(method="GET"))
    monkeypatch.setattr(lookout, "_state", lambda _: "T")
    assert guardian._ended(guardian._lying() or b"")
    theirs.setblocking(False)
    with pytest.raises(BlockingIOError):
        theirs.recv(100)
    assert killed == [os.getppid()]


@pytest.mark.parametrize("short_of", ["socket.socketpair", "os.pipe", "os.fork"])
def test_where_the_system_is_short_of_something_nobody_looks(
    monkeypatch: pytest.MonkeyPatch, short_of: str
) -> None:
    """Its worker serves all the same: a failure would end the master."""

    def short(*_: Any) -> None:
        raise OSError(24, "Too many open files")

    before = len(list(Path("/proc/self/fd").iterdir()))
    monkeypatch.setattr(f"arrowloft.operation.lookout.{short_of}", short)
    assert type(lookout.start(LIMIT, print)) is lookout.Lookout
    assert len(list(Path("/proc/self/fd").iterdir())) == before


def test_where_the_system_does_not_tell_nobody_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lookout, "_state", lambda _: None)
    assert type(lookout.start(LIMIT, counted.append)) is lookout.Lookout
