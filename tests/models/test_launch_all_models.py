"""What holds for every built-in launch model, whatever its law."""

import numpy as np
import pytest

from arrowloft.plugin import Air, Arrow, Bow, LaunchCase
from arrowloft.plugin.conformance import check_launch_model
from arrowloft.plugin.validity import launch_notes
from arrowloft_models.launch.energy import Energy
from arrowloft_models.launch.force_draw import ForceDraw
from arrowloft_models.launch.measured import Measured
from arrowloft_models.launch.rated import Rated
from arrowloft_models.launch.rules import Rules
from arrowloft_models.launch.two_arrow import TwoArrow

CLASSES = (Measured, Energy, TwoArrow, ForceDraw, Rated, Rules)
PREDICTING = (Energy, TwoArrow, ForceDraw, Rated, Rules)
AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.78938e-5, 340.294)
BOW = Bow(peep_height=0.115, draw_length=0.74, brace_height=0.17, draw_weight=280.0)


def case(mass):
    return LaunchCase(
        BOW,
        Arrow(mass=mass, shaft_diameter=0.0058, length=0.72, balance_point=0.43),
        AIR,
        lambda flow, arrow: np.full_like(flow.airspeed, 5e-5),
    )


every_model = pytest.mark.parametrize("kind", CLASSES, ids=lambda kind: kind.name)


@every_model
def test_conforms(kind):
    check_launch_model(kind)


@every_model
def test_a_number_gives_numbers_and_lanes_give_lanes(kind):
    model = kind.of(kind.example)
    masses = np.array([0.021, 0.026, 0.031])
    lanes = model.launch_speed(case(masses))
    assert lanes.speed.shape == lanes.standard_uncertainty.shape == (3,)
    for lane, mass in enumerate(masses):
        single = model.launch_speed(case(float(mass)))
        assert isinstance(single.speed, float)
        assert isinstance(single.standard_uncertainty, float)
        assert single.speed == pytest.approx(lanes.speed[lane], rel=1e-12)
        assert single.standard_uncertainty == pytest.approx(
            lanes.standard_uncertainty[lane], rel=1e-9
        )


@every_model
def test_answers_are_of_a_bow(kind):
    result = kind.of(kind.example).launch_speed(case(0.0273))
    assert 45.0 < result.speed < 110.0
    assert 0.001 < result.standard_uncertainty / result.speed < 0.12


@pytest.mark.parametrize("kind", PREDICTING, ids=lambda kind: kind.name)
def test_a_heavier_arrow_is_slower(kind):
    speed = kind.of(kind.example).launch_speed(case(np.linspace(0.02, 0.04, 21))).speed
    assert (np.diff(speed) < 0).all()


@every_model
def test_a_light_arrow_is_left_to_one_note(kind):
    """The service cautions by bow.draw_weight, once for every model: no range beside it."""
    model, light = kind.of(kind.example), 0.9 * 5 * 64.79891e-6 * 280.0 / 4.4482216152605
    notes = launch_notes(model, case(light), model.launch_speed(case(light)))
    assert not [note for note in notes if "per pound" in note.message or "per draw" in note.message]


@every_model
def test_the_trade_is_not_called_a_source(kind):
    standings = {source.standing for source in kind.sources}
    assert standings
    assert (standings == {"common practice"}) == (kind is Rules)
