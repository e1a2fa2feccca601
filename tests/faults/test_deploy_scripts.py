"""What a person sees when the set-up or the start goes wrong: one line, and no trace.

Nothing here touches the checkout's own environment.
"""

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DEPLOY = ROOT / "deploy"
SECONDS = 60


@pytest.fixture
def settings(tmp_path: Path) -> dict[str, str]:
    """An environment that reaches no network, and a folder of its own for what is made."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("PIP_", "ARROWLOFT_", "PYTHON"))
    }
    return kept | {
        "ARROWLOFT_PYTHON": sys.executable,
        "ARROWLOFT_VENV": str(tmp_path / "environment"),
        "ARROWLOFT_PORT": str(free_port()),
        "PIP_CONFIG_FILE": os.devnull,
        "PIP_INDEX_URL": "http://127.0.0.1:9/simple",
        "PIP_NO_CACHE_DIR": "1",
        "PIP_RETRIES": "0",
        "TMPDIR": str(tmp_path),
    }


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def run(
    script: str, settings: Mapping[str, str], *arguments: str, cwd: Path = ROOT
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(DEPLOY / script), *arguments],
        env=settings,
        cwd=cwd,
        capture_output=True,
        text=True,
        timeout=SECONDS,
        stdin=subprocess.DEVNULL,
    )


def only_line(ended: subprocess.CompletedProcess[str]) -> str:
    """The one line on stderr of a script that failed."""
    assert ended.returncode not in (0, None)
    lines = ended.stderr.splitlines()
    assert len(lines) == 1, ended.stderr
    assert lines[0].startswith("arrowloft: ")
    assert "Traceback" not in ended.stdout
    return lines[0]


@pytest.fixture
def taken_port() -> Iterator[int]:
    with socket.socket() as holder:
        holder.bind(("127.0.0.1", 0))
        holder.listen()
        yield int(holder.getsockname()[1])


def test_a_taken_port(settings: dict[str, str], taken_port: int) -> None:
    line = only_line(run("run", settings | {"ARROWLOFT_PORT": str(taken_port)}, "--once"))
    assert str(taken_port) in line and "ARROWLOFT_PORT" in line
    assert not Path(settings["ARROWLOFT_VENV"]).exists()


@pytest.mark.parametrize("port", ["0", "65536", "http", "80 80", "-1", "1e3", "9" * 20])
def test_a_port_that_is_none(settings: dict[str, str], port: str) -> None:
    line = only_line(run("run", settings | {"ARROWLOFT_PORT": port}, "--once"))
    assert f"ARROWLOFT_PORT={port}" in line


@pytest.mark.parametrize("workers", ["abc", "0", "-1", "2.5", "1000"])
def test_a_number_of_workers_that_is_none(settings: dict[str, str], workers: str) -> None:
    line = only_line(run("run", settings | {"ARROWLOFT_WORKERS": workers}, "--once"))
    assert f"ARROWLOFT_WORKERS={workers}" in line


def reason_in(log: Path) -> str:
    """What deploy/run takes from the server's log as the reason why it did not start."""
    script = re.search(r"^reason_in_log\(\) \{.*?^\}", (DEPLOY / "run").read_text(), re.M | re.S)
    assert script
    return subprocess.run(
        ["bash", "-c", f"{script[0]}\nreason_in_log"],
        env=os.environ | {"LOG": str(log)},
        capture_output=True,
        text=True,
        check=True,
    ).stdout


def test_every_fault_of_a_model_is_told_whole(settings: dict[str, str], tmp_path: Path) -> None:
    folder = tmp_path / "stranger"
    (folder / "stranger-1.dist-info").mkdir(parents=True)
    (folder / "stranger_module.py").write_text("raise RuntimeError('no' + ' licence' * 99)\n")
    about = folder / "stranger-1.dist-info"
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: stranger\nVersion: 1\n")
    points = [f"m{number} = stranger_module:Model" for number in range(9)]
    (about / "entry_points.txt").write_text("\n".join(["[arrowloft.drag_models]", *points]))
    log = tmp_path / "service.log"
    with log.open("w") as written:
        ended = subprocess.run(
            [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py"],
            env=settings | {"PYTHONPATH": str(folder)},
            cwd=ROOT,
            stdout=written,
            stderr=subprocess.STDOUT,
            timeout=SECONDS,
        )
    assert ended.returncode != 0
    head, *lines = reason_in(log).splitlines()
    assert head == "The installed models have 9 fault(s):"
    assert len(lines) == 9
    for number, line in enumerate(lines):
        assert line.startswith(f"  stranger 1, arrowloft.drag_models:m{number}: cannot be loaded")
        assert line.endswith("no" + " licence" * 99)


def path_without_python(tmp_path: Path) -> str:
    """A PATH with what the scripts need, and with no Python but one that does not run."""
    folder = tmp_path / "bin"
    folder.mkdir()
    for tool in ("bash", "dirname", "basename", "ls", "mktemp", "rm", "cat", "grep", "tail"):
        found = next(
            candidate
            for part in os.environ["PATH"].split(os.pathsep)
            if (candidate := Path(part) / tool).is_file()
        )
        (folder / tool).symlink_to(found)
    shim = folder / "python3.12"
    shim.write_text("#!/bin/sh\necho 'python3.12: command not found' >&2\nexit 127\n")
    shim.chmod(0o755)
    return str(folder)


@pytest.mark.parametrize("script", ["run", "test"])
def test_no_python(settings: dict[str, str], tmp_path: Path, script: str) -> None:
    del settings["ARROWLOFT_PYTHON"]
    line = only_line(run(script, settings | {"PATH": path_without_python(tmp_path)}))
    assert "no Python 3.11 or newer" in line


@pytest.mark.parametrize("script", ["run", "test"])
def test_the_named_python_is_none(settings: dict[str, str], script: str) -> None:
    line = only_line(run(script, settings | {"ARROWLOFT_PYTHON": "/no/such/python"}))
    assert "/no/such/python" in line and "3.11" in line


def test_the_named_python_is_too_old(settings: dict[str, str], tmp_path: Path) -> None:
    old = tmp_path / "old-python"
    # Answers as a Python does whose version check has failed.
    old.write_text("#!/bin/sh\nexit 1\n")
    old.chmod(0o755)
    assert str(old) in only_line(run("run", settings | {"ARROWLOFT_PYTHON": str(old)}))


def test_no_network(settings: dict[str, str], tmp_path: Path) -> None:
    outside = tmp_path / "elsewhere"
    outside.mkdir()
    ended = run("run", settings, "--once", cwd=outside)
    line = only_line(ended)
    assert "the package index was not reached" in line
    log = re.search(r"(/\S+\.log)", line)
    assert log and "Traceback" not in Path(log[1]).read_text()
    # What is half made is not taken for whole the next time.
    assert not list(Path(settings["ARROWLOFT_VENV"]).glob("stamp-*"))


def test_a_folder_that_holds_something_else_is_left_alone(settings: dict[str, str]) -> None:
    folder = Path(settings["ARROWLOFT_VENV"])
    folder.mkdir()
    (folder / "letter.txt").write_text("mine")
    line = only_line(run("run", settings, "--once"))
    assert str(folder) in line and "ARROWLOFT_VENV" in line
    assert (folder / "letter.txt").read_text() == "mine"


def test_an_unknown_argument(settings: dict[str, str]) -> None:
    assert "--twice" in only_line(run("run", settings, "--twice"))


def test_help_needs_nothing(settings: dict[str, str]) -> None:
    ended = run("run", settings | {"ARROWLOFT_PYTHON": "/no/such/python"}, "--help")
    assert ended.returncode == 0
    assert "--once" in ended.stdout and ended.stderr == ""


@pytest.mark.parametrize(("sent", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 0)])
def test_a_signal_ends_the_set_up_at_once(
    settings: dict[str, str], tmp_path: Path, sent: signal.Signals, code: int
) -> None:
    slow = tmp_path / "slow-python"
    # Starts as a Python does, and then takes its time to make an environment.
    slow.write_text(
        f'#!/bin/sh\ncase "$*" in *venv*) exec sleep 50;; esac\nexec "{sys.executable}" "$@"\n'
    )
    slow.chmod(0o755)
    script = subprocess.Popen(
        [str(DEPLOY / "run")],
        env=settings | {"ARROWLOFT_PYTHON": str(slow)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        # A shell cannot trap what it was started to ignore, as whatever runs in the background is.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    assert script.stdout is not None
    assert "making" in script.stdout.readline()
    time.sleep(0.3)
    script.send_signal(sent)
    _, errors = script.communicate(timeout=10)
    assert script.returncode == code
    assert errors == ""


def read_lock(name: str) -> dict[str, list[str]]:
    """Requirement -> its hashes."""
    found: dict[str, list[str]] = {}
    for line in (DEPLOY / name).read_text().splitlines():
        if line.startswith("    --hash="):
            found[next(reversed(found))].append(line.strip(" \\").removeprefix("--hash="))
        elif not line.startswith("#"):
            found[line.rstrip(" \\")] = []
    return found


@pytest.mark.parametrize("name", ["requirements.lock", "requirements-test.lock"])
def test_a_lock_pins_and_hashes_all_and_names_no_place(name: str) -> None:
    lock = read_lock(name)
    assert lock
    for requirement, hashes in lock.items():
        assert re.fullmatch(r"[a-z0-9-]+==\S+( ; .+)?", requirement)
        assert hashes and all(re.fullmatch(r"sha256:[0-9a-f]{64}", item) for item in hashes)


def test_the_test_lock_holds_the_runtimes() -> None:
    assert read_lock("requirements.lock").items() <= read_lock("requirements-test.lock").items()


def server_settings(settings: Mapping[str, str]) -> dict[str, str]:
    """What gunicorn makes of its configuration: setting -> value as text."""
    printed = subprocess.run(
        [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py", "--print-config"],
        env=settings,
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=SECONDS,
        check=True,
    )
    pairs = (line.partition("=") for line in printed.stdout.splitlines())
    return {name.strip(): value.strip() for name, _, value in pairs}


def test_the_server_listens_to_this_machine_only(settings: dict[str, str]) -> None:
    made = server_settings(settings | {"ARROWLOFT_WORKERS": "3"})
    assert made["bind"] == f"['127.0.0.1:{settings['ARROWLOFT_PORT']}']"
    assert made["control_socket_disable"] == "True"
    assert (made["workers"], made["worker_class"]) == ("3", "arrowloft.operation.worker.Worker")
    # Without it a model that breaks the contract would end workers, again and again.
    assert made["preload_app"] == "True"


def test_numeric_libraries_start_no_threads_of_their_own(settings: dict[str, str]) -> None:
    told = "import os, runpy; runpy.run_path('deploy/gunicorn.conf.py'); print(dict(os.environ))"
    printed = subprocess.run(
        [sys.executable, "-c", told],
        env=settings | {"OMP_NUM_THREADS": "8"},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert "'OMP_NUM_THREADS': '1'" in printed.stdout
    assert "'OPENBLAS_NUM_THREADS': '1'" in printed.stdout
