"""A sight's marks as a printed scale: ticks, corrected as proven marks have it, and the strip.

A strip is glued beside the pin's way: a tick stands as far from the zero distance's mark as
the pin travels from there, times the length that the pointer moves per travel of the pin.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from arrowloft.core.arrays import Array, Mask
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.marks import MarkTable, mark_table
from arrowloft.core.sight.printed import Strip
from arrowloft.core.sight.proven_marks import NO_CORRECTION, Correction
from arrowloft.core.sight.sight import Sight

_WHOLE = 1e-6
"""How near a whole number of steps counts as one: conversions of units lose 1e-12."""
_FINE = 81
"""Distances between two ticks at which a turn is looked for: 40 to the step."""


class TurnsBack(ArithmeticError):
    """Some farther tick would stand no farther along the scale.

    turn: distance from which on the marks go forward, m; None where they do not before the
        farthest tick.
    at: the first tick that stands no farther than the one before.
    predicted: whether the prediction itself turns, as it does near the archer; else the
        proven marks bend it back.
    """

    def __init__(self, turn: float | None, at: int, predicted: bool) -> None:
        super().__init__(f"the marks turn back at {turn} m")
        self.turn, self.at, self.predicted = turn, at, predicted


@dataclass(frozen=True, kw_only=True)
class SightScale:
    """One set-up's scale: ticks nearest first, corrected as proven marks have it; SI.

    sight: without its fixed pins.
    ticks: predicted marks at the ticks.
    correction: of their travel; of this set-up's own marks, or of another's.
    travel: of the pin to each tick, corrected, (ticks,), m, down positive; ascending.
    """

    shot: Shot
    sight: Sight
    ticks: MarkTable
    correction: Correction
    travel: Array = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "travel", self.corrected(self.ticks))

    def corrected(self, table: MarkTable) -> Array:
        """The travel of predicted marks as corrected by the proven ones, (rows,), m."""
        travel: Array = table.travel + self.correction.at(table.distance)
        return travel

    @property
    def zero_height(self) -> float:
        """Height of the pin over the arrow's line at the zero distance, as predicted, m."""
        tangent = np.tan(self.ticks.launch_angle[0]) - self.ticks.travel[0] / self.sight.radius
        return float(self.shot.peep_height - self.sight.radius * tangent)

    def strip(
        self,
        label: str,
        numbered: Mask,
        *,
        magnification: float,
        down: bool,
        numbers_right: bool,
        word: str = "",
    ) -> Strip:
        """The scale as it is printed.

        magnification: length on the scale per travel of the pin.  down: whether farther
        distances stand lower.  word: what stands under the label.
        """
        along = magnification if down else -magnification
        return Strip(
            label=label,
            distance=self.ticks.distance,
            position=along * self.travel + 0.0,
            numbered=numbered,
            numbers_right=numbers_right,
            word=word,
        )


def sight_scale(
    shot: Shot, sight: Sight, distances: Array, correction: Correction = NO_CORRECTION
) -> SightScale:
    """The scale of one shot (every member a float) with ticks at distances, m.

    distances: two or more, ascending.

    Raises TooNear, BeyondReach, Unsolved, whose lanes count the ticks, then the zero
    distance; TurnsBack.
    """
    moving = replace(sight, pins=())
    ticks = mark_table(shot, moving, distances)
    scale = SightScale(shot=shot, sight=moving, ticks=ticks, correction=correction)
    back = np.flatnonzero(np.diff(scale.travel) <= 0.0)
    if back.size:
        predicted = bool((np.diff(ticks.travel) <= 0.0).any())
        raise TurnsBack(_turn(scale, int(back[-1])), int(back[0]) + 1, predicted)
    return scale


def _turn(scale: SightScale, last: int) -> float | None:
    """Where the travel is least beside the last tick from which it falls, m."""
    distance = scale.ticks.distance
    if last + 2 >= distance.size:
        return None
    fine = np.linspace(distance[last], distance[last + 2], _FINE)
    travel = scale.corrected(mark_table(scale.shot, scale.sight, fine))
    return float(fine[np.argmin(travel)])


def numbered(distances: Array, step: float | None, every: int) -> Mask:
    """Which ticks carry their distance as a number, (ticks,).

    With a step, m: those at whole multiples of `every` steps, so that ticks a yard apart
    are numbered 20, 25, 30 wherever they begin. Without one, or where no tick is at such a
    multiple: each `every`-th, from the first.
    """
    if step is not None:
        steps = distances / step
        count = np.rint(steps)
        chosen: Mask = (np.abs(steps - count) < _WHOLE) & (count % every == 0)
        if chosen.any():
            return chosen
    from_first: Mask = np.arange(distances.size) % every == 0
    return from_first
