"""Slopes: marks up and down hill, and how they compare with marks on the level.

A mark on the level holds on a slope at another distance: the level-equivalent distance.
Beside it stand the two rules that are shot instead - the mark of the horizontal distance,
and the mark of the measured distance uncorrected - with the height by which each misses.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from arrowloft.core.aim import LEVELS, TOLERANCE, aim, aimed_flights, require_ahead
from arrowloft.core.aimed import angle_error
from arrowloft.core.arrays import Array, Mask, Real
from arrowloft.core.geometry import gravity_vector, wind_vector
from arrowloft.core.impacts import impacts
from arrowloft.core.reach import BeyondReach, reach, require_reached
from arrowloft.core.series import chebyshev, left_out, terms
from arrowloft.core.shot import Shot
from arrowloft.core.sight import Sight

KNOTS = ((20, LEVELS[0]), (40, LEVELS[1]))
"""Level distances solved for a series and the level at which; then the finer."""

SHORTEST = 0.2
"""Least level distance looked at, as a share of the nearest asked for: a vacuum wants 0.29."""

GROWTH = (1.1, 1.1, 1.2, 1.4, 1.8, 2.5, 4.0, 1.0)
"""Steps by which the farthest level distance looked at grows, until it is far enough."""

STEEP = 2.0
"""Least level distance over the height of the eye: nearer, the arrow's line would have to
rise more than 30 degrees through the aim point."""

SMOOTH, FARTHEST = 0.7, 0.995
"""Shares of the reach: up to which a series is tried, and up to which marks are given. At
the reach itself the angle has no rate, and no sight is set for that."""

SEARCH, ROUNDS = 24, 10
"""Marks of each round, and most rounds, of the search for the least launch angle."""

SETTLED = 1e-11
"""Miss of the launch angle, rad, at which a level-equivalent distance is found."""

MOST_STEPS = 60
"""Most steps toward it: Newton's take about four, halving its bracket instead about forty."""


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
    rule_up: height at which the level mark of the horizontal distance hits, upward positive.
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
    rule_up: Array
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
    rule_up, rule_error = _height(hill, marks.at(horizontal)[0], distance)
    uncorrected = np.repeat(marks.at(distances)[0], slopes.size)
    slant_up, slant_error = _height(hill, uncorrected, distance)
    rising = _steepness(hill, here.speed, here.descent_angle) > 0.0
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
        rule_up=rule_up,
        slant_up=slant_up,
        drift=here.drift,
        error=float(aimed.error.max()),
        position_error=max(rule_error, slant_error),
        airspeed_range=(
            float(aimed.least_airspeed.min()),
            float(aimed.greatest_airspeed.max()),
        ),
    )


def _setting(sight: Sight | None, angle: Array, zero: Array) -> dict[str, Any]:
    """Travel and what the sight shows of it; all None without a sight."""
    if sight is None:
        return dict.fromkeys(("travel", "turns", "clicks", "reading"))
    travel = sight.travel(angle, float(zero[0]))
    thread, scale = sight.elevation, sight.scale
    return {
        "travel": travel,
        "turns": thread.turns(travel) if thread else None,
        "clicks": thread.clicks(travel) if thread else None,
        "reading": scale.reading(travel) if scale else None,
    }


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
    raise BeyondReach(farthest, tuple(int(lane) for lane in np.flatnonzero(beyond)))


@dataclass(frozen=True)
class LevelMarks:
    """Launch angles over distance on the level, m, `low` to `high`.

    The angle is smooth in log(distance): a Chebyshev `series` of it gives any number of
    marks up to `smooth`; farther, near the reach, every mark is solved by itself, and so
    are all where a law's kink makes the series None.
    """

    level: Shot
    low: float
    high: float
    smooth: float
    series: Array | None

    @classmethod
    def over(cls, level: Shot, distances: Array, angle: float) -> "LevelMarks":
        """Marks for these distances, and as far as `angle`, rad, if the level reaches so far.

        In a vacuum that is at most 1.3 times as far where the arrow falls to the line of
        sight (as far as cos(s) (1 + sin(s))), 1.7 times where it rises to it; a strong
        wind along a steep slope pitches the tip, and asks for more close to the archer.
        """
        nearest = float(level.launch_forward + np.abs(level.tip_lead)) + 0.1 + 1e-9
        low = max(nearest, SHORTEST * float(distances.min()), STEEP * abs(float(level.peep_height)))
        high = float(distances.max())
        for growth in GROWTH:
            there = aim(level, high)
            if not there.reached.all():
                farthest = float(reach(level).distance[0])
                high, smooth = FARTHEST * farthest, max(SMOOTH * farthest, 2.0 * low)
                return cls(level, low, high, smooth, _series(level, low, smooth))
            falls = _steepness(level, there.speed, there.descent_angle)[0] < 0.0
            if falls and there.launch_angle[0] > angle:
                break
            high *= growth  # an angle may belong to a longer distance on the level
        return cls(level, low, high, high, _series(level, low, high))

    def at(self, distance: Array) -> tuple[Array, Array]:
        """Launch angles, rad, and their change per distance, rad/m; NaN outside the marks."""
        angle, rate = np.full((2, distance.size), np.nan)
        inside = (self.low <= distance) & (distance <= self.high)
        listed = inside & (distance <= self.smooth) & (self.series is not None)
        for part, read in ((listed, self._listed), (inside & ~listed, self._solved)):
            if part.any():
                angle[part], rate[part] = read(distance[part])
        return angle, rate

    def _listed(self, distance: Array) -> tuple[Array, Array]:
        assert self.series is not None
        half = 0.5 * np.log(self.smooth / self.low)
        known = terms(np.log(distance / self.low) / half - 1.0, self.series.size)
        bends = np.polynomial.chebyshev.chebder(self.series)
        return self.series @ known, bends @ known[:-1] / (half * distance)

    def _solved(self, distance: Array) -> tuple[Array, Array]:
        # The lever is good to some percent: enough for Newton's steps and for the sign.
        marks = aim(self.level, distance)
        steep = _steepness(self.level, marks.speed, marks.descent_angle)
        return marks.launch_angle, -steep / marks.lever

    def least(self) -> tuple[float, float]:
        """The distance that needs the least launch angle, m, and that angle, rad.

        There the tip comes along the line of sight: nearer it rises to it, farther it
        falls, and the angle grows either way.
        """
        low, high = self.low, self.high
        for _ in range(ROUNDS):
            grid = np.linspace(low, high, SEARCH)
            angle, rate = self.at(grid)
            last = int(np.count_nonzero(np.logical_and.accumulate(rate < 0.0)))
            low, high = float(grid[max(last - 1, 0)]), float(grid[min(last, SEARCH - 1)])
            if high - low < 1e-7:
                break
        return low, float(np.fmin.reduce(angle))

    def inverse(self, angle: Array, rising: Mask, start: Array) -> Array:
        """Distances with these launch angles, m; NaN where there are none.

        rising: lanes whose arrow still rises to the line of sight: nearer than the distance
        of the least angle; the others are beyond it.  Newton's steps on either branch,
        bracketed, halving the bracket where one leaves it.
        """
        lowest, least = self.least()
        found, x = np.full(angle.size, np.nan), np.clip(start, self.low, self.high)
        # A mark too high for the near branch stands on the far one.
        rising = rising & (angle <= self.at(np.array([self.low]))[0])
        low = np.where(rising, self.low, lowest)
        high = np.where(rising, lowest, self.high)
        left = np.flatnonzero(angle >= least)
        for _ in range(MOST_STEPS):
            if not left.size:
                break
            here = np.clip(x[left], low[left], high[left])
            mark, rate = self.at(here)
            over = mark - angle[left]
            done = np.abs(over) <= SETTLED
            found[left[done]] = here[done]
            beyond = (over > 0.0) != rising[left]
            high[left[beyond]], low[left[~beyond]] = here[beyond], here[~beyond]
            x[left] = _next(here, over, rate, low[left], high[left])
            left = left[~done & (low[left] < (1.0 - 1e-14) * high[left])]
        return found


def _series(level: Shot, low: float, high: float) -> Array | None:
    """The launch angle over log(distance) as a series; None where that is not good enough."""
    for knots, accuracy in KNOTS:
        points, to_series = chebyshev(knots)
        distance = low * (high / low) ** (0.5 * (1.0 + points))
        steered = np.zeros(knots, dtype=bool)
        flights, goal = aimed_flights(level, distance, steered, accuracy)
        series = flights.launch.angle @ to_series
        worst = angle_error(flights, goal, distance).max() + float(left_out(series))
        if worst <= TOLERANCE:
            return series
    return None


def _next(x: Array, over: Array, rate: Array, low: Array, high: Array) -> Array:
    """Newton's step where it stays in the bracket, else half of that."""
    with np.errstate(all="ignore"):
        step = x - over / rate
        result: Array = np.where((low < step) & (step < high), step, 0.5 * (low + high))
    return result


def _height(hill: Shot, angle: Array, distance: Array) -> tuple[Array, float]:
    """Height at which arrows loosed at these angles arrive, and its error; NaN for no angle."""
    loosed = np.flatnonzero(np.isfinite(angle))
    up, error = np.full(angle.size, np.nan), 0.0
    if loosed.size:
        met = impacts(hill.take(loosed), angle[loosed], distance[loosed])
        up[loosed] = met.up
        error = float(np.nan_to_num(met.error).max())
    return up, error


def _steepness(shot: Shot, speed: Array, angle: Array) -> Array:
    """Rise per way of the tip's path, (lanes,): (v_n + l e_n') / (v_s + l e_s').

    speed, angle: of the balance point's velocity v, whose part to the side is left out.
    e, the arrow's direction, is that of the airspeed U; drag does not turn that, so
    e' = (g - (g.e) e) / |U|.
    """
    velocity: tuple[Real, Real, Real] = (speed * np.cos(angle), speed * np.sin(angle), 0.0)
    wind = wind_vector(shot.wind_speed, shot.wind_from, shot.slope)
    pull = gravity_vector(shot.gravity, shot.slope)
    through = [pace - moved for pace, moved in zip(velocity, wind, strict=True)]
    airspeed = np.sqrt(sum(part * part for part in through))
    line = [part / airspeed for part in through]
    along = pull[0] * line[0] + pull[1] * line[1]
    turn = [(g - along * e) / airspeed for g, e in zip(pull[:2], line[:2], strict=True)]
    steep: Array = (velocity[1] + shot.tip_lead * turn[1]) / (velocity[0] + shot.tip_lead * turn[0])
    return steep
