"""Aimed arrows whose bow is rolled about the line of sight: where they go instead.

The bow is aimed level, then rolled, the aim point and the sight's mark held. How far the
impact moves is smooth in the roll and in the logarithm of the distance, so it is solved
at a few Chebyshev points of both and read anywhere between: each distance then has a
series in the roll. Where the series do not hold (a kink of the drag law, an arrow that
once rolled never comes to its plane) each roll asked for is flown by itself.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.flight.aim import aim, require_ahead
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.flight.impacts import Impacts, impacts
from arrowloft.core.flight.motion import sideways
from arrowloft.core.flight.reach import Unsolved, require_reached
from arrowloft.core.flight.splitting import kink_speeds
from arrowloft.core.series import chebyshev, left_out, terms
from arrowloft.core.setup.shot import Shot

MOST_ROLL = np.pi / 4
"""Largest roll either way, rad: beyond 45 degrees nobody shoots."""

ROLLS = 11
"""Rolls solved at each distance. They are Chebyshev points of +-45 degrees, where an
impact follows the sine and cosine of the roll: eleven leave out 1e-12 of its drop."""

FINE_ROLLS = 21
"""Rolls where eleven are too coarse: near the reach, and where rolled arrows pass a kink."""

KNOTS = (16, 24)
"""Distances solved for more rows than that; the second where the first is too coarse."""

SETTLED = 1e-7
"""What the series may leave out, m; in the roll, as much as its flights may be wrong by."""

HOPELESS = 1e-4
"""What series over the distance leave out, m, where half as many knots more do not help."""

ANGLE_SHARE = 0.3
"""Shift of the impact, per distance, that an error of the launch angle makes at 45 degrees:
1 - cos(45 deg), rounded up."""

Shift = tuple[Array, Array]
"""Right and up, m."""


@dataclass(frozen=True)
class RolledShot:
    """One shot aimed at many distances, and what rolling the bow does there.

    distance, launch_angle: (rows,), m and rad.
    series: of the impact's right and up in the roll / MOST_ROLL, (2, rows, terms), m.
    flown: rows whose series do not hold, where every roll asked for is flown.
    error: estimated error of any shift, m.
    airspeed_range: least and greatest airspeed flown, m/s.
    """

    shot: Shot
    distance: Array
    launch_angle: Array
    series: Array
    flown: Lanes
    error: float
    airspeed_range: tuple[float, float]

    def rows(self, chosen: Lanes) -> "RolledShot":
        """Some of the rows, in the order chosen."""
        return replace(
            self,
            distance=self.distance[chosen],
            launch_angle=self.launch_angle[chosen],
            series=self.series[:, chosen],
            flown=np.flatnonzero(np.isin(chosen, self.flown)),
        )

    def shift(self, roll: Array) -> Shift:
        """How far rolls, rad, move the impact: right and up, each (rows, rolls), m.

        roll: (rolls,), the same in each row, or (rows, rolls).  NaN where the rolled
        arrow never comes to the plane of its target. A roll of 0 shifts exactly nothing.
        """
        count = self.series.shape[-1]
        at = terms(roll / MOST_ROLL, count) - _level(count).reshape(count, *(1,) * roll.ndim)
        if roll.ndim == 1:
            right, up = self.series @ at
        else:
            right, up = np.einsum("crt,trk->crk", self.series, at)
        if self.flown.size:
            some = np.broadcast_to(roll, right.shape)[self.flown]
            right[self.flown], up[self.flown] = self._fly(self.flown, some)
        return right, up

    def _fly(self, rows: Lanes, roll: Array) -> Shift:
        """The shifts by flights, unrolled ones beside them, each (rows, rolls)."""
        rolls = np.concatenate((roll, np.zeros((rows.size, 1))), axis=1)
        met = _fly(self.shot, self.launch_angle[rows], self.distance[rows], rolls)
        right, up = (v.reshape(rolls.shape) for v in (met.right, met.up))
        return right[:, :-1] - right[:, -1:], up[:, :-1] - up[:, -1:]

    def largest_roll(self, allowance: Array, side: int) -> Array:
        """Largest roll to one side that keeps the impact within its allowance, (rows,), rad.

        allowance: m, (rows,).  side: 1 with the top limb to the right, -1 to the left.
        NaN where no roll up to 45 degrees moves the impact that far.

        Solves |shift(roll)| = allowance. Without drag |shift| = 2 D sin(roll / 2), D the
        drop below the line of departure; so each step scales the sine by what is wanted
        over what was found, which settles in a few. An arrow that never arrives is out.
        """

        def displacement(roll: Array) -> Array:
            right, up = self.shift(side * roll[:, None])
            found: Array = np.nan_to_num(np.hypot(right, up)[:, 0], nan=np.inf)
            return found

        return _largest(displacement, allowance)


@lru_cache(maxsize=4)
def _level(count: int) -> Array:
    """The series' polynomials where the bow is level, (count,)."""
    return terms(np.zeros(1), count)[:, 0]


_STEPS, FINEST_ROLL = 80, 1e-9
"""Most steps toward the largest roll: 8 that scale, then halves; and how close they come to
a roll beyond which no arrow arrives, rad."""


def _largest(displacement: Callable[[Array], Array], allowance: Array) -> Array:
    low, high = np.zeros(allowance.size), np.full(allowance.size, MOST_ROLL)
    found = displacement(high)
    leaves = found > allowance
    roll, low[~leaves] = high.copy(), MOST_ROLL
    for step in range(_STEPS):
        with np.errstate(all="ignore"):
            sine = np.sin(0.5 * roll) * allowance / found
            guess = 2.0 * np.arcsin(np.minimum(sine, 1.0))
        between = (guess > low) & (guess < high) & (step < 8)
        roll = np.where(between, guess, 0.5 * (low + high))
        found = displacement(roll)
        inside = found <= allowance
        low, high = np.where(inside, roll, low), np.where(inside, high, roll)
        near = np.abs(found - allowance) <= 1e-10 + 1e-9 * allowance
        if np.all(near | (high - low <= FINEST_ROLL) | ~leaves):
            break
    return np.where(leaves, roll, np.nan)


def split_finely(shot: Shot) -> Shot:
    """The shot with its flights split midway between the kinks of its drag law as well.

    Flights are split at kinks, each piece on as many points, however long it is. Where
    the law bends much between two kinks, long flights would be left short of the tolerance.
    """
    if not shot.kinks:
        return shot
    kinks = np.sort(np.array(shot.kinks))
    between = np.sqrt(kinks[1:] * kinks[:-1])
    return shot.with_(kinks=tuple(np.sort(np.concatenate((kinks, between))).tolist()))


def rolled(shot: Shot, distances: Array) -> RolledShot:
    """Aim one shot (every member a float, its roll 0) at each distance, m, and roll the bow.

    Raises TooNear, BeyondReach, Unsolved; their lanes count the distances.
    """
    require_ahead(shot, distances)
    shot = split_finely(shot)
    if shot.kinks:
        aimed = aim(shot, distances)
        require_reached(shot, aimed)
        if _kinks_passed(shot, aimed).any():
            return _each(shot, aimed)
    for knots in KNOTS:
        if distances.size > knots:
            spread = _spread(shot, distances, knots)
            if isinstance(spread, RolledShot):
                return spread
            if not spread <= HOPELESS:
                break
    if not shot.kinks:
        aimed = aim(shot, distances)
        require_reached(shot, aimed)
    return _each(shot, aimed)


def _each(shot: Shot, aimed: Aimed) -> RolledShot:
    """A series for each distance, from its own flights."""
    angle, distances, every = aimed.launch_angle, aimed.distance, np.arange(aimed.distance.size)
    series = np.zeros((2, distances.size, ROLLS))
    left, mets, worst = every, [], 0.0
    for count in (ROLLS, FINE_ROLLS):
        try:
            met, values = _at_knots(shot, angle[left], distances[left], count)
        except Unsolved:
            if count == ROLLS:
                raise
            break
        found = values @ chebyshev(count)[1]
        missed = left_out(found).max(axis=0)
        # An arrow that never arrives makes its row NaN: no row of that kind is settled.
        own = met.error.reshape(left.size, -1).max(axis=1)
        settled = missed <= np.maximum(SETTLED, own)
        series = np.pad(series, ((0, 0), (0, 0), (0, count - series.shape[-1])))
        series[:, left[settled]] = found[:, settled]
        worst = max(worst, float(missed[settled].max(initial=0.0)))
        mets.append(met)
        left = left[~settled]
        if not left.size:
            break
    return RolledShot(
        shot,
        distances,
        angle,
        series,
        left,
        worst + max(_flown_error(met, aimed) for met in mets),
        _airspeeds(mets, aimed),
    )


def _spread(shot: Shot, distances: Array, knots: int) -> RolledShot | float:
    """The rows' series from those at a few distances; what they leave out, m, if too much."""
    low, high = np.log(distances.min()), np.log(distances.max())
    if high - low < 1e-9:
        return np.inf
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    points, to_series = chebyshev(knots)
    at = np.exp(middle + half * points)
    at[0], at[-1] = distances.min(), distances.max()  # no rounding may take them out of reach
    aimed = aim(shot, at)
    if not aimed.reached.all():
        return np.inf
    # Near the reach the angles themselves do not fit, which is known before the flights.
    missed = ANGLE_SHARE * float(left_out(aimed.launch_angle @ to_series) * distances.max())
    if not missed <= HOPELESS:
        return np.inf
    met, values = _at_knots(shot, aimed.launch_angle, at, ROLLS)
    if not met.arrived.all():
        return np.inf
    in_roll = values @ chebyshev(ROLLS)[1]
    in_distance = np.swapaxes(values, 1, 2) @ to_series
    missed = float(left_out(in_roll).max() + left_out(in_distance).max())
    if not missed <= SETTLED:
        return missed
    across = to_series @ terms((np.log(distances) - middle) / half, knots)
    return RolledShot(
        shot,
        distances,
        aimed.launch_angle @ across,
        across.T @ in_roll,
        np.arange(0),
        missed + _flown_error(met, aimed),
        _airspeeds([met], aimed),
    )


def _kinks_passed(shot: Shot, aimed: Aimed) -> Mask:
    """Kinks of the drag law that some of the flights pass and others do not, (kinks,).

    There the series over the distance hardly hold, and their flights need not be flown.
    """
    speeds = kink_speeds(shot)
    passed = (aimed.least_airspeed < speeds) & (speeds < aimed.greatest_airspeed)
    some: Mask = np.any(passed, axis=1) & ~np.all(passed, axis=1)
    return some


def _at_knots(shot: Shot, angle: Array, distance: Array, count: int) -> tuple[Impacts, Array]:
    """Flights of rows with each of a series' rolls; right and up, (2, rows, count).

    Where nothing pushes sideways, the left is the right's mirror image.
    """
    mirrored = not sideways(shot)
    points = chebyshev(count)[0][count // 2 if mirrored else 0 :]
    rolls = np.tile(MOST_ROLL * points, (distance.size, 1))
    met = _fly(shot, angle, distance, rolls)
    values = np.array((met.right, met.up)).reshape(2, *rolls.shape)
    if mirrored:
        image = np.array((-1.0, 1.0))[:, None, None] * values[..., :0:-1]
        values = np.concatenate((image, values), axis=2)
    return met, values


def _fly(shot: Shot, angle: Array, distance: Array, rolls: Array) -> Impacts:
    """Flights of rows (rows,) with their rolls (rows, rolls), row after row."""
    count = rolls.shape[1]
    lanes = shot.with_(roll=rolls.ravel())
    return impacts(lanes, np.repeat(angle, count), np.repeat(distance, count))


def _flown_error(met: Impacts, aimed: Aimed) -> float:
    """Error of a difference between two impacts, m, the angle's own with it."""
    angle = ANGLE_SHARE * float(np.max(aimed.error * aimed.distance))
    return 2.0 * float(np.nanmax(met.error)) + angle


def _airspeeds(mets: list[Impacts], aimed: Aimed) -> tuple[float, float]:
    least, greatest = zip(*(met.airspeed_range for met in mets), strict=True)
    return (
        min(*least, float(aimed.least_airspeed.min())),
        max(*greatest, float(aimed.greatest_airspeed.max())),
    )
