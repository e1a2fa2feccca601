"""The unknowns of one candidate: which numbers the fit finds, from where, and between what."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf, isfinite
from typing import Any, Literal

import numpy as np

from arrowloft.api.fitting.measured import Measured, first_speed
from arrowloft.api.fitting.model_member import Fitted
from arrowloft.api.parameters import AnyModel
from arrowloft.api.shared import SPEEDS
from arrowloft.core.fitting.whitened import Unknowns

_LEAST_SCALE = 1e-4
"""Least scale of a parameter as a share of what its bounds allow."""

_OF_SERIES: Mapping[str, tuple[str, float, float, float]] = {
    "launch_speed": ("speed", *SPEEDS, 50.0),
    "launch_angle": ("angle", -0.8, 0.8, 0.05),
    "yaw": ("angle", -0.8, 0.8, 0.05),
    "clock": ("time", -inf, inf, 0.1),
}
"""Unknown of a series -> its dimension, bounds and scale in SI."""


@dataclass(frozen=True, kw_only=True)
class Unknown:
    """One number that the fit finds, SI.

    of: what it belongs to.  name: of the parameter or member.  element: its place in a
    list.  series: those that it counts for.
    """

    of: Literal["drag", "launch", "series"]
    name: str
    dimension: str
    start: float
    low: float
    high: float
    scale: float
    element: int | None = None
    series: tuple[int, ...] = ()

    @property
    def words(self) -> str:
        """What it is called in a sentence."""
        element = "" if self.element is None else f"[{self.element}]"
        if self.of == "series":
            several = ", ".join(str(index) for index in self.series)
            return f"`{self.name}` of series {several}"
        return f"`{self.of}.{self.name}{element}`"


def unknowns_of(
    drag: tuple[AnyModel, Fitted],
    launch: tuple[AnyModel, Fitted] | None,
    series: Sequence[Measured],
) -> list[Unknown]:
    """All unknowns of a candidate: those of drag and launch, then those of the series."""
    found = list(_of_model(*drag))
    if launch is not None:
        found += _of_model(*launch)
    else:
        found += _common_speeds(series)
    for index, item in enumerate(series):
        for name in item.free:
            found.append(_of_series(name, item, index))
    return found


def together(unknowns: Sequence[Unknown]) -> Unknowns:
    """The unknowns as the core takes them."""
    return Unknowns(
        **{
            name: np.array([getattr(item, name) for item in unknowns], dtype=float)
            for name in ("start", "low", "high", "scale")
        }
    )


def _of_model(model: AnyModel, fitted: Fitted) -> Iterator[Unknown]:
    declared = model.parameters()
    for name in declared:
        if name not in fitted.free:
            continue
        item, value = declared[name], fitted.parameters[name]
        low = -inf if item.low is None else float(item.low)
        high = inf if item.high is None else float(item.high)
        for element, start in enumerate(value) if item.array else ((None, value),):
            if not fitted.finds(name, element):
                continue
            span = high - low
            least = _LEAST_SCALE * span if isfinite(span) else 0.0
            yield Unknown(
                of=model.kind,
                name=name,
                dimension=item.dimension,
                start=float(start),
                low=low,
                high=high,
                scale=max(abs(float(start)), least) or 1.0,
                element=element,
            )


def _common_speeds(series: Sequence[Measured]) -> Iterator[Unknown]:
    """One launch speed for each arrow, common to all series that give none of their own."""
    shared: dict[Any, list[int]] = {}
    for index, item in enumerate(series):
        if "launch_speed" not in item.asked and "launch_speed" not in item.free:
            shared.setdefault(item.arrow, []).append(index)
    dimension, low, high, scale = _OF_SERIES["launch_speed"]
    for several in shared.values():
        yield Unknown(
            of="series",
            name="launch_speed",
            dimension=dimension,
            start=first_speed([series[index].series for index in several]),
            low=low,
            high=high,
            scale=scale,
            series=tuple(several),
        )


def _of_series(name: str, item: Measured, index: int) -> Unknown:
    dimension, low, high, scale = _OF_SERIES[name]
    usual = first_speed([item.series]) if name == "launch_speed" else 0.0
    return Unknown(
        of="series",
        name=name,
        dimension=dimension,
        start=item.asked.get(name, usual),
        low=low,
        high=high,
        scale=scale,
        series=(index,),
    )
