"""Flights split where a drag law has a kink, so that every piece is smooth.

A law may say at which Reynolds numbers its coefficient is not smooth. A flight that
passes one is solved again on panels that meet at that moment; the moment itself is
corrected by Newton's method from one solution to the next.
"""

import numpy as np

from arrowloft.core.arrays import Array, Mask
from arrowloft.core.flight import work
from arrowloft.core.flight.collocation import Panels, lobatto
from arrowloft.core.flight.motion import CONVERGED, Flights, Goal, solve
from arrowloft.core.setup.shot import Shot

MOST_KINKS = 12
"""Kinks passed in one flight that are split; more leave their error to the estimate."""

PANEL_POINTS = 12
"""Collocation points of each panel."""

ROUNDS = 8
"""Most solutions, each with its edges moved closer to the kinks."""

SETTLED = 1e-7
"""Share of the time by which an edge may miss its kink: what that adds is its square."""

NARROWEST = 1e-9
"""Least width of a panel, as a share of the time."""

SEARCHED = 2
"""Values searched for a kink, and sorted, in the time of one of a drag law: 0.05 us each."""


def kink_speeds(shot: Shot) -> Array:
    """Airspeeds at which the drag law is not smooth, (kinks, 1 or lanes), m/s."""
    scale = shot.air.viscosity / (shot.air.density * shot.arrow.shaft_diameter)
    speeds: Array = np.multiply.outer(np.array(shot.kinks or ()), np.atleast_1d(scale))
    return speeds


def passes_kink(shot: Shot, airspeed: Array) -> Mask:
    """Whether each lane's airspeeds (points, lanes) pass a kink of its law, (lanes,)."""
    if not shot.kinks:  # none, or none known
        return np.zeros(airspeed.shape[1], dtype=bool)
    speeds = kink_speeds(shot)
    low, high = airspeed.min(axis=0), airspeed.max(axis=0)
    passed: Mask = ((low < speeds) & (speeds < high)).any(axis=0)
    return passed


def split(flights: Flights, goal: Goal, limit: int) -> Flights:
    """The same flights on panels that end at the kinks passed; unchanged where none is.

    goal: the one that the flights were solved for.  limit: most iterations of a round.
    A lane whose edges do not settle on its kinks is left as not converged.
    """
    if not passes_kink(flights.shot, flights.airspeed).any():
        return flights
    times, speeds = _passages(flights)
    rule = lobatto(PANEL_POINTS)
    for _ in range(ROUNDS):
        panels = Panels(rule, _edges(times))
        flights = solve(flights.shot, flights.launch, goal, panels, limit, least=4)
        late = _late(flights, speeds)
        times = np.where(np.isnan(speeds), times, np.clip(times - late, 0.0, 1.0))
        missed = np.abs(np.nan_to_num(late)).max(axis=0)
        if missed.max() <= 0.1 * SETTLED:
            break
    flights.moved[missed > SETTLED] = np.inf
    return flights


def _passages(flights: Flights) -> tuple[Array, Array]:
    """Shares of time at which kinks are passed, and their airspeeds, (passages, lanes).

    In the order of time; lanes with fewer passages are filled up with NaN.
    """
    times = flights.grid.times
    found_times, found_speeds = [], []
    kinks = kink_speeds(flights.shot)
    work.spend(flights.airspeed.size * len(kinks) // SEARCHED)
    for speed in kinks:
        over = flights.airspeed - speed
        change = (over[:-1] > 0.0) != (over[1:] > 0.0)
        with np.errstate(all="ignore"):
            part = over[:-1] / (over[:-1] - over[1:])
        at = times[:-1] + part * (times[1:] - times[:-1])
        found_times.append(np.where(change, at, np.nan))
        found_speeds.append(np.where(change, speed, np.nan))
    every, which = np.concatenate(found_times), np.concatenate(found_speeds)
    every[:, ~(flights.moved <= CONVERGED)] = np.nan
    order = np.argsort(every, axis=0)  # NaN last
    most = min(int(np.isfinite(every).sum(axis=0).max(initial=0)), MOST_KINKS)
    order = order[: max(most, 1)]
    every = np.take_along_axis(every, order, axis=0)
    return every, np.where(np.isnan(every), np.nan, np.take_along_axis(which, order, axis=0))


def _edges(times: Array) -> Array:
    """Edges of panels, (passages + 2, lanes): lanes with fewer passages split the rest evenly."""
    passages, lanes = times.shape
    edges = np.zeros((passages + 2, lanes))
    edges[-1] = 1.0
    for index in range(passages):
        rest = passages - index + 1
        even = edges[index] + (1.0 - edges[index]) / rest
        edge = np.where(np.isnan(times[index]), even, times[index])
        room = NARROWEST * (passages - index)
        edges[index + 1] = np.clip(edge, edges[index] + NARROWEST, 1.0 - room)
    return edges


def _late(flights: Flights, speeds: Array) -> Array:
    """How far each edge lies behind its kink, as a share of the time: one Newton step."""
    at_edges = slice(PANEL_POINTS - 1, -1, PANEL_POINTS)
    velocity, pull = flights.velocity[at_edges], flights.acceleration[at_edges]
    through, airspeed = flights.forces.airspeed(velocity)
    with np.errstate(all="ignore"):
        gain = np.einsum("ncl,ncl->nl", through, pull) / airspeed
        late: Array = (airspeed - speeds) / (gain * flights.launch.time)
    return late
