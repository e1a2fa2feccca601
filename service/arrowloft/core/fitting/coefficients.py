"""Drag coefficients of fitted models over the Reynolds numbers flown, comparable at last."""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.fitting.fit import Fit
from arrowloft.core.fitting.variants import Family
from arrowloft.core.fitting.whitened import FINE_STEP, Unknowns
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import DragLaw, Flow, cross_section


@dataclass(frozen=True)
class Coefficients:
    """Cd on the shaft cross-section pi d^2 / 4; arrays (points,).

    reynolds: on the shaft diameter.  uncertainty: standard, by the fit's covariance; NaN
    where an unknown that counts is at a bound.
    """

    reynolds: Array
    coefficient: Array
    uncertainty: Array


def coefficients(
    fit: Fit, family: Family, unknowns: Unknowns, arrow: Arrow, air: Air, reynolds: Array
) -> Coefficients:
    """Cd of a fitted law for an arrow in an air, u^2 = g^T C g with g = dCd/dx."""
    step = FINE_STEP * unknowns.scale
    up = np.minimum(fit.values + step, unknowns.high)
    down = np.maximum(fit.values - step, unknowns.low)
    count = fit.values.size
    points = np.repeat(fit.values[:, None], 2 * count + 1, axis=1)
    each = np.arange(count)
    points[each, 1 + each], points[each, 1 + count + each] = up, down
    variants = family(points)
    laws = [variants.laws[index] for index in variants.which]
    value = _of_law(laws[0], arrow, air, reynolds)
    ups = [_of_law(law, arrow, air, reynolds) for law in laws[1 : 1 + count]]
    downs = [_of_law(law, arrow, air, reynolds) for law in laws[1 + count :]]
    slopes = np.zeros((count, reynolds.size))
    for index, (high, low) in enumerate(zip(ups, downs, strict=True)):
        sound = variants.sound[[1 + index, 1 + count + index]]
        ends = np.where(sound, (up[index], down[index]), fit.values[index])
        above, below = high if sound[0] else value, low if sound[1] else value
        if ends[0] > ends[1]:
            slopes[index] = (above - below) / (ends[0] - ends[1])
    counts = slopes.any(axis=1)
    slopes, inner = slopes[counts], fit.covariance[np.ix_(counts, counts)]
    square = np.einsum("up,uv,vp->p", slopes, inner, slopes)
    return Coefficients(reynolds, value, np.sqrt(np.maximum(square, 0.0)))


def _of_law(law: DragLaw, arrow: Arrow, air: Air, reynolds: Array) -> Array:
    airspeed = reynolds * air.viscosity / (air.density * arrow.shaft_diameter)
    flow = Flow(airspeed, air.density, air.viscosity, air.speed_of_sound)
    found: Array = law(flow, arrow) / cross_section(arrow)
    return found
