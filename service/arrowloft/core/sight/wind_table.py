"""The wind's effect: what it does to arrows loosed with still-air marks, and what cancels it."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.flight.geometry import windage_travel
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import BeyondReach, reach, require_reached
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.sight import Sight


@dataclass(frozen=True, kw_only=True)
class WindTable:
    """Each distance with each speed with each direction in turn; arrays (rows,), SI.

    wind_from: where the wind blows from, clockwise from the target.
    drift, up, time: of the arrow loosed with the still-air mark: where its tip meets the
        target plane, right and up positive, and when; NaN where it never comes there.
    launch_angle_change, windage_angle: of the bow, up and right positive, that bring the
        tip back to the aim point.
    windage_travel: of the pin that yaws the bow so, right positive.
    elevation_travel: of the pin from the still-air mark, down positive.
    *_turns, *_clicks: None where the sight lacks them; clicks are whole numbers.
    error: estimated numerical error of any angle, rad.
    position_error: of any impact, m.
    airspeed_range: least and greatest airspeed flown, m/s.
    """

    distance: Array
    wind_speed: Array
    wind_from: Array
    drift: Array
    up: Array
    time: Array
    launch_angle_change: Array
    windage_angle: Array
    windage_travel: Array | None
    windage_turns: Array | None
    windage_clicks: Array | None
    elevation_travel: Array | None
    elevation_turns: Array | None
    elevation_clicks: Array | None
    error: float
    position_error: float
    airspeed_range: tuple[float, float]


def wind_table(
    shot: Shot, distances: Array, speeds: Array, directions: Array, sight: Sight | None = None
) -> WindTable:
    """The wind's effect on one shot (every member a float) at each distance, m.

    speeds: of the wind, m/s.  directions: it blows from, rad.  `shot.wind_speed` and
    `shot.wind_from` play no part.

    Raises TooNear, BeyondReach, Unsolved, also for a distance that is out of reach in one
    of the winds; the lanes of the first two count `distances`.
    """
    calm = shot.with_(wind_speed=0.0, wind_from=0.0)
    still = aim(calm, distances)
    require_reached(calm, still)
    winds = speeds.size * directions.size
    of = np.repeat(np.arange(distances.size), winds)
    speed = np.tile(np.repeat(speeds, directions.size), distances.size)
    comes_from = np.tile(directions, distances.size * speeds.size)
    _require_reach_upwind(calm, distances, speed[:winds], comes_from[:winds])
    rows = _Rows(of, speed, comes_from)
    effect = _effect(calm, still, rows)
    angle = still.launch_angle[of] + effect["launch_angle_change"]
    return WindTable(
        distance=distances[of],
        wind_speed=speed,
        wind_from=comes_from,
        **effect,
        **_settings(sight, still.launch_angle[of], angle, effect["windage_angle"]),
    )


@dataclass(frozen=True)
class _Rows:
    """Rows of the table: which distance, wind speed, and where it blows from."""

    of: Lanes
    speed: Array
    comes_from: Array


def _effect(calm: Shot, still: Aimed, rows: _Rows) -> dict[str, Any]:
    """What the wind does and what cancels it; exactly nothing where none blows."""
    count = rows.of.size
    found = {
        name: np.zeros(count) for name in ("drift", "up", "launch_angle_change", "windage_angle")
    }
    found["time"] = still.time[rows.of]
    least, greatest = [still.least_airspeed], [still.greatest_airspeed]
    errors, position_error = [still.error], 0.0
    blowing = np.flatnonzero(rows.speed > 0.0)
    if blowing.size:
        of = rows.of[blowing]
        windy = calm.with_(wind_speed=rows.speed[blowing], wind_from=rows.comes_from[blowing])
        met = impacts(windy, still.launch_angle[of], still.distance[of])
        steered = aim(windy, still.distance[of], windage=True)
        _require_reached(windy, steered, of)
        found["drift"][blowing], found["up"][blowing] = met.right, met.up
        found["time"][blowing] = met.time
        found["launch_angle_change"][blowing] = steered.launch_angle - still.launch_angle[of]
        found["windage_angle"][blowing] = steered.yaw
        for flown in (met, steered):
            least.append(flown.least_airspeed)
            greatest.append(flown.greatest_airspeed)
        errors.append(steered.error)
        mark = float((still.error * np.abs(still.lever)).max())
        position_error = float(np.nan_to_num(met.error).max()) + mark
    return found | {
        "error": float(np.concatenate(errors).max()),
        "position_error": position_error,
        "airspeed_range": (
            float(np.nanmin(np.concatenate(least))),
            float(np.nanmax(np.concatenate(greatest))),
        ),
    }


def _require_reach_upwind(calm: Shot, distances: Array, speed: Array, comes_from: Array) -> None:
    """Raise BeyondReach where the strongest head wind leaves a distance out of reach.

    It leaves the least; a refusal then costs one search for a reach, not one for every row.
    """
    worst = int(np.argmax(speed * np.cos(comes_from)))
    windy = calm.with_(wind_speed=float(speed[worst]), wind_from=float(comes_from[worst]))
    if aim(windy, float(distances.max()), windage=True).reached.all():
        return
    farthest = float(reach(windy, np.ones(1, dtype=bool)).distance[0])
    lanes = tuple(int(lane) for lane in np.flatnonzero(distances > farthest))
    raise BeyondReach(farthest, lanes, case=worst)


def _require_reached(windy: Shot, steered: Aimed, of: Lanes) -> None:
    """Raise BeyondReach, its lanes counting the distances, unless every row is reached."""
    try:
        require_reached(windy, steered)
    except BeyondReach as error:
        lanes = tuple(dict.fromkeys(int(of[lane]) for lane in error.lanes))
        raise BeyondReach(error.farthest, lanes) from None


def _settings(sight: Sight | None, still: Array, angle: Array, yaw: Array) -> dict[str, Any]:
    """What to set the sight to; all None without one."""
    names = [
        f"{side}_{name}"
        for side in ("windage", "elevation")
        for name in ("travel", "turns", "clicks")
    ]
    if sight is None:
        return dict.fromkeys(names)
    aside = np.asarray(windage_travel(sight.radius, angle, yaw)) + 0.0
    down = sight.radius * (np.tan(angle) - np.tan(still))
    across, along = sight.windage_setting(aside), sight.setting(down)
    values = (aside, across.turns, across.clicks, down, along.turns, along.clicks)
    return dict(zip(names, values, strict=True))
