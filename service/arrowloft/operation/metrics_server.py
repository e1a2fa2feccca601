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
from prometheus_client.core import GaugeMetricFamily

from arrowloft import __version__
from arrowloft.operation import metrics_files
from arrowloft.operation.key_file import KeyFile
from arrowloft.operation.keys import BadKeys

LOOK = 0.5
"""Seconds between looks whether the parent is still there, and between attempts to listen."""


class Files:
    """Collects what the files of a folder hold."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def collect(self) -> list[Metric]:
        """The metrics of all processes together."""
        return metrics_files.collect(self.folder)


class Instance:
    """Collects what is to be known of the instance as a whole.

    keys: the file of keys, as it stands when asked; None: there is none.
    """

    def __init__(self, keys: Path | None) -> None:
        self.keys = keys

    def collect(self) -> list[Metric]:
        """Its version, and whether its file of keys is bad."""
        build = GaugeMetricFamily(
            "arrowloft_build_info", "Which version runs; always 1.", labels=("version",)
        )
        build.add_metric((__version__,), 1.0)
        if self.keys is None:
            return [build]
        bad = GaugeMetricFamily(
            "arrowloft_key_file_bad",
            "1: the file of keys cannot be read or understood; 0: it is good.",
            value=float(_is_bad(self.keys)),
        )
        return [build, bad]


def _is_bad(keys: Path) -> bool:
    try:
        KeyFile(keys)
    except BadKeys:
        return True
    return False


def main(arguments: list[str] | None = None) -> None:
    """Serve until the parent is gone."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bind", required=True, help="address")
    parser.add_argument("--port", required=True, type=int)
    parser.add_argument("--parent", required=True, type=int, help="its process id")
    parser.add_argument("--folder", required=True, type=Path, help="of the workers' files")
    parser.add_argument("--keys", type=Path, help="file of keys to be looked at")
    parser.add_argument("--remove", action="store_true", help="the folder, when the parent is gone")
    asked = parser.parse_args(arguments)
    # Ctrl-C reaches the whole group; the parent ends this process when the workers are done.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    registry = CollectorRegistry()
    registry.register(Files(asked.folder))
    registry.register(Instance(asked.keys))
    serve(asked.bind, asked.port, asked.parent, registry)
    if asked.remove:
        shutil.rmtree(asked.folder, ignore_errors=True)


def serve(bind: str, port: int, parent: int, registry: CollectorRegistry) -> None:
    """Serve what is registered at bind:port while this process is a child of the parent."""
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
