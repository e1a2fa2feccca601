"""Measured series made with known laws, and families of models to fit to them."""

import numpy as np
from reference_setups import coefficient

from arrowloft.core.fitting.series import Readings, Series, Track
from arrowloft.core.fitting.variants import Variants
from arrowloft.core.fitting.whitened import Unknowns


def readings(distance, value, uncertainty):
    """Readings with one uncertainty for all."""
    distance, value = np.array(distance, dtype=float), np.array(value, dtype=float)
    return Readings(distance=distance, value=value, uncertainty=np.full(value.size, uncertainty))


def track(time, places, uncertainty, *, right=False, of_tip=False):
    """A track of places (3, times); without `right` they were seen from the side only."""
    time = np.array(time, dtype=float)
    aside = places[2] if right else np.full(time.size, np.nan)
    return Track(
        time=time,
        distance=places[0],
        height=places[1],
        right=aside,
        uncertainty=np.full(time.size, uncertainty),
        of_tip=of_tip,
    )


def family(series=1, *, angle=0.0, law=coefficient, accepts=lambda _: True):
    """A family of two unknowns, the law's and the launch speed, common to all series.

    law: value -> drag law.  accepts: whether a value is one the model takes.
    """

    def of(points):
        count = points.shape[1]
        one = np.ones((series, count))
        return Variants(
            laws=tuple(law(value) for value in points[0]),
            kinks=((),) * count,
            which=np.arange(count),
            speed=one * points[1],
            angle=one * angle,
            yaw=0.0 * one,
            clock=0.0 * one,
            sound=np.array([bool(accepts(value)) for value in points[0]]),
        )

    return of


def unknowns(start, *, low=(0.0, 5.0), high=(20.0, 200.0)):
    """Two unknowns, as `family` takes them."""
    start = np.array(start, dtype=float)
    return Unknowns(start=start, low=np.array(low), high=np.array(high), scale=np.abs(start))


__all__ = ["Readings", "Series", "Track", "family", "readings", "track", "unknowns"]
