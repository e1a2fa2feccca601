"""Two instances behind nginx, which are killed, stopped and started anew on the same ports."""

import os
import signal
import tempfile
import time
from contextlib import contextmanager, suppress
from pathlib import Path

import strangers
from load_client import Ask
from proxied import NGINX, proxy
from wire import exchange, message

PATIENCE = 60.0
WORKERS = 2


class Instance:
    """One gunicorn with its workers, always on the same port."""

    def __init__(self, folder, settings=None, folders=(), options=()):
        self.folder = folder
        self.settings = {"ARROWLOFT_WORKERS": str(WORKERS), **(settings or {})}
        self.folders = folders
        self.options = options
        self.port = strangers.free_port()
        self.starts = 0
        self.service = None
        self.metrics = None

    def counts(self):
        self.metrics = strangers.free_port()
        self.settings["ARROWLOFT_METRICS_PORT"] = str(self.metrics)

    def start(self):
        self.starts += 1
        self.folder.mkdir(parents=True, exist_ok=True)
        self.service = strangers.start(
            self.folder / f"log{self.starts}",
            self.folders,
            options=self.options,
            port=self.port,
            settings=self.settings,
        )
        wait_until_served(self.service)

    @property
    def master(self):
        return self.service.process.pid

    def workers(self):
        """Ids of its workers: those of its children that run the service."""
        same = _command(self.master)
        return [child for child in children(self.master) if _command(child) == same]

    def kill(self):
        """The whole instance at once, and all that it holds: as if the machine were gone."""
        processes = [self.master, *children(self.master)]
        for process in processes:
            signalled(process, signal.SIGKILL)
        self.service.process.wait(PATIENCE)

    def stop(self):
        """Gracefully."""
        self.service.process.send_signal(signal.SIGTERM)
        self.service.process.wait(PATIENCE)

    def end(self):
        if self.service is None:
            return
        left = self.workers() if self.service.process.poll() is None else []
        for process in [self.master, *left]:
            signalled(process, signal.SIGCONT)
        self.service.end()


def wait_until_served(service):
    """However laden the machine is."""
    for _ in range(4):
        with suppress(AssertionError):
            strangers.wait_until_served(service)
            return
        if service.process.poll() is not None:
            break
    raise RuntimeError(f"not served: {service.log.read_text()[-500:]}")


def _command(process):
    try:
        return Path(f"/proc/{process}/cmdline").read_bytes()
    except OSError:
        return b""


def children(process):
    try:
        text = Path(f"/proc/{process}/task/{process}/children").read_text()
    except OSError:
        return []
    return [int(child) for child in text.split()]


def signalled(process, number):
    with suppress(ProcessLookupError):
        os.kill(process, number)


@contextmanager
def pair(settings=None, folders=(), options=(), metrics=False, **front):
    """Two instances, and nginx in front of them: (instances, nginx).

    metrics: whether each counts, on a port of its own.  front: goes to `proxied.proxy`.
    """
    if NGINX is None:
        raise RuntimeError("nginx is not installed")
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
        folder = Path(name)
        instances = [Instance(folder / n, settings, folders, options) for n in ("a", "b")]
        try:
            for instance in instances:
                if metrics:
                    instance.counts()
                instance.start()
            # All clients are one address here, and ask as often as they can.
            front = {"rates": ""} | front
            with proxy(folder / "nginx", [each.port for each in instances], **front) as nginx:
                yield instances, nginx
        finally:
            for instance in instances:
                instance.end()


def computed(port, names=("mark-table",)):
    """POST and QUERY of worked examples, with the bytes that each must be answered."""
    from mutations import examples

    asks = []
    for name in names:
        for method in ("POST", "QUERY"):
            sent = message(method, f"/v1/{name}", examples()[name])
            reply = exchange(port, sent, PATIENCE)
            if reply.status != 200:
                raise RuntimeError(f"{name}: {reply.status} {reply.body[:300]!r}")
            asks.append(Ask(message=sent, body=reply.body))
    return asks


def wait_until(true, seconds=PATIENCE):
    """Whether it became true in time."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if true():
            return True
        time.sleep(0.02)
    return False


def memory(process):
    """(proportional, resident) memory of a process, MB."""
    found = {}
    for line in Path(f"/proc/{process}/smaps_rollup").read_text().splitlines():
        name, _, rest = line.partition(":")
        if name in ("Pss", "Rss"):
            found[name] = int(rest.split()[0]) / 1024.0
    return found["Pss"], found["Rss"]
