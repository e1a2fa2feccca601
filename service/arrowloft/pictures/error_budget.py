"""The picture of an error budget: bars of the inputs' shares, and the rest of the group."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from arrowloft.core.chances.budget_scene import Scene
from arrowloft.pictures import error_budget_words as words
from arrowloft.pictures.axis import across
from arrowloft.pictures.ends import BETWEEN, LEADER, LINE, SAMPLE, SPACE, Style
from arrowloft.pictures.frame import INK, PAPER, Form
from arrowloft.pictures.quantities import Quantities, folded
from arrowloft.pictures.stacked import NAMES, PLOT, Panel, stacked

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_MOST = 4
"""Distances that are drawn."""

_LITTLE = 0.005
"""Share below which inputs stand together in one line."""

_BAR, _OFF = 0.13, 0.08
"""Inches: height of a bar, and from the panel to the words beside it."""

_WORDS = LEADER + SAMPLE + SPACE + NAMES - _OFF

_ARROW: Style = {"facecolor": "#dbe6f0", "edgecolor": "#0b4f8a", "hatch": "////"}
_WHOLE: Style = {"facecolor": "#f0e3d8", "edgecolor": "#a2470f", "hatch": "\\\\\\\\"}
_REST: Style = {"facecolor": PAPER, "edgecolor": INK, "linestyle": (0, (2, 1.2))}


def picture(scene: Scene, chosen: Mapping[str, str], form: Form) -> bytes:
    """The scene as a picture; chosen: unit of each dimension."""
    figures = Quantities(chosen)
    shown = _shown(scene)
    bars = [_Bars(scene, figures, at, place) for place, at in enumerate(shown)]
    said = words.captions(scene, figures, shown)
    return stacked(
        "error-budget",
        words.title(scene),
        words.subtitle(scene, figures),
        [
            Panel(f"panel-{one.place}", words.total(scene, one.at, figures), one.height, one)
            for one in bars
        ],
        said,
        words.described(scene, figures, shown, said),
        form,
    )


def _shown(scene: Scene) -> list[int]:
    """Rows that are drawn, the distance rising: the nearest, the farthest, some between."""
    order = np.argsort(scene.budget.distance, kind="stable")
    places = np.linspace(0, order.size - 1, min(order.size, _MOST))
    return [int(order[round(place)]) for place in places]


@dataclass(frozen=True)
class _Line:
    """Words beside a bar.  of: input whose bar it is; None: of no input.  group: its bar."""

    text: tuple[str, ...]
    of: int | None = None
    group: bool = False

    @property
    def height(self) -> float:
        """Inches that it takes."""
        return LINE * len(self.text) + BETWEEN


@dataclass(frozen=True)
class _Bars:
    """The bars of one distance.  at: its row.  place: of its panel."""

    scene: Scene
    figures: Quantities
    at: int
    place: int

    @cached_property
    def lines(self) -> list[_Line]:
        """The bars from the top, with what is said of each."""
        scene, budget, at = self.scene, self.scene.budget, self.at
        share = budget.share[:, at]
        known = [int(of) for of in np.flatnonzero(np.isfinite(budget.scatter))]
        lost = [of for of in known if np.isnan(share[of])]
        some = sorted((of for of in known if share[of] >= _LITTLE), key=lambda of: -share[of])
        few = [of for of in known if share[of] < _LITTLE]
        lines = [
            _Line(tuple(folded(words.of_input(scene, of, at, self.figures), _WORDS)), of)
            for of in (*some, *lost)
        ]
        if few:
            lines.append(_Line(tuple(folded(words.smaller(scene, few, _LITTLE), _WORDS))))
        if scene.beside is not None:
            for text in words.of_group(scene.beside, at, self.figures):
                lines.append(_Line(tuple(folded(text, _WORDS)), group=True))
        return lines

    @property
    def height(self) -> float:
        """Of the panel, inches."""
        return max(0.5, sum(line.height for line in self.lines) + BETWEEN)

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        axes.set_xlim(0.0, 100.0)
        axes.set_ylim(size[1], 0.0)  # inches from the top
        across(axes, range(0, 101, 20), "share of the variance (%)", lines=True)
        top, begins = 0.5 * BETWEEN, None
        for row, line in enumerate(self.lines):
            middle = top + 0.5 * line.height
            if line.of is not None:
                self._bar(axes, line.of, middle)
            elif line.group and begins is None:
                begins = top
            self._words(axes, row, line, middle)
            top += line.height
        if begins is not None:
            axes.axhline(begins, color=INK, linewidth=0.7)
            self._group(axes, 0.5 * (begins + top))

    def _bar(self, axes: "Axes", of: int, middle: float) -> None:
        budget = self.scene.budget
        share = 100.0 * float(budget.share[of, self.at])
        if np.isnan(share):
            return
        style = _ARROW if budget.widens[of] else _WHOLE
        name = f"bar-{self.place}-{budget.names[of]}"
        axes.barh([middle], [share], height=_BAR, linewidth=0.9, **style)
        [bar] = axes.containers[-1]
        bar.set_gid(name)

    def _group(self, axes: "Axes", middle: float) -> None:
        """The whole group as one bar, in two parts."""
        beside = self.scene.beside
        assert beside is not None
        share = 100.0 * float(beside.share[self.at])
        for start, wide, style, name in (
            (0.0, share, _ARROW, "explained"),
            (share, 100.0 - share, _REST, "unexplained"),
        ):
            axes.barh([middle], [wide], left=[start], height=1.6 * _BAR, linewidth=1.1, **style)
            [bar] = axes.containers[-1]
            bar.set_gid(f"{name}-{self.place}")

    def _words(self, axes: "Axes", row: int, line: _Line, middle: float) -> None:
        from arrowloft.pictures.writing import MIDDLE, write

        first = middle - 0.5 * LINE * (len(line.text) - 1)
        for number, text in enumerate(line.text):
            write(
                axes,
                (1.0 + _OFF / PLOT, first + number * LINE),
                text,
                transform=axes.get_yaxis_transform(),
                rise=MIDDLE,
                gid=f"words-{self.place}-{row}-{number}",
            )
