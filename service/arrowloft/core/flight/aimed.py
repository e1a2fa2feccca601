"""Aimed flights: what callers see of them, and how far their angles may be wrong."""

from dataclasses import dataclass, fields

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.flight.collocation import Rule
from arrowloft.core.flight.motion import CONVERGED, Flights, Goal
from arrowloft.core.flight.splitting import passes_kink


@dataclass(frozen=True, kw_only=True)
class Aimed:
    """Aimed flights; every array is (lanes,), SI, NaN where the distance is beyond reach.

    launch_angle: of the arrow's line above the line of sight.  yaw: of it to the right.
    time: launch to arrival of the tip.  speed, descent_angle: of the balance point then;
    descent is the velocity's angle to the line of sight, negative when falling.
    arrival_airspeed: of the balance point through the air then.
    drift: of the tip, right positive.  apex_*: highest point over the line of sight.
    least_airspeed, greatest_airspeed: along the flight.
    lever: rise of the impact in the target plane per launch angle, m/rad.
    error: estimated error of the launch angle, rad.
    points: collocation points used; 0 where not reached.
    """

    distance: Array
    launch_angle: Array
    yaw: Array
    time: Array
    speed: Array
    arrival_airspeed: Array
    descent_angle: Array
    drift: Array
    apex_height: Array
    apex_distance: Array
    least_airspeed: Array
    greatest_airspeed: Array
    lever: Array
    error: Array
    points: Lanes

    @property
    def reached(self) -> Mask:
        """Whether each lane's distance can be reached, (lanes,) bool."""
        return np.isfinite(self.launch_angle)

    @property
    def airspeed_range(self) -> tuple[float, float]:
        """Least and greatest airspeed of all lanes, m/s; NaN where one is not reached."""
        return float(self.least_airspeed.min()), float(self.greatest_airspeed.max())

    def lanes(self, chosen: slice) -> "Aimed":
        """Some of the lanes."""
        return Aimed(**{item.name: getattr(self, item.name)[chosen] for item in fields(self)})

    @classmethod
    def unreached(cls, distance: Array) -> "Aimed":
        """Lanes not reached, to be filled: NaN, no points."""
        blank = {item.name: np.full(distance.size, np.nan) for item in fields(cls)}
        none = np.zeros(distance.size, dtype=np.intp)
        return cls(**{**blank, "distance": np.array(distance), "points": none})

    def store(self, part: "Aimed", lanes: Lanes | Mask) -> None:
        """Fill in some of the lanes, in place."""
        for item in fields(self):
            getattr(self, item.name)[lanes] = getattr(part, item.name)

    @classmethod
    def joined(cls, parts: "list[Aimed]") -> "Aimed":
        """Blocks of lanes one after another."""
        names = [item.name for item in fields(cls)]
        return cls(**{name: np.concatenate([getattr(p, name) for p in parts]) for name in names})


LEVER_LEAST = 0.05
"""Least rise of the impact per angle, as a share of the distance. It falls to nothing at
the farthest reachable distance and below it on the high branch, where iteration from
held accelerations cannot be trusted to keep to the low one."""

ERROR_SHARE = 3.0
"""Factor on the estimate, so that it covers the true error (measured, tests/core)."""

ROUNDING = 1e-14
"""Rounding of angles and times through the solve, rad."""

EDGES = 2e-10
"""What the edges of a split flight, found to about 1e-8 of its time, may add, rad (measured
on steep and narrow kinks)."""


def angle_error(flights: Flights, goal: Goal, distance: Array) -> Array:
    """Estimated error of the launch angle, rad, (lanes,); inf where it did not converge.

    What the polynomial leaves out of the acceleration is of the size of its last
    coefficients; integrated twice over the time, it moves the tip by at most T^2 of it.
    """
    launch = flights.launch
    with np.errstate(all="ignore"):
        missed = launch.time**2 * flights.unresolved() / np.abs(goal.lever)
        floor = ROUNDING if isinstance(flights.grid, Rule) else EDGES
        error = ERROR_SHARE * missed + flights.left + floor
        sound = (
            (flights.moved <= CONVERGED)
            & (goal.lever >= LEVER_LEAST * distance)
            & (flights.velocity[-1, 0] > 0.0)
            & (launch.time > 0.0)
            & (np.abs(launch.angle) < np.pi / 2)
        )
    if isinstance(flights.grid, Rule):
        sound &= ~passes_kink(flights.shot, flights.airspeed)
    return np.where(sound, error, np.inf)


def summary(flights: Flights, goal: Goal, distance: Array, error: Array) -> Aimed:
    """What callers see of solved flights."""
    launch = flights.launch
    velocity = flights.velocity[-1]
    speed = np.sqrt(np.einsum("cl,cl->l", velocity, velocity))
    apex = apex_of(flights)
    return Aimed(
        distance=np.array(distance),
        launch_angle=launch.angle,
        yaw=launch.yaw,
        time=launch.time,
        speed=speed,
        arrival_airspeed=speed if flights.forces.still else flights.forces.airspeed(velocity)[1],
        descent_angle=np.arctan2(velocity[1], velocity[0]),
        drift=flights.tip()[2] if launch.axes == 3 else np.zeros(error.size),
        apex_height=apex[1],
        apex_distance=apex[0],
        least_airspeed=flights.airspeed.min(axis=0),
        greatest_airspeed=flights.airspeed.max(axis=0),
        lever=goal.lever,
        error=error,
        points=np.full(error.size, len(flights.grid.times)),
    )


def apex_of(flights: Flights, steps: int = 1) -> Array:
    """Highest point of the balance point over the line of sight: (2, lanes), distance and height.

    The rising speed is nearly linear in time; a parabola through three points gives its
    zero to about 1e-3 of the flight, and the Taylor series there does the rest. Long arcs
    under strong drag, where it is less linear, want more `steps` of that.
    """
    rise = flights.velocity[:, 1]
    first, middle, last = rise[0], flights.grid.halfway(rise), rise[-1]
    bend = 2.0 * (first + last - 2.0 * middle)
    slope = last - first - bend
    with np.errstate(all="ignore"):
        root = np.sqrt(np.maximum(slope * slope - 4.0 * bend * first, 0.0))
        at = -2.0 * first / (slope - root)
        at = np.fmin(np.fmax(at, 0.0), 1.0)  # these two turn NaN into a bound
        time = flights.launch.time
        since = at * time
        for _ in range(steps):
            place, pace, pull = (part[:2] for part in flights.read(since / time))
            later = np.minimum(np.maximum(-pace[1] / pull[1], -since), time - since)
            since = since + later
    apex: Array = place + later * (pace + 0.5 * later * pull)
    falls = first <= 0.0  # from the launch on
    return np.where(falls, flights.start()[:2], apex) if falls.any() else apex
