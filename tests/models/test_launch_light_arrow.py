"""The service's caution and a model's own together: a light arrow is told once, by either."""

import numpy as np
import pytest

from arrowloft.api.conditions import light_arrow
from arrowloft.plugin import Air, Arrow, Bow, LaunchCase
from arrowloft_models.launch.energy import Energy
from arrowloft_models.launch.force_draw import ForceDraw

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.78938e-5, 340.294)
CURVE = ForceDraw(
    draw=np.array([0, 0.25, 0.5]), force=np.array([0.0, 311.0, 90.0]), virtual_mass=0.005
)
ENERGY = Energy(stored_energy=100.0, virtual_mass=0.005)


@pytest.mark.parametrize(
    ("model", "mass", "draw_weight", "told"),
    [
        (ENERGY, 0.015, None, ["least-mass-unchecked"]),
        (ENERGY, 0.015, 311.0, ["light-arrow"]),
        (ENERGY, 0.025, 311.0, []),
        (CURVE, 0.015, None, ["light-arrow"]),
        (CURVE, 0.015, 200.0, ["light-arrow"]),
        (CURVE, 0.015, 311.0, ["light-arrow"]),
        (CURVE, 0.025, None, []),
    ],
)
def test_each_case_is_told_once(model, mass, draw_weight, told):
    """15 g at 311 N is 3.3 grains per pound; 5 is the least (common practice)."""
    bow = Bow(peep_height=0.115, draw_weight=draw_weight)
    arrow = Arrow(mass=mass, shaft_diameter=0.0055)
    launched = model.launch_speed(LaunchCase(bow, arrow, AIR, lambda flow, arrow: 0))
    notes = [*launched.notes, *light_arrow(bow, arrow, launched)]
    assert [note.code for note in notes] == told
