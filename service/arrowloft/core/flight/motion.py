"""Equations of motion, and flights solved whole by fixed-point iteration on collocation points.

A point mass flies by dv/dt = g - (rho Cd A |u| / 2m) u with u = v - wind. Drag is
weak, so holding the accelerations at a few points in time, integrating them twice by
one small matrix product and evaluating them anew converges like a factorial
(Picard iteration); the unknown angle and time are corrected on the way.
"""

from abc import ABC, abstractmethod
from dataclasses import dataclass, replace

import numpy as np

from arrowloft.core.arrays import Array, Real
from arrowloft.core.flight import work
from arrowloft.core.flight.collocation import Grid
from arrowloft.core.flight.geometry import arrow_line, gravity_vector, wind_vector
from arrowloft.core.setup.flow import Flow
from arrowloft.core.setup.shot import Shot, as_lanes, is_zero

CONVERGED = 1e-9
"""Iteration stops when a lane's angle (rad) and relative time moved by less."""

LEFT = 0.2
"""Least bound of what is left of the angle's error, as a share of how far it moved last:
mostly a hundredth, 0.11 at most over some thousands of set-ups (measured). Where drag
takes most of the speed the steps shrink slowly, and their ratio says what is left."""


class Forces:
    """Acceleration of the arrows of a shot, in the line-of-sight frame.

    Two components (s, n) suffice where nothing pushes sideways; `axes` says how many.
    """

    def __init__(self, shot: Shot, axes: int) -> None:
        self.shot = shot
        self.axes = axes
        self.gravity = _columns(gravity_vector(shot.gravity, shot.slope), axes)
        self.still = is_zero(shot.wind_speed)
        if not self.still:
            wind = wind_vector(shot.wind_speed, shot.wind_from, shot.slope)
            self.wind = _columns(wind, axes)
        self.factor = shot.air.density * shot.drag_scale / (2.0 * shot.arrow.mass)

    def airspeed(self, velocity: Array) -> tuple[Array, Array]:
        """Velocity through the air (..., axes, lanes) and its magnitude (..., lanes)."""
        through = velocity if self.still else velocity - self.wind
        return through, np.sqrt(np.einsum("...cl,...cl->...l", through, through))

    def flow(self, airspeed: Array) -> Flow:
        """The flow that a drag law is given."""
        air = self.shot.air
        return Flow(airspeed, air.density, air.viscosity, air.speed_of_sound)

    def act(self, velocity: Array) -> "Action":
        """What gravity and drag do at velocities (points, axes, lanes)."""
        through, airspeed = self.airspeed(velocity)
        rate = self.shot.drag(self.flow(airspeed), self.shot.arrow) * airspeed
        rate *= self.factor
        pull: Array = rate[:, None, :] * through
        np.subtract(self.gravity, pull, out=pull)
        return Action(pull, rate)


@dataclass(frozen=True)
class Action:
    """Acceleration (points, axes, lanes) m/s2 and the rate of drag (points, lanes) 1/s."""

    acceleration: Array
    rate: Array


def _columns(vector: tuple[Real, ...], axes: int) -> Array:
    """A vector of floats or lanes as an array (axes, 1 or lanes)."""
    if any(isinstance(part, np.ndarray) and part.ndim for part in vector):
        return np.array(np.broadcast_arrays(*vector)[:axes])
    return np.array(vector[:axes]).reshape(axes, 1)


def sideways(shot: Shot, yaw: Real = 0.0) -> bool:
    """Whether anything moves the arrow out of the vertical plane of the line of sight."""
    if not (is_zero(shot.roll) and is_zero(yaw)):
        return True
    if is_zero(shot.wind_speed):
        return False
    across = wind_vector(shot.wind_speed, shot.wind_from, 0.0)[2]
    # A cross wind below 1e-12 m/s is the rounding of sin(pi) for a head or tail wind.
    return bool(np.any(np.abs(across) > 1e-12))


class Launch:
    """Where and how the lanes' arrows leave the string; the goal corrects it in place.

    angle, yaw, time: (lanes,) rad, rad, s.  rate: of drag at launch, 1/s, where known.
    line, up: direction of the arrow's line and of the bow's up, (axes, lanes).
    """

    def __init__(
        self,
        shot: Shot,
        axes: int,
        angle: Array,
        yaw: Array,
        time: Array,
        rate: Array | None = None,
    ) -> None:
        self.axes = axes
        self.rate = rate
        self.angle, self.yaw, self.time = angle, yaw, time
        self.point(shot)

    def point(self, shot: Shot) -> None:
        """Draw the arrow's line and the bow's up anew from the angles."""
        if self.axes == 3:
            self.line, self.up = arrow_line(self.angle, self.yaw, shot.roll)
            return
        rows = np.empty((3, self.angle.size))  # -sin, cos, sin: both vectors share the cosine
        np.cos(self.angle, out=rows[1])
        np.sin(self.angle, out=rows[2])
        np.negative(rows[2], out=rows[0])
        self.line, self.up = rows[1:], rows[:2]


class Goal(ABC):
    """What a flight must meet: corrects angle, yaw or time by a step of Newton's method.

    lever: rise of the impact in the plane across the line of sight where the flight
        ends, per launch angle, m/rad, (lanes,); filled by `correct`.
    """

    lever: Array

    @abstractmethod
    def correct(self, launch: Launch, end: "End") -> Array:
        """Change the launch in place; return how far each lane moved (rad or relative)."""


@dataclass(frozen=True)
class End:
    """The end of the flight under the accelerations held: (axes, lanes) each.

    tip: position of the tip.  velocity: of the balance point.
    weightless: where the tip would be but for gravity's direct fall. Pitching the bow
    turns this point about the eye, drag and all, so it is the lever of the angle.
    """

    tip: Array
    velocity: Array
    weightless: Array


@dataclass(frozen=True)
class Flights:
    """Solved flights on the points of one grid.

    acceleration, velocity: (points, axes, lanes).  airspeed: (points, lanes).
    moved: last correction of each lane.  left: bound of those still to come.
    """

    shot: Shot
    forces: Forces
    grid: Grid
    launch: Launch
    acceleration: Array
    velocity: Array
    airspeed: Array
    moved: Array
    left: Array

    def start(self) -> Array:
        """Position of the balance point at launch, (axes, lanes), m."""
        shot = self.shot
        return shot.launch_forward * self.launch.line - shot.peep_height * self.launch.up

    def arrival(self) -> Array:
        """Position of the balance point at the end, (axes, lanes), m."""
        fall = self.grid.integrals(self.acceleration)[-1]
        time = self.launch.time
        way = (self.shot.launch_speed * time) * self.launch.line
        end: Array = self.start() + way + time**2 * fall
        return end

    def tip(self) -> Array:
        """Position of the tip at the end, (axes, lanes), m: it lies along the airspeed."""
        end = self.arrival()
        if not is_zero(self.shot.tip_lead):
            through, airspeed = self.forces.airspeed(self.velocity[-1])
            end += self.shot.tip_lead * through / airspeed
        return end

    def read(self, at: Array) -> tuple[Array, Array, Array]:
        """Position, velocity and acceleration at a share `at` (lanes,) of each lane's time.

        The polynomial of the accelerations, integrated once and twice; (axes, lanes) each.
        """
        launch = self.launch
        time, line = launch.time, self.shot.launch_speed * launch.line
        pull, gained, fallen = self.grid.read(at, self.acceleration)
        place = self.start() + (at * time) * line + time**2 * fallen
        return place, line + time * gained, pull

    def repeated(self, count: int) -> "Flights":
        """A flight of one lane seen as `count` lanes, to be read at as many times."""
        shape = (*self.acceleration.shape[:-1], count)
        acceleration = np.broadcast_to(self.acceleration, shape)
        return replace(self, grid=self.grid.repeated(count), acceleration=acceleration)

    def unresolved(self) -> Array:
        """Acceleration that the points have not resolved, (lanes,), m/s2, estimated.

        For a smooth law from the decay of its coefficients. Where it is not known whether
        the law is smooth, no less than the defect allows: the forces midway between the
        points, less the polynomial there. A smooth law's defect is a part of its last
        coefficients; what is over that is something the points have missed.
        """
        smooth = self.grid.unresolved(self.acceleration)
        if self.shot.kinks is not None:
            return smooth
        widths, velocity, acceleration = self.grid.between(self.velocity, self.acceleration)
        left = self.forces.act(velocity).acceleration - acceleration
        size = (widths * np.sqrt(np.einsum("mcl,mcl->ml", left, left))).sum(axis=0)
        missed: Array = np.where(size > self.grid.last_pair(self.acceleration), size, smooth)
        return missed


def solve(
    shot: Shot, launch: Launch, goal: Goal, grid: Grid, limit: int, least: int = 2
) -> Flights:
    """Fly all lanes to their goal; at most `limit` iterations.

    least: fewest iterations. A launch that is right already hardly moves at first, and
    says nothing of accelerations that are still a guess.
    Lanes whose `moved` stays above CONVERGED have not converged: the caller decides.
    """
    work.ledger().lanes += launch.angle.size
    forces = Forces(shot, launch.axes)
    speed = as_lanes(shot.launch_speed, launch.angle.size)
    lead = None if is_zero(shot.tip_lead) else shot.tip_lead
    velocity, acceleration = _first_guess(forces, launch, grid, speed)
    action = forces.act(velocity)
    acceleration = _foreseen(action, acceleration, launch.time, grid)
    moved = np.full(launch.angle.size, np.inf)
    for count in range(1, limit + 1):
        work.spend(work.ITERATION)
        running = grid.integrals(acceleration)
        end = _end(shot, forces, launch, running, speed, lead)
        before, moved = moved, goal.correct(launch, end)
        launch.point(shot)
        velocity = launch.time * running[:-1]
        velocity += speed * launch.line
        if count >= least and moved.max() <= CONVERGED:
            break
        action = forces.act(velocity)
        acceleration = _foreseen(action, acceleration, launch.time, grid)
    airspeed = forces.airspeed(velocity)[1]
    ratio = np.minimum(moved / (before + 1e-300), 0.99)
    left = moved * np.maximum(2.0 * ratio / (1.0 - ratio), LEFT)
    return Flights(shot, forces, grid, launch, acceleration, velocity, airspeed, moved, left)


def _foreseen(action: Action, before: Array, time: Array, grid: Grid) -> Array:
    """Accelerations with the drag's answer to their own change added, to second order.

    A change da of the accelerations changes the velocity by its integral and the drag,
    quadratic in speed, by twice its rate along the flight and once across it.
    """
    change = grid.integrals(before - action.acceleration)[:-1]
    change[:, 0] *= 2.0
    share = action.rate * time
    # Its own answer to that, of second order, keeps strong drag from overshooting.
    share /= 1.0 + 0.5 * share
    change *= share[:, None, :]
    change += action.acceleration
    return change


def _first_guess(forces: Forces, launch: Launch, grid: Grid, speed: Array) -> tuple[Array, Array]:
    """Velocities at the points by the flat-fire closed form, and their rates of change.

    v = v0 / (1 + k v0 t) along the launch line, and gravity's part, itself slowed by half.
    """
    at_launch = (speed * launch.line)[None]
    rate = forces.act(at_launch).rate[0] if launch.rate is None else launch.rate
    elapsed = grid.times * launch.time
    share = 1.0 / (1.0 + rate * elapsed)
    fallen = (0.5 * elapsed) * (1.0 + share)
    square = share * share
    guess = np.empty((len(elapsed), launch.axes, speed.size))
    change = np.empty_like(guess)
    for axis in range(launch.axes):
        pull, start = forces.gravity[axis], at_launch[0, axis]
        np.multiply(share, start, out=guess[:, axis])
        np.multiply(square, 0.5 * pull - rate * start, out=change[:, axis])
        if pull.any():
            guess[:, axis] += fallen * pull
            change[:, axis] += 0.5 * pull
    return guess, change


def _end(
    shot: Shot,
    forces: Forces,
    launch: Launch,
    running: Array,
    speed: Array,
    lead: Real | None,
) -> End:
    time = launch.time
    velocity = speed * launch.line
    velocity += time * running[-2]
    square = time * time
    tip = (shot.launch_forward + speed * time) * launch.line
    tip -= shot.peep_height * launch.up
    tip += square * running[-1]
    if lead is not None:
        through, airspeed = forces.airspeed(velocity)
        tip += (lead / airspeed) * through
    return End(tip, velocity, tip - forces.gravity * (0.5 * square))
