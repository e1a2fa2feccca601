"""The panels of a picture of the wind's effect: a curve a wind, over distance."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.sight.wind_scene import WindScene
from arrowloft.pictures import wind_words as words
from arrowloft.pictures.ends import MARKERS, End, Style, draw_ends, line_style, named, needed
from arrowloft.pictures.marks_panels import vertical
from arrowloft.pictures.over_distance import marked_rows, parts, thin, x_ends, x_name, zero_line
from arrowloft.pictures.quantities import Quantities, folded
from arrowloft.pictures.stacked import NAMES, rule

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LEAST = {"drift": 3.0, "up": 2.1}
"""Least heights of the panels, inches."""


@dataclass(frozen=True)
class Fan:
    """Shifts of the impact one way over distance, a curve a wind.

    values: (winds, points), m.  named: positions of the winds that have a label, one of those
    that do nothing among them.
    """

    scene: WindScene
    figures: Quantities
    way: Literal["drift", "up"]
    values: Array
    named: tuple[int, ...]
    y: tuple[float, float]
    ends: tuple[End, ...]

    @classmethod
    def of(cls, scene: WindScene, figures: Quantities, way: Literal["drift", "up"]) -> "Fan":
        """The panel of one way."""
        values = scene.drift if way == "drift" else scene.up
        idle = words.idle(values)
        told = np.array(words.end_values(values))
        told[idle] = np.nan
        some = tuple(named(told.tolist()))
        ends = [_end(scene, figures, wind, values, way) for wind in some]
        if idle:
            ends.append(_idle_end(scene, figures, idle, way))
        y = vertical(figures, [values, np.zeros(1)])
        return cls(scene, figures, way, values, (*some, *idle[:1]), y, tuple(ends))

    @property
    def height(self) -> float:
        """Of the panel, inches."""
        return max(_LEAST[self.way], needed(self.ends))

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        figures, scene = self.figures, self.scene
        side = "drift, right" if self.way == "drift" else "height, up"
        names = (x_name(figures), f"{side} ({figures.chosen['length']})")
        rule(axes, x_ends(figures, scene.distance), self.y, names, parts(size))
        zero_line(axes, f"{self.way}-zero")
        x, y = figures.read(scene.distance, "distance"), figures.read(self.values, "length")
        others = [y[wind] for wind in range(len(y)) if wind not in self.named]
        thin(axes, x, others, f"{self.way}-others")
        asked = np.searchsorted(scene.distance, scene.asked[marked_rows(figures, scene.asked)])
        for wind in self.named:
            style, marker = style_of(scene, wind)
            axes.plot(x, y[wind], zorder=3, gid=f"{self.way}-{wind}", **style)
            axes.plot(
                *(x[asked], y[wind][asked], marker),
                color=style["color"],
                markersize=3.8,
                zorder=3.5,
                gid=f"{self.way}-{wind}-rows",
            )
        draw_ends(axes, size, self.ends, f"{self.way}-label")


def style_of(scene: WindScene, wind: int) -> tuple[Style, str]:
    """Line and marks of a wind: lines tell directions, marks speeds.

    With one speed both tell the direction, with one direction both tell the speed.
    """
    speeds = _first_seen(scene.speed)
    directions = _first_seen(scene.comes_from)
    speed, direction = speeds[wind], directions[wind]
    line = direction if max(directions) else speed
    mark = speed if max(speeds) else direction
    return line_style(line), MARKERS[mark % len(MARKERS)]


def _first_seen(values: Array) -> list[int]:
    """A number for each value: 0 for that which comes first, and so on."""
    order = {value: place for place, value in enumerate(dict.fromkeys(values.tolist()))}
    return [order[value] for value in values.tolist()]


def _end(scene: WindScene, figures: Quantities, wind: int, values: Array, way: str) -> End:
    """A wind's name, where its curve ends."""
    at = words.last(values[wind])
    assert at is not None  # a curve without points is not named
    style, marker = style_of(scene, wind)
    said = [words.ending(scene, figures, wind, values)]
    clicks = words.clicks_text(scene, wind) if way == "drift" else ""
    said += [clicks] if clicks else []
    return End(
        float(figures.read(scene.distance[at], "distance")),
        float(figures.read(values[wind, at], "length")),
        folded(words.wind_name(scene, figures, wind), NAMES),
        folded(", ".join(said), NAMES),
        style,
        marker,
    )


def _idle_end(scene: WindScene, figures: Quantities, idle: list[int], way: str) -> End:
    """One name for all winds that do nothing this way."""
    style, marker = style_of(scene, idle[0])
    far = float(figures.read(scene.distance[-1], "distance"))
    name = words.idle_name(scene, figures, idle)
    said = "no drift" if way == "drift" else "no change of height"
    return End(far, 0.0, folded(name, NAMES), (said,), style, marker)
