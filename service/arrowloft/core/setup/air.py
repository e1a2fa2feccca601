"""Air: density, viscosity and speed of sound from temperature, pressure and humidity."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from arrowloft.core.arrays import Real

LOWEST_ALTITUDE, HIGHEST_ALTITUDE = -500.0, 11_000.0
"""Bounds of `standard_atmosphere`, m: its lowest layer, whose lapse rate is constant."""

CIPM_PRESSURE = (60_000.0, 110_000.0)
"""Pressures for which the CIPM-2007 formula is recommended, Pa."""

CIPM_TEMPERATURE = (288.15, 300.15)
"""Temperatures for which the CIPM-2007 formula is recommended, K: 15 to 27 degC."""

_ROUNDING = 1e-9  # relative; a bound that was converted from other units still counts as inside
_ICE_POINT = 273.15  # K

# Standard atmosphere (ISO 2533:1975, US Standard Atmosphere 1976): sea level and lowest layer.
_SEA_LEVEL_TEMPERATURE = 288.15  # K
_SEA_LEVEL_PRESSURE = 101_325.0  # Pa
_LAPSE = 0.0065  # K per geopotential metre
_EARTH_RADIUS = 6_356_766.0  # m, of the geopotential
_STANDARD_GRAVITY = 9.80665  # m/s2
_GAS_CONSTANT = 8.31432 / 0.0289644  # J/(kg K), of dry air, with the 1976 constants
_GAMMA = 1.4  # ratio of specific heats of dry air


@dataclass(frozen=True)
class Air:
    """Still air at the archer: K, Pa, 0..1; kg/m3, Pa s, m/s."""

    temperature: Real
    pressure: Real
    relative_humidity: Real
    density: Real
    viscosity: Real
    speed_of_sound: Real


def standard_atmosphere(altitude: Real) -> tuple[Real, Real]:
    """Temperature (K) and pressure (Pa) of the standard atmosphere at an altitude in m.

    H = r z / (r + z),  T = 288.15 - 0.0065 H,  p = 101325 (T / 288.15)^(g0 / (0.0065 R)):
    z geometric and H geopotential altitude, r 6356766 m, R the gas constant of dry air.
    Any shape; ValueError outside -500 m to 11 km.

    Source: U.S. Standard Atmosphere, 1976; ISO 2533:1975 agrees to a millionth (it takes the
    molar mass of air as 28.96442 g/mol, not 28.9644).
    """
    _require(
        (altitude >= LOWEST_ALTITUDE) & (altitude <= HIGHEST_ALTITUDE),
        "the standard atmosphere is used from -500 m to 11000 m of altitude",
    )
    geopotential = _EARTH_RADIUS * altitude / (_EARTH_RADIUS + altitude)
    temperature = _SEA_LEVEL_TEMPERATURE - _LAPSE * geopotential
    exponent = _STANDARD_GRAVITY / (_LAPSE * _GAS_CONSTANT)
    return temperature, _SEA_LEVEL_PRESSURE * (temperature / _SEA_LEVEL_TEMPERATURE) ** exponent


def moist_air_density(temperature: Real, pressure: Real, relative_humidity: Real) -> Real:
    """Density of moist air, kg/m3, from K, Pa and 0..1 (over water, below freezing too).

    rho = p Ma / (Z R T) (1 - x (1 - Mv/Ma)): Ma and Mv the molar masses of dry air with
    400 ppm of carbon dioxide and of water, x the mole fraction of vapour, Z the
    compressibility. Any shapes that broadcast. ValueError for a temperature or pressure
    that is not positive and finite, a humidity outside 0..1, or more vapour than the
    pressure can hold. See `beyond_cipm_range` for where the formula is recommended.

    Source: CIPM-2007, Picard, Davis, Glaeser and Fujii, Metrologia 45 (2008) 149-155,
    doi 10.1088/0026-1394/45/2/004.
    """
    _require_state(temperature, pressure, relative_humidity)
    vapour = _vapour_fraction(temperature, pressure, relative_humidity)
    _require(vapour <= 1.0, "the pressure is below the vapour pressure: raise it or lower humidity")
    compressibility = _compressibility(temperature, pressure, vapour)
    dry = pressure * 28.96546e-3 / (compressibility * 8.314472 * temperature)
    return dry * (1.0 - vapour * (1.0 - 18.01528 / 28.96546))


def viscosity(temperature: Real) -> Real:
    """Dynamic viscosity of air, Pa s, from K: mu = 1.458e-6 T^1.5 / (T + 110.4).

    Any shape. Humidity is left out: saturated air at 20 degC is about 1 % less viscous
    (Wilke's mixing rule), which moves a drag coefficient by far less than it is known.
    Source: Sutherland's law with the constants of the U.S. Standard Atmosphere, 1976.
    """
    return 1.458e-6 * temperature**1.5 / (temperature + 110.4)


def speed_of_sound(temperature: Real) -> Real:
    """Speed of sound in dry air taken as an ideal gas, m/s, from K: a = sqrt(1.4 R T).

    Any shape. Chosen over a humid form because the standard atmosphere's tables are
    defined by it and because an arrow flies below Mach 0.4, where the 1 % or less that
    humidity adds has no effect on drag that could be measured.
    Source: U.S. Standard Atmosphere, 1976.
    """
    return _plain(np.sqrt(_GAMMA * _GAS_CONSTANT * temperature))


def beyond_cipm_range(temperature: Real, pressure: Real) -> bool:
    """Whether any lane is outside 600..1100 hPa or 15..27 degC, the range of CIPM-2007.

    Outside, the formula still holds to about 1e-4 (an estimate), instead of 2.2e-5.
    """
    return not (_within(temperature, CIPM_TEMPERATURE) and _within(pressure, CIPM_PRESSURE))


def air(
    *,
    temperature: Real | None = None,
    pressure: Real | None = None,
    relative_humidity: Real | None = None,
    altitude: Real = 0.0,
) -> tuple[Air, tuple[str, ...]]:
    """Give the air from what was measured, and the names of what had to be assumed.

    temperature K; pressure Pa, as a barometer at the site shows it (not reduced to sea
    level); relative_humidity 0..1; altitude m. A temperature or pressure left out comes
    from `standard_atmosphere` at the altitude, a humidity left out is 0, as there. Any
    shapes that broadcast; ValueError as in `standard_atmosphere` (only where it is
    needed) and `moist_air_density`.
    """
    given = {
        "temperature": temperature,
        "pressure": pressure,
        "relative_humidity": relative_humidity,
    }
    assumed = tuple(name for name, value in given.items() if value is None)
    if temperature is None or pressure is None:
        standard_temperature, standard_pressure = standard_atmosphere(altitude)
        temperature = standard_temperature if temperature is None else temperature
        pressure = standard_pressure if pressure is None else pressure
    if relative_humidity is None:
        relative_humidity = 0.0
    state = Air(
        temperature=temperature,
        pressure=pressure,
        relative_humidity=relative_humidity,
        density=moist_air_density(temperature, pressure, relative_humidity),
        viscosity=viscosity(temperature),
        speed_of_sound=speed_of_sound(temperature),
    )
    return state, assumed


def _vapour_fraction(temperature: Real, pressure: Real, relative_humidity: Real) -> Real:
    """Mole fraction of water vapour (CIPM-2007, A1.1 and A1.2)."""
    celsius = temperature - _ICE_POINT
    saturation = _plain(
        np.exp(
            1.2378847e-5 * temperature**2
            - 1.9121316e-2 * temperature
            + 33.93711047
            - 6.3431645e3 / temperature
        )
    )
    enhancement = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * celsius**2
    return relative_humidity * enhancement * saturation / pressure


def _compressibility(temperature: Real, pressure: Real, vapour: Real) -> Real:
    """Compressibility factor Z of moist air (CIPM-2007, A1.4)."""
    celsius = temperature - _ICE_POINT
    first = (
        1.58123e-6
        - 2.9331e-8 * celsius
        + 1.1043e-10 * celsius**2
        + (5.707e-6 - 2.051e-8 * celsius) * vapour
        + (1.9898e-4 - 2.376e-6 * celsius) * vapour**2
    )
    second = 1.83e-11 - 0.765e-8 * vapour**2
    ratio = pressure / temperature
    return 1.0 - ratio * first + ratio**2 * second


def _require_state(temperature: Real, pressure: Real, relative_humidity: Real) -> None:
    _require((temperature > 0.0) & (temperature < np.inf), "the temperature must be positive")
    _require((pressure > 0.0) & (pressure < np.inf), "the pressure must be positive")
    _require(
        (relative_humidity >= 0.0) & (relative_humidity <= 1.0),
        "the relative humidity must lie between 0 and 1",
    )


def _require(condition: Any, message: str) -> None:
    """Raise unless the condition holds in every lane; a NaN never holds."""
    if not _holds(condition):
        raise ValueError(message)


def _holds(condition: Any) -> bool:
    """Whether it holds in every lane; np.all takes microseconds even over one Python bool."""
    return condition if isinstance(condition, bool) else bool(np.all(condition))


def _plain(value: Any) -> Real:
    """A NumPy scalar as a float, whose arithmetic takes a third of the time; arrays as given."""
    return value if isinstance(value, np.ndarray) else float(value)


def _within(values: Real, bounds: tuple[float, float]) -> bool:
    low, high = bounds
    return _holds((values >= low * (1.0 - _ROUNDING)) & (values <= high * (1.0 + _ROUNDING)))
