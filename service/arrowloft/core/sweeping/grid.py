"""The set-ups of a sweep, numbered: an outer product of axes, each point sampled as often."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import prod

import numpy as np

from arrowloft.core.arrays import Lanes

BLOCK = 4096
"""Flights computed together: a block's arrays stay small, and a cluster has enough to share."""


@dataclass(frozen=True)
class Grid:
    """Numbers of set-ups: the first axis changes slowest, the sample fastest.

    counts: values of each axis; none of them: one point.  samples: draws at each point, 1
    where nothing is drawn.  The same draws serve all points, so that these differ by their
    axes alone. Nothing is expanded here: numbers of any size can be asked for.
    """

    counts: tuple[int, ...]
    samples: int = 1

    @property
    def points(self) -> int:
        """Points of the outer product."""
        return prod(self.counts)

    @property
    def setups(self) -> int:
        """All set-ups."""
        return self.points * self.samples

    def places(self, start: int, stop: int) -> tuple[list[Lanes], Lanes]:
        """Place on each axis, and number of the draw, of the set-ups start to stop."""
        numbers = np.arange(start, stop, dtype=np.intp)
        point, draw = np.divmod(numbers, self.samples)
        return list(np.unravel_index(point, self.counts)) if self.counts else [], draw


@dataclass(frozen=True)
class Blocks:
    """All set-ups in blocks of one size, each flown to some distances.

    setups: how many.  size: set-ups of a block.
    """

    setups: int
    size: int

    @classmethod
    def of(cls, setups: int, flights: int, size: int | None = None) -> "Blocks":
        """Blocks of BLOCK flights at most, each set-up having `flights` of them."""
        return cls(setups, size or max(BLOCK // flights, 1))

    def __len__(self) -> int:
        return -(-self.setups // self.size)

    def __iter__(self) -> Iterator[tuple[int, int]]:
        return (self[index] for index in range(len(self)))

    def __getitem__(self, index: int) -> tuple[int, int]:
        """First set-up of a block, and the one after its last."""
        if not 0 <= index < len(self):
            raise IndexError(index)
        return index * self.size, min((index + 1) * self.size, self.setups)
