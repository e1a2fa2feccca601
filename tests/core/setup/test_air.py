"""Air against closed forms, identities and published tables."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.core.setup import air as subject

MMHG = 133.322387415  # Pa, conventional
temperatures = st.floats(250.0, 320.0)
pressures = st.floats(60_000.0, 110_000.0)
humidities = st.floats(0.0, 1.0)


# Standard atmosphere


# Published: Mechanical Engineers' Handbook vol. 4, Table 6 (U.S. Standard Atmosphere):
# altitude m, temperature K, pressure bar, density kg/m3, speed of sound m/s, as printed.
TABLE = [
    (0.0, 288.15, 1.0133, 1.2250, 340.3),
    (1000.0, 281.65, 0.8988, 1.1117, 336.4),
    (2000.0, 275.15, 0.7950, 1.0066, 332.5),
    (3000.0, 268.66, 0.7012, 0.9093, 328.6),
]


@pytest.mark.parametrize(("altitude", "kelvin", "bar", "density", "sound"), TABLE)
def test_standard_atmosphere_is_the_published_table(altitude, kelvin, bar, density, sound):
    temperature, pressure = subject.standard_atmosphere(altitude)
    assert temperature == pytest.approx(kelvin, abs=0.0051)
    assert pressure == pytest.approx(bar * 1e5, abs=5.1)
    assert subject.speed_of_sound(temperature) == pytest.approx(sound, abs=0.051)
    # The table's density is the ideal gas's; 287.05287 J/(kg K) is published in ISO 2533.
    assert pressure / (287.05287 * temperature) == pytest.approx(density, abs=0.000051)


@given(st.floats(-400.0, 10_900.0))
def test_standard_atmosphere_is_in_hydrostatic_balance(altitude):
    """dp = -rho g dz, gravity falling with the square of the distance to the centre."""
    step = 1.0
    _, below = subject.standard_atmosphere(altitude - step)
    temperature, pressure = subject.standard_atmosphere(altitude)
    _, above = subject.standard_atmosphere(altitude + step)
    gravity = 9.80665 * (6_356_766.0 / (6_356_766.0 + altitude)) ** 2
    density = pressure / (287.05287 * temperature)
    assert (above - below) / (2 * step) == pytest.approx(-density * gravity, rel=1e-6)


def test_standard_atmosphere_lapses_with_geopotential_not_geometric_altitude():
    # 11 km geopotential is 11019 m geometric (published, ISO 2533): 216.65 K there, so
    # 11 km geometric is warmer by 0.0065 K/m times the 19 m between them.
    temperature, _ = subject.standard_atmosphere(11_000.0)
    assert temperature == pytest.approx(216.65 + 0.0065 * 18.99, abs=1e-3)


@pytest.mark.parametrize("altitude", [-500.1, 11_000.1, np.nan, np.inf, np.array([0.0, 2e4])])
def test_standard_atmosphere_refuses_what_lies_outside(altitude):
    with pytest.raises(ValueError, match="altitude"):
        subject.standard_atmosphere(altitude)


@pytest.mark.parametrize("altitude", [-500.0, 11_000.0])
def test_standard_atmosphere_includes_its_bounds(altitude):
    assert np.all(np.isfinite(subject.standard_atmosphere(altitude)))


# Density


def test_density_is_the_published_value_of_a_mass_laboratory():
    # Published, as quoted in Gupta, Mass Metrology: 10 degC, 730 mmHg, 40 %.
    density = subject.moist_air_density(283.15, 730 * MMHG, 0.40)
    assert density == pytest.approx(1.19569, abs=0.0000051)


@pytest.mark.parametrize(
    ("kelvin", "pascal", "humidity", "density"),
    [
        # Computed from the formula by hand, no published evidence: guard against slips.
        (293.15, 101_325.0, 0.5, 1.199314),
        (288.15, 101_325.0, 0.0, 1.225521),
    ],
)
def test_density_is_the_formula_worked_apart(kelvin, pascal, humidity, density):
    found = subject.moist_air_density(kelvin, pascal, humidity)
    assert found == pytest.approx(density, abs=5.1e-7)


@given(temperatures, pressures)
def test_dry_air_is_an_ideal_gas_to_a_thousandth(temperature, pressure):
    # 28.96546 g/mol is published in CIPM-2007, the gas constant in CODATA 2006.
    ideal = pressure * 28.96546e-3 / (8.314472 * temperature)
    assert subject.moist_air_density(temperature, pressure, 0.0) == pytest.approx(ideal, rel=1.1e-3)


@given(temperatures)
def test_thin_dry_air_is_an_ideal_gas(temperature):
    ideal = 1.0 * 28.96546e-3 / (8.314472 * temperature)
    assert subject.moist_air_density(temperature, 1.0, 0.0) == pytest.approx(ideal, rel=1e-7)


@pytest.mark.parametrize(
    ("celsius", "saturation"),
    # Saturation vapour pressure of water, Pa, rounded as in steam tables: from memory.
    [(0.01, 611.7), (10.0, 1228.0), (20.0, 2339.0), (30.0, 4247.0), (40.0, 7385.0)],
)
def test_vapour_lightens_air_as_a_mixture_of_ideal_gases(celsius, saturation):
    """Dalton's law: each pascal of vapour takes the place of one of dry air."""
    temperature, pressure = celsius + 273.15, 101_325.0
    dry = subject.moist_air_density(temperature, pressure, 0.0)
    moist = subject.moist_air_density(temperature, pressure, 1.0)
    lost = saturation * (28.96546e-3 - 18.01528e-3) / (8.314472 * temperature)
    assert dry - moist == pytest.approx(lost, rel=0.012)  # real gas: up to 1 % more vapour


@given(temperatures, pressures, humidities)
def test_density_moves_the_right_way(temperature, pressure, humidity):
    density = subject.moist_air_density(temperature, pressure, humidity)
    assert density > 0.0
    assert subject.moist_air_density(temperature + 1.0, pressure, humidity) < density
    assert subject.moist_air_density(temperature, pressure + 100.0, humidity) > density
    assert subject.moist_air_density(temperature, pressure, humidity / 2) >= density


@pytest.mark.parametrize(
    "state",
    [
        (0.0, 1e5, 0.5),
        (-5.0, 1e5, 0.5),
        (np.nan, 1e5, 0.5),
        (np.inf, 1e5, 0.5),
        (290.0, 0.0, 0.5),
        (290.0, -1.0, 0.5),
        (290.0, np.nan, 0.5),
        (290.0, np.inf, 0.5),
        (290.0, 1e5, -0.01),
        (290.0, 1e5, 1.01),
        (290.0, 1e5, np.nan),
        (290.0, np.array([1e5, 0.0]), 0.5),
    ],
)
def test_density_refuses_states_that_are_no_air(state):
    with pytest.raises(ValueError, match="must"):
        subject.moist_air_density(*state)


def test_density_refuses_more_vapour_than_the_pressure_holds():
    # Water boils at about 76 degC under 400 hPa (steam tables, from memory).
    assert subject.moist_air_density(348.0, 4e4, 1.0) > 0.0
    with pytest.raises(ValueError, match="below the vapour pressure"):
        subject.moist_air_density(350.0, 4e4, 1.0)


# Viscosity and sound


def test_viscosity_is_the_published_value_at_sea_level():
    # Published: U.S. Standard Atmosphere, 1976, sea level, 1.7894e-5 Pa s.
    assert subject.viscosity(288.15) == pytest.approx(1.7894e-5, abs=5.1e-10)
    # Computed from the law, no published evidence: one digit more.
    assert subject.viscosity(288.15) == pytest.approx(1.78938e-5, abs=5.1e-11)


@given(temperatures)
def test_viscosity_follows_sutherland_s_ratio(temperature):
    """mu/mu0 = (T/T0)^(3/2) (T0 + S)/(T + S), the law in its other usual form."""
    ratio = (temperature / 273.15) ** 1.5 * (273.15 + 110.4) / (temperature + 110.4)
    assert subject.viscosity(temperature) / subject.viscosity(273.15) == pytest.approx(ratio)


@given(temperatures)
def test_sound_travels_as_in_an_ideal_gas(temperature):
    assert subject.speed_of_sound(temperature) ** 2 == pytest.approx(
        1.4 * 287.05287 * temperature, rel=1e-6
    )


# The range of the density formula


@pytest.mark.parametrize(
    ("kelvin", "pascal", "beyond"),
    [
        (288.15, 101_325.0, False),
        (300.15, 110_000.0, False),
        (288.15, 60_000.0, False),
        ((59.0 + 459.67) * 5 / 9, 101_325.0, False),  # 15 degC by way of Fahrenheit
        (288.14, 101_325.0, True),
        (300.16, 101_325.0, True),
        (293.15, 59_999.0, True),
        (293.15, 110_001.0, True),
        (np.array([290.0, 280.0]), 101_325.0, True),
        (290.0, np.array([9e4, 1e5]), False),
        (np.nan, 101_325.0, True),
    ],
)
def test_the_recommended_range_of_the_density_formula(kelvin, pascal, beyond):
    assert subject.beyond_cipm_range(kelvin, pascal) is beyond


# The air at the archer


def test_air_takes_what_was_measured():
    found, assumed = subject.air(temperature=285.0, pressure=98_500.0, relative_humidity=0.7)
    assert assumed == ()
    assert found.temperature == 285.0
    assert found.pressure == 98_500.0
    assert found.relative_humidity == 0.7
    assert found.density == subject.moist_air_density(285.0, 98_500.0, 0.7)
    assert found.viscosity == subject.viscosity(285.0)
    assert found.speed_of_sound == subject.speed_of_sound(285.0)


def test_air_left_out_is_the_dry_standard_atmosphere_at_the_altitude():
    found, assumed = subject.air(altitude=1000.0)
    assert assumed == ("temperature", "pressure", "relative_humidity")
    assert (found.temperature, found.pressure) == subject.standard_atmosphere(1000.0)
    assert found.relative_humidity == 0.0
    assert found.density == pytest.approx(1.1117, rel=5e-4)  # published table, ideal gas


@pytest.mark.parametrize("name", ["temperature", "pressure", "relative_humidity"])
def test_air_names_the_one_that_was_left_out(name):
    measured = {"temperature": 285.0, "pressure": 98_500.0, "relative_humidity": 0.7}
    measured[name] = None
    found, assumed = subject.air(**measured, altitude=310.0)
    assert assumed == (name,)
    for other in measured.keys() - {name}:
        assert getattr(found, other) == measured[other]


def test_a_humidity_of_zero_is_a_measurement():
    _, assumed = subject.air(temperature=285.0, pressure=98_500.0, relative_humidity=0.0)
    assert assumed == ()


def test_the_altitude_matters_only_where_it_is_needed():
    high = 20_000.0
    subject.air(temperature=285.0, pressure=98_500.0, altitude=high)
    with pytest.raises(ValueError, match="altitude"):
        subject.air(temperature=285.0, altitude=high)


def test_lanes_broadcast():
    temperature = np.linspace(280.0, 300.0, 4)
    pressure = np.linspace(9e4, 1e5, 3)[:, None]
    found, _ = subject.air(temperature=temperature, pressure=pressure, relative_humidity=0.3)
    assert found.density.shape == (3, 4)
    assert found.viscosity.shape == found.speed_of_sound.shape == (4,)
    one = subject.moist_air_density(float(temperature[2]), float(pressure[1, 0]), 0.3)
    assert found.density[1, 2] == pytest.approx(one, rel=1e-15)
    lanes, _ = subject.air(altitude=np.array([0.0, 500.0]))
    assert lanes.density.shape == lanes.pressure.shape == (2,)
