"""Set-ups of arrows that fly until they land, and their closed forms without drag."""

import numpy as np

from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.shot import Shot

AIR = Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3)
G = 9.80665


def coefficient(value):
    def law(flow, arrow):
        return value * cross_section(arrow) + np.zeros(flow.airspeed.shape)

    return law


def recurve(**changes):
    """The reference set-up R: 57 m/s, Cd 2.0, d 5.5 mm, 20.0 g, from the eye."""
    values = {
        "launch_speed": 57.0,
        "arrow": Arrow(mass=0.020, shaft_diameter=0.0055),
        "drag": coefficient(2.0),
        "air": AIR,
        "peep_height": 0.0,
        "kinks": (),
    }
    return Shot(**{**values, **changes})


def compound(**changes):
    """The reference set-up K: 85 m/s, Cd 1.6, d 6.0 mm, 23.0 g, from the eye."""
    arrow = Arrow(mass=0.023, shaft_diameter=0.006)
    return recurve(**{"launch_speed": 85.0, "arrow": arrow, "drag": coefficient(1.6), **changes})


def in_vacuum(**changes):
    """R without drag."""
    return recurve(**{"drag": coefficient(0.0), **changes})


def fall(speed, elevation, height):
    """Time and level way without drag down to `height` below the launch (closed form)."""
    rising = speed * np.sin(elevation)
    time = (rising + np.sqrt(rising**2 + 2.0 * G * height)) / G
    return time, speed * np.cos(elevation) * time


def elevation_through(speed, way, height):
    """The lower elevation without drag through a point, from the launch (closed form)."""
    drop = 0.5 * G * way**2 / speed**2
    root = np.sqrt(way**2 - 4.0 * drop * (drop + height))
    return np.arctan((way - root) / (2.0 * drop))
