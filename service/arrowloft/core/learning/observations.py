"""What was seen on the range: ends of arrows and speeds, and what a set-up predicts of them."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from arrowloft.core.archer.landed import Landed
from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.flight import work
from arrowloft.core.flight.aim import aim, require_ahead
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.flight.reach import require_reached
from arrowloft.core.learning.unknowns import DRAG, PEEP_HEIGHT, RADIUS, SPEED, WINDAGE, ZERO
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.shot import Shot

WEIGHED = 50
"""Evaluations of a drag law in the time that a prediction takes beside its flight: 5 us, with
what the fit makes of it."""


@dataclass(frozen=True, kw_only=True)
class End:
    """Arrows shot with one mark at one distance.

    shot: the set-up as assumed, in the slope, wind and air of this end.
    landed: where the arrows came to.
    travel: of the pin from the zero mark, m, down positive.
    windage_travel: of the pin to the side, m, right positive.
    uncertainty: standard uncertainty of the centre's height, m, where it is stated; None:
        it follows from the archer's scatter.
    """

    shot: Shot
    landed: Landed
    travel: float
    windage_travel: float = 0.0
    uncertainty: float | None = None


@dataclass(frozen=True, kw_only=True)
class SpeedReading:
    """A speed measured at a distance from the eye, m/s, and its standard uncertainty.

    shot: the set-up as assumed, in the slope, wind and air of the reading.
    """

    shot: Shot
    distance: float
    speed: float
    uncertainty: float


Observation = End | SpeedReading


class Predictions:
    """What a set-up predicts of observations, for many values of the unknowns at once.

    The pin at a travel T from the zero mark gives the arrow's line the launch angle a and
    the yaw b, with the launch angle a0 of the zero distance in the set-up's own conditions:

        tan a = tan a0 + (T - zero) / radius,  tan b = -(W + windage) cos(a) / radius

    What is predicted is ordered as `observed` is: the heights of all ends, the places to the
    side of `aside`, the speeds of all readings.

    aside: which ends have a place to the side.
    """

    def __init__(
        self, shot: Shot, zero_distance: float, observations: Sequence[Observation]
    ) -> None:
        self.ends = [item for item in observations if isinstance(item, End)]
        self.readings = [item for item in observations if isinstance(item, SpeedReading)]
        self.aside = np.flatnonzero([end.landed.right is not None for end in self.ends])
        self._end_shot = stacked([end.shot for end in self.ends]) if self.ends else shot
        self._aimed_shot = stacked([shot, *(reading.shot for reading in self.readings)])
        self._planes = np.array([end.landed.distance for end in self.ends])
        self._travel = np.array([end.travel for end in self.ends])
        self._windage = np.array([end.windage_travel for end in self.ends])
        self._distances = np.array([zero_distance, *(r.distance for r in self.readings)])

    @property
    def observed(self) -> Array:
        """What was seen, (values,)."""
        up = [end.landed.up for end in self.ends]
        right = [self.ends[index].landed.right for index in self.aside]
        return np.array([*up, *right, *(reading.speed for reading in self.readings)], dtype=float)

    def __call__(self, unknowns: Array) -> Array:
        """Predictions, (lanes, values), for unknowns (6, lanes).

        NaN where an arrow does not come to its plane, or a distance is beyond reach. Raises
        TooNear, whose lanes count the zero distance and then the readings, and Unsolved.
        """
        lanes = unknowns.shape[1]
        work.spend(WEIGHED * lanes * (len(self.ends) + len(self.readings)))
        angle, speed = self._aimed(unknowns, lanes)
        up, right = self._impacts(unknowns, lanes, angle)
        return np.concatenate((up, right[:, self.aside], speed), axis=1)

    def require_reached(self, unknowns: Array) -> None:
        """Raise BeyondReach unless the zero distance and all readings are reached.

        unknowns: (6,).  Lanes count the zero distance and then the readings.
        """
        count = self._distances.size
        shot = _varied(self._aimed_shot, unknowns[:, None], 1, count)
        require_reached(shot, aim(shot, self._distances))

    def _aimed(self, unknowns: Array, lanes: int) -> tuple[Array, Array]:
        """Launch angle at the zero distance, (lanes,), and speeds read, (lanes, readings)."""
        require_ahead(self._aimed_shot, self._distances)
        count = self._distances.size
        shot = _varied(self._aimed_shot, unknowns, lanes, count)
        aimed = aim(shot, np.tile(self._distances, lanes))
        by_lane = aimed.speed.reshape(lanes, count)
        return aimed.launch_angle.reshape(lanes, count)[:, 0], by_lane[:, 1:]

    def _impacts(self, unknowns: Array, lanes: int, zero_angle: Array) -> tuple[Array, Array]:
        """Impacts of all ends: up and right, each (lanes, ends)."""
        if not self.ends:
            return np.zeros((2, lanes, 0))[0], np.zeros((lanes, 0))
        radius = unknowns[RADIUS, :, None]
        rise = (self._travel - unknowns[ZERO, :, None]) / radius
        angle = np.arctan(np.tan(zero_angle)[:, None] + rise)
        aside = self._windage + unknowns[WINDAGE, :, None]
        yaw = -np.arctan(aside * np.cos(angle) / radius)
        sound = np.isfinite(angle)
        shot = _varied(self._end_shot, unknowns, lanes, self._planes.size)
        flown = impacts(
            shot,
            np.where(sound, angle, 0.0).ravel(),
            np.tile(self._planes, lanes),
            yaw=yaw.ravel() if self.aside.size and yaw.any() else 0.0,
        )
        up = np.where(sound, flown.up.reshape(angle.shape), np.nan)
        return up, flown.right.reshape(angle.shape)


def _varied(shot: Shot, unknowns: Array, lanes: int, count: int) -> Shot:
    """The shots (count) with the unknowns of each lane: lanes * count, lane by lane."""

    def each(value: Array) -> Array:
        return np.repeat(value, count)

    several: Lanes = np.tile(np.arange(count), lanes)
    return shot.take(several).with_(
        launch_speed=each(unknowns[SPEED]),
        drag_scale=each(unknowns[DRAG]) * shot.drag_scale,
        peep_height=each(unknowns[PEEP_HEIGHT]),
    )


def stacked(shots: Sequence[Shot]) -> Shot:
    """Shots of one drag law side by side; what they share stays a float."""
    first = shots[0]
    changes = {
        item.name: _together([getattr(shot, item.name) for shot in shots])
        for item in fields(Shot)
        if item.name not in ("arrow", "drag", "air", "kinks")
    }
    air = {
        item.name: _together([getattr(shot.air, item.name) for shot in shots])
        for item in fields(Air)
    }
    return replace(first, **changes, air=Air(**air))


def _together(values: list[Any]) -> Any:
    return values[0] if all(value == values[0] for value in values) else np.array(values)
