"""What a picture of fits shows: residuals, and drag coefficients with their uncertainty (SI)."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Lanes
from arrowloft.core.fitting.coefficients import Coefficients
from arrowloft.core.fitting.series import KINDS, Series


@dataclass(frozen=True, kw_only=True)
class Rows:
    """What was measured, as places on an axis; arrays (rows,).

    kind: position in `KINDS`.  series: position of its series.
    distance: m; of a tracked position, where it was seen.  time: s; NaN but for those.
    """

    kind: Lanes
    series: Lanes
    distance: Array
    time: Array


@dataclass(frozen=True, kw_only=True)
class Fitted:
    """One model as fitted.

    residuals: what was seen less what is foretold, in standard uncertainties, (rows,).
    unknowns: how many were found.  chi_square, degrees, weight: as in `Likelihood`, `Ranking`.
    drag: its coefficients over the Reynolds numbers flown by any of the models.
    """

    label: str
    residuals: Array
    unknowns: int
    chi_square: float
    degrees: int
    weight: float
    drag: Coefficients


@dataclass(frozen=True, kw_only=True)
class Scene:
    """All that is drawn.

    fitted: the models, the best first.  failed: labels of those that could not be fitted.
    names: of the series, where they have any.
    """

    rows: Rows
    fitted: tuple[Fitted, ...]
    failed: tuple[str, ...]
    names: tuple[str | None, ...]


def rows_of(series: Sequence[Series]) -> Rows:
    """The rows of several series, in the order of `Predictions`."""
    kinds, owners, distances, times = [], [], [], []
    for index, item in enumerate(series):
        counts, track = item.counts(), item.track
        kinds.append(np.repeat(np.arange(len(KINDS)), counts))
        owners.append(np.full(sum(counts), index))
        seen = np.isfinite(track.right)
        planes = [one.distance for one in item.readings]
        distances += [*planes, track.distance, track.distance, track.distance[seen]]
        nowhen = np.full(sum(counts[:3]), np.nan)
        times += [nowhen, track.time, track.time, track.time[seen]]
    return Rows(
        kind=np.concatenate(kinds),
        series=np.concatenate(owners),
        distance=np.concatenate(distances),
        time=np.concatenate(times),
    )
