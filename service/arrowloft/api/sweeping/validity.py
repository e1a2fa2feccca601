"""How many points of a sweep left the ranges in which their models may be trusted."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from arrowloft.core.arrays import Array, Mask, Real
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import Flow
from arrowloft.plugin import DragModel, LaunchCase, LaunchModel, LaunchSpeed, Note, Validity
from arrowloft.plugin.guard import guarded_drag_notes, guarded_limits
from arrowloft.plugin.validity import QUANTITIES, OutsideValidity

Kind = Literal["drag", "launch"]


@dataclass(frozen=True)
class Left:
    """A quantity that left a model's range: kind and name of the model, in how many points."""

    kind: Kind
    model: str
    quantity: str
    points: int

    def note(self, points: int) -> Note:
        """In words, of all `points`."""
        what = QUANTITIES[self.kind][self.quantity].description
        return Note(
            f"{self.kind}-range-left",
            f"In {self.points} of {points} points the {what} is outside of the range for which "
            f"the {self.kind} model {self.model!r} may be trusted; /v1/models/{self.kind}/"
            f"{self.model} says where that ends, and why.",
        )


def added(parts: Iterable[Left]) -> tuple[Left, ...]:
    """The sums over all parts, in the order of their first."""
    sums: dict[tuple[Kind, str, str], int] = {}
    for part in parts:
        key = part.kind, part.model, part.quantity
        sums[key] = sums.get(key, 0) + part.points
    return tuple(Left(*key, points) for key, points in sums.items() if points)


def left_by_launch(
    model: LaunchModel, case: LaunchCase, speed: LaunchSpeed, each: int
) -> tuple[Left, ...]:
    """What some set-ups left, each of which counts for its `each` distances.

    Raises OutsideValidity where the model refuses.
    """
    shape = np.shape(case.arrow.mass)

    def outside(limit: Validity) -> Mask | None:
        values = QUANTITIES["launch"][limit.quantity].of(case, speed)
        return (
            None if values is None else np.broadcast_to(_out("launch", model, limit, values), shape)
        )

    return _left("launch", model, outside, each)


def left_by_drag(model: DragModel, airspeed: Array, air: Air, arrow: Arrow) -> tuple[Left, ...]:
    """What some flights left: airspeed (2, set-ups, distances), least and greatest of each.

    NaN, of a distance beyond reach, leaves nothing. Raises OutsideValidity.
    """
    # The lanes must be the last axis.
    flow = Flow(np.moveaxis(airspeed, 1, 2), air.density, air.viscosity, air.speed_of_sound)

    def outside(limit: Validity) -> Mask | None:
        values = QUANTITIES["drag"][limit.quantity].of(flow, arrow)
        if values is None:
            return None
        either: Mask = np.any(_out("drag", model, limit, values), axis=0)
        return either

    return _left("drag", model, outside, 1)


def said_by_drag(
    model: DragModel, airspeed: Array, launched: Array, air: Air, arrow: Arrow
) -> tuple[Note, ...]:
    """What the model says of the flights by itself, beside its ranges.

    airspeed: as above.  launched: (set-ups,), stands for flights that were none, m/s.
    """
    flown = np.where(np.isnan(airspeed), launched[:, None], airspeed)
    spread = np.array((flown[0].min(axis=1), flown[1].max(axis=1)))
    flow = Flow(spread, air.density, air.viscosity, air.speed_of_sound)
    notes = guarded_drag_notes(model, flow, arrow)
    return tuple(note for note in notes if note.code != "drag-range-left")


def _left(kind: Kind, model: Any, outside: Any, each: int) -> tuple[Left, ...]:
    found = []
    for limit in guarded_limits(model):
        out = outside(limit)
        if out is not None:
            found.append(Left(kind, model.name, limit.quantity, each * int(out.sum())))
    return tuple(found)


def _out(kind: Kind, model: Any, limit: Validity, values: Real) -> Mask:
    out: Mask = np.asarray((values < limit.low) | (values > limit.high))
    if limit.outside == "error" and out.any():
        low, high, reached = (
            float(np.broadcast_to(item, out.shape)[out][0])
            for item in (limit.low, limit.high, values)
        )
        raise OutsideValidity(kind, model.name, limit.quantity, low, high, reached, limit.reason)
    return out
