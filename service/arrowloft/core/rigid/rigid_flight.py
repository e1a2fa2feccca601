"""One set-up flown as a rigid body: its path, its angles, and what a release does to the hit."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.flight.reach import require_reached
from arrowloft.core.rigid.flown import Path, TooOblique, meet, onward, require_affordable
from arrowloft.core.rigid.history import (
    History,
    Settling,
    close_history,
    history,
    measured_swing,
    sample_times,
    settling,
)
from arrowloft.core.rigid.linear import Swing, swing
from arrowloft.core.rigid.motion import Release, RigidMotion, RigidShot, dot
from arrowloft.core.rigid.release_scatter import CAUSES, Scattered, scattered, stencil

POSITION_ERROR = 1e-5
"""Error of an impact, m, with room: against steps of a thousandth, 3e-7 at up to 450 m with a
smooth drag law, 2e-6 with one that has corners (measured)."""

MOST_BEYOND = 100.0
"""m past the target that an arrow is flown to see whether it has settled, at most."""


class Unstable(ValueError):
    """An arrow whose centre of pressure is not behind its balance point."""


@dataclass(frozen=True, kw_only=True)
class OneRelease:
    """How one arrow leaves the string: as `motion.Release`, one float each."""

    pitch: float = 0.0
    yaw: float = 0.0
    pitch_rate: float = 0.0
    yaw_rate: float = 0.0
    spin: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Shifts:
    """Rigid arrows beside point masses loosed at the same angle; arrays (distances,), SI.

    launch_angle: that brings the point mass to the aim point.
    shift_up, shift_right: of the rigid arrow's tip from the point mass's in the target plane.
    release_up, release_right: from the tip of the same rigid arrow, cleanly released.
    time_difference, speed_difference: rigid less point mass, at arrival.
    angle: of the shaft to the air then.
    """

    distance: Array
    launch_angle: Array
    shift_up: Array
    shift_right: Array
    release_up: Array
    release_right: Array
    time_difference: Array
    speed_difference: Array
    angle: Array


@dataclass(frozen=True, kw_only=True)
class RigidFlight:
    """All that is computed of one rigid flight, SI.

    linear: the oscillation that linear theory foretells at the launch speed.
    flown: that which the flown angles show; None where they show none.
    terminal_spin: at the launch speed, rad/s.
    scatter: None where no scatter was asked for.
    """

    history: History
    settling: Settling
    linear: Swing | None
    flown: Swing | None
    shifts: Shifts
    scatter: Scattered | None
    terminal_spin: float
    airspeed_range: tuple[float, float]
    aim_error: float


def rigid_flight(
    rigid: RigidShot,
    release: OneRelease,
    *,
    target: float,
    distances: Array,
    scatter: Array | None = None,
    threshold: float,
    step: float | None = None,
    samples: int | None = None,
) -> RigidFlight:
    """Loose a rigid arrow at the angle that brings the point mass to the target, m.

    distances: further ones, each aimed at by itself; rows are the target's, then theirs.
    scatter: standard deviations of pitch, yaw, pitch rate and yaw rate, (4,), rad and rad/s.
    threshold: angle, rad, below which the arrow counts as settled.
    step, samples: as in `history.sample_times`.

    Raises Unstable, TooBusy, FallsShort, Backward; TooNear, BeyondReach, Unsolved; TooOblique,
    whose lane is then 0 for the asked release, 1 for a clean one, and more for a scattered one.
    """
    require_stable(rigid)
    motion = RigidMotion(rigid)
    aims = aim(rigid.shot, np.concatenate(([target], distances)))
    require_reached(rigid.shot, aims)
    releases = _releases(release, scatter)
    met, kept = _flown(motion, aims, releases)
    end = kept.end
    close = close_history(motion, kept, end)
    expected = swing(rigid, float(rigid.shot.launch_speed))
    airspeed = motion.loads(kept.at(close.time)).airspeed
    return RigidFlight(
        history=history(motion, kept, end, sample_times(close, step, samples)),
        settling=_settling(motion, met.state[:, 0, 0], close, expected, threshold),
        linear=expected,
        flown=measured_swing(motion, kept, end, expected),
        shifts=_shifts(motion, aims, met),
        scatter=None if scatter is None else scattered(met.tip),
        terminal_spin=rigid.air.rolling.spin_per_speed() * float(rigid.shot.launch_speed),
        airspeed_range=(float(airspeed.min()), float(airspeed.max())),
        aim_error=float(aims.error.max()),
    )


def require_stable(rigid: RigidShot) -> None:
    """Raise Unstable unless the centre of pressure is behind the balance point at angle 0."""
    if not float(rigid.air.static_margin(np.zeros(1))[0]) > 0.0:
        raise Unstable("the centre of pressure is not behind the balance point")


class _Met(NamedTuple):
    """Arrivals: time (aims, releases), state (12, aims, releases), tip's up and right (2, ...).

    The first release is the asked one, the second a clean one, the others scattered.
    """

    time: Array
    state: Array
    tip: Array


def _releases(release: OneRelease, scatter: Array | None) -> Release:
    """The asked release, a clean one, and those of the scatter's stencil around the asked."""
    asked = np.array([getattr(release, name) for name in CAUSES])
    changes = np.zeros((0, asked.size)) if scatter is None else stencil(scatter)
    values = np.concatenate((asked[None], np.zeros((1, asked.size)), asked + changes)).T
    spin = np.full(values.shape[1], release.spin)
    spin[1] = 0.0
    pitch, yaw, pitch_rate, yaw_rate = values
    return Release(pitch=pitch, yaw=yaw, pitch_rate=pitch_rate, yaw_rate=yaw_rate, spin=spin)


def _flown(motion: RigidMotion, aims: Aimed, releases: Release) -> tuple[_Met, Path]:
    """Every release toward every aim, in one batch, and the path of the first toward the first."""
    count, each = aims.distance.size, releases.pitch.size
    tiled = Release(**{name: np.tile(values, count) for name, values in vars(releases).items()})
    start = motion.start(tiled, np.repeat(aims.launch_angle, each))
    farthest, spin = float(aims.distance.max()), float(np.abs(releases.spin).max())
    require_affordable(motion, start.shape[1], farthest, spin)
    try:
        met, path = meet(motion, start, np.repeat(aims.distance, each), keep=True)
    except TooOblique as error:
        raise TooOblique(error.distance, error.lane % each) from error
    assert path is not None
    tip = met.state[1:3] + float(motion.rigid.shot.tip_lead) * met.state[7:9]
    shape = (count, each)
    found = _Met(met.time.reshape(shape), met.state.reshape(-1, *shape), tip.reshape(-1, *shape))
    return found, path


def _settling(
    motion: RigidMotion, arrived: Array, close: History, expected: Swing | None, threshold: float
) -> Settling:
    """Where the arrow is settled, told by its flight to the target and one wave on."""
    lead, wave = float(motion.rigid.shot.tip_lead), 0.0 if expected is None else expected.length
    path = onward(motion, arrived, float(arrived[0]) + lead + min(wave, MOST_BEYOND))
    times = np.linspace(0.0, path.end, close.time.size)
    return settling(close, history(motion, path, path.end, times), wave, threshold)


def _shifts(motion: RigidMotion, aims: Aimed, met: _Met) -> Shifts:
    state = met.state[:, :, 0]
    up, right = met.tip
    return Shifts(
        distance=aims.distance,
        launch_angle=aims.launch_angle,
        shift_up=up[:, 0],
        shift_right=right[:, 0] - aims.drift,
        release_up=up[:, 0] - up[:, 1],
        release_right=right[:, 0] - right[:, 1],
        time_difference=met.time[:, 0] - aims.time,
        speed_difference=np.sqrt(dot(state[3:6], state[3:6])) - aims.speed,
        angle=motion.loads(state).incidence,
    )
