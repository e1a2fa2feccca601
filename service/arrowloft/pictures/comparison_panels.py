"""The panels of a comparison's picture: impacts over distance, drag laws over Reynolds number."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.comparing.scene import Curve, Scene
from arrowloft.pictures import comparison_words as words
from arrowloft.pictures.ends import MARKERS, End, Style, draw_ends, line_style, needed
from arrowloft.pictures.frame import INK
from arrowloft.pictures.quantities import Quantities, at_least, folded, padded
from arrowloft.pictures.stacked import NAMES, rule

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_BASE: Style = {"color": INK, "linestyle": "solid", "linewidth": 1.6}
_EDGE: Style = {"color": "#55725f", "linestyle": (0, (1, 2)), "linewidth": 1.0}
_BAND = "#e6efe8"
_THIN: dict[str, Any] = {"colors": "#8f8f8a", "linewidths": 0.4}
_RINGS = {"height": ("o", 8.5), "right": ("s", 7.5), "clicks": ("D", 7.5)}
"""Parting -> shape and size of its mark."""

_BANDS = {"up": "tolerance", "right": "tolerance-right"}
"""Way of the impact -> name of its tolerance's band."""

_MOST_MARKS = 12
"""Marks along a curve."""

_LEAST, _LEAST_LAWS = 3.1, 2.2
"""Least heights of the panels, inches."""

_NEAR = 2.0
"""A tolerance is in view that is at most so many times the greatest difference."""

_FLAT = 1e-3
"""Least height that the panel of impacts spans, m."""

_PADDING = 0.06
"""Room over and under the curves, as a share of their height."""


def _parts(size: tuple[float, float]) -> float:
    """Into how many parts the vertical axis of a panel of this size, inches, is divided."""
    return min(max(1.3 * size[1], 2.5), 4.0)


def _style(scene: Scene, curve: Curve) -> tuple[Style, str]:
    """Line and marks of a lane: its drag model's line, as in the panel of the laws."""
    if len(scene.drags) == 1:
        return line_style(curve.launch), MARKERS[curve.launch % len(MARKERS)]
    of_marker = curve.drag if len(scene.launches) == 1 else curve.launch
    return line_style(curve.drag), MARKERS[of_marker % len(MARKERS)]


@dataclass(frozen=True)
class Impacts:
    """Impacts over distance, less the baseline's, in the reader's units.

    y: ends of the vertical axis.  ends: the names of the lanes, and of the tolerance.
    within: no impact is farther off than the tolerance.
    """

    scene: Scene
    figures: Quantities
    named: Sequence[int]
    way: Literal["up", "right"]
    y: tuple[float, float]
    ends: tuple[End, ...]
    within: bool

    @classmethod
    def of(
        cls, scene: Scene, figures: Quantities, named: Sequence[int], way: Literal["up", "right"]
    ) -> "Impacts":
        """The panel of one way of the impact."""
        every = np.concatenate([getattr(curve, way) for curve in scene.curves])
        every = every[np.isfinite(every)]
        low, high = min(0.0, float(every.min())), max(0.0, float(every.max()))
        tolerance = _tolerance_of(scene, way)
        within = tolerance is not None and max(-low, high) <= tolerance
        if tolerance is not None and tolerance <= _NEAR * max(-low, high, _FLAT):
            low, high = min(low, -tolerance), max(high, tolerance)
        low, high = at_least(low, high, _FLAT)
        y = padded(
            float(figures.read(low, "length")), float(figures.read(high, "length")), _PADDING
        )
        ends = [_end_of(scene, figures, index, way) for index in named]
        sides = ("lower", "higher") if way == "up" else ("left", "right")
        ends += [] if tolerance is None else _edges(tolerance, scene, figures, y, sides)
        return cls(scene, figures, named, way, y, tuple(ends), within)

    @property
    def height(self) -> float:
        """Of the panel, inches."""
        return max(_LEAST if self.way == "up" else _LEAST_LAWS, needed(self.ends))

    @property
    def x(self) -> tuple[float, float]:
        """Ends of the horizontal axis."""
        low, high = (
            float(self.figures.read(self.scene.distance[at], "distance")) for at in (0, -1)
        )
        return padded(low, high, 0.015) if high > low else (0.9 * low, 1.1 * low)

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        chosen = self.figures.chosen
        side = "height above" if self.way == "up" else "right of"
        names = (f"distance ({chosen['distance']})", f"{side} the baseline's ({chosen['length']})")
        rule(axes, self.x, self.y, names, _parts(size))
        tolerance = _tolerance_of(self.scene, self.way)
        if tolerance is not None:
            self._tolerance(axes, float(self.figures.read(tolerance, "length")))
        if len(self.named) < len(self.scene.curves):
            self._others(axes)
        for index in self.named:
            self._lane(axes, index)
        draw_ends(axes, size, self.ends, f"{self.way}-label")

    def _tolerance(self, axes: "Axes", tolerance: float) -> None:
        low, high = max(-tolerance, self.y[0]), min(tolerance, self.y[1])
        axes.axhspan(low, high, facecolor=_BAND, edgecolor="none", zorder=0, gid=_BANDS[self.way])
        for sign in (-1.0, 1.0):
            if self.y[0] < sign * tolerance < self.y[1]:
                axes.axhline(sign * tolerance, zorder=1, **_EDGE)

    def _points(self, curve: Curve) -> tuple[Array, Array]:
        """A curve in the reader's units."""
        way = self.figures.read(curve.distance, "distance")
        return way, self.figures.read(getattr(curve, self.way), "length")

    def _others(self, axes: "Axes") -> None:
        """The lanes that have no name, as thin lines, or dots where there is one distance."""
        from matplotlib.collections import LineCollection

        others = [c for i, c in enumerate(self.scene.curves) if i not in self.named]
        points = [np.column_stack(self._points(curve)) for curve in others]
        if self.scene.distance.size == 1:
            x, y = np.concatenate(points).T
            axes.plot(x, y, "_", color=_THIN["colors"], markersize=9, gid=f"{self.way}-others")
            return
        axes.add_collection(LineCollection(points, gid=f"{self.way}-others", **_THIN))

    def _lane(self, axes: "Axes", index: int) -> None:
        scene, curve = self.scene, self.scene.curves[index]
        style, marker = _style(scene, curve)
        style = _BASE if index == scene.baseline else style
        x, y = self._points(curve)
        name = f"{self.way}-{index}"
        axes.plot(x, y, zorder=3, gid=name, **style)
        if index == scene.baseline and scene.distance.size > 1:
            return
        asked = self.figures.read(scene.distance, "distance")
        step = -(-asked.size // _MOST_MARKS)
        rows = np.isin(x, asked[(index % step) :: step])
        axes.plot(
            *(x[rows], y[rows], marker),
            color=style["color"],
            markersize=3.4,
            zorder=3.5,
            gid=f"{name}-rows",
        )
        self._partings(axes, index, x, y)

    def _partings(self, axes: "Axes", index: int, x: Array, y: Array) -> None:
        curve = self.scene.curves[index]
        for kind, way in curve.parts.items():
            if (kind == "right") != (self.way == "right"):
                continue
            at = float(self.figures.read(way, "distance"))
            height = float(np.interp(at, x, y)) if np.isfinite(at) else float("nan")
            if not np.isfinite(height):
                continue
            shape, size = _RINGS[kind]
            axes.plot(
                *([at], [height], shape),
                markersize=size,
                markerfacecolor="none",
                markeredgecolor=_style(self.scene, curve)[0]["color"],
                markeredgewidth=1.1,
                zorder=4,
                gid=f"parts-{kind}-{index}",
            )


def _end_of(scene: Scene, figures: Quantities, index: int, way: str) -> End:
    """A lane's name, where it ends."""
    curve = scene.curves[index]
    style, marker = _style(scene, curve)
    values = getattr(curve, way)
    at = words.last(curve, values)
    assert at is not None
    name = folded(words.label(scene, curve), NAMES)
    if index == scene.baseline:
        style, marker, said = _BASE, "", folded(f"the baseline{words.trust(curve)}", NAMES)
    else:
        parts = way == "up"
        said = folded(words.ending(scene, curve, values, figures, parts=parts), NAMES)
    return End(
        float(figures.read(curve.distance[at], "distance")),
        float(figures.read(values[at], "length")),
        name,
        said,
        style,
        marker,
    )


def _tolerance_of(scene: Scene, way: str) -> float | None:
    """The tolerance of one way of the impact, m, where there is something to hold against it."""
    tolerance = scene.height if way == "up" else scene.aside
    return tolerance if len(scene.curves) > 1 else None


def _edges(
    tolerance: float,
    scene: Scene,
    figures: Quantities,
    y: tuple[float, float],
    sides: tuple[str, str],
) -> list[End]:
    """Names of the tolerance's edges, where they are in the panel."""
    far = float(figures.read(scene.distance[-1], "distance"))
    edge = float(figures.read(tolerance, "length"))
    text = figures.text(tolerance, "length")
    return [
        End(far, sign * edge, (f"tolerance, {text} {side}",), (), _EDGE)
        for sign, side in zip((-1.0, 1.0), sides, strict=True)
        if y[0] < sign * edge < y[1]
    ]


@dataclass(frozen=True)
class Laws:
    """Drag coefficients over Reynolds number.

    x: ends of the horizontal axis, thousands.  y: of the vertical one.
    """

    scene: Scene
    named: Sequence[int]
    x: tuple[float, float]
    y: tuple[float, float]
    ends: tuple[End, ...]

    @classmethod
    def of(cls, scene: Scene, named: Sequence[int]) -> "Laws":
        """The panel; named: positions of the laws that have a name."""
        laws = scene.laws
        x = np.concatenate([law.reynolds for law in laws]) / 1e3
        flown = np.concatenate([law.coefficient[words.flown(law)] for law in laws])
        every = np.concatenate([law.coefficient for law in laws])
        if not flown.size:
            flown = every[np.isfinite(every)]
        low, high = float(flown.min()), float(flown.max())
        low, high = at_least(low, high, max(0.01 * high, 0.01))
        # What is not flown may lie far off: it does not squeeze what is.
        room = padded(low, high, 0.35)
        seen = every[(every >= room[0]) & (every <= room[1])]
        y = padded(min(low, float(seen.min())), max(high, float(seen.max())), _PADDING)
        ends = tuple(_end_of_law(scene, index, y) for index in named)
        return cls(scene, named, (float(x.min()), float(x.max())), y, ends)

    @property
    def height(self) -> float:
        """Of the panel, inches."""
        return max(_LEAST_LAWS, needed(self.ends))

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        names = ("Reynolds number on the shaft's diameter (thousands)", "drag coefficient Cd")
        rule(axes, self.x, self.y, names, _parts(size))
        if len(self.named) < len(self.scene.laws):
            self._others(axes)
        for index in self.named:
            law, style = self.scene.laws[index], _law_style(self.scene, index)
            x = law.reynolds / 1e3
            thin = {**style, "linewidth": 0.7}
            axes.plot(x, law.coefficient, zorder=2, gid=f"law-{index}", **thin)
            bold = {**style, "linewidth": 2.4}
            some = np.where(words.flown(law), law.coefficient, np.nan)
            axes.plot(x, some, zorder=3, gid=f"law-{index}-flown", **bold)
        draw_ends(axes, size, self.ends, "law-label")

    def _others(self, axes: "Axes") -> None:
        from matplotlib.collections import LineCollection

        others = [law for i, law in enumerate(self.scene.laws) if i not in self.named]
        points = [np.column_stack((law.reynolds / 1e3, law.coefficient)) for law in others]
        axes.add_collection(LineCollection(points, gid="law-others", **_THIN))


def _law_style(scene: Scene, index: int) -> Style:
    base = scene.curves[scene.baseline]
    if len(scene.drags) == 1 or (len(scene.launches) == 1 and base.drag == index):
        return _BASE
    return line_style(index)


def _end_of_law(scene: Scene, index: int, y: tuple[float, float]) -> End:
    law = scene.laws[index]
    at = int(np.flatnonzero(np.isfinite(law.coefficient))[-1])
    height = float(np.clip(law.coefficient[at], *y))
    name, said = folded(scene.drags[index], NAMES), folded(words.of_law(law), NAMES)
    return End(float(law.reynolds[at]) / 1e3, height, name, said, _law_style(scene, index))
