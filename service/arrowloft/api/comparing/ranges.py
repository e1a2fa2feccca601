"""Where models may be trusted, and whether a lane's flights left that: as data."""

import math
from collections.abc import Sequence
from typing import Any, Literal

import numpy as np

from arrowloft.api.comparing.lanes import Lane
from arrowloft.api.replies import significant
from arrowloft.api.reply_schemas import flag, nullable, number, text
from arrowloft.api.schemas import Strict
from arrowloft.core.setup.flow import Flow
from arrowloft.plugin.contract import Model
from arrowloft.plugin.guard import guarded_limits
from arrowloft.plugin.validity import QUANTITIES

_SI = {
    "arrow_mass": "kg",
    "mass_per_draw_weight": "kg/N",
    "launch_speed": "m/s",
    "draw_length": "m",
    "draw_weight": "N",
}
"""Quantity of a range -> its SI unit; the others are pure numbers."""


class TrustedRange(Strict):
    """The range of one quantity in which a model may be trusted, and what was reached."""

    quantity = text("Name of the quantity.")
    unit = text("Unit of low, high, least and greatest, always SI; empty for a pure number.")
    low = number("Lower end; left out: open.", required=False)
    high = number("Upper end; left out: open.", required=False)
    outside = text("What happens beyond: a note, or an error.", enum=["note", "error"])
    reason = text("Why the range ends there.")
    least = nullable(number("Least value reached; null where it is not known."))
    greatest = nullable(number("Greatest value reached; null where it is not known."))
    left = nullable(flag("Whether the lane left the range; null where that is not known."))


def launch_ranges(lane: Lane) -> list[dict[str, Any]]:
    """Of the launch model."""
    return _ranges("launch", lane.setup.launch, (lane.case, lane.setup.launched))


def drag_ranges(lane: Lane, airspeeds: tuple[float, float]) -> list[dict[str, Any]]:
    """Of the drag model, for the least and the greatest airspeed flown, m/s; NaN: none was."""
    air, drag = lane.setup.air, lane.setup.drag
    assert drag is not None
    flow = Flow(np.array(airspeeds)[:, None], air.density, air.viscosity, air.speed_of_sound)
    return _ranges("drag", drag, (flow, lane.setup.arrow))


def any_left(*ranges: Sequence[dict[str, Any]]) -> bool:
    """Whether one of the ranges was left."""
    return any(item["left"] for several in ranges for item in several)


def _ranges(
    kind: Literal["drag", "launch"], model: Model, given: tuple[Any, Any]
) -> list[dict[str, Any]]:
    found = []
    for limit in guarded_limits(model):
        values = QUANTITIES[kind][limit.quantity].of(*given)
        least, greatest = None, None
        if values is not None and np.all(np.isfinite(values)):
            least, greatest = float(np.min(values)), float(np.max(values))
        ends = {"low": float(limit.low), "high": float(limit.high)}
        found.append(
            {
                "quantity": limit.quantity,
                "unit": _SI.get(limit.quantity, ""),
                **{name: end for name, end in ends.items() if math.isfinite(end)},
                "outside": limit.outside,
                "reason": limit.reason,
                "least": None if least is None else significant(least),
                "greatest": None if greatest is None else significant(greatest),
                "left": None
                if least is None or greatest is None
                else least < limit.low or greatest > limit.high,
            }
        )
    return found
