"""What many set-ups do at some distances: the columns asked for, and no flight beside them."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Mask, Real
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.aim_each import aim_each
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.flight.reach import LeftOut
from arrowloft.core.setup.laws import Kinks, LawsByLane
from arrowloft.core.setup.shot import Shot, as_lanes
from arrowloft.core.sweeping.bound import reach_bound


@dataclass(frozen=True)
class Pin:
    """The pin whose travel is asked for: its radius and the distance travel counts from, m."""

    radius: Real
    zero_distance: Real


@dataclass(frozen=True)
class Flown:
    """Flights of `setups` set-ups to each of `distances`: the distances of one follow each other.

    columns: name -> (setups * distances,), SI, NaN where the distance is not reached, and
        "travel" also where the set-up's zero distance is not.
    reached, unsolved: (setups * distances,), flights that arrive, and those that no method
        follows, as where drag all but stops an arrow; the rest are beyond reach.
    zero_missed: (setups,), those whose zero distance is not reached; none without "travel".
    least_airspeed, greatest_airspeed: along each flight, m/s, NaN where there is none.
    error: greatest estimated error of a launch angle, rad; 0 where none arrived.
    """

    columns: dict[str, Array]
    reached: Mask
    unsolved: Mask
    zero_missed: Mask
    least_airspeed: Array
    greatest_airspeed: Array
    error: float


_OF_AIM = (
    "launch_angle",
    "time",
    "speed",
    "apex_height",
    "apex_distance",
    "descent_angle",
    "drift",
)

QUANTITIES = (
    "launch_speed",
    "launch_angle",
    "travel",
    "time",
    "speed",
    "energy",
    "momentum",
    "apex_height",
    "apex_distance",
    "descent_angle",
    "drift",
)
"""What can be asked for: as in `marks.MarkTable`, and the launch speed."""


def flown(
    shot: Shot,
    setups: int,
    distances: Array,
    wanted: Collection[str],
    kinks: Sequence[Kinks],
    pin: Pin | None = None,
) -> Flown:
    """Aim `setups` set-ups at every distance, m, and take the columns wanted of QUANTITIES.

    shot: its members floats or (setups,); its own `kinks` are not looked at.  kinks: of each
    law, one where the drag is a single law.  pin: needed for "travel", which takes one more
    flight a set-up to the zero distance.  Raises TooNear.
    """
    count = distances.size
    farthest = np.full(setups, distances.max())
    if "travel" in wanted and pin is not None:
        farthest = np.maximum(farthest, pin.zero_distance)
    bound = reach_bound(shot, farthest)
    each, at = _repeated(shot, setups, distances)
    aimed = _aimed(each, at, kinks, at > np.repeat(bound, count))
    columns = {name: getattr(aimed, name) for name in _OF_AIM if name in wanted}
    if "launch_speed" in wanted:
        columns["launch_speed"] = np.repeat(as_lanes(shot.launch_speed, setups), count)
    if "energy" in wanted:
        columns["energy"] = 0.5 * each.arrow.mass * aimed.speed**2
    if "momentum" in wanted:
        columns["momentum"] = each.arrow.mass * aimed.speed
    missed = np.zeros(setups, dtype=bool)
    if "travel" in wanted:
        if pin is None:
            raise ValueError("travel needs a pin")
        at_zero = as_lanes(pin.zero_distance, setups)
        zero = _aimed(shot, at_zero, kinks, at_zero > bound)
        missed = ~zero.reached
        travel = np.tan(aimed.launch_angle.reshape(setups, count))
        travel -= np.tan(zero.launch_angle)[:, None]
        columns["travel"] = (np.reshape(pin.radius, (-1, 1)) * travel).ravel()
    error = np.max(aimed.error, initial=0.0, where=aimed.reached)
    return Flown(
        {name: columns[name] for name in wanted},
        aimed.reached,
        np.isinf(aimed.error),
        missed,
        aimed.least_airspeed,
        aimed.greatest_airspeed,
        float(error),
    )


def _repeated(shot: Shot, setups: int, distances: Array) -> tuple[Shot, Array]:
    """Each set-up once for every distance."""
    if distances.size == 1:
        return shot, np.full(setups, distances[0])
    return shot.take(np.repeat(np.arange(setups), distances.size)), np.tile(distances, setups)


def _aimed(shot: Shot, distance: Array, kinks: Sequence[Kinks], far: Mask) -> Aimed:
    """Aim at all but what is far beyond reach."""
    if not far.any():
        return _solved(shot, distance, kinks)
    result, near = Aimed.unreached(distance), np.flatnonzero(~far)
    if near.size:
        result.store(_solved(shot.take(near), distance[near], kinks), near)
    return result


def _solved(shot: Shot, distance: Array, kinks: Sequence[Kinks]) -> Aimed:
    if isinstance(shot.drag, LawsByLane) and len(shot.drag.laws) > 1:
        return aim_each(shot, distance, kinks, LeftOut())
    return aim(shot.with_(kinks=kinks[0]), distance, left_out=LeftOut())
