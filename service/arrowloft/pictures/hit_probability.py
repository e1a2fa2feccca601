"""The picture of hits: their chance over distance, how far is sensible, and what costs them."""

from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.chances.hit_scene import Scene
from arrowloft.core.chances.zones import Face
from arrowloft.pictures import hit_probability_words as words
from arrowloft.pictures.ends import MARKERS, End, Style, draw_ends, line_style, needed
from arrowloft.pictures.frame import INK, Form
from arrowloft.pictures.quantities import Quantities, folded, padded
from arrowloft.pictures.stacked import NAMES, Panel, rule, stacked

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_HIT: Style = {"color": INK, "linestyle": "solid", "linewidth": 1.7}
_TEN: Style = {"color": "#6a2a78", "linestyle": (0, (4, 1.6)), "linewidth": 1.2}
_WANTED: Style = {"color": "#0b4f8a", "linestyle": (0, (7, 2, 1, 2)), "linewidth": 1.1}
_SURELY: Style = {"color": "#0b4f8a", "linestyle": (0, (1, 1.6)), "linewidth": 1.3}
_BAND: dict[str, Any] = {"facecolor": "#eeeeea", "edgecolor": "#a9a9a3", "hatch": "////"}

_LEAST, _LEAST_SCORE = 2.9, 1.9
"""Least heights of the panels, inches."""

_MOST_MARKS = 40
"""Distances asked for up to which each has its mark on the curve."""


def picture(scene: Scene, chosen: Mapping[str, str], form: Form) -> bytes:
    """The scene as a picture.

    chosen: unit of each dimension; those of distance, length, speed and mass are used.
    """
    figures = Quantities(chosen)
    chance, causes = _Chance(scene, figures), _Causes(scene, figures)
    panels = [Panel("chance-panel", "Chance that an arrow hits", chance.height, chance)]
    if scene.curve.score is not None:
        score = _Score(scene, figures)
        panels.append(Panel("score-panel", "Mean points of an arrow", score.height, score))
    title = "What makes the scatter of the impact"
    panels.append(Panel("causes-panel", title, causes.height, causes))
    said = words.captions(scene, figures)
    return stacked(
        "hit-probability",
        words.title(scene),
        words.subtitle(scene, figures),
        panels,
        said,
        words.described(scene, figures, said),
        form,
    )


class _OverDistance(ABC):
    """A panel over distance."""

    least = _LEAST
    """Its height at least, inches."""

    def __init__(self, scene: Scene, figures: Quantities) -> None:
        self.scene, self.figures = scene, figures
        self.way: Array = figures.read(scene.curve.distance, "distance")
        self.ends = self._ends()

    @abstractmethod
    def _ends(self) -> list[End]:
        """Names at the ends of its curves."""

    @property
    def height(self) -> float:
        """Of the panel, inches."""
        return max(self.least, needed(self.ends))

    @property
    def x(self) -> tuple[float, float]:
        """Ends of the horizontal axis: the distances that a label names lie between them."""
        low, high = float(self.way[0]), float(self.way[-1])
        far = self.scene.farthest
        if far is not None and self.scene.wanted is not None:
            named = self.figures.read([far.distance, far.surely], "distance")
            low, high = np.nanmin([low, *named]), np.nanmax([high, *named])
        return padded(low, high, 0.02) if high > low else (0.9 * low, 1.1 * low)

    @property
    def across(self) -> str:
        """Name of the horizontal axis."""
        return f"true distance ({self.figures.chosen['distance']})"

    def end(self, values: Array, title: str, said: str, style: Style, marker: str = "") -> End:
        """A curve's name at the last value that is known; at half height where none is."""
        at = words.known(values)
        x, y = (float(self.way[at[-1]]), float(values[at[-1]])) if at else (self.x[1], 0.0)
        told = folded(said, NAMES) if said else ()
        return End(x, y, folded(title, NAMES), told, style, marker)

    def curve(
        self, axes: "Axes", values: Array, style: Style, name: str, marker: str = "o"
    ) -> None:
        """A curve, with a mark at each distance asked for."""
        axes.plot(self.way, values, zorder=3, gid=name, **style)
        asked = np.isin(self.scene.curve.distance, self.scene.asked)
        if asked.sum() <= _MOST_MARKS or self.way.size == 1:
            axes.plot(
                *(self.way[asked], values[asked], marker),
                color=style["color"],
                markersize=4,
                zorder=3.5,
                gid=f"{name}-rows",
            )


class _Chance(_OverDistance):
    """The chance of a hit in per cent."""

    def _ends(self) -> list[End]:
        scene, found, figures = self.scene, self.scene.curve, self.figures
        told = words.over(found.probability, found, figures)
        between = words.interval(found)
        said = f"{told}; {between}" if between else told
        ends = [self.end(100.0 * found.probability, "an arrow hits", said, _HIT, "o")]
        if found.inner is not None:
            told = words.over(found.inner, found, figures)
            ends.append(self.end(100.0 * found.inner, "the inner ten", told, _TEN, "^"))
        if scene.wanted is not None and scene.farthest is not None:
            ends += self._wanted(scene.wanted)
        return ends

    def _wanted(self, wanted: float) -> list[End]:
        far = self.scene.farthest
        assert far is not None
        x = self.x[1]
        said = "nowhere"
        if np.isfinite(far.distance):
            said = f"up to {self.figures.text(far.distance, 'distance')}"
            said += " and perhaps farther" if far.whole else ""
        title = f"{words.exactly(wanted)} wanted"
        ends = [End(x, 100.0 * wanted, folded(title, NAMES), folded(said, NAMES), _WANTED)]
        if np.isfinite(far.surely):
            told = folded(words.surely(self.scene, self.figures), NAMES)
            ends.append(End(x, 100.0 * wanted, told, (), _SURELY))
        return ends

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        found = self.scene.curve
        rule(axes, self.x, (0.0, 102.0), (self.across, "arrows that hit (%)"), 5.0)
        if np.isfinite(found.low).any():
            self._band(axes)
        self.curve(axes, 100.0 * found.probability, _HIT, "chance")
        if found.inner is not None:
            self.curve(axes, 100.0 * found.inner, _TEN, "inner-ten", "^")
        if self.scene.wanted is not None and self.scene.farthest is not None:
            self._farthest(axes, 100.0 * self.scene.wanted)
        draw_ends(axes, size, self.ends, "chance-label")

    def _band(self, axes: "Axes") -> None:
        found = self.scene.curve
        low, high = 100.0 * found.low, 100.0 * found.high
        if self.way.size == 1:
            axes.vlines(self.way, low, high, color="#8f8f8a", linewidth=5.0, gid="interval")
            return
        axes.fill_between(
            self.way, low, high, zorder=1, linewidth=0.6, interpolate=False, gid="interval", **_BAND
        )

    def _farthest(self, axes: "Axes", wanted: float) -> None:
        far = self.scene.farthest
        assert far is not None
        axes.axhline(wanted, zorder=2, gid="wanted", **_WANTED)
        for way, style, name in (
            (far.distance, _WANTED, "farthest"),
            (far.surely, _SURELY, "surely"),
        ):
            at = float(self.figures.read(way, "distance"))
            if self.x[0] <= at <= self.x[1]:
                axes.plot([at, at], [0.0, wanted], zorder=2, gid=name, **style)
                marker = "v" if name == "farthest" else "d"
                axes.plot([at], [wanted], marker, color=style["color"], markersize=6, zorder=4)


class _Score(_OverDistance):
    """Mean points of an arrow."""

    least = _LEAST_SCORE

    def _ends(self) -> list[End]:
        score = self.scene.curve.score
        assert score is not None
        said = words.scored(self.scene.curve, self.figures)
        title = "mean ± the scatter of single arrows"
        return [self.end(score, title, said, _HIT, "s")]

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        found, face = self.scene.curve, self.scene.target
        assert found.score is not None and found.score_sd is not None and isinstance(face, Face)
        most = max(face.points)
        rule(axes, self.x, (0.0, 1.02 * most), (self.across, "points"), 4.0)
        for sign in (-1.0, 1.0):
            edge = np.clip(found.score + sign * found.score_sd, 0.0, most)
            axes.plot(self.way, edge, color="#8f8f8a", linewidth=0.8, linestyle=(0, (4, 2)))
        self.curve(axes, found.score, _HIT, "score", "s")
        draw_ends(axes, size, self.ends, "score-label")


class _Causes(_OverDistance):
    """Shares of the variance in per cent."""

    def _ends(self) -> list[End]:
        found, figures = self.scene.curve, self.figures
        ends = []
        for at, name in enumerate(found.causes):
            told = words.over(found.share[at], found, figures)
            gain = words.gained(found.gain[at])
            said = f"{told}; {gain}" if gain else told
            style, marker = line_style(at), MARKERS[at]
            ends.append(self.end(100.0 * found.share[at], words.CAUSES[name], said, style, marker))
        return ends

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        found = self.scene.curve
        rule(axes, self.x, (0.0, 102.0), (self.across, "share of the variance (%)"), 5.0)
        for at in range(len(found.causes)):
            self.curve(axes, 100.0 * found.share[at], line_style(at), f"cause-{at}", MARKERS[at])
        draw_ends(axes, size, self.ends, "cause-label")
