"""What a picture of sight marks shows (SI)."""

from dataclasses import dataclass, replace

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.fine import finely
from arrowloft.core.flight.reach import BeyondReach, Unsolved
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.marks import MarkTable, mark_table
from arrowloft.core.sight.sight import Sight


@dataclass(frozen=True, kw_only=True)
class MarksScene:
    """All that is drawn.

    table: the marks asked for, in their order.  curve: the same and others between them, the
    zero distance and the pins, the distance rising.
    speed_uncertainty: standard uncertainty of the launch speed, m/s.  drag_uncertainty: of
    the drag area, as a share of it.
    """

    shot: Shot
    sight: Sight
    table: MarkTable
    curve: MarkTable
    speed_uncertainty: float
    drag_uncertainty: float


def marks_scene(
    shot: Shot,
    sight: Sight,
    table: MarkTable,
    *,
    speed_uncertainty: float = 0.0,
    drag_uncertainty: float = 0.0,
) -> MarksScene:
    """The scene of a table of marks, solved for the same shot and sight.

    Where the flights between those asked for cannot be followed, the curve goes straight
    from one mark to the next.
    """
    every = np.concatenate((table.distance, [sight.zero_distance], sight.pins))

    def solved(distances: Array) -> MarkTable:
        return mark_table(
            shot,
            replace(sight, pins=()),
            distances,
            speed_uncertainty=speed_uncertainty,
            drag_uncertainty=drag_uncertainty,
        )

    try:
        curve = solved(finely(every))
    except (BeyondReach, Unsolved):
        curve = solved(np.unique(every))
    return MarksScene(
        shot=shot,
        sight=sight,
        table=table,
        curve=curve,
        speed_uncertainty=speed_uncertainty,
        drag_uncertainty=drag_uncertainty,
    )
