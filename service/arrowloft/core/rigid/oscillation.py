"""What the history of an arrow's angles shows: its oscillation, and where it is settled."""

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.rigid.linear import Swing

LAG = 8
"""Lags to an oscillation: its phase then turns by a quarter of pi, far from 0 and from pi."""

FINE = 6
"""Points to a lag."""

LEAST_WAVES = 0.75
"""Least part of an oscillation that is flown for it to be read off the flight."""

FAINT = 1e-5
"""Angles, rad, below which there is nothing but what the steps leave: 1e-6 (measured)."""


def needed_points(way: float, expected: Swing) -> int:
    """Points evenly along a way, m, from which `measured` reads an oscillation like the expected.

    0 where the way is too short to show it.
    """
    if way < LEAST_WAVES * expected.length:
        return 0
    return round(way / expected.length * LAG * FINE) + 1


def measured(way: Array, pitch: Array, yaw: Array) -> Swing | None:
    """The oscillation that a history shows: an average over it, weighted by its size.

    way: evenly spaced along the path through the air, m, as many points as `needed_points`
    says.  pitch, yaw: of the arrow to its motion there, rad.

    A damped oscillation about a rest that drifts evenly obeys, for any lag h,

        a(s + 2 h) = 2 e^(-d h) cos(w h) a(s + h) - e^(-2 d h) a(s) + b + c s

    (Prony's method); least squares over all points give the four. None where nothing
    swings, or the history does not show it.
    """
    if way.size < 2 * FINE + 4 or np.hypot(pitch, yaw).max() < FAINT:
        return None
    scale = np.hypot(pitch, yaw).max()
    first, second = _prediction(np.stack((pitch, yaw)) / scale)
    if not -1.5 < second < 0.0:
        return None
    lag = FINE * (way[-1] - way[0]) / (way.size - 1)
    cosine = 0.5 * first / np.sqrt(-second)
    if not abs(cosine) < 1.0:
        return None
    return Swing(wave=float(np.arccos(cosine) / lag), decay=float(-0.5 * np.log(-second) / lag))


def settled_at(distance: Array, angle: Array, threshold: float) -> float | None:
    """Distance from which on the angle stays below the threshold, m, between points linear.

    distance, angle: of points along the path.  None where it does not before the end.
    """
    over = np.flatnonzero(angle >= threshold)
    if not over.size:
        return float(distance[0])
    last = int(over[-1])
    if last == angle.size - 1:
        return None
    share = (angle[last] - threshold) / (angle[last] - angle[last + 1])
    return float(distance[last] + share * (distance[last + 1] - distance[last]))


def _prediction(angles: Array) -> tuple[float, float]:
    """The factors of the last two of three values one lag apart, both components together."""
    now, next_, last = angles[:, : -2 * FINE], angles[:, FINE:-FINE], angles[:, 2 * FINE :]
    count = now.shape[1]
    drift = np.linspace(-1.0, 1.0, count)
    ones, none = np.ones(count), np.zeros(count)
    columns = [
        np.concatenate((next_[0], next_[1])),
        np.concatenate((now[0], now[1])),
        np.concatenate((ones, none)),
        np.concatenate((none, ones)),
        np.concatenate((drift, none)),
        np.concatenate((none, drift)),
    ]
    found = np.linalg.lstsq(np.stack(columns, axis=1), np.concatenate((last[0], last[1])))[0]
    return float(found[0]), float(found[1])
