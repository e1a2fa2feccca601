"""Gravity: the standard value, and normal gravity by latitude and height."""

from typing import Any

import numpy as np

from arrowloft.core.arrays import Real

STANDARD = 9.80665
"""Standard acceleration of free fall, m/s2 (3rd CGPM, 1901): where no latitude is given."""

# World Geodetic System 1984, as tabulated in NIMA TR8350.2, 3rd edition.
_EQUATOR = 9.7803253359  # normal gravity there, m/s2
_SOMIGLIANA = 0.00193185265241  # k = b gamma_pole / (a gamma_equator) - 1
_ECCENTRICITY_SQUARED = 0.00669437999013
_SEMI_MAJOR_AXIS = 6_378_137.0  # m
_FLATTENING = 1 / 298.257223563
_ROTATION = 0.00344978650684  # m = omega^2 a^2 b / GM

_POLE = np.pi / 2 + 1e-9  # rad; a pole converted from degrees still counts as one


def normal_gravity(latitude: Real, height: Real = 0.0) -> Real:
    """Give normal gravity, m/s2, at a geodetic latitude in rad and a height in m.

    On the ellipsoid, with s = sin(latitude): g0 = 9.7803253359 (1 + k s^2) / sqrt(1 - e^2 s^2);
    at a height: g = g0 (1 - 2 (1 + f + m - 2 f s^2) h / a + 3 (h / a)^2). Within 1.1e-7
    m/s2 a km of height of the exact field, up to 11 km. Any shapes that broadcast. ValueError for a
    latitude beyond the poles (degrees given for radians), or a height that is not finite.

    Source: World Geodetic System 1984, NIMA TR8350.2, 3rd edition, equations 4-1 and 4-3.
    """
    if not _holds((latitude >= -_POLE) & (latitude <= _POLE)):
        raise ValueError("the latitude must lie between -pi/2 and pi/2")
    if not _holds((height > -np.inf) & (height < np.inf)):
        raise ValueError("the height must be finite")
    squared_sine = _plain(np.sin(latitude)) ** 2
    root = _plain(np.sqrt(1 - _ECCENTRICITY_SQUARED * squared_sine))
    surface = _EQUATOR * (1 + _SOMIGLIANA * squared_sine) / root
    ratio = height / _SEMI_MAJOR_AXIS
    slope = 2 * (1 + _FLATTENING + _ROTATION - 2 * _FLATTENING * squared_sine)
    return surface * (1 - slope * ratio + 3 * ratio**2)


def _holds(condition: Any) -> bool:
    """Whether it holds in every lane; np.all takes microseconds even over one Python bool."""
    return condition if isinstance(condition, bool) else bool(np.all(condition))


def _plain(value: Any) -> Real:
    """A NumPy scalar as a float, whose arithmetic takes a third of the time; arrays as given."""
    return value if isinstance(value, np.ndarray) else float(value)
