"""Where set-ups hit while the mark of one of them, the baseline, is kept at every distance."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.comparing.curves import Curves, Span
from arrowloft.core.comparing.fans import Fans
from arrowloft.core.comparing.row_by_row import loose
from arrowloft.core.comparing.rows import Rows
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

    @classmethod
    def blank(cls, count: int, distances: int) -> "Hits":
        """Nothing known yet."""
        up, right = np.full((2, count, distances), np.nan)
        series = np.zeros((2, count, KNOTS[0][0]))
        return cls(up, right, np.zeros(count), np.zeros(count, dtype=bool), series)

    def up_at(self, span: Span, distance: Array, which: Lanes) -> Array:
        """Impact of the set-up `which`, one of those read, above the baseline's, m, (lanes,)."""
        return span.read(self.series[0], distance, which)

    def right_at(self, span: Span, distance: Array, which: Lanes) -> Array:
        """The same to the right of the baseline's, m, (lanes,)."""
        return span.read(self.series[1], distance, which)


def hits_from_series(setups: Setups, baseline: int, distances: Array, curves: Curves) -> Hits:
    """Impacts of smooth set-ups with the mark of a smooth baseline; the others are not read."""
    hits = Hits.blank(setups.count, distances.size)
    if np.isfinite(curves.error[baseline]):
        others = np.isfinite(curves.error) & (np.arange(setups.count) != baseline)
        smooth = np.flatnonzero(others)
        if smooth.size:
            _from_series(hits, setups, baseline, smooth, curves)
            at = curves.span.terms(distances, hits.series.shape[-1])
            done = np.flatnonzero(hits.read)
            hits.up[done], hits.right[done] = hits.series[:, done] @ at
        hits.read[baseline] = True
        hits.up[baseline] = hits.right[baseline] = 0.0
    return hits


def hits_from_fans(
    hits: Hits, fans: Fans, baseline: int, which: Lanes, distances: Array, rows: Rows
) -> None:
    """Fill in the impacts of the set-ups `which` from their fans, at what they reach."""
    size, fan = distances.size, fans.place[which]
    angle, drift = rows.aims[0][:, :size], rows.aims[4][baseline, :size]
    kept = np.where(np.isfinite(angle[which]), angle[baseline], np.nan).T
    grid = np.repeat(distances[:, None], fan.size, axis=1)
    read = fans.about(kept, grid, fan).at(kept)
    hits.up[which], hits.right[which] = read.up.T, read.right.T - drift
    hits.error[which] = fans.error[fan]
    hits.up[baseline] = hits.right[baseline] = 0.0


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


def hits_row_by_row(setups: Setups, baseline: int, distances: Array, rows: Rows) -> Hits:
    """Impacts at every distance that a set-up reaches by its own mark, each solved.

    rows: aimed, the first columns at the distances.
    """
    hits = Hits.blank(setups.count, distances.size)
    which = np.flatnonzero(np.arange(setups.count) != baseline)
    size = distances.size
    angle, drift = rows.aims[0][:, :size], rows.aims[4][baseline, :size]
    kept = np.where(np.isfinite(angle[which]), angle[baseline], np.nan)
    met = loose(setups, np.repeat(which, size), kept.ravel(), np.tile(distances, which.size))
    shape = (which.size, size)
    hits.up[which], hits.right[which] = met.up.reshape(shape), met.right.reshape(shape) - drift
    hits.error[which] = np.nan_to_num(met.error.reshape(shape)).max(axis=1, initial=0.0)
    hits.up[baseline] = hits.right[baseline] = 0.0
    return hits
