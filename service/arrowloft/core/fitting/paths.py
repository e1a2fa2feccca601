"""Paths of many arrows side by side, each solved once and read wherever it was measured.

A fit needs flights that are alike rather than exact to the last digit: a path is solved on
points enough for a hundredth of a millimetre, a law's kinks included, and all paths of a batch
on the same points, so that what these leave out is the same for all and slopes do not see it.
"""

from collections.abc import Callable

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.flight.aim import require_ahead
from arrowloft.core.flight.aimed import ERROR_SHARE
from arrowloft.core.flight.collocation import Rule, lobatto
from arrowloft.core.flight.goals import UNEVEN, Aim, Plane
from arrowloft.core.flight.guess import flat_fire_guess
from arrowloft.core.flight.motion import (
    End,
    Flights,
    Goal,
    Launch,
    sideways,
    solve,
)
from arrowloft.core.setup.laws import lanes_of
from arrowloft.core.setup.shot import Shot

LEVELS = ((16, 40), (32, 40), (64, 40))
"""Points in time and most iterations, tried in this order until all paths are exact enough."""

KINKED, MANY = 1, 40
"""The first of these for a law with kinks; with more of them than that the last one alone."""

TOLERANCE = 1e-5
"""Estimated error of a place, m, at which more points are not worth it: a smooth law's is far
below, and that of a kink no matter beside what can be measured."""

POOR = 1e-4
"""Estimated error of a place, m, above which a path counts as not found, unless more does."""

SETTLED, NEARLY = 1e-8, 0.1
"""What a path still moves by, at most, relative to its time: where it counts as settled, ten times
what the iteration strives for; and where it arrives, but does not settle for a law's kinks. One
that never arrives moves by tens."""

SHORTEST = 1e-3
"""Shortest path that is solved, s."""

AHEAD = 1.0
"""A path is followed at least so far beyond the place of the tip at launch, m."""

BLOCK = 512
"""Readings taken together: their arrays stay in the processor's cache."""

_STEPS = 3
"""Newton steps to a plane from a time read off the points; two reach rounding."""


class Lapse(Goal):
    """The path lasts a given time: nothing is corrected, the path alone must settle."""

    def __init__(self, way: Array) -> None:
        self.way = way
        self.met: Array | None = None

    def correct(self, launch: Launch, end: End) -> Array:
        """How far the tip's last place moved, as a share of the way."""
        self.lever = np.ones(self.way.size)
        before, self.met = self.met, end.tip
        if before is None:
            return np.full(self.way.size, np.inf)
        moved: Array = UNEVEN * np.abs(end.tip - before).max(axis=0) / self.way
        return moved


class Paths:
    """Solved paths, (lanes,) bool each.

    found: exact enough.  rough: they arrive, but are not exact enough.
    """

    def __init__(self, flights: Flights, found: Mask, rough: Mask) -> None:
        self.flights, self.found, self.rough = flights, found, rough
        self._start = flights.start()

    @property
    def airspeeds(self) -> Array:
        """Least and greatest airspeed of each path, (2, lanes), m/s; NaN where not found."""
        speeds = self.flights.airspeed
        ends = np.array((speeds.min(axis=0), speeds.max(axis=0)))
        return np.where(self.found, ends, np.nan)

    @property
    def angles(self) -> Array:
        """Launch angles, (lanes,), rad; NaN where not found."""
        return np.where(self.found, self.flights.launch.angle, np.nan)

    def at_times(self, lanes: Lanes, time: Array, of_tip: Mask) -> Array:
        """Places (3, readings), m, of lanes at times since launch, (readings,), s.

        of_tip: of the tip, else of the balance point. A time before the launch counts back
        along the arrow's line at the launch speed. NaN where the path is not found.
        """
        place, velocity, _ = self._read(lanes, np.maximum(time, 0.0))
        launch = self.flights.launch
        speed = lanes_of(self.flights.shot.launch_speed, lanes)
        place += speed * np.minimum(time, 0.0) * launch.line[:, lanes]
        if of_tip.any():
            place += of_tip * self._lead(lanes, velocity)
        places = np.zeros((3, time.size))
        places[: launch.axes] = place
        return np.where(self.found[lanes], places, np.nan)

    def at_planes(self, lanes: Lanes, distance: Array) -> Array:
        """Drop m, time since launch s and speed m/s, (3, readings), as tips pass planes.

        Of lanes at planes at `distance`, (readings,) m, none beyond the path. A plane that
        the tip has passed before the launch is met on the arrow's line, at the launch.
        """
        shot, launch = self.flights.shot, self.flights.launch
        guess, before = self._moments(lanes, distance)
        place, velocity, pull = self._read(lanes, guess)
        late = np.zeros(guess.size)
        for _ in range(_STEPS):
            speed = velocity + late * pull
            tip = place + late * (velocity + 0.5 * late * pull) + self._lead(lanes, speed)
            late = late + (distance - tip[0]) / speed[0]
        speed = velocity + late * pull
        tip = place + late * (velocity + 0.5 * late * pull) + self._lead(lanes, speed)
        line, up = launch.line[:, lanes], launch.up[:, lanes]
        height = lanes_of(shot.peep_height, lanes)
        along = (distance + height * up[0]) / line[0]
        drop = along * line[1] - height * up[1] - tip[1]
        found = np.array((drop, guess + late, np.sqrt(np.einsum("cr,cr->r", speed, speed))))
        found[:2, before] = 0.0
        found[2, before] = lanes_of(shot.launch_speed, lanes[before])
        return np.where(self.found[lanes] | before, found, np.nan)

    def _moments(self, lanes: Lanes, distance: Array) -> tuple[Array, Mask]:
        """Times about which tips pass planes, s, and which planes they have passed before."""
        flights, launch = self.flights, self.flights.launch
        grid = flights.grid
        assert isinstance(grid, Rule)
        time, start = launch.time, self._start[0]
        fallen = grid.double @ flights.acceleration[:, 0]
        way = start + grid.times * (time * flights.shot.launch_speed * launch.line[0])
        way += time**2 * fallen
        through, airspeed = flights.forces.airspeed(flights.velocity)
        way += flights.shot.tip_lead * through[:, 0] / airspeed
        lead = start + flights.shot.tip_lead * launch.line[0]
        guess = np.zeros(distance.size)
        for lane in np.flatnonzero(self.found):
            # Readings of a lane stand together: those of a batch are in its order.
            first, last = np.searchsorted(lanes, (lane, lane + 1))
            some = slice(first, last)
            guess[some] = time[lane] * np.interp(distance[some], way[:, lane], grid.points)
        return guess, distance <= np.maximum(lead, way[0])[lanes]

    def _read(self, lanes: Lanes, time: Array) -> tuple[Array, Array, Array]:
        """Place, velocity and acceleration of lanes at times, (axes, readings) each."""
        blocks = [slice(first, first + BLOCK) for first in range(0, lanes.size, BLOCK)]
        parts = [self._read_some(lanes[some], time[some]) for some in blocks]
        place, velocity, pull = (np.concatenate(part, axis=1) for part in zip(*parts, strict=True))
        return place, velocity, pull

    def _read_some(self, lanes: Lanes, time: Array) -> tuple[Array, Array, Array]:
        flights, launch = self.flights, self.flights.launch
        lasting = launch.time[lanes]
        held = flights.acceleration[..., lanes]
        pull, gained, fallen = flights.grid.read(time / lasting, held)
        line = lanes_of(flights.shot.launch_speed, lanes) * launch.line[:, lanes]
        place = self._start[:, lanes] + time * line + lasting**2 * fallen
        return place, line + lasting * gained, pull

    def _lead(self, lanes: Lanes, velocity: Array) -> Array:
        """From the balance point to the tip, which lies along the airspeed, (axes, readings)."""
        forces = self.flights.forces
        through = velocity if forces.still else velocity - lanes_of(forces.wind, lanes)
        airspeed = np.sqrt(np.einsum("cr,cr->r", through, through))
        lead: Array = lanes_of(self.flights.shot.tip_lead, lanes) * through / airspeed
        return lead


def paths_to(
    shot: Shot, angle: Array, yaw: Array, distance: Array, allowed: float | Array = POOR
) -> Paths:
    """Paths that end as the tip passes the plane at `distance`, (lanes,) m, or a little beyond.

    allowed: estimated error of a place, m, with which a path still counts as found.
    """
    axes = 3 if sideways(shot, yaw) else 2
    held = shot.launch_forward + shot.tip_lead + np.abs(shot.peep_height)
    planes = np.maximum(distance, held + AHEAD)

    def begin() -> tuple[Launch, Goal]:
        _, time, rate = flat_fire_guess(shot, planes)
        return Launch(shot, axes, angle, yaw, np.maximum(time, SHORTEST), rate), Plane(planes)

    return _solved(shot, begin, allowed)


def paths_of(
    shot: Shot, angle: Array, yaw: Array, lasting: Array, allowed: float | Array = POOR
) -> Paths:
    """Paths that last given times, (lanes,) s; allowed: as for `paths_to`."""
    axes = 3 if sideways(shot, yaw) else 2
    lasting = np.maximum(lasting, SHORTEST)

    def begin() -> tuple[Launch, Goal]:
        return Launch(shot, axes, angle, yaw, lasting), Lapse(shot.launch_speed * lasting)

    return _solved(shot, begin, allowed)


def aimed_paths(shot: Shot, yaw: Array, distance: Array, allowed: float | Array = POOR) -> Paths:
    """Paths whose angles bring tips to the line of sight's height at `distance`, (lanes,) m.

    Not found where that is beyond reach; allowed: as for `paths_to`. Raises TooNear.
    """
    require_ahead(shot, distance)
    axes = 3 if sideways(shot, yaw) else 2

    def begin() -> tuple[Launch, Goal]:
        angle, time, rate = flat_fire_guess(shot, distance)
        return Launch(shot, axes, angle, yaw, time, rate), Aim(distance)

    return _solved(shot, begin, allowed)


def _solved(shot: Shot, begin: Callable[[], tuple[Launch, Goal]], allowed: float | Array) -> Paths:
    """All paths on the same points, as few as do."""
    with np.errstate(all="ignore"):  # a path that does not settle may overflow; not found then
        for points, limit in _levels(shot):
            launch, goal = begin()
            flights = solve(shot, launch, goal, lobatto(points), limit)
            error = _error(flights, goal)
            if error.max() <= TOLERANCE:
                break
        found = error <= allowed
        rough = ~found & (flights.moved <= NEARLY) & _arrives(flights, goal)
        return Paths(flights, found, rough)


def _levels(shot: Shot) -> tuple[tuple[int, int], ...]:
    if shot.kinks == ():
        return LEVELS
    many = shot.kinks is not None and len(shot.kinks) > MANY
    return LEVELS[-1:] if many else LEVELS[KINKED:]


def _arrives(flights: Flights, goal: Goal) -> Mask:
    """Whether paths come to their end on their way out, (lanes,) bool."""
    arrives: Mask = flights.launch.time > 0.0
    if not isinstance(goal, Lapse):
        arrives = arrives & (flights.velocity[-1, 0] > 0.0)
    if isinstance(goal, Aim):  # the lower of the two angles, on which a sight is set
        arrives = arrives & (goal.lever > 0.0)
    return arrives


def _error(flights: Flights, goal: Goal) -> Array:
    """Estimated error of places anywhere on the path, m, (lanes,); inf where not settled.

    Between the points the acceleration is known to its last coefficients; integrated twice
    they count by the square of their degree less.
    """
    time, points = flights.launch.time, len(flights.grid.points)
    missed = flights.grid.last_pair(flights.acceleration) / points**2
    if flights.shot.kinks is None:  # the points may step over what nobody knows of
        missed = np.maximum(missed, ERROR_SHARE * flights.unresolved())
    way = flights.shot.launch_speed * time
    error = time**2 * missed + np.maximum(flights.left, flights.moved) * way
    sound = (flights.moved <= SETTLED) & _arrives(flights, goal)
    return np.where(sound, error, np.inf)
