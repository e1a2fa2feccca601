"""POST /v1/error-budget at the edge: reply, other resources' shifts, notes, refusals."""

import copy
import csv
import io
import json
import math
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from flask import Flask
from flask.testing import FlaskClient

from arrowloft.api import openapi, problems
from arrowloft.api.chances import error_budget
from arrowloft.api.resource import Edge, Limits
from arrowloft.api.sight import setup_change
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
_ASKED = json.loads((EXAMPLES / "error-budget.request.json").read_text())

MEASURED: Body = {"model": "measured", "parameters": {"speed": "262 ft/s"}}
ALWAYS = ["speed", "mass", "drag", "peep_height", "anchor_sideways", "torque", "roll"]
ALWAYS += ["aim_up", "aim_right", "range", "slope", "wind_along", "wind_across"]
ALWAYS += ["temperature", "pressure"]


def app_of(limits: Limits) -> FlaskClient:
    app = Flask("budget")
    edge = Edge.of(Registry.discover(), limits)
    error_budget.resource(edge).install(app)
    setup_change.resource(edge).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture(scope="module")
def service() -> FlaskClient:
    """A client of this resource, and of the change of set-up beside it."""
    return app_of(Limits())


@pytest.fixture
def asked() -> Body:
    """A valid request, to be changed at will."""
    return copy.deepcopy(_ASKED)


def budget(service: FlaskClient, asked: Body, **changes: Any) -> Any:
    reply = service.post("/v1/error-budget", json=asked | changes)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def refused(service: FlaskClient, asked: Body, **changes: Any) -> list[tuple[str, str]]:
    reply = service.post("/v1/error-budget", json=asked | changes)
    assert reply.status_code in (400, 422), reply.get_data(as_text=True)
    return [(fault["pointer"], fault["detail"]) for fault in reply.get_json()["errors"]]


def codes(found: Any) -> list[str]:
    return [note["code"] for note in found["notes"]]


def said(found: Any, code: str) -> str:
    [message] = [note["message"] for note in found["notes"] if note["code"] == code]
    return str(message)


def of_inputs(row: Any) -> dict[str, Any]:
    return {item["input"]: item for item in row["inputs"]}


def test_every_input_at_every_distance(service: FlaskClient, asked: Body) -> None:
    found = budget(service, asked)
    assert [row["distance"] for row in found["rows"]] == [20, 40, 60]
    names = ["speed", "mass", "drag", "draw_length", *ALWAYS[3:], "click"]
    for row in found["rows"]:
        assert [item["input"] for item in row["inputs"]] == names
        ranks = sorted(item["rank"] for item in row["inputs"])
        assert ranks == list(range(1, len(names) + 1))
        assert sum(item["share"] for item in row["inputs"]) == pytest.approx(1.0, abs=2e-5)
        for axis in ("up", "right"):
            total = math.hypot(*(item[axis] for item in row["inputs"]))
            assert row[axis] == pytest.approx(total, abs=5e-3)
    assert 0 < found["solution"]["shift_error"] < 1e-4
    assert 0 < found["solution"]["error_estimate"] < 1e-6
    assert 0 < found["solution"]["position_error"] < 1e-3


def test_units_of_every_input(service: FlaskClient, asked: Body) -> None:
    units = {item["input"]: item["unit"] for item in budget(service, asked)["rows"][0]["inputs"]}
    assert units["speed"] == units["wind_along"] == units["wind_across"] == "ft/s"
    assert units["mass"] == "gr" and units["drag"] == "share" and units["click"] == "click"
    assert units["draw_length"] == units["peep_height"] == units["anchor_sideways"] == "mm"
    angles = ("torque", "roll", "aim_up", "aim_right", "slope")
    assert {units[name] for name in angles} == {"deg"}
    assert units["range"] == "yd"
    assert units["temperature"] == "degC" and units["pressure"] == "hPa"


def test_other_units_say_the_same(service: FlaskClient, asked: Body) -> None:
    """Per unit of the input, and in the unit of length; a degree of scale has no offset."""
    old = of_inputs(budget(service, asked)["rows"][2])
    other = {"length": "in", "speed": "m/s", "angle": "mrad", "temperature": "degF"}
    new = of_inputs(budget(service, asked, units=asked["units"] | other)["rows"][2])
    factors = {"speed": 0.3048, "roll": 1e-3 / math.radians(1), "temperature": 5 / 9, "range": 1}
    for name, worth in factors.items():
        worth = 1 / worth if name == "speed" else worth
        same = old[name]["up_per_unit"] * worth / 25.4, old[name]["right_per_unit"] * worth / 25.4
        assert new[name]["up_per_unit"] == pytest.approx(same[0], rel=2e-6)
        assert new[name]["right_per_unit"] == pytest.approx(same[1], rel=2e-6)
        assert new[name]["scatter"] == pytest.approx(old[name]["scatter"] / worth, rel=2e-6)
    assert old["temperature"]["scatter"] == 2.0
    in_fahrenheit = {"scatter": {"temperature": "3.6 degF"}}
    assert of_inputs(budget(service, asked, **in_fahrenheit)["rows"][0])["temperature"][
        "scatter"
    ] == pytest.approx(2.0)


def moved(service: FlaskClient, asked: Body, **second: Body) -> list[tuple[float, float]]:
    """Impacts of a second set-up with the first one's marks, from /v1/setup-change."""
    body = {k: v for k, v in asked.items() if k not in ("scatter", "group")}
    reply = service.post("/v1/setup-change", json=body | {"second": second})
    assert reply.status_code == 200, reply.get_json()
    return [(row["up"], row["right"]) for row in reply.get_json()["rows"]]


@pytest.mark.parametrize(
    ("name", "width", "less", "more"),
    [
        (
            "speed",
            2,
            {"launch": {"model": "measured", "parameters": {"speed": "261 ft/s"}}},
            {"launch": {"model": "measured", "parameters": {"speed": "263 ft/s"}}},
        ),
        ("peep_height", 2, {"bow": {"peep_height": "114 mm"}}, {"bow": {"peep_height": "116 mm"}}),
        (
            "drag",
            0.02,
            {"drag": {"model": "constant", "parameters": {"coefficient": 1.98}}},
            {"drag": {"model": "constant", "parameters": {"coefficient": 2.02}}},
        ),
        ("temperature", 4, {"air": {"temperature": "9 degC"}}, {"air": {"temperature": "13 degC"}}),
        ("pressure", 20, {"air": {"pressure": "980 hPa"}}, {"air": {"pressure": "1000 hPa"}}),
        ("slope", 2, {"slope": "4 deg"}, {"slope": "6 deg"}),
        (
            "wind_along",
            4,
            {"wind": {"speed": "3 ft/s", "from": "180 deg"}},
            {"wind": {"speed": "7 ft/s", "from": "180 deg"}},
        ),
        (
            "wind_across",
            2,
            {"wind": {"speed": "5.0990195136 ft/s", "from": "168.690067526 deg"}},
            {"wind": {"speed": "5.0990195136 ft/s", "from": "191.309932474 deg"}},
        ),
    ],
)
def test_a_second_set_up_moves_as_far(
    service: FlaskClient, asked: Body, name: str, width: float, less: Body, more: Body
) -> None:
    """Differences of what /v1/setup-change says, on a slope, in a tail wind of 5 ft/s."""
    asked |= {"launch": MEASURED, "slope": "5 deg"}
    asked |= {"wind": {"speed": "5 ft/s", "from": "180 deg"}}
    asked["drag"] = {"model": "constant", "parameters": {"coefficient": 2.0}}
    asked["air"]["temperature"], asked["air"]["pressure"] = "11 degC", "990 hPa"
    asked["bow"] = {"peep_height": "115 mm", "launch_forward": "900 mm"}
    del asked["scatter"]
    if name == "peep_height":
        less, more = ({"bow": {**asked["bow"], **part["bow"]}} for part in (less, more))
    rows = budget(service, asked)["rows"]
    below, above = moved(service, asked, **less), moved(service, asked, **more)
    for row, one, other in zip(rows, below, above, strict=True):
        found = of_inputs(row)[name]
        up, right = ((b - a) / width for a, b in zip(one, other, strict=True))
        assert found["up_per_unit"] == pytest.approx(up, rel=2e-4, abs=1e-3 / width)
        assert found["right_per_unit"] == pytest.approx(right, rel=2e-4, abs=1e-3 / width)


def test_a_heavier_arrow_is_slower_by_its_launch_model(service: FlaskClient, asked: Body) -> None:
    asked["launch"] = {
        "model": "energy",
        "parameters": {"stored_energy": "98 J", "virtual_mass": "66 gr"},
    }
    del asked["scatter"]
    shifts = [
        moved(service, asked, arrow=asked["arrow"] | {"mass": mass})
        for mass in ("386 gr", "390 gr")
    ]
    found = budget(service, asked)
    for row, (less, _), (more, _) in zip(found["rows"], *shifts, strict=True):
        rise = (more - less) / 4
        assert of_inputs(row)["mass"]["up_per_unit"] == pytest.approx(rise, rel=1e-3)
    assert "budget-mass-speed-kept" not in codes(found)


def test_a_model_that_knows_no_mass_keeps_the_speed(service: FlaskClient, asked: Body) -> None:
    """Even where it undoes the way to a gate: heavier is then less drag, and a share of it."""
    parameters = {"speed": "262 ft/s", "gate_distance": "2 m"}
    asked["launch"] = {"model": "measured", "parameters": parameters}
    asked["drag"] = {"model": "constant", "parameters": {"coefficient": 2.0}}
    del asked["scatter"]
    found = budget(service, asked)
    assert "'measured' takes no account" in said(found, "budget-mass-speed-kept")
    for row in found["rows"]:
        inputs = of_inputs(row)
        same = -inputs["drag"]["up_per_unit"] / 388
        assert inputs["mass"]["up_per_unit"] == pytest.approx(same, rel=2e-6)


def test_draw_length_needs_a_model_that_knows_it(service: FlaskClient, asked: Body) -> None:
    del asked["scatter"]["draw_length"]
    assert "draw_length" in of_inputs(budget(service, asked)["rows"][0])
    found = budget(service, asked, launch=MEASURED)
    assert "draw_length" not in of_inputs(found["rows"][0])
    assert "such as `rated`" in said(found, "budget-no-draw-length")
    asked["scatter"]["draw_length"] = "1 mm"
    [(where, detail)] = refused(service, asked, launch=MEASURED)
    assert where == "/scatter/draw_length"
    assert "bow.draw_length" in detail


def test_draw_length_by_hand(service: FlaskClient, asked: Body) -> None:
    """Faster by the rated model's v ~ sqrt(stroke), a longer sight radius, a start farther on."""
    asked["distances"] = ["60 yd"]
    asked["bow"]["peep_height"] = "0 mm"
    [row] = budget(service, asked)["rows"]
    found = of_inputs(row)
    stroke = (28.5 - 1.75 - 6.6) * 25.4
    launch = service.post("/v1/error-budget", json=asked).get_json()["launch"]
    faster = found["speed"]["up_per_unit"] * launch["speed"] / (2 * stroke)
    body = {k: v for k, v in asked.items() if k not in ("scatter", "group")}
    change = body | {"second": {"slope": "1 deg"}}
    angle = service.post("/v1/setup-change", json=change).get_json()["rows"][0]["launch_angle"]
    tangent = math.tan(math.radians(angle))
    longer = -found["click"]["up_per_unit"] / 0.125 * tangent
    # The start moves along the arrow's line and with it the path, whose descent is that of range.
    start = math.sin(math.radians(angle)) - math.cos(math.radians(angle)) * (
        found["range"]["up_per_unit"] / 914.4
    )
    assert found["draw_length"]["up_per_unit"] == pytest.approx(faster + longer + start, rel=2e-3)
    asked["bow"]["launch_forward"] = f"{launch['launch_forward']} mm"
    held = of_inputs(budget(service, asked)["rows"][0])["draw_length"]["up_per_unit"]
    assert held == pytest.approx(faster + longer, rel=2e-3)
    assert abs(start) > 0.01 * abs(held)


def test_clicks_follow_the_sight(service: FlaskClient, asked: Body) -> None:
    """Up by one click is what peep height does through the angle: x / r."""
    for row in budget(service, asked)["rows"]:
        click = of_inputs(row)["click"]
        assert click["scatter"] == pytest.approx(1 / math.sqrt(12), abs=1e-7)
        assert click["up"] == pytest.approx(click["up_per_unit"] / math.sqrt(12), abs=1e-3)
        assert click["up_per_unit"] == pytest.approx(
            row["distance"] * 914.4 * 0.125 / 825.5, rel=0.02
        )
        assert not click["widens_group"]
    del asked["sight"]["clicks_per_turn"]
    assert "click" not in of_inputs(budget(service, asked)["rows"][0])


def test_what_is_assumed_of_the_speed_is_said(service: FlaskClient, asked: Body) -> None:
    assert "budget-speed-assumed" not in codes(budget(service, asked))
    del asked["scatter"], asked["group"]
    found = budget(service, asked)
    assert "0.2 %" in said(found, "budget-speed-assumed")
    for row in found["rows"]:
        known = {name: item for name, item in of_inputs(row).items() if item["rank"] is not None}
        assert known.keys() == {"speed", "click"}
        assert known["speed"]["scatter"] == pytest.approx(0.002 * found["launch"]["speed"], 1e-6)
        assert row.keys() == {"distance", "up", "right", "inputs"}
        for item in row["inputs"]:
            if item["input"] not in known:
                empty = {item[name] for name in ("scatter", "up", "right", "share", "rank")}
                assert empty == {None}
    assert {item["input"] for item in found["worth_fixing"]} == {"speed", "click"}
    assert "group" not in found


def test_the_group_and_what_is_left_of_it(service: FlaskClient, asked: Body) -> None:
    found = budget(service, asked)
    assert found["group"]["arrows"] == 30
    for row in found["rows"]:
        assert row["group_up"] == pytest.approx(55 * row["distance"] / 40, abs=2e-3)
        own = [item for item in row["inputs"] if item["widens_group"]]
        up, right = (math.hypot(*(item[axis] for item in own)) for axis in ("up", "right"))
        whole = row["group_up"] ** 2 + row["group_right"] ** 2
        assert up < row["group_up"] and right < row["group_right"]
        assert row["explained"] == pytest.approx((up**2 + right**2) / whole, rel=1e-4)
        assert row["unexplained"] == pytest.approx(1 - row["explained"], abs=2e-6)
        left = math.sqrt(max(row["group_up"] ** 2 - up**2, 0))
        assert row["left_up"] == pytest.approx(left, abs=0.02)
    assert "budget-exceeds-group" not in codes(found)
    asked["group"] = {"distance": "40 yd", "vertical": "20 mm", "arrows": 5}
    found = budget(service, asked)
    assert found["rows"][2]["explained"] == 1 and found["rows"][2]["unexplained"] == 0
    assert "at 60 yd" in said(found, "budget-exceeds-group")
    assert "group-from-few-arrows" in codes(found)
    # What one axis has in excess does not make up for what the other lacks.
    asked["group"] = {"distance": "40 yd", "vertical": "60 mm", "sideways": "20 mm"}
    found = budget(service, asked)
    assert "budget-exceeds-group" in codes(found)
    for row in found["rows"]:
        whole = row["group_up"] ** 2 + row["group_right"] ** 2
        left = row["left_up"] ** 2 + row["left_right"] ** 2
        assert row["unexplained"] == pytest.approx(left / whole, rel=1e-4)
        assert row["left_right"] == 0 < row["unexplained"]


def test_worth_fixing_is_ranked_by_the_mean_share(service: FlaskClient, asked: Body) -> None:
    found = budget(service, asked)
    shares = [item["share"] for item in found["worth_fixing"]]
    assert shares == sorted(shares, reverse=True)
    for item in found["worth_fixing"]:
        each = [of_inputs(row)[item["input"]]["share"] for row in found["rows"]]
        assert item["share"] == pytest.approx(sum(each) / 3, abs=2e-6)


def test_what_is_not_in_proportion_is_named(service: FlaskClient, asked: Body) -> None:
    assert "budget-not-in-proportion" not in codes(budget(service, asked))
    # In a cross wind the straight line starts at the drift, not at the aim point.
    windy = {"wind": {"speed": "8 m/s", "from": "90 deg"}}
    assert "budget-not-in-proportion" not in codes(budget(service, asked, **windy))
    asked["scatter"]["roll"] = "25 deg"
    assert said(budget(service, asked), "budget-not-in-proportion").count("roll") == 1


def test_csv_has_one_line_an_input(service: FlaskClient, asked: Body) -> None:
    reply = service.post("/v1/error-budget", json=asked, headers={"Accept": "text/csv"})
    assert reply.content_type.startswith("text/csv")
    head, *lines = csv.reader(io.StringIO(reply.get_data(as_text=True)))
    assert head == [
        "distance (yd)",
        "input",
        "unit",
        "up_per_unit (mm)",
        "right_per_unit (mm)",
        "scatter",
        "up (mm)",
        "right (mm)",
        "share",
        "rank",
        "widens_group",
    ]
    assert len(lines) == 3 * 17
    found = budget(service, asked)["rows"][1]
    [roll] = [line for line in lines if line[:2] == ["40.0", "roll"]]
    assert float(roll[4]) == of_inputs(found)["roll"]["right_per_unit"]
    assert roll[-1] == "true"


def test_the_reply_is_as_documented(service: FlaskClient, asked: Body) -> None:
    edge = Edge.of(Registry.discover(), Limits())
    document = openapi.document([error_budget.resource(edge)], edge.limits, {})
    schema = {
        **document["components"]["schemas"]["ErrorBudgetReply"],
        "components": document["components"],
    }
    jsonschema.validate(budget(service, asked), schema, jsonschema.Draft202012Validator)
    del asked["scatter"], asked["group"]
    jsonschema.validate(budget(service, asked), schema, jsonschema.Draft202012Validator)


@pytest.mark.parametrize(
    ("scatter", "name", "word"),
    [
        ({"sped": "1 ft/s"}, "sped", "did you mean"),
        ({"click": "1 mm"}, "click", "not a member"),
        ({"speed": "-1 ft/s"}, "speed", "outside"),
        ({"speed": "1 deg"}, "speed", "ft/s"),
        ({"speed": "60 ft/s"}, "speed", "a fifth of the speed itself, 50.7 ft/s"),
        ({"mass": "100 gr"}, "mass", "a fifth of the mass itself, 77.6 gr"),
        ({"drag": "3 %"}, "drag", "plain number"),
        ({"drag": 0.6}, "drag", "outside"),
        ({"temperature": "40 degF"}, "temperature", "0 to 36 degF"),
        ({"temperature": "-1 degC"}, "temperature", "0 to 20 degC"),
        ({"temperature": "2 C"}, "temperature", "degC"),
        ({"roll": 1}, "roll", "string"),
    ],
)
def test_a_scatter_that_cannot_be(
    service: FlaskClient, asked: Body, scatter: Body, name: str, word: str
) -> None:
    [(where, detail)] = refused(service, asked, scatter=scatter)
    assert where == f"/scatter/{name}"
    assert word in detail


@pytest.mark.parametrize(
    ("changes", "pointer", "word"),
    [
        ({"distances": ["20 yd", "900 yd"]}, "/distances/1", "beyond reach"),
        ({"distances": ["1.2 m"]}, "/distances/0", "Too near"),
        (
            {"distances": {"from": "20 yd", "to": "320 yd", "step": "1 yd"}},
            "/distances/step",
            "301 distances: give at most 294",
        ),
        (
            {
                "air": {"temperature": "60 degC", "pressure": "300 hPa", "relative_humidity": 1},
                "scatter": {"temperature": "20 degC"},
            },
            "/air",
            "no room for changes",
        ),
    ],
)
def test_refusals(
    service: FlaskClient, asked: Body, changes: Body, pointer: str, word: str
) -> None:
    [(where, detail)] = refused(service, asked, **changes)
    assert where == pointer
    assert word in detail


def test_the_sight_is_needed(service: FlaskClient, asked: Body) -> None:
    del asked["sight"]
    [(where, _)] = refused(service, asked)
    assert where == "/sight"
