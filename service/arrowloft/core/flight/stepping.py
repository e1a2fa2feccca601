"""Flights integrated step by step (DOP853): the way out where collocation does not converge."""

from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from arrowloft.core.arrays import Array
from arrowloft.core.flight import work
from arrowloft.core.flight.motion import Forces, Launch
from arrowloft.core.setup.shot import Shot

RTOL = 1e-11
LONGEST_FLIGHT = 60.0
"""s; an arrow loosed straight up at 200 m/s without drag is back after 41 s."""

LOST = -3.0
"""m over the line of sight; an arrow that has fallen so far below does not come back to it."""


def integrate(shot: Shot, launch_angle: float, yaw: float = 0.0, **options: Any) -> Any:
    """SciPy's solution (state s, n, z, vs, vn, vz) of a shot of one lane; events may end it.

    Raises TooMuchWork.
    """
    zero = np.zeros(1)
    launch = Launch(shot, 3, zero + launch_angle, zero + yaw, zero + 1.0)
    forces = Forces(shot, 3)
    start = shot.launch_forward * launch.line - shot.peep_height * launch.up
    state = np.concatenate((start, shot.launch_speed * launch.line)).ravel()

    def rate(_: float, y: Array) -> Array:
        work.spend(work.STAGE)
        acceleration = forces.act(y[3:].reshape(1, 3, 1)).acceleration
        return np.concatenate((y[3:], acceleration.ravel()))

    options = {"rtol": RTOL, "atol": 1e-11, **options}
    return solve_ivp(rate, (0.0, LONGEST_FLIGHT), state, method="DOP853", **options)


def tip_of(shot: Shot, state: Array) -> Array:
    """Position of the tip (3,) for a state: it lies along the airspeed."""
    through, airspeed = Forces(shot, 3).airspeed(state[3:].reshape(3, 1))
    tip: Array = state[:3] + (shot.tip_lead * through / airspeed).ravel()
    return tip


def range_of_angle(shot: Shot, launch_angle: float) -> float:
    """Distance at which the tip comes down to the line of sight, m; NaN where it never rises."""

    def height(_: float, y: Array) -> float:
        return float(tip_of(shot, y)[1])

    def lost(_: float, y: Array) -> float:
        return float(y[1] - LOST)

    height.terminal = lost.terminal = True  # type: ignore[attr-defined]
    height.direction = lost.direction = -1.0  # type: ignore[attr-defined]
    flown = integrate(shot, launch_angle, events=(height, lost), rtol=1e-8, atol=1e-8)
    if not len(flown.t_events[0]):
        return float("nan")
    return float(tip_of(shot, flown.y_events[0][0])[0])
