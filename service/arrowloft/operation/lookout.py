"""A guardian beside each worker: what hangs where no signal is heard is answered, then ended.

The service ends a request at its limit of time by a signal, which Python hears between two of
its own instructions: code in C that does not return goes on. gunicorn would end the worker in the
end, and without an answer; a proxy would ask another instance, and that would lose a worker too.
A proxy cannot tell a worker that hangs from one that is frozen, which it should indeed ask
elsewhere for. The worker's own machine can.

While a request is computed, a message with the client's socket lies in a pair of sockets that
worker and guardian share. There is one of it, and whoever has taken it out may write to the
client: the worker as soon as its reply is complete, or the guardian when that is overdue. Thus
the guardian never writes into a reply; and as it only looks now and then, a request costs the
worker a few calls of the system, and nobody else anything.
"""

import gc
import logging
import os
import select
import signal
import socket
import struct
from collections.abc import Callable
from contextlib import ExitStack, suppress
from pathlib import Path
from time import monotonic
from typing import Any, NoReturn

from gunicorn import util  # type: ignore[import-untyped]

from arrowloft.api.time_limit import too_long
from arrowloft.operation.trace_context import new_id
from arrowloft.operation.wire import Written, written

_log = logging.getLogger(__name__)

GRACE = 2.0
"""Seconds beyond the service's own limit: a drawing is not interrupted, and a reply is written."""

LOOK = 0.25
"""Seconds from one look to the next."""

LINGER = 0.5
"""Most seconds in which the client may take the answer before the worker ends."""

_STOPPED = ("T", "t")
"""States of a process that a signal or a debugger has stopped."""

_MESSAGE = struct.Struct("=Q8s")
"""Number of the request, and its method, cut where it is long."""

_DESCRIPTOR = struct.Struct("i")
"""How the system tells of a socket that it has handed over."""

_IGNORED = ("HUP", "INT", "QUIT", "TERM", "USR1", "USR2", "WINCH")
"""Signals that a terminal or a supervisor may send to all: the guardian ends with its worker."""


class Lookout:
    """Nobody looks: gunicorn's timeout ends what hangs."""

    def begin(self, client: Any, request: Any) -> None:
        """A request of gunicorn's, from this client's socket, is about to be computed."""

    def end(self) -> None:
        """It is about to be answered; a second time this does nothing.

        Where the guardian has begun to answer, it does not return: the worker is being ended.
        """

    @property
    def lost(self) -> bool:
        """Whether somebody looked, and does no more."""
        return False


class Guarded(Lookout):
    """The worker's side.

    near, far: the pair of sockets; what is sent by the one lies in the other.
    lifeline: closed when the worker ends, in whatever way.  guardian: its process.
    """

    def __init__(
        self, near: socket.socket, far: socket.socket, lifeline: int, guardian: int
    ) -> None:
        self.near, self.far, self.lifeline, self.guardian = near, far, lifeline, guardian
        self.number = 0
        self.handed = False
        self._other_end = select.poll()
        self._other_end.register(lifeline, 0)

    @property
    def lost(self) -> bool:
        """Whether somebody has ended the guardian.

        One that failed by itself would do so again in another worker: nobody looks, then.
        """
        # Its end of the lifeline is closed: a third call of the system, of less than 1 us.
        if not self.guardian or not self._other_end.poll(0):
            return False
        try:
            _, status = os.waitpid(self.guardian, 0)
        except ChildProcessError:
            status = 0
        self.guardian = 0
        return os.WIFSIGNALED(status)

    def begin(self, client: Any, request: Any) -> None:
        """Lay the message out, with the client's socket."""
        self.number += 1
        message = _MESSAGE.pack(self.number, request.method.encode("ascii", "replace"))
        with suppress(OSError):  # The system is short of something: nobody looks, then.
            socket.send_fds(self.near, [message], [client.fileno()])
            self.handed = True

    def end(self) -> None:
        """Take it back, or wait for the end where it is gone."""
        if self.handed:
            # Without room for it, the message's copy of the socket is closed by the kernel.
            self.far.recv(_MESSAGE.size)
            self.handed = False


def start(limit: float, count: Callable[[str], None]) -> Lookout:
    """Fork a guardian for this worker, given the service's limit in seconds.

    count: called with the method of a request that was answered here, in the worker's stead.
    To be called where the worker has no threads yet.  Where the system does not tell what
    processes do (/proc), or has no process or file to give, nobody looks.
    """
    worker = os.getpid()
    if _state(worker) is None:
        return Lookout()
    answer = written(too_long(limit))
    try:
        return _beside(worker, limit + GRACE, answer, count)
    except OSError as error:
        _log.warning("nobody looks after a worker: %s", error)
        return Lookout()


def _beside(worker: int, seconds: float, answer: Written, count: Callable[[str], None]) -> Guarded:
    """Fork the guardian; raises OSError where the system is short of something."""
    with ExitStack() as opened:
        near, far = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        for end in (near, far):
            opened.callback(end.close)
            end.setblocking(True)  # whatever some library has made the default
        theirs, lifeline = os.pipe()
        opened.callback(os.close, lifeline)
        # A signal for the worker must not be handled by the other one in the worker's way.
        before = signal.pthread_sigmask(signal.SIG_BLOCK, signal.valid_signals())
        try:
            if (process := os.fork()) == 0:
                guardian = _Guardian(worker, near, far, theirs, seconds, answer, count)
                _end_after(guardian, before)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)
            os.close(theirs)
        opened.pop_all()
    return Guarded(near, far, lifeline, process)


def _end_after(guardian: "_Guardian", mask: set[Any]) -> NoReturn:
    """What the forked process does, without a way back into the worker's own code."""
    try:
        guardian.settle(mask)
        guardian.look()
    except BaseException:
        _log.exception("a guardian failed")
    finally:
        os._exit(0)


class _Guardian:
    """The guardian's side.

    worker: its process.  seconds: after which a request is overdue.  answer: to what hangs.
    count: told the method of what was answered.
    """

    def __init__(
        self,
        worker: int,
        near: socket.socket,
        far: socket.socket,
        lifeline: int,
        seconds: float,
        answer: Written,
        count: Callable[[str], None],
    ) -> None:
        self.worker, self.seconds, self.answer, self.count = worker, seconds, answer, count
        self.near, self.far, self.lifeline = near, far, lifeline

    def settle(self, mask: set[Any]) -> None:
        """Give up what was the worker's: signals, sockets and files; only the log stays."""
        # It would write to all memory, which is shared as long as nobody does.
        gc.disable()
        signal.set_wakeup_fd(-1)
        for one in signal.Signals:
            if callable(signal.getsignal(one)):
                signal.signal(one, signal.SIG_DFL)
        for name in _IGNORED:
            signal.signal(getattr(signal, f"SIG{name}"), signal.SIG_IGN)
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        kept = {2, self.near.fileno(), self.far.fileno(), self.lifeline}
        for other in {int(file.name) for file in Path("/proc/self/fd").iterdir()} - kept:
            with suppress(OSError):  # the one by which they were listed
                os.close(other)

    def look(self) -> None:
        """Look now and then until the worker ends, or a request of its is overdue."""
        poll = select.poll()
        poll.register(self.lifeline, 0)
        seen, waited, last = None, 0.0, monotonic()
        # Those whom a model has forked would hold the lifeline, too.
        while not poll.poll(1e3 * LOOK) and os.getppid() == self.worker:
            # Time in which this process was held up is none that the worker had either.
            passed, last = min(monotonic() - last, 2.0 * LOOK), monotonic()
            found = self._lying()
            waited = waited + passed if found == seen else 0.0
            seen = found
            if found is not None and waited >= self.seconds and self._ended(found):
                return

    def _lying(self) -> bytes | None:
        """The message of the request that is being computed, which stays where it is."""
        try:
            return self.far.recv(_MESSAGE.size, socket.MSG_PEEK | socket.MSG_DONTWAIT)
        except BlockingIOError:
            return None

    def _ended(self, overdue: bytes) -> bool:
        """Whether the worker was ended, as this request is still being computed."""
        state = _state(self.worker)
        if state in _STOPPED:
            # Another instance may well answer: the proxy asks it when nothing comes from here.
            self._kill("a worker was frozen: it is ended, and its request is not answered")
            return True
        taken = self._taken()
        if taken is None:
            return False
        message, client = taken
        with socket.socket(fileno=client) as line:
            if message != overdue:
                # The next one's: the worker waits for it, or does not miss it yet.
                socket.send_fds(self.near, [message], [client])
                return False
            # The caller's own is the worker's knowledge.
            request_id = new_id()
            method = _MESSAGE.unpack(message)[1].rstrip(b"\0").decode("ascii")
            self._tell(line, method == "HEAD", request_id)
        self._kill(
            "a request hung beyond its limit of time: it is answered, its worker ended; "
            f"request_id={request_id}"
        )
        # Not before: whatever goes wrong here, the worker has ended.
        self.count(method)
        return True

    def _taken(self) -> tuple[bytes, int] | None:
        """The message and the client's socket, which only one of the two can take out."""
        try:
            # Not socket.recv_fds, which takes flags and forgets them: it would wait here.
            message, (told,), _, _ = self.far.recvmsg(
                _MESSAGE.size, socket.CMSG_SPACE(_DESCRIPTOR.size), socket.MSG_DONTWAIT
            )
        except BlockingIOError:
            return None
        return message, _DESCRIPTOR.unpack(told[2][: _DESCRIPTOR.size])[0]

    def _tell(self, line: socket.socket, only_head: bool, request_id: str) -> None:
        said = self.answer.reply(head=only_head, request_id=request_id)
        # So little fits into what the kernel holds for a client to whom nothing was written yet.
        with suppress(OSError):
            line.send(said, socket.MSG_DONTWAIT)
        util.close_graceful(line, timeout=LINGER)

    def _kill(self, why: str) -> None:
        # A parent still is who it was.
        if os.getppid() == self.worker:
            os.kill(self.worker, signal.SIGKILL)
            _log.error("%s (pid:%s)", why, self.worker)


def _state(process: int) -> str | None:
    """The letter that says what a process does; None where nobody knows."""
    try:
        told = Path(f"/proc/{process}/stat").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return None
    # Its name, in brackets, may hold anything.
    return told.rpartition(")")[2].split()[0]
