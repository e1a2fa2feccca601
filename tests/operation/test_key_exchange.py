"""The file of keys over the lives of workers: a key that was taken back stays so."""

import logging
import os
import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import requests
from strangers import PATIENCE, Service, start, wait_until_served

from arrowloft.app import create_app
from arrowloft.operation import access
from arrowloft.operation.key_file import KeyFile
from arrowloft.operation.keys import fresh
from arrowloft.operation.settings import Settings

OLD, NEW, OTHER = fresh("club"), fresh("club"), fresh("guest")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "keys"
    path.write_text(OLD.line)
    return path


@pytest.fixture
def service(path: Path) -> Iterator[Service]:
    found = start(path.with_name("log"), settings={"ARROWLOFT_KEYS_FILE": str(path)})
    try:
        wait_until_served(found)
        yield found
    finally:
        found.end()


def statuses(service: Service) -> tuple[int, int]:
    """What the old and the new key get."""

    def status(key: str) -> int:
        sent = {"Authorization": f"Bearer {key}"}
        return requests.get(f"{service.url}/v1/units", headers=sent, timeout=PATIENCE).status_code

    return status(OLD.key), status(NEW.key)


def workers(service: Service) -> list[int]:
    listed = subprocess.run(
        ["ps", "-o", "pid=", "--ppid", str(service.process.pid)],
        capture_output=True,
        text=True,
        check=False,
    ).stdout
    return [int(line) for line in listed.split()]


def replace_worker(service: Service) -> None:
    """Kill the only worker, and wait for the next one."""
    (gone,) = workers(service)
    os.kill(gone, signal.SIGKILL)
    wait_until(lambda: workers(service) not in ([], [gone]))
    wait_until_served(service)


def wait_until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE
    while not true():
        assert time.monotonic() < end
        time.sleep(0.05)


def test_a_key_that_was_taken_back_stays_so(service: Service, path: Path) -> None:
    assert statuses(service) == (200, 401)
    path.write_text(NEW.line)
    replace_worker(service)
    assert statuses(service) == (401, 200)
    path.unlink()
    assert statuses(service) == (401, 200)
    replace_worker(service)
    # Nobody knows which are valid.
    assert statuses(service) == (401, 401)
    assert "lets nobody in" in service.log.read_text()
    path.write_text(NEW.line)
    assert statuses(service) == (401, 200)


def names(file: KeyFile) -> list[str]:
    return [entry.name for entry in file.entries()]


def test_a_worker_starts_from_the_file_alone(path: Path, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    file = KeyFile(path)
    file.begin()
    assert names(file) == ["club"] and not file.shut
    # A worker that begins is no news.
    assert caplog.messages == []
    path.write_text("no key")
    assert names(file) == ["club"] and not file.shut
    file.begin()
    assert names(file) == [] and file.shut
    assert "lets nobody in" in caplog.messages[-1]
    path.write_text(OTHER.line)
    assert names(file) == ["guest"] and not file.shut


def test_who_has_a_key_is_not_told_that_it_is_invalid_where_nobody_knows(path: Path) -> None:
    app = create_app(settings=Settings(keys=OTHER.line, keys_file=path))
    path.unlink()
    access.forked(app)

    def asked(key: str) -> tuple[int, str, str]:
        sent = {"Authorization": f"Bearer {key}"}
        reply = app.test_client().get("/v1/units", headers=sent)
        detail = str(reply.get_json().get("detail"))
        return reply.status_code, reply.headers.get("WWW-Authenticate", ""), detail

    status, challenge, detail = asked(OLD.key)
    assert (status, challenge) == (401, access.CHALLENGE)
    assert "cannot tell now which keys are valid" in detail
    assert asked(OTHER.key)[0] == 200


def test_there_is_no_reload_while_the_file_is_wrong(service: Service, path: Path) -> None:
    """It would end the service; and new workers would know no key, while the old ones do."""
    before = workers(service)
    path.write_text("half a li")
    service.process.send_signal(signal.SIGHUP)
    wait_until(lambda: "no reload, everything goes on" in service.log.read_text())
    assert str(path) in service.log.read_text()
    time.sleep(1.0)
    assert workers(service) == before
    assert statuses(service) == (200, 401)
    path.write_text(NEW.line)
    assert statuses(service) == (401, 200)
    service.process.send_signal(signal.SIGHUP)
    wait_until(lambda: not set(before) & set(workers(service)))
    assert statuses(service) == (401, 200)
