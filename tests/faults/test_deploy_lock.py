"""Scripts of deploy/ that are started at once: one makes the environment, the others wait.

Nothing here touches the checkout's own environment.
"""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SETUP = ROOT / "deploy" / "setup.sh"
SECONDS = 60
HELD = "50"
"""Seconds of making an environment that end by a signal only."""

STUBS = r"""
source "$SETUP"
new_venv() {
    echo begin >>"$LOG"
    attended sleep "$PAUSE"
    attended "$ARROWLOFT_PYTHON" -I -m venv --without-pip "$VENV"
    echo end >>"$LOG"
}
install_locked() { write_stamp "$1"; }
install_project() { write_stamp project; }
setup run
is_set_up run && say done
"""
"""A script of deploy/ that installs nothing, and tells when it makes an environment."""

Started = Callable[..., subprocess.Popen[str]]


@pytest.fixture
def settings(tmp_path: Path) -> dict[str, str]:
    foreign = ("PIP_", "ARROWLOFT_", "PYTHON")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(foreign)}
    return kept | {
        "SETUP": str(SETUP),
        "LOG": str(tmp_path / "log"),
        "PAUSE": "0",
        "ARROWLOFT_PYTHON": sys.executable,
        "ARROWLOFT_VENV": str(tmp_path / "folder" / "environment"),
    }


@pytest.fixture
def start(settings: Mapping[str, str]) -> Iterator[Started]:
    running: list[subprocess.Popen[str]] = []

    def begin(**changed: str) -> subprocess.Popen[str]:
        script = subprocess.Popen(
            ["bash", "-c", STUBS, "deploy/stub"],
            env={**settings, **changed},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
            # A shell cannot trap what it was started to ignore.
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )
        running.append(script)
        return script

    yield begin
    for script in running:
        if script.poll() is None:
            os.killpg(script.pid, signal.SIGKILL)
        script.communicate()


def made(settings: Mapping[str, str]) -> list[str]:
    log = Path(settings["LOG"])
    return log.read_text().split() if log.exists() else []


def wait_for_begin(settings: Mapping[str, str]) -> None:
    end = time.monotonic() + SECONDS
    while made(settings) != ["begin"]:
        assert time.monotonic() < end
        time.sleep(0.05)


def waits(script: subprocess.Popen[str]) -> str:
    """The line that says that a script waits."""
    assert script.stdout is not None
    line = script.stdout.readline()
    assert "waiting" in line
    return line


def finish(script: subprocess.Popen[str]) -> str:
    output, errors = script.communicate(timeout=SECONDS)
    assert (script.returncode, errors) == (0, "")
    return output


def test_of_many_at_once_one_makes_it(settings: dict[str, str], start: Started) -> None:
    told = [finish(script) for script in [start(PAUSE="0.5") for _ in range(4)]]
    # Made once, and not again by those that waited.
    assert made(settings) == ["begin", "end"]
    assert all(text.endswith("arrowloft: done\n") for text in told)


def test_the_others_say_that_they_wait(settings: dict[str, str], start: Started) -> None:
    first = start(PAUSE=HELD)
    wait_for_begin(settings)
    others = [start() for _ in range(2)]
    for script in others:
        assert waits(script) == (
            f"arrowloft: waiting for another script that is making {settings['ARROWLOFT_VENV']}\n"
        )
    first.send_signal(signal.SIGINT)
    told = [finish(script) for script in others]
    assert told == ["arrowloft: done\n"] * 2
    assert made(settings) == ["begin", "begin", "end"]


def test_one_alone_says_nothing_of_waiting(start: Started) -> None:
    assert finish(start()) == "arrowloft: done\n"


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_the_next_goes_on_where_the_first_is_ended(
    settings: dict[str, str], start: Started, sent: signal.Signals
) -> None:
    first = start(PAUSE=HELD)
    wait_for_begin(settings)
    second = start()
    waits(second)
    if sent is signal.SIGKILL:
        os.killpg(first.pid, sent)
    else:
        first.send_signal(sent)
    first.communicate(timeout=SECONDS)
    finish(second)
    assert made(settings) == ["begin", "begin", "end"]


def test_one_that_waits_ends_at_once_when_interrupted(
    settings: dict[str, str], start: Started
) -> None:
    first = start(PAUSE=HELD)
    wait_for_begin(settings)
    second = start()
    waits(second)
    second.send_signal(signal.SIGINT)
    _, errors = second.communicate(timeout=10)
    assert (second.returncode, errors) == (130, "")
    assert first.poll() is None and made(settings) == ["begin"]


def test_a_finished_environment_is_used_without_waiting_or_writing(
    settings: dict[str, str], start: Started
) -> None:
    finish(start())
    lock = Path(settings["ARROWLOFT_VENV"] + ".lock")
    lock.unlink()
    assert finish(start()) == "arrowloft: done\n"
    assert not lock.exists() and made(settings) == ["begin", "end"]


def test_what_is_started_afterwards_does_not_hold_it(settings: dict[str, str]) -> None:
    """A server that deploy/run starts lives on, and must not make others wait."""
    if not Path("/proc/self/fd").exists():
        pytest.skip("open files are read from /proc")
    told = subprocess.run(
        ["bash", "-c", STUBS + 'ls -l "/proc/$$/fd"\n', "deploy/stub"],
        env=settings,
        capture_output=True,
        text=True,
        timeout=SECONDS,
        check=True,
    )
    assert "environment.lock" not in told.stdout


def test_a_place_that_cannot_be_written(start: Started, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    script = start(ARROWLOFT_VENV=str(tmp_path / "file" / "environment"))
    _, errors = script.communicate(timeout=SECONDS)
    assert script.returncode == 1
    assert errors.splitlines() == [
        f"arrowloft: {tmp_path}/file/environment.lock could not be written; "
        "name another place in ARROWLOFT_VENV"
    ]
