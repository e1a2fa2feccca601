"""The panels of a picture of the roll tolerance: rolls allowed, and shifts by some cants."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.motion import sideways
from arrowloft.core.level.cant_scene import CantScene
from arrowloft.core.level.roll_series import MOST_ROLL
from arrowloft.pictures import cant_tolerance_words as words
from arrowloft.pictures.ends import End, Style, draw_ends, line_style, named, needed
from arrowloft.pictures.frame import INK
from arrowloft.pictures.marks_panels import vertical
from arrowloft.pictures.over_distance import (
    band,
    end_marked,
    marked_rows,
    named_rows,
    parts,
    thin,
    x_ends,
    x_name,
    zero_line,
)
from arrowloft.pictures.quantities import Quantities
from arrowloft.pictures.stacked import rule

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_EDGE: Style = {"color": line_style(0)["color"], "linestyle": "solid", "linewidth": 1.6}
_POINT: Style = {**_EDGE, "linestyle": "none"}
_USUAL: Style = {**line_style(3), "linewidth": 1.0}
_LIVE: Style = {"color": INK, "linestyle": "none", "linewidth": 1.0}
_ALLOWED: Style = {"color": "#55725f", "linestyle": (0, (1, 2)), "linewidth": 1.0}

_LEAST = 1.9
"""Least height of a panel of shifts, inches."""

_STEEP, _SHOWN = 6.0, 0.06
"""The vertical axis ends at so many times the least of the largest rolls, or at that, rad, where
that is more: the curve climbs steeply where the target is near, and there no one need care."""

_ALIKE = 1e-6
"""Shifts that agree so far are drawn as one, m."""


@dataclass(frozen=True)
class Rolls:
    """Rolls within the allowance, over distance: to the right above 0, to the left below.

    high: where the vertical axis ends either way, rad.
    """

    scene: CantScene
    figures: Quantities
    high: float
    ends: tuple[End, ...]

    @classmethod
    def of(cls, scene: CantScene, figures: Quantities) -> "Rolls":
        """The panel."""
        curve = scene.curve
        sides = np.concatenate((curve.max_cant_right, curve.max_cant_left))
        known = sides[np.isfinite(sides)]
        high = MOST_ROLL
        if known.size:
            steep = max(_STEEP * float(known.min()), _SHOWN)
            high = min(
                1.08 * (float(known.max()) if known.size == sides.size else MOST_ROLL), steep
            )
        high = max(high, 1.3 * abs(scene.live[1]) if scene.live else 0.0)
        high = max(high, 1.3 * (scene.roll_scatter or 0.0))
        return cls(scene, figures, high, tuple(_roll_ends(scene, figures, high)))

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        figures, curve = self.figures, self.scene.curve
        unit = figures.chosen["angle"]
        top = float(figures.read(self.high, "angle"))
        names = (x_name(figures), f"roll, top limb left or right ({unit})")
        rule(axes, x_ends(figures, curve.distance), (-top, top), names, 2 * parts(size))
        zero_line(axes, "level")
        x = figures.read(curve.distance, "distance")
        right, left = (
            figures.read(np.where(np.isnan(side), MOST_ROLL, side), "angle")
            for side in (curve.max_cant_right, curve.max_cant_left)
        )
        band(axes, x, np.maximum(-left, -top), np.minimum(right, top), "allowed")
        for sign, side, name in (
            (1.0, curve.max_cant_right, "max-right"),
            (-1.0, curve.max_cant_left, "max-left"),
        ):
            y = sign * figures.read(side, "angle")
            axes.plot(x, y, zorder=3, gid=name, **end_marked(x, _EDGE, "o"))
            rows = np.searchsorted(
                curve.distance, self.scene.asked[marked_rows(figures, self.scene.asked)]
            )
            axes.plot(
                *(x[rows], y[rows], "o"),
                color=_EDGE["color"],
                markersize=3.6,
                zorder=3.5,
                gid=f"{name}-rows",
            )
        self._archer(axes)
        draw_ends(axes, size, self.ends, "roll-label")

    def _archer(self, axes: "Axes") -> None:
        """The usual roll, and a reading."""
        figures, scene = self.figures, self.scene
        if scene.roll_scatter is not None:
            usual = float(figures.read(scene.roll_scatter, "angle"))
            for sign, name in ((1.0, "usual-right"), (-1.0, "usual-left")):
                axes.axhline(sign * usual, zorder=2, gid=name, **_USUAL)
        if scene.live is not None:
            x, y = (
                float(figures.read(value, dimension))
                for value, dimension in zip(scene.live, ("distance", "angle"), strict=True)
            )
            axes.plot([x], [y], "*", color=INK, markersize=11, zorder=5, gid="live")


def _roll_ends(scene: CantScene, figures: Quantities, high: float) -> list[End]:
    """Names of the largest rolls, of the usual roll and of a reading."""
    curve, found = scene.curve, list[End]()
    both = not sideways(scene.shot)
    # The farthest first: of labels that meet at the panel's edge the nearer goes above.
    for place in reversed(named_rows(figures, scene.asked)):
        row = int(np.searchsorted(curve.distance, scene.asked[place]))
        right, left = float(curve.max_cant_right[row]), float(curve.max_cant_left[row])
        at = figures.text(float(curve.distance[row]), "distance")
        x = float(figures.read(curve.distance[row], "distance"))
        y = float(figures.read(min(high, MOST_ROLL if np.isnan(right) else right), "angle"))
        if both or figures.text(right, "angle") == figures.text(left, "angle"):
            text = f"{at}: {words.most_text(figures, right)}"
        else:
            text = f"{at}: {_bare(figures, right)} right, {_bare(figures, left)} left"
        found.append(End(x, y, (text,), (), _POINT, "o"))
    if scene.roll_scatter is not None:
        far, y = (
            figures.read(curve.distance[-1], "distance"),
            -figures.read(scene.roll_scatter, "angle"),
        )
        text = f"usual roll, {figures.text(scene.roll_scatter, 'angle')}"
        found.append(End(float(far), float(y), (text,), (), _USUAL))
    if scene.live is not None:
        x, y = (
            float(figures.read(scene.live[0], "distance")),
            float(figures.read(scene.live[1], "angle")),
        )
        found.append(
            End(x, y, (f"reading, {figures.text(abs(scene.live[1]), 'angle')}",), (), _LIVE, "*")
        )
    return found


def _bare(figures: Quantities, roll: float) -> str:
    return "any" if np.isnan(roll) else figures.text(roll, "angle")


@dataclass(frozen=True)
class Shifts:
    """Shifts of the impact one way, over distance, a curve a cant.

    groups: positions of the cants whose curves are the same.  named: of those groups, those
    with a label.
    """

    scene: CantScene
    figures: Quantities
    way: Literal["right", "up"]
    groups: tuple[tuple[int, ...], ...]
    named: tuple[int, ...]
    y: tuple[float, float]
    ends: tuple[End, ...]

    @classmethod
    def of(cls, scene: CantScene, figures: Quantities, way: Literal["right", "up"]) -> "Shifts":
        """The panel of one way."""
        curve = scene.curve
        shifts = getattr(curve, way)
        groups = _alike(curve.cants, shifts)
        far = [_last(shifts[:, group[0]]) for group in groups]
        some = named(
            [
                float("nan") if at is None else float(shifts[at, g[0]])
                for g, at in zip(groups, far, strict=True)
            ]
        )
        every = [shifts]
        if way == "right":
            reach = float(np.nanmax(np.abs(shifts), initial=0.0))
            near = curve.allowance[curve.allowance <= 2.0 * reach]
            every += [near, -near]
        y = vertical(figures, every)
        ends = [_shift_end(scene, figures, way, groups[g], far[g], g) for g in some]
        if way == "right":
            ends += _allowed_end(scene, figures, y)
        return cls(scene, figures, way, groups, tuple(some), y, tuple(ends))

    @property
    def height(self) -> float:
        """Of the panel, inches."""
        return max(_LEAST, needed(self.ends))

    def __call__(self, axes: "Axes", size: tuple[float, float]) -> None:
        """Draw it."""
        figures, curve = self.figures, self.scene.curve
        side = "right" if self.way == "right" else "up"
        names = (x_name(figures), f"shift {side} ({figures.chosen['length']})")
        rule(axes, x_ends(figures, curve.distance), self.y, names, parts(size))
        zero_line(axes, f"{self.way}-zero")
        x = figures.read(curve.distance, "distance")
        if self.way == "right":
            allowed = figures.read(curve.allowance, "length")
            for sign, name in ((1.0, "allowance-right"), (-1.0, "allowance-left")):
                axes.plot(x, sign * allowed, zorder=2, gid=name, **_ALLOWED)
        shifts = figures.read(getattr(curve, self.way), "length")
        others = [shifts[:, g[0]] for place, g in enumerate(self.groups) if place not in self.named]
        thin(axes, x, others, f"{self.way}-others")
        for place in self.named:
            first = self.groups[place][0]
            style = end_marked(x, _cant_style(curve.cants, self.groups[place]), "o")
            axes.plot(x, shifts[:, first], zorder=3, gid=f"{self.way}-{first}", **style)
        draw_ends(axes, size, self.ends, f"{self.way}-label")


def _alike(cants: Array, shifts: Array) -> tuple[tuple[int, ...], ...]:
    """Positions of cants, those together whose shifts agree: mirror images, and repeated ones."""
    groups: list[list[int]] = []
    for index in range(cants.size):
        for group in groups:
            same = np.isclose(abs(cants[group[0]]), abs(cants[index]), rtol=1e-9)
            if same and np.allclose(
                shifts[:, group[0]], shifts[:, index], rtol=0.0, atol=_ALIKE, equal_nan=True
            ):
                group.append(index)
                break
        else:
            groups.append([index])
    return tuple(tuple(group) for group in groups)


def _last(values: Array) -> int | None:
    known = np.flatnonzero(np.isfinite(values))
    return int(known[-1]) if known.size else None


def _cant_style(cants: Array, group: Sequence[int]) -> Style:
    """The line of a cant: the same for the same one in both panels."""
    sizes = np.unique(np.round(cants, 12))
    return line_style(int(np.searchsorted(sizes, round(float(cants[group[0]]), 12))))


def _shift_end(
    scene: CantScene,
    figures: Quantities,
    way: str,
    group: Sequence[int],
    last: int | None,
    place: int,
) -> End:
    """A cant's name, where its curve ends."""
    assert last is not None
    curve = scene.curve
    shift = float(getattr(curve, way)[last, group[0]])
    both = any(curve.cants[one] != curve.cants[group[0]] for one in group)
    name = words.cant_name(figures, float(curve.cants[group[0]]), both=both)
    at = figures.text(float(curve.distance[last]), "distance")
    text = f"{name}: {words.shift_text(figures, shift)} at {at}"
    x, y = figures.read(curve.distance[last], "distance"), figures.read(shift, "length")
    return End(float(x), float(y), (text,), (), _cant_style(curve.cants, group))


def _allowed_end(scene: CantScene, figures: Quantities, y: tuple[float, float]) -> list[End]:
    """The allowance's name, where it is in view at its end."""
    curve = scene.curve
    high, far = (
        figures.read(curve.allowance[-1], "length"),
        figures.read(curve.distance[-1], "distance"),
    )
    if high > y[1]:
        return []
    text = f"allowance, {figures.text(float(curve.allowance[-1]), 'length')}"
    if curve.allowance[0] != curve.allowance[-1]:
        text += f" at {figures.text(float(curve.distance[-1]), 'distance')}"
    return [End(float(far), float(high), (text,), (), _ALLOWED)]
