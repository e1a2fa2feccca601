"""Change of set-up: where another set-up hits with the first one's marks, and its own marks.

Both are loosed from the same sight. A mark is a place of the pin, fixed to the bow: its
height above the arrow's line. Held to the first set-up's marks the second leaves at the
angle that this height gives it, and meets the target plane somewhere else.
"""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.flight.impacts import Impacts, impacts
from arrowloft.core.flight.reach import require_reached
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.sight import Sight


@dataclass(frozen=True, kw_only=True)
class FirstMarks:
    """The first set-up's marks: its flights at the distances and, last, at the zero distance."""

    shot: Shot
    sight: Sight
    aimed: Aimed

    @property
    def zero_angle(self) -> float:
        """Launch angle at the zero distance, rad."""
        return float(self.aimed.launch_angle[-1])


@dataclass(frozen=True, kw_only=True)
class SetupChange:
    """Both set-ups at the distances, in the order asked; arrays (rows,), SI.

    launch_angle, time, speed, drift: the first, aimed: angle of the arrow's line over
        the line of sight; time and speed at arrival; its own drift, right positive.
    held_angle: the second's launch angle at the first's mark.
    up, right: where its tip then meets the target plane, from the aim point; NaN where it
        never comes there.
    new_launch_angle, new_time, new_speed, new_drift: the second, aimed by its own marks.
    travel, new_travel: of the pin from the first's zero to the first's and to the second's
        mark, down positive.  move: from the one to the other.
    turns, clicks, reading and new_turns, new_clicks, new_reading: at these marks;
        move_clicks: from the one to the other; None where the sight lacks them.
    error: estimated error of any launch angle, rad.  position_error: of any impact, m.
    airspeed_range, new_airspeed_range: least and greatest airspeed flown, m/s, by the
        first and by the second.
    """

    distance: Array
    launch_angle: Array
    time: Array
    speed: Array
    drift: Array
    held_angle: Array
    up: Array
    right: Array
    new_launch_angle: Array
    new_time: Array
    new_speed: Array
    new_drift: Array
    travel: Array
    new_travel: Array
    move: Array
    turns: Array | None
    new_turns: Array | None
    clicks: Array | None
    new_clicks: Array | None
    move_clicks: Array | None
    reading: Array | None
    new_reading: Array | None
    error: float
    position_error: float
    airspeed_range: tuple[float, float]
    new_airspeed_range: tuple[float, float]


def setup_change(first: Shot, second: Shot, sight: Sight, distances: Array) -> SetupChange:
    """Marks and impacts of two shots (every member a float) at distances, m, by one sight.

    Raises TooNear, BeyondReach, Unsolved for either shot; lanes count the distances and,
    for the first shot alone, the sight's zero distance after them.
    """
    return change_to(second, first_marks(first, sight, distances))


def first_marks(shot: Shot, sight: Sight, distances: Array) -> FirstMarks:
    """Aim the first set-up at the distances, m, and at the sight's zero distance.

    Raises TooNear, BeyondReach, Unsolved; the last lane is the zero distance.
    """
    aimed = aim(shot, np.append(distances, sight.zero_distance))
    require_reached(shot, aimed)
    return FirstMarks(shot=shot, sight=sight, aimed=aimed)


def change_to(second: Shot, marks: FirstMarks) -> SetupChange:
    """The second set-up, shot with the first's marks and by its own.

    Raises TooNear, BeyondReach, Unsolved; lanes count the distances.
    """
    rows, sight = slice(0, -1), marks.sight
    # The zero is aimed at too, in reach or not: the same lanes give the very same angles
    # where the shots are the same.
    old, new = marks.aimed.lanes(rows), aim(second, marks.aimed.distance).lanes(rows)
    require_reached(second, new)
    held = held_angle(marks.shot, second, sight.radius, old.launch_angle)
    hit = impacts(second, held, old.distance)
    travel, new_travel = _travels(marks, second, old.launch_angle, new.launch_angle)
    mark, new_mark = sight.setting(travel), sight.setting(new_travel)
    moved = None
    if mark.clicks is not None and new_mark.clicks is not None:
        moved = new_mark.clicks - mark.clicks
    return SetupChange(
        distance=old.distance,
        launch_angle=old.launch_angle,
        time=old.time,
        speed=old.speed,
        drift=old.drift,
        held_angle=held,
        up=hit.up,
        right=hit.right,
        new_launch_angle=new.launch_angle,
        new_time=new.time,
        new_speed=new.speed,
        new_drift=new.drift,
        travel=travel,
        new_travel=new_travel,
        move=new_travel - travel,
        turns=mark.turns,
        new_turns=new_mark.turns,
        clicks=mark.clicks,
        new_clicks=new_mark.clicks,
        move_clicks=moved,
        reading=mark.reading,
        new_reading=new_mark.reading,
        error=float(max(old.error.max(), new.error.max())),
        position_error=float(
            (hit.error + old.error * np.abs(old.lever))[hit.arrived].max(initial=0.0)
        ),
        airspeed_range=_airspeeds(old),
        new_airspeed_range=_airspeeds(new, hit),
    )


def held_angle(first: Shot, second: Shot, radius: float, launch_angle: Array) -> Array:
    """Launch angle of the second shot at the first's marks, rad, (rows,).

    The pin keeps its height H = h1 - r tan(a1) over the arrow's line, so that
    tan(a2) = (h2 - H) / r with the second's peep height h2.
    """
    raised = (second.peep_height - first.peep_height) / radius
    held: Array = np.arctan(np.tan(launch_angle) + raised)
    return held


def _travels(marks: FirstMarks, second: Shot, old: Array, new: Array) -> tuple[Array, Array]:
    """Travel from the first's zero mark to the marks of the first and of the second, m.

    H(zero) - H(mark) of the pin's heights H = h - r tan(a) over the arrow's line, with the
    launch angles `old` of the first and `new` of the second, (rows,).
    """
    sight, zero = marks.sight, marks.zero_angle
    raised = second.peep_height - marks.shot.peep_height
    return sight.travel(old, zero), sight.travel(new, zero) - raised


def _airspeeds(*flown: Aimed | Impacts) -> tuple[float, float]:
    """Least and greatest airspeed of all the flights that arrive, m/s."""
    least = min(float(np.nanmin(flights.least_airspeed, initial=np.inf)) for flights in flown)
    return least, max(
        float(np.nanmax(flights.greatest_airspeed, initial=-np.inf)) for flights in flown
    )
