"""What the machine does: a full disk, files that cannot be written, a clock that jumps.

A file system of its own is made in a mount namespace (`unshare`), which needs root or a kernel
that lets users have some; where it cannot be had, that part is not met, and says why.
"""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

import strangers
from figures import Figure, at_most
from instances import STARTING, computed
from load_client import start
from processes import children, free_port, signalled
from proxied import proxy, served
from sizes import size

PATIENCE = 60.0
FULL = "64k"
"""Of the file system that is full."""

JUMPS = (5, -5, 48, -48, 0)
"""Hours that the clock is off by, a second each."""
SHIFTS = """
    import time as _time
    from pathlib import Path as _Path

    _shift = _Path(__file__).with_name("shift")
    _really = _time.time
    _really_ns = _time.time_ns


    def _shifted():
        try:
            return float(_shift.read_text() or 0.0)
        except (OSError, ValueError):
            return 0.0


    _time.time = lambda: _really() + _shifted()
    _time.time_ns = lambda: _really_ns() + int(1e9 * _shifted())
"""
"""Put before everything else in a process: its clock is off by the seconds that a file holds."""


def figures():
    count = size("MACHINE", 1000, least=50)
    yield from _full_disk(count)
    yield from _read_only(count)
    yield from _clock(count)


def _tried(name, port, count, meanwhile=lambda: None, seconds=1.0):
    asks = computed(port)
    with start(port, asks, clients=4, at_least=count, seconds=seconds) as load:
        meanwhile()
        found = load.finish()
    if found.failures:
        print(f"  {name}: {found}", flush=True)
    yield Figure(f"{name}: requests", f"{found.asked:,}", f">= {count:,}", found.asked >= count)
    yield at_most("  lost or wrong", found.failures, 0)


def _full_disk(count):
    """Log, counts and temporary files lie on a file system that is full."""
    name = "full disk"
    with tempfile.TemporaryDirectory() as folder:
        script = f"""
            mount -t tmpfs -o size={FULL} tmpfs "$1" &&
            mkdir "$1/t" && export TMPDIR="$1/t" HOME="$1/t" && cd "$2" &&
            {{ head -c 10000000 /dev/zero >"$1/filler"; true; }} 2>/dev/null &&
            shift 2 && exec "$@" >>"$TMPDIR/log" 2>&1
        """
        yield from _in_namespace(name, script, Path(folder), count)


def _read_only(count):
    """Nothing at all can be written but the memory that workers beat time in."""
    name = "read-only file system"
    with tempfile.TemporaryDirectory() as folder:
        script = """
            mount --bind / "$1" && mount -o remount,bind,ro "$1" &&
            mount --rbind /proc "$1/proc" && mount --rbind /dev "$1/dev" &&
            cd "$2" && root=$1 && where=$2 && shift 2 &&
            exec chroot "$root" sh -c 'cd "$0" && ! touch x 2>/dev/null && exec "$@"' \
                "$where" "$@" >/dev/null 2>&1
        """
        yield from _in_namespace(name, script, Path(folder), count)


def _in_namespace(name, script, folder, count):
    if shutil.which("unshare") is None:
        yield Figure(name, "unshare is not there", "tried", False)
        return
    port = free_port()
    command = [sys.executable, "-P", "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py"]
    process = subprocess.Popen(
        [
            "unshare",
            "--mount",
            "sh",
            "-c",
            script,
            "sh",
            str(folder),
            str(strangers.ROOT),
            *command,
        ],
        cwd=strangers.ROOT,
        env=strangers.clean_environment() | {"ARROWLOFT_PORT": str(port), "ARROWLOFT_WORKERS": "2"},
        stdin=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    service = strangers.Service(process, f"http://127.0.0.1:{port}", Path(os.devnull))
    try:
        try:
            strangers.wait_until_served(service, STARTING)
        except strangers.NotServed:
            said = process.stderr.read()[-200:] if process.poll() is not None else "not served"
            yield Figure(name, said.strip() or f"ended with {process.returncode}", "served", False)
            return
        with (
            tempfile.TemporaryDirectory() as written,
            proxy(Path(written) / "nginx", [port], rates="") as front,
        ):
            yield from _tried(name, front.port, count)
        worker = _a_worker(process.pid)
        yield from _tried("  after a worker was lost", port, count // 4, lambda: _lose(worker))
    finally:
        service.end()
        process.stderr.close()


def _a_worker(master):
    return children(master)[-1]


def _lose(worker):
    """Gracefully, as nothing stands in front here that would ask anew."""
    signalled(worker, signal.SIGTERM)


@contextmanager
def _shifted_clock():
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        strangers.Distribution("clock", modules={"sitecustomize": SHIFTS}).lay_down(folder)
        (folder / "shift").write_text("0")
        yield folder


def _clock(count):
    """Hours forth and back, several times, while clients ask."""
    with _shifted_clock() as clock, tempfile.TemporaryDirectory() as name:
        folder = Path(name)

        def jump():
            for hours in JUMPS:
                (clock / "shift").write_text(str(3600.0 * hours))
                time.sleep(1.0)

        with (
            served(folder / "a", {"ARROWLOFT_WORKERS": "2"}, folders=[clock], wait=False) as one,
            proxy(folder / "nginx", [one.port], rates="") as front,
        ):
            strangers.wait_until_served(one.service, STARTING)
            before = set(one.workers())
            yield from _tried(
                "clock that jumps by hours", front.port, count, jump, len(JUMPS) + 2.0
            )
            gone = before - set(one.workers())
            yield at_most("  workers that it cost", len(gone), 0)
