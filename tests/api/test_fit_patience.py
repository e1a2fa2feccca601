"""Shares of a request's time: by a clock that the test sets."""

from typing import Any, cast

import numpy as np
import pytest

from arrowloft.api.fitting.candidates import Candidate
from arrowloft.api.fitting.patience import OutOfPatience, Patience


class Clock:
    """Shows what it is set to."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def answering(points: Any) -> Any:
    """In place of a candidate."""
    return points


def spent(patience: Patience, clock: Clock) -> float:
    """Seconds after which the next candidate is stopped, to a hundredth; it takes them all."""
    family, begun = patience.family(cast(Candidate, answering)), clock.now
    for step in range(1, 1000):
        clock.now = begun + 0.01 * step
        try:
            family(np.zeros((1, 1)))
        except OutOfPatience:
            return 0.01 * step
    raise AssertionError("never stopped")


def test_slow_candidates_leave_something_for_the_last() -> None:
    """Of ten seconds four at most each, half a second being kept for each that is to come."""
    clock = Clock()
    patience = Patience(10.0, 5, clock)
    found = [spent(patience, clock) for _ in range(5)]
    assert found == pytest.approx([4.0, 2.5, 0.5, 0.5, 0.5], abs=0.03)


def test_a_candidate_alone_may_take_nearly_all() -> None:
    clock = Clock()
    assert spent(Patience(10.0, 1, clock), clock) == pytest.approx(8.0, abs=0.03)
    quick = Patience(10.0, 2, clock)
    quick.family(cast(Candidate, answering))
    assert spent(quick, clock) == pytest.approx(8.0, abs=0.03)
