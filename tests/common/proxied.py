"""nginx as it is deployed, in front of instances of the service, on loopback.

    with served(folder / "a") as a, served(folder / "b", {"ARROWLOFT_MAX_AGE": "60"}) as b:
        with proxy(folder / "nginx", [a.port, b.port], cache=True) as front:
            requests.get(front.url + "/healthz")
            a.service.process.kill()  # each is a process of its own
        print(front.requests(least=1))  # the access log, a dict a request

What differs from place to place is written into the folder; all else is what `deploy/nginx/common`
holds. Without nginx a test is skipped, or fails; see `tools`. Every process is ended by its own id.
"""

import json
import os
import re
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import strangers
import tools
from processes import arguments, children, family, free_port, signalled
from strangers import PATIENCE, ROOT, PortTaken, Service

COMMON = ROOT / "deploy" / "nginx" / "common"
NGINX = tools.found("nginx")
_STARTS = 3
"""How often a start is tried where another process has taken the port."""


@dataclass(frozen=True, kw_only=True)
class Front:
    """A running nginx.

    folder: holds its configuration, its logs and whatever else it writes.
    """

    process: subprocess.Popen[bytes]
    port: int
    folder: Path

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def errors(self) -> str:
        """What nginx itself complains of."""
        return (self.folder / "errors").read_text()

    def requests(self, least: int = 0) -> list[dict[str, Any]]:
        """The access log, once it has so many lines: one is written after its reply is sent."""
        log = self.folder / "written" / "requests"
        end = time.monotonic() + PATIENCE
        while len(lines := log.read_text(errors="replace").splitlines()) < least:
            assert time.monotonic() < end, lines
            time.sleep(0.01)
        return [json.loads(line) for line in lines]


class Instance:
    """A gunicorn with its workers, with the configuration of deploy/; always on the same port.

    folder: for its logs, one a start.  settings: further variables.  options: gunicorn's.
    folders: put on Python's path, such as a stranger's distribution.
    """

    service: Service
    """As it was started last."""

    def __init__(
        self,
        folder: Path,
        settings: Mapping[str, str] | None = None,
        options: Sequence[str] = (),
        folders: Sequence[Path] = (),
    ) -> None:
        self.folder = folder
        self.settings = dict(settings or {})
        self.options = options
        self.folders = folders
        self.port = free_port()
        self.starts = 0

    def start(self, wait: bool = True, patience: float = PATIENCE) -> None:
        """Start it, also anew.

        wait: until it answers; its first start takes another port where this one is taken.
        patience: seconds.  Raises NotServed.
        """
        anew = self.starts > 0
        for turn in range(_STARTS):
            self._start()
            try:
                if wait:
                    strangers.wait_until_served(self.service, patience)
                return
            except BaseException as error:
                self.service.end()
                if not isinstance(error, PortTaken) or turn == _STARTS - 1:
                    raise
                self.port = self.port if anew else free_port()

    def _start(self) -> None:
        self.starts += 1
        self.folder.mkdir(parents=True, exist_ok=True)
        self.service = strangers.start(
            self.folder / f"log{self.starts}",
            self.folders,
            options=self.options,
            port=self.port,
            settings=self.settings,
        )

    @property
    def url(self) -> str:
        return self.service.url

    @property
    def master(self) -> int:
        return self.service.process.pid

    def workers(self) -> list[int]:
        """Ids of its workers: those of its children that run the service."""
        same = arguments(self.master)
        return [child for child in children(self.master) if arguments(child) == same]

    def kill(self) -> None:
        """All of it at once, as if the machine were gone."""
        for process in family(self.master):
            signalled(process, signal.SIGKILL)
        self.service.process.wait(PATIENCE)

    def stop(self) -> None:
        """Gracefully."""
        self.service.process.send_signal(signal.SIGTERM)
        self.service.process.wait(PATIENCE)

    def end(self) -> None:
        """End it, whatever it is like; a second time does nothing."""
        if self.starts == 0:
            return
        if self.service.process.poll() is None:
            for process in (self.master, *self.workers()):
                signalled(process, signal.SIGCONT)
        self.service.end()


@contextmanager
def served(
    folder: Path,
    settings: Mapping[str, str] | None = None,
    options: Sequence[str] = (),
    folders: Sequence[Path] = (),
    wait: bool = True,
) -> Iterator[Instance]:
    """An instance that runs; the arguments are those of `Instance` and of its start."""
    instance = Instance(folder, settings, options, folders)
    try:
        instance.start(wait)
        yield instance
    finally:
        instance.end()


@contextmanager
def proxy(
    folder: Path,
    ports: Sequence[int],
    *,
    rates: str | None = None,
    bursts: str | None = None,
    most: int = 32,
    cache: bool = False,
    http: str = "",
    server: str = "",
    port: int | None = None,
) -> Iterator[Front]:
    """nginx in front of the instances on these ports.

    rates, bursts: in place of `rates.conf` and `bursts.conf`, "" for none; those deployed where
    None.  most: requests that an instance is asked at once.  cache: whether replies are kept.
    http, server: further directives of these places.  port: to listen on, a free one where None.
    """
    if NGINX is None:
        tools.missing("nginx")
    port = port or free_port()
    lay_out(folder, ports, port, rates, bursts, most, cache, http, server)
    process = _start(folder)
    try:
        _wait_until_open(process, port, folder)
        yield Front(process=process, port=port, folder=folder)
    finally:
        end(process)


def lay_out(
    folder: Path,
    ports: Sequence[int],
    port: int,
    rates: str | None = None,
    bursts: str | None = None,
    most: int = 32,
    cache: bool = False,
    http: str = "",
    server: str = "",
) -> None:
    """Write the configuration; the arguments are those of `proxy`."""
    place = folder / "place"
    place.mkdir(parents=True)
    (folder / "written").mkdir()
    shutil.copytree(COMMON, folder / "common")
    (place / "http.conf").write_text(
        "\n".join(
            [
                _upstreams(ports, most),
                "access_log requests requests;",
                "include rates.conf;" if rates is None else rates,
                "include trust-nobody.conf;" if "$seen_scheme" not in http else "",
                "include no-origins.conf;" if "$allowed_origin" not in http else "",
                _kept_replies() if cache else "",
                http,
            ]
        )
    )
    (place / "server.conf").write_text(
        "\n".join(
            [
                f"listen 127.0.0.1:{port} default_server;",
                # What has no rate has no burst either.
                "include bursts.conf;" if bursts is None and rates is None else bursts or "",
                "include cache.conf;" if cache else "",
                server,
            ]
        )
    )


def command(folder: Path) -> list[str]:
    """nginx with the configuration that is laid out in the folder."""
    assert NGINX is not None
    # As root nginx would work as someone who may not read the tests' folders.
    user = ["-g", "user root;"] if os.geteuid() == 0 else []
    configuration = folder / "common" / "nginx.conf"
    written = f"{folder / 'written'}/"
    return [NGINX, "-e", "stderr", "-p", written, "-c", str(configuration), *user]


def end(process: subprocess.Popen[bytes]) -> None:
    """End nginx, by its id: what is under way is given a moment."""
    if process.poll() is None:
        process.send_signal(signal.SIGTERM)
    try:
        process.wait(10)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait(10)


def _upstreams(ports: Sequence[int], most: int) -> str:
    """The deployed upstreams, each with these instances in place of its own."""
    text = (COMMON / "instances.conf").read_text().replace("max_conns=32", f"max_conns={most}")

    def ours(found: re.Match[str]) -> str:
        return "".join(f"    server 127.0.0.1:{port} {found[2]}\n" for port in ports)

    return re.sub(r"(?m)(^    server \S+ (.*)\n)+", ours, text)


def _kept_replies() -> str:
    """The line that `cache.conf` asks for."""
    lines = (COMMON / "cache.conf").read_text().splitlines()
    return next(line.strip("# ") for line in lines if "proxy_cache_path" in line)


def _start(folder: Path) -> subprocess.Popen[bytes]:
    with (folder / "errors").open("wb") as errors:
        return subprocess.Popen(
            command(folder), cwd=folder, stdin=subprocess.DEVNULL, stdout=errors, stderr=errors
        )


def _wait_until_open(process: subprocess.Popen[bytes], port: int, folder: Path) -> None:
    end = time.monotonic() + PATIENCE
    while True:
        assert process.poll() is None, (folder / "errors").read_text()
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1.0).close()
            return
        except OSError:
            assert time.monotonic() < end, (folder / "errors").read_text()
            time.sleep(0.02)


def certified(folder: Path) -> tuple[Path, Path]:
    """A certificate and its key, made for the test."""
    openssl = tools.needed("openssl")
    key, certificate = folder / "key.pem", folder / "certificate.pem"
    command = [openssl, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"]
    command += ["-nodes", "-keyout", str(key), "-out", str(certificate), "-subj", "/CN=localhost"]
    command += ["-addext", "subjectAltName=DNS:localhost", "-days", "2"]
    subprocess.run(command, check=True, capture_output=True, timeout=30)
    return certificate, key
