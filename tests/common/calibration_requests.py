"""Requests for a calibration from an invented set-up and an invented truth, and their replies."""

import copy
import functools
import json
import math
from pathlib import Path

from arrowloft.app import create_app

PATH = "/v1/calibration"
EXAMPLE = json.loads(
    (
        Path(__file__).resolve().parents[2] / "openapi" / "examples" / "calibration.request.json"
    ).read_text()
)

ZERO = 18.0
RADIUS = 825.0
UNITS = {"distance": "m", "length": "mm", "angle": "rad", "speed": "m/s"}
STATED = {
    "bow": {"peep_height": "112 mm", "launch_forward": "900 mm", "draw_weight": "200 N"},
    "arrow": {"mass": "25 g", "shaft_diameter": "5.7 mm", "tip_lead": "310 mm"},
    "sight": {
        "radius": f"{RADIUS} mm",
        "zero_distance": f"{ZERO} m",
        "travel_per_turn": "1.25 mm",
        "clicks_per_turn": 10,
        "windage_travel_per_turn": "0.8 mm",
        "windage_clicks_per_turn": 16,
        "scale": {"reading": 20, "travel_per_unit": "5 mm", "increases": "down"},
    },
    "launch": {"model": "measured", "parameters": {"speed": "82 m/s"}},
    "drag": {"model": "constant", "parameters": {"coefficient": 1.9}},
    "air": {"temperature": "20 degC", "pressure": "1000 hPa", "relative_humidity": 0.5},
    "site": {"latitude": "47 deg"},
    "units": UNITS,
}
"""The set-up as its archer states it; the truth is 1.4 m/s slower and drags more."""

TRUE_SPEED, TRUE_DRAG = 80.6, 1.13
"""Launch speed, m/s, and factor on the stated drag."""

PRIORS = {
    "speed": "1.5 m/s",
    "drag": 0.2,
    "peep_height": "0 mm",
    "radius": "0 mm",
    "zero": "0.5 mm",
    "windage": "2 mm",
}
CERTAIN = {**dict.fromkeys(PRIORS, "0 mm"), "speed": "0 m/s", "drag": 0}
"""Priors under which the stated set-up stays what it is."""

MARKS = [18.0, 30.0, 40.0, 50.0, 60.0, 70.0]


@functools.cache
def service():
    """A client of the whole service."""
    return create_app().test_client()


def send(body, path=PATH, **more):
    return service().open(path, **{"method": "POST", "json": body, **more})


def reply(body, path=PATH, **changes):
    response = send({**body, **changes}, path)
    assert response.status_code == 200, response.text
    return response.get_json()


def refusal(body, status=422, **changes):
    """(pointer, detail) of every fault."""
    response = send({**body, **changes})
    assert response.status_code == status, response.text
    return [(fault["pointer"], fault["detail"]) for fault in response.get_json()["errors"]]


def codes(found):
    return [note["code"] for note in found["notes"]]


def told(found, code):
    """The message of the one note with this code."""
    (message,) = [note["message"] for note in found["notes"] if note["code"] == code]
    return message


def fitted(found):
    """name -> fitted value."""
    return {item["name"]: item["value"] for item in found["parameters"]}


def metres(values):
    return [f"{value!r} m" for value in values]


def rows(setup, distances, **changes):
    """Rows of the mark table of a set-up."""
    body = {name: setup[name] for name in (*STATED, "slope", "wind") if name in setup}
    body |= {"distances": metres(distances), **changes}
    return reply(body, "/v1/mark-table")["rows"]


def setup(**changes):
    """The stated set-up, its units and nothing else."""
    return copy.deepcopy({**STATED, **changes})


def truth(**changes):
    """The set-up as it really is."""
    return setup(
        launch={"model": "measured", "parameters": {"speed": f"{TRUE_SPEED} m/s"}},
        drag={"model": "constant", "parameters": {"coefficient": 1.9 * TRUE_DRAG}},
        **changes,
    )


@functools.cache
def true_row(distance):
    (row,) = rows(truth(), [distance])
    return row


def true_travel(distance):
    """Travel that centres the true arrows, mm."""
    return true_row(distance)["travel"]


def end(distance, off=0.0, zero=0.0, **more):
    """An end of the true arrows with the pin `off` mm below the true mark.

    zero: how far, mm, the pin has to stand lower at every mark than the table says. The
    place of the arrows follows from the true rise, flat enough for a few millimetres.
    """
    travel = true_travel(distance) + zero + off
    body = {
        "distance": f"{distance!r} m",
        "mark": {"travel": f"{travel!r} mm"},
        "up": f"{off * rise(distance)!r} mm",
        "right": "0 mm",
        "arrows": 6,
    }
    return {**body, **more}


def rise(distance):
    """Rise of the true impact per travel of the pin, nearly: distance over the radius."""
    return 1e3 * distance / RADIUS


def proven(distance, zero=0.0, **more):
    travel = true_travel(distance) + zero
    return {
        "distance": f"{distance!r} m",
        "proven": True,
        "mark": {"travel": f"{travel!r} mm"},
        **more,
    }


def chronograph(distance, uncertainty="0.1 m/s", **more):
    speed = {"value": f"{true_row(distance)['speed']!r} m/s", "uncertainty": uncertainty}
    return {"distance": f"{distance!r} m", "speed": speed, **more}


def session(*observations, **changes):
    """A calibration of the stated set-up by these observations, all priors said."""
    body = {
        "distances": metres(MARKS),
        "observations": list(observations),
        "group": {"distance": "18 m", "vertical": "18 mm", "arrows": 60},
        "priors": PRIORS,
        "tolerance": {"height": "1 cm", "at": "10 m"},
        "next": {"distances": metres(MARKS), "arrows": 6},
    }
    return copy.deepcopy({**setup(), **body, **changes})


def sound(**changes):
    """A session of which nothing is to be said: all told, all fits."""
    seen = (
        end(ZERO),
        end(40.0),
        chronograph(3.0),
        chronograph(60.0),
        end(60.0),
        proven(70.0, arrows=6),
    )
    return session(*seen, **changes)


def pin_angle(travel, zero_angle):
    """Launch angle of the arrow's line for a travel of the pin from the zero mark, mm, rad."""
    return math.atan(math.tan(zero_angle) + travel / RADIUS)
