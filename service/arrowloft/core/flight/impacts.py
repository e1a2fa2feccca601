"""Impacts: where arrows loosed at given angles meet planes across the line of sight.

`aim` finds the angle that a sight is set to; here that angle is kept while something
else changes - the bow is rolled, the wind blows, the arrow is another, the plane is that
of a branch on the way - and the question is where the tip passes.
"""

from dataclasses import dataclass, fields

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask, Real
from arrowloft.core.flight.aimed import EDGES, ERROR_SHARE, ROUNDING
from arrowloft.core.flight.collocation import Rule, lobatto
from arrowloft.core.flight.geometry import arrow_line
from arrowloft.core.flight.goals import Plane
from arrowloft.core.flight.guess import flat_fire_guess
from arrowloft.core.flight.motion import CONVERGED, Flights, Forces, Launch, sideways, solve
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.flight.splitting import passes_kink, split
from arrowloft.core.flight.stepping import integrate, tip_of
from arrowloft.core.setup.shot import Shot, as_lanes, lane_count

BLOCK = 2048
"""Lanes solved together: a block's arrays stay in the processor's cache."""

LEVELS = ((8, 14), (16, 40), (32, 40), (64, 40), (128, 40))
"""Points in time and most iterations, tried in this order until the estimate is met."""

TOLERANCE = 1e-7
"""Estimated error of the position, m, at which a lane is done."""

POOR = 1e-5
"""Estimated error of the position, m, above which a lane is integrated step by step."""

MOST_STEPPED = 16
"""Most lanes that are integrated step by step where nothing else settles: 10 ms each, and
half a second for flights of hundreds of metres."""

STEPPED = 1e-6
"""Error of the position of a lane integrated step by step, m, with room (measured)."""

LONGEST_STEP = 0.25
"""Longest step of that, s: it must not step over the plane and back."""

DEEPEST = -1000.0
"""m over the line of sight; an arrow that has fallen so far below comes to no plane."""


@dataclass(frozen=True, kw_only=True)
class Impacts:
    """Where tips meet planes; arrays (lanes,), SI; NaN where an arrow never comes there.

    distance: of the plane.  up, right: of the tip in it, from the line of sight.
    time: since launch; 0 where the string still holds the arrow.
    speed, angle: of the balance point then; the angle of its velocity to the line of sight,
        rising positive.
    least_airspeed, greatest_airspeed: along the flight.
    error: estimated error of the position, m.
    """

    distance: Array
    up: Array
    right: Array
    time: Array
    speed: Array
    angle: Array
    least_airspeed: Array
    greatest_airspeed: Array
    error: Array

    @property
    def arrived(self) -> Mask:
        """Whether each lane's arrow comes to its plane, (lanes,) bool."""
        return np.isfinite(self.up)

    @property
    def airspeed_range(self) -> tuple[float, float]:
        """Least and greatest airspeed of all flights that arrive, m/s."""
        return float(np.nanmin(self.least_airspeed)), float(np.nanmax(self.greatest_airspeed))


def impacts(shot: Shot, launch_angle: Real, distance: Real, *, yaw: Real = 0.0) -> Impacts:
    """Loose each lane at its launch angle and yaw, rad, toward its plane at `distance`, m.

    Before the arrow has left the string its tip is on the arrow's line: planes there are
    met on that line. `shot.roll` rolls the bow about the line of sight, the aim point held.
    A lane is NaN where its arrow turns back or falls short of the plane.

    Raises Unsolved where more lanes than can be followed step by step do not settle.
    """
    count = lane_count(shot, launch_angle, distance, yaw)
    angle, yaw_lanes = as_lanes(launch_angle, count), as_lanes(yaw, count)
    planes = as_lanes(distance, count)
    result = _on_the_string(shot, angle, yaw_lanes, planes)
    left = np.flatnonzero(np.isnan(result.up))
    for level in LEVELS:
        if not left.size:
            break
        left = _attempt(result, shot, angle, yaw_lanes, left, level)
    if left.size > MOST_STEPPED:
        raise Unsolved("too many flights do not settle")
    for lane in left:
        _step(result, shot, float(angle[lane]), float(yaw_lanes[lane]), int(lane))
    return result


def _on_the_string(shot: Shot, angle: Array, yaw: Array, planes: Array) -> Impacts:
    """The planes that the tip has passed before the launch; the others are left NaN."""
    line, up = arrow_line(angle, yaw, shot.roll)
    balance = shot.launch_forward * line[0] - shot.peep_height * up[0]
    tip = balance + shot.tip_lead * line[0]
    through, airspeed = Forces(shot, 3).airspeed(shot.launch_speed * line)
    # Let go, it turns into the airspeed, and may reach farther then.
    tip = np.maximum(tip, balance + shot.tip_lead * through[0] / airspeed)
    blank = {item.name: np.full(planes.size, np.nan) for item in fields(Impacts)}
    found = Impacts(**{**blank, "distance": planes})
    on = planes <= tip
    if on.any():
        along = (planes + shot.peep_height * up[0]) / line[0]
        held = along * line - shot.peep_height * up
        speed = as_lanes(shot.launch_speed, planes.size)
        rises = np.arctan2(line[1], line[0])
        values = (held[1], held[2], 0.0, speed, rises, airspeed, airspeed, 0.0)
        for item, value in zip(fields(Impacts)[1:], values, strict=True):
            getattr(found, item.name)[on] = np.broadcast_to(value, planes.shape)[on]
    return found


def _attempt(
    result: Impacts, shot: Shot, angle: Array, yaw: Array, lanes: Lanes, level: tuple[int, int]
) -> Lanes:
    """Solve the lanes at one level and store those good enough; the others are returned."""
    block = max(BLOCK * LEVELS[0][0] // level[0], 1)
    last = level is LEVELS[-1]
    left = []
    for start in range(0, lanes.size, block):
        part = lanes[start : start + block]
        flights = _flights(shot.take(part), angle[part], yaw[part], result.distance[part], level)
        way = np.maximum(result.distance[part], flights.shot.launch_speed * flights.launch.time)
        error = _error(flights, way)
        # More points do not lessen what the iterations leave of a long way.
        good = error <= np.maximum(TOLERANCE, 2.0 * CONVERGED * way)
        # At the last level a lane that converged stands, its error said, until it is stepped.
        _store(result, flights, error, part, np.isfinite(error) if last else good)
        left.append(part[~(error <= POOR) if last else ~good])
    return np.concatenate(left)


def _flights(
    shot: Shot, angle: Array, yaw: Array, planes: Array, level: tuple[int, int]
) -> Flights:
    axes = 3 if sideways(shot, yaw) else 2
    points, limit = level
    with np.errstate(all="ignore"):  # an arrow that never arrives may overflow; refused below
        _, time, rate = flat_fire_guess(shot, planes)
        time = np.where(time > 1e-5, time, 1e-5)
        launch = Launch(shot, axes, angle, yaw, time, rate)
        goal = Plane(planes, shot.roll)
        flights = solve(shot, launch, goal, lobatto(points), limit)
        return flights if level is LEVELS[0] else split(flights, goal, limit)


def _error(flights: Flights, way: Array) -> Array:
    """Estimated error of the position in the plane, m, (lanes,); inf where not converged.

    What the points leave out of the acceleration, integrated twice; what the iterations
    leave, no less than they moved last, as their steps shrink unevenly; and rounding, or
    how well the edges of a split flight are known. Shares are of the `way` flown, m.
    """
    launch = flights.launch
    whole = isinstance(flights.grid, Rule)
    with np.errstate(all="ignore"):
        missed = launch.time**2 * flights.unresolved() * ERROR_SHARE
        left = np.maximum(flights.left, flights.moved)
        error = missed + (left + (ROUNDING if whole else EDGES)) * way
        sound = (flights.moved <= CONVERGED) & (flights.velocity[-1, 0] > 0.0) & (launch.time > 0.0)
    if whole:
        sound &= ~passes_kink(flights.shot, flights.airspeed)
    return np.where(sound, error, np.inf)


def _store(result: Impacts, flights: Flights, error: Array, lanes: Lanes, good: Mask) -> None:
    velocity, tip = flights.velocity[-1], flights.tip()
    right = tip[2] if flights.launch.axes == 3 else np.zeros(lanes.size)
    found = {
        "up": tip[1],
        "right": right,
        "time": flights.launch.time,
        "speed": np.sqrt(np.einsum("cl,cl->l", velocity, velocity)),
        "angle": np.arctan2(velocity[1], velocity[0]),
        "least_airspeed": flights.airspeed.min(axis=0),
        "greatest_airspeed": flights.airspeed.max(axis=0),
        "error": error,
    }
    for name, values in found.items():
        getattr(result, name)[lanes[good]] = values[good]


def _step(result: Impacts, shot: Shot, angle: float, yaw: float, lane: int) -> None:
    """One lane by DOP853, where the arrow comes to its plane at all."""
    one, plane = shot.take(slice(lane, lane + 1)), result.distance[lane]
    forces = Forces(one, 3)
    wind = 0.0 if forces.still else float(forces.wind[0, 0])
    backward = float(forces.gravity[0, 0]) <= 0.0 and wind <= 0.0

    def arrival(_: float, y: Array) -> float:
        return float(tip_of(one, y)[0] - plane)

    def lost(_: float, y: Array) -> float:
        # Once it flies back and nothing pushes it forward, it never comes.
        turned = y[3] if backward else np.inf
        return float(min(turned, y[1] - DEEPEST))

    arrival.terminal = lost.terminal = True  # type: ignore[attr-defined]
    arrival.direction = 1.0  # type: ignore[attr-defined]
    flown = integrate(one, angle, yaw, events=(arrival, lost), max_step=LONGEST_STEP)
    if not len(flown.t_events[0]):
        return
    state = flown.y_events[0][0]
    _, up, right = tip_of(one, state)
    airspeed = forces.airspeed(flown.y[3:].T[:, :, None])[1]
    found = (up, right, flown.t_events[0][0], np.linalg.norm(state[3:]))
    values = (*found, np.arctan2(state[4], state[3]), airspeed.min(), airspeed.max(), STEPPED)
    for item, value in zip(fields(Impacts)[1:], values, strict=True):
        getattr(result, item.name)[lane] = value
