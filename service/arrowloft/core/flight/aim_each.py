"""Aim for lanes that fly by different drag laws, those that can be solved together at once."""

from collections.abc import Sequence

import numpy as np

from arrowloft.core.arrays import Real
from arrowloft.core.flight.aim import aim, require_ahead
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.flight.reach import LeftOut
from arrowloft.core.setup.laws import Kinks, LawsByLane, alike
from arrowloft.core.setup.shot import Shot, as_lanes, lane_count


def aim_each(
    shot: Shot,
    distance: Real,
    kinks: Sequence[Kinks],
    left_out: LeftOut | None = None,
) -> Aimed:
    """As `aim.aim`, for lanes that fly by different drag laws.

    shot: its `drag` a LawsByLane; its `kinks` are not looked at.  kinks: of each law.
    left_out: as in `aim.aim`.

    Laws with the same kinks are solved together, so that smooth ones cost no more for a
    neighbour's kinks, and none loses its own. Raises TooNear, Unsolved; TypeError for
    any other drag.
    """
    laws = shot.drag
    if not isinstance(laws, LawsByLane):
        raise TypeError("the shot's drag must be a LawsByLane")
    count = lane_count(shot, distance)
    distance = as_lanes(distance, count)
    require_ahead(shot, distance)
    groups = list(alike(kinks, np.broadcast_to(laws.which, (count,))))
    if len(groups) == 1:
        return aim(shot.with_(kinks=groups[0][0]), distance, left_out=left_out)
    result = Aimed.unreached(distance)
    for those, lanes in groups:
        part = aim(shot.take(lanes).with_(kinks=those), distance[lanes], left_out=left_out)
        result.store(part, lanes)
    return result
