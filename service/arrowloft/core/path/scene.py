"""What a picture of a clearance shows: all that the arrow takes up, and what it passes (SI)."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from arrowloft.core.archer.groups import Group
from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.flight.scene import Flown
from arrowloft.core.path.clearance import Loosed, Passage
from arrowloft.core.path.ground import Ground
from arrowloft.core.path.patches import EDGES, Patches, margins, nearest_edges
from arrowloft.core.path.scatter import Corridor, Scatter, corridor, touch_chance

_PLANES = 97
"""Planes at which the arrow is looked at; those of the obstacles come on top."""

_BEYOND = 1.02
"""How far the ground is drawn, as a share of the target's distance."""


@dataclass(frozen=True, kw_only=True)
class Passed:
    """One obstacle and how the arrow passes it, m.

    distance: of its plane.  bottom, top, left, right: edges, from the line of sight; infinite
    where unbounded.  up, aside: where the tip passes.  taken: what must be free there, of the
    arrow alone or of the share of the group.  margin: zero or less where they touch.
    edge: the nearest one.  chance: of touching; NaN without a group.
    """

    name: str
    distance: float
    bottom: float
    top: float
    left: float
    right: float
    up: float
    aside: float
    taken: Corridor
    margin: float
    edge: str
    chance: float


@dataclass(frozen=True, kw_only=True)
class UnderHousing:
    """Marks against the sight's housing, m, (marks,), the distance rising.

    farthest: mark up to which the arrow passes; NaN where there is none.
    always: whether it meets the housing at every mark.
    """

    distance: Array
    clearance: Array
    farthest: float
    always: bool


@dataclass(frozen=True, kw_only=True)
class Scene:
    """All that is drawn.

    flown: the tip's path.  band: what the whole arrow takes up at `flown.distance`.
    lane: what must be free for `share` of the group's arrows; None without a group.
    envelope: radius of what the arrow takes up about its axis, m.
    passed: the obstacles, in the order given.
    ground: distance along the line of sight and place over it, (2, corners), m; None: not given.
    face: radius of the target face; None: not given.  housing: None: not asked for.
    alarms: sentences on what must not be shot, over the picture.  cautions: those under it.
    """

    flown: Flown
    band: Corridor
    lane: Corridor | None
    share: float
    envelope: float
    passed: tuple[Passed, ...]
    ground: Array | None
    face: float | None
    housing: UnderHousing | None
    alarms: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Way:
    """How one arrow passes all planes that are drawn, from the first that its tip meets."""

    flown: Flown
    band: Corridor
    lane: Corridor | None
    passed: tuple[Passed, ...]


def way(
    loosed: Loosed,
    envelope: float,
    group: Group | None,
    share: float,
    names: Sequence[str],
    distance: Array,
    patches: Patches,
) -> Way:
    """The arrow's way past obstacles at these distances, m, (obstacles,). Raises Unsolved."""
    shot, aimed = loosed.shot, loosed.aimed
    start = max(float(shot.launch_forward) + float(shot.tip_lead), 0.0)
    grid = np.linspace(start, loosed.target, _PLANES)
    passage = loosed.passes(np.unique(np.concatenate((grid, distance))))
    scatter = None if group is None else Scatter.of(group, loosed, passage)
    band = corridor(passage.swept, envelope, None, share)
    lane = None if scatter is None else corridor(passage.swept, envelope, scatter, share)
    # Of planes that the tip stands beyond as the arrow leaves the string, nothing is drawn.
    drawn = passage.distance >= start
    return Way(
        flown=Flown(
            distance=passage.distance[drawn],
            up=passage.swept.tip_up[drawn],
            right=passage.swept.tip_right[drawn],
            apex_distance=float(aimed.apex_distance[0]),
            apex_height=float(aimed.apex_height[0]),
            launch_angle=loosed.launch_angle,
            descent_angle=float(aimed.descent_angle[0]),
            target=loosed.target,
            drift=loosed.drift,
            shot=shot,
        ),
        band=_some(band, drawn),
        lane=None if lane is None else _some(lane, drawn),
        passed=_passed(passage, envelope, scatter, lane or band, names, distance, patches),
    )


def _some(edges: Corridor, which: Lanes | Mask) -> Corridor:
    return Corridor(**{side: getattr(edges, side)[which] for side in EDGES})


def _passed(
    passage: Passage,
    envelope: float,
    scatter: Scatter | None,
    taken: Corridor,
    names: Sequence[str],
    distance: Array,
    patches: Patches,
) -> tuple[Passed, ...]:
    """The obstacles; passage, scatter, taken: at planes among which theirs are."""
    at = np.searchsorted(passage.distance, distance).astype(np.intp)
    swept = passage.swept.take(at)
    margin, edges = margins(swept, patches, envelope), nearest_edges(swept, patches)
    chance = np.full(distance.size, np.nan)
    if scatter is not None:
        there = Scatter(vertical=scatter.vertical[at], sideways=scatter.sideways[at])
        chance = touch_chance(swept, patches, envelope, there)
    return tuple(
        Passed(
            name=name,
            distance=float(distance[i]),
            **{side: float(getattr(patches, side)[i]) for side in EDGES},
            up=float(swept.tip_up[i]),
            aside=float(swept.tip_right[i]),
            taken=_some(taken, at[i : i + 1]),
            margin=float(margin[i]),
            edge=EDGES[edges[i]],
            chance=float(chance[i]),
        )
        for i, name in enumerate(names)
    )


def ground_line(ground: Ground) -> Array:
    """Distance along the line of sight and place over it of the ground, (2, corners), m.

    A corner at (x, y) is at x cos(slope) + y sin(slope), y cos(slope) - x sin(slope).
    """
    cosine, sine = np.cos(ground.slope), np.sin(ground.slope)
    along, over = ground.x * cosine + ground.y * sine, ground.y * cosine - ground.x * sine
    end = _BEYOND * ground.target
    inner = (along > 0.0) & (along < end)
    distance = np.concatenate(([0.0], along[inner], [end]))
    return np.array([distance, np.interp(distance, along, over)])
