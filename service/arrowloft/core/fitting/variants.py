"""Variants of a model side by side: the same flights with each unknown a little different."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, TypeAlias, cast

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import DragLaw
from arrowloft.core.setup.laws import Kinks, LawsByLane
from arrowloft.core.setup.shot import Shot


@dataclass(frozen=True, kw_only=True)
class Variants:
    """What a model makes of several points in the space of its unknowns.

    laws, kinks: different drag laws, and where each is not smooth.
    which: (variants,), each variant's law.
    speed, angle, yaw, clock: launch speed m/s, launch angle and yaw rad, and what the
        clock of the series shows as the arrow leaves the string, s; (series, variants).
    sound: (variants,) bool; the model accepts this point. What else is said of a variant
        that is not sound means nothing.
    """

    laws: tuple[DragLaw, ...]
    kinks: tuple[Kinks, ...]
    which: Lanes
    speed: Array
    angle: Array
    yaw: Array
    clock: Array
    sound: Mask

    @property
    def count(self) -> int:
        """How many variants."""
        return self.which.size

    def take(self, some: Any) -> "Variants":
        """Some of the variants: an index array or a mask."""
        by_series = {
            name: getattr(self, name)[:, some] for name in ("speed", "angle", "yaw", "clock")
        }
        return replace(self, which=self.which[some], sound=self.sound[some], **by_series)


Family: TypeAlias = Callable[[Array], Variants]
"""Points in the space of a model's unknowns (unknowns, variants), SI -> what it makes of them."""


def lanes_of(shots: Sequence[Shot], which: Lanes, variants: Variants, series: Lanes) -> Shot:
    """One shot for lanes (variants x items), the items of the first variant first.

    shots: of single series.  which: (items,), the shot of each item.  series: (items,), its
    series in the variants. Arrows must know the same of themselves, as a lane has no None.
    """
    shot = _side_by_side(shots, np.tile(which, variants.count))
    return shot.with_(
        launch_speed=variants.speed[series].T.ravel(),
        drag=LawsByLane(variants.laws, np.repeat(variants.which, series.size)),
    )


def _side_by_side(shots: Sequence[Shot], which: Lanes) -> Shot:
    """The shots' numbers by lane; what is the same in all of them stays a float."""
    first = shots[0]
    changes: dict[str, Any] = _numbers(shots, which, skip=("launch_speed", "drag", "kinks"))
    arrow = replace(first.arrow, **_numbers([shot.arrow for shot in shots], which))
    air = replace(first.air, **_numbers([shot.air for shot in shots], which))
    return first.with_(**{**changes, "arrow": arrow, "air": air})


def _numbers(items: Sequence[Any], which: Lanes, skip: tuple[str, ...] = ()) -> dict[str, Array]:
    """Members that are numbers and not the same in all items, by lane."""
    found = {}
    for declared in fields(items[0]):
        values = [getattr(item, declared.name) for item in items]
        if declared.name in skip or values[0] is None or isinstance(values[0], Arrow | Air):
            continue
        if any(value != values[0] for value in values):
            found[declared.name] = cast(Array, np.array(values, dtype=float)[which])
    return found
