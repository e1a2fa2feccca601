"""What series would have shown, foretold for many variants of a model at once."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Lanes, Mask
from arrowloft.core.fitting.paths import POOR, Paths, aimed_paths, paths_of, paths_to
from arrowloft.core.fitting.series import Series
from arrowloft.core.fitting.variants import Variants, lanes_of
from arrowloft.core.setup.shot import Shot

_TIME = 1
"""Which of drop, time and speed the clock shifts; paths give them in this order."""

SHARE = 0.1
"""Share of a measured value's uncertainty that what is foretold for it may be wrong by."""

COARSEST = 2e-3
"""Greatest error of a place, m, that is allowed however uncertain it was measured."""

_PER_SPEED, _PER_TIME = 1.0 / 64.0, 20.0
"""Error of a place, m, per error of a speed there, m/s: what the last of 64 points leaves out of
a flight of a second counts so much less in the place; and per error of a time, s, at 20 m/s."""


@dataclass(frozen=True)
class Predicted:
    """values: (variants, rows), SI, NaN where an arrow never comes there.

    reynolds: least and greatest Reynolds number flown on the shaft diameter, of the first
    variant.  rough: rows not foretold as a path arrives but is not exact enough, (rows,) bool.
    """

    values: Array
    reynolds: tuple[float, float]
    rough: Mask


class Predictions:
    """The rows of several series, and what variants of a model foretell for them.

    observed, uncertainty: (rows,), SI.  rows: of each series, as slices, each in the order
    of `Series`.
    """

    def __init__(self, series: Sequence[Series]) -> None:
        self.series = tuple(series)
        self.observed = np.concatenate([item.observed() for item in series])
        self.uncertainty = np.concatenate([item.uncertainty() for item in series])
        ends = np.cumsum([sum(item.counts()) for item in series]).tolist()
        self.rows = [slice(low, high) for low, high in zip([0, *ends[:-1]], ends, strict=True)]
        self._aimed = self._alike([item.aimed_at is not None for item in series])
        self._past = self._alike([bool(sum(item.counts()[:3])) for item in series])
        self._tracked = self._alike([bool(item.track.time.size) for item in series])
        self._allowed = np.array([_allowed(item) for item in series])

    @property
    def solved(self) -> int:
        """How many paths are solved for one variant."""
        return sum(some.size for some in (*self._aimed, *self._past, *self._tracked))

    def __call__(self, variants: Variants) -> Predicted:
        """Foretell all rows; raises TooNear."""
        angle, rough = self._angles(variants)
        values = np.full((variants.count, self.observed.size), np.nan)
        flown = [self._pass(values, rough, variants, angle, some) for some in self._past]
        flown += [self._track(values, rough, variants, angle, some) for some in self._tracked]
        every = np.concatenate(flown, axis=1)
        found = np.isfinite(every).any()
        ends = (np.nanmin(every[0]), np.nanmax(every[1])) if found else (np.nan, np.nan)
        sizes = [rows.stop - rows.start for rows in self.rows]
        lost: Mask = np.isnan(values).any(axis=0) & np.repeat(rough, sizes)
        return Predicted(values, (float(ends[0]), float(ends[1])), lost)

    def _alike(self, wanted: Sequence[bool]) -> list[Lanes]:
        """Series whose arrows know the same of themselves, which can fly side by side."""
        groups: dict[tuple[bool, ...], list[int]] = {}
        for index in np.flatnonzero(wanted).tolist():
            arrow = self.series[index].shot.arrow
            known = tuple(value is None for value in vars(arrow).values())
            groups.setdefault(known, []).append(index)
        return [np.array(some) for some in groups.values()]

    def _shot(self, variants: Variants, some: Lanes) -> Shot:
        """Lanes of variants times some series."""
        shots = [self.series[index].shot for index in some]
        known = [kink for each in variants.kinks for kink in each or ()]
        kinks = None if None in variants.kinks else tuple(dict.fromkeys(known))
        return lanes_of(shots, np.arange(some.size), variants, some).with_(kinks=kinks)

    def angles(self, variants: Variants) -> Array:
        """Launch angles, (series, variants), rad: those aimed are solved for, NaN beyond reach."""
        return self._angles(variants)[0]

    def _angles(self, variants: Variants) -> tuple[Array, Mask]:
        """The angles, and for which series one is only roughly known."""
        angle, rough = variants.angle.copy(), np.zeros(len(self.series), dtype=bool)
        for some in self._aimed:
            at = np.array([self.series[index].aimed_at for index in some], dtype=float)
            shot, yaw = self._shot(variants, some), variants.yaw[some].T.ravel()
            allowed = np.tile(self._allowed[some], variants.count)
            paths = aimed_paths(shot, yaw, np.tile(at, variants.count), allowed)
            angle[some] = paths.angles.reshape(variants.count, -1).T
            rough[some] = _any_of(paths.rough, some)
        return angle, rough

    def _pass(
        self, values: Array, rough: Mask, variants: Variants, angle: Array, some: Lanes
    ) -> Array:
        """Fill in what is read at planes; the Reynolds numbers flown, (2, series)."""
        planes = [_planes(self.series[index]) for index in some]
        farthest = np.array([item.max() for item in planes])
        paths = paths_to(
            self._shot(variants, some),
            angle[some].T.ravel(),
            variants.yaw[some].T.ravel(),
            np.tile(farthest, variants.count),
            np.tile(self._allowed[some], variants.count),
        )
        rough[some] |= _any_of(paths.rough, some)
        lanes = _repeated([item.size for item in planes], variants.count)
        found = paths.at_planes(lanes, np.tile(np.concatenate(planes), variants.count))
        by_variant, first = found.reshape(3, variants.count, -1), 0
        for index, item in zip(some.tolist(), planes, strict=True):
            met = by_variant[:, :, first : first + item.size].copy()
            met[_TIME] += variants.clock[index][:, None]
            # Rows are speeds, times, drops, the other way round.
            which = np.repeat((2, 1, 0), self.series[index].counts()[:3])
            rows = met[which, :, np.arange(item.size)].T
            values[:, self.rows[index]][:, : item.size] = rows
            first += item.size
        return self._reynolds(paths, some)

    def _track(
        self, values: Array, rough: Mask, variants: Variants, angle: Array, some: Lanes
    ) -> Array:
        """Fill in the places of tracked arrows; the Reynolds numbers flown, (2, series)."""
        tracks = [self.series[index].track for index in some]
        sizes = [item.time.size for item in tracks]
        clock = np.repeat(variants.clock[some], sizes, axis=0)
        since = (np.concatenate([item.time for item in tracks])[:, None] - clock).T
        ends = [since[:, low:high].max(axis=1) for low, high in _spans(sizes)]
        paths = paths_of(
            self._shot(variants, some),
            angle[some].T.ravel(),
            variants.yaw[some].T.ravel(),
            np.array(ends).T.ravel(),
            np.tile(self._allowed[some], variants.count),
        )
        rough[some] |= _any_of(paths.rough, some)
        of_tip = np.tile(np.repeat([item.of_tip for item in tracks], sizes), variants.count)
        found = paths.at_times(_repeated(sizes, variants.count), since.ravel(), of_tip)
        by_variant = found.reshape(3, variants.count, -1)
        for index, track, (low, high) in zip(some.tolist(), tracks, _spans(sizes), strict=True):
            along, over, aside = by_variant[:, :, low:high]
            rows = np.concatenate((along, over, aside[:, np.isfinite(track.right)]), axis=1)
            values[:, self.rows[index]][:, -rows.shape[1] :] = rows
        return self._reynolds(paths, some)

    def _reynolds(self, paths: Paths, some: Lanes) -> Array:
        """Least and greatest Reynolds numbers of the first variant, (2, series)."""
        scale = [_per_speed(self.series[index]) for index in some]
        flown: Array = paths.airspeeds[:, : some.size] * np.array(scale)
        return flown


def _allowed(series: Series) -> float:
    """Estimated error of a place, m, that matters little beside what was measured."""
    speeds, times, drops = (item.uncertainty for item in series.readings)
    places = (_PER_SPEED * speeds, _PER_TIME * times, drops, series.track.uncertainty)
    least = SHARE * min(float(item.min()) for item in places if item.size)
    return min(max(POOR, least), COARSEST)


def _any_of(rough: Mask, some: Lanes) -> Mask:
    """Whether a series is rough for any of the variants."""
    found: Mask = np.asarray(rough.reshape(-1, some.size).any(axis=0))
    return found


def _planes(series: Series) -> Array:
    """The planes of its rows: speeds, times, drops."""
    return np.concatenate([item.distance for item in series.readings])


def _spans(sizes: Sequence[int]) -> Iterator[tuple[int, int]]:
    """First and last position of neighbours of these sizes."""
    ends = np.cumsum(sizes).tolist()
    return zip([0, *ends[:-1]], ends, strict=True)


def _repeated(sizes: Sequence[int], variants: int) -> Lanes:
    """The lane of each reading: as many for each series as it has, for each variant."""
    return np.repeat(np.arange(len(sizes) * variants), np.tile(sizes, variants))


def _per_speed(series: Series) -> float:
    """Reynolds number on the shaft diameter per airspeed, s/m."""
    air, diameter = series.shot.air, series.shot.arrow.shaft_diameter
    return float(air.density * diameter / air.viscosity)
