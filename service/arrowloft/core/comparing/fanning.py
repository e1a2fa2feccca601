"""Fans of flights marched for set-ups: which angles they need, how finely, how far they reach."""

from dataclasses import dataclass, replace

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.comparing.fans import WINDOW, Fans
from arrowloft.core.comparing.marching import Areas, Marched, march
from arrowloft.core.comparing.setups import Setups

WIDE, NARROW = 24, 0.25
"""Launch angles of a fan that spans more than so many rad; of others, one window."""

STEPS, MOST_STEPS = 512, 2048
"""Steps of a flight, and most, where the error of the impact is greater than WELL_KNOWN, m."""

WELL_KNOWN = 1e-5

AFFORDED = 1_000_000
"""Steps of all flights together up to which they are made finer."""

SURVEY_STEPS, SURVEYED, SURVEYS = 128, 33, 8
"""Steps of a first look at what angles hit, its distances, and most such looks."""

LOWEST, HIGHEST = -0.1, 0.6
"""Least launch angle of that, rad; the greatest as a share of the way up to the vertical:
the reach lies at half of it, and with drag below."""

ROOM = 1e-3
"""Room beside the angles that are needed, rad; and a twentieth of their range."""

VARIED = 1e-3
"""Relative change of speed or drag for the derivative of an angle."""

NOT_QUITE = 0.98
"""Share of a reach at which the error is looked at: at it no angle is right."""

NARROWED = 8
"""Times that the reach is told eight times more closely: to some millionths of a metre."""


@dataclass(frozen=True)
class _Survey:
    """Roughly: angles that hit at some distances, as in `Fans`; how far to march; who is short.

    best: angle of the reach, rad.
    """

    looked_at: Array
    rough: Array
    end: Array
    short: Mask
    best: Array


def fans_of(
    setups: Setups,
    which: Lanes,
    distances: Array,
    held: int | tuple[float, float],
    *,
    changes: bool,
) -> Fans:
    """March the set-ups `which`, to be read at distances, m, and between them.

    held: a set-up among them, whose angles all others are read at too, or the least and the
        greatest of those, rad.
    """
    some, place = setups.some(which), np.full(setups.count, -1, dtype=np.intp)
    place[which] = np.arange(which.size)
    areas = Areas.of(some.lanes(np.arange(which.size)), greatest_airspeed(some))
    near, far = float(distances.min()), float(distances.max())
    seen = _survey(some, areas, near, far)
    low, high = _needed(seen, held if isinstance(held, tuple) else int(place[held]))
    size = WINDOW if np.max(high - low) <= NARROW and not seen.short.any() else WIDE

    def marched(steps: int, variants: int = 1) -> Marched:
        return _march(some, areas, (low, high, size), seen.end, (steps, variants))

    def checked(steps: int) -> Fans:
        fans = Fans(
            place, marched(steps), None, size, low, high, seen.looked_at, seen.rough, blank, blank
        )
        return _measured(some, areas, fans, seen, far, steps // 2)

    blank = np.full(which.size, np.nan)
    steps, made = STEPS, which.size * size
    fans = checked(steps)
    while np.max(fans.error) > WELL_KNOWN and steps < MOST_STEPS and 2 * steps * made <= AFFORDED:
        steps *= 2
        fans = checked(steps)
    return replace(fans, varied=marched(STEPS // 4, 3)) if changes else fans


def _measured(
    setups: Setups, areas: Areas, fans: Fans, seen: _Survey, far: float, steps: int
) -> Fans:
    """The fans with their reaches, and their errors: by flights of fewer steps at their angles."""
    every = np.arange(fans.low.size)
    farthest = np.full(every.size, np.nan)
    if seen.short.any():
        farthest[seen.short] = _farthest(fans, every[seen.short], seen.end[seen.short])
        farthest[farthest >= far] = np.nan
    last = np.where(np.isnan(farthest), far, NOT_QUITE * farthest)
    angle = fans.aiming(last, every).angle()
    alone = _march(setups, areas, (angle, angle, 1), last, (steps, 1))
    missed = np.abs(alone.read(last, every)[1])
    # What kinks leave of the fan is a third of what half the steps add; the windows' is whole.
    return replace(fans, farthest=farthest, error=np.nan_to_num(missed))


def greatest_airspeed(setups: Setups) -> Array:
    """Greatest airspeed at launch, m/s, (set-ups,)."""
    every = np.arange(setups.count)
    angles = (0.0, 0.25 * np.pi)
    launched = [setups.launch_airspeed(np.full(every.size, angle), every) for angle in angles]
    greatest: Array = np.max(launched, axis=0)
    return greatest


def _march(
    setups: Setups,
    areas: Areas,
    fan: tuple[Array, Array, int],
    end: Array,
    often: tuple[int, int],
) -> Marched:
    """Fans between two angles, of a size: as they are, then a little faster, then with more drag.

    often: steps of each flight, and how many of the three.
    """
    (low, high, size), (steps, variants) = fan, often
    angle = np.linspace(low, high, size, axis=1)
    which = np.tile(np.repeat(np.arange(setups.count), size), variants)
    shot = setups.lanes(which)
    speed, drag = np.ones((2, variants, angle.size))
    speed[1:2] += VARIED
    drag[2:3] += VARIED
    shot = shot.with_(
        launch_speed=shot.launch_speed * speed.ravel(), drag_scale=shot.drag_scale * drag.ravel()
    )
    ends = end[which] + np.abs(np.max(shot.tip_lead))
    return march(shot, areas, which, np.tile(angle.ravel(), variants), ends, steps)


def _survey(setups: Setups, areas: Areas, near: float, far: float) -> _Survey:
    """Look how far the set-ups come, again and more closely where that is much less than far."""
    count = setups.count
    top = HIGHEST * (0.5 * np.pi - np.broadcast_to(setups.shot.slope, (count,)))
    low, end = np.full(count, LOWEST), np.full(count, far)
    short = np.zeros(count, dtype=bool)
    for _ in range(SURVEYS):
        marched = _march(setups, areas, (low, top, WIDE), end, (SURVEY_STEPS, 1))
        grid = np.geomspace(np.full(count, near), end, SURVEYED)
        grid[-1] = end
        rough, best, last = _hits(marched, np.linspace(low, top, WIDE, axis=1), grid)
        beyond = grid[np.minimum(last + 1, SURVEYED - 1), np.arange(count)]
        short |= last < SURVEYED - 1
        again = beyond < 0.95 * end
        end = beyond
        if not again.any():
            break
    # The best of a few angles comes nearly as far as the best of all.
    return _Survey(grid, rough, np.where(short, np.minimum(1.02 * end, far), end), short, best)


def _hits(marched: Marched, angles: Array, grid: Array) -> tuple[Array, Array, Lanes]:
    """Roughly the angles that hit at distances, the best at the last reached, and which that is.

    grid: distances, m, (some, fans). -1: none is reached. Past the last, the angles are the best.
    """
    count = angles.shape[0]
    flights = np.arange(angles.size).reshape(angles.shape)
    up = marched.read(np.broadcast_to(grid[..., None], (*grid.shape, WIDE)), flights)[1]
    up = np.where(np.isnan(up), -np.inf, up)
    over = np.asarray(up >= 0.0)
    first = np.argmax(over, axis=-1)
    hit = np.asarray(over.any(axis=-1))
    last = np.where(hit.any(axis=0), SURVEYED - 1 - np.argmax(hit[::-1], axis=0), -1)
    every = np.arange(count)
    best = angles[every, np.argmax(up[np.maximum(last, 0), every], axis=-1)]
    above = np.take_along_axis(up, first[..., None], axis=-1)[..., 0]
    below = np.take_along_axis(up, np.maximum(first - 1, 0)[..., None], axis=-1)[..., 0]
    spacing = angles[:, 1] - angles[:, 0]
    with np.errstate(all="ignore"):
        back = np.nan_to_num(above / (above - below))
    rough = angles[every, first] - np.clip(back, 0.0, 1.0) * spacing
    return np.where(hit, rough, best), best, last


def _needed(seen: _Survey, held: int | tuple[float, float]) -> tuple[Array, Array]:
    """Ends of the launch angles of each fan, rad."""
    low, high = seen.rough.min(axis=0), seen.rough.max(axis=0)
    # Toward the reach the low angle and the high one meet at the best.
    high = np.where(seen.short, seen.best + 0.2 * (seen.best - low), high)
    ends = held if isinstance(held, tuple) else (float(low[held]), float(high[held]))
    low, high = np.minimum(low, ends[0]), np.maximum(high, ends[1])
    room = 0.05 * (high - low) + ROOM
    return low - room, high + room


def _farthest(fans: Fans, fan: Lanes, end: Array) -> Array:
    """Farthest distance at which the best angle still hits, m, (fans,)."""
    low, high = np.zeros(fan.size), end.copy()
    for _ in range(NARROWED):
        grid = np.linspace(low, high, 9)
        hit = fans.aiming(grid, fan).highest() >= 0.0
        last = np.where(hit.any(axis=0), np.clip(8 - np.argmax(hit[::-1], axis=0), 0, 7), 0)
        low, high = (np.take_along_axis(grid, (last + k)[None], axis=0)[0] for k in (0, 1))
    return low
