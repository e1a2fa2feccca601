"""Shots the benchmark measures: invented set-ups, every installed drag model."""

import numpy as np

from arrowloft.core.setup.air import air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.shot import Shot
from arrowloft.plugin import guarded_kinks, guarded_law
from arrowloft.plugin.registry import Registry

AIR = air(temperature=288.15, pressure=101325.0, relative_humidity=0.5)[0]
ARROW = Arrow(mass=0.0246, shaft_diameter=0.0058, length=0.72, balance_point=0.41)
KINKED = {"table"}  # laws with a kink inside the speeds flown: the clamped ends of the data


def drag_laws():
    """name, guarded law and kinks of every installed drag model, with its example parameters."""
    registry = Registry.discover()
    for name in registry.names("drag"):
        model = registry.build("drag", name, registry.get("drag", name).example)
        yield name, guarded_law(model), guarded_kinks(model)


def law(name="constant", **parameters):
    registry = Registry.discover()
    return guarded_law(registry.build("drag", name, parameters or {"coefficient": 1.9}))


def plain_shot(drag=None, **changes):
    """A level shot in still air."""
    members = {
        "launch_speed": 84.0,
        "arrow": ARROW,
        "drag": drag or law(),
        "kinks": (),
        "air": AIR,
        "peep_height": 0.117,
        "launch_forward": 0.86,
        "tip_lead": 0.31,
    }
    return Shot(**{**members, **changes})


def random_shot(rng, drag, kinks):
    """Any set-up of the promise: slopes to 60 degrees, wind, 40 to 120 m/s."""
    return plain_shot(
        drag,
        kinks=kinks,
        launch_speed=float(rng.uniform(40.0, 120.0)),
        slope=float(np.radians(rng.choice([0.0, 60.0, -60.0, rng.uniform(-60.0, 60.0)]))),
        wind_speed=float(rng.choice([0.0, rng.uniform(0.0, 12.0)])),
        wind_from=float(rng.uniform(0.0, 2.0 * np.pi)),
        tip_lead=float(rng.uniform(0.0, 0.4)),
        launch_forward=float(rng.uniform(0.0, 1.0)),
        peep_height=float(rng.uniform(0.0, 0.15)),
    )
