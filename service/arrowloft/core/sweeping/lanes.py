"""Lanes of bows, arrows, air and drag laws: some of them, or each of them several times."""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any, TypeVar

import numpy as np

from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import DragLaw, Flow
from arrowloft.core.setup.laws import LawsByLane

_T = TypeVar("_T")


def some(item: _T, lanes: Any) -> _T:
    """The chosen lanes of a dataclass of floats and arrays of lanes, such as a bow.

    lanes: an index array, a mask or a slice.
    """
    changes = {
        declared.name: value[lanes]
        for declared in fields(item)  # type: ignore[arg-type]
        if isinstance(value := getattr(item, declared.name), np.ndarray) and value.size > 1
    }
    return replace(item, **changes) if changes else item  # type: ignore[type-var]


@dataclass(frozen=True)
class LawOfLanes(LawsByLane):
    """One drag law whose parameters are arrays of lanes, made anew for the lanes taken.

    laws: none.  which: (lanes,), the parameters' own lane of each.  law_of: those -> the law.
    """

    law_of: Callable[[Lanes], DragLaw]

    @classmethod
    def all(cls, count: int, law_of: Callable[[Lanes], DragLaw]) -> "LawOfLanes":
        """All lanes of the parameters, in their order."""
        return cls((), np.arange(count), law_of)

    def __call__(self, flow: Flow, arrow: Arrow) -> Array:
        """Each lane's drag area, m2, of the shape of flow.airspeed."""
        return self._made(flow, arrow)

    @cached_property
    def _made(self) -> DragLaw:
        """The law of these lanes, made once."""
        return self.law_of(self.which)
