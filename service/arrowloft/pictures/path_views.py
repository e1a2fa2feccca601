"""The views of a path: from the side and from above, each with a vertical scale of its own."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.scene import Flown
from arrowloft.core.path.scene import Passed, Scene
from arrowloft.pictures import path_words as words
from arrowloft.pictures.axis import numbers, sides
from arrowloft.pictures.ends import End, Style, draw_ends, needed
from arrowloft.pictures.path_numbers import ROW, Number
from arrowloft.pictures.path_numbers import numbers as numbers_of
from arrowloft.pictures.path_painting import (
    CLEAR,
    GROUND,
    LANE,
    PATH,
    SIGHT,
    TOUCHED,
    numbered,
    obstacle,
    paint,
)
from arrowloft.pictures.quantities import Quantities, at_least, folded, padded
from arrowloft.pictures.stacked import NAMES, PLOT, rule

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LEAST = {"side": 3.0, "above": 1.9, "ground": 2.2}
"""Least height of a view, inches."""

_NEAR = 0.5
"""Edges so far from all arrows are in view at least, m."""

_FLAT = 0.02
"""Least height or width that a view spans, m."""

_BORDERS: dict[str, tuple[str, str]] = {"up": ("bottom", "top"), "right": ("left", "right")}
_ACROSS: dict[str, tuple[str, str]] = {"up": ("left", "right"), "right": ("bottom", "top")}
"""Edges of an obstacle that a view shows, and those across it."""

Kind = Literal["side", "above", "ground"]


@dataclass(frozen=True)
class View:
    """One view.  scene: None where there is nothing but a flight."""

    kind: Kind
    flown: Flown
    figures: Quantities
    scene: Scene | None = None

    @property
    def way(self) -> Literal["up", "right"]:
        """What is drawn upward on the sheet; right is drawn downward."""
        return "right" if self.kind == "above" else "up"

    @property
    def borders(self) -> tuple[str, str]:
        """Names of the edges that it shows, the lower or left one first."""
        return _BORDERS[self.way]

    @property
    def passed(self) -> Sequence[Passed]:
        """The obstacles."""
        return () if self.scene is None else self.scene.passed

    @cached_property
    def ends_of_path(self) -> tuple[float, float]:
        """Least and greatest of what the arrows take up, and of the line of sight, m."""
        first, last = self.borders
        values: list[Array] = [getattr(self.flown, self.way), np.zeros(1)]
        if self.scene is not None:
            for edges in (self.scene.band, self.scene.lane):
                if edges is not None:
                    values += [getattr(edges, first), getattr(edges, last)]
        every = np.concatenate(values)
        return float(every.min()), float(every.max())

    @cached_property
    def limits(self) -> tuple[float, float]:
        """Ends of the view, m."""
        low, high = self.ends_of_path
        if self.kind == "ground" and self.scene is not None and self.scene.ground is not None:
            low, high = min(low, self.scene.ground[1].min()), max(high, self.scene.ground[1].max())
        near = max(high - low, _NEAR)
        seen = [low, high]
        for one in self.passed:
            for side in self.borders:
                edge = float(getattr(one, side))
                if low - near <= edge <= high + near:
                    seen.append(edge)
        face = None if self.scene is None or self.way == "right" else self.scene.face
        if face is not None and (face <= near or self.kind == "ground"):
            seen += [-face, face]
        return padded(*at_least(min(seen), max(seen), _FLAT), 0.06)

    @property
    def x(self) -> tuple[float, float]:
        """Ends of the horizontal axis, m."""
        far = max(float(self.flown.distance.max()), self.flown.target or 0.0)
        return padded(min(0.0, float(self.flown.distance.min())), far, 0.02)

    @property
    def dimension(self) -> str:
        """Whose unit the vertical axis has."""
        return words.dimension(self.limits[1] - self.limits[0])

    @cached_property
    def height(self) -> float:
        """Of the panel, inches."""
        return max(_LEAST[self.kind], needed(self.ends))

    @cached_property
    def numbers(self) -> list[Number]:
        """The obstacles' numbers, in a strip over the panel."""
        (start, end), scale = self.x, PLOT / (self.x[1] - self.x[0])
        places = [(min(max(one.distance, start), end) - start) * scale for one in self.passed]
        return numbers_of(places, PLOT) if places else []

    @property
    def strip(self) -> float:
        """Inches that the numbers take."""
        return ROW * (2 + max(one.row for one in self.numbers)) if self.numbers else 0.0

    @property
    def per_inch(self) -> tuple[float, float]:
        """Metres to an inch of the sheet, along and upward."""
        along = (self.x[1] - self.x[0]) / PLOT
        return along, (self.limits[1] - self.limits[0]) / self.height

    @property
    def title(self) -> str:
        """What stands over it."""
        times = self.per_inch[0] / self.per_inch[1]
        if self.kind == "above":
            return f"From above: {words.scale(times, 'ways aside')}"
        over = ", over the ground" if self.kind == "ground" else ""
        return f"From the side{over}: {words.scale(times, 'heights')}"

    @property
    def shows_all_ground(self) -> bool:
        """Whether no ground lies outside it."""
        if self.scene is None or self.scene.ground is None:
            return True
        over = self.scene.ground[1]
        return bool(self.limits[0] < over.min() and over.max() < self.limits[1])

    def in_way(self, one: Passed) -> bool:
        """Whether the arrows pass an obstacle's own height or width, across this view."""
        first, last = _ACROSS[self.way]
        low, high = float(getattr(one.taken, first)[0]), float(getattr(one.taken, last)[0])
        return bool(getattr(one, first) <= high and getattr(one, last) >= low)

    def outside(self, one: Passed) -> bool:
        """Whether nothing of an obstacle lies in the view."""
        low, high = (float(getattr(one, side)) for side in self.borders)
        return low >= self.limits[1] or high <= self.limits[0]

    def goes_on(self, one: Passed) -> bool:
        """Whether an obstacle in view goes on beyond it."""
        low, high = (float(getattr(one, side)) for side in self.borders)
        return not self.outside(one) and (low < self.limits[0] or high > self.limits[1])

    @cached_property
    def ends(self) -> tuple[End, ...]:
        """Names of what is drawn, in the panel's units."""
        return tuple(_ends(self))

    def read(self, si: Any) -> Any:
        """Heights or ways aside in the reader's unit."""
        return self.figures.read(si, self.dimension)

    def along(self, si: Any) -> Any:
        """Distances in the reader's unit."""
        return self.figures.read(si, "distance")

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        low, high = self.limits
        aside = self.way == "right"  # which is down, as for one who looks along the range
        y = (high, low) if aside else (low, high)
        unit = self.figures.chosen[self.dimension]
        names = (
            f"distance along the line of sight ({self.figures.chosen['distance']})",
            f"{'beside' if aside else 'over'} the line of sight ({unit})",
        )
        x = (float(self.along(self.x[0])), float(self.along(self.x[1])))
        up = (float(self.read(y[0])), float(self.read(y[1])))
        parts = 3.0 if aside else min(max(1.3 * size[1], 2.5), 5.0)
        rule(axes, x, up, names, parts, sides if aside else numbers)
        paint(axes, self)
        for index, one in enumerate(self.passed):
            obstacle(axes, self, index, one)
        for number in self.numbers:
            numbered(axes, self, number)
        draw_ends(axes, size, self.ends, f"{self.kind}-label")


def _ends(view: View) -> list[End]:
    scene = view.scene
    far = float(view.along(view.x[1]))
    if view.kind == "ground" and scene is not None and scene.ground is not None:
        return [_end(view, far, float(scene.ground[1][-1]), "the ground", "", GROUND)]
    found = _of_flight(view, far)
    if scene is None:
        return found
    if scene.lane is not None:
        end = float(view.along(view.flown.distance[-1]))
        edge = float(getattr(scene.lane, view.borders[1])[-1])
        found.append(_end(view, end, edge, words.lane(scene), "", LANE))
    if scene.ground is not None and view.kind == "side" and view.shows_all_ground:
        found.append(_end(view, far, float(scene.ground[1][-1]), "the ground", "", GROUND))
    return found + _of_obstacles(view)


def _end(
    view: View, x: float, y: float, title: str, said: str, style: Style, marker: str = ""
) -> End:
    """A name led to a place; x: in the panel's units.  y: m, brought into view."""
    up = float(view.read(np.clip(y, *view.limits)))
    lines = folded(said, NAMES) if said else ()
    return End(x, up, folded(title, NAMES), lines, style, marker)


def _of_flight(view: View, far: float) -> list[End]:
    flown, figures = view.flown, view.figures
    end, last = float(view.along(flown.distance[-1])), float(getattr(flown, view.way)[-1])
    said = (words.drift if view.kind == "above" else words.arrival)(flown, figures)
    found = [
        _end(view, far, 0.0, "line of sight", "", SIGHT),
        _end(view, end, last, "the arrow", said, PATH),
    ]
    if view.kind == "side":
        at, told = float(view.along(flown.apex_distance)), words.apex(flown, figures)
        found.append(_end(view, at, flown.apex_height, words.highest(flown), told, PATH, "^"))
    return found


def _of_obstacles(view: View) -> list[End]:
    found = []
    for index, one in enumerate(view.passed):
        edges = [float(getattr(one, side)) for side in view.borders]
        edges = [edge for edge in edges if np.isfinite(edge)]
        if view.kind == "above" and not edges:
            continue
        passes = one.up if view.way == "up" else one.aside
        at = _nearest(edges, passes)
        style, marker = (CLEAR, "s") if one.margin > 0.0 else (TOUCHED, "X")
        said = (words.passed if view.way == "up" else words.margin)(one, view.figures)
        if view.outside(one):
            said += " (outside this view)"
        x, title = float(view.along(one.distance)), f"{index + 1} {one.name}"
        found.append(_end(view, x, at, title, said, style, marker))
    return found


def _nearest(edges: Sequence[float], passes: float) -> float:
    """The edge nearest to where the arrow passes; that place itself where there is none."""
    return min((abs(edge - passes), edge) for edge in edges)[1] if edges else passes
