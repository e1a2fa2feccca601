"""The standard atmosphere against two libraries written by others: fluids and ambiance."""

import numpy as np
import pytest
from ambiance import Atmosphere
from fluids.atmosphere import ATMOSPHERE_1976

from arrowloft.core.setup import air as subject

ALTITUDES = [-500.0, -100.0, 0.0, 310.0, 1000.0, 2500.0, 5000.0, 8848.0, 11_000.0]


@pytest.mark.parametrize("altitude", ALTITUDES)
def test_fluids_gives_the_same_standard_atmosphere(altitude):
    """fluids: U.S. Standard Atmosphere, 1976, with the same constants."""
    other = ATMOSPHERE_1976(altitude)
    temperature, pressure = subject.standard_atmosphere(altitude)
    assert temperature == pytest.approx(other.T, rel=1e-14)
    assert pressure == pytest.approx(other.P, rel=1e-13)
    assert subject.viscosity(temperature) == pytest.approx(other.mu, rel=1e-14)
    assert subject.speed_of_sound(temperature) == pytest.approx(other.v_sonic, rel=1e-13)


def test_ambiance_gives_the_same_standard_atmosphere():
    """ambiance: ICAO Doc 7488, the atmosphere of ISO 2533, whose rounded gas constant differs."""
    altitudes = np.array(ALTITUDES)
    other = Atmosphere(altitudes)
    temperature, pressure = subject.standard_atmosphere(altitudes)
    np.testing.assert_allclose(temperature, other.temperature, rtol=1e-12)
    np.testing.assert_allclose(pressure, other.pressure, rtol=2e-6)
    np.testing.assert_allclose(subject.viscosity(temperature), other.dynamic_viscosity, rtol=1e-12)
    np.testing.assert_allclose(subject.speed_of_sound(temperature), other.speed_of_sound, rtol=1e-6)


@pytest.mark.parametrize("altitude", ALTITUDES)
def test_dry_density_is_near_the_ideal_gas_s(altitude):
    """CIPM-2007 is a real gas with 400 ppm of carbon dioxide: 2e-4 to 5e-4 denser."""
    found, _ = subject.air(altitude=altitude)
    excess = found.density / ATMOSPHERE_1976(altitude).rho - 1.0
    assert 2e-4 < excess < 5e-4
