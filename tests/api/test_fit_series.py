"""POST /v1/fit: what a series brings of its own, and what is said of weak fits."""

import math
from typing import Any

import numpy as np
import pytest
from fit_requests import CONSTANT, asking, client_of, flown, speeds
from flask.testing import FlaskClient
from reference_setups import coefficient

Body = dict[str, Any]
NONE = {"drag": {"model": "none"}}


@pytest.fixture(scope="module")
def fitting() -> FlaskClient:
    return client_of()


def fitted(fitting: FlaskClient, asked: Body) -> Any:
    reply = fitting.post("/v1/fit", json=asked)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()["models"][0]


def values(model: Any) -> dict[str, float]:
    return {item["name"]: item["value"] for item in model["parameters"]}


def codes(found: Any) -> list[str]:
    return [note["code"] for note in found["notes"]]


def test_wind_and_slope_are_each_series_own(fitting: FlaskClient) -> None:
    head = flown(coefficient(2.0), wind_speed=8.0, wind_from=math.radians(30.0))
    steep = flown(coefficient(2.0), slope=-0.6)
    asked = asking(
        [
            {"speeds": speeds(head), "wind": {"speed": "8 m/s", "from": "30 deg"}},
            {"speeds": speeds(steep), "slope": "-0.6 rad"},
        ],
        [CONSTANT],
    )
    assert values(fitted(fitting, asked)) == pytest.approx(
        {"coefficient": 2.0, "launch_speed": 57.0}, rel=1e-6
    )


def tracked(lead: float, right: float | None = None) -> list[Body]:
    """Positions without drag, `lead` ahead of a balance point loosed along the line of sight."""
    rows = []
    for index, at in enumerate(np.linspace(0.0, 0.8, 9)):
        falling = math.atan2(-9.80665 * at, 57.0)
        row = {
            "time": f"{at:.6f} s",
            "distance": f"{57 * at + lead * math.cos(falling):.9f} m",
            "height": f"{-9.80665 * at**2 / 2 + lead * math.sin(falling):.9f} m",
            "uncertainty": "2 mm",
        }
        if right is not None and index % 2:
            row["right"] = f"{right * at} m"
        rows.append(row)
    return rows


def test_the_tip_may_be_what_was_tracked(fitting: FlaskClient) -> None:
    arrow = {"mass": "20 g", "shaft_diameter": "5.5 mm", "tip_lead": "350 mm"}
    series = {"positions": tracked(0.35), "tracked": "tip", "launch_angle": "0 deg"}
    model = fitted(fitting, asking([series], [NONE], arrow=arrow))
    assert model["chi_square"] < 1e-6
    assert values(model)["launch_speed"] == pytest.approx(57.0, abs=1e-6)
    series["tracked"] = "balance-point"
    assert fitted(fitting, asking([series], [NONE], arrow=arrow))["chi_square"] > 1e3


def test_a_yaw_is_found_where_the_side_was_seen(fitting: FlaskClient) -> None:
    series = {"positions": tracked(0.0, right=57 * 0.01), "free": ["yaw"]}
    model = fitted(fitting, asking([series], [NONE], units={"angle": "rad"}))
    assert values(model)["yaw"] == pytest.approx(0.01, abs=1e-5)
    assert [row["index"] for row in model["residuals"]["right"]] == [1, 3, 5, 7]
    assert [row["index"] for row in model["residuals"]["height"]] == list(range(9))


def test_times_are_by_the_clock_of_the_series(fitting: FlaskClient) -> None:
    """Without drag t = x / v after the clock's 3 s, and falling does not change that."""
    times = [
        {"distance": f"{x} m", "time": f"{3 + x / 57} s", "uncertainty": "1 ms"}
        for x in (10.0, 30.0, 50.0)
    ]
    given = fitted(fitting, asking([{"times": times, "clock": "3 s"}], [NONE]))
    assert values(given)["launch_speed"] == pytest.approx(57.0, rel=1e-6)
    series = {"times": times, "clock": "2.8 s", "free": ["clock"]}
    found = values(fitted(fitting, asking([series], [NONE])))
    assert found == pytest.approx({"launch_speed": 57.0, "clock": 3.0}, rel=1e-6)


def test_a_launch_angle_matters(fitting: FlaskClient) -> None:
    """A drop counts from the line of departure: without drag the angle leaves it alone."""
    at = (10.0, 30.0, 50.0)
    drops = [
        {
            "distance": f"{x} m",
            "drop": f"{9.80665 * (x / math.cos(0.1) / 57) ** 2 / 2} m",
            "uncertainty": "1 mm",
        }
        for x in at
    ]
    series = {"drops": drops, "launch_angle": "0.1 rad"}
    model = fitted(fitting, asking([series], [NONE]))
    assert values(model)["launch_speed"] == pytest.approx(57.0, rel=1e-6)
    level = fitted(fitting, asking([{"drops": drops}], [NONE]))
    assert values(level)["launch_speed"] == pytest.approx(57.0 * math.cos(0.1), rel=1e-6)


def test_a_bound_at_the_upper_end(fitting: FlaskClient) -> None:
    seen = flown(coefficient(30.0))
    model = fitted(fitting, asking([{"speeds": speeds(seen)}], [CONSTANT]))
    line = model["parameters"][0]
    assert line["at_bound"] == "high" and line["value"] == pytest.approx(20.0, abs=1e-3)


def test_weak_fits_say_so(fitting: FlaskClient) -> None:
    seen = flown(coefficient(2.0))
    loose = fitted(fitting, asking([{"speeds": speeds(seen, uncertainty="5 m/s")}], [CONSTANT]))
    assert {"hardly-told", "residuals-too-small"} <= set(codes(loose))
    exact = fitted(fitting, asking([{"speeds": speeds(seen[:2], (5.0, 20.0))}], [CONSTANT]))
    assert "nothing-to-spare" in codes(exact)
    assert exact["chance"] is None and exact["aicc"] is None
    rng = np.random.default_rng(2)
    noisy = speeds(seen + rng.normal(0.0, 0.1, seen.size))
    sound = fitted(fitting, asking([{"speeds": noisy}], [CONSTANT]))
    assert not {"hardly-told", "residuals-too-small", "nothing-to-spare"} & set(codes(sound))
    assert "scaled_uncertainty" not in sound["parameters"][0]


def test_series_are_named_in_the_reply(fitting: FlaskClient) -> None:
    series = {"speeds": speeds(flown(coefficient(2.0))), "name": "dusk"}
    reply = fitting.post("/v1/fit", json=asking([series], [CONSTANT])).get_json()
    assert reply["series"][0]["name"] == "dusk" and reply["series"][0]["values"] == 4
