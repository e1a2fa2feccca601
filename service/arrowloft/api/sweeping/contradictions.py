"""Parameters of a model that contradict each other in some set-ups: found before any flight."""

from collections.abc import Mapping
from typing import Any

from arrowloft.api.blame import Blamed
from arrowloft.api.fields import Quantity
from arrowloft.api.replies import ReplyUnits
from arrowloft.api.sweeping.models import Source, Values
from arrowloft.plugin import ParameterError

_AT_ONCE = 1 << 16
"""Sets of parameters that one instance takes."""

_MOST_BUILT = 20_000
"""Most instances made in search of contradictions: of more, the blocks themselves tell."""


def check(source: Source) -> None:
    """Refuse parameters that do not fit together, with their number and an example.

    Raises Problem.
    """
    if not source.varied:
        return
    sets = source.plan.sets(source.kind).setups
    if not source.by_lane and sets > _MOST_BUILT:
        return
    search = _Search(source)
    for start in range(0, sets, _AT_ONCE):
        stop = min(start + _AT_ONCE, sets)
        search.of(source.plan.values_of(source.kind, start, stop), stop - start)
    if search.error is not None:
        raise source.pointed(search.error, search.where()) from search.error


class _Search:
    """Sets that a model refuses: how many, the first of them, and what it said of that."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self.built = 0
        self.refused = 0
        self.first: Mapping[tuple[str, ...], float] = {}
        self.error: ParameterError | None = None

    def of(self, values: Values, count: int) -> None:
        """Look through some sets, halved until a part is sound or is a single one."""
        if self.built > _MOST_BUILT and self.error is not None:
            return
        if count > 1 and not self.source.by_lane:
            for index in range(count):
                self.of({steps: each[index : index + 1] for steps, each in values.items()}, 1)
            return
        error = self._refusal(values, count)
        if error is None:
            return
        if count > 1:
            for part in (slice(0, count // 2), slice(count // 2, count)):
                some = {steps: each[part] for steps, each in values.items()}
                self.of(some, len(range(*part.indices(count))))
            return
        self.refused += 1
        if self.error is None:
            self.error = error
            self.first = {steps: float(each[0]) for steps, each in values.items()}

    def _refusal(self, values: Values, count: int) -> ParameterError | None:
        self.built += 1
        given: Mapping[tuple[str, ...], Any] = values
        if count == 1:
            given = {steps: float(each[0]) for steps, each in values.items()}
        with Blamed(self.source.kind):
            try:
                self.source.build(given)
            except ParameterError as error:
                return error
        return None

    def where(self) -> str:
        """In how many set-ups, and in which for example."""
        plan, kind = self.source.plan, self.source.kind
        setups = self.refused * (plan.grid.setups // plan.sets(kind).setups)
        least = "at least " if self.built > _MOST_BUILT else ""
        return f"in {least}{setups} of {plan.grid.setups} set-ups, such as {self._example()}"

    def _example(self) -> str:
        told = [
            f"{'/'.join(steps[2:])} {self._text(item.target.member, self.first[steps])}"
            for item in self.source.varied
            for steps in (item.target.steps,)
        ]
        return " with ".join(told)

    def _text(self, member: Any, value: float) -> str:
        if isinstance(member, Quantity):
            return ReplyUnits(self.source.plan.asked.get("units", {})).text(value, member.dimension)
        return f"{value:.6g}"
