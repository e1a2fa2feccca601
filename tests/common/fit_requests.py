"""Requests of /v1/fit, and flights as a request writes what was measured of them."""

import copy
import json
from pathlib import Path

import numpy as np
from flask import Flask

from arrowloft.api import problems
from arrowloft.api.fitting import fit
from arrowloft.api.resource import Edge, Limits
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.setup.air import air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.shot import Shot
from arrowloft.plugin.registry import Registry

EXAMPLE = json.loads(
    (Path(__file__).resolve().parents[2] / "openapi" / "examples" / "fit.request.json").read_text()
)
ARROW = {"mass": "20 g", "shaft_diameter": "5.5 mm", "length": "0.7 m", "tip_lead": "0 mm"}
BARE = {
    "bow": {"peep_height": "0 mm", "launch_forward": "0 mm", "draw_weight": "40 lbf"},
    "arrow": ARROW,
    "air": {"temperature": "20 degC", "pressure": "1013.25 hPa", "relative_humidity": 0.0},
}
CONSTANT = {"drag": {"model": "constant"}}
DISTANCES = (5.0, 20.0, 40.0, 60.0)


def client_of(registry=None, limits=None):
    """A client of this resource alone."""
    app = Flask("fit")
    edge = Edge.of(registry or Registry.discover(), limits or Limits())
    fit.resource(edge).install(app)
    problems.install(app)
    return app.test_client()


def example():
    """The worked example, to be changed at will."""
    return copy.deepcopy(EXAMPLE)


def asking(series, models, **more):
    """A request of the bare set-up."""
    return copy.deepcopy({**BARE, "series": series, "models": models, **more})


def flown(law, speed=57.0, distances=DISTANCES, **changes):
    """Speeds, m/s, of the bare set-up's arrow by a law, loosed along the line of sight."""
    state, _ = air(temperature=293.15, pressure=101325.0, relative_humidity=0.0)
    arrow = Arrow(mass=0.02, shaft_diameter=0.0055, length=0.7, tip_lead=0.0)
    values = {"launch_speed": speed, "arrow": arrow, "drag": law, "air": state} | changes
    shot = Shot(peep_height=0.0, kinks=(), **values)
    return impacts(shot, 0.0, np.array(distances)).speed


def speeds(values, distances=DISTANCES, uncertainty="0.1 m/s"):
    """Speeds as a series writes them."""
    return [
        {"distance": f"{at} m", "speed": f"{value:.9f} m/s", "uncertainty": uncertainty}
        for at, value in zip(distances, values, strict=True)
    ]
