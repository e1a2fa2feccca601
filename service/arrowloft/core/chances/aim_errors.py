"""What may be off at one shot beside the archer's own scatter: how much, each by itself."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array

FLOWN = ("speed", "roll", "range", "wind_along", "wind_across", "mark", "movement_along")
"""Causes whose effect on the impact is flown, in the order of the forms."""

CAUSES = (*FLOWN, "movement_across")
"""All causes; the last only moves the target aside while the arrow flies."""


@dataclass(frozen=True, kw_only=True)
class Movement:
    """How the target moves, level, once the arrow is loosed; SI.

    away, right: mean speed of it, away from the archer and to the right, m/s.
    scatter: standard deviation of either.  delay: before it begins to move, s.
    """

    away: float = 0.0
    right: float = 0.0
    scatter: float = 0.0
    delay: float = 0.0


@dataclass(frozen=True, kw_only=True)
class AimErrors:
    """Standard deviations of what is off at a shot; 0: nothing is. SI.

    speed: of the launch speed, m/s.  roll: of the bow, rad.
    range: of the guessed distance, m; range_share: as a share of the distance, beside it.
    wind_along, wind_across: of the wind along the line of sight and across it, beside the
        shot's own, which the archer allows for, m/s.
    mark_distances, mark_angles: of the mark's launch angle, rad, at distances, m; straight
        lines between, the same beyond either end; None: exact marks.
    movement: of the target.
    """

    speed: float = 0.0
    roll: float = 0.0
    range: float = 0.0
    range_share: float = 0.0
    wind_along: float = 0.0
    wind_across: float = 0.0
    mark_distances: Array | None = None
    mark_angles: Array | None = None
    movement: Movement = Movement()

    def deviations(self, distance: Array) -> Array:
        """Standard deviation of each of FLOWN at distances, (causes, rows)."""
        marks = np.zeros(distance.size)
        if self.mark_distances is not None and self.mark_angles is not None:
            marks = np.interp(distance, self.mark_distances, self.mark_angles)
        guess = np.hypot(self.range, self.range_share * distance)
        single = (self.speed, self.roll, guess, self.wind_along, self.wind_across, marks)
        every = (*single, self.movement.scatter)
        return np.array([np.broadcast_to(value, distance.shape) for value in every])

    @property
    def named(self) -> tuple[str, ...]:
        """The causes that scatter."""
        scatter = self.deviations(np.array([1.0]))[:, 0]
        some = [bool(deviation) for deviation in scatter]
        some[FLOWN.index("mark")] = self.mark_angles is not None and bool(self.mark_angles.any())
        flown = tuple(name for name, scatters in zip(FLOWN, some, strict=True) if scatters)
        return (*flown, *(CAUSES[-1:] if self.movement.scatter > 0.0 else ()))
