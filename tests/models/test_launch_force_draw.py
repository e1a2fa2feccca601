"""Force-draw curves: exact integrals, published sizes, proportional draw."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arrowloft.plugin import Air, Arrow, Bow, LaunchCase, ParameterError
from arrowloft_models.launch.force_draw import ForceDraw

INCH, FPS = 0.0254, 0.3048
AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.78938e-5, 340.294)

# Tuijn and Kooi, Eur. J. Phys. 13 (1992) 127-134 (published): draw m, force N, stored J.
PUBLISHED = [(0.430, 170.5, 42.6), (0.509, 170.0, 50.3), (0.440, 178.0, 45.6), (0.429, 130.0, 33.2)]
rules = pytest.mark.parametrize("rule", ["trapezoid", "monotone-cubic"])


def shoot(model, mass=0.02, bow=None):
    arrow = Arrow(mass=mass, shaft_diameter=0.0059)
    return model.launch_speed(LaunchCase(bow or Bow(peep_height=0.115), arrow, AIR, lambda f, a: 0))


def curve(draw, force, **more):
    return ForceDraw(
        **{
            "draw": np.asarray(draw, float),
            "force": np.asarray(force, float),
            "virtual_mass": 0.005,
            "hysteresis": 0.0,
            **more,
        }
    )


@rules
@given(st.floats(0.2, 0.8), st.floats(50.0, 400.0), st.integers(2, 30))
def test_a_linear_spring_holds_half_force_times_draw(rule, stroke, force, count):
    model = curve(np.linspace(0, stroke, count), np.linspace(0, force, count), rule=rule)
    figures = shoot(model).figures
    assert figures["drawing_energy"][0] == pytest.approx(force * stroke / 2, rel=1e-12)
    assert figures["fullness"][0] == pytest.approx(0.5, rel=1e-12)


@rules
def test_energy_goes_to_arrow_and_virtual_mass(rule):
    model = curve([0, 0.2, 0.4], [0, 100, 160], rule=rule, hysteresis=0.1)
    result = shoot(model)
    stored = 0.9 * result.figures["drawing_energy"][0]
    assert (0.02 + 0.005) * result.speed**2 / 2 == pytest.approx(stored, rel=1e-13)
    assert result.figures["stored_energy"][0] == pytest.approx(stored, rel=1e-13)


def test_trapezoids_by_hand():
    # 0.1 (0 + 60) / 2 + 0.2 (60 + 100) / 2 = 3 + 16
    assert shoot(curve([0, 0.1, 0.3], [0, 60, 100])).figures["drawing_energy"][0] == pytest.approx(
        19.0, rel=1e-14
    )


@pytest.mark.parametrize(("stroke", "force", "stored"), PUBLISHED)
def test_published_bows_lie_in_the_published_fullness(stroke, force, stored):
    """Energy over force times power stroke of the four bows: 0.581 to 0.595."""
    assert 0.5805 < stored / (force * stroke) < 0.5955


@rules
@pytest.mark.parametrize(("stroke", "force", "stored"), PUBLISHED)
def test_a_curve_of_the_published_fullness_gives_the_published_energy(rule, stroke, force, stored):
    # The measured points are not published. F = F0 ((1 + c) s - c s^2), s = x / stroke, holds
    # F0 stroke (1/2 + c/6); fullness 0.588, the middle of the four, has c = 0.528. The
    # published energies then agree within the width of the fullness, 1.3 %.
    s = np.linspace(0, 1, 18)
    c = 6 * (0.588 - 0.5)
    figures = shoot(curve(stroke * s, force * ((1 + c) * s - c * s**2), rule=rule)).figures
    assert figures["drawing_energy"][0] == pytest.approx(stored, rel=0.013)
    assert figures["peak_force"] == (pytest.approx(force), "force")
    assert figures["power_stroke"] == (pytest.approx(stroke), "length")


def test_the_cubic_is_nearer_to_a_smooth_curve_than_trapezoids():
    s = np.linspace(0, 1, 12)
    truth = 0.5 + 0.528 / 6
    errors = {
        rule: abs(
            shoot(curve(s, 1.528 * s - 0.528 * s**2, rule=rule)).figures["fullness"][0] - truth
        )
        for rule in ("trapezoid", "monotone-cubic")
    }
    assert errors["monotone-cubic"] < errors["trapezoid"] / 3
    # The trapezoid rule's error is h^2 (F'(1) - F'(0)) / 12.
    assert errors["trapezoid"] == pytest.approx(2 * 0.528 / (12 * 11**2), rel=1e-9)


def test_rest_is_put_before_a_list_that_starts_later():
    with_rest, without = curve([0, 0.2, 0.4], [0, 100, 160]), curve([0.2, 0.4], [100, 160])
    assert shoot(without).speed == pytest.approx(shoot(with_rest).speed, rel=1e-15)


def test_speed_is_proportional_to_draw():
    """20.5 / 21 x 150 = 146.5 ft/s (Hickman, quoted by Klopsteg; published).

    That is the bow as a linear spring drawn from the braced string, less far by 1/2 in.
    """
    stiffness = 250.0  # N/m; the ratio does not depend on it
    full = curve([0, 21 * INCH], [0, stiffness * 21 * INCH])
    energy = stiffness * (21 * INCH) ** 2 / 2
    mass = 2 * energy / (150 * FPS) ** 2 - 0.005
    short = curve([0, 20.5 * INCH], [0, stiffness * 20.5 * INCH])
    assert shoot(full, mass).speed / FPS == pytest.approx(150.0, rel=1e-12)
    assert shoot(short, mass).speed / FPS == pytest.approx(20.5 / 21 * 150, rel=1e-12)
    assert shoot(short, mass).speed / FPS == pytest.approx(146.5, abs=0.1)


def test_default_hysteresis_is_within_the_published_range():
    assert 0.002 <= ForceDraw.parameters()["hysteresis"].default <= 0.009


def test_uncertainty_is_the_spread_of_many_draws():
    rng = np.random.default_rng(21)
    model = curve([0, 0.4], [0, 160], virtual_mass=0.006, virtual_mass_uncertainty=0.1)
    energy = rng.normal(32.0, 0.02 * 32.0, 200_000)
    virtual = rng.normal(0.006, 0.0006, 200_000)
    drawn = np.sqrt(2 * energy / (0.02 + virtual))
    assert shoot(model).standard_uncertainty == pytest.approx(drawn.std(), rel=0.02)


def test_a_list_that_ends_at_another_draw_is_noted():
    model = curve([0, 0.2, 0.4], [0, 100, 160])

    def notes(stroke):
        length = stroke + 0.17 + 1.75 * INCH
        return shoot(model, bow=Bow(peep_height=0.1, draw_length=length, brace_height=0.17)).notes

    assert [note.code for note in notes(0.42)] == ["launch-stroke-differs"]
    assert notes(0.405) == ()


@pytest.mark.parametrize(
    ("draw", "force", "parameter"),
    [
        ([0, 0.2, 0.4], [0, 100], "force"),
        ([0, 0.4, 0.2], [0, 100, 160], "draw"),
        ([0, 0.2, 0.2], [0, 100, 160], "draw"),
        ([0, 0.2, 0.4], [0, 0, 0], "force"),
        ([0, 0.2, 0.4], [33, 100, 160], "force"),
    ],
)
def test_lists_that_do_not_fit_are_refused(draw, force, parameter):
    with pytest.raises(ParameterError) as caught:
        curve(draw, force)
    assert caught.value.parameter == parameter


def test_a_small_force_at_rest_and_a_large_one_later_are_accepted():
    """A scale may not read zero at rest; a list may start where the bow is half drawn."""
    curve([0, 0.2, 0.4], [31, 100, 160])
    curve([0.2, 0.4], [100, 160])


LEAST = 5 * 64.79891e-6 / 4.4482216152605  # kg/N: 5 grains per pound, common practice


@pytest.mark.parametrize(
    ("mass", "draw_weight", "said"),
    [
        (0.015, None, True),
        (0.999 * LEAST * 311.0, None, True),
        (LEAST * 311.0, None, False),
        # The bow's own draw weight tells it already, and the service says so.
        (0.015, 311.0, False),
        # A draw weight below the curve's peak does not.
        (0.015, 200.0, True),
    ],
)
def test_a_light_arrow_for_the_peak_force_is_cautioned(mass, draw_weight, said):
    model = curve([0, 0.25, 0.4, 0.5], [0, 311, 290, 90])
    notes = shoot(model, mass, Bow(peep_height=0.1, draw_weight=draw_weight)).notes
    assert [note.code for note in notes] == ["light-arrow"] * said


def test_one_light_lane_is_enough_for_the_caution():
    model = curve([0, 0.25, 0.5], [0, 200, 311])
    assert shoot(model, np.array([0.015, 0.03])).notes
    assert not shoot(model, np.array([0.025, 0.03])).notes
