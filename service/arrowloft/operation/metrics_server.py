"""A small process that serves the workers' metrics: `python -m arrowloft.operation.metrics_server`.

It imports neither numpy nor the service, and ends by itself when its parent is gone.
"""

import argparse
import json
import os
import shutil
import signal
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from wsgiref.simple_server import WSGIServer

from prometheus_client import CollectorRegistry, Metric, start_http_server

from arrowloft.operation import metrics_files

LOOK = 0.5
"""Seconds between looks whether the parent is still there, and between attempts to listen."""


class Files:
    """Collects what the files of a folder hold."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def collect(self) -> list[Metric]:
        """The metrics of all processes together."""
        return metrics_files.collect(self.folder)


def main(arguments: list[str] | None = None) -> None:
    """Serve until the parent is gone."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bind", required=True, help="address")
    parser.add_argument("--port", required=True, type=int)
    parser.add_argument("--parent", required=True, type=int, help="its process id")
    parser.add_argument("--folder", required=True, type=Path, help="of the workers' files")
    parser.add_argument("--remove", action="store_true", help="the folder, when the parent is gone")
    asked = parser.parse_args(arguments)
    # Ctrl-C reaches the whole group; the parent ends this process when the workers are done.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    serve(asked.bind, asked.port, asked.parent, asked.folder)
    if asked.remove:
        shutil.rmtree(asked.folder, ignore_errors=True)


def serve(bind: str, port: int, parent: int, folder: Path) -> None:
    """Serve the folder's metrics at bind:port while this process is a child of the parent."""
    registry = CollectorRegistry()
    registry.register(Files(folder))
    server: WSGIServer | None = None
    said = False
    while os.getppid() == parent:
        if server is None:
            try:
                server, _ = start_http_server(port, bind, registry)
            except OSError as error:
                # As while another instance, whose place this one takes, is ending.
                if not said:
                    _say(f"metrics cannot be served on {bind} port {port}, trying on: {error}")
                said = True
        time.sleep(LOOK)
    if server is not None:
        server.shutdown()


def _say(message: str) -> None:
    time = datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    line = {"time": time, "level": "ERROR", "message": message, "logger": "arrowloft.metrics"}
    print(json.dumps(line), file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
