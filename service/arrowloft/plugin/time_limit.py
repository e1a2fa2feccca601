"""A limit on the wall time of a call, and which model the time went into.

A signal of the system's timer ends what runs too long. Python hands signals to the main
thread alone, between two of its own instructions: in other threads there is no limit, and
code in C that does not return is not ended by it.
"""

import signal
import threading
from collections.abc import Callable
from contextvars import copy_context
from time import perf_counter
from types import FrameType
from typing import Any, TypeVar

from arrowloft.plugin.contract import Model
from arrowloft.plugin.meter import HERE, Named

T = TypeVar("T")

LOOKS = 20
"""How many times within the limit it is looked up which model runs."""

AGAIN = 1.0
"""Seconds after which a call that goes on beyond the limit is interrupted anew."""

LONG_CALL = 0.02
"""Mean length of the calls, s, from which on the model is to blame: a model's usual call takes
tens of microseconds to a few milliseconds. Many short ones are owed to what was asked for."""

_HAS_TIMER = hasattr(signal, "setitimer")


class OutOfTime(BaseException):
    """Raised in the midst of what runs too long.

    No Exception, so that `except Exception` in a model does not hold it up.
    """


class TookTooLong(RuntimeError):
    """A call was ended by its limit.

    seconds: the limit.  model: (kind, name) of the model that took at least half of
    the time, in long calls; None where no model did.
    """

    def __init__(self, seconds: float, model: tuple[str, str] | None) -> None:
        super().__init__(f"took longer than {seconds:g} s")
        self.seconds = seconds
        self.model = model

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.seconds, self.model)


class _Thread(threading.local):
    held: int = 0
    overdue: bool = False


_thread = _Thread()


class Uninterrupted:
    """In its `with`, what runs too long is ended at its end only.

    For what must not be left half done, as the first import of a library, or a drawing
    that holds locks and settings of the process.
    """

    def __enter__(self) -> None:
        _thread.held += 1

    def __exit__(self, *_: object) -> None:
        _thread.held -= 1
        if _thread.overdue and not _thread.held:
            _thread.overdue = False
            raise OutOfTime


class Running:
    """In its `with`, the time is this model's: that of the innermost, where they are nested.

    The meter counts it.  A class, as it is entered at every call of a model: it costs a
    microsecond.
    """

    __slots__ = ("model", "outer", "work")

    def __init__(self, model: Model | type[Model] | Named) -> None:
        self.model = model

    def __enter__(self) -> None:
        work = self.work = HERE.work
        outer = self.outer = work.model
        work.model = self.model
        work.calls += 1
        if outer is None:
            work.since = perf_counter()
        else:
            work.spend(outer, perf_counter())

    def __exit__(self, *_: object) -> None:
        work = self.work
        work.spend(self.model, perf_counter())
        work.model = self.outer


def within(seconds: float, call: Callable[[], T]) -> T:
    """What call() returns; TookTooLong where it has not after so many seconds of wall time.

    Without a limit in any thread but the main one, and wherever the timer already runs or
    its signal cannot be given back: a limit inside another one leaves the outer in force,
    and no one else's timer is touched.  The call has a context of its own, so that an
    interrupted change of it, such as NumPy's handling of floating-point errors, ends with
    it.  It costs about 10 microseconds.
    """
    if not _may_watch():
        return call()
    watch = _Watch(seconds)
    try:
        try:
            watch.start()
            return copy_context().run(call)
        finally:
            watch.stop()
    except OutOfTime as error:
        raise TookTooLong(seconds, watch.blamed()) from error
    finally:
        # The signal may have come at the first instruction of the inner one.
        watch.stop()


def _may_watch() -> bool:
    return (
        _HAS_TIMER
        and threading.current_thread() is threading.main_thread()
        and signal.getitimer(signal.ITIMER_REAL)[0] == 0.0
        and signal.getsignal(signal.SIGALRM) is not None
    )


class _Watch:
    """The running timer: it looks which model runs, and raises OutOfTime when the time is up."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self.watching = False
        self.before: Any = None
        self.work = HERE.work
        self.spent: dict[tuple[str, str] | None, float] = {}

    def start(self) -> None:
        self.outer, self.work.model = self.work.model, None
        self.work.calls, _thread.overdue = 0, False
        self.before = signal.signal(signal.SIGALRM, self.look)
        self.watching = True
        self.last = perf_counter()
        self.due = self.last + self.seconds
        signal.setitimer(signal.ITIMER_REAL, self.seconds / LOOKS, self.seconds / LOOKS)

    def stop(self) -> None:
        """Give timer and signal back; a second time it does nothing."""
        self.watching = False
        if self.before is None:
            return
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, self.before)
        self.work.model, _thread.overdue = self.outer, False
        self.before = None

    def look(self, signum: int, frame: FrameType | None) -> None:
        """Lay the time since the last look at the running model's door."""
        if not self.watching:
            return
        now, model = perf_counter(), self.work.model
        who = None if model is None else (str(model.kind), str(model.name))
        self.spent[who] = self.spent.get(who, 0.0) + now - self.last
        self.last = now
        if now >= self.due:
            if _thread.held:
                _thread.overdue = True
                return
            # Once may not be enough: what is raised in a destructor, say, is lost.
            signal.setitimer(signal.ITIMER_REAL, AGAIN, AGAIN)
            raise OutOfTime

    def blamed(self) -> tuple[str, str] | None:
        """The model that took at least half of the time, in calls that were long on average."""
        who = max(self.spent, key=lambda item: self.spent[item])
        spent = self.spent[who]
        most, long = spent >= 0.5 * sum(self.spent.values()), spent >= LONG_CALL * self.work.calls
        return who if most and long else None
