"""From the series of a request to those of the core: each with its own air, arrow and launch."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from arrowloft.api.conditions import (
    air_of,
    forward_of_eye,
    gravity_of,
    lead_of_tip,
    light_arrow,
)
from arrowloft.api.fitting.fit_members import MEASURED
from arrowloft.api.problems import Fault, Problem
from arrowloft.api.schemas import MOST_FAULTS
from arrowloft.core.arrays import Array
from arrowloft.core.fitting.series import Readings, Series, Track
from arrowloft.core.flight.aim import nearest_aim
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow, Bow
from arrowloft.core.setup.flow import DragLaw
from arrowloft.core.setup.shot import Shot
from arrowloft.plugin import LaunchCase, Note

_USUAL_SPEED = 70.0
"""Where a launch speed starts of which the series say nothing, m/s."""


@dataclass(frozen=True, kw_only=True)
class Measured:
    """One series made ready.

    asked: its members, SI.  series: for the core.  bow, arrow, air: that it was shot with.
    notes: what had to be assumed.
    """

    asked: Mapping[str, Any]
    series: Series
    bow: Bow
    arrow: Arrow
    air: Air
    notes: tuple[Note, ...]

    @property
    def free(self) -> Sequence[str]:
        """Members that the fit finds for this series alone."""
        found: Sequence[str] = self.asked.get("free", ())
        return found

    def case(self, drag: DragLaw) -> LaunchCase:
        """What a launch model may look at."""
        return LaunchCase(self.bow, self.arrow, self.air, drag)


def measured(asked: Mapping[str, Any], most: int) -> list[Measured]:
    """All series of a request; a Problem where they hold more than `most` observations."""
    count = sum(len(item.get(name, ())) for item in asked["series"] for name in MEASURED)
    if count > most:
        detail = f"The series hold {count} observations; a fit takes at most {most}: thin them out."
        raise Problem("invalid-request", detail, (Fault("/series", detail),))
    return [_measured(asked, item, index) for index, item in enumerate(asked["series"])]


def of_request(asked: Mapping[str, Any]) -> tuple[Arrow, Air]:
    """The request's own arrow and air."""
    return Arrow(**asked["arrow"]), air_of(asked, [])


def _require_ahead(item: Mapping[str, Any], shot: Shot, index: int) -> None:
    """A Problem for readings at planes that the tip has passed before the launch."""
    nearest = float(nearest_aim(shot))
    shortest = math.ceil(nearest * 1e3) / 1e3
    detail = (
        f"The tip starts beyond this plane or just before it: the nearest distance that can be "
        f"fitted in this series is {shortest:.3f} m. Correct the distance, or leave it out."
    )
    faults = [
        Fault(f"/series/{index}/{name}/{place}/distance", detail)
        for name in ("speeds", "times", "drops")
        for place, reading in enumerate(item.get(name, ()))
        if reading["distance"] < nearest
    ]
    if faults:
        raise Problem("invalid-request", detail, faults[:MOST_FAULTS])


def _measured(asked: Mapping[str, Any], item: Mapping[str, Any], index: int) -> Measured:
    notes: list[Note] = []
    bow = Bow(**asked["bow"])
    arrow = Arrow(**item.get("arrow", asked["arrow"]))
    own = {**asked, "air": {**asked.get("air", {}), **item.get("air", {})}}
    try:
        air = air_of(own, notes)
    except Problem as error:
        where = f"/series/{index}/air" if "air" in item else "/air"
        faults = [Fault(where, fault.detail) for fault in error.errors]
        raise Problem(error.code, error.detail, faults) from error
    wind = item.get("wind", {})
    shot = Shot(
        launch_speed=item.get("launch_speed", _USUAL_SPEED),
        arrow=arrow,
        drag=_without_a_law,
        air=air,
        peep_height=bow.peep_height,
        launch_forward=forward_of_eye(bow, arrow, notes),
        tip_lead=lead_of_tip(arrow, notes),
        gravity=gravity_of(asked, notes),
        slope=item.get("slope", 0.0),
        wind_speed=wind.get("speed", 0.0),
        wind_from=wind.get("from", 0.0),
    )
    _require_ahead(item, shot, index)
    notes += light_arrow(bow, arrow)
    series = Series(
        shot=shot,
        speeds=_readings(item, "speeds", "speed"),
        times=_readings(item, "times", "time"),
        drops=_readings(item, "drops", "drop"),
        track=_track(item),
        aimed_at=item.get("aimed_at"),
    )
    return Measured(asked=item, series=series, bow=bow, arrow=arrow, air=air, notes=tuple(notes))


def _without_a_law(*_: Any) -> Array:
    """The drag law of a series, which is what was measured: each variant of a model brings its own.

    Asked for an area all the same, it is our own fault, and must not look like a flight.
    """
    raise AssertionError("a series was flown without a model's drag law")


def _column(items: Sequence[Mapping[str, Any]], name: str) -> Array:
    return np.array([item.get(name, np.nan) for item in items], dtype=float)


def _readings(item: Mapping[str, Any], members: str, value: str) -> Readings:
    given = item.get(members, ())
    return Readings(
        distance=_column(given, "distance"),
        value=_column(given, value),
        uncertainty=_column(given, "uncertainty"),
    )


def _track(item: Mapping[str, Any]) -> Track:
    given = item.get("positions", ())
    names = ("time", "distance", "height", "right", "uncertainty")
    return Track(
        **{name: _column(given, name) for name in names},
        of_tip=item.get("tracked") == "tip",
    )


def first_speed(series: Sequence[Series]) -> float:
    """Where a common launch speed starts, m/s: the greatest that was seen, or a usual one."""
    seen = [float(item.speeds.value.max()) for item in series if item.speeds.value.size]
    if not seen:
        seen = [pace for item in series for pace in _paces(item)]
    return min(max(max(seen, default=_USUAL_SPEED), 10.0), 150.0)


def _paces(series: Series) -> list[float]:
    """Mean speeds between the ends of what was timed, m/s."""
    found = []
    for time, distance in (
        (series.times.value, series.times.distance),
        (series.track.time, series.track.distance),
    ):
        if time.size > 1 and np.ptp(time) > 0.0:
            first, last = int(np.argmin(time)), int(np.argmax(time))
            found.append(float((distance[last] - distance[first]) / (time[last] - time[first])))
    return found
