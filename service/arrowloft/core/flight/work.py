"""What computations take: counted, not timed, so that it is the same anywhere, and bounded.

The unit is one value of a drag law, with its share in solving the flight: 0.1 us on a core
of 2023, as measured on some hundred requests that range from one flight to 100,000. What
else takes long counts as so many values.
"""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from math import inf

BATCH = 700
"""What one call of a drag law counts for beside its values: 0.06 to 0.1 ms, however few."""

ITERATION = 1300
"""What an iteration over whole flights counts for beside its call of the law: 0.13 ms."""

STEP = 1000
"""What a step of many flights at once counts for beside its flights: 0.1 ms."""

STAGE = 250
"""What a stage of one flight that is stepped counts for beside its call of the law: 0.025 ms."""


class TooMuchWork(BaseException):
    """Raised in the midst of what takes more than is allowed.

    No Exception, so that `except Exception` in a model does not hold it up.
    most: what was allowed.
    """

    def __init__(self, most: int) -> None:
        super().__init__(f"takes more than {most} evaluations")
        self.most = most


class Ledger:
    """What one thread has taken, and what it may still take.

    most, left: of work, where it is bounded.  lanes: flights solved, those that are refined
    once more each time.  evaluations: values that drag laws were asked for.
    """

    __slots__ = ("evaluations", "lanes", "left", "most")

    def __init__(self) -> None:
        self.most = 0
        self.left = inf
        self.begin()

    def begin(self) -> None:
        """Count lanes and evaluations anew from here."""
        self.lanes = self.evaluations = 0


class _Thread(threading.local):
    def __init__(self) -> None:
        self.ledger = Ledger()


_thread = _Thread()


def ledger() -> Ledger:
    """The ledger of this thread."""
    return _thread.ledger


def evaluate(values: int) -> None:
    """Count a call of a drag law that is about to compute so many values.

    Raises TooMuchWork as `spend` does.
    """
    mine = _thread.ledger
    mine.evaluations += values
    mine.left = left = mine.left - values - BATCH
    if left < 0.0:
        raise TooMuchWork(mine.most)


def spend(values: int) -> None:
    """Count what takes as long as so many values of a drag law in a large batch.

    Raises TooMuchWork where this thread has no more left, then at every call.
    """
    mine = _thread.ledger
    mine.left = left = mine.left - values
    if left < 0.0:
        raise TooMuchWork(mine.most)


@contextmanager
def allowed(most: int) -> Iterator[None]:
    """In its `with`, this thread may spend so much: an inner one counts for itself."""
    mine = _thread.ledger
    before = mine.most, mine.left
    mine.most, mine.left = most, most
    try:
        yield
    finally:
        mine.most, mine.left = before


def left() -> float:
    """What this thread may still spend; infinity outside of `allowed`."""
    return _thread.ledger.left
