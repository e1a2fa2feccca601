"""Several drag laws side by side: each lane of a batch flies by its own."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Real
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import DragLaw, Flow

Kinks = tuple[float, ...] | None
"""Reynolds numbers at which a law is not smooth; None: not known. As `Shot.kinks`."""


@dataclass(frozen=True)
class LawsByLane:
    """A drag law made of several: (flow, arrow) -> drag area, m2, of flow.airspeed's shape.

    laws: the laws, each given its own lanes alone.  which: (lanes,), each lane's law.
    The last axis of flow.airspeed must be those lanes.
    """

    laws: tuple[DragLaw, ...]
    which: Lanes

    @classmethod
    def repeated(cls, laws: Sequence[DragLaw], each: int) -> "LawsByLane":
        """`each` lanes of the first law, then as many of the second, and so on."""
        return cls(tuple(laws), np.repeat(np.arange(len(laws)), each))

    def take(self, lanes: Any) -> "LawsByLane":
        """Some of the lanes: an index array, a mask or a slice."""
        return self if self.which.size == 1 else replace(self, which=self.which[lanes])

    def __call__(self, flow: Flow, arrow: Arrow) -> Array:
        """Each lane's drag area by its own law."""
        groups = self._groups
        if len(groups) == 1:
            return groups[0][0](flow, arrow)
        area = np.empty(flow.airspeed.shape)
        for law, lanes in groups:
            area[..., lanes] = law(_of_flow(flow, lanes), _of_arrow(arrow, lanes))
        return area

    @cached_property
    def _groups(self) -> list[tuple[DragLaw, Any]]:
        """Each law that has lanes, with them: a slice where they are neighbours."""
        return [
            (self.laws[index], _neighbours(np.flatnonzero(self.which == index)))
            for index in np.unique(self.which)
        ]


def alike(kinks: Sequence[Kinks], which: Lanes) -> Iterator[tuple[Kinks, Lanes]]:
    """The lanes whose laws have the same kinks, which one solve can take together.

    kinks: of each law.  which: (lanes,), each lane's law.
    """
    for those in dict.fromkeys(kinks):
        laws = [index for index, each in enumerate(kinks) if each == those]
        lanes = np.flatnonzero(np.isin(which, laws))
        if lanes.size:
            yield those, lanes


def _neighbours(lanes: Lanes) -> Any:
    """The lanes as a slice, which copies nothing, where they follow each other."""
    first, last = int(lanes[0]), int(lanes[-1])
    return slice(first, last + 1) if last - first + 1 == lanes.size else lanes


def _of_flow(flow: Flow, lanes: Any) -> Flow:
    return Flow(
        flow.airspeed[..., lanes],
        *(
            lanes_of(value, lanes)
            for value in (flow.density, flow.viscosity, flow.speed_of_sound, flow.incidence)
        ),
    )


def _of_arrow(arrow: Arrow, lanes: Any) -> Arrow:
    values = vars(arrow)
    some = {name: lanes_of(value, lanes) for name, value in values.items()}
    return arrow if all(some[name] is values[name] for name in some) else Arrow(**some)


def lanes_of(value: Real | None, lanes: Any) -> Any:
    """The lanes of a value that has one a lane; one for all, and None, as they are."""
    if isinstance(value, np.ndarray) and value.ndim and value.shape[-1] > 1:
        return value[..., lanes]
    return value
