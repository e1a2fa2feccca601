"""The path of one rigid arrow, its angles along it, and what they show."""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from arrowloft.core.arrays import Array
from arrowloft.core.rigid.flown import STEEPEST, Path, TooOblique
from arrowloft.core.rigid.linear import Swing
from arrowloft.core.rigid.motion import RigidMotion, attitude, dot
from arrowloft.core.rigid.oscillation import FAINT, measured, needed_points, settled_at

_CLOSE = 2001
"""Points along the path where angles are searched: dozens to an oscillation."""

_MOST_POINTS = 20_001


class Backward(ValueError):
    """A path that turns back along the line of sight, asked for at steps of distance."""


@dataclass(frozen=True, kw_only=True)
class History:
    """A rigid arrow along its path; arrays (points,), SI.

    time: since launch.  distance, height, right: of the balance point, in the line-of-sight
        frame.  speed: over the ground.
    pitch, yaw: of the shaft out of its motion through the air, tip up and tip right positive.
    angle: the whole angle between them.  spin: clockwise as the archer sees it.
    """

    time: Array
    distance: Array
    height: Array
    right: Array
    speed: Array
    pitch: Array
    yaw: Array
    angle: Array
    spin: Array


@dataclass(frozen=True, kw_only=True)
class Settling:
    """How the angle dies down along one path, SI.

    greatest: angle on the way, and where: at_greatest, m.
    third, e_fold, threshold: distance from which on the angle stays below a third and 1/e of
        the greatest, and below the angle asked for; None: not before the target, or so near
        an arrow's last metres that it cannot be said.
    """

    greatest: float
    at_greatest: float
    third: float | None
    e_fold: float | None
    threshold: float | None


def history(motion: RigidMotion, path: Path, end: float, times: Array) -> History:
    """What the arrow of a path does at these times, s, none after `end`."""
    state = path.at(np.clip(times, 0.0, end))
    pitch, yaw, angle = attitude(state[3:6] - motion.wind, state[6:9])
    return History(
        time=times,
        distance=state[0],
        height=state[1],
        right=state[2],
        speed=np.sqrt(dot(state[3:6], state[3:6])),
        pitch=pitch,
        yaw=yaw,
        angle=angle,
        spin=motion.spin(state),
    )


def close_history(motion: RigidMotion, path: Path, end: float) -> History:
    """The history at many evenly spaced times up to `end`, s.

    Raises TooOblique where the angle between two steps is more than forces are known for.
    """
    found = history(motion, path, end, np.linspace(0.0, end, _CLOSE))
    steep = np.flatnonzero(found.angle > STEEPEST)
    if steep.size:
        raise TooOblique(float(found.distance[steep[0]]))
    return found


def sample_times(close: History, step: float | None, samples: int | None) -> Array:
    """Times of the points asked for: each `step` m along the line of sight, or evenly in time.

    101 points where neither is given; the first is the launch, the last the arrival.
    Raises Backward. Between the points of `close` time is a cubic of the way: within 1e-6 m.
    """
    end = float(close.time[-1])
    if step is None:
        return np.linspace(0.0, end, 101 if samples is None else samples)
    way = close.distance
    if (np.diff(way) <= 0.0).any():
        raise Backward("the path turns back along the line of sight")
    first = np.floor(way[0] / step + 1e-9) + 1.0
    inner = step * np.arange(first, np.ceil(way[-1] / step - 1e-9))
    return np.concatenate(([0.0], CubicSpline(way, close.time)(inner), [end]))


def settling(close: History, beyond: History, wave: float, threshold: float) -> Settling:
    """Where the angle stays below a third and 1/e of its greatest, and below a threshold, rad.

    close: up to the target.  beyond: the flight on from there.  wave: way of one oscillation, m.
    An arrow whose angle is small at the target may be in the middle of its swing, so it counts
    as settled only where a full wave is known after that: then another target says the same.
    """
    distance = np.concatenate((close.distance, beyond.distance[1:]))
    angle = np.concatenate((close.angle, beyond.angle[1:]))
    top = int(np.argmax(close.angle))
    greatest = float(close.angle[top])
    # A hundredth of a wave is room for the tip, whose plane the flight ends at.
    last = min(close.distance[-1], distance[-1] - 0.99 * wave)

    def below(limit: float) -> float | None:
        at = settled_at(distance, angle, limit)
        return at if at is not None and at <= last else None

    nothing = float(distance[0]) if greatest <= FAINT else None
    return Settling(
        greatest=greatest,
        at_greatest=float(close.distance[top]),
        third=below(greatest / 3.0) if nothing is None else nothing,
        e_fold=below(greatest * float(np.exp(-1.0))) if nothing is None else nothing,
        threshold=below(threshold),
    )


def measured_swing(
    motion: RigidMotion, path: Path, end: float, expected: Swing | None
) -> Swing | None:
    """The oscillation read off the flown angles; None where they do not show one."""
    if expected is None:
        return None
    grid = np.linspace(0.0, end, _CLOSE)
    airspeed = motion.loads(path.at(grid)).airspeed
    way = np.concatenate(([0.0], np.cumsum(0.5 * (airspeed[1:] + airspeed[:-1]) * np.diff(grid))))
    points = needed_points(float(way[-1]), expected)
    if not 0 < points <= _MOST_POINTS:
        return None
    even = np.linspace(0.0, way[-1], points)
    found = history(motion, path, end, np.interp(even, way, grid))
    return measured(even, found.pitch, found.yaw)
