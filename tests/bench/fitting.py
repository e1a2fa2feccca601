"""Models fitted to measured flights: what a usual request costs, and the dearest that is valid."""

import numpy as np
from figures import at_most, seconds, seen
from fit_requests import CONSTANT, EXAMPLE, asking, client_of, flown, speeds
from reference_setups import coefficient

REPEATS = 3
AT = np.linspace(2.0, 90.0, 500)
SIGMA = 0.02  # m/s, of the invented speeds


def figures():
    client = client_of()
    usual = _cost(client, EXAMPLE)
    yield seen("a usual fit, 3 models to 10 values", usual * 1e3, " ms")
    yield at_most("the same", usual, 0.5, " s")
    dearest = max(_cost(client, asked) for asked in _dear())
    yield at_most("the dearest valid fit tried", dearest, 1.0, " s")


def _cost(client, asked):
    def call():
        reply = client.post("/v1/fit", json=asked)
        if reply.status_code != 200:
            raise AssertionError(reply.get_json())

    return seconds(call, REPEATS)


def _dear():
    """As many values, series and unknowns as may be, by the dearest models."""
    rng = np.random.default_rng(6)
    one = [_series(rng, 0.0, AT)]
    many = [_series(rng, float(index), AT[index::10]) for index in range(10)]
    tracks = [
        {"free": ["launch_angle"], "positions": _positions(rng, 40), "wind": _wind(float(index))}
        for index in range(9)
    ]
    layers = {"drag": {"model": "transition", "free": ["turbulent"]}}
    yield asking(one, [_table(19), _table(8), CONSTANT])
    yield asking(many, [_table(19), _table(8), CONSTANT])
    yield asking(one, [_table(3)] * 8)
    yield asking(many, [CONSTANT] * 8)
    yield asking(tracks, [layers, CONSTANT])


def _table(count):
    knots = np.linspace(2.6e4, 2.97e4, count).round(1).tolist()
    return {
        "drag": {"model": "table", "parameters": {"reynolds": knots, "coefficient": [2.2] * count}}
    }


def _wind(speed):
    return {"speed": f"{speed} m/s", "from": "40 deg"}


def _series(rng, wind, at):
    found = flown(coefficient(2.0), 82.0, at, wind_speed=wind, wind_from=np.radians(40.0))
    found = found + rng.normal(0.0, SIGMA, at.size)
    return {"speeds": speeds(found, at.round(6), f"{SIGMA} m/s"), "wind": _wind(wind)}


def _positions(rng, count):
    """Nearly those of an arrow that loses 0.12 % of its speed a metre."""
    at = np.linspace(2.0, 90.0, count)
    time = (np.exp(0.0012 * at) - 1.0) / (0.0012 * 82.0)
    height = at * np.tan(0.05) - 4.9 * time**2 + rng.normal(0.0, 0.01, count)
    return [
        {
            "time": f"{t:.4f} s",
            "distance": f"{x:.3f} m",
            "height": f"{y:.4f} m",
            "uncertainty": "1 cm",
        }
        for t, x, y in zip(time, at, height, strict=True)
    ]
