"""How far many set-ups reach, told cheaply and with room: which distances need no search."""

import numpy as np

from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.flight.motion import Forces, Launch, sideways
from arrowloft.core.setup.shot import Shot, as_lanes, is_zero, lane_count

STEPS = 24
"""Steps of a coarse flight, over LONGER times what it would take without drag."""

LONGER = 1.25

ANGLES = ((0.32, 0.45, 0.58), (0.08, 0.2, 0.32))
"""Launch angles tried, as shares of the way to straight up: about where arrows fly farthest,
and where drag takes most of their speed."""

NARROWER = 0.25
"""Spacing of a second round of angles, about the best of the first, as a share of its own."""

MOST_DRAG = 5.0
"""Most drag at launch, by weight, of which the steps are short enough."""

ROOM = 0.01
"""Share that is added to the coarse reach: it is short of the exact one by 0.0025 at most
over thousands of set-ups (measured, tests/core)."""

SUSPECTED = 0.75
"""Share of a guess at the reach beyond which it is worth being computed."""

_AT_ONCE = 4096
"""Coarse flights computed together."""


def reach_bound(shot: Shot, farthest: Array) -> Array:
    """A distance, m, beyond which each set-up cannot be aimed for certain, (lanes,).

    farthest: that is asked for, (lanes,), m; where it is well within reach nothing is computed
    and the bound is infinite, as it is where coarse flights cannot tell.

    In still air drag bends an arrow's path down from the parabola of its launch, as
    y'' = -g / vx^2 along x, so it stays under the envelope of all parabolas, |P| + y = v^2 / g
    for points P about the launch. The launch and the tip lie within some lengths of the eye
    and the balance point, which are taken off. With drag, and in wind, the farthest of some
    coarse flights with ROOM added is the bound.
    """
    count = farthest.size
    about = np.abs(shot.launch_forward) + np.abs(shot.peep_height) + np.abs(shot.tip_lead)
    free = as_lanes(shot.launch_speed**2 / shot.gravity, count)
    uphill = as_lanes(1.0 + np.sin(shot.slope), count)
    envelope = (free + 2.0 * about) / np.maximum(uphill, 1e-9)
    bound = envelope if is_zero(shot.wind_speed) else np.full(count, np.inf)
    share = _drag_share(shot, count)
    guess = free / (uphill + share)
    near = np.flatnonzero(farthest > SUSPECTED * guess)
    several = lane_count(shot) > 1
    for start in range(0, near.size, _AT_ONCE // 3):
        lanes = near[start : start + _AT_ONCE // 3]
        found = _coarse(shot.take(lanes) if several else shot, share[lanes])
        bound[lanes] = np.fmin(bound[lanes], (1.0 + ROOM) * found)
    return bound


def _drag_share(shot: Shot, count: int) -> Array:
    """Drag at launch by weight, (lanes,)."""
    forces = Forces(shot, 2)
    speed = as_lanes(shot.launch_speed, count)
    area = shot.drag(forces.flow(speed[None]), shot.arrow)[0]
    share: Array = forces.factor * area * speed**2 / shot.gravity
    return share


def _coarse(shot: Shot, share: Array) -> Array:
    """The reach by coarse flights, m, (lanes,); NaN where they do not enclose it.

    share: drag at launch by weight, (lanes,).
    """
    result = np.full(share.size, np.nan)
    left = np.flatnonzero(share <= MOST_DRAG)
    for angles in ANGLES:
        if not left.size:
            break
        part = shot.take(left) if lane_count(shot) > 1 else shot
        wide = np.repeat(np.array(angles)[:, None], left.size, axis=1)
        at, found = _top(wide, _ranges(part, wide))
        sure = np.flatnonzero(np.isfinite(found))
        if sure.size:
            part = part.take(sure) if lane_count(part) > 1 else part
            fine = at[sure] + NARROWER * (wide - wide[1])[:, sure]
            result[left[sure]] = _top(fine, _ranges(part, fine))[1]
        left = left[np.isnan(found)]
    return result


def _top(angles: Array, ranges: Array) -> tuple[Array, Array]:
    """Angle and range at the top of the parabola through three (3, lanes), evenly spaced.

    NaN unless the middle range is the greatest: the top lies between the others then.
    """
    low, middle, high = ranges
    tilt, bend = 0.5 * (high - low), high - 2.0 * middle + low
    enclosed = (middle >= low) & (middle >= high) & (bend < 0.0)
    shift = np.where(enclosed, -tilt / np.where(enclosed, bend, 1.0), np.nan)
    return angles[1] + shift * (angles[1] - angles[0]), middle + 0.5 * shift * tilt


def _ranges(shot: Shot, shares: Array) -> Array:
    """Where the tip comes down to the line of sight, m, (angles, lanes); NaN where it does not.

    shares: launch angles, as shares of the way to straight up.
    """
    tried, count = shares.shape
    top = np.pi / 2 - as_lanes(shot.slope, count)
    angle = (shares * top).ravel()
    lanes: Lanes = np.tile(np.arange(count), tried)
    many = shot.take(lanes) if lane_count(shot) > 1 else shot
    axes = 3 if sideways(shot) else 2
    pull = many.gravity * np.cos(many.slope)
    step = LONGER / STEPS * 2.0 * many.launch_speed * np.sin(angle) / pull
    launch = Launch(many, axes, angle, np.zeros(angle.size), step)
    with np.errstate(all="ignore"):  # a flight that overflows comes down nowhere
        ranges = _fallen(many, launch, axes, step)
    return np.reshape(ranges, (tried, count))


def _fallen(shot: Shot, launch: Launch, axes: int, step: Array) -> Array:
    """Steps of Runge and Kutta, and the tip's first way down through the line of sight."""
    forces = Forces(shot, axes)

    def acceleration(velocity: Array) -> Array:
        pull: Array = forces.act(velocity[None]).acceleration[0]
        return pull

    def tip(place: Array, velocity: Array) -> Array:
        through, airspeed = forces.airspeed(velocity)
        lead: Array = (place + shot.tip_lead * through / airspeed)[:2]
        return lead

    place = shot.launch_forward * launch.line - shot.peep_height * launch.up
    velocity = shot.launch_speed * launch.line
    before, found = tip(place, velocity), np.full(step.size, np.nan)
    for _ in range(STEPS):
        one = acceleration(velocity)
        two = acceleration(velocity + 0.5 * step * one)
        three = acceleration(velocity + 0.5 * step * two)
        four = acceleration(velocity + step * three)
        place = place + step * (velocity + step * (one + two + three) / 6.0)
        velocity = velocity + step * (one + 2.0 * (two + three) + four) / 6.0
        after = tip(place, velocity)
        falls = (before[1] > 0.0) & (after[1] <= 0.0) & np.isnan(found)
        share = before[1] / (before[1] - after[1])
        found = np.where(falls, before[0] + share * (after[0] - before[0]), found)
        before = after
    return found
