"""A re-mounted sight: how far its pin has moved on the bow, found from one group.

The sight is set to a proven mark, and the arrows' centre is off the aim point. The angles
at which such arrows leave tell where the pin is; those of the aimed flight where it was. To
first and last: the pin's height over the arrow's line is h - r tan(launch angle), and a
sight put back elsewhere on the bow, but not tilted, has all its marks' heights off by the
same length. So every mark is mended by the travel that mends this one.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from arrowloft.core.archer.archer_scatter import ArcherScatter, Scatter
from arrowloft.core.archer.landed import Landed
from arrowloft.core.archer.significance import Evidence, evidence, more_arrows, together
from arrowloft.core.arrays import Array
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.flight.geometry import windage_travel
from arrowloft.core.flight.impacts import Impacts, impacts
from arrowloft.core.flight.reach import require_reached
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.sight import Setting, Sight, Thread

STEP = 1e-4
"""Change of an angle, rad, from which the impact's slope is taken: its curvature changes
that by 1e-4 of itself, the impact's own error by as much."""

MOST_ROUNDS = 12
"""Most rounds of the search for the angles; shifts that a sight can have take four."""

CLOSE = 2e-7
"""Distance from the group's centre, m, at which that search ends: twice the impacts' error."""

STEEPEST = math.radians(60.0)
"""Launch angle or yaw beyond which that search ends, rad: no sight is so far off."""


class NeverThere(ValueError):
    """A place for which no low launch angle is found: out of reach, or close and far aside."""


@dataclass(frozen=True, kw_only=True)
class Move:
    """How the pin must move along one axis, m: down, or to the right, positive.

    travel: that puts the arrows' centre on the aim point.  uncertainty: standard, of it.
    least: of the smallest shift that the arrows would show.
    turns, clicks: of the screw; clicks the nearest whole ones; None where it has none.
    remaining: travel that the clicks leave; 0 without clicks.
    clicks_uncertainty, least_clicks: `uncertainty` and `least` in clicks, not rounded.
    click: of the impact on the target for one click, m.
    click_arrows: how many more arrows would tell a shift of one click from none; None
        where it has no clicks, or no number looked at would.
    """

    travel: float
    uncertainty: float
    least: float
    turns: float | None = None
    clicks: int | None = None
    remaining: float = 0.0
    clicks_uncertainty: float | None = None
    least_clicks: float | None = None
    click: float | None = None
    click_arrows: int | None = None


@dataclass(frozen=True, kw_only=True)
class AxisShift:
    """One axis: what the arrows say of a shift, and the move that would undo it."""

    evidence: Evidence
    move: Move


@dataclass(frozen=True, kw_only=True)
class SightShift:
    """What one group says of a sight; SI.

    distance: of the group.  confidence: asked for.
    vertical, sideways: the axes; sideways None where it was not noted.
    level: of the test of each axis.  p_value: of both together.  real: whether that is at
        most 1 - confidence.
    launch_angle, yaw: of the aimed flight.  landed_angle, landed_yaw: of arrows that meet
        the target at the group's centre.
    zero: what the sight shows, after the move, at the zero distance: turns and clicks from
        the old mark, and the reading.  reading_change: of every mark; None without a scale.
    drift: of the aimed flight, its windage not set, right positive.
    error: estimated error of the aimed launch angle, rad.  position_error: of the impact, m.
    airspeed_range: least and greatest airspeed flown, m/s.
    """

    distance: float
    confidence: float
    vertical: AxisShift
    sideways: AxisShift | None
    level: float
    p_value: float
    real: bool
    launch_angle: float
    yaw: float
    landed_angle: float
    landed_yaw: float
    zero: Setting
    reading_change: float | None
    drift: float
    error: float
    position_error: float
    airspeed_range: tuple[float, float]

    @property
    def marks_move(self) -> float:
        """Travel to add to every proven mark, m, down positive."""
        return self.vertical.move.travel


def sight_shift(
    shot: Shot, sight: Sight, landed: Landed, scatter: ArcherScatter, confidence: float = 0.95
) -> SightShift:
    """The move of the pin that centres arrows shot with a mark that once was true.

    With the aimed launch angle a and yaw y and those of the group's centre, a' and y', the
    pin is moved by r (tan a - tan a') down, and to the right by the difference of
    r tan(y) / cos(a), the wind's own drift being cancelled before.

    Each axis is tested by itself at (1 - confidence) / axes, so that with no shift either
    is called real with a chance of at most 1 - confidence (Bonferroni); both together at
    1 - confidence. The mark counts as exact.

    Raises TooNear, BeyondReach, Unsolved; NeverThere for a centre to which no arrow is found
    to come.
    """
    aimed = _aimed(shot, landed.distance)
    start = float(aimed.launch_angle[0]), float(aimed.yaw[0])
    angle, yaw, slopes, hit = _landing(shot, landed, start)
    level = (1.0 - confidence) / (1 if landed.right is None else 2)
    steep = sight.radius / math.cos(angle) ** 2
    up = _axis(
        landed,
        landed.up,
        scatter.vertical,
        level,
        travel=float(sight.travel(np.array(start[0]), angle)),
        per_length=steep / float(slopes[0]),
        thread=sight.elevation,
    )
    side = None
    if landed.right is not None:
        before, now = (float(windage_travel(sight.radius, *line)) for line in (start, (angle, yaw)))
        side = _axis(
            landed,
            landed.right,
            scatter.sideways,
            level,
            travel=before - now,
            per_length=sight.radius / (math.cos(yaw) ** 2 * math.cos(angle)) / float(slopes[1]),
            thread=sight.windage,
        )
    p_value = up.evidence.p_value
    if side is not None:
        p_value = together(p_value, side.evidence.p_value)
    return SightShift(
        distance=landed.distance,
        confidence=confidence,
        vertical=up,
        sideways=side,
        level=level,
        p_value=p_value,
        real=p_value <= 1.0 - confidence,
        launch_angle=start[0],
        yaw=start[1],
        landed_angle=angle,
        landed_yaw=yaw,
        zero=(zero := sight.setting(np.array(up.move.travel))),
        reading_change=None
        if sight.scale is None or zero.reading is None
        else float(zero.reading) - sight.scale.reading_at_zero,
        drift=float(aimed.drift[1]),
        error=float(aimed.error.max()),
        position_error=float(hit.error.max()),
        airspeed_range=_airspeeds(aimed, hit),
    )


def _aimed(shot: Shot, distance: float) -> Aimed:
    """The flight at the mark, its drift cancelled, and again with the drift left."""
    aimed = aim(shot, np.full(2, distance), windage=np.array([True, False]))
    require_reached(shot, aimed)
    return aimed


def _landing(
    shot: Shot, landed: Landed, start: tuple[float, float]
) -> tuple[float, float, Array, Impacts]:
    """Launch angle and yaw whose arrow meets the target at the group's centre.

    By Newton's rule from the aimed ones, the yaw kept where the centre's side is not known.
    With them: rise of the impact per launch angle and its shift right per yaw, m/rad, and
    the last impacts.
    """
    wanted = [landed.up] if landed.right is None else [landed.up, landed.right]
    axes = len(wanted)
    at = np.array(start)
    for _ in range(MOST_ROUNDS):
        lanes = at[:, None] + STEP * np.eye(2, 1 + axes, 1)
        hit = impacts(shot, lanes[0], landed.distance, yaw=lanes[1])
        found = np.stack((hit.up, hit.right))[:axes]
        slopes = (found[:, 1:] - found[:, :1]) / STEP
        missed = wanted - found[:, 0]
        # Beyond the highest the plane can be met at, the impact falls as the angle rises.
        if not (np.isfinite(slopes).all() and np.all(slopes.diagonal() > 0.0)):
            break
        at[:axes] += np.linalg.solve(slopes, missed)
        if np.abs(missed).max() <= CLOSE:
            return float(at[0]), float(at[1]), slopes.diagonal(), hit
        if np.abs(at).max() > STEEPEST:
            break
    raise NeverThere("no launch angle is found that brings the arrow there")


def _axis(
    landed: Landed,
    shift: float,
    scatter: Scatter,
    level: float,
    *,
    travel: float,
    per_length: float,
    thread: Thread | None,
) -> AxisShift:
    """One axis; travel: that undoes the shift.  per_length: of it for each m on the target."""
    found = evidence(shift, scatter, landed.distance, landed.arrows, level)
    doubt, least = found.uncertainty * per_length, found.least * per_length
    by_screw: dict[str, Any] = {}
    if thread is not None:
        by_screw["turns"] = float(thread.turns(np.array(travel)))
        clicks = thread.clicks(np.array(travel))
        if clicks is not None:
            one = float(thread.travel_of(np.array(1.0)))
            click = one / per_length
            by_screw |= {
                "clicks": int(clicks),
                "remaining": travel - float(thread.travel_of(clicks)),
                "clicks_uncertainty": doubt / one,
                "least_clicks": least / one,
                "click": click,
                "click_arrows": more_arrows(click, scatter, landed.distance, landed.arrows, level),
            }
    move = Move(travel=travel, uncertainty=doubt, least=least, **by_screw)
    return AxisShift(evidence=found, move=move)


def _airspeeds(aimed: Aimed, hit: Impacts) -> tuple[float, float]:
    """Least and greatest airspeed of the flights at the mark and to the centre, m/s."""
    least, greatest = hit.airspeed_range
    return (
        min(float(aimed.least_airspeed.min()), least),
        max(float(aimed.greatest_airspeed.max()), greatest),
    )
