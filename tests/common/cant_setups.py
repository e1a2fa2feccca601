"""Bows, arrows and tables that the tests of cant share."""

import math

import numpy as np
import pytest
from hypothesis import strategies as st

from arrowloft.core.level.cant import Allowance, cant_table
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.shot import Shot

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
YARD = 0.9144
MANY = np.linspace(5.0, 90.0, 40)  # read from series over the distance
FEW = np.array([20.0, 70.0, 45.0])  # a series in the roll at each
ROWS = pytest.mark.parametrize("distances", [MANY, FEW], ids=["many", "few"])
RADIUS = Allowance(radius=0.05)


def vacuum(flow, arrow):
    return np.zeros(flow.airspeed.shape)


def coefficient(value):
    def law(flow, arrow):
        return value * cross_section(arrow) + np.zeros(flow.airspeed.shape)

    return law


def shot_of(**changes):
    values = {
        "launch_speed": 57.0,
        "arrow": Arrow(mass=0.020, shaft_diameter=0.0055),
        "drag": coefficient(2.0),
        "air": AIR,
        "peep_height": 0.115,
        "launch_forward": 0.8,
        "tip_lead": 0.3,
        "kinks": (),
    }
    return Shot(**{**values, **changes})


COMPOUND = shot_of(
    launch_speed=85.0,
    drag=coefficient(1.6),
    arrow=Arrow(mass=0.023, shaft_diameter=0.006),
    peep_height=0.0,
    launch_forward=0.0,
    tip_lead=0.0,
)


def table(shot=None, distances=FEW, cants=(0.0,), allowance=RADIUS):
    return cant_table(shot or shot_of(), distances, np.array(cants, dtype=float), allowance)


SHOTS = st.fixed_dictionaries(
    {
        "launch_speed": st.floats(45.0, 110.0),
        "slope": st.floats(-0.8, 0.8),
        "wind_speed": st.sampled_from([0.0, 3.0, 10.0]),
        "wind_from": st.floats(0.0, 2.0 * math.pi),
        "peep_height": st.floats(0.0, 0.15),
        "tip_lead": st.sampled_from([0.0, 0.3]),
    }
)
