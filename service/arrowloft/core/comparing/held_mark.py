"""Where set-ups hit while the mark of one of them, the baseline, is kept at every distance."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.comparing.curves import Curves, Span
from arrowloft.core.comparing.row_by_row import Rows, loose
from arrowloft.core.comparing.setups import Setups
from arrowloft.core.flight.distances import KNOTS
from arrowloft.core.series import chebyshev, left_out

LEFT_OUT = 2e-7
"""What a series may leave out of an impact, m: a fifth of what a reply resolves."""


@dataclass(frozen=True)
class Hits:
    """Impacts with the baseline's launch angle and no yaw, less the baseline's own, m.

    up, right: (set-ups, distances); NaN where a set-up does not reach the distance by its
        own mark, or its arrow never comes there with the baseline's.
    error: estimated error of any impact, m, (set-ups,).
    read: set-ups whose impacts are read from series: (2, set-ups, terms), up and right.
    """

    up: Array
    right: Array
    error: Array
    read: Mask
    series: Array

    def up_at(self, span: Span, distance: Array, which: Lanes) -> Array:
        """Impact of the set-up `which`, one of those read, above the baseline's, m, (lanes,)."""
        return span.read(self.series[0], distance, which)


def held_mark(
    setups: Setups, baseline: int, distances: Array, rows: Rows, curves: Curves | None
) -> Hits:
    """Loose every set-up at the baseline's launch angles.

    rows: aimed, the first columns at the distances, all reached by the baseline.
    curves: what they were read from, where they were.
    """
    count, size = setups.count, distances.size
    terms = KNOTS[0][0]
    hits = Hits(
        np.full((count, size), np.nan),
        np.full((count, size), np.nan),
        np.zeros(count),
        np.zeros(count, dtype=bool),
        np.zeros((2, count, terms)),
    )
    others = np.flatnonzero(np.arange(count) != baseline)
    if curves is not None and np.isfinite(curves.error[baseline]):
        smooth = others[np.isfinite(curves.error[others])]
        if smooth.size:
            _from_series(hits, setups, baseline, smooth, curves)
            at = curves.span.terms(distances, terms)
            done = np.flatnonzero(hits.read)
            hits.up[done], hits.right[done] = hits.series[:, done] @ at
        hits.read[baseline] = True
    _each(hits, setups, baseline, others[~hits.read[others]], distances, rows)
    hits.up[baseline] = hits.right[baseline] = 0.0
    return hits


def _from_series(hits: Hits, setups: Setups, baseline: int, which: Lanes, curves: Curves) -> None:
    """Loose smooth set-ups at some distances; those whose series hold are `read`.

    Their aimed flights pass no kink. One that the held mark makes them reach in the last
    instant moves nothing.
    """
    terms = hits.series.shape[-1]
    knots, to_series = curves.span.knots(terms), chebyshev(terms)[1]
    kept = np.full(terms, baseline)
    angle = curves.angle(knots, kept)
    met = loose(
        setups,
        np.repeat(which, terms),
        np.tile(angle, which.size),
        np.tile(knots, which.size),
        smooth=True,
    )
    shape = (which.size, terms)
    right = met.right.reshape(shape) - curves.drift(knots, kept)
    with np.errstate(all="ignore"):
        series = np.array((met.up.reshape(shape), right)) @ to_series
        missed = left_out(series).max(axis=0)
    error = met.error.reshape(shape).max(axis=1) + missed
    good = missed <= LEFT_OUT
    hits.read[which[good]] = True
    hits.series[:, which[good]] = series[:, good]
    hits.error[which[good]] = error[good]


def _each(
    hits: Hits, setups: Setups, baseline: int, which: Lanes, distances: Array, rows: Rows
) -> None:
    """Loose set-ups at every distance that they reach by their own marks."""
    if not which.size:
        return
    size = distances.size
    angle, drift = rows.aims[0][:, :size], rows.aims[4][baseline, :size]
    kept = np.where(np.isfinite(angle[which]), angle[baseline], np.nan)
    met = loose(setups, np.repeat(which, size), kept.ravel(), np.tile(distances, which.size))
    shape = (which.size, size)
    hits.up[which], hits.right[which] = met.up.reshape(shape), met.right.reshape(shape) - drift
    hits.error[which] = np.nan_to_num(met.error.reshape(shape)).max(axis=1)
