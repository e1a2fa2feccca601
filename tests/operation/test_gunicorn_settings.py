"""What gunicorn makes of deploy/gunicorn.conf.py, and what it says where that is wrong."""

import json
import os
import runpy
import subprocess
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from strangers import ROOT, clean_environment

CONFIGURATION = str(ROOT / "deploy" / "gunicorn.conf.py")
SECONDS = 60


def printed(**variables: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-P", "-m", "gunicorn", "--config", CONFIGURATION, "--print-config"],
        env=clean_environment() | {f"ARROWLOFT_{name}": text for name, text in variables.items()},
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=SECONDS,
        check=False,
    )


@pytest.fixture
def configured(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """A function that runs the configuration with these variables, and gives its names."""
    before = dict(os.environ)
    for name in before:
        if name.startswith("ARROWLOFT_"):
            monkeypatch.delenv(name)

    def run(**variables: str) -> Mapping[str, Any]:
        for name, text in variables.items():
            monkeypatch.setenv(f"ARROWLOFT_{name}", text)
        return runpy.run_path(CONFIGURATION)

    yield run
    os.environ.clear()
    os.environ.update(before)


def test_what_gunicorn_makes_of_it() -> None:
    pairs = (line.partition("=") for line in printed().stdout.splitlines())
    made = {name.strip(): value.strip() for name, _, value in pairs}
    expected = {
        "bind": "['127.0.0.1:8080']",
        "worker_class": "arrowloft.operation.worker.Worker",
        "preload_app": "True",
        "control_socket_disable": "True",
        "forwarded_allow_ips": "[]",
        "forwarder_headers": "[]",
        "secure_scheme_headers": "{}",
        "proxy_protocol": "off",
        "header_map": "drop",
        "permit_obsolete_folding": "False",
        "accesslog": "None",
        "loglevel": "info",
    }
    assert {name: made[name] for name in expected} == expected
    assert int(made["max_requests"]) >= 10_000
    assert 0 < int(made["max_requests_jitter"]) < int(made["max_requests"])
    assert int(made["limit_request_line"]) <= 4094 and int(made["limit_request_fields"]) <= 100


@pytest.mark.parametrize(
    ("variables", "name", "value"),
    [
        ({"BIND": "0.0.0.0", "PORT": "9"}, "bind", "0.0.0.0:9"),
        ({"BIND": "::1"}, "bind", "[::1]:8080"),
        ({"BIND": ""}, "bind", "127.0.0.1:8080"),
        ({"LIMIT_SECONDS": "30"}, "timeout", 60),
        ({"LIMIT_SECONDS": "30"}, "graceful_timeout", 60),
        ({"LIMIT_SECONDS": "0.5"}, "timeout", 10),
        ({"WORKER_REQUESTS": "0"}, "max_requests", 0),
        ({"WORKER_REQUESTS": "50000"}, "max_requests", 50_000),
        ({"WORKERS": "3"}, "workers", 3),
        ({"LOG_LEVEL": "WARNING"}, "loglevel", "warning"),
    ],
)
def test_variables(configured: Any, variables: dict[str, str], name: str, value: Any) -> None:
    assert configured(**variables)[name] == value


@pytest.mark.parametrize("limit", ["0.1", "1", "4.9", "5", "5.1", "60"])
def test_what_hangs_is_answered_before_its_worker_is_given_up(configured: Any, limit: str) -> None:
    from arrowloft.operation.lookout import GRACE, LINGER, LOOK

    answered = float(limit) + GRACE + 2.0 * LOOK + LINGER
    assert configured(LIMIT_SECONDS=limit)["timeout"] >= answered + 1.0


def test_what_cannot_be_understood_stops_the_start_in_one_record() -> None:
    ended = printed(PORT="80000", KEY_FILE="geheim")
    assert ended.returncode == 1
    record = json.loads(ended.stderr)
    assert record["level"] == "CRITICAL"
    first, second = record["message"].splitlines()
    assert first.startswith("the service does not start: ARROWLOFT_PORT=80000 is not a port")
    assert second.strip() == (
        'ARROWLOFT_KEY_FILE is no setting; did you mean "ARROWLOFT_KEYS_FILE"?'
    )


def test_no_setting_passes_by_ours(monkeypatch: pytest.MonkeyPatch) -> None:
    """Taken in by gunicorn after the file, it would bind wherever it says."""
    given = clean_environment() | {"GUNICORN_CMD_ARGS": "--bind 0.0.0.0:9"}
    ended = subprocess.run(
        [sys.executable, "-P", "-m", "gunicorn", "--config", CONFIGURATION, "--print-config"],
        env=given,
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=SECONDS,
        check=False,
    )
    assert ended.returncode == 1 and not ended.stdout
    assert "GUNICORN_CMD_ARGS is set" in json.loads(ended.stderr)["message"]


@pytest.mark.parametrize("form", ["text", "xml"])
def test_a_file_of_keys_that_is_wrong_is_told_as_the_log_is_written(
    form: str, tmp_path: Path
) -> None:
    ended = printed(KEYS_FILE=str(tmp_path / "none"), LOG_FORMAT=form)
    assert ended.returncode == 1
    (said,) = ended.stderr.splitlines()
    assert said.startswith("{") == (form == "xml")
    assert ("LOG_FORMAT=xml is none of" if form == "xml" else "it cannot be read") in said


def test_a_new_worker_turns_away_by_its_own_sockets(
    configured: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from arrowloft.app import create_app

    monkeypatch.setenv("ARROWLOFT_WAITING", "7")
    worker = SimpleNamespace(
        sockets=[SimpleNamespace(sock="one"), SimpleNamespace(sock="two")],
        app=SimpleNamespace(wsgi=create_app),
    )
    configured()["post_fork"](None, worker)
    assert worker.admission.listening == ["one", "two"] and worker.admission.most == 7


def test_counts_that_cannot_be_kept_do_not_end_the_master(configured: Any) -> None:
    said: list[str] = []

    def fail(_: int) -> None:
        raise RuntimeError

    names = configured()
    names["child_exit"].__globals__["_metrics"] = SimpleNamespace(dead=fail)
    server = SimpleNamespace(log=SimpleNamespace(exception=said.append))
    names["child_exit"](server, SimpleNamespace(pid=1))
    assert len(said) == 1


def test_no_folder_is_made_where_no_metrics_are_asked_for(
    configured: Any, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PROMETHEUS_MULTIPROC_DIR", str(tmp_path / "counts"))
    assert configured()["_metrics"] is None
    assert not (tmp_path / "counts").exists()
