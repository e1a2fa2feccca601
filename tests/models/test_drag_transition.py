"""The blend of a laminar and a turbulent drag coefficient."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.polynomial import chebyshev

from arrowloft.plugin import Arrow, Flow, ParameterError
from arrowloft_models.drag.transition import Transition

DIAMETER = 0.0052
ARROW = Arrow(mass=0.02, shaft_diameter=DIAMETER)
CROSS_SECTION = np.pi / 4.0 * DIAMETER**2
VISCOSITY = 1.8e-5


def flow_at(reynolds):
    """Flow with these Reynolds numbers on the shaft diameter, density 1."""
    return Flow(np.asarray(reynolds, dtype=float) * VISCOSITY / DIAMETER, 1.0, VISCOSITY, 340.0)


def coefficient(model, reynolds):
    return model.drag_area(flow_at(reynolds), ARROW) / CROSS_SECTION


def test_defaults_are_the_published_coefficients():
    """Published: Miyazaki, KAKEN 18K03943, 2020: 1.3 laminar, 2.6 turbulent."""
    below, above = coefficient(Transition(), [5.0e3, 6.0e4])
    assert below == pytest.approx(1.3, abs=1e-9)
    assert above == pytest.approx(2.6, abs=1e-9)


def test_uncertainty_reaches_the_tunnel_and_both_layers():
    """Published: Ortiz et al. 2020, Cd 1.56 at 1.2e4 with small vanes: within one deviation.

    In the middle of the band two deviations hold both coefficients.
    """
    model = Transition()
    share = model.relative_uncertainty()
    start, middle = coefficient(model, [1.2e4, np.sqrt(1.2e4 * 2.0e4)])
    assert abs(1.56 - start) < share * start
    assert middle * (1.0 - 2.0 * share) < model.laminar
    assert middle * (1.0 + 2.0 * share) > model.turbulent


def test_thick_fast_shaft_is_turbulent():
    """Derived: 6 mm at 85 m/s has Reynolds number 3.5e4, past the band."""
    assert coefficient(Transition(), [3.5e4])[0] == pytest.approx(2.6, abs=1e-6)


coefficients = st.tuples(st.floats(0.0, 5.0), st.floats(0.1, 5.0)).map(sorted)
bands = st.tuples(st.floats(1.0e3, 5.0e4), st.floats(1.05, 5.0)).map(
    lambda pair: (pair[0], pair[0] * pair[1])
)


@given(coefficients, bands)
def test_symmetric_about_the_middle_of_the_band(pair, band):
    """Identity: Phi(-s) = 1 - Phi(s), the middle taken in ln Re."""
    model = Transition(laminar=pair[0], turbulent=pair[1], band_low=band[0], band_high=band[1])
    middle = np.sqrt(band[0] * band[1])
    ratio = np.geomspace(1.0, 1.5, 11)
    sums = coefficient(model, middle * ratio) + coefficient(model, middle / ratio)
    np.testing.assert_allclose(sums, pair[0] + pair[1], rtol=1e-9)


@given(coefficients, bands)
def test_rises_from_one_coefficient_to_the_other_within_the_band(pair, band):
    low, high = pair
    model = Transition(laminar=low, turbulent=high, band_low=band[0], band_high=band[1])
    read = coefficient(model, np.geomspace(0.1 * band[0], 10.0 * band[1], 400))
    assert np.all(np.diff(read) >= -1e-12)
    ends = coefficient(model, band)
    # 0.135 %: what a normal distribution has beyond three standard deviations.
    assert ends[0] - low == pytest.approx(0.00135 * (high - low), abs=1e-5)
    assert high - ends[1] == pytest.approx(0.00135 * (high - low), abs=1e-5)


@pytest.mark.parametrize("centre", [1.2e4, 1.55e4, 2.0e4])
def test_smooth_enough_for_a_spectral_solver(centre):
    """A flight slows by a tenth: nine Chebyshev coefficients resolve it at the band's ends too."""
    nodes = np.cos(np.pi * (np.arange(33) + 0.5) / 33)
    read = coefficient(Transition(), centre * (1.0 + 0.06 * nodes))
    series = chebyshev.chebfit(nodes, read, 32)
    assert np.max(np.abs(series[9:])) < 1e-5
    assert np.max(np.abs(series[17:])) < 1e-10


def test_uncertainty_covers_either_layer():
    """Closed form: a uniform distribution has a standard deviation of width / sqrt(12)."""
    assert Transition().relative_uncertainty() == pytest.approx(
        np.hypot(1.3 / np.sqrt(12.0) / 1.95, 0.14)
    )
    assert Transition.default_uncertainty == pytest.approx(
        Transition().relative_uncertainty(), abs=0.005
    )
    same = Transition(laminar=2.0, turbulent=2.0)
    assert same.relative_uncertainty() == pytest.approx(0.14)


@pytest.mark.parametrize(
    ("slowest", "fastest", "touched"),
    [
        (5.0e3, 8.9e3, False),
        (5.0e3, 9.1e3, True),
        (1.1e4, 1.3e4, True),
        (1.4e4, 1.6e4, True),
        (1.1e4, 2.5e4, True),
        (1.9e4, 2.5e4, True),
        (2.4e4, 3.0e4, True),
        (2.6e4, 3.0e4, False),
    ],
)
def test_says_so_where_the_flight_touches_the_band(slowest, fastest, touched):
    notes = Transition().notes(flow_at([slowest, fastest]), ARROW)
    assert [note.code for note in notes] == ["boundary-layer-undecided"] * touched
    if touched:
        assert "1.3 to 2.6" in notes[0].message


def test_a_fast_recurve_arrow_is_undecided():
    """Published: 1.3 and 2.6 both stand at "about" 2e4; 5.5 mm at 57 m/s flies at 2.1e4."""
    arrow = Arrow(mass=0.02, shaft_diameter=0.0055)
    flown = Flow(np.array([55.0, 57.0]), 1.225, 1.789e-5, 340.0)
    assert flown.reynolds(0.0055)[0] > 2.05e4
    assert Transition().notes(flown, arrow)


def test_one_lane_in_the_band_is_enough_for_the_note():
    diameters = np.array([0.005, 0.012])
    speeds = Flow(np.array([[50.0], [60.0]]) * np.ones(2), 1.2, VISCOSITY, 340.0)
    thick = Arrow(mass=0.02, shaft_diameter=np.array([0.012, 0.012]))
    assert not Transition().notes(speeds, thick)
    assert Transition().notes(speeds, Arrow(mass=0.02, shaft_diameter=diameters))


@pytest.mark.parametrize(
    ("values", "at_fault"),
    [
        ({"band_low": 2.0e4, "band_high": 2.0e4}, "band_high"),
        ({"band_low": 3.0e4}, "band_high"),
        ({"laminar": 2.7}, "turbulent"),
    ],
)
def test_values_out_of_order_are_refused(values, at_fault):
    with pytest.raises(ParameterError) as caught:
        Transition(**values)
    assert caught.value.parameter == at_fault
