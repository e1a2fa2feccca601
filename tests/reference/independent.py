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

from arrowloft.core.setup.flow import Flow

RTOL, ATOL = 1e-12, 1e-13
LONGEST_STEP = 0.1  # s; no step of the integrator may jump over a narrow feature of a law

Flown = namedtuple("Flown", "time tip velocity speed apex")
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
    along, above, _ = axes(shot)
    elevation = shot.slope + angle
    line = np.array([np.cos(elevation), np.sin(elevation), 0.0])
    up = np.array([-np.sin(elevation), np.cos(elevation), 0.0])
    # Turning +z into +x is positive about +y, so a turn to the right is negative about it;
    # about the line of sight, a positive turn takes up to the right.
    turn = Rotation.from_rotvec(shot.roll * along) * Rotation.from_rotvec(-yaw * above)
    line, up = turn.apply(line), turn.apply(up)
    place = shot.launch_forward * line - shot.peep_height * up
    return np.concatenate((place, shot.launch_speed * line))


def rate(shot):
    """The equation of motion, dy/dt for y = (position, velocity)."""
    air, arrow, moving = shot.air, shot.arrow, wind(shot)
    weight = np.array([0.0, shot.gravity, 0.0])
    half = 0.5 * air.density * shot.drag_scale / arrow.mass

    def of(_, y):
        through = y[3:] - moving
        airspeed = np.sqrt(through @ through)
        flow = Flow(np.array([airspeed]), air.density, air.viscosity, air.speed_of_sound)
        pull = half * float(shot.drag(flow, arrow)[0]) * airspeed
        return np.concatenate((y[3:], -pull * through - weight))

    return of


def tip(shot, y):
    """World position of the tip: ahead of the balance point along the airspeed."""
    through = y[3:] - wind(shot)
    return y[:3] + shot.tip_lead * through / np.linalg.norm(through)


def fly(shot, angle, distance=None, yaw=0.0, **options):
    """Fly until the tip meets the plane at `distance`, or without one comes down to the sight line.

    Tip, velocity and apex are (along, above, right) of the line of sight; the apex is the
    balance point's, None where it only falls. None altogether if the flight never arrives.
    """
    frame = axes(shot)

    def arrival(_, y):
        return frame[1] @ tip(shot, y) if distance is None else frame[0] @ tip(shot, y) - distance

    def top(_, y):
        return frame[1] @ y[3:]

    arrival.terminal = True
    top.direction = -1.0
    arrival.direction = -1.0 if distance is None else 1.0
    options = {"rtol": RTOL, "atol": ATOL, "max_step": LONGEST_STEP, **options}
    flown = solve_ivp(
        rate(shot),
        (0.0, 100.0),
        start(shot, angle, yaw),
        "DOP853",
        events=(arrival, top),
        **options,
    )
    if not len(flown.t_events[0]):
        return None
    y = flown.y_events[0][0]
    speed = np.linalg.norm(y[3:])
    tops = [frame @ state[:3] for state in flown.y_events[1]]
    apex = tops[0] if tops else None
    return Flown(flown.t_events[0][0], frame @ tip(shot, y), frame @ y[3:], speed, apex)


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
    """The launch angle in a bracket at which the tip comes down at the distance (Brent)."""

    def over(angle):
        return fly(shot, angle).tip[0] - distance

    return brentq(over, low, high, xtol=1e-13, rtol=1e-13)


def _aim(angle, flown, rise):
    descent = np.arctan2(flown.velocity[1], flown.velocity[0])
    return Aim(angle, flown.time, flown.speed, flown.tip[2], descent, rise)


def airspeed_at(shot, angle, time):
    """Airspeed after a time of flight, m/s; good to about 1e-6, to place a law's kink there."""
    y = solve_ivp(rate(shot), (0.0, time), start(shot, angle), rtol=1e-7).y[:, -1]
    return float(np.linalg.norm(y[3:] - wind(shot)))


def reach(shot):
    """Farthest distance along the line of sight at which the tip comes down to it, and its angle.

    The distance is flat at its maximum: an angle good to 1e-5 rad gives it to 1e-9 of itself.
    """

    def short(angle):
        flown = fly(shot, angle, rtol=1e-9, atol=1e-9, max_step=np.inf)
        return 0.0 if flown is None else -flown.tip[0]

    top = np.pi / 2 - shot.slope
    # Several coarse angles first: the search by sections needs one maximum in its bracket.
    coarse = np.linspace(0.1, 0.9, 9) * top
    best = int(np.argmin([short(angle) for angle in coarse]))
    bracket = coarse[max(best - 1, 0)], coarse[min(best + 1, coarse.size - 1)]
    found = minimize_scalar(short, bounds=bracket, method="bounded", options={"xatol": 1e-6})
    return -found.fun, found.x
