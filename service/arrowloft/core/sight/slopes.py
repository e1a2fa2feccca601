"""Slopes: marks up and down hill, and how they compare with marks on the level.

A mark on the level holds on a slope at another distance: the level-equivalent distance.
Beside it stand the two rules that are shot instead - the mark of the horizontal distance,
and the mark of the measured distance uncorrected - with the height by which each misses.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.aim import TOLERANCE, aim, require_ahead
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import BeyondReach, reach, require_reached
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.level_marks import LevelMarks, steepness
from arrowloft.core.sight.sight import Sight


@dataclass(frozen=True, kw_only=True)
class SlopeTable:
    """Marks on slopes, each distance with every slope in turn; arrays (rows,), SI.

    distance: slant.  slope: uphill positive.  launch_angle: the mark there.
    travel, turns, clicks, reading: from the level mark of the zero distance, downward
        positive; None without a sight, or where it lacks them; clicks are whole numbers.
    level_distance: distance on the level whose mark is the same; NaN where no level
        distance needs so small an angle, or none has it as its low one.
    cut: distance - level_distance, to be taken off the measured distance.
    horizontal_distance: distance cos(slope).
    horizontal_up: height at which the level mark of the horizontal distance hits, upward positive.
    slant_up: the same with the level mark of the slant distance.  NaN where the level
        distance is too near or beyond reach, or where the arrow never arrives.
    drift: of the tip, right positive.
    error: estimated numerical error of any launch angle, rad.
    position_error: of any height of an impact, m.
    airspeed_range: least and greatest airspeed flown, m/s.
    """

    distance: Array
    slope: Array
    launch_angle: Array
    travel: Array | None
    turns: Array | None
    clicks: Array | None
    reading: Array | None
    level_distance: Array
    cut: Array
    horizontal_distance: Array
    horizontal_up: Array
    slant_up: Array
    drift: Array
    error: float
    position_error: float
    airspeed_range: tuple[float, float]


def slope_table(
    shot: Shot, distances: Array, slopes: Array, sight: Sight | None = None
) -> SlopeTable:
    """Marks of one shot (every member a float) at each slant distance, m, and slope, rad.

    `shot.slope` plays no part. The wind is level and blows as it does on the level.

    Raises TooNear, BeyondReach, Unsolved; the lanes of the first two count the rows, each
    distance with every slope in turn, then the zero distance where a sight is given.
    """
    distance, slope = np.repeat(distances, slopes.size), np.tile(slopes, distances.size)
    rows, level, hill = distance.size, shot.with_(slope=0.0), shot.with_(slope=slope)
    zero = np.array([] if sight is None else [sight.zero_distance])
    asked = np.concatenate((distance, zero))
    every = shot.with_(slope=np.concatenate((slope, np.zeros(zero.size))))
    require_ahead(shot, asked)
    _require_reach_uphill(shot, distances, slopes)
    aimed = aim(every, asked)
    require_reached(every, aimed)
    here = aimed.lanes(slice(0, rows))
    horizontal = distance * np.cos(slope)
    marks = LevelMarks.over(level, distances, float(here.launch_angle.max()))
    horizontal_up, rule_error = _height(hill, marks.at(horizontal)[0], distance)
    uncorrected = np.repeat(marks.at(distances)[0], slopes.size)
    slant_up, slant_error = _height(hill, uncorrected, distance)
    rising = steepness(hill, here.speed, here.descent_angle) > 0.0
    same = marks.inverse(here.launch_angle, rising, np.where(rising, distance, horizontal))
    # A level shot is its own equivalent, even at the least angle, where it is ill-defined.
    same = np.where(slope == 0.0, distance, same)
    return SlopeTable(
        distance=distance,
        slope=slope,
        launch_angle=here.launch_angle,
        **_setting(sight, here.launch_angle, aimed.launch_angle[rows:]),
        level_distance=same,
        cut=distance - same,
        horizontal_distance=horizontal,
        horizontal_up=horizontal_up,
        slant_up=slant_up,
        drift=here.drift,
        error=float(aimed.error.max()),
        # The level marks are good to TOLERANCE each, and so are all angles they give.
        position_error=max(rule_error, slant_error) + TOLERANCE * float(distance.max()),
        airspeed_range=aimed.airspeed_range,
    )


def _setting(sight: Sight | None, angle: Array, zero: Array) -> dict[str, Any]:
    """Travel and what the sight shows of it; all None without a sight."""
    if sight is None:
        return dict.fromkeys(("travel", "turns", "clicks", "reading"))
    travel = sight.travel(angle, float(zero[0]))
    return {"travel": travel, **vars(sight.setting(travel))}


def _require_reach_uphill(shot: Shot, distances: Array, slopes: Array) -> None:
    """Raise BeyondReach where the steepest way up cannot be reached, which the least can.

    A refusal then costs one search for a reach, not one for every row.
    """
    steepest = float(slopes.max())
    uphill = shot.with_(slope=steepest)
    if aim(uphill, float(distances.max())).reached.all():
        return
    farthest = float(reach(uphill).distance[0])
    beyond = (distances[:, None] > farthest) & (slopes == steepest)
    lanes = tuple(int(lane) for lane in np.flatnonzero(beyond))
    raise BeyondReach(farthest, lanes, case=int(np.argmax(slopes)))


def _height(hill: Shot, angle: Array, distance: Array) -> tuple[Array, float]:
    """Height at which arrows loosed at these angles arrive, and its error; NaN for no angle."""
    loosed = np.flatnonzero(np.isfinite(angle))
    up, error = np.full(angle.size, np.nan), 0.0
    if loosed.size:
        met = impacts(hill.take(loosed), angle[loosed], distance[loosed])
        up[loosed] = met.up
        error = float(np.nan_to_num(met.error).max())
    return up, error
