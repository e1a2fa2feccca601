"""Clients that ask a served instance steadily and check every reply, bounded in time and count.

    load = start(port, [Ask(message("GET", "/healthz"), body=expected)], clients=16, seconds=5)
    ...  # what is to be tried meanwhile
    seen = load.finish()

They run in processes of their own, so that they neither slow down who tries nor are slowed
down. A closed loop asks anew once answered; an open one, with a rate, asks when it is time to
and counts a reply's latency from then on, so that a server that stalls is not spared.
"""

import base64
import pickle
import signal
import socket
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field

from wire import NoReply, Reply, read_reply

LONGEST = 900.0
"""Seconds after which any load ends, whatever was asked for."""
_EXAMPLES = 5
_PAUSE = 0.01
"""Seconds that a client waits after a loss, as a server that is gone refuses at once."""


@dataclass(frozen=True, kw_only=True)
class Ask:
    """A request, and the reply that it must have.

    message: the request's bytes.  status: the reply's.  body: the reply's; None: any.
    """

    message: bytes
    status: int = 200
    body: bytes | None = None


@dataclass(kw_only=True)
class Seen:
    """What a load has seen.

    statuses: code -> replies.  right: replies as they must be.  wrong: replies that are not.
    lost: why no whole reply came -> how often.  examples: a few of the wrong replies.
    moments, latencies: of each reply, s: when it was due (monotonic clock), how long it took.
    right_latencies: of those among them that are right.
    seconds: how long the load lasted.
    """

    statuses: Counter[int] = field(default_factory=Counter)
    right: int = 0
    wrong: int = 0
    lost: Counter[str] = field(default_factory=Counter)
    examples: list[bytes] = field(default_factory=list)
    moments: list[float] = field(default_factory=list)
    latencies: list[float] = field(default_factory=list)
    right_latencies: list[float] = field(default_factory=list)
    seconds: float = 0.0

    @property
    def asked(self) -> int:
        return self.right + self.failures

    @property
    def failures(self) -> int:
        """Requests without the reply that they must have."""
        return self.wrong + self.lost.total()

    @property
    def rate(self) -> float:
        """Right replies a second."""
        return self.right / self.seconds if self.seconds else 0.0

    def latency(self, share: float = 0.5) -> float:
        """The quantile of the latencies, s; 1.0: the longest."""
        ordered = sorted(self.latencies)
        return ordered[min(len(ordered) - 1, int(share * len(ordered)))] if ordered else 0.0

    def add(self, other: "Seen") -> None:
        self.statuses += other.statuses
        self.right += other.right
        self.wrong += other.wrong
        self.lost += other.lost
        self.examples = (self.examples + other.examples)[:_EXAMPLES]
        self.moments += other.moments
        self.latencies += other.latencies
        self.right_latencies += other.right_latencies
        self.seconds = max(self.seconds, other.seconds)

    def __str__(self) -> str:
        text = f"{self.right} of {self.asked} right, statuses {dict(self.statuses)}"
        if self.lost:
            text += f", lost {dict(self.lost)}"
        return text + (f", such as {self.examples[0][:300]!r}" if self.examples else "")


@dataclass(frozen=True, kw_only=True)
class _Plan:
    """What one process does; see `start`."""

    port: int
    asks: tuple[Ask, ...]
    clients: int
    rate: float | None
    seconds: float
    at_least: int
    count: int | None
    keep: bool
    patience: float
    source: str


class Load:
    """A load that runs."""

    def __init__(self, plans: Sequence[_Plan]) -> None:
        self._processes = []
        for plan in plans:
            process = subprocess.Popen(
                [sys.executable, __file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE
            )
            assert process.stdin
            process.stdin.write(base64.b64encode(pickle.dumps(vars_of(plan))) + b"\n")
            process.stdin.flush()
            self._processes.append(process)

    def __enter__(self) -> "Load":
        return self

    def __exit__(self, *_: object) -> None:
        """Leave no process behind, whatever happened."""
        for process in self._processes:
            if process.poll() is None:
                process.kill()
            process.wait()

    def stop(self) -> Seen:
        """End it before its bounds are reached."""
        for process in self._processes:
            process.send_signal(signal.SIGTERM)
        return self.finish()

    def finish(self) -> Seen:
        """Wait until its bounds are reached."""
        whole = Seen()
        for process in self._processes:
            try:
                said, _ = process.communicate(timeout=LONGEST + 60.0)
            except subprocess.TimeoutExpired:
                process.kill()
                raise
            assert process.returncode == 0, "a client failed"
            whole.add(Seen(**pickle.loads(said)))
        return whole


def vars_of(plan: _Plan) -> dict[str, object]:
    """The plan in types that the other process knows as well."""
    asks = [(ask.message, ask.status, ask.body) for ask in plan.asks]
    return {**vars(plan), "asks": asks}


def start(
    port: int,
    asks: Sequence[Ask],
    *,
    clients: int = 16,
    processes: int = 1,
    rate: float | None = None,
    seconds: float = 0.0,
    at_least: int = 0,
    count: int | None = None,
    keep: bool = False,
    patience: float = 10.0,
    source: str = "127.0.0.1",
) -> Load:
    """Let clients ask 127.0.0.1 at a port; each goes through the requests in turn.

    clients: how many ask at once, shared out among the processes.
    rate: requests a second, an open loop; None: a closed one.
    seconds, at_least: it lasts until so much time has passed and so much was asked.
    count: it ends after so many requests, whatever else.
    keep: connections are kept where the server lets them.
    patience: seconds after which a reply is given up.
    source: the address that they ask from, of this machine only: one of 127.0.0.0/8.
    """
    processes = min(processes, clients)
    plans = [
        _Plan(
            port=port,
            asks=tuple(asks),
            clients=_share(clients, processes, i),
            rate=None if rate is None else rate / processes,
            seconds=seconds,
            at_least=_share(at_least, processes, i),
            count=None if count is None else _share(count, processes, i),
            keep=keep,
            patience=patience,
            source=source,
        )
        for i in range(processes)
    ]
    return Load(plans)


def run(port: int, asks: Sequence[Ask], **bounds: object) -> Seen:
    """`start`, and wait until its bounds are reached."""
    return start(port, asks, **bounds).finish()  # type: ignore[arg-type]


def _share(whole: int, parts: int, index: int) -> int:
    return whole // parts + (index < whole % parts)


class _Clients:
    """All clients of one process, a thread each."""

    def __init__(self, plan: _Plan) -> None:
        self.plan = plan
        self.begin = time.monotonic()
        self.stopped = threading.Event()
        self.lock = threading.Lock()
        self.turns = self._turns()

    def work(self) -> Seen:
        found = [Seen() for _ in range(self.plan.clients)]
        threads = [threading.Thread(target=self._client, args=(seen,)) for seen in found]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        whole = Seen()
        for seen in found:
            whole.add(seen)
        whole.seconds = time.monotonic() - self.begin
        return whole

    def _turns(self) -> Iterator[tuple[Ask, float | None]]:
        """Each request with the time it is due at, until the bounds are reached."""
        plan, number = self.plan, 0
        while not self.stopped.is_set():
            if plan.count is not None and number >= plan.count:
                return
            passed = time.monotonic() - self.begin
            long_enough = passed >= plan.seconds and number >= plan.at_least
            if (plan.count is None and long_enough) or passed >= LONGEST:
                return
            due = None if plan.rate is None else self.begin + number / plan.rate
            yield plan.asks[number % len(plan.asks)], due
            number += 1

    def _next(self) -> tuple[Ask, float | None] | None:
        with self.lock:
            return next(self.turns, None)

    def _client(self, seen: Seen) -> None:
        line = _Line(self.plan)
        while turn := self._next():
            ask, due = turn
            if due is not None and self.stopped.wait(max(0.0, due - time.monotonic())):
                break
            moment = time.monotonic() if due is None else due
            try:
                reply = line.ask(ask.message)
            except OSError as error:
                seen.lost[f"{type(error).__name__}: {error}"] += 1
                self.stopped.wait(_PAUSE)
                continue
            seen.moments.append(moment)
            seen.latencies.append(time.monotonic() - moment)
            _judge(seen, ask, reply)
        line.close()


def _judge(seen: Seen, ask: Ask, reply: Reply) -> None:
    seen.statuses[reply.status] += 1
    if reply.status == ask.status and ask.body in (None, reply.body):
        seen.right += 1
        seen.right_latencies.append(seen.latencies[-1])
        return
    seen.wrong += 1
    if len(seen.examples) < _EXAMPLES:
        seen.examples.append(reply.head[:500] + b"\r\n\r\n" + reply.body[:500])


class _Line:
    """A client's connection."""

    def __init__(self, plan: _Plan) -> None:
        self.plan = plan
        self.socket: socket.socket | None = None

    def ask(self, request: bytes) -> Reply:
        kept = self.socket is not None
        try:
            return self._ask(request)
        except (NoReply, ConnectionError):
            # A server may close a kept connection at any time: it is to be asked anew.
            if not kept:
                raise
        return self._ask(request)

    def _ask(self, request: bytes) -> Reply:
        if self.socket is None:
            address = ("127.0.0.1", self.plan.port)
            own = (self.plan.source, 0)
            self.socket = socket.create_connection(address, self.plan.patience, own)
            self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        try:
            self.socket.sendall(request)
            reply, _ = read_reply(self.socket, request.startswith(b"HEAD "))
        except OSError:
            self.close()
            raise
        if not self.plan.keep or reply.last:
            self.close()
        return reply

    def close(self) -> None:
        if self.socket is not None:
            with suppress(OSError):
                self.socket.close()
            self.socket = None


def _main() -> None:
    given = pickle.loads(base64.b64decode(sys.stdin.buffer.readline()))
    asks = tuple(Ask(message=m, status=s, body=b) for m, s, b in given.pop("asks"))
    clients = _Clients(_Plan(asks=asks, **given))
    signal.signal(signal.SIGTERM, lambda *_: clients.stopped.set())
    # Who started it ends the load where an interrupt ends both.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    sys.stdout.buffer.write(pickle.dumps(vars(clients.work())))


if __name__ == "__main__":
    _main()
