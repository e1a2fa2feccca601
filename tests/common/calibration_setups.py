"""A bow, its sight, what is known of them before, and ends: shared by the tests of calibration."""

import math

import numpy as np

from arrowloft.core.archer.archer_scatter import ArcherScatter, Scatter
from arrowloft.core.archer.landed import Landed
from arrowloft.core.learning.observations import End, Predictions
from arrowloft.core.learning.unknowns import NAMES, Prior
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.gravity import STANDARD
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.sight import Sight

YARD = 0.9144
AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
ARROW = Arrow(mass=0.023, shaft_diameter=0.006)


def vacuum(flow, arrow):
    """No drag at all."""
    return np.zeros(flow.airspeed.shape)


def coefficient(value):
    """A drag law of one coefficient for all speeds."""

    def law(flow, arrow):
        return value * cross_section(arrow) + np.zeros(flow.airspeed.shape)

    return law


def plain_shot(**changes):
    """A compound bow's shot on the level in still air, one drag coefficient for all speeds."""
    values = {
        "launch_speed": 84.0,
        "arrow": ARROW,
        "drag": coefficient(1.8),
        "air": AIR,
        "peep_height": 0.115,
        "launch_forward": 0.7,
        "tip_lead": 0.3,
        "kinks": (),
    }
    return Shot(**{**values, **changes})


def sight(**changes):
    """A sight with one moving pin, its zero at 20 yd."""
    return Sight(**{"radius": 0.86, "zero_distance": 20 * YARD, **changes})


def prior(**changes):
    """What is known of `plain_shot` and `sight` before the first arrow."""
    values = {
        "speed": 84.0,
        "speed_uncertainty": 0.035,
        "drag_uncertainty": 0.3,
        "peep_height": 0.115,
        "peep_height_uncertainty": 0.003,
        "radius": 0.86,
        "radius_uncertainty": 0.008,
        "zero_uncertainty": 5e-4,
        "windage_uncertainty": 1e-3,
    }
    return Prior(**{**values, **changes})


def ends(shot, travel, up, right=None, arrows=3):
    """Ends shot in the conditions of `shot`.

    travel: {distance: travel of the pin}, or pairs of these where a distance comes twice, m.
    up, right, arrows: one value for all ends, or one an end; right None: not noted.
    """
    pairs = list(travel.items() if isinstance(travel, dict) else travel)
    columns = [_each(value, len(pairs)) for value in (up, right, arrows)]
    return [
        End(
            shot=shot,
            landed=Landed(distance=distance, up=high, right=aside, arrows=count),
            travel=pin,
        )
        for (distance, pin), high, aside, count in zip(pairs, *columns, strict=True)
    ]


def _each(value, count):
    return [value] * count if value is None or np.ndim(value) == 0 else list(value)


def scatter(deviation=1e-3, degrees=np.inf):
    """An archer's scatter, rad, the same up and sideways; known exactly unless said."""
    one = Scatter(deviation=deviation, degrees=degrees)
    return ArcherScatter(vertical=one, sideways=one, assumed=False)


def only(*names, **changes):
    """`prior` with these unknowns alone uncertain, all others known exactly."""
    known = {f"{name}_uncertainty": 0.0 for name in NAMES if name not in names}
    return prior(**{**known, **changes})


def unknowns(**changes):
    """The unknowns of `plain_shot` and `sight` without any error, some of them changed, (6,)."""
    values = {"speed": 84.0, "drag": 1.0, "peep_height": 0.115, "radius": 0.86}
    values |= {"zero": 0.0, "windage": 0.0, **changes}
    return np.array([values[name] for name in NAMES])


def marks(shot, by, distances):
    """{distance: travel} of the marks that `shot` asks for on the sight `by`."""
    table = mark_table(shot, by, np.asarray(distances, dtype=float))
    return dict(zip(map(float, distances), map(float, table.travel), strict=True))


def seen(shot, by, observations, truth):
    """What the observations would have come to were the unknowns `truth`, (values,)."""
    return Predictions(shot, by.zero_distance, observations)(truth[:, None])[0]


def parabola(angle, distance, speed, peep_height, yaw=0.0):
    """Without drag: height and place to the right in a plane; the start is below the eye."""
    line = math.cos(angle) * math.cos(yaw), math.sin(angle), math.cos(angle) * math.sin(yaw)
    above = -math.sin(angle) * math.cos(yaw), math.cos(angle), -math.sin(angle) * math.sin(yaw)
    x, y, z = (-peep_height * part for part in above)
    time = (distance - x) / (speed * line[0])
    return y + speed * line[1] * time - 0.5 * STANDARD * time**2, z + speed * line[2] * time
