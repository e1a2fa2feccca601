"""Rigid arrows for tests: a light recurve arrow with small vanes, a compound's with large ones."""

from dataclasses import replace

import numpy as np
from reference_setups import compound, recurve

from arrowloft.core.rigid.aerodynamics import Vanes, aerodynamics
from arrowloft.core.rigid.body import body_of, estimated_parts
from arrowloft.core.rigid.motion import Release, RigidShot
from arrowloft.core.setup.equipment import Arrow

SMALL = Vanes(count=3, length=0.044, height=0.0075, position=0.025)
LARGE = Vanes(count=3, length=0.058, height=0.0115, position=0.025)
NAMES = ("pitch", "yaw", "pitch_rate", "yaw_rate", "spin")


def rigid_of(shot, vanes):
    """The shot's arrow as a rigid body whose parts are estimated."""
    arrow = shot.arrow
    sizes = {"length": arrow.length, "diameter": arrow.shaft_diameter}
    body = body_of(estimated_parts(mass=arrow.mass, balance_point=arrow.balance_point, **sizes))
    return RigidShot(shot=shot, body=body, air=aerodynamics(body, vanes, **sizes))


def light(vanes=SMALL, **changes):
    """20 g, 57 m/s, small vanes: the light end of the magnitudes derived beforehand."""
    arrow = Arrow(mass=0.020, shaft_diameter=0.0055, length=0.72, balance_point=0.43)
    return rigid_of(recurve(**{"arrow": arrow, "tip_lead": 0.29, **changes}), vanes)


def heavy(vanes=LARGE, **changes):
    """26 g, 85 m/s, large vanes: the other end."""
    arrow = Arrow(mass=0.026, shaft_diameter=0.006, length=0.73, balance_point=0.42)
    return rigid_of(compound(**{"arrow": arrow, "tip_lead": 0.31, **changes}), vanes)


def without_cross_flow(rigid):
    """The same arrow, whose normal force grows in proportion to the angle alone."""
    return replace(rigid, air=replace(rigid.air, cross_flow=0.0))


def released(**values):
    """A release of one lane, clean but for what is given; or of as many as the lists hold."""
    size = max((np.size(value) for value in values.values()), default=1)
    return Release(**{name: np.broadcast_to(values.get(name, 0.0), size) * 1.0 for name in NAMES})
