"""gunicorn's sync worker, such that a proxy in front of it loses nothing when it ends."""

import logging
from collections.abc import Callable
from typing import Any

from gunicorn.workers.sync import SyncWorker  # type: ignore[import-untyped]

from arrowloft.operation import observing
from arrowloft.operation.admission import Admission
from arrowloft.operation.lookout import Lookout

_log = logging.getLogger(__name__)

LINGER = 0.2
"""Seconds in which a client that was answered may close its side of the connection."""


class Worker(SyncWorker):  # type: ignore[misc]
    """As gunicorn's own, but for who is answered, how, who looks, and when it stops listening.

    admission: whom it turns away.  lookout: told of each request; see `operation.lookout`.
    """

    admission: Admission = Admission()
    lookout: Lookout = Lookout()

    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self._made = self.tmp.last_update()

    @property
    def serving(self) -> bool:
        """Whether it has begun to serve, as its master sees: it has said that it is alive."""
        try:
            return bool(self.tmp.last_update() != self._made)
        except (OSError, ValueError):  # closed, as it has ended
            return False

    def run(self) -> None:
        """Serve until told to stop.

        Those who wait are let go at once, so that the proxy asks another instance. Else the
        kernel would hold them until the process has ended, which with all its libraries takes
        a busy machine seconds.
        """
        try:
            super().run()
        finally:
            for listener in self.sockets:
                listener.close()

    def accept(self, listener: Any) -> None:
        """Take one who waits, and end where the master is gone.

        gunicorn looks for that only while nobody asks: under full load a worker would go on
        without a master for ever, and hold the port.
        """
        super().accept(listener)
        if not self.is_parent_alive():
            self.alive = False

    def handle(self, listener: Any, client: Any, addr: Any) -> None:
        """Answer one connection, or turn it away where the service is full."""
        method = self.admission.turned_away(client)
        if method is None:
            super().handle(listener, _Client(client), addr)
            return
        observing.turned_away(self.wsgi, method.decode("latin-1"))
        client.close()

    def handle_request(self, listener: Any, req: Any, client: Any, addr: Any) -> None:
        """Answer one request, in one piece. Raises what gunicorn's worker does, with nothing sent.

        gunicorn sends the head, then the body. Killed between the two, it would leave a proxy
        with a reply that has begun, and so cannot be asked for again elsewhere.
        """
        gathered = _Gathered(client, self.lookout.end)
        self.lookout.begin(client, req)
        try:
            super().handle_request(listener, req, gathered, addr)
        finally:
            # What it raises is answered as well, by gunicorn and past what is gathered here.
            self.lookout.end()
        gathered.flush()
        if self.lookout.lost:
            _log.warning("a worker's guardian is gone: another worker takes its place")
            self.alive = False


class _Client:
    """A client's socket that is not waited for long once it has been answered.

    gunicorn lingers until the client closes as well, 2 s at most: in that time others would wait
    for one who merely keeps the connection open.
    """

    def __init__(self, client: Any) -> None:
        self._client = client

    def __getattr__(self, name: str) -> Any:
        return getattr(self._client, name)

    def settimeout(self, seconds: float) -> None:
        self._client.settimeout(min(seconds, LINGER))


class _Gathered:
    """A socket that keeps what is written to it; all else goes to the socket itself.

    before: called before anything is sent.
    """

    def __init__(self, client: Any, before: Callable[[], None]) -> None:
        self._client, self._before = client, before
        self._kept: list[bytes] = []

    def __getattr__(self, name: str) -> Any:
        return getattr(self._client, name)

    def sendall(self, data: bytes) -> None:
        self._kept.append(data)

    def sendfile(self, *given: Any, **named: Any) -> int:
        self.flush()
        return int(self._client.sendfile(*given, **named))

    def flush(self) -> None:
        whole, self._kept = b"".join(self._kept), []
        self._before()
        if whole:
            self._client.sendall(whole)
