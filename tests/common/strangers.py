"""Distributions as strangers ship them, and the service as it is run, to see what becomes of them.

Every process is bounded, and ended by its own id.
"""

import json
import os
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from textwrap import dedent
from typing import Any

import requests
from processes import free_port

ROOT = Path(__file__).resolve().parents[2]
PATIENCE = 50.0
"""Seconds after which a start is given up; it takes one or two."""


@dataclass(frozen=True)
class Distribution:
    """What a stranger's installer lays down.

    name: of the distribution; its version is 2.5.
    drag, launch: name of a model -> "module:Class".
    modules: module -> its text.
    """

    name: str
    drag: Mapping[str, str] = field(default_factory=dict)
    launch: Mapping[str, str] = field(default_factory=dict)
    modules: Mapping[str, str] = field(default_factory=dict)

    def lay_down(self, folder: Path) -> None:
        """Write metadata, entry points and modules into a folder of the path."""
        info = folder / f"{self.name.replace('-', '_')}-2.5.dist-info"
        info.mkdir(parents=True)
        header = f"Metadata-Version: 2.1\nName: {self.name}\nVersion: 2.5\n"
        (info / "METADATA").write_text(header)
        groups = {"arrowloft.drag_models": self.drag, "arrowloft.launch_models": self.launch}
        lines = []
        for group, points in groups.items():
            lines += [f"[{group}]", *(f"{name} = {value}" for name, value in points.items())]
        (info / "entry_points.txt").write_text("\n".join(lines) + "\n")
        for name, text in self.modules.items():
            (folder / f"{name}.py").write_text(dedent(text))


@dataclass
class Service:
    """A running service, asked over HTTP."""

    process: subprocess.Popen[str]
    url: str
    log: Path

    def get(self, path: str) -> Any:
        reply = requests.get(self.url + path, timeout=PATIENCE)
        assert reply.status_code == 200, reply.text
        return reply.json()

    def post(self, path: str, body: Any) -> tuple[int, Any]:
        reply = requests.post(self.url + path, json=body, timeout=PATIENCE)
        return reply.status_code, reply.json()

    def end(self) -> None:
        """End it, by its id; a second time does nothing."""
        if self.process.poll() is None:
            self.process.terminate()
        try:
            self.process.wait(20)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait(20)


def clean_environment(*folders: Path) -> dict[str, str]:
    """Nothing of this process's Python, pip or gunicorn; the folders go onto the path.

    After them this checkout: its tests are of its own sources, whatever is installed.
    """
    foreign = ("PYTHON", "PIP_", "GUNICORN", "ARROWLOFT_", "VIRTUAL_ENV")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(foreign)}
    path = os.pathsep.join(map(str, [*folders, ROOT / "service", ROOT / "plugins"]))
    return kept | {"PYTHONDONTWRITEBYTECODE": "1", "PYTHONPATH": path}


def demo_request() -> dict[str, Any]:
    """A request for a mark table that any model can answer."""
    text = (ROOT / "openapi" / "examples" / "mark-table.request.json").read_text(encoding="utf-8")
    return dict(json.loads(text))


def start(
    log: Path,
    folders: Sequence[Path] = (),
    python: str = sys.executable,
    options: Sequence[str] = (),
    port: int | None = None,
    settings: Mapping[str, str] | None = None,
) -> Service:
    """gunicorn with the settings of deploy/, one worker, on a free port; not waited for.

    settings: further variables, or others in place of these.
    """
    port = port or free_port()
    variables = {
        "ARROWLOFT_PORT": str(port),
        "ARROWLOFT_WORKERS": "1",
        "ARROWLOFT_LOG_LEVEL": "info",
        **(settings or {}),
    }
    with log.open("w") as out:
        process = subprocess.Popen(
            [python, "-P", "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py", *options],
            cwd=ROOT,
            env=clean_environment(*folders) | variables,
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            text=True,
        )
    return Service(process, f"http://127.0.0.1:{port}", log)


class NotServed(AssertionError):
    """A service that ended, or did not answer in time; with the end of its log."""


class PortTaken(NotServed):
    """Another process listens where the service would."""


def wait_until_served(service: Service, patience: float = PATIENCE) -> None:
    """Raises NotServed, after so many seconds at the latest."""
    end = time.monotonic() + patience
    while True:
        answered = _answers(service)
        said = service.log.read_text()
        if "Connection in use: " in said:
            raise PortTaken(said[-5000:])
        if answered:
            return
        if service.process.poll() is not None or time.monotonic() >= end:
            raise NotServed(said[-5000:])
        time.sleep(0.05)


def _answers(service: Service) -> bool:
    """Whoever listens there; one that is not the service may take a connection and say nothing."""
    try:
        return requests.get(f"{service.url}/healthz", timeout=5.0).ok
    except requests.RequestException:
        return False
