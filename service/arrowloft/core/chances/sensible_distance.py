"""How far is sensible: the farthest distance up to which an arrow hits with a probability."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.chances.hit_probability import Aiming, chance
from arrowloft.core.chances.zones import Face, Zone
from arrowloft.core.flight.aim import nearest_aim
from arrowloft.core.flight.reach import BeyondReach

OF_REACH = 0.9
"""Share of the reach at which the search ends: nearer to it a guess too far has no mark."""

_ROUNDS = (24, 9, 9)
"""Distances of each round, which closes in on a step of the one before; a straight line
between the last two is good to 1e-5 of the distance."""


@dataclass(frozen=True, kw_only=True)
class Sensible:
    """distance: m; NaN where the probability is too small even at the nearest one.

    surely: the same for the low end of the probability's interval; NaN as well where the number
    of arrows of the group is not known.
    ends_at: the farthest distance that was looked at, m.  whole: whether the probability is
    large enough all the way there, so that `distance` is that end.
    """

    distance: float
    surely: float
    ends_at: float
    whole: bool


def sensible_distance(
    aiming: Aiming, target: Zone | Face, probability: float, near: float, far: float
) -> Sensible:
    """The farthest d such that an arrow hits with `probability` at every distance up to d.

    near, far: where to look, m; the nearest distance that can be shot and OF_REACH of the
    reach bound them. Distances at which the doubt of a mark is told are looked at as well;
    elsewhere the probability is taken to change little between neighbours.

    Raises BeyondReach where `near` is, Unsolved.
    """
    near = max(near, float(nearest_aim(aiming.shot)))
    try:
        return _both(aiming, target, probability, near, far)
    except BeyondReach as beyond:
        end = OF_REACH * beyond.farthest
        if not end > near:
            raise
        return _both(aiming, target, probability, near, end)


def _both(
    aiming: Aiming, target: Zone | Face, probability: float, near: float, far: float
) -> Sensible:
    """The distance by the probability itself, and by the low end of its interval."""
    grid = np.geomspace(near, max(far, near), _ROUNDS[0])
    grid[0], grid[-1] = near, max(far, near)
    told = aiming.errors.mark_distances
    if told is not None:
        grid = np.unique(np.append(grid, told[(told > near) & (told < far)]))
    first = chance(aiming, target, grid)
    found = [
        _closed_in(aiming, target, probability, grid, values, which)
        for which, values in enumerate(first)
    ]
    return Sensible(
        distance=found[0],
        surely=found[1],
        ends_at=float(grid[-1]),
        whole=bool(found[0] == grid[-1]),
    )


def _closed_in(
    aiming: Aiming, target: Zone | Face, probability: float, grid: Array, found: Array, which: int
) -> float:
    """Where the values on a grid first fall below the probability, m; closed in on by rounds.

    which: of the two that `chance` gives.
    """
    closed = False
    for count in (*_ROUNDS[1:], 0):
        missed = _first_missed(found, probability)
        if missed is None:
            return float(grid[-1])
        if missed == 0:  # a rounding apart, where the first distance has been closed in on
            return float(grid[0]) if closed else float("nan")
        near, far = float(grid[missed - 1]), float(grid[missed])
        before, after = float(found[missed - 1]), float(found[missed])
        if count:
            grid = np.geomspace(near, far, count)
            grid[0], grid[-1] = near, far
            found = chance(aiming, target, grid)[which]
            closed = True
    if np.isnan(before) or np.isnan(after):  # beyond, arrows may not arrive
        return near
    part = (before - probability) / (before - after)
    return float(near + part * (far - near))


def _first_missed(found: Array, probability: float) -> int | None:
    """The first distance at which it is too small or not known; None where there is none.

    At the nearest distances a guess may be too short for any mark: those are passed over.
    """
    known = np.flatnonzero(np.isfinite(found))
    if not known.size:
        return 0
    missed = np.flatnonzero(~(found >= probability))
    missed = missed[missed >= known[0]]
    if not missed.size:
        return None
    return 0 if missed[0] == known[0] else int(missed[0])
