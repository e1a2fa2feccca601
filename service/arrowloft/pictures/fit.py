"""The picture of fits: what each model leaves over, and the drag coefficients found."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.fitting.scene import Fitted, Scene
from arrowloft.pictures import fit_words as words
from arrowloft.pictures.ends import (
    LEADER,
    LINE,
    SAMPLE,
    SPACE,
    End,
    Style,
    draw_ends,
    line_style,
    needed,
)
from arrowloft.pictures.frame import FAINT, INK, Form
from arrowloft.pictures.quantities import Quantities, at_least, drawable, folded, padded
from arrowloft.pictures.stacked import NAMES, PLOT, Panel, rule, stacked

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_PANELS, _LAWS = 3, 8
"""Models whose residuals are drawn, and whose drag is."""

_HEIGHT, _LEAST = 1.35, 2.4
"""Inches: of a panel of residuals, and of the drag's at least."""

_LEAST_RANGE = 3.2
"""Standard uncertainties that a panel of residuals shows at least."""

_ALIKE = 4.0
"""Panels of residuals have one scale where the largest ones differ by no more than that."""

_BANDS = ((2.0, "#eef3ef"), (1.0, "#d9e6dc"))
_HATCHES = ("////", "\\\\\\\\", "....")


def picture(scene: Scene, chosen: Mapping[str, str], form: Form) -> bytes:
    """The scene as a picture.

    chosen: unit of each dimension; those of distance and time are used.
    """
    figures = Quantities(chosen)
    best = scene.fitted[:_PANELS]
    x, name = _axis(scene, figures)
    panels = [
        Panel(
            f"residuals-{place}",
            f"{place + 1}. {drawable(one.label)}",
            _HEIGHT,
            _Residuals(scene, place, x, name, reach),
        )
        for place, (one, reach) in enumerate(zip(best, _reaches(best), strict=True))
    ]
    drag = _Drag(scene.fitted[:_LAWS])
    title = "Drag coefficient on the shaft's cross-section, over what was flown"
    panels.append(Panel("drag-panel", title, drag.height, drag))
    said = words.captions(scene, len(best), len(drag.fitted))
    return stacked(
        "fit",
        words.title(scene),
        words.subtitle(scene),
        panels,
        said,
        words.described(scene, said),
        form,
    )


def _axis(scene: Scene, figures: Quantities) -> tuple[Array, str]:
    """Where rows stand, and what the axis is called: distances, or times of tracked places."""
    rows = scene.rows
    dimension = "time" if np.isfinite(rows.time).all() else "distance"
    values: Array = figures.read(rows.time if dimension == "time" else rows.distance, dimension)
    return values, f"{dimension} ({figures.chosen[dimension]})"


def _reaches(fitted: tuple[Fitted, ...]) -> list[float]:
    """Half the height of each panel of residuals, in standard uncertainties."""
    found = [max(_LEAST_RANGE, 1.12 * float(np.abs(one.residuals).max())) for one in fitted]
    return [max(found)] * len(found) if max(found) <= _ALIKE * min(found) else found


class _Residuals:
    """Residuals of one model over where they were seen."""

    def __init__(self, scene: Scene, place: int, x: Array, name: str, reach: float) -> None:
        """place: of the model.  x: of the rows, and the axis's name.  reach: half its height."""
        self.scene, self.place, self.x, self.name, self.reach = scene, place, x, name, reach

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        from arrowloft.pictures.writing import MIDDLE, write

        one = self.scene.fitted[self.place]
        low, high = float(self.x.min()), float(self.x.max())
        ends = padded(low, high, 0.03) if high > low else at_least(low, high, 0.2 * abs(low) or 1.0)
        names = (self.name, "residual\n(uncertainties)")
        rule(axes, ends, (-self.reach, self.reach), names, 3.0)
        for far, shade in _BANDS:
            name = f"band-{self.place}-{far:.0f}"
            axes.axhspan(-far, far, facecolor=shade, edgecolor="none", zorder=0, gid=name)
        axes.axhline(0.0, color=INK, linewidth=0.7, zorder=1, gid=f"zero-{self.place}")
        axes.vlines(self.x, 0.0, one.residuals, color=FAINT, linewidth=0.9, zorder=1.5)
        self._marks(axes, one)
        for row, text in enumerate(words.judged(one)):
            place = (1.0 + (LEADER + SAMPLE + SPACE) / PLOT, 0.5 + (0.5 - row) * LINE / size[1])
            write(axes, place, text, transform=axes.transAxes, rise=MIDDLE)

    def _marks(self, axes: "Axes", one: Fitted) -> None:
        rows = self.scene.rows
        told = len(self.scene.names) <= len(words.FILLS)
        for kind in np.unique(rows.kind).tolist():
            for series in np.unique(rows.series[rows.kind == kind]).tolist():
                some = (rows.kind == kind) & (rows.series == series)
                axes.plot(
                    self.x[some],
                    one.residuals[some],
                    words.SHAPES[kind][0],
                    color=line_style(self.place)["color"],
                    fillstyle=words.FILLS[series][0] if told else "full",
                    markersize=4.6,
                    markeredgewidth=0.9,
                    zorder=3,
                    gid=f"residuals-{self.place}-{kind}-{series}",
                )


class _Drag:
    """Drag coefficients of the models, with bands of one standard uncertainty for the best."""

    def __init__(self, fitted: tuple[Fitted, ...]) -> None:
        self.fitted = fitted
        best = [one.drag for one in fitted[:_PANELS]]
        doubts = [np.nan_to_num(drag.uncertainty) for drag in best]
        lows = [drag.coefficient - doubt for drag, doubt in zip(best, doubts, strict=True)]
        highs = [drag.coefficient + doubt for drag, doubt in zip(best, doubts, strict=True)]
        every = [one.drag.coefficient for one in fitted]
        low = float(min(value.min() for value in (*lows, *every)))
        high = float(max(value.max() for value in (*highs, *every)))
        self.y = padded(*at_least(low, high, max(0.01 * high, 0.01)), 0.07)
        self.ends = [self._end(place, one) for place, one in enumerate(fitted)]

    @property
    def height(self) -> float:
        """Of the panel, inches."""
        return max(_LEAST, needed(self.ends))

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        names = ("Reynolds number on the shaft's diameter (thousands)", "drag coefficient Cd")
        low, high = (float(self.fitted[0].drag.reynolds[at]) / 1e3 for at in (0, -1))
        rule(axes, at_least(low, high, 0.01 * high), self.y, names, 3.0)
        for place in reversed(range(len(self.fitted))):
            drag, style = self.fitted[place].drag, self._style(place)
            x = drag.reynolds / 1e3
            if place < _PANELS and np.isfinite(drag.uncertainty).all() and drag.uncertainty.any():
                axes.fill_between(
                    x,
                    drag.coefficient - drag.uncertainty,
                    drag.coefficient + drag.uncertainty,
                    facecolor="none",
                    edgecolor=style["color"],
                    hatch=_HATCHES[place],
                    linewidth=0.4,
                    alpha=0.55,
                    gid=f"doubt-{place}",
                )
            axes.plot(x, drag.coefficient, zorder=3, gid=f"law-{place}", **style)
        draw_ends(axes, size, self.ends, "law-label")

    def _style(self, place: int) -> Style:
        return {**line_style(place), "linewidth": 2.0 if place < _PANELS else 1.1}

    def _end(self, place: int, one: Fitted) -> End:
        drag = one.drag
        return End(
            float(drag.reynolds[-1]) / 1e3,
            float(drag.coefficient[-1]),
            folded(one.label, NAMES),
            folded(words.of_drag(one), NAMES),
            self._style(place),
        )
