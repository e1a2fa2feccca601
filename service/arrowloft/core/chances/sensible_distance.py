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

    ends_at: the farthest distance that was looked at, m.  whole: whether the probability is
    large enough all the way there, so that `distance` is that end.
    """

    distance: float
    ends_at: float
    whole: bool


def sensible_distance(
    aiming: Aiming, target: Zone | Face, probability: float, near: float, far: float
) -> Sensible:
    """The farthest d such that an arrow hits with `probability` at every distance up to d.

    near, far: where to look, m; the nearest distance that can be shot and OF_REACH of the
    reach bound them.

    Raises BeyondReach where `near` is, Unsolved.
    """
    near = max(near, float(nearest_aim(aiming.shot)))
    far = max(far, near)
    try:
        return _search(aiming, target, probability, near, far)
    except BeyondReach as beyond:
        end = OF_REACH * beyond.farthest
        if not end > near:
            raise
        return _search(aiming, target, probability, near, end)


def _search(
    aiming: Aiming, target: Zone | Face, probability: float, near: float, far: float
) -> Sensible:
    end = far
    before = after = float("nan")
    for count in _ROUNDS:
        grid = np.geomspace(near, far, count)
        grid[0], grid[-1] = near, far
        found = chance(aiming, target, grid)
        missed = _first_missed(found, probability)
        if missed is None:
            return Sensible(distance=end, ends_at=end, whole=True)
        if missed == 0:
            return Sensible(distance=float("nan"), ends_at=end, whole=False)
        near, far = float(grid[missed - 1]), float(grid[missed])
        before, after = float(found[missed - 1]), float(found[missed])
    if np.isnan(before) or np.isnan(after):  # beyond, arrows may not arrive
        return Sensible(distance=near, ends_at=end, whole=False)
    part = (before - probability) / (before - after)
    return Sensible(distance=float(near + part * (far - near)), ends_at=end, whole=False)


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
