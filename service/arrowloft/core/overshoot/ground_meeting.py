"""Where solved flights first meet the ground.

The flights are followed to the lowest ground, so each meets it on the way. Between its
points in time a path is read by Hermite's cubic, at the corners of the ground as well, as an
arrow may meet a crest between two readings. On the straight ground between corners the path
is hollow toward the ground and meets it once; there the meeting is found on the polynomial
of the accelerations itself.
"""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask, Real
from arrowloft.core.flight.motion import Flights
from arrowloft.core.overshoot.terrain import Terrain
from arrowloft.core.setup.shot import is_zero

READINGS = 4
"""Readings from one point in time to the next."""

NEWTON = 8
"""Steps of Newton's method to the meeting: from a reading, four mostly reach rounding."""


@dataclass(frozen=True)
class Course:
    """Over what ground the lanes fly: the terrain, and their bearings, rad, (lanes,)."""

    terrain: Terrain
    bearing: Array

    def along(self, tip: Array) -> Array:
        """Level way toward the target of points (..., axes, lanes) of the bearing's frame, m."""
        way: Array = tip[..., 0, :] * np.cos(self.bearing)
        if tip.shape[-2] == 3:
            way = way - tip[..., 2, :] * np.sin(self.bearing)
        return way

    def aside(self, tip: Array) -> Array:
        """Way to the right of the target's direction, of such points, m."""
        way: Array = tip[..., 0, :] * np.sin(self.bearing)
        if tip.shape[-2] == 3:
            way = way + tip[..., 2, :] * np.cos(self.bearing)
        return way

    def over(self, tip: Array) -> Array:
        """Height of such points over the ground below them, m."""
        above: Array = tip[..., 1, :] - self.terrain.height(self.along(tip))
        return above


def first_meeting(flights: Flights, course: Course) -> Array:
    """Time at which each lane's tip first meets the ground, s, (lanes,).

    0 where the tip is in the ground as the arrow leaves the string; the end of the flight
    where no reading before it lies in the ground.
    """
    path = _Path.of(flights)
    spots = _Spots.even(path)
    over = course.over(path.tip(spots))
    if course.terrain.x.size > 1:
        crests = _at_corners(path, spots, course)
        spots, over = spots.joined(crests, over, course.over(path.tip(crests)))
    into = over <= 0.0
    into[-1] = True
    first = np.argmax(into, axis=0)[None]
    times = path.time(spots)
    late = np.take_along_axis(times, first, axis=0)[0]
    early = np.take_along_axis(times, np.maximum(first - 1, 0), axis=0)[0]
    return _refined(flights, course, early, late)


def tip_at(flights: Flights, time: Array) -> tuple[Array, Array]:
    """Position of the tip and velocity at times (lanes,), (axes, lanes) each."""
    place, velocity, _ = flights.read(time / flights.launch.time)
    return _tip(flights, place, velocity), velocity


def _tip(flights: Flights, place: Array, velocity: Array) -> Array:
    lead: Real = flights.shot.tip_lead
    if is_zero(lead):
        return place
    through, airspeed = flights.forces.airspeed(velocity)
    tip: Array = place + (lead / airspeed)[..., None, :] * through
    return tip


def _refined(flights: Flights, course: Course, early: Array, late: Array) -> Array:
    """The meeting between two readings: Newton's steps from the one in the ground.

    A step that leaves what is known to hold the meeting, as from a corner of the ground, is
    replaced by halving.
    """
    time = late
    for _ in range(NEWTON):
        tip, velocity = tip_at(flights, time)
        over = course.over(tip)
        early, late = np.where(over > 0.0, time, early), np.where(over > 0.0, late, time)
        sinking = velocity[1] - course.terrain.rise(course.along(tip)) * course.along(velocity)
        after = time - over / np.where(sinking == 0.0, 1.0, sinking)
        time = np.where((after >= early) & (after <= late), after, 0.5 * (early + late))
    return time


@dataclass(frozen=True)
class _Spots:
    """Moments of a path: which step between its points, and the share of it, (spots, lanes)."""

    step: Lanes
    share: Array

    @classmethod
    def even(cls, path: "_Path") -> "_Spots":
        """READINGS in every step, and the end."""
        steps = path.times.shape[0] - 1
        step = np.append(np.repeat(np.arange(steps), READINGS), steps - 1)
        share = np.append(np.tile(np.arange(READINGS) / READINGS, steps), 1.0)
        shape = (step.size, path.times.shape[1])
        return cls(np.broadcast_to(step[:, None], shape), np.broadcast_to(share[:, None], shape))

    def joined(self, others: "_Spots", values: Array, new: Array) -> tuple["_Spots", Array]:
        """These and others in the order of time, and their values in the same order."""
        step = np.concatenate((self.step, others.step))
        share = np.concatenate((self.share, others.share))
        order = np.argsort(step + share, axis=0, kind="stable")
        lanes = np.arange(order.shape[1])
        step, share = step[order, lanes], share[order, lanes]
        return _Spots(step, share), np.concatenate((values, new))[order, lanes]


@dataclass(frozen=True)
class _Path:
    """Paths of balance points through the points in time.

    times: s, (points, lanes).  place, velocity: (points, axes, lanes).
    """

    flights: Flights
    times: Array
    place: Array
    velocity: Array

    @classmethod
    def of(cls, flights: Flights) -> "_Path":
        time = flights.launch.time
        way = time * flights.grid.integrals(flights.velocity)[:-1]
        times = np.broadcast_to(flights.grid.times * time, (way.shape[0], time.size))
        return cls(flights, times, flights.start() + way, flights.velocity)

    def time(self, spots: _Spots) -> Array:
        start = np.take_along_axis(self.times, spots.step, axis=0)
        width = np.take_along_axis(np.diff(self.times, axis=0), spots.step, axis=0)
        late: Array = start + spots.share * width
        return late

    def tip(self, spots: _Spots) -> Array:
        """Tip at the spots, (spots, axes, lanes), by Hermite's cubic."""
        place, velocity = self.read(spots)
        return _tip(self.flights, place, velocity)

    def read(self, spots: _Spots) -> tuple[Array, Array]:
        """Position and velocity at the spots, (spots, axes, lanes) each."""
        step = spots.step[:, None, :]
        width = np.take_along_axis(np.diff(self.times, axis=0), spots.step, axis=0)[:, None]
        p, q, pace, w = (
            np.take_along_axis(part, at, axis=0)
            for part in (self.place, self.velocity)
            for at in (step, step + 1)
        )
        s = spots.share[:, None]
        v, w, way = width * pace, width * w, q - p
        bend, twist = 3.0 * way - 2.0 * v - w, v + w - 2.0 * way
        place = p + s * (v + s * (bend + s * twist))
        # Where two panels meet, two points stand at one time.
        narrow = width == 0.0
        velocity = (v + s * (2.0 * bend + 3.0 * s * twist)) / np.where(narrow, 1.0, width)
        return place, np.where(narrow, pace, velocity)


def _at_corners(path: _Path, spots: _Spots, course: Course) -> _Spots:
    """Where each lane's tip is first straight over each corner; its end where it never is."""
    corners = course.terrain.x[:, None, None]
    along = course.along(path.tip(spots))
    before = along[None] < corners  # (corners, spots, lanes)
    crossed: Mask = before[:, :-1] != before[:, 1:]
    at = np.argmax(crossed, axis=1)
    step = np.take_along_axis(spots.step, at, axis=0)
    low, high = (np.take_along_axis(along, at + more, axis=0) for more in (0, 1))
    start = np.take_along_axis(spots.share, at, axis=0)
    share = start + (corners[:, 0] - low) / np.where(low == high, 1.0, high - low) / READINGS
    ends = start, start + 1.0 / READINGS
    for _ in range(2):
        here = _Spots(step, share)
        width = np.take_along_axis(np.diff(path.times, axis=0), step, axis=0)
        miss = course.along(path.tip(here)) - corners[:, 0]
        pace = course.along(path.read(here)[1]) * width
        share = np.clip(share - miss / np.where(pace == 0.0, 1.0, pace), *ends)
    never = ~crossed.any(axis=1)
    last = path.times.shape[0] - 2
    return _Spots(np.where(never, last, step), np.where(never, 1.0, share))
