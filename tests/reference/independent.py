"""Arrow flight integrated in the world frame by SciPy's DOP853: an oracle, slow and plain.

It shares no equation with the core: its own frame, forces, start, tip and root finding.
From the package it takes only the shot (as data) and the flow that a drag law is handed.

World frame: x level toward the target, y up, z to the archer's right, the eye at the
origin. The line of sight rises by `slope`; the arrow's line lies `angle` above it, turned
right by `yaw` about the perpendicular of the line of sight, then rolled about that line.
"""

from collections import namedtuple

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, minimize_scalar
from scipy.spatial.transform import Rotation

from arrowloft.core.flow import Flow

RTOL, ATOL = 1e-12, 1e-13
LONGEST_STEP = 0.1  # s; no step of the integrator may jump over a narrow feature of a law

Flown = namedtuple("Flown", "time tip velocity speed")
Aim = namedtuple("Aim", "angle time speed drift descent rise")


def axes(shot):
    """The line of sight, its upward perpendicular, and the right: rows of a matrix."""
    cosine, sine = np.cos(shot.slope), np.sin(shot.slope)
    return np.array([[cosine, sine, 0.0], [-sine, cosine, 0.0], [0.0, 0.0, 1.0]])


def wind(shot):
    """Velocity of the air: it comes from `wind_from`, clockwise from +x seen from above."""
    toward = shot.wind_from + np.pi
    return shot.wind_speed * np.array([np.cos(toward), 0.0, np.sin(toward)])


def start(shot, angle, yaw=0.0):
    """Position and velocity of the balance point as the arrow leaves the string."""
    along, above, right = axes(shot)
    elevation = shot.slope + angle
    line = np.array([np.cos(elevation), np.sin(elevation), 0.0])
    up = np.array([-np.sin(elevation), np.cos(elevation), 0.0])
    # Turning +z into +x is positive about +y, so a turn to the right is negative about it;
    # about the line of sight, a positive turn takes up to the right.
    turn = Rotation.from_rotvec(shot.roll * along) * Rotation.from_rotvec(-yaw * above)
    line, up = turn.apply(line), turn.apply(up)
    return np.concatenate((shot.launch_forward * line - shot.peep_height * up,
                           shot.launch_speed * line))  # fmt: skip


def rate(shot):
    """The equation of motion, dy/dt for y = (position, velocity)."""
    air, arrow, moving = shot.air, shot.arrow, wind(shot)
    half = 0.5 * air.density * shot.drag_scale / arrow.mass

    def of(_, y):
        through = y[3:] - moving
        airspeed = np.sqrt(through @ through)
        flow = Flow(np.array([airspeed]), air.density, air.viscosity, air.speed_of_sound)
        pull = half * float(shot.drag(flow, arrow)[0]) * airspeed
        return np.array([*y[3:], -pull * through[0],
                         -pull * through[1] - shot.gravity, -pull * through[2]])  # fmt: skip

    return of


def tip(shot, y):
    """World position of the tip: ahead of the balance point along the airspeed."""
    through = y[3:] - wind(shot)
    return y[:3] + shot.tip_lead * through / np.linalg.norm(through)


def fly(shot, angle, distance=None, yaw=0.0, **options):
    """Fly until the tip meets the plane at `distance`, or without one comes down to the sight line.

    Tip and velocity are (along, above, right) of the line of sight. None if it never does.
    """
    frame = axes(shot)

    def arrival(_, y):
        return frame[1] @ tip(shot, y) if distance is None else frame[0] @ tip(shot, y) - distance

    arrival.terminal = True
    arrival.direction = -1.0 if distance is None else 1.0
    options = {"rtol": RTOL, "atol": ATOL, "max_step": LONGEST_STEP, **options}
    flown = solve_ivp(
        rate(shot), (0.0, 100.0), start(shot, angle, yaw), "DOP853", events=arrival, **options
    )
    if not len(flown.t_events[0]):
        return None
    y = flown.y_events[0][0]
    return Flown(flown.t_events[0][0], frame @ tip(shot, y), frame @ y[3:], np.linalg.norm(y[3:]))


def aim(shot, distance, yaw=0.0, **options):
    """The low launch angle that brings the tip to the height of the aim point: secant steps.

    Started from a level flat shot in a vacuum. The rise of the impact per angle tells the
    branch: it is positive on the low one.
    """
    way = max(distance - shot.launch_forward - shot.tip_lead, 0.1)
    drop = 0.5 * shot.gravity * np.cos(shot.slope) * (way / shot.launch_speed) ** 2
    old = (shot.peep_height + drop) / distance
    old_height = fly(shot, old, distance, yaw, **options).tip[1]
    angle = old - old_height / distance
    for _ in range(30):
        flown = fly(shot, angle, distance, yaw, **options)
        rise = (flown.tip[1] - old_height) / (angle - old)
        step = -flown.tip[1] / rise
        if abs(step) < 1e-13 or abs(angle - old) < 1e-12:
            return _aim(angle + step, flown, rise)
        old, old_height, angle = angle, flown.tip[1], angle + step
    raise ArithmeticError("the secant steps did not settle")


def aim_between(shot, distance, low, high):
    """The launch angle in a bracket at which the tip's fall meets the distance (Brent)."""
    angle = brentq(lambda a: fly(shot, a).tip[0] - distance, low, high, xtol=1e-13, rtol=1e-13)
    return _aim(angle, fly(shot, angle), np.nan)


def _aim(angle, flown, rise):
    descent = np.arctan2(flown.velocity[1], flown.velocity[0])
    return Aim(angle, flown.time, flown.speed, flown.tip[2], descent, rise)


def reach(shot):
    """Farthest distance along the line of sight at which the tip comes down to it, and its angle."""

    def short(angle):
        flown = fly(shot, angle, rtol=1e-11, atol=1e-12)
        return 0.0 if flown is None else -flown.tip[0]

    top = np.pi / 2 - shot.slope
    # Several coarse angles first: the search by sections needs one maximum in its bracket.
    coarse = np.linspace(0.05, 0.95, 19) * top
    best = int(np.argmin([short(angle) for angle in coarse]))
    bracket = coarse[max(best - 1, 0)], coarse[min(best + 1, coarse.size - 1)]
    found = minimize_scalar(short, bounds=bracket, method="bounded", options={"xatol": 1e-7})
    return -found.fun, found.x
