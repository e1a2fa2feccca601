"""Flights marched in equal steps along the line of sight, whatever their drag laws are like.

The flights of `flight.motion` are solved whole, and want laws that are smooth or smooth in a
few pieces. These are stepped: dozens of kinks, or an arrow that hardly gets there, cost
nothing more. With the distance s as the independent variable,

    dt/ds = 1/v_s,   dn/ds = v_n/v_s,   dz/ds = v_z/v_s,   dv/ds = a/v_s,

by the three-step method of Adams and Bashforth. A law that bends leaves an error of the
square of the step. Drag areas are read from a table of each law over airspeed.

Source: E. Hairer, S. P. Norsett, G. Wanner, Solving Ordinary Differential Equations I,
2nd ed., Springer 1993, section III.1.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.flight import work
from arrowloft.core.flight.geometry import arrow_line
from arrowloft.core.flight.motion import Forces
from arrowloft.core.setup.shot import Shot, as_lanes

TABLED = 4096
"""Airspeeds at which a law is asked, evenly apart: kinks are 1/20 of a m/s wide at most."""

SLOWEST = 0.05
"""Least of them as a share of the greatest; what is slower is given that one's drag area."""

STORED = 128
"""Points kept of a flight."""

READ = 12
"""Evaluations of a drag law in the time that a flight takes to be read at one distance."""

READ_STEPS = 3
"""Corrections of the balance point's place until the tip is at a distance: each a hundredth."""


@dataclass(frozen=True)
class Areas:
    """Drag areas of set-ups over airspeed, m2.

    area: (set-ups * TABLED,), without the drag scale.
    low: least airspeed, m/s; spacing: m/s, (set-ups,) each.
    """

    area: Array
    low: Array
    spacing: Array

    @classmethod
    def of(cls, shot: Shot, greatest: Array) -> "Areas":
        """Of each lane of the shot, up to its greatest airspeed, m/s, (lanes,)."""
        count = greatest.size
        shares = np.linspace(SLOWEST, 1.0, TABLED)
        many = shot.take(np.repeat(np.arange(count), TABLED)) if count > 1 else shot
        airspeed = (greatest[:, None] * shares).ravel()
        area = np.broadcast_to(
            many.drag(Forces(many, 2).flow(airspeed), many.arrow), airspeed.shape
        )
        spacing = greatest * ((1.0 - SLOWEST) / (TABLED - 1))
        return cls(np.array(area, dtype=np.float64), SLOWEST * greatest, spacing)


@dataclass(frozen=True)
class Marched:
    """Flights at points evenly apart along the line of sight.

    start: of the balance point, m; step: between points, m, (flights,) each.
    state: time, s; up and right, m; velocity, m/s: (6, points, flights).
    change: of the state per metre.
    wind: m/s, (3, 1 or flights).  lead: of the tip, m, (flights,).
    """

    start: Array
    step: Array
    state: Array
    change: Array
    wind: Array
    lead: Array

    def read(self, distance: Array, flights: Lanes) -> Array:
        """What some flights are like when the tip is at each distance, (7, *distance.shape).

        distance: m.  Time, s; the tip's place up and to the right, m; the
        velocity's three parts and the airspeed, m/s. NaN where an arrow never comes there.
        """
        work.spend(READ * distance.size)
        flights = np.broadcast_to(flights, distance.shape)
        lead = self.lead[flights]
        wind = self.wind[:, flights if self.wind.shape[1] > 1 else np.zeros_like(flights)]
        at = distance - lead
        for left in range(READ_STEPS, 0, -1):
            state = self._between(at, flights, slice(3, 6) if left > 1 else slice(0, 6))
            through = state[-3:] - wind
            airspeed = np.sqrt(np.einsum("c...,c...->...", through, through))
            ahead = lead * through / airspeed
            if left > 1:
                at = distance - np.nan_to_num(ahead[0])
        state[1:3] += ahead[1:]
        return np.concatenate((state, airspeed[None]))

    def passing(self, at: Array, flights: Lanes) -> Array:
        """Time, s, and height, m, as the balance point passes places, m, (2, *at.shape)."""
        return self._between(at, np.broadcast_to(flights, at.shape), slice(0, 2))

    def _between(self, at: Array, flights: Lanes, parts: slice) -> Array:
        """States at places of the balance point, by cubics through points and changes."""
        step = self.step[flights]
        place = (at - self.start[flights]) / step
        last = self.state.shape[1] - 2
        with np.errstate(invalid="ignore"):
            index = np.clip(np.nan_to_num(place), 0, last).astype(np.intp)
        share = place - index
        share = np.where((share < -1e-6) | (share > 1.0 + 1e-6), np.nan, share)
        near, far = (self.state[parts, index + k, flights] for k in (0, 1))
        first, second = (step * self.change[parts, index + k, flights] for k in (0, 1))
        rise = far - near
        bend = (first - rise) * (1.0 - share) + (rise - second) * share
        found: Array = near + share * (rise + (1.0 - share) * bend)
        return found


def march(shot: Shot, areas: Areas, which: Lanes, angle: Array, end: Array, steps: int) -> Marched:
    """March flights from launch until the balance point is at `end`, m, (flights,).

    shot: a lane for each flight; its drag plays no part.  which: position of each flight's
    set-up among the areas.  angle: of launch, rad.  steps: a multiple of STORED.
    """
    count = angle.size
    work.spend((steps + 3) * (work.STEP + count))
    forces = Forces(shot, 3)
    line, up = arrow_line(angle, 0.0, shot.roll)
    place = shot.launch_forward * line - shot.peep_height * up
    change = _rate_of_change(forces, areas, which, count)
    now = np.concatenate((np.zeros((1, count)), place[1:], shot.launch_speed * line))
    step, every = (end - place[0]) / steps, steps // STORED
    state, changes = np.empty((2, 6, STORED + 1, count))
    with np.errstate(all="ignore"):  # one that turns back is NaN from there on
        before, last = now, change(now)
        for index in range(steps + 1):
            rate = change(now)
            if index % every == 0:
                state[:, index // every], changes[:, index // every] = now, rate
            if index == 0:
                gain = change(now + 0.5 * step * rate)
            elif index == 1:
                gain = 1.5 * rate - 0.5 * last
            else:
                gain = (23.0 * rate - 16.0 * last + 5.0 * before) / 12.0
            before, last = last, rate
            now = now + step * gain
    wind = np.zeros((3, 1)) if forces.still else forces.wind
    lead = as_lanes(shot.tip_lead, count)
    return Marched(place[0], step * every, state, changes, wind, lead)


def _rate_of_change(
    forces: Forces, areas: Areas, which: Lanes, count: int
) -> Callable[[Array], Array]:
    """A function: state -> its change per metre along the line of sight."""
    factor = as_lanes(forces.factor, count)
    low, per = areas.low[which], 1.0 / areas.spacing[which]
    first = which * TABLED

    def change(state: Array) -> Array:
        velocity = state[3:]
        through, airspeed = forces.airspeed(velocity)
        place = np.clip((airspeed - low) * per, 0.0, TABLED - 1.000001)
        index = np.nan_to_num(place).astype(np.intp)
        share = place - index
        index += first
        area = areas.area[index]
        area = area + share * (areas.area[index + 1] - area)
        found = np.empty_like(state)
        found[0] = 1.0
        found[1:3] = velocity[1:]
        np.multiply(-factor * area * airspeed, through, out=found[3:])
        found[3:] += forces.gravity
        # An arrow that does not come forward any more comes nowhere.
        found /= np.where(velocity[0] > 1e-3, velocity[0], np.nan)
        return found

    return change
