"""Instances that do what a test tells them, for what the proxy makes of it."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A request as it came to an instance; names of headers are in lower case."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What an instance answers."""

    status: int = 200
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b"{}"


@dataclass(frozen=True, kw_only=True)
class Stub:
    """An instance; `asked` fills while it answers."""

    port: int
    asked: list[Asked]


@contextmanager
def stub(answer: Callable[[Asked], Answer | None] = lambda _: Answer()) -> Iterator[Stub]:
    """An instance on a free port of the loopback.

    answer: of each request, in a thread of its own; None: the connection ends without a reply.
    """
    asked: list[Asked] = []

    class Handler(BaseHTTPRequestHandler):
        def handle_one_request(self) -> None:
            self.raw_requestline = self.rfile.readline(65537)
            if self.raw_requestline and self.parse_request():
                self._reply()
            self.close_connection = True

        def _reply(self) -> None:
            length = int(self.headers.get("Content-Length", 0))
            found = Asked(
                method=self.command,
                path=self.path,
                headers={name.lower(): value for name, value in self.headers.items()},
                body=self.rfile.read(length),
            )
            asked.append(found)
            said = answer(found)
            if said is None:
                return
            self.send_response(said.status)
            length_of = {"Content-Length": str(len(said.body))}
            for name, value in {
                "Content-Type": "application/json",
                **length_of,
                **said.headers,
            }.items():
                self.send_header(name, value)
            self.end_headers()
            if self.command != "HEAD":
                self.wfile.write(said.body)

        def log_message(self, *_: object) -> None:
            pass

    class Server(ThreadingHTTPServer):
        daemon_threads = True
        request_queue_size = 128

    server = Server(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield Stub(port=server.server_port, asked=asked)
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
