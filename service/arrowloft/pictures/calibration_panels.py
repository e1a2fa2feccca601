"""The panels of a calibration's picture: marks before and after, and the ends about them."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.learning.calibration_scene import CalibrationScene, SeenEnd
from arrowloft.pictures import calibration_words as words
from arrowloft.pictures.ends import CROSS, End, Style, draw_ends, line_style, needed
from arrowloft.pictures.frame import INK, PAPER
from arrowloft.pictures.marks_panels import MARKED, mark_end, points, vertical, zero_end, zero_mark
from arrowloft.pictures.marks_words import setting_words
from arrowloft.pictures.over_distance import (
    band,
    marked_rows,
    named_rows,
    parts,
    x_ends,
    x_name,
    zero_line,
)
from arrowloft.pictures.quantities import Quantities, folded
from arrowloft.pictures.stacked import NAMES, rule

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_BEFORE: Style = {**line_style(1), "linewidth": 1.3}
_SEEN = INK
_EDGE: Style = {"color": "#55725f", "linestyle": (0, (1, 2)), "linewidth": 1.0}

_LEAST, _LEAST_OFF = 3.0, 2.6
"""Least heights of the panels, inches."""

_ENDS = 6
"""Ends that have a label, at most."""

_NEAR = 3.0
"""A tolerance is in view that is at most so many times what else is drawn."""


@dataclass(frozen=True)
class Corrected:
    """Corrected and predicted travel over distance, and the marks that single ends ask for."""

    scene: CalibrationScene
    figures: Quantities
    y: tuple[float, float]
    ends: tuple[End, ...]

    @classmethod
    def of(cls, scene: CalibrationScene, figures: Quantities) -> "Corrected":
        """The panel."""
        curve = scene.curve
        drawn = [curve.travel - curve.uncertainty, curve.travel + curve.uncertainty]
        ends = [zero_end(figures, scene.sight.zero_distance), *_named(scene, figures)]
        if scene.predicted is not None:
            drawn.append(scene.predicted.travel)
            far, last = (
                float(figures.read(values[-1], dimension))
                for values, dimension in (
                    (curve.table.distance, "distance"),
                    (scene.predicted.travel, "length"),
                )
            )
            ends.append(End(far, last, ("predicted, before the range",), (), _BEFORE))
        drawn += [
            end.travel + np.array([-1.0, 1.0]) * end.travel_deviation for end in _counted(scene)
        ]
        return cls(scene, figures, vertical(figures, drawn), tuple(ends))

    @property
    def height(self) -> float:
        """Of the panel, inches."""
        return max(_LEAST, needed(self.ends))

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        figures, curve = self.figures, self.scene.curve
        distance = curve.table.distance
        names = (x_name(figures), f"travel from the zero, down ({figures.chosen['length']})")
        rule(axes, _x_ends(self.scene, figures), self.y, names, parts(size))
        zero_line(axes, "zero-line")
        x = figures.read(distance, "distance")
        low, high = (
            figures.read(curve.travel + sign * curve.uncertainty, "length") for sign in (-1.0, 1.0)
        )
        band(axes, x, low, high, "travel-band")
        if self.scene.predicted is not None:
            before = figures.read(self.scene.predicted.travel, "length")
            axes.plot(x, before, zorder=2.5, gid="predicted", **_BEFORE)
        axes.plot(x, figures.read(curve.travel, "length"), zorder=3, gid="travel", **MARKED)
        asked = np.unique(self.scene.aims.distances)
        points(
            axes, figures, asked[marked_rows(figures, asked)], distance, curve.travel, "travel-rows"
        )
        zero = float(figures.read(self.scene.sight.zero_distance, "distance"))
        zero_mark(axes, zero)
        for place, end in enumerate(self.scene.ends):
            _point(axes, figures, end, end.travel, end.travel_deviation, f"mark-{place}")
        draw_ends(axes, size, self.ends, "travel-label")


def _named(scene: CalibrationScene, figures: Quantities) -> list[End]:
    marks, asked = scene.session.marks, scene.aims.distances
    distance, first = np.unique(asked, return_index=True)
    return [
        mark_end(
            figures,
            float(asked[row]),
            float(marks.travel[row]),
            float(marks.uncertainty[row]),
            setting_words(marks.setting, int(row)),
        )
        for row in first[named_rows(figures, distance)]
    ]


@dataclass(frozen=True)
class Off:
    """Heights at the target beside the corrected mark: its band, the predicted mark, the ends.

    named: ends that have a label.
    """

    scene: CalibrationScene
    figures: Quantities
    before: Array | None
    named: int
    y: tuple[float, float]
    ends: tuple[End, ...]

    @classmethod
    def of(cls, scene: CalibrationScene, figures: Quantities) -> "Off":
        """The panel."""
        curve = scene.curve
        before = None
        drawn = [-curve.height_uncertainty, curve.height_uncertainty]
        if scene.predicted is not None:
            before = (scene.predicted.travel - curve.travel) * curve.rise
            drawn.append(before)
        drawn += [end.off + np.array([-1.0, 1.0]) * end.deviation for end in _counted(scene)]
        flat = np.concatenate([np.ravel(value) for value in drawn])
        reach = float(np.abs(flat[np.isfinite(flat)]).max())
        tolerance = scene.tolerance[np.isfinite(scene.tolerance)]
        if tolerance.size and float(tolerance.max()) <= _NEAR * reach:
            drawn += [-tolerance, tolerance]
        y = vertical(figures, drawn)
        some = _farthest_off(scene)
        ends = [_end(figures, scene.ends[place], y) for place in some]
        ends += _curves(scene, figures, before, y)
        return cls(scene, figures, before, len(some), y, tuple(ends))

    @property
    def height(self) -> float:
        """Of the panel, inches."""
        return max(_LEAST_OFF, needed(self.ends))

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        figures, curve = self.figures, self.scene.curve
        names = (x_name(figures), f"height beside it ({figures.chosen['length']})")
        rule(axes, _x_ends(self.scene, figures), self.y, names, parts(size))
        zero_line(axes, "off-zero")
        x = figures.read(curve.table.distance, "distance")
        doubt = figures.read(curve.height_uncertainty, "length")
        band(axes, x, -doubt, doubt, "off-band")
        if self.before is not None:
            y = figures.read(self.before, "length")
            axes.plot(x, y, zorder=2.5, gid="predicted-off", **_BEFORE)
        tolerance = figures.read(self.scene.tolerance, "length")
        for sign, name in ((1.0, "tolerance-high"), (-1.0, "tolerance-low")):
            axes.plot(x, sign * tolerance, zorder=2, gid=name, **_EDGE)
        for place, end in enumerate(self.scene.ends):
            _point(axes, figures, end, end.off, end.deviation, f"off-{place}")
        draw_ends(axes, size, self.ends, "off-label")


def _counted(scene: CalibrationScene) -> list[SeenEnd]:
    """Ends that must be in view: a slip that was set aside would flatten all else."""
    return [end for end in scene.ends if end.status != "set-aside"]


def _x_ends(scene: CalibrationScene, figures: Quantities) -> tuple[float, float]:
    every = [end.distance for end in scene.ends]
    return x_ends(figures, np.concatenate((scene.curve.table.distance, every)))


def _farthest_off(scene: CalibrationScene) -> list[int]:
    """Positions of the ends that have a label: those farthest off in their own uncertainty."""
    known = [place for place, end in enumerate(scene.ends) if np.isfinite(end.off)]
    ends = scene.ends
    order = sorted(known, key=lambda place: -abs(ends[place].off) / ends[place].deviation)
    return sorted(order[:_ENDS])


def _end(figures: Quantities, end: SeenEnd, limits: tuple[float, float]) -> End:
    """An end's name."""
    x = float(figures.read(end.distance, "distance"))
    y = float(figures.read(end.off, "length"))
    shape, face, crossed = _mark(end, y, limits)
    style = {
        **{"color": _SEEN, "linestyle": "none", "linewidth": 1.0},
        **{"markerfacecolor": face, "markeredgecolor": _SEEN},
    }
    name = folded(words.end_name(end), NAMES)
    said = folded(words.end_words(end, figures), NAMES)
    return End(x, min(max(y, limits[0]), limits[1]), name, said, style, shape, crossed)


def _mark(end: SeenEnd, y: float, limits: tuple[float, float]) -> tuple[str, str, bool]:
    """An end's mark, its face, and whether a cross lies over it.

    y: where it lies, in the panel's units.  limits: of the panel.
    """
    if not limits[0] <= y <= limits[1]:
        return ("v" if y < limits[0] else "^"), PAPER, False
    face = _SEEN if end.status == "used" else PAPER
    return words.SHAPES[end.proven][0], face, end.status == "set-aside"


def _curves(
    scene: CalibrationScene, figures: Quantities, before: Array | None, y: tuple[float, float]
) -> list[End]:
    """Names of the predicted mark's curve and of the tolerance, where it is in view."""
    distance = scene.curve.table.distance
    found = []
    if before is not None:
        far, last = figures.read(distance[-1], "distance"), figures.read(before[-1], "length")
        at = figures.text(float(distance[-1]), "distance")
        said = f"{words.height_text(figures, float(before[-1]))} at {at}"
        found.append(End(float(far), float(last), ("with the predicted mark",), (said,), _BEFORE))
    known = np.flatnonzero(np.isfinite(scene.tolerance))
    if known.size:
        at = known[-1]
        high = float(figures.read(scene.tolerance[at], "length"))
        if high < y[1]:
            far = figures.read(distance[at], "distance")
            text = figures.text(float(scene.tolerance[at]), "length")
            found.append(End(float(far), high, (f"tolerance, {text} either way",), (), _EDGE))
    return found


def _point(
    axes: "Axes", figures: Quantities, end: SeenEnd, middle: float, deviation: float, name: str
) -> None:
    """An end with its error bar, filled where it counts, open or crossed where it does not.

    One out of view is a triangle at the edge that it lies beyond.
    """
    if not np.isfinite(middle):
        return
    x, y = float(figures.read(end.distance, "distance")), float(figures.read(middle, "length"))
    low, high = axes.get_ylim()
    shape, face, crossed = _mark(end, y, (low, high))
    if not low <= y <= high:
        axes.plot(
            *([x], [low if y < low else high], shape),
            markersize=8,
            markerfacecolor=face,
            markeredgecolor=_SEEN,
            clip_on=False,
            zorder=4,
            gid=f"{name}-beyond",
        )
        return
    doubt = float(figures.read(deviation, "length"))
    bar = [y - doubt, y + doubt]
    axes.plot(
        [x, x], bar, "_-", color=_SEEN, linewidth=0.9, markersize=5, zorder=3.6, gid=f"{name}-bar"
    )
    axes.plot(
        *([x], [y], shape),
        markersize=5.5,
        markerfacecolor=face,
        markeredgecolor=_SEEN,
        zorder=4,
        gid=name,
    )
    if crossed:
        axes.plot([x], [y], "x", color=_SEEN, markersize=CROSS, zorder=4.1, gid=f"{name}-aside")
