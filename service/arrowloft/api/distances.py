"""The `distances` member: a list in any order, or a range with a step."""

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from marshmallow import ValidationError

from arrowloft.api.fields import Items, Quantity
from arrowloft.api.schemas import Member, Resolver, strict
from arrowloft.api.shared import distance

_RANGE: Any = {
    "from": distance("First distance.", example="20 yd", required=True),
    "to": distance("Last distance, if a step leads there.", example="100 yd", required=True),
    "step": Quantity(
        "distance",
        "From one distance to the next.",
        example="1 yd",
        low=1e-3,
        high=1000.0,
        required=True,
    ),
}
DistanceRange = strict("DistanceRange", _RANGE)


class Distances(Member):
    """A list of distances, kept in its order, or `{"from", "to", "step"}`; SI once read."""

    def __init__(self, most: int, description: str = "", **options: Any) -> None:
        super().__init__(description, **options)
        self.most = most
        self.listed = Items(distance("A distance."), most=most)
        self.ranged = DistanceRange()

    def read(self, value: Any) -> list[float]:
        """The distances in m."""
        if type(value) is list:
            return self.listed.read(value)
        if type(value) is not dict:
            raise ValidationError('Give a list of distances, or {"from", "to", "step"}.')
        return self._expanded(**{f"{k}_": v for k, v in self.ranged.read(value).items()})

    def _expanded(self, *, from_: float, to_: float, step_: float) -> list[float]:
        if to_ < from_:
            raise ValidationError({"to": ["Give at least the distance of `from`."]})
        # A billionth of a step lets the last distance in where conversion has rounded it out.
        count = math.floor((to_ - from_) / step_ + 1e-9) + 1
        if count > self.most:
            raise ValidationError(
                {"step": [f"This step makes {count} distances: give at most {self.most}."]}
            )
        return [from_ + index * step_ for index in range(count)]

    def json_schema(self, resolver: Resolver) -> dict[str, Any]:
        """Either form."""
        return {
            "oneOf": [
                self.listed.json_schema(resolver),
                dict(resolver.resolve_nested_schema(self.ranged)),
            ]
        }


def pointer(request: dict[str, Any], index: int) -> str:
    """JSON pointer to one of the distances that a request's body asked for."""
    if type(request.get("distances")) is list:
        return f"/distances/{index}"
    return "/distances/to"


def check_cells(distances: int, most: int, **beside: int) -> None:
    """Raise ValidationError where a grid has more cells than `most`.

    beside: how many of what is taken with every distance, as in slopes=9.
    """
    each = math.prod(beside.values())
    if distances * each <= most:
        return
    factors = " x ".join([f"{distances} distances", *(f"{n} {what}" for what, n in beside.items())])
    room = f"give at most {most // each} distances, or " if each <= most else "give "
    raise ValidationError(
        {
            "distances": [
                f"{factors} make {distances * each} rows, at most {most} are computed: {room}"
                f"fewer {' or '.join(beside)}."
            ]
        }
    )


def check_farther(items: Sequence[Mapping[str, Any]], member: str) -> None:
    """Raise ValidationError, at the first that is not, unless each item's distance is farther."""
    for index, (near, far) in enumerate(pairwise(items), 1):
        if far["distance"] <= near["distance"]:
            fault = f"Give the {member} in order, each farther than the one before."
            raise ValidationError({member: {index: {"distance": [fault]}}})
