"""The views of an overshoot's picture: from above, closer from above, and from the side.

Nothing is told by colour alone: areas differ by their hatching, lines by their dashes, ends
by their shapes, and each has its name beside it.
"""

from collections.abc import Mapping
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from arrowloft.core.arrays import Array, Mask
from arrowloft.core.overshoot.carry import Area
from arrowloft.core.overshoot.scene import Arc
from arrowloft.pictures import overshoot_words as words
from arrowloft.pictures.axis import across, numbers, sides, upward
from arrowloft.pictures.frame import FAINT, INK, PAPER, Label, nice_step, text_width
from arrowloft.pictures.overshoot_sheet import Frame, Sheet

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Style = Mapping[str, Any]

_GROUP: Style = {"edgecolor": "#0b4f8a", "hatch": "xxxxx"}
_GROSS: Style = {"edgecolor": "#9a5a10", "hatch": "\\\\\\"}
_QUOTED: Style = {"color": "#6a2a78", "linestyle": (0, (5, 2)), "linewidth": 1.1}
_FARTHEST: Style = {"color": INK, "linestyle": (0, (9, 2.5)), "linewidth": 1.4}
_UPPER: Style = {"color": INK, "linestyle": (0, (1, 2)), "linewidth": 1.0}
_MARK: Style = {"color": "#0b4f8a", "linestyle": "solid", "linewidth": 1.5}
_DRAW: Style = {"color": "#8c1d40", "linestyle": (0, (7, 2, 1, 2)), "linewidth": 1.5}
_DASHES = ((6, 1.5), (3, 1.5), (1, 1.2), (5, 1.5, 1, 1.5), (5, 1.5, 1, 1.5, 1, 1.5))
_ENDS = {"mark": "o", "release": "v", "draw": "s", "farthest": "D"}
_CARRY_LINE = 0.7
"""Inches of a line that marks how far an arrow carries straight ahead."""
_TALL = 0.15
"""Inches in height that a line of text needs."""
_LEADER: Style = {"color": INK, "linestyle": "solid", "linewidth": 0.6}
_LINE: Style = {"color": INK, "linestyle": "solid", "linewidth": 2.0}


def over_plan(sheet: Sheet) -> list[Label]:
    """Names of what is drawn across the plan."""
    scene, top, read = sheet.scene, sheet.plan.aside[0], sheet.read
    target, carry = scene.target, scene.farthest
    return [
        Label(0.0, top, "shooting line", _LINE),
        Label(read(target.distance), read(-target.half_width), _target_name(sheet), _LEADER),
        *(
            Label(read(way), top, words.of_quoted(sheet, one, way), _QUOTED)
            for one, way in scene.quoted
        ),
        Label(read(carry.distance), read(carry.right), words.of_farthest(sheet), _LEADER),
    ]


def under_side(sheet: Sheet) -> list[Label]:
    """Names of the arcs, where they come down."""
    return [
        Label(
            sheet.read(arc.distance[-1]),
            sheet.read(arc.height[-1] + sheet.scene.eye_height),
            words.of_arc(sheet, arc),
            {**_LEADER, "color": _line(arc, index)["color"]},
        )
        for index, arc in enumerate(sheet.scene.arcs)
    ]


def over_closer(sheet: Sheet) -> list[Label]:
    """The names of the target, of the group, and of the gross errors where they are in view."""
    scene, read = sheet.scene, sheet.read
    assert scene.group is not None
    group = scene.group
    corner = int(np.argmin(group.right))
    return [
        Label(
            read(scene.target.distance),
            read(-scene.target.half_width),
            _target_name(sheet),
            _LEADER,
        ),
        Label(
            read(group.distance[corner]),
            read(group.right[corner]),
            words.of_group(sheet, group),
            {**_LEADER, "color": _GROUP["edgecolor"]},
        ),
        *_gross_closer(sheet),
    ]


def _gross_closer(sheet: Sheet) -> list[Label]:
    """The name of the gross errors, led to the left of their ground before the group's or at it."""
    scene, frame = sheet.scene, sheet.closer
    assert scene.group is not None and frame is not None
    if scene.gross is None:
        return []
    near, far = scene.group.nearest, scene.group.farthest
    for way in (0.5 * (scene.target.distance + near), 0.5 * (near + far)):
        left = _left_at(scene.gross, way)
        if left is not None:
            inside = max(sheet.read(left), frame.aside[0]) + 0.1 / frame.inches
            leader = {**_LEADER, "color": _GROSS["edgecolor"]}
            return [Label(sheet.read(way), inside, "gross errors", leader)]
    return []


def _left_at(area: Area, way: float) -> float | None:
    """Where a line across the range first meets an area, from the left, m; None: nowhere."""
    start, end = area.distance[:-1], area.distance[1:]
    crossed = (start < way) != (end < way)
    if not crossed.any():
        return None
    share = (way - start[crossed]) / (end - start)[crossed]
    return float((area.right[:-1][crossed] + share * np.diff(area.right)[crossed]).min())


def _target_name(sheet: Sheet) -> str:
    return f"target {sheet.way(sheet.scene.target.distance)}"


def _line(arc: Arc, index: int) -> Style:
    """How an arc is drawn; index: its place, for the dashes of wrong releases."""
    if arc.kind == "release":
        return {
            "color": "#444444",
            "linestyle": (0, _DASHES[index % len(_DASHES)]),
            "linewidth": 1.3,
        }
    return {"mark": _MARK, "draw": _DRAW, "farthest": _FARTHEST}[arc.kind]


def draw_plan(axes: "Axes", sheet: Sheet) -> None:
    """The view from above."""
    scene, read = sheet.scene, sheet.read
    _from_above(axes, sheet, sheet.plan, "", "from above")
    axes.axvline(0.0, color=INK, linewidth=2.0, gid="shooting-line")
    for number, (_, way) in enumerate(scene.quoted):
        axes.axvline(read(way), gid=f"quoted-{number}", **_QUOTED)
    for metres, style, name in (
        (scene.farthest.distance, _FARTHEST, "farthest-carry"),
        (scene.farthest.upper, _UPPER, "farthest-upper"),
    ):
        axes.plot(*_carry_line(sheet, metres), gid=name, **style)
    if scene.gross is not None:
        corner = int(np.argmax(scene.gross.right))
        _name(axes, sheet, scene.gross, corner, words.of_gross(sheet, scene.gross), _GROSS)
    if scene.group is not None and sheet.closer is None:
        corner = int(np.argmin(scene.group.right))
        _name(axes, sheet, scene.group, corner, words.of_group(sheet, scene.group), _GROUP)


def _carry_line(sheet: Sheet, metres: float) -> tuple[Array, Array]:
    """How far an arrow carries, from above, in the reader's unit.

    A circle about the archer where it is as far whichever way it is loosed: in still air over
    level ground. Otherwise a short line across the range where it lands.
    """
    scene, ends = sheet.scene, sheet.plan.aside
    distance = sheet.read(metres)
    if scene.wind_speed == 0.0 and scene.terrain.lowest == scene.terrain.highest:
        aside = np.linspace(*ends, 81)
        aside = aside[np.abs(aside) < distance]
        return np.sqrt(distance**2 - aside**2), aside
    half = 0.5 * _CARRY_LINE / sheet.plan.inches
    middle = float(sheet.read(scene.farthest.right))
    aside = np.clip(np.array((middle - half, middle + half)), *ends)
    return np.full(2, distance), aside


def draw_closer(axes: "Axes", sheet: Sheet) -> None:
    """The group's area from above, to a scale of its own."""
    assert sheet.closer is not None
    _from_above(axes, sheet, sheet.closer, "closer-", "closer")


def _from_above(axes: "Axes", sheet: Sheet, frame: Frame, prefix: str, view: str) -> None:
    """Areas, landings and the target, with both axes.  view: what it is called."""
    scene, read = sheet.scene, sheet.read
    axes.set_xlim(*frame.x)
    axes.set_ylim(*frame.aside[::-1])  # right is down, as for one who looks along the range
    for area, style, name in ((scene.gross, _GROSS, "gross"), (scene.group, _GROUP, "group")):
        if area is not None:
            axes.fill(
                read(area.distance),
                read(area.right),
                facecolor="none",
                linewidth=1.2,
                gid=f"{prefix}{name}-area",
                **style,
            )
    _name_shadow(axes, sheet, frame, prefix)
    for index, arc in enumerate(scene.arcs):
        axes.plot(
            read(arc.distance[-1:]),
            read(arc.right[-1:]),
            marker=_ENDS[arc.kind],
            color=_line(arc, index)["color"],
            markersize=4,
            gid=f"{prefix}landing-{index}",
        )
    half = read(scene.target.half_width)
    _target(axes, [read(scene.target.distance)] * 2, [-half, half], f"{prefix}target-plan")
    across(axes, _ticks(frame.x, 8), f"from the shooting line ({sheet.unit})", apart=2.0)
    places = _ticks(frame.aside, 3)
    upward(axes, places, sides(places), f"{view}\naside ({sheet.unit})")


def _name_shadow(axes: "Axes", sheet: Sheet, frame: Frame, prefix: str) -> None:
    """What the clear ground behind the butt is, where the words fit into it."""
    target, gross = sheet.scene.target, sheet.scene.gross
    inches = frame.inches * float(sheet.read(1.0))  # to a metre
    wide, high = (text_width(words.STOPPED) + 0.1) / inches, _TALL / inches
    if gross is None or 2.0 * target.half_width < high:
        return
    for way in target.distance + np.linspace(0.1 / inches, 3.0 * wide, 25):
        if way + wide < gross.farthest and _is_clear(sheet, way, wide, high):
            axes.text(
                sheet.read(way + 0.5 * wide),
                0.0,
                words.STOPPED,
                ha="center",
                va="center",
                gid=f"{prefix}stopped",
                bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.0},
                parse_math=False,
            )
            return


def _is_clear(sheet: Sheet, way: float, wide: float, high: float) -> bool:
    """Whether no area and no landing lies in a box on the range's middle line, m."""
    scene = sheet.scene
    ways = way + wide * np.linspace(0.0, 1.0, 5)
    for area in (scene.gross, scene.group):
        for side in (-0.5 * high, 0.5 * high):
            if area is not None and _holds(area, ways, np.full(5, side)).any():
                return False
    ends = [(float(arc.distance[-1]), float(arc.right[-1])) for arc in scene.arcs]
    return not any(way < far < way + wide and abs(right) < high for far, right in ends)


def _holds(area: Area, distance: Array, right: Array) -> Mask:
    """Whether places lie in an area: a line from them along the range crosses its edge oddly."""
    odd = np.zeros(distance.shape, dtype=bool)
    for (x, y), (u, w) in pairwise(zip(area.distance, area.right, strict=True)):
        spans = (y > right) != (w > right)
        if spans.any():
            odd ^= spans & (distance < x + (right - y) * (u - x) / (w - y))
    return odd


def _name(axes: "Axes", sheet: Sheet, area: Area, corner: int, text: str, style: Style) -> None:
    """An area's name at the edge of the plan, left or right, led to a corner of its outline."""
    way, aside = sheet.read(area.distance[corner]), sheet.read(area.right[corner])
    left, right = sheet.plan.aside
    off = 0.16 / sheet.plan.inches
    at_right = area.right[corner] == area.rightmost
    backward = way > np.mean(sheet.plan.x)
    axes.annotate(
        text,
        (way, aside),
        (way, right - off if at_right else left + off),
        color=style["edgecolor"],
        ha="right" if backward else "left",
        va="center",
        zorder=6,
        parse_math=False,
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.0},
        arrowprops={
            "arrowstyle": "-",
            "color": style["edgecolor"],
            "linewidth": 0.7,
            "relpos": (float(backward), float(at_right)),
        },
    )


def draw_side(axes: "Axes", sheet: Sheet) -> None:
    """The view from the side: arcs over the ground."""
    scene, read = sheet.scene, sheet.read
    axes.set_xlim(*sheet.plan.x)
    axes.set_ylim(*sheet.side)
    way, ground = sheet.ground()
    soil: Style = {"facecolor": "none", "edgecolor": FAINT, "hatch": "///", "linewidth": 0.0}
    axes.fill_between(way, ground, sheet.side[0], **soil)
    axes.plot(way, ground, color=INK, linewidth=1.0, gid="ground")
    for _, metres in scene.quoted:
        axes.axvline(read(metres), **_QUOTED)
    for index, arc in enumerate(scene.arcs):
        axes.plot(
            read(arc.distance),
            read(arc.height + scene.eye_height),
            gid=f"arc-{index}",
            marker=_ENDS[arc.kind],
            markevery=[len(arc.distance) - 1],
            markersize=4,
            **_line(arc, index),
        )
    axes.plot([0.0, 0.0], [0.0, read(scene.eye_height)], color=INK, linewidth=2.0, gid="archer")
    target = scene.target
    middle = target.distance * np.tan(target.slope) + scene.eye_height
    heights = read([middle - target.half_height, middle + target.half_height])
    _target(axes, [read(target.distance)] * 2, heights, "target-side")
    places = _ticks(sheet.side, 3)
    upward(axes, places, numbers(places), f"from the side\nheight ({sheet.unit})")
    axes.spines["bottom"].set_visible(False)


def _target(axes: "Axes", x: Any, y: Any, name: str) -> None:
    """The target edge on: to scale, and with ends that show where it is too small for that."""
    axes.plot(
        x, y, color=INK, linewidth=3.0, solid_capstyle="butt", gid=name, marker="_", markersize=5
    )


def _ticks(ends: tuple[float, float], parts: int) -> list[float]:
    """Multiples of a nice step between two ends."""
    step = nice_step(ends[1] - ends[0], parts)
    first, last = int(np.ceil(ends[0] / step)), int(np.floor(ends[1] / step))
    return [step * count for count in range(first, last + 1)]
