"""What a request takes: flights, values that drag laws computed, and each model's time.

Each thread counts for itself, from `begin` on.
"""

import threading
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from arrowloft.core.flight import work as counted


@dataclass(frozen=True, kw_only=True)
class Metered:
    """What was computed since `begin`.

    lanes: flights that were solved, those that are refined once more each time.
    evaluations: values that drag laws were asked for, lanes times points of a flight.
    model_seconds: (kind, name) of a model -> wall time, s, in its own code; a drag law that a
        launch model asks counts for itself alone.
    """

    lanes: int
    evaluations: int
    model_seconds: Mapping[tuple[str, str], float]


class Named(Protocol):
    """Whose time it is: a model, or what takes time all the same, as a caller who sends slowly."""

    @property
    def kind(self) -> str:
        """What kind of model."""

    @property
    def name(self) -> str:
        """The model's name."""


class Work:
    """The models that run in one thread, and their times.

    model: that which runs; None: no model.  calls: of models, ever.  since: when the model
    that runs began, or went on.
    """

    __slots__ = ("calls", "model", "since", "spent")

    def __init__(self) -> None:
        self.model: Named | None = None
        self.calls = 0
        self.since = 0.0
        self.begin()

    def begin(self) -> None:
        """Count anew from here."""
        self.spent: dict[tuple[str, str], float] = {}

    def spend(self, model: Named, until: float) -> None:
        """Lay the time since the last change of models at this one's door."""
        who = (model.kind, model.name)
        self.spent[who] = self.spent.get(who, 0.0) + until - self.since
        self.since = until


class _Here(threading.local):
    def __init__(self) -> None:
        self.work = Work()


HERE = _Here()
"""work: this thread's. One look-up a call, as a thread's own values are slow to reach."""


def begin() -> None:
    """Count anew from here: a request begins."""
    counted.ledger().begin()
    HERE.work.begin()


def now() -> Metered:
    """What this thread has computed since it began to count."""
    ledger = counted.ledger()
    return Metered(
        lanes=ledger.lanes,
        evaluations=ledger.evaluations,
        model_seconds=dict(HERE.work.spent),
    )
