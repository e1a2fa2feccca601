"""Sight marks: one shot and one sight at many distances."""

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.flight.distances import Aims, Sensitivity, aim_at_distances
from arrowloft.core.flight.geometry import windage_travel
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.sight import Sight


@dataclass(frozen=True, kw_only=True)
class Pins:
    """Fixed pins, in the order given: m.

    travel: below the first pin, downward positive.  gap: below the pin before; 0 for the first.
    """

    distance: Array
    launch_angle: Array
    travel: Array
    gap: Array


@dataclass(frozen=True, kw_only=True)
class MarkTable:
    """Marks in the order asked; arrays (rows,), SI.

    launch_angle, time, speed, descent_angle, drift, apex_*: as in `Aimed`.
    travel: of the pin from the zero distance, downward positive.
    energy, momentum: of the arrow at arrival.
    windage_travel: sideways travel of the pin that cancels the drift, right positive.
    travel_uncertainty: standard uncertainty of the travel, the zero mark being proven.
    height_uncertainty: the same as a height of the impact at the target.
    rise_per_tangent: rise of the impact per tangent of the launch angle, m.
    turns, clicks, reading, windage_turns, windage_clicks: None where the sight lacks them;
        clicks are whole numbers.
    click_shift: height of the impact that rounding to whole clicks adds, upward positive.
    error: estimated numerical error of any angle, rad.
    airspeed_range: least and greatest airspeed flown, m/s.
    """

    distance: Array
    launch_angle: Array
    travel: Array
    time: Array
    speed: Array
    energy: Array
    momentum: Array
    apex_height: Array
    apex_distance: Array
    descent_angle: Array
    drift: Array
    windage_travel: Array
    height_uncertainty: Array
    travel_uncertainty: Array
    rise_per_tangent: Array
    turns: Array | None
    clicks: Array | None
    click_shift: Array | None
    reading: Array | None
    windage_turns: Array | None
    windage_clicks: Array | None
    pins: Pins | None
    error: float
    airspeed_range: tuple[float, float]

    def rows(self, chosen: slice) -> "MarkTable":
        """Some of the rows."""
        arrays: dict[str, Any] = {
            item.name: value[chosen]
            for item in fields(self)
            if isinstance(value := getattr(self, item.name), np.ndarray)
        }
        return replace(self, **arrays)


def mark_table(
    shot: Shot,
    sight: Sight,
    distances: Array,
    *,
    speed_uncertainty: float = 0.0,
    drag_uncertainty: float = 0.0,
) -> MarkTable:
    """Marks of one shot (every member a float) at each distance, m, in the order given.

    speed_uncertainty: standard uncertainty of the launch speed, m/s.
    drag_uncertainty: of the drag area, as a share of it.

    Raises TooNear, BeyondReach, Unsolved; the lanes of the first two count the distances,
    then the zero distance, then the pins.
    """
    rows = distances.size
    aims = aim_at_distances(shot, np.concatenate((distances, [sight.zero_distance], sight.pins)))
    angle = aims.aimed.launch_angle
    zero = float(angle[rows])
    here = aims.aimed.lanes(slice(0, rows))
    travel = sight.travel(here.launch_angle, zero)
    doubt = _tangent_doubt(
        aims, rows, speed_uncertainty / float(shot.launch_speed), drag_uncertainty
    )
    rise = _rise_per_tangent(here)
    mass = float(shot.arrow.mass)
    return MarkTable(
        distance=distances,
        launch_angle=here.launch_angle,
        travel=travel,
        time=here.time,
        speed=here.speed,
        energy=0.5 * mass * here.speed**2,
        momentum=mass * here.speed,
        apex_height=here.apex_height,
        apex_distance=here.apex_distance,
        descent_angle=here.descent_angle,
        drift=here.drift,
        height_uncertainty=doubt * rise,
        travel_uncertainty=doubt * sight.radius,
        rise_per_tangent=rise,
        **_elevation(sight, travel, rise),
        **_windage(sight, here.launch_angle, aims.yaw[:rows]),
        pins=_pins(sight, angle[rows + 1 :]),
        error=float(aims.aimed.error.max()),
        airspeed_range=aims.aimed.airspeed_range,
    )


def _rise_per_tangent(aimed: Aimed) -> Array:
    """Rise of the impact per tangent of the launch angle, m."""
    rise: Array = aimed.lever * np.cos(aimed.launch_angle) ** 2
    return rise


def _tangent_doubt(aims: Aims, rows: int, speed: float, drag: float) -> Array:
    """Standard uncertainty of tan(angle) - tan(zero angle), the inputs being independent."""
    steep = 1.0 / np.cos(aims.aimed.launch_angle) ** 2

    def change(per_share: Array) -> Array:
        slope = steep * per_share
        from_zero: Array = slope[:rows] - slope[rows]
        return from_zero

    part: Sensitivity = aims.sensitivity
    return np.hypot(change(part.speed) * speed, change(part.drag) * drag)


def _elevation(sight: Sight, travel: Array, rise: Array) -> dict[str, Any]:
    setting, thread = sight.setting(travel), sight.elevation
    shift = None
    if thread is not None and setting.clicks is not None:
        shift = (thread.travel_of(setting.clicks) - travel) / sight.radius * rise
    return {
        "turns": setting.turns,
        "clicks": setting.clicks,
        "click_shift": shift,
        "reading": setting.reading,
    }


def _windage(sight: Sight, angle: Array, yaw: Array) -> dict[str, Any]:
    travel = np.asarray(windage_travel(sight.radius, angle, yaw)) + 0.0
    setting = sight.windage_setting(travel)
    return {
        "windage_travel": travel,
        "windage_turns": setting.turns,
        "windage_clicks": setting.clicks,
    }


def _pins(sight: Sight, angle: Array) -> Pins | None:
    if not sight.pins:
        return None
    travel = sight.travel(angle, float(angle[0]))
    gap = np.zeros(travel.size)
    gap[1:] = travel[1:] - travel[:-1]
    return Pins(distance=np.array(sight.pins), launch_angle=angle, travel=travel, gap=gap)
