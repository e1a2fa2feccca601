"""Set-ups aimed and loosed row by row: past kinks, near the reach, at a single distance."""

from dataclasses import dataclass, fields

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.comparing.curves import Aims, Span
from arrowloft.core.comparing.setups import Setups
from arrowloft.core.flight.aim import LEVELS, aimed_flights
from arrowloft.core.flight.aim_each import aim_each
from arrowloft.core.flight.aimed import angle_error
from arrowloft.core.flight.distances import FEW, STEP
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import Unsolved, reach
from arrowloft.core.series import chebyshev
from arrowloft.core.setup.laws import Kinks, alike


@dataclass(frozen=True)
class Rows:
    """Aimed flights, a row of every array for each set-up; NaN where out of reach.

    aims: in the order of `Aims`, (quantities, set-ups, distances).
    changes: of the launch angle, rad, per relative change of speed and of drag, (2, ...).
    farthest: distance that a set-up reaches, m, where that is not all; else NaN.
    followed: whether a set-up's flights could be solved.
    error: estimated error of any launch angle, rad.
    least_airspeed, greatest_airspeed: m/s; NaN where no distance is reached.
    """

    aims: Array
    changes: Array
    farthest: Array
    followed: Mask
    error: Array
    least_airspeed: Array
    greatest_airspeed: Array

    @classmethod
    def blank(cls, count: int, distances: int, *, followed: bool = True) -> "Rows":
        """Rows to be filled."""
        return cls(
            np.full((len(Aims._fields), count, distances), np.nan),
            np.full((2, count, distances), np.nan),
            np.full(count, np.nan),
            np.full(count, followed),
            np.zeros(count),
            np.full(count, np.nan),
            np.full(count, np.nan),
        )

    def store(self, part: "Rows", which: Lanes) -> None:
        """Fill in some of the set-ups."""
        for item in fields(self):
            values = getattr(self, item.name)
            if values.ndim > 1:
                values[:, which] = getattr(part, item.name)
            else:
                values[which] = getattr(part, item.name)


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
    _change(result, setups, distances, within)
    return result


def _change(result: Rows, setups: Setups, distances: Array, within: Mask) -> None:
    """Fill in the changes: at every distance, or at a FEW of many, which tell three digits.

    Toward the reach they grow too fast for that.
    """
    angle, many = result.aims[0], distances.size > 2 * FEW
    whole: Mask = np.asarray(within.all(axis=1) & many)
    row, column = np.nonzero(within & ~whole[:, None])
    if row.size:
        varied = _changed_angles(setups, row, distances[column])
        result.changes[:, row, column] = (varied - angle[row, column]) / STEP
    some = np.flatnonzero(whole)
    if some.size:
        span = Span(float(distances.min()), float(distances.max()))
        few = np.tile(span.knots(FEW), some.size)
        which = np.repeat(some, FEW)
        plain = aim_each(setups.lanes(which), few, setups.kinks).launch_angle
        change = (_changed_angles(setups, which, few) - plain) / STEP
        series = change.reshape(2, some.size, FEW) @ chebyshev(FEW)[1]
        result.changes[:, some] = series @ span.terms(distances, FEW)


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


def aim_lanes(setups: Setups, which: Lanes, distance: Array) -> tuple[Array, Array]:
    """Launch angle, rad, and airspeed at arrival, m/s, of the set-up `which` at each distance, m.

    NaN where out of reach, or where a flight cannot be followed.
    """
    try:
        found = aim_each(setups.lanes(which), distance, setups.kinks)
    except Unsolved:
        if which.size == 1:
            return np.full(1, np.nan), np.full(1, np.nan)
        halves = np.array_split(np.arange(which.size), 2)
        parts = [aim_lanes(setups, which[half], distance[half]) for half in halves]
        angle, airspeed = (np.concatenate(values) for values in zip(*parts, strict=True))
        return angle, airspeed
    return found.launch_angle, found.arrival_airspeed


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
