"""The share of a request's time that each of several candidates may take."""

from collections.abc import Callable
from time import perf_counter

from arrowloft.api.fitting.candidates import Candidate
from arrowloft.core.arrays import Array
from arrowloft.core.fitting.variants import Family, Variants

_MOST, _ALL, _KEPT = 0.4, 0.8, 0.05
"""Shares of the request's time: of one candidate, of all together, and what is kept for each one
that is still to come. The last one may take what is left."""


class OutOfPatience(RuntimeError):
    """A candidate took more than its share; raised between two evaluations."""


class Patience:
    """Wall time shared out over candidates, one after the other.

    Only models that answer slowly feel it: the number of evaluations is bounded beside it.
    """

    def __init__(
        self, seconds: float, candidates: int, clock: Callable[[], float] = perf_counter
    ) -> None:
        """seconds: of the whole request."""
        self.seconds, self.left, self.clock = seconds, candidates, clock
        self.end = clock() + _ALL * seconds

    def family(self, candidate: Candidate) -> Family:
        """The candidate, to be called until its share is spent; then OutOfPatience."""
        self.left -= 1
        begun = self.clock()
        spare = self.end - begun - self.left * _KEPT * self.seconds
        most = _MOST * self.seconds if self.left else spare
        due = begun + min(most, max(spare, _KEPT * self.seconds))

        def of(points: Array) -> Variants:
            if self.clock() > due:
                raise OutOfPatience
            return candidate(points)

        return of
