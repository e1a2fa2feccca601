"""Where arrows land that are loosed at given elevations and bearings over given ground.

Each arrow is flown in the level frame of its own bearing, the wind turned against it, until
its tip is as low as the lowest ground; the path shows where it first met the ground.
"""

from dataclasses import dataclass, fields

import numpy as np
from scipy.optimize import brentq

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.flight.aimed import EDGES, ERROR_SHARE, ROUNDING, apex_of
from arrowloft.core.flight.collocation import Rule, lobatto
from arrowloft.core.flight.geometry import arrow_line
from arrowloft.core.flight.goals import Fall
from arrowloft.core.flight.motion import CONVERGED, Flights, Forces, Launch, sideways, solve
from arrowloft.core.flight.splitting import PANEL_POINTS, passes_kink, split
from arrowloft.core.flight.stepping import integrate
from arrowloft.core.overshoot.ground_meeting import Course, first_meeting, tip_at
from arrowloft.core.overshoot.terrain import Terrain
from arrowloft.core.setup.shot import Shot, as_lanes, is_zero, lane_count

BLOCK = 512
"""Lanes solved together at the first level: a block's arrays stay in the processor's cache."""

LEVELS = ((24, 60), (48, 120), (96, 120), (192, 120))
"""Points in time and most iterations, tried in this order until the estimate is met."""

TOLERANCE = 1e-4
"""Estimated error of the place of landing, m, at which a lane is done."""

POOR = 5e-2
"""Estimated error, m, above which a lane is integrated step by step."""

MOST_STEPPED = 12
"""Most lanes integrated step by step, some 50 ms each: those of arrows that drag all but
stops, that are loosed straight up, or whose law has kinks that it does not tell. Of those
beyond it, the ones that converged stand with their error said."""

STEPPED = 1e-5
"""Error of the path of a lane integrated step by step, m, with room (measured)."""

STEPPED_RTOL = 1e-9
"""Relative tolerance of that."""

READING = 0.004
"""s between readings of such a path, 0.3 m on the way: it may graze a rise of the ground."""

BELOW = 0.1
"""m below the lowest ground at which such a path ends, the tip well in the ground."""

GRAZING = 1e-3
"""Least sine of the angle to the ground by which an error of the path is taken to grow."""


@dataclass(frozen=True, kw_only=True)
class Landings:
    """Where arrows come down; arrays (lanes,), SI; NaN where a flight could not be followed.

    elevation, bearing: of the arrow's line, above level and to the right of the target's
        direction, rad.
    distance: level way of the tip along the target's direction when it meets the ground.
    right: of that direction.  height: of the ground there over the eye.
    time: since launch; 0 where the tip is in the ground as the arrow leaves the string.
    speed, descent_angle: of the balance point then; the angle of its velocity to level,
        negative when falling.
    apex_height, apex_distance: highest point of the balance point: over the eye, and the
        level way to it in the direction loosed.
    error: estimated error of the place, m.
    least_airspeed, greatest_airspeed: along the flight.
    """

    elevation: Array
    bearing: Array
    distance: Array
    right: Array
    height: Array
    time: Array
    speed: Array
    descent_angle: Array
    apex_height: Array
    apex_distance: Array
    error: Array
    least_airspeed: Array
    greatest_airspeed: Array

    @property
    def followed(self) -> Mask:
        """Whether each lane's arrow was followed to the ground, (lanes,) bool."""
        return np.isfinite(self.distance)

    @classmethod
    def blank(cls, elevation: Array, bearing: Array) -> "Landings":
        """Lanes to be filled: NaN."""
        empty = {item.name: np.full(elevation.size, np.nan) for item in fields(cls)}
        return cls(**{**empty, "elevation": elevation, "bearing": bearing})

    def fill(self, lanes: Lanes, found: dict[str, Array]) -> None:
        """Store values of some lanes, by the names of the members."""
        for name, values in found.items():
            getattr(self, name)[lanes] = values


def land(shot: Shot, elevation: Array, bearing: Array, terrain: Terrain) -> Landings:
    """Loose each lane at its elevation and bearing, rad; follow it to its first ground.

    The bow is pitched by the elevation, rolled by `shot.roll` about its level line of sight,
    and turned by the bearing about the vertical, all about the eye. Without a roll the
    arrow's line lies at that elevation and bearing. A path that meets a rise of the ground
    on its way ends there; so does one loosed below level that falls short.

    Raises ValueError for a shot whose line of sight is not level.
    """
    if not is_zero(shot.slope):
        raise ValueError("the shot must be level: its elevation says how steeply it is loosed")
    count = lane_count(shot, elevation, bearing)
    result = Landings.blank(
        as_lanes(elevation, count).astype(np.float64), as_lanes(bearing, count).astype(np.float64)
    )
    turned = _turned(shot, result.bearing)
    left = _in_the_ground(result, turned, terrain)
    for level in LEVELS:
        left = _attempt(result, turned, terrain, left, level)
    for lane in left[:MOST_STEPPED]:
        _step(result, turned, terrain, int(lane))
    return result


def _turned(shot: Shot, bearing: Array) -> Shot:
    """The shot in the frame of each bearing: the wind turned the other way."""
    if is_zero(shot.wind_speed) or is_zero(bearing):
        return shot
    return shot.with_(wind_from=shot.wind_from - bearing)


def _in_the_ground(result: Landings, shot: Shot, terrain: Terrain) -> Lanes:
    """Store lanes whose tip is in the ground as the arrow leaves; the others are returned."""
    line, up = arrow_line(result.elevation, 0.0, shot.roll)
    speed = as_lanes(shot.launch_speed, result.elevation.size)
    through, airspeed = Forces(shot, 3).airspeed(speed * line)
    balance = shot.launch_forward * line - shot.peep_height * up
    tip = balance + shot.tip_lead * through / airspeed
    course = Course(terrain, result.bearing)
    at_once = course.over(tip) <= 0.0
    found = {
        "distance": course.along(tip),
        "right": course.aside(tip),
        "height": terrain.height(course.along(tip)),
        "time": np.zeros(speed.size),
        "speed": speed,
        "descent_angle": np.arctan2(line[1], np.hypot(line[0], line[2])),
        "apex_height": balance[1],
        "apex_distance": balance[0],
        "error": np.zeros(speed.size),
        "least_airspeed": airspeed,
        "greatest_airspeed": airspeed,
    }
    lanes = np.flatnonzero(at_once)
    result.fill(lanes, {name: values[lanes] for name, values in found.items()})
    return np.flatnonzero(~at_once)


def _attempt(
    result: Landings, shot: Shot, terrain: Terrain, lanes: Lanes, level: tuple[int, int]
) -> Lanes:
    """Solve the lanes at one level and store those good enough; the others are returned."""
    block = max(BLOCK * LEVELS[0][0] // level[0], 1)
    last = level is LEVELS[-1]
    left = [lanes[:0]]
    for start in range(0, lanes.size, block):
        part = lanes[start : start + block]
        course = Course(terrain, result.bearing[part])
        flights = _flights(shot.take(part), result.elevation[part], terrain.lowest, level)
        with np.errstate(all="ignore"):  # lanes that have not converged hold no sense
            found = _landed(flights, course)
        error = found["error"]
        # At the last level a lane that converged stands, its error said, until it is stepped.
        good = np.isfinite(error) if last else error <= TOLERANCE
        result.fill(part[good], {name: values[good] for name, values in found.items()})
        left.append(part[~(error <= (POOR if last else TOLERANCE))])
    return np.concatenate(left)


def _flights(shot: Shot, elevation: Array, lowest: float, level: tuple[int, int]) -> Flights:
    """Flights until the tip is as low as the lowest ground."""
    points, limit = level
    axes = 3 if sideways(shot) else 2
    rising = shot.launch_speed * np.sin(elevation)
    room = np.maximum(shot.launch_forward * np.sin(elevation) - lowest, 0.1)
    # The time in a vacuum; drag makes a high arc shorter, and the corrections see to that.
    time = (rising + np.sqrt(rising**2 + 2.0 * shot.gravity * room)) / shot.gravity
    launch = Launch(shot, axes, elevation, np.zeros(elevation.size), time)
    goal = Fall(height=lowest)
    with np.errstate(all="ignore"):  # a flight that never settles may overflow; refused below
        flights = solve(shot, launch, goal, lobatto(points), limit)
        return flights if level is LEVELS[0] else split(flights, goal, limit)


def _landed(flights: Flights, course: Course) -> dict[str, Array]:
    """What the flights do until they first meet the ground, by the names of Landings."""
    time = first_meeting(flights, course)
    tip, velocity = tip_at(flights, time)
    speed = np.sqrt(np.einsum("cl,cl->l", velocity, velocity))
    airspeed = np.where(flights.grid.times * flights.launch.time <= time, flights.airspeed, np.nan)
    airspeed = np.vstack((airspeed, flights.forces.airspeed(velocity)[1]))
    along = course.along(tip)
    sinking = velocity[1] - course.terrain.rise(along) * course.along(velocity)
    steep = np.maximum(-sinking / speed, GRAZING)
    rising = velocity[1] > 0.0
    apex = np.where(rising, flights.read(time / flights.launch.time)[0][:2], apex_of(flights, 4))
    return {
        "distance": along,
        "right": course.aside(tip),
        "height": course.terrain.height(along),
        "time": time,
        "speed": speed,
        "descent_angle": np.arctan2(velocity[1], np.sqrt(speed**2 - velocity[1] ** 2)),
        "apex_height": apex[1],
        "apex_distance": apex[0],
        "error": _path_error(flights) / steep,
        "least_airspeed": np.fmin.reduce(airspeed),
        "greatest_airspeed": np.fmax.reduce(airspeed),
    }


def _path_error(flights: Flights) -> Array:
    """Estimated error of the path at any time of it, m, (lanes,); inf where not converged.

    At its end the path feels what the points leave out of the acceleration. Before the end
    it also feels the last coefficients of the polynomial, whose double integrals are
    smaller by the square of their degree.
    """
    launch = flights.launch
    whole = isinstance(flights.grid, Rule)
    degree = flights.grid.points.shape[0] if whole else PANEL_POINTS
    inner = flights.grid.last_pair(flights.acceleration) / degree**2
    missed = launch.time**2 * (ERROR_SHARE * flights.unresolved() + inner)
    way = flights.shot.launch_speed * launch.time
    left = np.maximum(flights.left, flights.moved) + (ROUNDING if whole else EDGES)
    sound = (flights.moved <= CONVERGED) & (flights.velocity[-1, 1] < 0.0) & (launch.time > 0.0)
    if whole:
        sound &= ~passes_kink(flights.shot, flights.airspeed)
    return np.where(sound, missed + left * way, np.inf)


def _step(result: Landings, shot: Shot, terrain: Terrain, lane: int) -> None:
    """One lane by DOP853, read closely for where it first meets the ground."""
    at = slice(lane, lane + 1)
    one, course = shot.take(at), Course(terrain, result.bearing[at])
    forces = Forces(one, 3)

    def tips(y: Array) -> Array:
        through, airspeed = forces.airspeed(y[3:])
        return np.asarray(y[:3] + one.tip_lead * through / airspeed)

    def over(time: float) -> float:
        return float(course.over(tips(flown.sol(np.array([time]))))[0])

    def lowest(_: float, y: Array) -> float:
        return float(y[1] + abs(one.tip_lead) + BELOW - terrain.lowest)

    lowest.terminal = True  # type: ignore[attr-defined]
    lowest.direction = -1.0  # type: ignore[attr-defined]
    options = {"rtol": STEPPED_RTOL, "atol": STEPPED_RTOL, "dense_output": True}
    flown = integrate(one, float(result.elevation[lane]), events=lowest, **options)
    times = np.linspace(0.0, flown.t[-1], int(flown.t[-1] / READING) + 2)
    read = flown.sol(times)
    into = np.flatnonzero(course.over(tips(read)) <= 0.0)
    if not into.size:
        return
    time = brentq(over, times[into[0] - 1], times[into[0]], xtol=1e-12)
    end = flown.sol(np.array([time]))
    read = np.column_stack((read[:, : into[0]], end))
    airspeed, top = forces.airspeed(read[3:])[1], int(np.argmax(read[1]))
    # From the highest reading to the apex: gravity alone, as nothing else acts upward there.
    apex = flown.sol(np.clip(times[top] + read[4, top] / one.gravity, 0.0, time))
    tip, velocity = tips(end), end[3:]
    along, speed = course.along(tip), np.linalg.norm(velocity)
    sinking = velocity[1] - terrain.rise(along) * course.along(velocity)
    found = {
        "distance": along,
        "right": course.aside(tip),
        "height": terrain.height(along),
        "time": time,
        "speed": speed,
        "descent_angle": np.arctan2(velocity[1], np.hypot(velocity[0], velocity[2])),
        "apex_height": apex[1],
        "apex_distance": apex[0],
        "error": STEPPED / np.maximum(-sinking / speed, GRAZING),
        "least_airspeed": airspeed.min(),
        "greatest_airspeed": airspeed.max(),
    }
    result.fill(np.array([lane]), found)
