"""Shots of an archer whose errors are drawn, flown one by one: no expansion, no cumulants.

Every flight has its own speed, roll, guess, wind, mark and target; the target moves while
the arrow flies, and is met where it then is.
"""

from dataclasses import replace

import numpy as np
from scipy.interpolate import CubicSpline

from arrowloft.core.chances.aim_errors import Movement
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.impacts import impacts

DRAWN = ("speed", "roll", "range", "wind_along", "wind_across", "mark", "along", "across")
"""What the rows of the drawn numbers stand for."""

_GUESSES = 200


def flown(aiming, distance, z):
    """Impacts up and right of the zone's middle, without the group's own scatter, (2, n).

    z: standard normal numbers, (8, n).
    """
    shot, errors = aiming.shot, aiming.errors
    off = dict(zip(DRAWN, z, strict=True))
    guess = distance + np.hypot(errors.range, errors.range_share * distance) * off["range"]
    angle, yaw = _marks(aiming, guess)
    if errors.mark_angles is not None:
        angle = angle + np.interp(distance, errors.mark_distances, errors.mark_angles) * off["mark"]
    # Toward the target and to the right.
    along = -shot.wind_speed * np.cos(shot.wind_from) + errors.wind_along * off["wind_along"]
    aside = -shot.wind_speed * np.sin(shot.wind_from) + errors.wind_across * off["wind_across"]
    loosed = shot.with_(
        launch_speed=shot.launch_speed + errors.speed * off["speed"],
        roll=shot.roll + errors.roll * off["roll"],
        wind_speed=np.hypot(along, aside),
        wind_from=np.arctan2(-aside, -along),
    )
    return _met(aiming, loosed, (angle, yaw), distance, off)


def _marks(aiming, guess):
    """Launch angle and yaw for every guess, from a spline through many marks."""
    if np.ptp(guess) == 0.0:
        mark = aim(aiming.shot, float(guess[0]), windage=aiming.wind_allowed)
        return mark.launch_angle[0], mark.yaw[0]
    at = np.linspace(guess.min(), guess.max(), _GUESSES)
    marks = aim(aiming.shot, at, windage=aiming.wind_allowed)
    return CubicSpline(at, marks.launch_angle)(guess), CubicSpline(at, marks.yaw)(guess)


def _met(aiming, loosed, line, distance, off):
    """Fly to where the target is, twice: 10 ms of error of the first time leave 1 um or so."""
    shot, move = aiming.shot, aiming.errors.movement
    away = move.away + move.scatter * off["along"]
    right = move.right + move.scatter * off["across"]
    still = not (away.any() or right.any())
    time = distance / (0.97 * shot.launch_speed) + np.zeros(away.size)
    for _ in range(1 if still else 2):
        gone = away * np.maximum(time - move.delay, 0.0)
        plane = distance + gone * np.cos(shot.slope)
        met = impacts(loosed, line[0], plane, yaw=line[1])
        time = met.time
    moved = np.maximum(time - move.delay, 0.0)
    up, aside = aiming.offset
    return np.array([met.up + gone * np.sin(shot.slope) + up, met.right - right * moved + aside])


def own_deviations(aiming, distance, z):
    """The group's own standard deviations at a distance, up and right, (2,).

    What the archer's group holds already is drawn at its own distance, where the target stood
    still, and taken out of it.
    """
    archer = aiming.archer
    group, factor = archer.group, archer.group.unbiased
    held = np.zeros(2)
    kept = [DRAWN.index(name) for name in archer.within]
    if kept:
        alone = np.zeros_like(z)
        alone[kept] = z[kept]
        still = replace(aiming, errors=replace(aiming.errors, movement=Movement()))
        held = flown(still, group.distance, alone).var(axis=1)
    own = np.square([factor * group.vertical, factor * group.sideways]) - held
    return np.sqrt(own) * (distance / group.distance) ** archer.growth
