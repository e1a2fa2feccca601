"""The search for the least sum of squares, also where a start says nothing of some unknowns.

Unknowns that do nothing to the predictions where the fit starts may well count elsewhere: a law's
value at a Reynolds number that the arrow does not fly through until its drag is right. So the
others are found first; where that does not help, the fit begins anew from other values.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import least_squares

from arrowloft.core.arrays import Array, Mask
from arrowloft.core.fitting.whitened import Whitened

VARIANTS, FEWEST, MOST = 160, 8, 30
"""Variants of a model that a fit may fly, and least and most evaluations of it, however many
each flies: it takes five to eight where the observations tell the unknowns."""

SOLVED, ROUNDS, FULLEST = 1200, 20, 50
"""Paths that all searches of a fit together may solve, and least and most evaluations of them,
however many paths each solves."""

STATIONARY = 1e-2
"""How far a fit that is given up may be from the least sum, in its own standard
uncertainties, to count as one."""

_CLOSE = 1e-6
"""Share of the sum by which a step still lowers it when it counts as the least."""

SILENT = 1e-3
"""Change of all that is foretold, in standard uncertainties, when an unknown changes by as much
as it is large; below it nothing leads the fit towards its value."""

OTHERS, PATHS, BEGUN = 32, 320, 3
"""Other values that are tried, as many as make so many paths but eight at least; from how many of
them, those that suit best, a fit begins."""

EDGE = 1e-2
"""How far from the fit the edge of what a model takes may be, in the size of an unknown."""

_HALVINGS = 40

APART = 4.0
"""How far other values lie from the start: factor both ways, or sizes where it is not positive."""

_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71)


@dataclass(frozen=True)
class Least:
    """Where the sum is least.

    settled: whether it is.  tried: other values from which nothing better was found.
    """

    x: Array
    settled: bool
    tried: int = 0


def least_sum(whitened: Whitened, start: Array) -> Least:
    """The least sum from a start, (unknowns,) in their scales; raises TooRough, Unsolved."""
    silent = _silent(whitened, start)
    every = np.ones(start.size, dtype=bool)
    if not silent.any():
        return _least(whitened, start, every)
    x = start if silent.all() else _least(whitened, start, ~silent).x
    silent = _silent(whitened, x)
    if not silent.any():
        return _least(whitened, x, every)
    return _from_elsewhere(whitened, x, silent)


def least_at_edge(whitened: Whitened, x: Array) -> Least:
    """The least sum where the way to it leads out of what the model takes, in one unknown.

    That one is held at the edge, which becomes its bound. Where several are in the way, as
    parameters that bound each other are, x is left as it is, not settled.
    """
    fall = whitened.slopes(x).T @ whitened.residuals(x)
    beyond = x - np.sign(fall) * EDGE * np.maximum(np.abs(x), 1.0)
    beyond = np.clip(beyond, whitened.low, whitened.high)
    refused = [
        index for index in range(x.size) if not whitened.accepts(_with(x, index, beyond[index]))
    ]
    if len(refused) != 1:
        return Least(x, False)
    [index] = refused
    inside, outside = x[index], beyond[index]
    for _ in range(_HALVINGS):
        middle = 0.5 * (inside + outside)
        taken = whitened.accepts(_with(x, index, middle))
        inside, outside = (middle, outside) if taken else (inside, middle)
    (whitened.low if outside < inside else whitened.high)[index] = inside
    others = np.arange(x.size) != index
    there = _with(x, index, inside)
    return _least(whitened, there, others) if others.any() else Least(there, True)


def _with(x: Array, index: int, value: float) -> Array:
    changed = x.copy()
    changed[index] = value
    return changed


def _from_elsewhere(whitened: Whitened, x: Array, silent: Mask) -> Least:
    """The least sum that is found from other values of what is silent at x, else x itself."""
    points = _elsewhere(whitened, x, silent)
    here = whitened.residuals(x)
    missed = whitened.several(points)
    least, best = float(here @ here), Least(x, True, points.shape[1])
    differ = np.abs(missed - here).max(axis=1) > SILENT
    sums = np.where(differ, np.einsum("pr,pr->p", missed, missed), np.inf)
    for place in np.argsort(sums, kind="stable")[:BEGUN].tolist():
        if not np.isfinite(sums[place]) or _left(whitened) < FEWEST:
            break
        found = _least(whitened, points[:, place], np.ones(x.size, dtype=bool))
        residuals = whitened.residuals(found.x)
        there = float(residuals @ residuals)
        if there < least - SILENT:
            least, best = there, found
    return best


def _elsewhere(whitened: Whitened, x: Array, silent: Mask) -> Array:
    """Other values of what is silent, spread evenly (Halton), (unknowns, points)."""
    count = min(OTHERS, max(PATHS // whitened.predictions.solved, FEWEST))
    points = np.repeat(x[:, None], count, axis=1)
    for base, index in zip(_PRIMES, np.flatnonzero(silent).tolist(), strict=False):
        share = np.array([_radical_inverse(place, base) for place in range(1, count + 1)])
        low, high, middle = whitened.low[index], whitened.high[index], x[index]
        if middle > 0.0 and low >= 0.0:
            ends = max(low, middle / APART), min(high, middle * APART)
            points[index] = ends[0] * (ends[1] / ends[0]) ** share
        else:
            size = APART * max(abs(middle), 1.0)
            ends = max(low, middle - size), min(high, middle + size)
            points[index] = ends[0] + (ends[1] - ends[0]) * share
    return points


def _radical_inverse(place: int, base: int) -> float:
    """The digits of a number behind the point, in reverse order (van der Corput)."""
    found, unit = 0.0, 1.0
    while place:
        unit /= base
        place, digit = divmod(place, base)
        found += digit * unit
    return found


def _left(whitened: Whitened) -> int:
    """Evaluations that the searches may still take."""
    paths = (whitened.low.size + 1) * whitened.predictions.solved
    return min(max(SOLVED // paths, ROUNDS), FULLEST) - whitened.evaluations


def _least(whitened: Whitened, start: Array, some: Mask) -> Least:
    """The least sum over some of the unknowns, the others where they are."""

    def point(values: Array) -> Array:
        whole = start.copy()
        whole[some] = values
        return whole

    def residuals(values: Array) -> Array:
        return whitened.residuals(point(values))

    def slopes(values: Array) -> Array:
        return whitened.slopes(point(values))[:, some]

    before = whitened.refused
    usual = max(VARIANTS // (start.size + 1), FEWEST)
    found: Any = least_squares(
        residuals,
        start[some],
        jac=slopes,
        bounds=(whitened.low[some], whitened.high[some]),
        method="trf",
        x_scale="jac",
        xtol=1e-6,
        ftol=_CLOSE,
        gtol=1e-10,
        max_nfev=max(min(usual, MOST, _left(whitened)), 1),
    )
    settled = found.success
    if not settled or whitened.refused > before:  # short steps may be those of refusals
        inner = found.active_mask == 0
        steep, fall = found.jac[:, inner], found.grad[inner]
        step = np.linalg.lstsq(steep.T @ steep, -fall, rcond=None)[0]
        settled = -step @ fall <= max(STATIONARY**2, _CLOSE * found.cost)
    return Least(point(np.asarray(found.x, dtype=float)), bool(settled))


def _silent(whitened: Whitened, x: Array) -> Mask:
    """Which unknowns do next to nothing to the predictions at x."""
    slopes = whitened.slopes(x) * np.maximum(np.abs(x), 1.0)
    silent: Mask = np.sqrt(np.einsum("ru,ru->u", slopes, slopes)) < SILENT
    return silent
