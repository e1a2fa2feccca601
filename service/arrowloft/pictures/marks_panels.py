"""The panels of a picture of sight marks: travel over distance, and its doubt as a height."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.sight.marks_scene import MarksScene
from arrowloft.pictures import marks_words as words
from arrowloft.pictures.ends import End, Style, draw_ends, line_style, needed
from arrowloft.pictures.frame import INK
from arrowloft.pictures.over_distance import (
    band,
    end_marked,
    marked_rows,
    named_rows,
    parts,
    x_ends,
    x_name,
    zero_line,
)
from arrowloft.pictures.quantities import Quantities, at_least, folded, padded
from arrowloft.pictures.stacked import NAMES, rule

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARKED: Style = {"color": line_style(0)["color"], "linestyle": "solid", "linewidth": 1.6}
POINT: Style = {**MARKED, "linestyle": "none"}
_ZERO: Style = {"color": INK, "linestyle": "none", "linewidth": 1.0}
_CLICK = line_style(1)

_LEAST, _LEAST_HEIGHTS = 3.0, 1.7
"""Least heights of the panels, inches."""

_FLAT = 1e-4
"""Least span of the vertical axis, m."""

_PADDING = 0.06


def vertical(figures: Quantities, values: Sequence[Array]) -> tuple[float, float]:
    """Ends of a vertical axis of lengths that holds all of these, m, and 0."""
    every = np.concatenate([np.ravel(value) for value in values])
    every = every[np.isfinite(every)]
    low, high = at_least(min(0.0, float(every.min())), max(0.0, float(every.max())), _FLAT)
    return padded(float(figures.read(low, "length")), float(figures.read(high, "length")), _PADDING)


@dataclass(frozen=True)
class Travels:
    """Travel over distance, with its band; the zero and some marks named at the right."""

    scene: MarksScene
    figures: Quantities
    y: tuple[float, float]
    ends: tuple[End, ...]

    @classmethod
    def of(cls, scene: MarksScene, figures: Quantities) -> "Travels":
        """The panel."""
        curve = scene.curve
        doubt = curve.travel_uncertainty
        y = vertical(figures, (curve.travel - doubt, curve.travel + doubt))
        ends = [zero_end(figures, scene.sight.zero_distance), *_named(scene, figures)]
        return cls(scene, figures, y, tuple(ends))

    @property
    def height(self) -> float:
        """Of the panel, inches."""
        return max(_LEAST, needed(self.ends))

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        figures, curve, table = self.figures, self.scene.curve, self.scene.table
        unit = figures.chosen["length"]
        names = (x_name(figures), f"travel from the zero, down ({unit})")
        rule(axes, x_ends(figures, curve.distance), self.y, names, parts(size))
        zero_line(axes, "zero-line")
        x, y = figures.read(curve.distance, "distance"), figures.read(curve.travel, "length")
        if curve.travel_uncertainty.any():
            low, high = (
                figures.read(curve.travel + sign * curve.travel_uncertainty, "length")
                for sign in (-1.0, 1.0)
            )
            band(axes, x, low, high, "travel-band")
        axes.plot(x, y, zorder=3, gid="travel", **MARKED)
        asked = np.unique(table.distance)
        points(
            axes,
            figures,
            asked[marked_rows(figures, asked)],
            curve.distance,
            curve.travel,
            "travel-rows",
        )
        zero = float(figures.read(self.scene.sight.zero_distance, "distance"))
        zero_mark(axes, zero)
        if self.scene.sight.pins:
            self._pins(axes, np.array(self.scene.sight.pins))
        draw_ends(axes, size, self.ends, "travel-label")

    def _pins(self, axes: "Axes", pins: Array) -> None:
        curve = self.scene.curve
        axes.plot(
            self.figures.read(pins, "distance"),
            self.figures.read(np.interp(pins, curve.distance, curve.travel), "length"),
            "D",
            markersize=8.5,
            markerfacecolor="none",
            markeredgecolor=INK,
            markeredgewidth=0.9,
            zorder=4,
            gid="pins",
        )


def points(
    axes: "Axes", figures: Quantities, at: Array, distance: Array, travel: Array, name: str
) -> None:
    """Dots on a curve at some of its distances. name: their id."""
    x, y = figures.read(at, "distance"), np.interp(at, distance, travel)
    axes.plot(
        *(x, figures.read(y, "length"), "o"),
        color=MARKED["color"],
        markersize=3.6,
        zorder=3.5,
        gid=name,
    )


def zero_mark(axes: "Axes", at: float) -> None:
    """A square at the zero; at: its distance in the reader's unit."""
    axes.plot([at], [0.0], "s", color=INK, markersize=5.5, zorder=3.4, gid="zero-mark")


def zero_end(figures: Quantities, zero: float) -> End:
    """The zero's name."""
    at = figures.text(zero, "distance")
    x = float(figures.read(zero, "distance"))
    return End(x, 0.0, (f"{at}: the zero",), (), _ZERO, "s")


def _named(scene: MarksScene, figures: Quantities) -> list[End]:
    """Names of some marks, but for that of the zero."""
    table = scene.table
    distance, first = np.unique(table.distance, return_index=True)
    other = np.abs(distance - scene.sight.zero_distance) > 1e-9
    if not other.any():
        return []
    rows = first[other][named_rows(figures, distance[other])]
    return [
        mark_end(
            figures,
            float(table.distance[row]),
            float(table.travel[row]),
            float(table.travel_uncertainty[row]),
            words.setting_words(words.setting_of(table), int(row)),
        )
        for row in rows
    ]


def mark_end(
    figures: Quantities, distance: float, travel: float, doubt: float, setting: str
) -> End:
    """A mark's name."""
    mark, more = words.mark_words(figures, distance, travel, doubt, setting)
    x, y = float(figures.read(distance, "distance")), float(figures.read(travel, "length"))
    return End(x, y, (mark,), folded(more, NAMES) if more else (), POINT, "o")


@dataclass(frozen=True)
class Heights:
    """The uncertainty as height at the target over distance, and what half a click is there."""

    scene: MarksScene
    figures: Quantities
    click: Array | None
    y: tuple[float, float]
    ends: tuple[End, ...]

    @classmethod
    def of(cls, scene: MarksScene, figures: Quantities) -> "Heights | None":
        """The panel; None where there is nothing to draw."""
        curve, thread = scene.curve, scene.sight.elevation
        click = None
        if thread is not None and thread.clicks_per_turn is not None:
            half = 0.5 * float(thread.travel_of(1.0)) / scene.sight.radius
            click = half * curve.rise_per_tangent
        if click is None and not curve.height_uncertainty.any():
            return None
        far = float(figures.read(curve.distance[-1], "distance"))
        at = figures.text(float(curve.distance[-1]), "distance")
        ends, drawn = [], []
        if curve.height_uncertainty.any():
            drawn.append(curve.height_uncertainty)
            text = figures.text(float(curve.height_uncertainty[-1]), "length")
            name = ("standard uncertainty of the height",)
            end = float(figures.read(curve.height_uncertainty[-1], "length"))
            ends.append(End(far, end, name, (f"{text} at {at}",), MARKED))
        if click is not None:
            drawn.append(click)
            end = float(figures.read(click[-1], "length"))
            said = (f"{figures.text(float(click[-1]), 'length')} at {at}",)
            ends.append(
                End(far, end, ("half a click, the most that rounding costs",), said, _CLICK)
            )
        return cls(scene, figures, click, vertical(figures, drawn), tuple(ends))

    @property
    def height(self) -> float:
        """Of the panel, inches."""
        return max(_LEAST_HEIGHTS, needed(self.ends))

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        figures, curve = self.figures, self.scene.curve
        names = (x_name(figures), f"height at the target\n({figures.chosen['length']})")
        rule(axes, x_ends(figures, curve.distance), self.y, names, parts(size))
        zero_line(axes, "height-zero")
        x = figures.read(curve.distance, "distance")
        if curve.height_uncertainty.any():
            y = figures.read(curve.height_uncertainty, "length")
            band(axes, x, np.zeros(x.size), y, "height-band")
            axes.plot(x, y, zorder=3, gid="height-doubt", **end_marked(x, MARKED, "o"))
        if self.click is not None:
            y = figures.read(self.click, "length")
            axes.plot(x, y, zorder=3, gid="half-click", **end_marked(x, _CLICK, "s"))
        draw_ends(axes, size, self.ends, "height-label")
