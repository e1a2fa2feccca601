"""Metrics and log of the service as it is run: exact over all workers, whatever ends them."""

import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import requests
from prometheus_client.parser import text_string_to_metric_families
from strangers import PATIENCE, ROOT, Service, demo_request, free_port, start, wait_until_served

from arrowloft import __version__
from arrowloft.operation.metrics_process import MetricsProcess

WORKERS = 2


class Observed:
    """A running service, and what it says of itself."""

    def __init__(self, folder: Path, **settings: str) -> None:
        self.folder = folder / "counts"
        self.port = free_port()
        variables = {
            "ARROWLOFT_WORKERS": str(WORKERS),
            "ARROWLOFT_METRICS_PORT": str(self.port),
            "PROMETHEUS_MULTIPROC_DIR": str(self.folder),
        }
        self.service: Service = start(folder / "service.log", settings=variables | settings)
        try:
            wait_until_served(self.service)
        except BaseException:
            self.service.end()
            raise

    def counts(self) -> dict[tuple[Any, ...], float]:
        """(name, labels) -> value."""
        address = f"http://127.0.0.1:{self.port}/metrics"
        end = time.monotonic() + PATIENCE
        while True:
            try:
                text = requests.get(address, timeout=PATIENCE).text
                break
            except requests.ConnectionError:
                assert time.monotonic() < end
                time.sleep(0.1)
        return {
            (sample.name, *sorted(sample.labels.items())): sample.value
            for family in text_string_to_metric_families(text)
            for sample in family.samples
        }

    def counted(self, name: str, **labels: str) -> float:
        return self.counts().get((f"arrowloft_{name}", *sorted(labels.items())), 0.0)

    def tables(self) -> float:
        return self.counted("requests_total", operation="mark_table", method="POST", status="200")

    def ask(self, times: int) -> None:
        for _ in range(times):
            assert self.service.post("/v1/mark-table", demo_request())[0] == 200

    def records(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.service.log.read_text().splitlines()]

    def children(self) -> dict[int, str]:
        """Process -> its command."""
        listed = subprocess.run(
            ["ps", "-ww", "-o", "pid=,args=", "--ppid", str(self.service.process.pid)],
            capture_output=True,
            text=True,
            check=False,
        ).stdout
        pairs = (line.strip().partition(" ") for line in listed.splitlines())
        return {int(process): command for process, _, command in pairs}

    def serving(self) -> list[int]:
        """The process that serves metrics, where there is one."""
        return [it for it, said in self.children().items() if "metrics_server" in said]

    def workers(self) -> list[int]:
        return [process for process, said in self.children().items() if "-m gunicorn" in said]


def wait_until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE
    while not true():
        assert time.monotonic() < end
        time.sleep(0.05)


@pytest.fixture(scope="module")
def observed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Observed]:
    found = Observed(tmp_path_factory.mktemp("observed"))
    yield found
    found.service.end()


def test_counts_are_exact_also_after_workers_were_ended(observed: Observed) -> None:
    asked = 0
    for sent in (None, signal.SIGKILL, signal.SIGTERM, signal.SIGKILL):
        if sent is not None:
            before = observed.workers()
            os.kill(before[0], sent)
            wait_until(lambda gone=before[0]: gone not in observed.workers())  # type: ignore[misc]
            wait_until(lambda: len(observed.workers()) == WORKERS)
        observed.ask(40)
        asked += 40
        assert observed.tables() == asked
    labels = {"operation": "mark_table"}
    assert observed.counted("request_seconds_count", **labels) == asked
    assert observed.counted("request_seconds_bucket", le="+Inf", **labels) == asked
    assert observed.counted("drag_evaluations_total", **labels) % asked == 0
    assert observed.counted("requests_running") == 0
    told = [line for line in observed.records() if line["logger"] == "arrowloft.requests"]
    assert sum(line["operation"] == "mark_table" for line in told) == asked
    # Both workers answered, and so did those that took the place of ended ones.
    assert len({line["process"] for line in told}) > WORKERS


def test_the_folder_does_not_grow_with_workers_that_were_replaced(observed: Observed) -> None:
    def kinds() -> set[str]:
        return {path.name for path in observed.folder.glob("counter_*.db")}

    (gone, *_) = observed.workers()
    os.kill(gone, signal.SIGKILL)
    expected = lambda: {f"counter_{it}.db" for it in observed.workers()} | {"counter_ended.db"}  # noqa: E731
    wait_until(lambda: gone not in observed.workers() and kinds() == expected())


def test_a_reload_keeps_the_counts(observed: Observed) -> None:
    before, workers = observed.tables(), observed.workers()
    observed.service.process.send_signal(signal.SIGHUP)
    wait_until(
        lambda: len(observed.workers()) == WORKERS and not set(workers) & set(observed.workers())
    )
    observed.ask(5)
    assert observed.tables() == before + 5


def test_what_a_killed_worker_was_computing_is_computed_no_more(observed: Observed) -> None:
    """A worker that waits for the rest of a body runs a request until it is ended."""
    port = int(observed.service.url.rpartition(":")[2])
    with socket.create_connection(("127.0.0.1", port)) as caller:
        caller.sendall(
            b"POST /v1/mark-table HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
            b"Content-Length: 100\r\n\r\n{"
        )
        wait_until(lambda: observed.counted("requests_running") == 1)
        for worker in observed.workers():
            os.kill(worker, signal.SIGKILL)
        wait_until(lambda: observed.counted("requests_running") == 0)
    wait_until(lambda: len(observed.workers()) == WORKERS)


def test_the_log_is_json_and_quotes_no_one(observed: Observed) -> None:
    port = int(observed.service.url.rpartition(":")[2])
    with socket.create_connection(("127.0.0.1", port)) as caller:
        caller.sendall(b"G(T /geheim HTTP/1.1\r\nHost: x\r\n\r\n")
        caller.recv(1000)
    requests.get(f"{observed.service.url}/geheim?geheim=1", timeout=PATIENCE)
    wait_until(lambda: any(line["message"] == "Invalid request" for line in observed.records()))
    assert "geheim" not in observed.service.log.read_text()


def test_the_server_names_no_version(observed: Observed) -> None:
    reply = requests.get(f"{observed.service.url}/healthz", timeout=PATIENCE)
    assert not any(letter.isdigit() for letter in reply.headers["Server"])


def test_metrics_are_not_served_to_the_callers(observed: Observed) -> None:
    assert requests.get(f"{observed.service.url}/metrics", timeout=PATIENCE).status_code == 404


def test_another_start_begins_at_nought(tmp_path: Path) -> None:
    for _ in range(2):
        observed = Observed(tmp_path)
        try:
            observed.ask(3)
            assert observed.tables() == 3
        finally:
            observed.service.end()
        assert observed.service.process.returncode == 0


def test_the_process_and_its_folder_go_with_a_killed_master(tmp_path: Path) -> None:
    observed = Observed(tmp_path, PROMETHEUS_MULTIPROC_DIR="")
    try:
        observed.counts()
        (serving,) = observed.serving()
        words = observed.children()[serving].split()
        folder = Path(words[words.index("--folder") + 1])
        assert folder.is_dir()
    finally:
        observed.service.process.kill()
        observed.service.end()
    wait_until(lambda: not Path(f"/proc/{serving}").exists() and not folder.exists())


def test_the_process_is_started_again_where_it_ends(tmp_path: Path) -> None:
    observed = Observed(tmp_path)
    try:
        observed.ask(3)
        for sent in (signal.SIGKILL, signal.SIGTERM):
            (serving,) = observed.serving()
            os.kill(serving, sent)
            wait_until(lambda gone=serving: observed.serving() not in ([], [gone]))  # type: ignore[misc]
            assert observed.tables() == 3
        said = [line for line in observed.records() if "started again" in line["message"]]
        assert [line["level"] for line in said] == ["ERROR"] * 2
    finally:
        observed.service.end()
    assert observed.serving() == []


def test_a_port_that_is_taken_stops_the_start_and_is_named(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as holder:
        port = str(holder.getsockname()[1])
        with pytest.raises(AssertionError):
            Observed(tmp_path, ARROWLOFT_METRICS_PORT=port)
    last = json.loads((tmp_path / "service.log").read_text().splitlines()[-1])
    assert last["level"] == "CRITICAL"
    assert f"ARROWLOFT_METRICS_PORT={port} is taken or not allowed on 127.0.0.1" in last["message"]


def test_a_port_that_is_let_go_is_waited_for() -> None:
    holder = socket.create_server(("127.0.0.1", 0))
    metrics = SimpleNamespace(bind="127.0.0.1", port=holder.getsockname()[1])
    metrics._fault = lambda: MetricsProcess._fault(metrics)  # type: ignore[arg-type]
    letting_go = threading.Timer(0.3, holder.close)
    letting_go.start()
    MetricsProcess.require_port(metrics)  # type: ignore[arg-type]
    letting_go.join()


def test_a_process_that_cannot_be_started_does_not_end_the_master(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def none(*_: object, **__: object) -> None:
        raise OSError("no process to give")

    monkeypatch.setattr("atexit.register", lambda _: None)
    metrics = MetricsProcess(bind="127.0.0.1", port=1, folder=str(tmp_path))
    metrics.process = SimpleNamespace(poll=lambda: 0)  # type: ignore[assignment]
    monkeypatch.setattr(subprocess, "Popen", none)
    metrics.look()


def test_the_instance_says_its_version_its_workers_and_its_file_of_keys(tmp_path: Path) -> None:
    keys = tmp_path / "keys"
    keys.write_text("")
    observed = Observed(tmp_path, ARROWLOFT_KEYS_FILE=str(keys))
    try:
        assert observed.counted("build_info", version=__version__) == 1
        wait_until(lambda: observed.counted("workers") == WORKERS)
        assert observed.counts()["arrowloft_key_file_bad",] == 0
        keys.write_text("no key")
        assert observed.counts()["arrowloft_key_file_bad",] == 1
        killed = set(observed.workers())
        for worker in killed:
            os.kill(worker, signal.SIGKILL)
        # Others may take their places before anyone has looked: neither is counted twice.
        wait_until(lambda: not killed & set(observed.workers()))
        wait_until(lambda: observed.counted("workers") == WORKERS)
    finally:
        observed.service.end()


def test_the_process_imports_little() -> None:
    """A fifth of a worker's memory; with numpy it would be a half."""
    code = (
        "import sys, arrowloft.operation.metrics_server\n"
        "sys.exit(bool({'numpy', 'flask', 'orjson', 'arrowloft.api'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0
