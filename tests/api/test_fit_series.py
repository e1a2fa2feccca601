"""POST /v1/fit: what a series brings of its own, and what is said of weak fits."""

import math
from typing import Any

import numpy as np
import pytest
from fit_requests import ARROW, CONSTANT, DISTANCES, asking, client_of, flown, speeds
from flask.testing import FlaskClient
from reference_setups import coefficient

from arrowloft.core.setup.flow import cross_section

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


def test_a_value_at_its_bound_is_there_and_counts_as_none(fitting: FlaskClient) -> None:
    """The fit is the one with the bound given, with as many degrees of freedom and that AIC."""
    seen = flown(coefficient(30.0))
    free = fitted(fitting, asking([{"speeds": speeds(seen)}], [CONSTANT]))
    given = {"drag": {"model": "constant", "parameters": {"coefficient": 20}, "free": []}}
    held = fitted(fitting, asking([{"speeds": speeds(seen)}], [given]))
    assert free["parameters"][0]["value"] == 20.0
    for name in ("degrees_of_freedom", "chi_square", "aic", "bic"):
        assert free[name] == held[name]
    assert "not counted as an unknown" in next(
        note["message"] for note in free["notes"] if note["code"] == "at-bound"
    )
    two = speeds(seen[:2], DISTANCES[:2])
    reply = fitting.post("/v1/fit", json=asking([{"speeds": two}], [CONSTANT])).get_json()
    assert reply["ranking"][0]["unknowns"] == 1
    assert "nothing-to-spare" not in codes(reply["models"][0])


def test_what_a_start_does_not_hear_is_found_all_the_same(fitting: FlaskClient) -> None:
    """From so little drag the arrow never slows to the table's first Reynolds number."""
    at = np.linspace(5.0, 80.0, 8)

    def law(flow: Any, arrow: Any) -> Any:
        return flow.reynolds(arrow.shaft_diameter) / 1e4 * cross_section(arrow)

    seen = speeds(flown(law, 60.0, at), at, "0.02 m/s")
    knots = [1.9e4, 2.05e4, 2.15e4]

    def asked(start: float) -> Body:
        table = {"reynolds": knots, "coefficient": [start] * 3}
        return asking([{"speeds": seen}], [{"drag": {"model": "table", "parameters": table}}])

    heard, silent = fitted(fitting, asked(1.9)), fitted(fitting, asked(0.2))
    for one, other in zip(heard["parameters"], silent["parameters"], strict=True):
        assert other["value"] == pytest.approx(one["value"], rel=1e-6)


def test_what_counts_nowhere_near_the_start_is_looked_for(fitting: FlaskClient) -> None:
    """The default band lies below all that is flown: three of four unknowns do nothing there."""
    at = np.array([3.0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100, 120])
    band = {"laminar": 1.2, "turbulent": 2.6, "band_low": 24000, "band_high": 26500}
    names = list(band)
    drag = {"model": "transition", "parameters": band, "free": []}
    first = asking(
        [{"speeds": speeds(70.0 + 0.0 * at, at, "0.02 m/s"), "launch_speed": "75 m/s"}],
        [{"drag": drag}],
        units={"speed": "m/s"},
    )
    rows = fitted(fitting, first)["residuals"]["speed"]
    seen = speeds([row["predicted"] for row in rows], at, "0.02 m/s")
    blind = {"drag": {"model": "transition", "free": names}}
    asked = asking([{"speeds": seen, "launch_speed": "75 m/s"}], [blind])
    model = fitted(fitting, asked)
    assert model["chi_square"] < 1e-3
    assert values(model)["turbulent"] == pytest.approx(2.6, abs=0.01)


def test_an_element_is_freed_by_the_name_of_the_reply(fitting: FlaskClient) -> None:
    seen = speeds(flown(coefficient(2.0)))
    table = {"reynolds": [1.0e4, 2.1e4, 4.0e4], "coefficient": [2.0, 1.5, 2.0]}
    drag = {"model": "table", "parameters": table, "free": ["coefficient[1]"]}
    model = fitted(fitting, asking([{"speeds": seen}], [{"drag": drag}]))
    lines = [(line["name"], line.get("element")) for line in model["parameters"]]
    assert lines == [("coefficient", 1), ("launch_speed", None)]
    assert model["correlations"]["names"] == ["drag.coefficient[1]", "launch_speed(0)"]
    assert model["parameters"][0]["value"] == pytest.approx(2.0, abs=1e-4)
    told = model["drag"]["parameters"]["coefficient"]
    assert told[0] == 2.0 and told[2] == 2.0 and told[1] == model["parameters"][0]["value"]


def test_coefficients_are_of_the_arrow_and_air_of_the_request(fitting: FlaskClient) -> None:
    """Whatever the order of series that bring a thicker arrow and thinner air."""
    thick = {"arrow": ARROW | {"shaft_diameter": "8 mm"}, "air": {"pressure": "800 hPa"}}
    parts = {"vane_length": "46 mm", "vane_height": "10 mm"}
    seen = {"speeds": speeds(flown(coefficient(2.0)))}
    models = [{"drag": {"model": "component", "parameters": parts}}]
    asked = asking([seen, seen | thick], models)
    found = fitted(fitting, asked)
    asked["series"].reverse()
    turned = fitted(fitting, asked)
    for one, other in zip(found["coefficients"], turned["coefficients"], strict=True):
        assert other["coefficient"] == pytest.approx(one["coefficient"], rel=1e-5)
    # The vanes are larger beside a thinner shaft.
    alone = fitted(fitting, asking([seen | thick], models, arrow=thick["arrow"]))
    assert alone["coefficients"][0]["coefficient"] < 0.9 * found["coefficients"][0]["coefficient"]


def test_a_request_arrow_of_which_the_law_cannot_speak(fitting: FlaskClient) -> None:
    """The parts need a length, which only the series' own arrow has."""
    bare = {name: value for name, value in ARROW.items() if name != "length"}
    seen = {"speeds": speeds(flown(coefficient(2.0))), "arrow": ARROW}
    asked = asking([seen], [{"drag": {"model": "component"}}], arrow=bare)
    model = fitted(fitting, asked)
    assert "coefficients-of-series" in codes(model)
    assert len(model["coefficients"]) == 5


def test_the_fitted_law_can_be_asked_for_as_it_is_told(fitting: FlaskClient) -> None:
    """Model and parameters of the reply, nothing free, leave the same residuals."""
    rng = np.random.default_rng(7)
    at = np.linspace(5.0, 70.0, 9)
    seen = speeds(flown(coefficient(2.0), 57.0, at) + rng.normal(0.0, 0.1, 9), at)
    launch = {"model": "energy", "parameters": {"virtual_mass": "4 g"}, "free": ["stored_energy"]}
    band = {"band_low": 15000, "band_high": 21000}
    drag = {"model": "transition", "parameters": band, "free": ["turbulent"]}
    found = fitted(fitting, asking([{"speeds": seen}], [{"drag": drag, "launch": launch}]))
    again = {
        kind: {"model": found[kind]["model"], "parameters": found[kind]["parameters"], "free": []}
        for kind in ("drag", "launch")
    }
    assert again["drag"]["parameters"]["band_low"] == 15000.0
    assert "laminar" in again["drag"]["parameters"]
    told = fitted(fitting, asking([{"speeds": seen}], [again]))
    assert told["chi_square"] == pytest.approx(found["chi_square"], rel=1e-3)
    assert told["degrees_of_freedom"] == found["degrees_of_freedom"] + 2


def test_rough_laws_are_flown_as_closely_as_readings_ask(fitting: FlaskClient) -> None:
    """A hundred kinks: computed to a tenth of an uncertainty, or said to be too rough for it."""
    knots = np.linspace(10000, 24000, 100).round().tolist()
    at = (5.0, 20.0, 40.0, 60.0, 75.0)
    seen = speeds(flown(coefficient(2.0), 57.0, at), at, "0.3 m/s")
    series = {"speeds": seen, "wind": {"speed": "3 m/s", "from": "80 deg"}, "slope": "9 deg"}

    def asked(values: Any) -> Body:
        table = {"reynolds": knots, "coefficient": values.round(1).tolist()}
        return asking([series], [{"drag": {"model": "table", "parameters": table, "free": []}}])

    uneven = 1 + 2 * np.random.default_rng(2).random(100)
    assert fitted(fitting, asked(uneven))["degrees_of_freedom"] == 4
    steps = np.where(np.arange(100) % 6 < 3, 0.5, 9.0)
    [fault] = fitting.post("/v1/fit", json=asked(steps)).get_json()["errors"]
    assert fault["pointer"] == "/models/0/drag" and "too rough" in fault["detail"]
