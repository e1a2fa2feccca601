"""A sight's marks as a printed scale: ticks, the proven marks that they go through, the strip.

A strip is glued beside the pin's way: a tick stands as far from the zero distance's mark as
the pin travels from there, times the length that the pointer moves per travel of the pin.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.interpolate import PchipInterpolator

from arrowloft.core.arrays import Array, Mask
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.marks import MarkTable, mark_table
from arrowloft.core.sight.printed import Strip
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
class ProvenMarks:
    """Marks that were shot or calibrated, nearest first: m.

    distance: ascending.  travel: of the pin from the zero distance's mark, down positive.
    """

    distance: Array
    travel: Array


@dataclass(frozen=True, kw_only=True)
class Correction:
    """What proven marks add to the predicted travel, over the distance.

    At the marks it is given less predicted travel, so that a scale corrected by it goes
    through them. Between them a monotone cubic (Fritsch and Butland, SIAM J. Sci. Stat.
    Comput. 5, 1984) never leaves the two values beside it; it is a straight line between
    two marks and a constant with one. Before the first mark and beyond the last it is held
    constant. The scale keeps the model's shape so: a few marks move and bend it slowly, and
    do not shape it by themselves.

    distance: of the marks, m, ascending.  added: at each, m, down positive.
    """

    distance: Array
    added: Array

    def at(self, distance: Array) -> Array:
        """What is added at each distance, m; of the shape of `distance`."""
        if self.distance.size == 0:
            return np.zeros(distance.shape)
        if self.distance.size == 1:
            return np.full(distance.shape, self.added[0])
        inside = np.clip(distance, self.distance[0], self.distance[-1])
        added: Array = PchipInterpolator(self.distance, self.added)(inside)
        return added


@dataclass(frozen=True, kw_only=True)
class SightScale:
    """One set-up's scale: ticks nearest first, and the marks that it goes through; SI.

    sight: without its fixed pins.
    ticks: predicted marks at the ticks.  proven: marks given.
    foretold: predicted marks at the same distances; None where none was given.
    correction: of the ticks' travel.
    travel: of the pin to each tick, corrected, (ticks,), m, down positive; ascending.
    """

    shot: Shot
    sight: Sight
    ticks: MarkTable
    proven: ProvenMarks
    foretold: MarkTable | None
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

    @property
    def zero_shift(self) -> float:
        """What the proven marks add at the zero distance, whose travel is 0 by itself, m."""
        return float(self.correction.at(np.array([self.sight.zero_distance]))[0])

    @property
    def error(self) -> float:
        """Estimated error of any angle, rad."""
        return max(self.ticks.error, 0.0 if self.foretold is None else self.foretold.error)

    @property
    def airspeed_range(self) -> tuple[float, float]:
        """Least and greatest airspeed flown, m/s."""
        tables = [table for table in (self.ticks, self.foretold) if table is not None]
        return (
            min(table.airspeed_range[0] for table in tables),
            max(table.airspeed_range[1] for table in tables),
        )

    def strip(
        self, label: str, numbered: Mask, *, magnification: float, down: bool, numbers_right: bool
    ) -> Strip:
        """The scale as it is printed.

        magnification: length on the scale per travel of the pin.  down: whether farther
        distances stand lower.
        """
        along = magnification if down else -magnification
        return Strip(
            label=label,
            distance=self.ticks.distance,
            position=along * self.travel + 0.0,
            numbered=numbered,
            numbers_right=numbers_right,
        )


NONE_PROVEN = ProvenMarks(distance=np.empty(0), travel=np.empty(0))


def sight_scale(
    shot: Shot,
    sight: Sight,
    distances: Array,
    *,
    proven: ProvenMarks = NONE_PROVEN,
    speed_uncertainty: float = 0.0,
    drag_uncertainty: float = 0.0,
) -> SightScale:
    """The scale of one shot (every member a float) with ticks at distances, m.

    distances: two or more, ascending.  The uncertainties are those of `mark_table`, for the
    uncertainty of the predicted marks.

    Raises TooNear, BeyondReach, Unsolved, whose lanes count the ticks, then the proven
    marks, then the zero distance; TurnsBack.
    """
    moving = replace(sight, pins=())
    whole = mark_table(
        shot,
        moving,
        np.concatenate((distances, proven.distance)),
        speed_uncertainty=speed_uncertainty,
        drag_uncertainty=drag_uncertainty,
    )
    if proven.distance.size == 0:
        return _forward(shot, moving, whole, proven, None)
    # Solved by themselves, the ticks are the very marks that they are without proven ones.
    ticks = mark_table(shot, moving, distances)
    return _forward(shot, moving, ticks, proven, whole.rows(slice(distances.size, None)))


def _forward(
    shot: Shot, sight: Sight, ticks: MarkTable, proven: ProvenMarks, foretold: MarkTable | None
) -> SightScale:
    added = np.empty(0) if foretold is None else proven.travel - foretold.travel
    scale = SightScale(
        shot=shot,
        sight=sight,
        ticks=ticks,
        proven=proven,
        foretold=foretold,
        correction=Correction(distance=proven.distance, added=added),
    )
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
