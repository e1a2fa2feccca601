"""Validity ranges at work: the quantities they speak of, and notes or errors where one is left."""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, Literal

import numpy as np

from arrowloft.core.arrays import Real
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import Flow
from arrowloft.plugin.contract import (
    DragModel,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    Note,
    Validity,
)


@dataclass(frozen=True)
class Quantity:
    """A quantity that a validity range may be given in.

    dimension: a name in the table of units; None where the table has none, and
        the range can be given in SI alone.
    description: what the sentences call it.
    of: (flow, arrow) for drag, (case, result) for launch -> SI value or values; None
        where the caller did not give what it needs.
    symbol, scale: the unit of the sentences, and the SI value's factor to it.
    """

    dimension: str | None
    description: str
    of: Callable[..., Real | None]
    symbol: str = ""
    scale: float = 1.0


class OutsideValidity(ValueError):
    """A model refuses to answer outside one of its ranges.

    kind, name: the model's.  quantity: a name in QUANTITIES.  low, high: the range, SI.
    reached: the value farthest outside, SI.  reason: why the range ends there.
    """

    def __init__(
        self,
        kind: str,
        name: str,
        quantity: str,
        low: float,
        high: float,
        reached: float,
        reason: str,
    ) -> None:
        which = QUANTITIES[kind][quantity]
        message = _sentence(kind, name, which, Validity(quantity, low, high, "error", reason))
        super().__init__(f"{message(reached)} The model gives no answer there.")
        self.kind = kind
        self.name = name
        self.quantity = quantity
        self.low = low
        self.high = high
        self.reached = reached
        self.reason = reason


def _reynolds_of_length(flow: Flow, arrow: Arrow) -> Real | None:
    return None if arrow.length is None else flow.reynolds(arrow.length)


def _mass_per_draw_weight(case: LaunchCase, result: LaunchSpeed) -> Real | None:
    return None if case.bow.draw_weight is None else case.arrow.mass / case.bow.draw_weight


QUANTITIES: Mapping[str, Mapping[str, Quantity]] = MappingProxyType(
    {
        "drag": MappingProxyType(
            {
                "reynolds": Quantity(
                    "number",
                    "Reynolds number on the shaft diameter",
                    lambda flow, arrow: flow.reynolds(arrow.shaft_diameter),
                ),
                "reynolds_length": Quantity(
                    "number", "Reynolds number on the arrow length", _reynolds_of_length
                ),
                "mach": Quantity("number", "Mach number", lambda flow, arrow: flow.mach()),
            }
        ),
        "launch": MappingProxyType(
            {
                "arrow_mass": Quantity(
                    "mass", "arrow mass", lambda case, result: case.arrow.mass, "g", 1e3
                ),
                "mass_per_draw_weight": Quantity(
                    None,
                    "arrow mass per draw weight",
                    _mass_per_draw_weight,
                    "g/N",
                    1e3,
                ),
                "launch_speed": Quantity(
                    "speed", "launch speed", lambda case, result: result.speed, "m/s"
                ),
                "draw_length": Quantity(
                    "length", "draw length", lambda case, result: case.bow.draw_length, "m"
                ),
                "draw_weight": Quantity(
                    "force", "draw weight", lambda case, result: case.bow.draw_weight, "N"
                ),
            }
        ),
    }
)
"""kind -> name -> quantity: what `Validity.quantity` may name."""


def drag_notes(model: DragModel, flow: Flow, arrow: Arrow) -> tuple[Note, ...]:
    """Notes for the ranges that a flight left, then the model's own.

    flow.airspeed: the least and the greatest airspeed flown, shape (2,) or (2, lanes).
    Raises OutsideValidity where the model refuses; CaseError and whatever else the
    model raises pass (`guard.guarded_drag_notes` turns the latter into a ModelFault).
    """
    spread = flow
    if flow.airspeed.ndim == 1:
        spread = replace(flow, airspeed=flow.airspeed[:, np.newaxis])
    left = _range_notes("drag", model.name, model.limits(), (spread, arrow))
    return (*left, *model.notes(spread, arrow))


def launch_notes(model: LaunchModel, case: LaunchCase, result: LaunchSpeed) -> tuple[Note, ...]:
    """Notes for the ranges that a shot left, then those of the result itself.

    Raises OutsideValidity where the model refuses.
    """
    left = _range_notes("launch", model.name, model.limits(), (case, result))
    return (*left, *result.notes)


def _range_notes(
    kind: Literal["drag", "launch"],
    name: str,
    limits: Iterable[Validity],
    given: tuple[Any, Any],
) -> Iterator[Note]:
    for limit in limits:
        quantity = QUANTITIES[kind][limit.quantity]
        values = quantity.of(*given)
        if values is None:
            continue
        for low, high, reached in _outside(limit, values):
            if limit.outside == "error":
                raise OutsideValidity(kind, name, limit.quantity, low, high, reached, limit.reason)
            sentence = _sentence(kind, name, quantity, replace(limit, low=low, high=high))
            yield Note(f"{kind}-range-left", sentence(reached))


def _outside(limit: Validity, values: Real) -> Iterator[tuple[float, float, float]]:
    """Low, high and the value farthest beyond, where values lie below a range or above it.

    Of a range that has one bound a lane, low and high are those of that value's lane.
    """
    (low, high, least), (top_low, top_high, greatest) = _farthest(limit, values)
    if least < low:
        yield low, high, least
    if greatest > top_high:
        yield top_low, top_high, greatest


def _farthest(limit: Validity, values: Real) -> Iterator[tuple[float, float, float]]:
    """Low, high and value: where the value comes closest to leaving below, then above."""
    low, high = limit.low, limit.high
    if not (isinstance(low, np.ndarray) or isinstance(high, np.ndarray)):
        yield low, high, float(np.min(values))
        yield low, high, float(np.max(values))
        return
    lows, highs, reached = np.broadcast_arrays(low, high, values)
    for beyond in (lows - reached, reached - highs):
        place = np.unravel_index(int(np.argmax(beyond)), beyond.shape)
        yield float(lows[place]), float(highs[place]), float(reached[place])


def _sentence(kind: str, name: str, quantity: Quantity, limit: Validity) -> Callable[[float], str]:
    """A function: value reached -> what left which range of which model, and why it ends."""

    def sentence(reached: float) -> str:
        above = reached > limit.high
        bound = float(limit.high if above else limit.low)
        reached_text, bound_text = _readable_pair(reached * quantity.scale, bound * quantity.scale)
        unit = f" {quantity.symbol}" if quantity.symbol else ""
        verb, end = ("rises to", "greatest") if above else ("falls to", "least")
        why = f" {limit.reason.rstrip('.')}." if limit.reason else ""
        return (
            f"The {quantity.description} {verb} {reached_text}{unit}; {bound_text}{unit} is the "
            f"{end} for which the {kind} model {name!r} may be trusted.{why}"
        )

    return sentence


def _readable_pair(reached: float, bound: float) -> tuple[str, str]:
    """Both numbers with three significant digits, or as many as tell them apart."""
    for digits in range(3, 17):
        pair = _readable(reached, digits), _readable(bound, digits)
        if pair[0] != pair[1]:
            return pair
    return repr(reached), repr(bound)


def _readable(value: float, digits: int) -> str:
    """The value rounded to significant digits, without exponent, thousands set apart."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    decimals = digits - 1 - math.floor(math.log10(abs(value)))
    text = f"{round(value, decimals):,.{max(decimals, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
