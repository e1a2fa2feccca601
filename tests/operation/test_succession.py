"""A worker takes another's place: while it settles the old one serves, and ends at once then."""

import atexit
import logging
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest
import requests
from load_client import Ask, start
from processes import gone, wait_until
from proxied import served
from strangers import ROOT
from wire import message

from arrowloft.operation import succession

SETTLING = 6.0
"""Seconds that a new worker takes to settle here."""


class Server:
    """What is asked of gunicorn's master: two workers are wanted, of these (age, serving)."""

    num_workers = 2
    log = logging.getLogger("gunicorn.error")

    def __init__(self, *workers: tuple[int, bool]) -> None:
        self.WORKERS = {age: SimpleNamespace(age=age, serving=serving) for age, serving in workers}
        self.managed_at: list[float] = []

    def manage_workers(self) -> None:
        self.managed_at.append(time.monotonic())


@pytest.mark.parametrize(
    "workers",
    [
        pytest.param([(1, True)], id="one is missing"),
        pytest.param([(2, False), (1, True)], id="as many as wanted"),
        pytest.param([(4, True), (1, False), (3, True)], id="an old one is not heard of"),
    ],
)
def test_nobody_is_waited_for_in_vain(workers: list[tuple[int, bool]]) -> None:
    server = Server(*workers)
    begin = time.monotonic()
    succession.handing_over(server)()
    assert server.managed_at[0] - begin < 0.5 * succession.PATIENCE


def test_old_workers_go_once_all_new_ones_serve() -> None:
    server = Server((4, True), (1, True), (3, False), (2, True))
    handing_over = threading.Thread(target=succession.handing_over(server))
    handing_over.start()
    time.sleep(20.0 * succession.LOOK)
    assert not server.managed_at
    server.WORKERS[3].serving = True
    handing_over.join(0.5 * succession.PATIENCE)
    assert len(server.managed_at) == 1


def test_the_old_ones_stay_while_new_ones_do_not_serve(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(succession, "PATIENCE", 0.1)
    server = Server((1, True), (2, True), (3, True), (4, False))
    manage_workers = succession.handing_over(server)
    manage_workers()
    assert not server.managed_at
    assert "the old ones stay" in caplog.text
    # Dead by then, and found so: another has taken its place, as gunicorn calls again.
    del server.WORKERS[4]
    server.WORKERS[5] = SimpleNamespace(age=5, serving=True)
    manage_workers()
    assert len(server.managed_at) == 1


def test_workers_of_another_kind_are_not_waited_for() -> None:
    server = Server((1, True), (2, True), (3, True))
    server.WORKERS[3] = SimpleNamespace(age=3)
    succession.handing_over(server)()
    assert len(server.managed_at) == 1


def test_a_reload_keeps_nobody_waiting(tmp_path: Path) -> None:
    """Each new worker takes a while to settle; the answers do not."""
    slow = tmp_path / "slow.conf.py"
    slow.write_text(
        "import time\n"
        "from pathlib import Path\n"
        "from arrowloft.operation import succession\n"
        "succession.PATIENCE = 40.0\n"
        f"conf = Path({str(ROOT / 'deploy' / 'gunicorn.conf.py')!r})\n"
        "exec(compile(conf.read_text(), str(conf), 'exec'))\n"
        "settled = post_worker_init\n"
        "def post_worker_init(worker):\n"
        f"    time.sleep({SETTLING})\n"
        "    settled(worker)\n"
    )
    with served(tmp_path, options=("--config", str(slow))) as instance:
        before = instance.workers()
        instance.service.process.send_signal(signal.SIGHUP)
        latest, asked = 0.0, 0
        end = time.monotonic() + 30.0
        while set(before) & set(instance.workers()) and time.monotonic() < end:
            begin = time.monotonic()
            assert requests.get(f"{instance.url}/healthz", timeout=60.0).status_code == 200
            latest, asked = max(latest, time.monotonic() - begin), asked + 1
        assert not set(before) & set(instance.workers())
        assert asked > 10 and latest < 0.75 * SETTLING
        assert "new workers do not serve" not in instance.service.log.read_text()


def test_workers_without_a_master_end_under_full_load(tmp_path: Path) -> None:
    asks = [Ask(message=message("GET", "/healthz"))]
    with served(tmp_path, {"ARROWLOFT_WORKERS": "2"}) as instance:
        workers = instance.workers()
        port = int(instance.url.rpartition(":")[2])
        with start(port, asks, clients=8, seconds=120.0) as load:
            time.sleep(1.0)
            os.kill(instance.service.process.pid, signal.SIGKILL)
            assert wait_until(lambda: all(map(gone, workers)), 20.0)
            load.stop()


def ended(do: Callable[[], None]) -> tuple[int, str]:
    """The exit status of a forked process that does this, and what it wrote."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        signal.alarm(60)
        atexit._clear()  # what pytest and others have asked for is not for this process
        atexit.register(os.write, writing, b"asked for at the end")
        try:
            do()
        finally:
            os._exit(99)
    os.close(writing)
    with os.fdopen(reading) as file:
        text = file.read()
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), text


def leaving(code: object) -> Callable[[], None]:
    def do() -> None:
        try:
            sys.exit(code)  # type: ignore[arg-type]
        finally:
            succession.end_at_once()

    return do


@pytest.mark.parametrize(("code", "expected"), [(0, 0), (None, 0), (1, 99), ("why", 99)])
def test_only_a_good_end_is_cut_short(code: object, expected: int) -> None:
    assert ended(leaving(code)) == (expected, "" if expected else "asked for at the end")


def test_where_nothing_ends_nothing_is_cut_short() -> None:
    assert ended(succession.end_at_once) == (99, "")


def test_a_worker_that_ends_does_not_copy_what_is_shared(tmp_path: Path) -> None:
    """Python's own way down touches some 22,000 pages, counted with a child that was waited for."""
    with served(tmp_path) as instance:
        (worker,) = instance.workers()

        def pages() -> int:
            stat = Path(f"/proc/{instance.service.process.pid}/stat").read_text()
            return int(stat.rpartition(")")[2].split()[8])

        before, own = (
            pages(),
            int(Path(f"/proc/{worker}/stat").read_text().rpartition(")")[2].split()[7]),
        )
        os.kill(worker, signal.SIGTERM)
        assert wait_until(lambda: worker not in instance.workers() and pages() > before)
        assert pages() - before - own < 5_000
