"""A shot: everything that decides a flight except where it is aimed."""

from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, TypeVar

import numpy as np

from arrowloft.core.arrays import Array, Real
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import DragLaw
from arrowloft.core.setup.gravity import STANDARD
from arrowloft.core.setup.laws import LawsByLane

_T = TypeVar("_T")


@dataclass(frozen=True, kw_only=True)
class Shot:
    """One shot, or many side by side: each number is a float or an array of lanes (SI).

    launch_speed: speed of the arrow as it leaves the string, along its own line, m/s.
    arrow, drag, air: what flies, what slows it, what it flies through. A `LawsByLane` is
        one drag law for some lanes, another for others.
    peep_height: eye above the arrow's line, perpendicular to it, m.
    launch_forward: balance point ahead of the eye at launch, along the arrow's line, m.
    tip_lead: tip ahead of the balance point, m.
    gravity: m/s2.  slope: inclination of the line of sight, uphill positive, rad.
    wind_speed: m/s.  wind_from: where it blows from, clockwise from the target seen
        from above, rad: 0 head wind, pi/2 from the right, pi tail wind.
    roll: bow rolled about the line of sight, top limb to the right positive, rad.
    drag_scale: factor on the drag area, for sensitivities and for fitted arrows.
    kinks: Reynolds numbers on the shaft diameter at which the drag law is not smooth;
        empty: smooth everywhere; None: not known, so the solver looks for what its points
        have missed.
    """

    launch_speed: Real
    arrow: Arrow
    drag: DragLaw
    air: Air
    peep_height: Real
    launch_forward: Real = 0.0
    tip_lead: Real = 0.0
    gravity: Real = STANDARD
    slope: Real = 0.0
    wind_speed: Real = 0.0
    wind_from: Real = 0.0
    roll: Real = 0.0
    drag_scale: Real = 1.0
    kinks: tuple[float, ...] | None = None

    def take(self, lanes: Any) -> "Shot":
        """The shot of the chosen lanes: an index array, a mask or a slice."""
        return _take(self, lanes)

    def with_(self, **changes: Any) -> "Shot":
        """A copy with some members changed."""
        return replace(self, **changes)


def lane_count(shot: Shot, *others: Real) -> int:
    """Number of lanes of a shot and of further values beside it; 1 where all are floats."""
    counts = {int(v.size) for v in (*_values(shot), *others) if isinstance(v, np.ndarray)}
    counts.discard(1)
    if len(counts) > 1:
        raise ValueError(f"lanes do not match: {sorted(counts)}")
    return counts.pop() if counts else 1


def as_lanes(value: Real, count: int) -> Array:
    """The value as an array of `count` lanes."""
    if isinstance(value, np.ndarray) and value.shape == (count,):
        return value
    return np.full(count, value, dtype=np.float64)


def is_zero(value: Real) -> bool:
    """Whether a value is zero in every lane."""
    if isinstance(value, np.ndarray):
        return not value.any()
    return value == 0.0


def _values(item: Any) -> Iterator[Any]:
    for declared in fields(item):
        value = getattr(item, declared.name)
        if is_dataclass(value):
            yield from _values(value)
        else:
            yield value


def _take(item: _T, lanes: Any) -> _T:
    changes: dict[str, Any] = {}
    for declared in fields(item):  # type: ignore[arg-type]
        value = getattr(item, declared.name)
        if isinstance(value, np.ndarray) and value.size > 1:
            changes[declared.name] = value[lanes]
        elif isinstance(value, Air | Arrow):
            taken = _take(value, lanes)
            if taken is not value:
                changes[declared.name] = taken
        elif isinstance(value, LawsByLane):
            changes[declared.name] = value.take(lanes)
    return replace(item, **changes) if changes else item  # type: ignore[type-var]
