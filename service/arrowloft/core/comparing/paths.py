"""Paths of set-ups side by side: heights over the line of sight on the way to one target."""

from dataclasses import dataclass, replace

import numpy as np

from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.comparing.fanning import fans_of, greatest_airspeed
from arrowloft.core.comparing.marching import Areas, march
from arrowloft.core.comparing.setups import Setups
from arrowloft.core.flight.aim import TOLERANCE, aimed_flights, require_ahead
from arrowloft.core.flight.aimed import angle_error
from arrowloft.core.flight.collocation import Panels
from arrowloft.core.flight.motion import Flights, Launch
from arrowloft.core.flight.splitting import MOST_KINKS, split
from arrowloft.core.flight.trajectory import DENSE_LEVELS
from arrowloft.core.setup.laws import alike

STEPS = 2048
"""Steps of a path that is marched."""

NEWTON_STEPS = 5
"""From a guess by the mean speed, good to some hundredths, each step squares the error."""


@dataclass(frozen=True)
class Paths:
    """Heights of the balance points over the line of sight, each set-up by its own mark.

    distance: multiples of the step along the line of sight, m, (points,).
    height: m, (set-ups, points); NaN before the launch, after the arrival, and all along
        where the target is out of reach.
    """

    distance: Array
    height: Array


def paths(setups: Setups, target: float, step: float) -> Paths:
    """Paths of all set-ups aimed at the target, m, at steps along the line of sight, m.

    Raises TooNear.
    """
    require_ahead(setups.shot, np.full(setups.count, target))
    distance: Array = step * np.arange(1.0, int(np.floor(target / step + 1e-9)) + 1)
    found = Paths(distance, np.full((setups.count, distance.size), np.nan))
    for kinks, lanes in alike(setups.kinks, setups.law_of):
        if len(kinks or ()) > MOST_KINKS:
            found.height[lanes] = _marched(setups, lanes, target, distance)
            continue
        for level in DENSE_LEVELS[:2]:
            shot, planes = setups.lanes(lanes).with_(kinks=kinks), np.full(lanes.size, target)
            flights, goal = aimed_flights(shot, planes, np.zeros(lanes.size, dtype=bool), level)
            flights = split(flights, goal, level[1])
            good = angle_error(flights, goal, planes) <= TOLERANCE
            heights = _heights(flights, distance)
            found.height[lanes[good]] = heights[good]
            lanes = lanes[~good]
            if not lanes.size:
                break
        if lanes.size:
            found.height[lanes] = _marched(setups, lanes, target, distance)
    return found


def _heights(flights: Flights, distance: Array) -> Array:
    """Height of each lane's path at each distance, (lanes, distances); NaN off its ends."""
    count, points = flights.launch.angle.size, distance.size
    lanes = np.repeat(np.arange(count), points)
    launch, shot = flights.launch, flights.shot.take(lanes)
    repeated = Launch(shot, launch.axes, launch.angle[lanes], launch.yaw[lanes], launch.time[lanes])
    grid = flights.grid
    if isinstance(grid, Panels):
        grid = Panels(grid.rule, grid.edges[:, lanes])
    read = replace(
        flights,
        shot=shot,
        launch=repeated,
        grid=grid,
        acceleration=flights.acceleration[..., lanes],
    ).read
    first, last = flights.start()[0][lanes], flights.arrival()[0][lanes]
    place = np.tile(distance, count)
    with np.errstate(all="ignore"):  # a lane beyond reach may hold anything; it is left out
        share = np.clip((place - first) / (last - first), 0.0, 1.0)
        for _ in range(NEWTON_STEPS):
            at, velocity, _pull = read(share)
            share = np.clip(share + (place - at[0]) / (velocity[0] * repeated.time), 0.0, 1.0)
        height = read(share)[0][1]
    inside = (place >= first) & (place <= last)
    return np.where(inside, height, np.nan).reshape(count, points)


def _marched(setups: Setups, which: Lanes, target: float, distance: Array) -> Array:
    """The same of set-ups that the solver does not follow closely; NaN where there is none."""
    fans = fans_of(setups, which, np.array([target]), int(which[0]), changes=False)
    each, some = np.arange(which.size), setups.some(which)
    limit = np.where(np.isnan(fans.farthest), np.inf, fans.farthest)
    reached = np.where(target <= limit, target, np.nan)
    angle = fans.aiming(reached, each).angle()
    shot, areas = some.lanes(each), Areas.of(some.lanes(each), greatest_airspeed(some))
    marched = march(shot, areas, each, angle, reached + np.abs(np.max(shot.tip_lead)), STEPS)
    time, height = marched.passing(np.repeat(distance[:, None], each.size, axis=1), each)
    arrival = marched.read(reached, each)[0]
    found: Array = np.where(time <= arrival, height, np.nan).T
    return found
