"""Two arrows: they come back as shot, and a third follows from the same bow."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from arrowloft.plugin import Air, Arrow, Bow, LaunchCase, ParameterError
from arrowloft_models.launch.two_arrow import TwoArrow

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.78938e-5, 340.294)
masses = st.floats(0.012, 0.05)


def shoot(model, mass):
    arrow = Arrow(mass=mass, shaft_diameter=0.0059)
    return model.launch_speed(LaunchCase(Bow(peep_height=0.115), arrow, AIR, lambda f, a: 0))


def bow_speed(energy, virtual, mass):
    return np.sqrt(2 * energy / (mass + virtual))


def from_bow(energy, virtual, first, second, **more):
    return TwoArrow(
        first_mass=first,
        first_speed=float(bow_speed(energy, virtual, first)),
        second_mass=second,
        second_speed=float(bow_speed(energy, virtual, second)),
        **more,
    )


@given(st.floats(20.0, 150.0), st.floats(0.001, 0.03), masses, masses, masses)
def test_a_known_bow_is_found_again(energy, virtual, first, second, third):
    assume(abs(first - second) > 0.002)
    model = from_bow(energy, virtual, first, second)
    result = shoot(model, third)
    assert result.speed == pytest.approx(bow_speed(energy, virtual, third), rel=1e-11)
    assert result.figures["virtual_mass"][0] == pytest.approx(virtual, abs=1e-12)
    assert result.figures["stored_energy"][0] == pytest.approx(energy, rel=1e-10)


def test_the_order_of_the_arrows_does_not_matter():
    one, other = from_bow(105.0, 0.005, 0.023, 0.031), from_bow(105.0, 0.005, 0.031, 0.023)
    assert shoot(one, 0.027).speed == pytest.approx(shoot(other, 0.027).speed, rel=1e-14)
    assert shoot(one, 0.035).standard_uncertainty == pytest.approx(
        shoot(other, 0.035).standard_uncertainty, rel=1e-12
    )


def test_the_arrows_shot_come_back_as_read():
    model = TwoArrow(first_mass=0.0236, first_speed=90.2, second_mass=0.0311, second_speed=80.4)
    result = shoot(model, np.array([0.0236, 0.0311]))
    np.testing.assert_allclose(result.speed, [90.2, 80.4], rtol=1e-14)
    np.testing.assert_allclose(result.standard_uncertainty, 0.3048, rtol=1e-12)


@pytest.mark.parametrize("mass", [0.018, 0.0236, 0.027, 0.04])
def test_uncertainties_are_those_of_a_numeric_jacobian(mass):
    given_ = {
        "first_mass": 0.0236,
        "first_speed": 90.2,
        "second_mass": 0.0311,
        "second_speed": 80.4,
    }
    step, slopes = 1e-4, []
    for name in ("first_speed", "second_speed"):
        pair = [
            shoot(TwoArrow(**{**given_, name: given_[name] + sign * step}), mass)
            for sign in (1, -1)
        ]
        slopes.append(
            [
                (pair[0].speed - pair[1].speed) / (2 * step),
                (pair[0].figures["virtual_mass"][0] - pair[1].figures["virtual_mass"][0])
                / (2 * step),
            ]
        )
    expected_speed, expected_mass = 0.5 * np.hypot(*np.array(slopes))
    result = shoot(TwoArrow(**given_, reading_uncertainty=0.5), mass)
    assert result.standard_uncertainty == pytest.approx(expected_speed, rel=1e-7)
    assert result.figures["virtual_mass_uncertainty"][0] == pytest.approx(expected_mass, rel=1e-6)


def test_no_virtual_mass_is_the_limit_that_is_allowed():
    # All energy in the arrow: m v^2 is the same for both.
    model = TwoArrow(first_mass=0.02, first_speed=100.0, second_mass=0.08, second_speed=50.0)
    assert shoot(model, 0.04).speed == pytest.approx(100 / 2**0.5, rel=1e-14)
    assert model.virtual_mass == 0.0


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        ((0.025, 90.0), (0.025, 85.0), "different mass"),
        ((0.025, 85.0), (0.030, 90.0), "must be the slower"),
        ((0.030, 90.0), (0.025, 85.0), "must be the slower"),
        ((0.025, 90.0), (0.030, 90.0), "must be the slower"),
        ((0.025, 90.0), (0.030, 80.0), "negative virtual mass"),
    ],
)
def test_data_that_fit_no_bow_are_refused_with_advice(first, second, words):
    with pytest.raises(ParameterError, match=words):
        TwoArrow(
            first_mass=first[0], first_speed=first[1], second_mass=second[0], second_speed=second[1]
        )


def test_trust_ends_a_quarter_beyond_the_masses_shot():
    limit = from_bow(105.0, 0.005, 0.032, 0.024).limits()[0]
    assert limit.quantity == "arrow_mass"
    assert (limit.low, limit.high) == (pytest.approx(0.0192), pytest.approx(0.04))


def test_speeds_too_close_for_the_arrow_are_noted():
    """Derived: far outside the masses u_v / v nears u t (v / v1^2) sqrt 2, t the ratio of ways."""
    near = from_bow(105.0, 0.005, 0.023, 0.0231)
    wide = from_bow(105.0, 0.005, 0.023, 0.031)
    doubtful = shoot(near, 0.031)
    assert doubtful.standard_uncertainty / doubtful.speed > 0.1
    assert [note.code for note in doubtful.notes] == ["launch-speeds-too-close"]
    assert shoot(near, np.array([0.02305, 0.031])).notes == doubtful.notes
    assert shoot(near, 0.02305).notes == shoot(wide, 0.031).notes == ()
