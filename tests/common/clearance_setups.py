"""Shots and patches that the tests of clearance share."""

import numpy as np

from arrowloft.core.path.patches import Patches
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.shot import Shot

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
ENVELOPE = 0.0128
NOCK_LEAD = -0.4
TARGET = 54.0
PLANES = np.array([4.0, 17.0, 33.0, 52.0])


def steady(flow, arrow):
    return 1.9 * cross_section(arrow) + 0.0 * flow.airspeed


def none(flow, arrow):
    return 0.0 * flow.airspeed


def shot_of(law=steady, **changes):
    members = {
        "launch_speed": 68.0,
        "arrow": Arrow(mass=0.0224, shaft_diameter=0.0056),
        "drag": law,
        "kinks": (),
        "air": AIR,
        "peep_height": 0.116,
        "launch_forward": 0.84,
        "tip_lead": 0.3,
    }
    return Shot(**{**members, **changes})


def patch(bottom=-np.inf, top=np.inf, left=-np.inf, right=np.inf):
    lanes = np.broadcast_arrays(*(np.atleast_1d(np.float64(v)) for v in (bottom, top, left, right)))
    return Patches(bottom=lanes[0], top=lanes[1], left=lanes[2], right=lanes[3])
