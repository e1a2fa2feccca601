"""Stored energy with virtual mass or efficiency: identities and limits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.plugin import Air, Arrow, Bow, LaunchCase, ParameterError
from arrowloft_models.launch.energy import Energy

GRAIN, FPS = 64.79891e-6, 0.3048
AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.78938e-5, 340.294)
masses = st.floats(0.01, 0.06)
virtual_masses = st.floats(0.0, 0.05)
energies = st.floats(10.0, 200.0)


def shoot(model, mass):
    arrow = Arrow(mass=mass, shaft_diameter=0.0059)
    return model.launch_speed(LaunchCase(Bow(peep_height=0.115), arrow, AIR, lambda f, a: 0))


@given(energies, masses, virtual_masses)
def test_energy_goes_to_arrow_and_virtual_mass(energy, mass, virtual):
    speed = shoot(Energy(stored_energy=energy, virtual_mass=virtual), mass).speed
    assert mass * speed**2 / 2 + virtual * speed**2 / 2 == pytest.approx(energy, rel=1e-13)


@given(energies, masses, st.floats(0.05, 1.0))
def test_efficiency_is_the_arrows_share(energy, mass, efficiency):
    result = shoot(Energy(stored_energy=energy, efficiency=efficiency), mass)
    assert mass * result.speed**2 / 2 == pytest.approx(efficiency * energy, rel=1e-13)
    assert result.figures["kinetic_energy"][0] == pytest.approx(efficiency * energy, rel=1e-13)


@given(energies, masses, virtual_masses)
def test_virtual_mass_and_its_efficiency_agree(energy, mass, virtual):
    by_mass = shoot(Energy(stored_energy=energy, virtual_mass=virtual), mass)
    efficiency = by_mass.figures["efficiency"][0]
    by_efficiency = shoot(Energy(stored_energy=energy, efficiency=efficiency), mass)
    assert efficiency == pytest.approx(mass / (mass + virtual), rel=1e-13)
    assert by_efficiency.speed == pytest.approx(by_mass.speed, rel=1e-13)
    assert by_efficiency.figures["virtual_mass"][0] == pytest.approx(virtual, abs=1e-16)


def test_400_grains_at_300_feet_per_second():
    """108.36028 J (computed from the exact units), all of it in the arrow where M = 0."""
    result = shoot(Energy(stored_energy=108.36028, virtual_mass=0.0), 400 * GRAIN)
    assert result.speed / FPS == pytest.approx(300.0, abs=1e-5)
    assert result.figures["efficiency"] == (1.0, "number")


def test_slope_over_the_arrows_mass():
    """dv/dm = -v / (2 (m + M)) (derived)."""
    model = Energy(stored_energy=105.0, virtual_mass=0.0052)
    mass, step = 0.0273, 1e-6
    low, here, high = shoot(model, mass + step * np.array([-1.0, 0.0, 1.0])).speed
    assert (high - low) / (2 * step) == pytest.approx(-here / (2 * (mass + 0.0052)), rel=1e-7)


def test_uncertainty_is_the_spread_of_many_draws():
    rng = np.random.default_rng(20)
    model = Energy(stored_energy=105.0, virtual_mass=0.006, virtual_mass_uncertainty=0.1)
    energy = rng.normal(105.0, 0.02 * 105.0, 200_000)
    virtual = rng.normal(0.006, 0.0006, 200_000)
    drawn = np.sqrt(2 * energy / (0.0273 + virtual))
    assert shoot(model, 0.0273).standard_uncertainty == pytest.approx(drawn.std(), rel=0.02)


def test_uncertainty_with_efficiency():
    # (u/v)^2 = ((0.02)^2 + (0.04 / 0.8)^2) / 4
    model = Energy(stored_energy=105.0, efficiency=0.8, efficiency_uncertainty=0.04)
    result = shoot(model, 0.0273)
    share = result.standard_uncertainty / result.speed
    assert share == pytest.approx((0.02**2 + 0.05**2) ** 0.5 / 2, rel=1e-12)
    assert [note.code for note in result.notes] == ["launch-efficiency-one-mass"]


@pytest.mark.parametrize("parameters", [{}, {"virtual_mass": 0.005, "efficiency": 0.8}])
def test_exactly_one_of_virtual_mass_and_efficiency(parameters):
    with pytest.raises(ParameterError, match="exactly one"):
        Energy(stored_energy=105.0, **parameters)
