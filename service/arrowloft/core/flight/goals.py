"""What a flight must meet: an aim point, a plane, or the line of sight."""

import numpy as np

from arrowloft.core.arrays import Array, Mask, Real
from arrowloft.core.flight.motion import End, Goal, Launch

LONGEST_STEP = 0.3
"""A single correction changes the angle by at most 0.3 rad and the time by at most 30 %:
far from the solution the held accelerations say little."""


class Aim(Goal):
    """The tip meets the aim point's height in the plane at `distance`; angle and time unknown.

    windage: lanes in which the yaw is unknown too, until the tip meets the aim point itself.
    """

    def __init__(self, distance: Array, roll: Real = 0.0, windage: Mask | None = None) -> None:
        self.distance = distance
        self.roll = roll
        self.windage = windage

    def correct(self, launch: Launch, end: End) -> Array:
        """One step in angle and time; yaw, nearly independent of both, by itself."""
        ahead = end.tip[0] - self.distance
        swing_s, swing_n, steep = _swing(launch, end, self.roll)
        self.lever = swing_n - steep * swing_s
        angle = (steep * ahead - end.tip[1]) / self.lever
        time = (ahead + swing_s * angle) / -end.velocity[0]
        moved: Array = np.maximum(np.abs(angle), np.abs(time) / launch.time)
        if not moved.max() <= LONGEST_STEP:
            angle = np.clip(angle, -LONGEST_STEP, LONGEST_STEP)
            time = _bounded(time, launch.time)
        launch.angle = launch.angle + angle
        launch.time = launch.time + time
        if self.windage is not None:
            moved = np.maximum(moved, _turn(launch, end, self.windage))
        return moved


UNEVEN = 5.0
"""What the iterations toward a plane still move the impact is up to 3 times their last
step (measured, on arcs under strong drag): nothing else ties the path down."""


class Plane(Goal):
    """The tip meets the plane at `distance` across the line of sight; only time unknown.

    The time settles before the place does, so what the place still moves counts as well.
    """

    def __init__(self, distance: Array, roll: Real = 0.0) -> None:
        self.distance = distance
        self.roll = roll
        self.met: Array | None = None

    def correct(self, launch: Launch, end: End) -> Array:
        """One step in time; moved is also by how much of the distance the impact moved."""
        swing_s, swing_n, steep = _swing(launch, end, self.roll)
        self.lever = swing_n - steep * swing_s
        late = (self.distance - end.tip[0]) / end.velocity[0]
        met = (end.tip + late * end.velocity)[1:]
        before, self.met = self.met, met
        moved = _lengthen(launch, late)
        if before is None:
            return np.full(moved.size, np.inf)
        place: Array = np.maximum(moved, np.abs(met - before).max(axis=0) / self.distance)
        return UNEVEN * place


class Fall(Goal):
    """The tip comes down to the line of sight; time unknown, and yaw with windage.

    height: of a parallel over the line of sight, m, that it comes down to instead.
    """

    def __init__(self, roll: Real = 0.0, windage: Mask | None = None, height: Real = 0.0) -> None:
        self.roll = roll
        self.windage = windage
        self.height = height

    def correct(self, launch: Launch, end: End) -> Array:
        """One step in time; a guess that still rises is sent beyond the apex."""
        swing_s, swing_n, steep = _swing(launch, end, self.roll)
        self.lever = swing_n - steep * swing_s
        falling = np.minimum(end.velocity[1], -1e-3)
        moved = _lengthen(launch, (self.height - end.tip[1]) / falling)
        if self.windage is not None:
            moved = np.maximum(moved, _turn(launch, end, self.windage))
        return moved


def _swing(launch: Launch, end: End, roll: Real) -> tuple[Array, Array, Array]:
    """What a launch angle does to the tip, along and up, and the steepness of its path there."""
    up = end.weightless[0]
    if launch.axes == 3:
        up = up * np.cos(roll)
    return -end.weightless[1], up, end.velocity[1] / end.velocity[0]


def _turn(launch: Launch, end: End, lanes: Mask) -> Array:
    """Yaw the bow by what brings the tip back to the line of sight; how far it turned."""
    off = np.where(lanes, end.tip[2], 0.0)
    yaw: Array = np.clip(-off / end.weightless[0], -LONGEST_STEP, LONGEST_STEP)
    launch.yaw = launch.yaw + yaw
    turned: Array = np.abs(yaw)
    return turned


def _lengthen(launch: Launch, step: Array) -> Array:
    step = _bounded(step, launch.time)
    moved: Array = np.abs(step) / launch.time
    launch.time = launch.time + step
    return moved


def _bounded(step: Array, time: Array) -> Array:
    bounded: Array = np.clip(step, -LONGEST_STEP * time, LONGEST_STEP * time)
    return bounded
