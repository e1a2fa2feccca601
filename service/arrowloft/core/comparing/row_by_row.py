"""Set-ups aimed and loosed row by row, as exactly as a single shot: at one distance."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.comparing.curves import Aims
from arrowloft.core.comparing.rows import Rows
from arrowloft.core.comparing.setups import Setups
from arrowloft.core.flight.aim import LEVELS, aimed_flights
from arrowloft.core.flight.aim_each import aim_each
from arrowloft.core.flight.aimed import angle_error
from arrowloft.core.flight.distances import STEP
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import Unsolved, reach
from arrowloft.core.setup.laws import Kinks, alike

MOST_ROWS, MOST_KINKS = 24, 12
"""Rows up to which each is solved by itself, and kinks of a law up to which that is quick."""


def few_enough(setups: Setups, distances: int) -> bool:
    """Whether rows of all set-ups at so many distances are best solved one by one."""
    known = all(len(kinks or ()) <= MOST_KINKS for kinks in setups.kinks)
    return known and setups.count * distances <= MOST_ROWS


def aim_rows(setups: Setups, distances: Array) -> Rows:
    """Aim every set-up at each distance, m, and with more speed and more drag besides.

    Where they cannot be solved together they are halved: one that hardly flies spoils no other.
    """
    try:
        return _aim_rows(setups, distances)
    except Unsolved:
        if setups.count == 1:
            return Rows.blank(1, distances.size, followed=False)
    result = Rows.blank(setups.count, distances.size)
    for half in np.array_split(np.arange(setups.count), 2):
        result.store(aim_rows(setups.some(half), distances), half)
    return result


def _aim_rows(setups: Setups, distances: Array) -> Rows:
    result = Rows.blank(setups.count, distances.size)
    result.farthest[:] = _farthest(setups, float(distances.max()))
    limit = np.where(np.isnan(result.farthest), np.inf, result.farthest)
    within = distances <= limit[:, None]
    row, column = np.nonzero(within)
    if not row.size:
        return result
    plain = aim_each(setups.lanes(row), distances[column], setups.kinks)
    result.aims[:, row, column] = [getattr(plain, name) for name in Aims._fields]
    np.fmax.at(result.error, row, plain.error)
    np.fmin.at(result.least_airspeed, row, plain.least_airspeed)
    np.fmax.at(result.greatest_airspeed, row, plain.greatest_airspeed)
    varied = _changed_angles(setups, row, distances[column])
    result.changes[:, row, column] = (varied - plain.launch_angle) / STEP
    return result


def _changed_angles(setups: Setups, which: Lanes, distance: Array) -> Array:
    """Launch angles with a little more speed, and with a little more drag, (2, lanes), rad."""
    shot, count = setups.lanes(np.tile(which, 2)), which.size
    speed, drag = np.ones((2, 2 * count))
    speed[:count] += STEP
    drag[count:] += STEP
    varied = shot.with_(launch_speed=shot.launch_speed * speed, drag_scale=shot.drag_scale * drag)
    return aim_each(varied, np.tile(distance, 2), setups.kinks).launch_angle.reshape(2, count)


def _farthest(setups: Setups, most: float) -> Array:
    """Farthest distance of each set-up that does not reach `most`, m; NaN for the others.

    Whether it does is first asked of a few points in time, where that is told in a
    thousandth of the time that the reach takes.
    """
    every = np.arange(setups.count)
    found, distance = np.full(setups.count, np.nan), np.full(setups.count, most)
    shot, still = setups.lanes(every), np.zeros(setups.count, dtype=bool)
    flights, goal = aimed_flights(shot.with_(kinks=()), distance, still, LEVELS[0])
    doubtful = every[~np.isfinite(angle_error(flights, goal, distance))]
    for kinks, those in alike(setups.kinks, setups.law_of[doubtful]):
        some = doubtful[those]
        found[some] = reach(setups.lanes(some).with_(kinks=kinks)).distance
    found[found >= most] = np.nan
    return found


@dataclass(frozen=True)
class Met:
    """Where tips meet the target planes, m, (lanes,): up, right, and the estimated error.

    NaN where an arrow never comes there, or could not be followed.
    """

    up: Array
    right: Array
    error: Array


def loose(
    setups: Setups, which: Lanes, angle: Array, distance: Array, *, smooth: bool = False
) -> Met:
    """Loose the set-up `which` at an angle, rad, without yaw, toward each plane, m, (lanes,).

    smooth: no kink of a law that says where it has some is passed: one batch for those.
    Lanes without an angle stay NaN.
    """
    met = Met(*np.full((3, which.size), np.nan))
    kinks = tuple(None if k is None else () for k in setups.kinks) if smooth else setups.kinks
    going = np.flatnonzero(np.isfinite(angle))
    for those, some in alike(kinks, setups.law_of[which[going]]):
        _loose(met, setups, those, which, going[some], (angle, distance))
    return met


def _loose(
    met: Met,
    setups: Setups,
    kinks: Kinks,
    which: Lanes,
    lanes: Lanes,
    aimed: tuple[Array, Array],
) -> None:
    """Loose these lanes together, or half the set-ups at a time where one cannot be followed."""
    shot = setups.lanes(which[lanes]).with_(kinks=kinks)
    try:
        found = impacts(shot, *(values[lanes] for values in aimed))
    except Unsolved:
        each = np.unique(which[lanes])
        if each.size > 1:
            for half in np.array_split(each, 2):
                some = lanes[np.isin(which[lanes], half)]
                _loose(met, setups, kinks, which, some, aimed)
        return
    met.up[lanes], met.right[lanes], met.error[lanes] = found.up, found.right, found.error
