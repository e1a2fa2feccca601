"""The sight's window: which distances it spans, and what moving the whole sight does (SI).

Travel T(d) = radius (tan a(d) - tan a(zero)) is of the pin relative to the bow, from where
the zero mark's pin sits, downward positive. A sight spans some travel only; the sight as a
whole can be moved on the bow by a shift, downward positive, and its window moves with it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from scipy.interpolate import CubicSpline

from arrowloft.core.arrays import Array, Mask
from arrowloft.core.flight.aim import LEVELS, TooNear, aim, aimed_flights, nearest_aim
from arrowloft.core.flight.aimed import Aimed, angle_error
from arrowloft.core.flight.reach import BeyondReach, reach, require_reached
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.sight import Sight, Thread

NEAREST, FARTHEST = 5.0, 200.0
"""Distances, m, between which fitting ones are looked for, as far as the shot allows."""

NEAR_REACH = 0.9
"""Share of the reach up to which they are looked for: beyond, the marks run away and
aiming takes long."""

GOOD = 1e-6
"""Estimated error of an angle, rad, at which a flight counts as one that gets there."""

GRID = 128
"""Points of the curve, even in log(distance): its cubic spline is good to about 1e-7 m, close
to NEAR_REACH of the reach to 3e-5 m (measured over built-in laws); where it crosses a
window's edge an aim mends it."""

CLOSE = 1e-8
"""Travel by which a mark may lie outside a window and still fit, m: rounding of the marks."""

SLIVER = 1e-5
"""Spans of distance shorter than this are no spans, m."""

Span = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Step:
    """One move of the whole sight, downward positive: turns, clicks, a length in m."""

    turns: float = 0.0
    clicks: float = 0.0
    length: float = 0.0


def shifts_after(steps: Sequence[Step], thread: Thread | None) -> tuple[float, ...]:
    """Shift of the whole sight after each step, m, counted exactly and rounded once.

    shift = lengths + travel_per_turn (turns + clicks / clicks_per_turn). As the count is
    exact, a step and its opposite leave exactly nothing. Raises ValueError for turns or
    clicks that no thread makes.
    """
    total = Fraction(0)
    after = []
    for step in steps:
        total += Fraction(step.length)
        if step.turns or step.clicks:
            total += _screwed(step, thread)
        after.append(float(total))
    return tuple(after)


def _screwed(step: Step, thread: Thread | None) -> Fraction:
    if thread is None:
        raise ValueError("turns need a thread")
    turns = Fraction(step.turns)
    if step.clicks:
        if thread.clicks_per_turn is None:
            raise ValueError("clicks need a thread with clicks")
        turns += Fraction(step.clicks) / Fraction(thread.clicks_per_turn)
    return turns * Fraction(thread.travel_per_turn)


@dataclass(frozen=True, kw_only=True)
class Window:
    """Span of travel that a sight shows, m: from `top` to `bottom`, both within it.

    shift: by which the whole sight has been moved since, downward positive.
    """

    top: float
    bottom: float
    shift: float = 0.0

    def shifted(self, by: float) -> "Window":
        """The window of the sight moved as a whole to the shift `by`, in place of its own."""
        return Window(top=self.top, bottom=self.bottom, shift=by)

    @property
    def edges(self) -> Span:
        """Travel at its edges, on the bow: (top + shift, bottom + shift), m."""
        return self.top + self.shift, self.bottom + self.shift

    def place(self, name: str) -> float:
        """Position in the sight of its top, middle or bottom, m below the zero's old place."""
        return {
            "top": self.top,
            "middle": 0.5 * (self.top + self.bottom),
            "bottom": self.bottom,
        }[name]

    def holds(self, travel: Array) -> Mask:
        """Whether each travel lies in the window."""
        top, bottom = self.edges
        inside: Mask = (travel >= top - CLOSE) & (travel <= bottom + CLOSE)
        return inside


@dataclass(frozen=True, kw_only=True)
class Brought:
    """The move that brings a mark to its place in the sight, m, downward positive.

    exact: what is asked.  turns: the turns of it; clicks: whole ones; None where the screw
    lacks them.  made: what the clicks make, or the exact one.  remaining: exact - made.
    """

    exact: float
    turns: float | None
    clicks: int | None
    made: float
    remaining: float

    def rise(self, radius: float, aimed: Aimed) -> Array:
        """Rise of the impact, m, at marks that were reckoned for the exact move.

        The pin, set to such a mark, stands `remaining` above where it should:
        -remaining / radius x lever cos^2(angle).
        """
        rise: Array = -self.remaining / radius * aimed.lever * np.cos(aimed.launch_angle) ** 2
        return rise + 0.0


def brought(exact: float, thread: Thread | None, place: str | None = None) -> Brought:
    """The move in whole clicks: the nearest, at an edge of the window toward its inside.

    place: "top" or "bottom" where the mark comes to that edge. A mark at the top must not
    be left above it, so the sight may go down at most the exact move, at the bottom at least.
    """
    if thread is None:
        return Brought(exact=exact, turns=None, clicks=None, made=exact, remaining=0.0)
    turns = exact / thread.travel_per_turn
    if thread.clicks_per_turn is None:
        return Brought(exact=exact, turns=turns, clicks=None, made=exact, remaining=0.0)
    count = turns * thread.clicks_per_turn
    # A millionth of a click is rounding, not a reason for one click more.
    if place == "top":
        clicks = math.floor(count + 1e-6)
    elif place == "bottom":
        clicks = math.ceil(count - 1e-6)
    else:
        clicks = round(count)
    made = shifts_after([Step(clicks=clicks)], thread)[-1]
    return Brought(exact=exact, turns=turns, clicks=clicks, made=made, remaining=exact - made)


@dataclass(frozen=True, kw_only=True)
class Search:
    """Distances between which fitting ones are looked for, m; None: as `searched` finds."""

    nearest: float | None = None
    farthest: float | None = None


def searched(shot: Shot, search: Search, named: Array) -> Span:
    """The ends of the search, m.

    Left out: NEAREST and FARTHEST as far as the shot allows it (from just ahead of the
    launched tip, to NEAR_REACH of the reach), widened to the distances named.
    """
    low, high = search.nearest, search.farthest
    if high is None:
        high = max(_farthest_searched(shot), float(named.max()))
    if low is None:
        low = max(min(NEAREST, float(named.min()), 0.5 * high), 1.001 * float(nearest_aim(shot)))
    return low, high


def _farthest_searched(shot: Shot) -> float:
    # Without its kinks a law is flown several times faster, and good to 1e-4 of the reach.
    smooth = shot.with_(kinks=())
    # One attempt to aim tells most bows, which need no search for their reach.
    beyond, still = np.array([FARTHEST / NEAR_REACH]), np.zeros(1, dtype=bool)
    flights, goal = aimed_flights(smooth, beyond, still, LEVELS[1])
    if angle_error(flights, goal, beyond)[0] <= GOOD:
        return FARTHEST
    return min(FARTHEST, NEAR_REACH * float(reach(smooth).distance[0]))


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Travel against distance, and the marks asked for: one shot and one sight.

    marks, travel: aimed flights and their travel, m, at the distances asked for, in order.
    zero_tangent: tangent of the zero's launch angle.
    ends: of the search, m.  spline: travel over log(distance), beyond those ends too
        where the window's distances lie there.
    flown: all the flights that it was made of.
    """

    shot: Shot
    sight: Sight
    marks: Aimed
    travel: Array
    zero_tangent: float
    ends: Span
    spline: CubicSpline
    flown: Aimed

    @classmethod
    def of(cls, shot: Shot, sight: Sight, distances: Array, ends: Span, over: Span) -> "Curve":
        """The curve over the span `over`, m, which holds `ends`.

        Raises TooNear, BeyondReach, Unsolved; the lanes of the first two count the
        distances, then the zero, then the GRID points from near to far, of which the end at
        fault is named only where nothing else is.
        """
        grid = np.geomspace(*over, GRID)
        rows = distances.size
        aimed = _aimed(shot, np.concatenate((distances, [sight.zero_distance], grid)), rows)
        zero = float(aimed.launch_angle[rows])
        travel = sight.travel(aimed.launch_angle, zero)
        return cls(
            shot=shot,
            sight=sight,
            marks=aimed.lanes(slice(0, rows)),
            travel=travel[:rows] + 0.0,
            zero_tangent=math.tan(zero),
            ends=ends,
            spline=CubicSpline(np.log(grid), travel[rows + 1 :]),
            flown=aimed,
        )

    def airspeeds(self, farthest: float) -> Span:
        """Least and greatest airspeed of the flights to at most this distance, m/s.

        The marks asked for and the zero count in any case.
        """
        count = self.travel.size + 1
        near = self.flown.distance <= farthest
        near[:count] = True
        slowest, fastest = self.flown.least_airspeed[near], self.flown.greatest_airspeed[near]
        return float(slowest.min()), float(fastest.max())

    def travel_of_angle(self, launch_angle: float) -> float:
        """Travel at a launch angle, m: radius (tan a - tan a(zero))."""
        return self.sight.radius * (math.tan(launch_angle) - self.zero_tangent)

    def window_of(self, nearest: Span, farthest: Span) -> Window:
        """The window that shows every mark between two; each is (distance, travel), m.

        The flattest mark, somewhat ahead of the archer, is above those on either side.
        """
        ends = np.log((nearest[0], farthest[0]))
        flat = self.spline.derivative().roots(extrapolate=False)
        between = flat[(flat > ends[0]) & (flat < ends[1])]
        seen = [nearest[1], farthest[1], *self.spline(between).tolist()]
        return Window(top=min(seen), bottom=max(seen))

    def spans(self, windows: Sequence[Window], lowest: float = math.inf) -> list[list[Span]]:
        """For each window, the spans of distance, m, within the search whose marks it holds.

        lowest: travel below which no mark may be set, m, such as the housing's.
        """
        edges = [(top, min(bottom, lowest)) for top, bottom in (w.edges for w in windows)]
        low, high = self.ends
        crossings = self._crossings([edge for pair in edges for edge in pair])
        cuts = np.unique(np.concatenate(([low], np.clip(crossings, low, high), [high])))
        travel = self.spline(np.log(0.5 * (cuts[1:] + cuts[:-1])))
        pieces = list(zip(cuts[:-1].tolist(), cuts[1:].tolist(), strict=True))
        return [
            joined([pieces[i] for i in np.flatnonzero((travel >= top) & (travel <= bottom))])
            for top, bottom in edges
        ]

    def _crossings(self, edges: list[float]) -> Array:
        """Distances at which the curve has one of these travels, m: the spline mended by aims."""
        roots = [self.spline.solve(edge, extrapolate=False) for edge in edges]
        wanted = np.repeat(edges, [at.size for at in roots])
        at = np.concatenate(roots)
        wanted, at = wanted[np.isfinite(at)], at[np.isfinite(at)]
        if not at.size:
            return at
        found = np.exp(at)
        angle = aim(self.shot, found).launch_angle
        missed = self.sight.radius * (np.tan(angle) - self.zero_tangent) - wanted
        slope = self.spline(at, 1) / found
        # Where the curve is flat the spline's own crossing stays.
        mend = np.where(np.abs(slope) > 1e-5, -missed / np.where(slope == 0.0, 1.0, slope), 0.0)
        mended: Array = found + np.clip(mend, -1e-3 * found, 1e-3 * found)
        return mended


def _aimed(shot: Shot, distances: Array, rows: int) -> Aimed:
    """All aims; of faults, those at the rows and the zero behind them, else one of the search."""
    try:
        aimed = aim(shot, distances)
        require_reached(shot, aimed)
    except (BeyondReach, TooNear) as error:
        asked = tuple(lane for lane in error.lanes if lane <= rows)
        # The near end of the search is its first lane, the far end its last.
        end = error.lanes[0] if isinstance(error, TooNear) else error.lanes[-1]
        error.lanes = asked or (end,)
        raise
    return aimed


def joined(spans: Sequence[Span]) -> list[Span]:
    """Ascending spans with those that touch made one, and slivers left out."""
    result: list[Span] = []
    for low, high in spans:
        if result and low <= result[-1][1] + SLIVER:
            result[-1] = (result[-1][0], high)
        else:
            result.append((low, high))
    return [(low, high) for low, high in result if high - low > SLIVER]


def without(spans: Sequence[Span], taken: Sequence[Span]) -> list[Span]:
    """What is left of ascending spans where others are taken away."""
    left: list[Span] = []
    for low, high in spans:
        for start, end in taken:
            if end <= low or start >= high:
                continue
            left.append((low, start))
            low = end
        left.append((low, high))
    return [(low, high) for low, high in left if high - low > SLIVER]
