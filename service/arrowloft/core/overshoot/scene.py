"""What a picture of an overshoot shows: arcs over the ground, areas, quoted distances (SI)."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.stepping import integrate, tip_of
from arrowloft.core.overshoot.carry import Area, Carry, Target
from arrowloft.core.overshoot.guidance import Quoted
from arrowloft.core.overshoot.terrain import Terrain
from arrowloft.core.setup.shot import Shot

Kind = Literal["mark", "release", "draw", "farthest"]

_POINTS = 61
"""Points of an arc: straight lines between them are within 1 part in 2000 of its height."""

_SHORTEST = 1e-3  # s; an arrow may be in the ground as it leaves the string
_TOLERANCE = 1e-6  # m and relative; a line of a picture is some centimetres wide on the ground


@dataclass(frozen=True, kw_only=True)
class Loose:
    """One way to loose an arrow, and when its tip lands.

    kind: aimed at the mark, a wrong release, an arrow loosed at the draw, or the farthest.
    elevation: of the arrow's line above level, rad.  high: the same above the mark's.
    time: launch to landing, s.
    """

    kind: Kind
    elevation: float
    high: float
    time: float


@dataclass(frozen=True, kw_only=True)
class Arc:
    """The tip's path from launch to landing: level way, right and height over the eye, m."""

    kind: Kind
    high: float
    distance: Array
    right: Array
    height: Array


@dataclass(frozen=True, kw_only=True)
class Scene:
    """All that is drawn.

    eye_height: of the eye over the archer's ground, m.  quoted: each with its distance from
    the shooting line, m.  group, gross: None where none is known or all of it is stopped.
    gross_high, gross_aside: the gross errors that area is for, rad.
    wind_speed, wind_from: as of a shot.  arrow_mass: kg.  launch_speed: m/s.
    cautions: sentences that belong under the picture, the foremost first.
    """

    eye_height: float
    terrain: Terrain
    target: Target
    arcs: tuple[Arc, ...]
    farthest: Carry
    group: Area | None
    gross: Area | None
    quoted: tuple[tuple[Quoted, float], ...]
    gross_high: float
    gross_aside: float
    wind_speed: float
    wind_from: float
    arrow_mass: float
    launch_speed: float
    cautions: tuple[str, ...]


def arc(shot: Shot, loose: Loose) -> Arc:
    """The path of one shot (every member a float), loosed straight ahead."""
    level = shot.with_(slope=0.0)
    end = max(loose.time, _SHORTEST)

    def landed(time: float, _: Array) -> float:
        return time - end

    landed.terminal = True  # type: ignore[attr-defined]
    times = np.linspace(0.0, end, _POINTS)
    flown = integrate(
        level,
        loose.elevation,
        events=landed,
        dense_output=True,
        rtol=_TOLERANCE,
        atol=_TOLERANCE,
    )
    tips = np.array([tip_of(level, state) for state in flown.sol(times).T])
    return Arc(
        kind=loose.kind,
        high=loose.high,
        distance=tips[:, 0],
        right=tips[:, 2],
        height=tips[:, 1],
    )
