"""How the views of a path are painted: the arrow, the ground and the target, the obstacles.

Nothing is told by colour alone: what is clear is hatched aslant, what is touched crosswise,
with a bold outline and a cross; what lies beside the path is dashed.
"""

from typing import TYPE_CHECKING

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.path.scene import Passed, Scene
from arrowloft.pictures.ends import Style
from arrowloft.pictures.frame import FAINT, INK, PAPER
from arrowloft.pictures.path_numbers import ROW, Number
from arrowloft.pictures.stacked import PLOT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from arrowloft.pictures.path_views import View

SIGHT: Style = {"color": INK, "linestyle": (0, (10, 3, 1, 3)), "linewidth": 0.9}
PATH: Style = {"color": INK, "linestyle": "solid", "linewidth": 1.3}
LANE: Style = {"color": "#6a2a78", "linestyle": (0, (3, 1.6)), "linewidth": 1.0}
GROUND: Style = {"color": "#4d4d4d", "linestyle": "solid", "linewidth": 1.1}
CLEAR: Style = {"color": "#0b4f8a", "linestyle": "solid", "linewidth": 1.0}
TOUCHED: Style = {"color": "#8c1d40", "linestyle": "solid", "linewidth": 2.0}
_FACE: Style = {"color": INK, "linestyle": "solid", "linewidth": 3.2}
_BAND = "#d3d3ce"

_HALF, _TIP = 0.055, 0.13
"""Inches: half the width of an obstacle, and its pointed end."""

_STEEP = 0.15
"""Launch angle from which on the path starts where the eye's name stands else, rad."""


def paint(axes: "Axes", view: "View") -> None:
    """The line of sight, the arrow's path, the ground and the target."""
    flown, scene, kind = view.flown, view.scene, view.kind
    way = view.along(flown.distance)
    axes.axhline(0.0, zorder=1.5, gid=f"{kind}-sight", **SIGHT)
    if scene is not None:
        first, last = view.borders
        low, high = view.read(getattr(scene.band, first)), view.read(getattr(scene.band, last))
        axes.fill_between(
            way, low, high, facecolor=_BAND, edgecolor=INK, linewidth=0.5, gid=f"{kind}-band"
        )
        if scene.lane is not None:
            for side in (first, last):
                edge = view.read(getattr(scene.lane, side))
                axes.plot(way, edge, zorder=2.4, gid=f"{kind}-lane-{side}", **LANE)
        if view.way == "up":
            _stands(axes, view, scene)
    axes.plot(way, view.read(getattr(flown, view.way)), zorder=2.6, gid=f"{kind}-path", **PATH)
    axes.plot([0.0], [0.0], "o", color=INK, markersize=4, zorder=4, gid=f"{kind}-eye")
    if view.way == "up":  # from above the arrow starts beside it, where a name would lie
        spot = (3, 5) if flown.launch_angle < _STEEP else (3, -11)
        axes.annotate("eye", (0.0, 0.0), spot, textcoords="offset points", zorder=4)
    if view.flown.target is not None:
        at = float(view.along(view.flown.target))
        axes.plot([at], [0.0], "+", color=INK, markersize=9, zorder=4, gid=f"{kind}-aim")
    if kind == "side":
        place = float(view.along(flown.apex_distance)), float(view.read(flown.apex_height))
        axes.plot([place[0]], [place[1]], "^", color=INK, markersize=6, zorder=4, gid="apex")


def _stands(axes: "Axes", view: "View", scene: Scene) -> None:
    """The ground and the target face."""
    if scene.ground is not None:
        way, over = view.along(scene.ground[0]), view.read(scene.ground[1])
        low = float(view.read(min(view.limits[0], scene.ground[1].min())))
        soil: Style = {"facecolor": "none", "edgecolor": FAINT, "hatch": "///", "linewidth": 0.0}
        axes.fill_between(way, over, low, zorder=0.5, **soil)
        axes.plot(way, over, zorder=1.2, gid=f"{view.kind}-ground", **GROUND)
    if scene.face is not None and view.flown.target is not None:
        at = float(view.along(view.flown.target))
        ends = view.read(np.array([-scene.face, scene.face]))
        axes.plot([at, at], ends, solid_capstyle="butt", gid=f"{view.kind}-face", **_FACE)


def obstacle(axes: "Axes", view: "View", index: int, one: Passed) -> None:
    """One obstacle: its patch, and a cross where it is touched."""
    from matplotlib.patches import Polygon

    name, at = f"{view.kind}-obstacle-{index}", float(view.along(one.distance))
    touched, in_way = not one.margin > 0.0, view.in_way(one)
    style = TOUCHED if touched else CLEAR
    axes.axvline(at, color="#8f8f8a", linestyle=(0, (1, 2.5)), linewidth=0.7, zorder=1)
    points = _outline(view, one)
    if points is not None:
        axes.add_patch(
            Polygon(
                np.column_stack((view.along(points[0]), view.read(points[1]))),
                facecolor=PAPER if in_way else "none",
                edgecolor=style["color"],
                linewidth=style["linewidth"],
                linestyle="solid" if in_way else (0, (2, 1.5)),
                hatch=("xxxxxx" if touched else "//////") if in_way else None,
                zorder=3,
                gid=name,
            )
        )
    if touched:
        place = float(view.read(one.up if view.way == "up" else one.aside))
        axes.plot(
            *([at], [place], "X"),
            markersize=8,
            markerfacecolor=style["color"],
            markeredgecolor=PAPER,
            zorder=5,
            gid=f"{name}-touched",
        )


def numbered(axes: "Axes", view: "View", number: Number) -> None:
    """Obstacles' number over the panel, and a leader to each of them."""
    from matplotlib.collections import LineCollection

    some = [view.passed[index] for index in number.which]
    touched = any(not one.margin > 0.0 for one in some)
    style = TOUCHED if touched else CLEAR
    x, y = number.middle / PLOT, 1.0 + (number.row + 1.4) * ROW / view.height
    ends = [(one.distance - view.x[0]) / (view.x[1] - view.x[0]) for one in some]
    name = f"{view.kind}-obstacle-{number.which[0]}-number"
    leaders = LineCollection(
        [[(x, y), (end, 1.0)] for end in ends if 0.0 <= end <= 1.0],
        colors="#8f8f8a",
        linewidths=0.6,
        transform=axes.transAxes,
        clip_on=False,
        zorder=5.5,
        gid=f"{name}-leaders",
    )
    axes.add_artist(leaders)
    axes.text(
        x,
        y,
        number.text,
        transform=axes.transAxes,
        ha="center",
        va="center_baseline",
        color=style["color"],
        fontweight="bold" if touched else "normal",
        bbox={"facecolor": PAPER, "edgecolor": style["color"], "linewidth": 0.6, "pad": 1.4},
        zorder=6,
        gid=name,
    )


def _outline(view: "View", one: Passed) -> Array | None:
    """An obstacle edge on, m, (2, corners): pointed where it goes on; None: not in view."""
    if view.outside(one):
        return None
    low, high = (float(getattr(one, side)) for side in view.borders)
    least, most = view.limits
    half = _HALF * view.per_inch[0]
    bottom, top = max(low, least), min(high, most)
    tip = min(_TIP * view.per_inch[1], 0.3 * (top - bottom))
    if low < least:
        under = [(-half, bottom + tip), (0.0, bottom), (half, bottom + tip)]
    else:
        under = [(-half, bottom), (half, bottom)]
    if high > most:
        over = [(half, top - tip), (0.0, top), (-half, top - tip)]
    else:
        over = [(half, top), (-half, top)]
    aside, heights = np.array([*under, *over]).T
    return np.array([one.distance + aside, heights])
