"""gunicorn's worker as it is adapted: replies in one piece, and a listener let go at once."""

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
from gunicorn.workers.sync import SyncWorker

from arrowloft.operation.worker import Worker


@pytest.fixture
def worker() -> Worker:
    """One that is not started."""
    return Worker.__new__(Worker)


@pytest.fixture
def line() -> Iterator[tuple[socket.socket, socket.socket]]:
    ours, theirs = socket.socketpair()
    with ours, theirs:
        theirs.setblocking(False)
        yield ours, theirs


def arrived(line: socket.socket) -> bytes:
    try:
        return line.recv(65536)
    except BlockingIOError:
        return b""


def test_a_reply_is_sent_in_one_piece(
    worker: Worker, line: tuple[socket.socket, socket.socket], monkeypatch: pytest.MonkeyPatch
) -> None:
    ours, theirs = line

    def handle(_: object, __: object, ___: object, client: socket.socket, ____: object) -> None:
        client.sendall(b"head, ")
        client.sendall(b"body")
        assert arrived(theirs) == b""
        # All else is the socket's own.
        assert client.fileno() == ours.fileno()

    monkeypatch.setattr(SyncWorker, "handle_request", handle)
    worker.handle_request(None, None, ours, None)
    assert arrived(theirs) == b"head, body"


def test_of_a_reply_that_fails_nothing_is_sent(
    worker: Worker, line: tuple[socket.socket, socket.socket], monkeypatch: pytest.MonkeyPatch
) -> None:
    ours, theirs = line

    def handle(_: object, __: object, ___: object, client: socket.socket, ____: object) -> None:
        client.sendall(b"head")
        raise StopIteration

    monkeypatch.setattr(SyncWorker, "handle_request", handle)
    with pytest.raises(StopIteration):
        worker.handle_request(None, None, ours, None)
    assert arrived(theirs) == b""


def test_a_file_follows_its_head(
    worker: Worker, line: tuple[socket.socket, socket.socket], monkeypatch: pytest.MonkeyPatch
) -> None:
    ours, theirs = line
    with Path(__file__).open("rb") as file:

        def handle(_: object, __: object, ___: object, client: socket.socket, ____: object) -> None:
            client.sendall(b"head, ")
            client.sendfile(file, offset=0, count=3)

        monkeypatch.setattr(SyncWorker, "handle_request", handle)
        worker.handle_request(None, None, ours, None)
    assert arrived(theirs) == b'head, """'


@pytest.mark.parametrize("end", [None, SystemExit(0)], ids=["told", "at once"])
def test_a_worker_that_ends_listens_no_more(
    worker: Worker, monkeypatch: pytest.MonkeyPatch, end: BaseException | None
) -> None:
    """Though its process goes on for a while."""

    def run(_: SyncWorker) -> None:
        if end:
            raise end

    monkeypatch.setattr(SyncWorker, "run", run)
    with socket.create_server(("127.0.0.1", 0)) as listener:
        worker.sockets = [listener]
        try:
            worker.run()
        except SystemExit:
            assert end
        assert listener.fileno() == -1
