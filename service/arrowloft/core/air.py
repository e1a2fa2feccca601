"""Air: density, viscosity and speed of sound from temperature, pressure and humidity."""

from dataclasses import dataclass

from arrowloft.core.arrays import Real


@dataclass(frozen=True)
class Air:
    """Still air at the archer: K, Pa, 0..1; kg/m3, Pa s, m/s."""

    temperature: Real
    pressure: Real
    relative_humidity: Real
    density: Real
    viscosity: Real
    speed_of_sound: Real
