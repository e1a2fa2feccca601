"""Pictures of a path: from the side, from above where that matters, with all that it passes."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from arrowloft.core.flight.scene import Flown
from arrowloft.core.path.scene import Scene, UnderHousing
from arrowloft.pictures import path_words as words
from arrowloft.pictures.ends import End, Style, draw_ends, needed
from arrowloft.pictures.frame import FAINT, INK, Form
from arrowloft.pictures.path_views import View
from arrowloft.pictures.quantities import Quantities, at_least, folded, padded
from arrowloft.pictures.stacked import NAMES, Panel, rule, stacked

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_ASIDE = 0.005
"""Way aside from which on a view from above is drawn, m: about the radius of a shaft."""

_NAMED = 5
"""Marks up to which each has its name beside the housing's panel; of more, the extremes."""

_FREE: Style = {"color": "#0b4f8a", "linestyle": "solid", "linewidth": 1.2}
_MEETS: Style = {"color": "#8c1d40", "linestyle": "solid", "linewidth": 1.2}
_LIMIT: Style = {"color": "#8c1d40", "linestyle": (0, (5, 2)), "linewidth": 1.1}


def clearance(scene: Scene, chosen: Mapping[str, str], form: Form) -> bytes:
    """What an arrow passes, as a picture.

    chosen: unit of each dimension; those of distance, length, angle, speed and mass are used.
    """
    figures = Quantities(chosen)
    views = _views(scene, figures)
    panels = [_panel(view) for view in views]
    if scene.housing is not None:
        room = _Housing(scene.housing, figures)
        title = "Room between the arrow and the sight's housing, by marks"
        panels.append(Panel("housing-panel", title, room.height, room))
    said = words.captions(
        scene,
        figures,
        beside=any(not view.in_way(one) for view in views for one in scene.passed),
        beyond=any(view.goes_on(one) for view in views for one in scene.passed),
    )
    return stacked(
        "clearance",
        words.title(scene.flown, figures, obstacles=bool(scene.passed)),
        [*scene.alarms, *words.subtitle(scene.flown, figures)],
        panels,
        said,
        words.described(scene, figures, said),
        form,
    )


def _views(scene: Scene, figures: Quantities) -> list[View]:
    side = View("side", scene.flown, figures, scene)
    views = [side]
    if not side.shows_all_ground:
        views.append(View("ground", scene.flown, figures, scene))
    bounded = any(np.isfinite((one.left, one.right)).any() for one in scene.passed)
    if bounded or _drifts(scene.flown):
        views.append(View("above", scene.flown, figures, scene))
    return views


def trajectory(flown: Flown, chosen: Mapping[str, str], form: Form) -> bytes:
    """One flight as a picture; chosen: as in `clearance`."""
    figures = Quantities(chosen)
    views = [View("side", flown, figures)]
    if _drifts(flown):
        views.append(View("above", flown, figures))
    return stacked(
        "trajectory",
        words.title(flown, figures, obstacles=False),
        words.subtitle(flown, figures),
        [_panel(view) for view in views],
        [words.BALANCE, words.CAUTION],
        " ".join([*words.flight(flown, figures), words.BALANCE, words.CAUTION]),
        form,
    )


def _panel(view: View) -> Panel:
    return Panel(f"{view.kind}-panel", view.title, view.height, view, view.strip)


def _drifts(flown: Flown) -> bool:
    return float(np.abs(flown.right).max()) >= _ASIDE


class _Housing:
    """Room under the sight's housing over the distance of the mark."""

    def __init__(self, found: UnderHousing, figures: Quantities) -> None:
        self.found, self.figures = found, figures
        self.ends = self._ends()

    @property
    def height(self) -> float:
        """Of the panel, inches."""
        return max(1.5, needed(self.ends))

    def _ends(self) -> list[End]:
        found, figures = self.found, self.figures
        count = found.distance.size
        named = range(count) if count <= _NAMED else (0, count - 1)
        ends = []
        for index in named:
            way, space = float(found.distance[index]), float(found.clearance[index])
            style, marker = (_FREE, "o") if space > 0.0 else (_MEETS, "X")
            x, y = float(figures.read(way, "distance")), float(figures.read(space, "length"))
            told = folded(words.mark(way, space, figures), NAMES)
            ends.append(End(x, y, told, (), style, marker))
        return ends

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        found, figures = self.found, self.figures
        x, y = figures.read(found.distance, "distance"), figures.read(found.clearance, "length")
        low, high = float(x.min()), float(x.max())
        across = padded(low, high, 0.03) if high > low else (0.9 * low, 1.1 * low)
        least = float(figures.read(0.004, "length"))
        upward = padded(*at_least(min(0.0, float(y.min())), max(0.0, float(y.max())), least), 0.1)
        names = (
            f"distance of the mark ({figures.chosen['distance']})",
            f"room ({figures.chosen['length']})",
        )
        rule(axes, across, upward, names, 3.0)
        soil: Style = {"facecolor": "none", "edgecolor": FAINT, "hatch": "///", "linewidth": 0.0}
        axes.fill_between(across, 0.0, upward[0], zorder=0.5, gid="housing-meets", **soil)
        axes.axhline(0.0, color=INK, linewidth=0.8, gid="housing-zero")
        axes.plot(x, y, color="#8f8f8a", linewidth=0.7, zorder=2)
        for some, style, marker, name in (
            (y > 0.0, _FREE, "o", "housing-free"),
            (~(y > 0.0), _MEETS, "X", "housing-meets-at"),
        ):
            if some.any():
                axes.plot(
                    *(x[some], y[some], marker),
                    color=style["color"],
                    markersize=5.5,
                    zorder=3,
                    gid=name,
                )
        limit = float(figures.read(found.farthest, "distance"))
        if across[0] < limit < across[1]:
            axes.axvline(limit, gid="housing-farthest", **_LIMIT)
        draw_ends(axes, size, self.ends, "housing-label")
