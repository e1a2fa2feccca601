"""Marks on the level, and their inverse: the distance that has a given mark.

The launch angle over distance falls to a least one, somewhat ahead of the archer, and
grows from there on: a mark may stand on either branch, or on none.
"""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Mask, Real
from arrowloft.core.flight.aim import LEVELS, TOLERANCE, aim, aimed_flights, nearest_aim
from arrowloft.core.flight.aimed import angle_error
from arrowloft.core.flight.geometry import gravity_vector, wind_vector
from arrowloft.core.flight.reach import reach
from arrowloft.core.series import chebyshev, left_out, terms
from arrowloft.core.setup.shot import Shot

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
        nearest = float(nearest_aim(level)) + 1e-9
        low = max(nearest, SHORTEST * float(distances.min()), STEEP * abs(float(level.peep_height)))
        high = float(distances.max())
        for growth in GROWTH:
            there = aim(level, high)
            if not there.reached.all():
                farthest = float(reach(level).distance[0])
                high, smooth = FARTHEST * farthest, max(SMOOTH * farthest, 2.0 * low)
                return cls(level, low, high, smooth, _series(level, low, smooth))
            falls = steepness(level, there.speed, there.descent_angle)[0] < 0.0
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
        steep = steepness(self.level, marks.speed, marks.descent_angle)
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


def steepness(shot: Shot, speed: Array, angle: Array) -> Array:
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
