"""Mean, standard deviation and quantiles of samples that lie side by side."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Lanes


@dataclass(frozen=True)
class Summary:
    """What the samples of each point have in common; NaN where too few of them are numbers.

    count: numbers among the samples, (points,).  mean: (points,).
    standard_deviation: with count - 1, (points,).  quantiles: (probabilities, points).
    """

    count: Lanes
    mean: Array
    standard_deviation: Array
    quantiles: Array


def summarised(values: Array, probabilities: Sequence[float]) -> Summary:
    """Summary of values (samples, points), of which NaN are left out.

    Quantiles are linear between the sorted values, the least one being that of
    probability 0 and the greatest that of 1 (type 7 of Hyndman and Fan, Am. Stat. 50 (1996)
    361-365, doi 10.1080/00031305.1996.10473566).
    """
    ordered = np.sort(values, axis=0)  # NaN come last
    count = np.isfinite(ordered).sum(axis=0)
    with np.errstate(all="ignore"):
        mean = np.nansum(ordered, axis=0) / count
        squares = np.nansum((ordered - mean) ** 2, axis=0)
        deviation = np.sqrt(squares / np.where(count > 1, count - 1, np.nan))
    return Summary(count, mean, deviation, _quantiles(ordered, count, probabilities))


def _quantiles(ordered: Array, count: Lanes, probabilities: Sequence[float]) -> Array:
    place = np.asarray(probabilities)[:, None] * (count - 1)  # (probabilities, points)
    below = np.clip(place.astype(np.intp), 0, None)
    above = np.minimum(below + 1, np.maximum(count - 1, 0))
    low = np.take_along_axis(ordered, below, axis=0)
    high = np.take_along_axis(ordered, above, axis=0)
    result: Array = low + (place - below) * (high - low)
    return result
