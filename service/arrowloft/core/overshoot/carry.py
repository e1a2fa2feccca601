"""Overshoot: how far an arrow can carry, and the ground behind a target where misses land."""

from dataclasses import dataclass, fields

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.impacts import Impacts, impacts
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.overshoot.landing import Landings, land
from arrowloft.core.overshoot.outline import (
    Columns,
    Window,
    beyond,
    box,
    ellipse,
    enough_columns,
    hull,
    signed_size,
)
from arrowloft.core.overshoot.terrain import Terrain
from arrowloft.core.setup.shot import Shot, is_zero

LOWEST, HIGHEST = np.radians(-30.0), np.radians(80.0)
"""Elevations between which the farthest carry is looked for: only in a gale, down a steep
hill, does it come near the lower, and over a cliff close ahead near the higher."""

FIRST, NEXT = 45, 32
"""Elevations tried in the first round, 2.5 degrees apart, and in the rounds that close in."""

ROUNDS = 3
"""Rounds that close in, each 15 times finer: 0.0013 degrees at last, a centimetre or two
even where the farthest arrow is the first that clears a rise of the ground."""

EDGE_STEPS = 12
"""Most secant steps to the edges of what stops arrows; four mostly do."""

EDGE = 1e-6
"""m; how well that edge is met."""

NEAR = np.radians(10.0)
"""How close to the elevation of the farthest carry straight ahead arrows loosed aside in a
gale, or over a rise, may have theirs (in a head wind of 20 m/s it lies 5 deg lower)."""

UPRIGHT = np.radians(80.0)
"""Elevation above which an arrow that cannot be followed is left out of an area: it comes
down about the archer, and others as steep stand for it."""

WIDEST = np.radians(80.0)
"""Half axes of a group's ellipse no larger than that: two arrows tell of none."""


@dataclass(frozen=True, kw_only=True)
class Carry:
    """The farthest that an arrow can carry, loosed straight ahead, SI.

    elevation: of the arrow's line above level, rad.  distance, right: of the landing.
    time, speed, descent_angle, apex_height, apex_distance, error: as in Landings.
    upper: distance of the farthest carry with the launch speed two standard uncertainties
        up and the drag area two down, m; no bound, but what these two leave in doubt.
    airspeed_range: least and greatest airspeed of the flight, m/s.
    """

    elevation: float
    distance: float
    right: float
    time: float
    speed: float
    descent_angle: float
    apex_height: float
    apex_distance: float
    upper: float
    error: float
    airspeed_range: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Target:
    """What arrows are loosed at, and how much of it stops them.

    elevation, bearing: of the arrow's line with the mark, above level and to the right of the
        target's direction, rad: slope of the line of sight and launch angle.
    distance: level way from the eye to the aim point, m.  slant: along the line of sight.
    slope: of that line, rad.
    half_width, half_height: of what stops arrows, about the aim point and square to the line
        of sight, m; it reaches down to the ground. 0 in either: nothing stops.
    """

    elevation: float
    distance: float
    slant: float
    slope: float
    half_width: float
    half_height: float
    bearing: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Area:
    """A patch of ground behind the target where arrows land, SI.

    distance, right: of its outline, closed by its first point, clockwise from above, m,
        (points,). Parts that lie apart are joined by lines of no width.
    size: m2.  nearest, farthest: level ways along the target's direction, m.
    leftmost, rightmost: of that direction, right positive, m.
    """

    distance: Array
    right: Array
    size: float
    nearest: float
    farthest: float
    leftmost: float
    rightmost: float


def farthest_carry(
    shot: Shot, terrain: Terrain, *, speed_uncertainty: float = 0.0, drag_uncertainty: float = 0.0
) -> Carry:
    """Farthest landing of one shot (every member a float) along the target's direction.

    Over all elevations, the bow not turned aside; `shot.slope` plays no part. In wind, or
    over uneven ground, an arrow loosed aside may carry farther.
    speed_uncertainty: standard, of the launch speed, m/s.  drag_uncertainty: standard, a
    share of the drag area.

    The landing jumps where an arrow just clears a rise, so no derivative is used: rounds of
    elevations close in on the farthest. Raises Unsolved where no flight can be followed.
    """
    found = _farthest(shot, terrain)
    upper = float(found.distance[0])
    if speed_uncertainty > 0.0 or drag_uncertainty > 0.0:
        faster = shot.with_(
            launch_speed=shot.launch_speed + 2.0 * speed_uncertainty,
            drag_scale=shot.drag_scale * max(1.0 - 2.0 * drag_uncertainty, 0.0),
        )
        upper = float(_farthest(faster, terrain).distance[0])
    same = {item.name for item in fields(Carry)} & {item.name for item in fields(Landings)}
    return Carry(
        **{name: float(getattr(found, name)[0]) for name in same},
        upper=upper,
        airspeed_range=(float(found.least_airspeed[0]), float(found.greatest_airspeed[0])),
    )


def _farthest(shot: Shot, terrain: Terrain) -> Landings:
    """The one landing that is farthest."""
    grid = np.linspace(LOWEST, HIGHEST, FIRST)
    best = carry_at(shot, grid, terrain)
    for _ in range(ROUNDS):
        if not best.followed.any():
            raise Unsolved("no flight could be followed to the ground")
        at = int(np.nanargmax(best.distance))
        ends = grid[max(at - 1, 0)], grid[min(at + 1, grid.size - 1)]
        grid = np.linspace(*ends, NEXT)
        best = carry_at(shot, grid, terrain)
    at = int(np.nanargmax(best.distance))
    return Landings(**{item.name: getattr(best, item.name)[[at]] for item in fields(Landings)})


def carry_at(shot: Shot, elevations: Array, terrain: Terrain) -> Landings:
    """Landings at given elevations, rad, toward the target; `shot.slope` plays no part."""
    return land(shot.with_(slope=0.0), elevations, np.zeros(elevations.size), terrain)


def group_area(
    shot: Shot,
    target: Target,
    terrain: Terrain,
    vertical: float,
    sideways: float,
    share: float,
    *,
    degrees: float | None = None,
    farthest: float | None = None,
) -> Area | None:
    """Ground where arrows of a group land that pass over or beside what stops them.

    vertical, sideways: standard deviations of the launch direction about the mark's, rad,
    as angles at the eye, so a bearing spreads by sideways / cos(elevation).
    share: of the arrows to come that an ellipse of directions holds, 0 < share < 1. Of those,
    the ones that land behind the target.
    degrees: of freedom that the standard deviations are known with; None: exactly.
    farthest: elevation of the farthest carry, rad, where the caller knows it. An ellipse that
    goes beyond it is treated as in `gross_area`.
    None where none does. Raises Unsolved where a flight cannot be followed.
    """
    if not 0.0 < share < 1.0:
        raise ValueError("the share must lie between 0 and 1")
    k = _ellipse_of(share, degrees)
    across = min(k * sideways / np.cos(target.elevation), WIDEST)
    up, window = min(k * vertical, WIDEST), _window(shot, target)
    top = _farthest_elevation(shot, terrain, farthest) - target.elevation
    if _folded(shot, terrain, up, top):
        return _covered(shot, target, terrain, ellipse(across, up, window))
    return _landed(shot, target, terrain, ellipse(across, up, window, top))


def _ellipse_of(share: float, degrees: float | None) -> float:
    """Half axes, in standard deviations, of the ellipse that holds a share of arrows to come.

    k = sqrt(-2 ln(1 - share)) of a bivariate normal scatter. Where its standard deviation rests
    on few arrows, half the square of an arrow's distance in it is distributed as F with 2 and
    n degrees of freedom: k^2 = n ((1 - share)^(-2 / n) - 1).
    """
    if degrees is None:
        return float(np.sqrt(-2.0 * np.log1p(-share)))
    return float(np.sqrt(degrees * np.expm1(-2.0 / degrees * np.log1p(-share))))


def gross_area(
    shot: Shot,
    target: Target,
    terrain: Terrain,
    high: float,
    aside: float,
    *,
    farthest: float | None = None,
) -> Area | None:
    """Ground behind the target where arrows land that are loosed up to `high` above the mark.

    And up to `aside` to either side, rad, turned about the vertical, where they pass what
    stops them; however low, as long as they land behind the target.
    farthest: elevation of the farthest carry, rad, where the caller knows it.
    None where all of them are stopped. Raises Unsolved where a flight cannot be followed.

    Above the elevation of the farthest carry arrows land nearer again, on ground that lower
    ones reach too: over level ground, in still air, with the mark below it, the area ends
    there. In wind higher arrows drift farther aside, over uneven ground they clear what lower
    ones meet, and a mark above it has low arrows land beyond high ones. There the ground folds
    over itself, and the area is the convex hull of landings from all over the directions: too
    large rather than too small, and what the target keeps clear behind it is not left out.
    """
    window, down = _window(shot, target), target.elevation - _lowest_behind(target, terrain, aside)
    top = _farthest_elevation(shot, terrain, farthest) - target.elevation
    if _folded(shot, terrain, high, top):
        up = min(high, np.pi / 2 - target.elevation)
        patch = box(aside, up, window, down, enough_columns(aside))
        return _covered(shot, target, terrain, patch)
    return _landed(shot, target, terrain, box(aside, min(high, top), window, down))


def _lowest_behind(target: Target, terrain: Terrain, aside: float) -> float:
    """An elevation below which no arrow lands behind the target, however far aside, rad.

    An arrow falls below its line, so one whose line meets the ground at the target's
    distance lands before it. Aside the line is longer, and less steep up to ground above.
    """
    foot = float(terrain.height(np.array([target.distance]))[0])
    widest = min(abs(target.bearing) + aside, np.pi / 2)
    return float(np.arctan2(min(foot, foot * np.cos(widest)), target.distance))


def _farthest_elevation(shot: Shot, terrain: Terrain, known: float | None) -> float:
    """Elevation of the farthest carry, rad, as known or found."""
    return float(_farthest(shot, terrain).elevation[0]) if known is None else known


def _folded(shot: Shot, terrain: Terrain, up: float, top: float) -> bool:
    """Whether the ground may fold over itself within the directions up to `up`.

    top: elevation of the farthest carry over the mark's, rad.
    """
    plain = is_zero(shot.wind_speed) and is_zero(shot.roll) and terrain.lowest == terrain.highest
    return top <= 0.0 if plain else up > top - NEAR


def _window(shot: Shot, target: Target) -> Window | None:
    """Directions about the mark's that what stops arrows covers.

    Secant steps bring arrows to its upper, left and right edge in the plane of the aim point.
    None where nothing stops, or where an edge is not met, as close to the reach: then
    nothing is counted as stopped.
    """
    if target.half_width <= 0.0 or target.half_height <= 0.0:
        return None
    edges = np.array([target.half_height, -target.half_width, target.half_width])
    lever = np.array([target.slant, target.distance, target.distance])
    angle, step, before = np.zeros(3), np.zeros(3), np.full(3, np.nan)
    for _ in range(EDGE_STEPS):
        met = _passing(shot, target, angle * (1, 0, 0), angle * (0, 1, 1))
        miss = edges - np.append(met.up[:1], met.right[1:])
        if not np.isfinite(miss).all():
            return None
        if np.abs(miss).max() <= EDGE:
            return Window(left=float(angle[1]), right=float(angle[2]), top=float(angle[0]))
        nearer = before - miss  # by the last step; NaN at first
        lever = np.where(np.abs(nearer) > EDGE, nearer / np.where(step, step, 1.0), lever)
        before, step = miss, miss / lever
        angle = angle + step
    return None


def _passing(shot: Shot, target: Target, up: Array, aside: Array) -> Impacts:
    """Where directions about the mark's meet the plane of the aim point.

    The arrow's line, level and vertical, seen from the line of sight: its launch angle and
    yaw there.
    """
    elevation, bearing = target.elevation + up, target.bearing + aside
    ahead, right = np.cos(elevation) * np.cos(bearing), np.cos(elevation) * np.sin(bearing)
    sine, cosine = np.sin(target.slope), np.cos(target.slope)
    above = np.sin(elevation) * cosine - ahead * sine
    along = ahead * cosine + np.sin(elevation) * sine
    inclined = shot.with_(slope=target.slope)
    yaw = np.arctan2(right, along)
    return impacts(inclined, np.arcsin(above), target.slant, yaw=yaw)


def _landed(shot: Shot, target: Target, terrain: Terrain, columns: Columns) -> Area | None:
    """The ground that a patch of directions covers behind the target, by the patch's outline."""
    aside, up = columns.outline()
    if not aside.size:
        return None
    elevation, bearing = target.elevation + up, target.bearing + aside
    landed = land(shot.with_(slope=0.0), elevation, bearing, terrain)
    if not landed.followed.all():
        raise Unsolved("a flight could not be followed to the ground")
    return _behind(target, landed.distance, landed.right)


def _covered(shot: Shot, target: Target, terrain: Terrain, columns: Columns) -> Area | None:
    """The convex hull of what a patch of directions covers, as far as it lies behind the target.

    Between directions `apart` rad from each other the ground's edge bulges by no more than
    5/8 apart^2 of the way to it: 1/8 as a circle about the archer, 1/2 as the carry
    R sin(2 e) does about its farthest. So much room is left around every landing.
    """
    aside, up, apart = columns.filled()
    if not aside.size:
        return None
    elevation = np.clip(target.elevation + up, -np.pi / 2, np.pi / 2)
    landed = land(shot.with_(slope=0.0), elevation, target.bearing + aside, terrain)
    followed = landed.followed
    if not followed[elevation < UPRIGHT].all():
        raise Unsolved("a flight could not be followed to the ground")
    distance, right = landed.distance[followed], landed.right[followed]
    if not (distance >= target.distance).any():
        return None
    room = 0.625 * apart**2 * float(np.hypot(distance, right).max())
    return _behind(target, *hull(distance, right, room))


def _behind(target: Target, distance: Array, right: Array) -> Area | None:
    """The part behind the target's line of the ground within an outline, open, m."""
    distance, right = beyond(distance, right, target.distance)
    if not distance.size:
        return None
    size = signed_size(distance, right)
    turn = slice(None, None, 1 if size >= 0.0 else -1)
    distance, right = distance[turn], right[turn]
    return Area(
        distance=np.append(distance, distance[0]),
        right=np.append(right, right[0]),
        size=abs(size),
        nearest=float(distance.min()),
        farthest=float(distance.max()),
        leftmost=float(right.min()),
        rightmost=float(right.max()),
    )
