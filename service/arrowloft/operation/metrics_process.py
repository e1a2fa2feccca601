"""The metrics' folder and the process that serves it, as gunicorn's master keeps them."""

import atexit
import logging
import os
import shutil
import socket
import subprocess
import sys
import tempfile
from contextlib import suppress
from pathlib import Path
from time import monotonic, sleep

from arrowloft.operation.settings import PREFIX, BadSetting

_log = logging.getLogger(__name__)

FOLDER = "PROMETHEUS_MULTIPROC_DIR"
"""Variable that names the folder; prometheus_client looks for it once, when it is imported."""

LONGEST = 5.0
"""Seconds in which the process must end; it takes a tenth of one."""


PATIENCE = 5.0
"""Seconds in which whoever has the port may let it go, as an instance that has just ended."""


class MetricsProcess:
    """Folder and process; one a master.

    A reload of the settings finds the folder as it is: the workers' counts stand in it.
    """

    def __init__(self, *, bind: str, port: int, folder: str, keys: Path | None = None) -> None:
        self.bind, self.port, self.keys = bind, port, keys
        self.made = not folder
        self.folder = Path(folder or tempfile.mkdtemp(prefix="arrowloft-metrics-", dir=_memory()))
        self.folder.mkdir(parents=True, exist_ok=True)
        # What an earlier instance counted is not this one's; its process ids come again.
        for file in (*self.folder.glob("*.db"), *self.folder.glob("*.new")):
            file.unlink()
        self.process: subprocess.Popen[bytes] | None = None
        self.ended: set[int] = set()
        self.master = os.getpid()
        # Also where the start fails, and no hook of gunicorn's is called.
        atexit.register(self.stop)

    def require_port(self) -> None:
        """Raise BadSetting where the port is taken, and stays so, or is not allowed."""
        end = monotonic() + PATIENCE
        while (fault := self._fault()) is not None:
            if monotonic() >= end:
                raise BadSetting(
                    f"{PREFIX}METRICS_PORT={self.port} is taken or not allowed on {self.bind}: "
                    f"{fault}"
                )
            sleep(0.1)

    def _fault(self) -> str | None:
        family = socket.AF_INET6 if ":" in self.bind else socket.AF_INET
        try:
            with socket.socket(family) as probe:
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                probe.bind((self.bind, self.port))
                # Two may be bound to it, if neither listens.
                probe.listen()
        except OSError as error:
            return error.strerror or str(error)
        return None

    def start(self) -> None:
        """Start serving.  A process, not a thread: a master with threads must not fork."""
        command = [sys.executable, "-P", "-m", "arrowloft.operation.metrics_server"]
        command += ["--bind", self.bind, "--port", str(self.port), "--folder", str(self.folder)]
        command += ["--parent", str(os.getpid()), *(["--remove"] if self.made else [])]
        command += ["--keys", str(self.keys)] if self.keys else []
        self.process = subprocess.Popen(command, stdin=subprocess.DEVNULL)

    def look(self) -> None:
        """Start the process again where it has ended; for the master to call now and then.

        gunicorn tells of no child but its workers: whoever wants to know must look.
        """
        if self.process is not None and self.process.poll() is not None:
            _log.error("the process that serves metrics has ended, and is started again")
            try:
                self.start()
            except OSError:
                # It would end the master, and all workers with it.
                _log.exception("the process that serves metrics could not be started")

    def dead(self, worker: int) -> None:
        """Forget what a worker that has ended was computing; what it counted stays."""
        # Not before the folder's variable is set: see FOLDER.
        from arrowloft.operation import metrics_files

        self.ended = metrics_files.end(self.folder, self.ended | {worker})

    def stop(self) -> None:
        """End the process, and remove the folder where it was made here; once is enough."""
        # A worker inherits what is to be done at the end, and has its own.
        if os.getpid() != self.master:
            return
        if self.process is not None:
            self.process.terminate()
            with suppress(subprocess.TimeoutExpired):
                self.process.wait(LONGEST)
        if self.made:
            shutil.rmtree(self.folder, ignore_errors=True)


_kept: list[MetricsProcess] = []


def kept(bind: str, port: int, keys: Path | None = None) -> MetricsProcess:
    """The master's own, made at the first call; sets the variable that prometheus_client reads."""
    if not _kept:
        folder = os.environ.get(FOLDER, "")
        _kept.append(MetricsProcess(bind=bind, port=port, folder=folder, keys=keys))
        os.environ[FOLDER] = str(_kept[0].folder)
    return _kept[0]


def _memory() -> str | None:
    """Where files lie in memory; None: wherever temporary files do."""
    return "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
