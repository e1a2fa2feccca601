"""The ticks of /v1/sight-scale in order along the scale, and where each stands in the request."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from arrowloft.api.distances import pointer
from arrowloft.api.sight.sight_scale_members import NUMBER_EVERY
from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.sight.printed_scale import numbered


class Ticks:
    """The distances asked for, in order along the scale, and where each stands in the request.

    distance: m, ascending, (ticks,).  numbered: whether each carries its number.
    """

    def __init__(self, asked: Mapping[str, Any], body: dict[str, Any]) -> None:
        given = np.array(asked["distances"])
        self._body = body
        self._order: Lanes = np.argsort(given, kind="stable")
        self.distance: Array = given[self._order]
        ranged = type(body["distances"]) is dict
        step = float(given[1] - given[0]) if ranged else None
        every = asked.get("number_every", NUMBER_EVERY if ranged else 1)
        self.numbered: Mask = numbered(self.distance, step, every)

    def pointer(self, tick: int) -> str:
        """JSON pointer to a tick's distance, or to what ends the range."""
        return pointer(self._body, int(self._order[tick]))

    @property
    def nearest(self) -> str:
        """JSON pointer to the nearest tick's distance, or to what begins the range."""
        return "/distances/from" if type(self._body["distances"]) is dict else self.pointer(0)
