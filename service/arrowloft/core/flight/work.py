"""A bound on what one computation may take: counted, not timed, so that it is the same anywhere."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from math import inf

BATCH = 500
"""What a batch counts for, beside its values: what a call costs however few they are."""


class TooMuchWork(BaseException):
    """Raised in the midst of what takes more than is allowed.

    No Exception, so that `except Exception` in a model does not hold it up.
    most: what was allowed.
    """

    def __init__(self, most: int) -> None:
        super().__init__(f"takes more than {most} evaluations")
        self.most = most


class _Thread(threading.local):
    most: int = 0
    left: float = inf


_thread = _Thread()


def spend(values: int) -> None:
    """Count a batch of so many values of a drag law, or of what costs as much as one.

    Raises TooMuchWork where this thread has no more left, then at every call.
    """
    _thread.left = left = _thread.left - values - BATCH
    if left < 0.0:
        raise TooMuchWork(_thread.most)


@contextmanager
def allowed(most: int) -> Iterator[None]:
    """In its `with`, this thread may spend so much: an inner one counts for itself."""
    before = _thread.most, _thread.left
    _thread.most, _thread.left = most, most
    try:
        yield
    finally:
        _thread.most, _thread.left = before


def left() -> float:
    """What this thread may still spend; infinity outside of `allowed`."""
    return _thread.left
