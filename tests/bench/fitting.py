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
    yield at_most("the dearest fit of usual laws tried", dearest, 1.5, " s")
    yield at_most("the same of laws with a hundred kinks", _cost(client, _rough()), 4.0, " s")


def _cost(client, asked):
    def call():
        reply = client.post("/v1/fit", json=asked)
        if reply.status_code not in (200, 422):  # the roughest laws need not settle
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
    yield asking(many, [_table(8), _table(6, "few"), CONSTANT])
    yield asking(one, [_table(3, str(index)) for index in range(8)])
    yield asking(many, [CONSTANT | {"label": str(index)} for index in range(8)])
    yield asking(tracks, [layers, CONSTANT])


def _rough():
    """Ten aimed series, and laws of which one value is found, with the launch speed."""
    rng = np.random.default_rng(6)
    series = [_series(rng, float(index), AT[index::10], 0.3) for index in range(10)]
    models = []
    for place in range(4):
        knots = np.linspace(1.5e4, 3.0e4, 100).round().tolist()
        values = (1.0 + 2.0 * rng.random(100)).round(1).tolist()
        given = {"reynolds": knots, "coefficient": values}
        drag = {"model": "table", "parameters": given, "free": ["coefficient[85]"]}
        models.append({"drag": drag, "label": f"rough {place}"})
    return asking([item | {"aimed_at": "60 m"} for item in series], models)


def _table(count, label="table"):
    knots = np.linspace(2.6e4, 2.97e4, count).round(1).tolist()
    return {
        "drag": {"model": "table", "parameters": {"reynolds": knots, "coefficient": [2.2] * count}},
        "label": f"{label} {count}",
    }


def _wind(speed):
    return {"speed": f"{speed} m/s", "from": "40 deg"}


def _series(rng, wind, at, sigma=SIGMA):
    found = flown(coefficient(2.0), 82.0, at, wind_speed=wind, wind_from=np.radians(40.0))
    found = found + rng.normal(0.0, sigma, at.size)
    return {"speeds": speeds(found, at.round(6), f"{sigma} m/s"), "wind": _wind(wind)}


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
