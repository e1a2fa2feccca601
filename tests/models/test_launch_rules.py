"""Rules of thumb: each step as the trade states it (common practice, no source)."""

from dataclasses import replace

import numpy as np
import pytest

from arrowloft.plugin import Air, Arrow, Bow, CaseError, LaunchCase
from arrowloft_models.launch.energy import Energy
from arrowloft_models.launch.rules import Rules

INCH, FPS, GRAIN, LBF = 0.0254, 0.3048, 64.79891e-6, 4.4482216152605
AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.78938e-5, 340.294)
REFERENCE = Bow(peep_height=0.115, draw_length=30 * INCH, draw_weight=70 * LBF)
MODEL = Rules(reference_speed=320 * FPS)


def shoot(model=MODEL, mass=350 * GRAIN, bow=REFERENCE):
    arrow = Arrow(mass=mass, shaft_diameter=0.0059)
    return model.launch_speed(LaunchCase(bow, arrow, AIR, lambda f, a: 0))


def test_the_reference_comes_back():
    assert shoot().speed == pytest.approx(320 * FPS, rel=1e-14)
    assert shoot().standard_uncertainty == pytest.approx(10 * FPS, rel=1e-14)


@pytest.mark.parametrize(
    ("changed", "gain"),
    [
        ({"bow": replace(REFERENCE, draw_length=29 * INCH)}, -10.0),
        ({"bow": replace(REFERENCE, draw_weight=80 * LBF)}, 17.5),
        ({"mass": 355 * GRAIN}, -1.5),
        ({"model": replace(MODEL, string_mass_added=3 * GRAIN)}, -1.0),
    ],
)
def test_one_step_at_a_time(changed, gain):
    result = shoot(**changed)
    assert (result.speed / FPS - 320) == pytest.approx(gain, abs=1e-9)
    # Each step is uncertain by 40 percent, beside the reference's 10 ft/s.
    assert result.standard_uncertainty / FPS == pytest.approx(np.hypot(10, 0.4 * gain), rel=1e-9)


def test_steps_add_up():
    bow = replace(REFERENCE, draw_length=28 * INCH, draw_weight=60 * LBF)
    result = shoot(bow=bow, mass=400 * GRAIN)
    assert result.speed / FPS == pytest.approx(320 - 20 - 17.5 - 15, rel=1e-12)
    expected = (100 + 0.16 * (20**2 + 17.5**2 + 15**2)) ** 0.5
    assert result.standard_uncertainty / FPS == pytest.approx(expected, rel=1e-12)


def test_the_mass_step_covers_the_mechanics():
    """dv/dm = -v / (2 (m + M)) lies within the rule's own uncertainty of 40 percent."""
    virtual = 0.005
    energy = (350 * GRAIN + virtual) * (320 * FPS) ** 2 / 2
    model = Energy(stored_energy=energy, virtual_mass=virtual)
    mechanics = 320 * FPS - shoot(model, 355 * GRAIN).speed
    assert mechanics / FPS == pytest.approx(1.5, rel=0.4)


def test_labelled_common_practice():
    assert [source.standing for source in Rules.sources] == ["common practice"]
    notes = shoot().notes
    assert [note.code for note in notes] == ["launch-common-practice"]
    assert "prefer" in notes[0].message


@pytest.mark.parametrize("member", ["draw_weight", "draw_length"])
def test_what_is_missing_is_named(member):
    with pytest.raises(CaseError) as caught:
        shoot(bow=replace(REFERENCE, **{member: None}))
    assert caught.value.member == f"bow/{member}"


def test_no_speed_left_is_refused():
    with pytest.raises(CaseError) as caught:
        shoot(mass=np.array([350 * GRAIN, 0.1]))
    assert caught.value.member == "arrow/mass"
