"""What a picture of the roll tolerance shows: rolls and shifts over distance (SI)."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.fine import finely
from arrowloft.core.flight.reach import BeyondReach, Unsolved
from arrowloft.core.level.cant import Allowance, CantTable, cant_table
from arrowloft.core.setup.shot import Shot


@dataclass(frozen=True, kw_only=True)
class CantScene:
    """All that is drawn.

    curve: rolls and shifts over distance, which rises; `asked`, the distances asked for,
        m, rising and each once, are among its own.
    live: distance, m, and roll, rad, of a reading; None where there is none.
    roll_scatter: standard deviation of the archer's roll, rad; None where not given.
    """

    shot: Shot
    asked: Array
    curve: CantTable
    live: tuple[float, float] | None
    roll_scatter: float | None


def cant_scene(
    shot: Shot,
    distances: Array,
    cants: Array,
    allowance: Allowance,
    *,
    live: tuple[float, float] | None = None,
    roll_scatter: float | None = None,
) -> CantScene:
    """The scene of distances, m, each of which can be shot; those of `cant_table`.

    live: its distance belongs to them where there are no others.  Where the flights between
    the distances cannot be followed, curves go straight from one to the next.
    Raises TooNear, BeyondReach, Unsolved, whose lanes count the distances rising.
    """
    every = np.unique(distances if live is None else np.append(distances, live[0]))
    try:
        curve = cant_table(shot, finely(every), cants, allowance)
    except (BeyondReach, Unsolved):
        curve = cant_table(shot, every, cants, allowance)
    asked = np.unique(distances) if distances.size else every
    return CantScene(shot=shot, asked=asked, curve=curve, live=live, roll_scatter=roll_scatter)
