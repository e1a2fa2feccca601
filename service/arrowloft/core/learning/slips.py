"""Slips of the pen: what an observation that does not fit may have been meant to say."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import NamedTuple

from arrowloft.core.learning.observations import End, Observation


class Slip(NamedTuple):
    """A slip: its name, what it was made in, and the factor that puts it right.

    of: "impact", its "height" or its "side" alone, "mark", "distance" or "speed".
    """

    name: str
    of: str
    factor: float


SIGNS = (
    Slip("sign", "impact", -1.0),
    Slip("up-for-down", "height", -1.0),
    Slip("left-for-right", "side", -1.0),
    Slip("sign-of-mark", "mark", -1.0),
)
"""Slips of the sign; those of units are for who reads units to add."""


def put_right(
    observation: Observation, slips: Iterable[Slip]
) -> Iterator[tuple[Slip, Observation]]:
    """The observation with each of the slips that can be made in it put right."""
    for slip in slips:
        if isinstance(observation, End):
            if _can_be_made_in(observation, slip):
                yield slip, _end(observation, slip)
        elif slip.of == "speed":
            yield slip, replace(observation, speed=observation.speed * slip.factor)


def _can_be_made_in(end: End, slip: Slip) -> bool:
    """Whether an end can hold the slip; where no side was noted, height is all there is."""
    if slip.of in ("height", "side"):
        return end.landed.right is not None
    return slip.of != "speed"


def _end(end: End, slip: Slip) -> End:
    if slip.of == "mark":
        return replace(end, travel=end.travel * slip.factor)
    landed = end.landed
    if slip.of == "distance":
        return replace(end, landed=replace(landed, distance=landed.distance * slip.factor))
    up, right = landed.up, landed.right
    if slip.of != "side":
        up *= slip.factor
    if slip.of != "height" and right is not None:
        right *= slip.factor
    return replace(end, landed=replace(landed, up=up, right=right))
