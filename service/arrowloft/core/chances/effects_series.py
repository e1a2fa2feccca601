"""Effects over many distances, at a cost that hardly grows with their number.

They are smooth in the distance: flown at a few Chebyshev points of its logarithm, they are
read from series in between. Where something is not smooth, every distance is flown.
"""

from dataclasses import fields, replace

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.chances.aim_errors import AimErrors
from arrowloft.core.chances.effects import Effects, effects
from arrowloft.core.chances.quadratic_forms import Forms
from arrowloft.core.flight.aim import TooNear
from arrowloft.core.flight.reach import BeyondReach
from arrowloft.core.series import chebyshev, left_out, terms
from arrowloft.core.setup.shot import Shot

KNOTS = 20
"""Distances flown; for no more of them than twice that, each is flown by itself."""

CLOSE = 2e-6
"""What the series may leave out of any effect of one standard deviation, m, and of a time, s."""


def effects_over(
    shot: Shot, distance: Array, errors: AimErrors, *, wind_allowed: bool = True
) -> Effects:
    """As `effects`, with the same refusals; what the series leave out is in `position_error`."""
    if distance.size > 2 * KNOTS and _smooth(distance, errors):
        spread = _spread(shot, distance, errors, wind_allowed)
        if spread is not None:
            return spread
    return effects(shot, distance, errors, wind_allowed=wind_allowed)


def _smooth(distance: Array, errors: AimErrors) -> bool:
    """Whether nothing asked for bends between the distances: the doubt of marks does at each."""
    low, high = distance.min(), distance.max()
    marks = errors.mark_distances
    inside = marks is not None and bool(((marks > low) & (marks < high)).any())
    return bool(high > 1.01 * low) and not inside


def _spread(shot: Shot, distance: Array, errors: AimErrors, wind_allowed: bool) -> Effects | None:
    """The rows from series over flown distances; None where those are not good enough."""
    low, high = np.log(distance.min()), np.log(distance.max())
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    points, to_series = chebyshev(KNOTS)
    knots = np.exp(middle + half * points)
    knots[0], knots[-1] = distance.min(), distance.max()
    try:
        flown = effects(shot, knots, errors, wind_allowed=wind_allowed)
    except (TooNear, BeyondReach):  # said of the distances asked for
        return None
    early = flown.time < errors.movement.delay
    if not flown.known.all() or flown.begins.any() or (early.any() and not early.all()):
        return None
    at_rows = terms((np.log(distance) - middle) / half, KNOTS)
    missed = 0.0

    def read(values: Array) -> Array:
        nonlocal missed
        series = values @ to_series
        missed = max(missed, float(left_out(series).max(initial=0.0)))
        found: Array = series @ at_rows
        return found

    forms = {item.name: read(getattr(flown.forms, item.name)) for item in fields(Forms)}
    quartic, time = read(flown.quartic), read(flown.time)
    if not missed <= CLOSE:
        return None
    return replace(
        flown,
        forms=Forms(**forms),
        quartic=quartic,
        time=time,
        known=np.ones(distance.size, dtype=bool),
        begins=np.zeros(distance.size, dtype=bool),
        position_error=flown.position_error + missed,
    )
