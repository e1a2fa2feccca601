"""A spirit level that is itself off: the roll at which it reads level, and what that does."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Real
from arrowloft.core.flight.aim import aim, require_ahead
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import BeyondReach, reach, require_reached
from arrowloft.core.level.roll_series import split_finely
from arrowloft.core.setup.shot import Shot


def false_roll(second_axis: Real, third_axis: Real, slope: Real, launch_angle: Real = 0.0) -> Array:
    """Roll of the bow, rad, at which the level on its sight reads level.

    second_axis: the level's error about the arrow's line, e2: on level ground it reads
        level when the bow is rolled by e2; positive, top limb to the right.
    third_axis: the level's error about the bow's upright, e3: positive, its right end is
        turned away from the archer.
    slope: of the line of sight, uphill positive.  launch_angle: arrow's line above it.
    All rad, all broadcast; the result has their shape. Positive roll: top limb right.

    The vial is a line fixed in the bow, whose arrow points forward,

        v = cos(e3) (cos(e2) right + sin(e2) up) + sin(e3) forward,

    and the bow is pitched by the launch angle a about its right, then rolled by b about the
    line of sight. Before the roll v lies, along the line of sight, across it upward and to
    the right, at

        (l, u, w) = (sin(e3) cos(a) - cos(e3) sin(e2) sin(a),
                     sin(e3) sin(a) + cos(e3) sin(e2) cos(a),
                     cos(e3) cos(e2)).

    The roll turns up toward the right: upward it leaves u cos(b) - w sin(b). The vertical is
    (sin(slope), cos(slope), 0), so that v has no vertical component where

        A sin(b) - B cos(b) = C,  A = w cos(slope),  B = u cos(slope),  C = l sin(slope),

    whose root near 0 is b = atan2(B, A) + asin(C / hypot(A, B)).

    With e3 = slope = a = 0, b = e2; with e2 = a = 0, sin(b) = tan(e3) tan(slope).

    ValueError where no roll brings the vial level: the slope is steeper than the vial is
    square to the line of sight.
    """
    along, upward, right = _vial(second_axis, third_axis, launch_angle)
    a, b, c = right * np.cos(slope), upward * np.cos(slope), along * np.sin(slope)
    size = np.hypot(a, b)
    if not np.all(np.abs(c) <= size):
        raise ValueError("no roll of the bow brings its level to read level on this slope")
    # size is 0 only where c is 0 too: a vial that is level at any roll, for which 0 will do.
    share = np.divide(c, size, out=np.zeros(np.broadcast(c, size).shape), where=size > 0.0)
    return np.asarray(np.arctan2(b, a) + np.arcsin(share))


def _vial(second_axis: Real, third_axis: Real, launch_angle: Real) -> tuple[Array, Array, Array]:
    """The vial's direction before the bow is rolled: along the line of sight, up, right."""
    across = np.cos(third_axis)
    right = np.asarray(across * np.cos(second_axis))
    up, forward = across * np.sin(second_axis), np.sin(third_axis)
    sine, cosine = np.sin(launch_angle), np.cos(launch_angle)
    along = np.asarray(forward * cosine - up * sine)
    return along, np.asarray(forward * sine + up * cosine), right


@dataclass(frozen=True, kw_only=True)
class LevelTable:
    """What a level that is off does; a row for each slope and distance, slope by slope, SI.

    slope, distance, launch_angle; false_roll: roll of the bow whose bubble is centred, rad;
    right, up: shift of the impact by it, m.  All (rows,).
    error: estimated error of any shift, m.  airspeed_range: flown, m/s.
    """

    slope: Array
    distance: Array
    launch_angle: Array
    false_roll: Array
    right: Array
    up: Array
    error: float
    airspeed_range: tuple[float, float]


def level_table(
    shot: Shot, slopes: Array, distances: Array, second_axis: float, third_axis: float
) -> LevelTable:
    """False rolls of a level that is off, and their shifts, at slopes, rad, and distances, m.

    second_axis, third_axis: as in `spirit_level.false_roll`, rad. Each is aimed at its
    slope with the bow level, then flown with the bow rolled until the bubble is centred.

    Raises TooNear, BeyondReach, Unsolved, whose lanes are the rows; the second says as its
    case which slope it is.
    """
    require_ahead(shot, distances)
    shot = split_finely(shot)
    _require_reach_uphill(shot, slopes, distances)
    slope, distance = np.repeat(slopes, distances.size), np.tile(distances, slopes.size)
    inclined = shot.with_(slope=slope)
    aimed = aim(inclined, distance)
    require_reached(inclined, aimed)
    angle = aimed.launch_angle
    roll = np.broadcast_to(false_roll(second_axis, third_axis, slope, angle), slope.shape)
    both = shot.with_(slope=np.tile(slope, 2), roll=np.concatenate((roll, np.zeros(slope.size))))
    met = impacts(both, np.tile(angle, 2), np.tile(distance, 2))
    right, up = (v[: slope.size] - v[slope.size :] for v in (met.right, met.up))
    least, greatest = met.airspeed_range
    return LevelTable(
        slope=slope,
        distance=distance,
        launch_angle=angle,
        false_roll=roll,
        right=right,
        up=up,
        error=2.0 * float(np.nanmax(met.error)) + float(np.max(aimed.error * distance)),
        airspeed_range=(least, greatest),
    )


def _require_reach_uphill(shot: Shot, slopes: Array, distances: Array) -> None:
    """Raise BeyondReach where the steepest way up cannot be reached, which the least can.

    A refusal then costs one search for a reach, not one for every row.
    """
    steepest = float(slopes.max())
    uphill = shot.with_(slope=steepest)
    if aim(uphill, float(distances.max())).reached.all():
        return
    farthest = float(reach(uphill).distance[0])
    beyond = (slopes[:, None] == steepest) & (distances > farthest)
    lanes = tuple(int(lane) for lane in np.flatnonzero(beyond))
    raise BeyondReach(farthest, lanes, case=int(np.argmax(slopes)))
