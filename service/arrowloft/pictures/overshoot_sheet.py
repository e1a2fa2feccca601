"""The sheet of an overshoot's picture: the scene in the reader's units, and where it stands."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from arrowloft import units
from arrowloft.core.arrays import Array
from arrowloft.core.overshoot.scene import Scene
from arrowloft.pictures.over_distance import wind_in_words
from arrowloft.pictures.quantities import Quantities

WIDE, TALLEST = 9.0, 10.0
"""Width of the panels, and most of their heights together, inches."""

_LEAST_PLAN, _LEAST_SIDE, _LEAST_CLOSER = 1.6, 1.3, 1.1
"""Least height of a panel, inches: its labels need room."""

_PAD, _CLOSER_PAD = 0.04, 0.12
"""Room around what is drawn, as a share of the width."""

_NARROW, _WORTH = 0.25, 1.8
"""The group's area is shown closer where it is narrower than so many inches on the sheet, and
where that makes it so many times as large."""


@dataclass(frozen=True)
class Frame:
    """A panel from above: along and aside, in the reader's unit, and inches to one unit."""

    x: tuple[float, float]
    aside: tuple[float, float]
    inches: float


@dataclass(frozen=True)
class Sheet:
    """Where everything stands, in the reader's unit of distance.

    plan: the view from above; the one from the side has the same x and the same scale.
    side: lowest and highest of that, over the archer's ground.
    closer: from the target to the end of the group's area, where that is too small else.
    """

    scene: Scene
    chosen: Mapping[str, str]
    plan: Frame
    side: tuple[float, float]
    closer: Frame | None

    @classmethod
    def of(cls, scene: Scene, chosen: Mapping[str, str]) -> "Sheet":
        """The sheet as wide as it may be, or as tall."""
        x = _along(scene)
        aside, over = _aside(scene), _over(scene, x)
        span, pad = x[1] - x[0], _PAD * (x[1] - x[0])
        plan = _at_least(aside[0] - pad, aside[1] + pad, _LEAST_PLAN * span / WIDE)
        side = _at_least(over[0] - 0.4 * pad, over[1] + pad, _LEAST_SIDE * span / WIDE)
        tall = plan[1] - plan[0] + side[1] - side[0]
        inches = min(WIDE / span, TALLEST / tall)
        unit = units.from_si(1.0, "distance", chosen["distance"])
        x, plan, side = ((low * unit, high * unit) for low, high in (x, plan, side))
        above = Frame(x, plan, inches / unit)
        return cls(scene, chosen, above, side, _closer(scene, above, unit))

    @property
    def unit(self) -> str:
        """The reader's unit of distance."""
        return self.chosen["distance"]

    def read(self, metres: Any) -> Any:
        """SI in the reader's unit of distance."""
        return units.from_si(np.asarray(metres, dtype=float), "distance", self.unit)

    def way(self, metres: float) -> str:
        """A distance in words, to three digits or to one unit."""
        return f"{_digits(float(self.read(metres)))} {self.unit}"

    def span(self, low: float, high: float) -> str:
        """Two distances in words."""
        return f"{_digits(float(self.read(low)))} to {self.way(high)}"

    def angle(self, radians: float) -> str:
        """An angle in words, to three digits."""
        unit = self.chosen["angle"]
        value = _digits(units.from_si(radians, "angle", unit))
        return f"{value}°" if unit == "deg" else f"{value} {unit}"

    def amount(self, si: float, dimension: str) -> str:
        """A quantity in words, to three digits."""
        unit = self.chosen[dimension]
        return f"{_digits(units.from_si(si, dimension, unit))} {unit}"

    def wind(self) -> str:
        """The wind in words."""
        if not self.scene.wind_speed:
            return "in still air"
        figures = Quantities(self.chosen)
        return f"in {wind_in_words(figures, self.scene.wind_speed, self.scene.wind_from)}"

    def ground(self) -> tuple[Array, Array]:
        """The ground's corners along the panel, and its height over the archer's."""
        scale = float(self.read(1.0))
        way, height = _ground(self.scene, (self.plan.x[0] / scale, self.plan.x[1] / scale))
        return way * scale, height * scale


def _digits(value: float) -> str:
    """To three digits, or to one unit where that is more; without a zero at the end."""
    return f"{value:.0f}" if abs(value) >= 100.0 else f"{value:.3g}"


def _closer(scene: Scene, plan: Frame, unit: float) -> Frame | None:
    """The view of the group's area, where the plan shows too little of it."""
    area = scene.group
    if area is None or (area.rightmost - area.leftmost) * unit * plan.inches > _NARROW:
        return None
    way = (area.farthest - scene.target.distance) * unit
    pad = _CLOSER_PAD * way
    x = (scene.target.distance * unit - pad, area.farthest * unit + pad)
    inches = WIDE / (x[1] - x[0])
    if inches < _WORTH * plan.inches:
        return None
    half = max(-area.leftmost, area.rightmost, scene.target.half_width) * unit + 0.2 / inches
    aside = _at_least(-half, half, _LEAST_CLOSER / inches)
    return Frame(x, aside, inches)


def _along(scene: Scene) -> tuple[float, float]:
    ways = np.concatenate([arc.distance for arc in scene.arcs])
    areas = [area.farthest for area in (scene.group, scene.gross) if area is not None]
    quoted = [way for _, way in scene.quoted]
    far = float(max(scene.farthest.upper, scene.target.distance, ways.max(), *quoted, *areas))
    return min(0.0, float(ways.min())) - 0.015 * far, 1.015 * far


def _aside(scene: Scene) -> tuple[float, float]:
    half = scene.target.half_width
    rights = [arc.right for arc in scene.arcs] + [np.array((-half, half))]
    rights += [area.right for area in (scene.group, scene.gross) if area is not None]
    together = np.concatenate(rights)
    return float(together.min()), float(together.max())


def _over(scene: Scene, x: tuple[float, float]) -> tuple[float, float]:
    """Lowest of the ground, and highest of ground and arcs, over the archer's ground."""
    ground = _ground(scene, x)[1]
    highest = max(float(arc.height.max()) for arc in scene.arcs) + scene.eye_height
    return float(ground.min()), max(highest, float(ground.max()))


def _ground(scene: Scene, x: tuple[float, float]) -> tuple[Array, Array]:
    terrain = scene.terrain
    way = np.concatenate(([x[0]], terrain.x[(terrain.x > x[0]) & (terrain.x < x[1])], [x[1]]))
    return way, terrain.height(way) + scene.eye_height


def _at_least(low: float, high: float, span: float) -> tuple[float, float]:
    """The two, moved apart until they are a span apart, each as far as the other."""
    more = max(0.0, span - (high - low))
    return low - 0.5 * more, high + 0.5 * more
