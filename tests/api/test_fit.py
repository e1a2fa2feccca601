"""POST /v1/fit at the edge: what comes back, and identities of the reply."""

import json
import math
from typing import Any

import jsonschema
import numpy as np
import pytest
from fit_requests import (
    ARROW,
    CONSTANT,
    DISTANCES,
    asking,
    client_of,
    example,
    flown,
    speeds,
)
from flask.testing import FlaskClient
from reference_setups import coefficient
from scipy.special import ndtr

from arrowloft.api import openapi
from arrowloft.api.fitting import fit
from arrowloft.api.resource import Edge, Limits
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]


@pytest.fixture(scope="module")
def fitting() -> FlaskClient:
    return client_of()


def fitted(fitting: FlaskClient, asked: Body) -> Any:
    reply = fitting.post("/v1/fit", json=asked)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def parameters(model: Any) -> dict[str, Any]:
    """Name -> its line, of one model of a reply."""
    return {f"{item['name']}{item.get('element', '')}": item for item in model["parameters"]}


def codes(found: Any) -> list[str]:
    return [note["code"] for note in found["notes"]]


def test_what_it_was_made_with_comes_back(fitting: FlaskClient) -> None:
    asked = asking([{"speeds": speeds(flown(coefficient(1.56)))}], [CONSTANT])
    model = fitted(fitting, asked)["models"][0]
    told = parameters(model)
    assert told["coefficient"]["value"] == pytest.approx(1.56, abs=1e-6)
    assert told["launch_speed"]["value"] == pytest.approx(57.0, abs=1e-6)
    assert told["launch_speed"]["series"] == [0] and told["launch_speed"]["of"] == "series"
    assert model["degrees_of_freedom"] == 2 and model["chi_square"] < 1e-8
    uncertainty = told["coefficient"]["standard_uncertainty"]
    for item in model["coefficients"]:
        assert item["coefficient"] == pytest.approx(1.56, abs=1e-6)
        assert item["standard_uncertainty"] == pytest.approx(uncertainty, rel=1e-3)


def test_criteria_are_those_of_the_residuals(fitting: FlaskClient) -> None:
    """Likelihood and criteria from the residuals told, all in SI."""
    found = fitted(fitting, example() | {"units": {"length": "m"}})
    for model in found["models"]:
        rows = [row for kind in model["residuals"].values() for row in kind]
        assert len(rows) == 10
        chi_square = sum(row["in_uncertainties"] ** 2 for row in rows)
        spread = sum(math.log(2 * math.pi * row["uncertainty"] ** 2) for row in rows)
        likely = -0.5 * (chi_square + spread)
        count = len(model["parameters"])
        assert model["chi_square"] == pytest.approx(chi_square, rel=1e-4)
        assert model["log_likelihood"] == pytest.approx(likely, abs=5e-3)
        assert model["aic"] == pytest.approx(2 * count - 2 * likely, abs=1e-2)
        assert model["aicc"] - model["aic"] == pytest.approx(2 * count * (count + 1) / (9 - count))
        assert model["bic"] - model["aic"] == pytest.approx(count * (math.log(10) - 2))
        for row in rows:
            assert row["residual"] == pytest.approx(row["observed"] - row["predicted"], abs=2e-6)


def test_the_ranking_is_of_the_models(fitting: FlaskClient) -> None:
    found = fitted(fitting, example())
    assert found["criterion"] == "aic"
    values = [found["models"][line["model"]]["aic"] for line in found["ranking"]]
    assert values == sorted(values)
    for place, line in enumerate(found["ranking"]):
        assert found["models"][line["model"]]["rank"] == place + 1
        assert found["models"][line["model"]]["label"] == line["label"]
        assert line["difference"] == pytest.approx(values[place] - values[0], abs=1e-5)
    weights = np.exp(-0.5 * (np.array(values) - values[0]))
    told = [line["weight"] for line in found["ranking"]]
    assert told == pytest.approx(weights / weights.sum(), rel=1e-4)
    assert "models-alike" in codes(found)
    assert found["ranking"][-1]["label"] == "component, as measured"


def blended(flow: Any, arrow: Any) -> Any:
    """1.3 below and 2.6 above a band around Re 1.55e4, as the model `transition` has it."""
    share = ndtr(6.0 / math.log(2.0 / 1.2) * np.log(flow.reynolds(arrow.shaft_diameter) / 15492.0))
    return (1.3 + 1.3 * share) * cross_section(arrow)


@pytest.mark.parametrize(("law", "best"), [(blended, "transition"), (coefficient(1.9), "constant")])
def test_the_true_model_ranks_first(fitting: FlaskClient, law: Any, best: str) -> None:
    """Two shots, from above the band to below it, with noise."""
    rng = np.random.default_rng(11)
    at = np.linspace(5.0, 70.0, 9)
    series = [
        {"speeds": speeds(flown(law, speed, at) + rng.normal(0.0, 0.05, 9), at, "0.05 m/s")}
        | {"free": ["launch_speed"]}
        for speed in (57.0, 40.0)
    ]
    models = [CONSTANT, {"drag": {"model": "transition"}}]
    found = fitted(fitting, asking(series, models))
    assert found["ranking"][0]["label"] == best
    assert found["models"][0 if best == "constant" else 1]["chance"] > 0.01
    if best == "transition":
        assert found["ranking"][1]["difference"] > 10.0
        told = parameters(found["models"][1])
        for name, truth in (("laminar", 1.3), ("turbulent", 2.6)):
            assert abs(told[name]["value"] - truth) < 3 * told[name]["standard_uncertainty"]
        worse = parameters(found["models"][0])["coefficient"]
        ratio = worse["scaled_uncertainty"] / worse["standard_uncertainty"]
        stretch = found["models"][0]["chi_square"] / found["models"][0]["degrees_of_freedom"]
        assert ratio == pytest.approx(math.sqrt(stretch), rel=1e-3)
        assert "residuals-too-large" in codes(found["models"][0])


def test_neither_order_matters(fitting: FlaskClient) -> None:
    asked = example()
    found = fitted(fitting, asked)
    asked["series"].reverse()
    asked["models"].reverse()
    for item in asked["series"]:
        for name in ("speeds", "times", "drops"):
            item.get(name, []).reverse()
    turned = fitted(fitting, asked)
    assert [line["label"] for line in turned["ranking"]][-1] == found["ranking"][-1]["label"]
    for one, other in zip(found["models"], turned["models"][::-1], strict=True):
        assert one["label"] == other["label"]
        assert one["chi_square"] == pytest.approx(other["chi_square"], rel=1e-6)
        for line, same in zip(one["parameters"], other["parameters"], strict=True):
            assert line["value"] == pytest.approx(same["value"], rel=1e-6)
            assert line["standard_uncertainty"] == pytest.approx(
                same["standard_uncertainty"], rel=1e-3
            )


def test_units_do_not_matter(fitting: FlaskClient) -> None:
    asked = example()
    found = fitted(fitting, asked)
    text = json.dumps(asked)
    for was, now in (("0.5 ft/s", "0.1524 m/s"), ("50 yd", "45.72 m"), ("0.4 in", "10.16 mm")):
        text = text.replace(was, now)
    metric = fitted(fitting, json.loads(text) | {"units": {"speed": "m/s"}})
    for one, other in zip(found["models"], metric["models"], strict=True):
        assert one["aic"] == pytest.approx(other["aic"], abs=1e-6)
        was, now = parameters(one)["launch_speed"], parameters(other)["launch_speed"]
        assert now["unit"] == "m/s" and was["unit"] == "ft/s"
        assert now["value"] == pytest.approx(0.3048 * was["value"], rel=1e-7)
        assert now["standard_uncertainty"] == pytest.approx(
            0.3048 * was["standard_uncertainty"], rel=1e-3
        )


def test_elements_of_a_list_are_unknowns(fitting: FlaskClient) -> None:
    """A table's coefficients, of a law that is a straight line in Re: PCHIP keeps to it."""

    def law(flow: Any, arrow: Any) -> Any:
        return (flow.reynolds(arrow.shaft_diameter) / 1e4) * cross_section(arrow)

    at = np.linspace(3.0, 70.0, 12)
    given = {"reynolds": [2.0e4, 2.1e4, 2.2e4], "coefficient": [1.5, 1.5, 1.5]}
    asked = asking(
        [{"speeds": speeds(flown(law, 60.0, at), at, "0.005 m/s")}],
        [{"drag": {"model": "table", "parameters": given}}],
    )
    found = fitted(fitting, asked)["models"][0]
    told = parameters(found)
    assert [item.get("element") for item in found["parameters"]] == [0, 1, 2, None]
    for element, truth in enumerate((2.0, 2.1, 2.2)):
        assert told[f"coefficient{element}"]["value"] == pytest.approx(truth, abs=2e-3)
    assert found["correlations"]["names"][2] == "drag.coefficient[2]"
    matrix = np.array(found["correlations"]["matrix"])
    assert np.diag(matrix) == pytest.approx(1.0)
    assert matrix == pytest.approx(matrix.T)


def test_a_launch_model_carries_one_energy_to_two_arrows(fitting: FlaskClient) -> None:
    """v = sqrt(2 E / (m + M)): the energy is told by both series, in their own arrows and air."""
    energy, mass = 60.0, 0.005
    series = []
    for arrow_mass in (0.02, 0.03):
        speed = math.sqrt(2 * energy / (arrow_mass + mass))
        series.append(
            {
                "arrow": ARROW | {"mass": f"{arrow_mass} kg"},
                "speeds": speeds(_with_mass(arrow_mass, speed)),
            }
        )
    launch = {
        "model": "energy",
        "parameters": {"stored_energy": "50 J", "virtual_mass": f"{mass} kg"},
    }
    found = fitted(fitting, asking(series, [CONSTANT | {"launch": launch}]))
    told = parameters(found["models"][0])
    assert told["stored_energy"]["value"] == pytest.approx(energy, rel=1e-6)
    assert told["coefficient"]["value"] == pytest.approx(2.0, rel=1e-5)
    both = CONSTANT | {"launch": launch | {"free": ["stored_energy", "virtual_mass"]}}
    told = parameters(fitted(fitting, asking(series, [both]))["models"][0])
    assert told["virtual_mass"]["value"] == pytest.approx(1e3 * mass, rel=1e-4)


def _with_mass(mass: float, speed: float) -> Any:
    arrow = Arrow(mass=mass, shaft_diameter=0.0055, length=0.7, tip_lead=0.0)
    return flown(coefficient(2.0), speed, arrow=arrow)


def test_each_arrow_has_a_launch_speed_of_its_own(fitting: FlaskClient) -> None:
    heavy = {"arrow": ARROW | {"mass": "30 g"}, "speeds": speeds(_with_mass(0.03, 48.0))}
    light = {"speeds": speeds(flown(coefficient(2.0)))}
    model = fitted(fitting, asking([light, heavy, light], [CONSTANT]))["models"][0]
    lines = [item for item in model["parameters"] if item["name"] == "launch_speed"]
    assert [item["series"] for item in lines] == [[0, 2], [1]]
    assert [item["value"] for item in lines] == pytest.approx([57.0, 48.0], abs=1e-5)


def test_a_given_launch_speed_is_no_unknown(fitting: FlaskClient) -> None:
    series = {"speeds": speeds(flown(coefficient(2.0))), "launch_speed": "57 m/s"}
    model = fitted(fitting, asking([series], [CONSTANT]))["models"][0]
    assert [item["name"] for item in model["parameters"]] == ["coefficient"]
    freed = fitted(fitting, asking([series | {"free": ["launch_speed"]}], [CONSTANT]))
    told = parameters(freed["models"][0])
    assert told["launch_speed"]["start"] == 57.0
    # What is known need not be told by the readings.
    sure = parameters(model)["coefficient"]["standard_uncertainty"]
    assert sure < 0.7 * told["coefficient"]["standard_uncertainty"]


def test_a_track_with_an_unknown_aim_and_clock(fitting: FlaskClient) -> None:
    """Without drag the places are a parabola's; positions of the balance point."""
    time = np.linspace(0.0, 0.9, 10)
    angle, gravity = 0.05, 9.80665
    rows = [
        {
            "time": f"{at + 2.5:.6f} s",
            "distance": f"{57 * math.cos(angle) * at:.6f} m",
            "height": f"{57 * math.sin(angle) * at - gravity * at**2 / 2:.6f} m",
            "uncertainty": "5 mm",
        }
        for at in time
    ]
    series = {"positions": rows, "free": ["launch_angle", "clock"], "clock": "2.4 s"}
    model = fitted(fitting, asking([series], [{"drag": {"model": "none"}}]))["models"][0]
    told = parameters(model)
    assert told["clock"]["value"] == pytest.approx(2.5, abs=1e-5)
    assert told["launch_angle"]["value"] == pytest.approx(math.degrees(angle), abs=1e-3)
    assert told["launch_speed"]["value"] == pytest.approx(57.0, abs=1e-3)
    assert set(model["residuals"]) == {"distance", "height"}
    assert model["degrees_of_freedom"] == 17


def test_own_air_matters(fitting: FlaskClient) -> None:
    series = {"speeds": speeds(flown(coefficient(2.0)))}
    thin = series | {"air": {"pressure": "800 hPa"}}
    found = fitted(fitting, asking([thin], [CONSTANT]))
    value = parameters(found["models"][0])["coefficient"]["value"]
    assert value == pytest.approx(2.0 * 1013.25 / 800.0, rel=1e-3)
    assert found["series"][0]["density"] == pytest.approx(1.2041 * 800 / 1013.25, rel=1e-3)


def test_a_bound_is_named(fitting: FlaskClient) -> None:
    """An arrow that grows faster than gravity makes it asks for less than no drag."""
    growing = np.array(DISTANCES) * 0.02 + flown(coefficient(0.0))
    model = fitted(fitting, asking([{"speeds": speeds(growing)}], [CONSTANT]))["models"][0]
    told = parameters(model)["coefficient"]
    assert told["at_bound"] == "low" and told["standard_uncertainty"] is None
    assert told["value"] == pytest.approx(0.0, abs=1e-4)
    assert parameters(model)["launch_speed"]["standard_uncertainty"] > 0
    assert "at-bound" in codes(model)
    assert model["correlations"]["matrix"][0] == [None, None]


def test_notes_of_what_was_assumed(fitting: FlaskClient) -> None:
    series = [{"speeds": speeds(flown(coefficient(2.0)))}]
    found = fitted(fitting, asking(series, [CONSTANT]))
    assert {"launch-level", "gravity-standard"} <= set(codes(found))
    assert "launch-level" not in codes(fitted(fitting, example()))
    launch = {"model": "measured", "parameters": {"speed": "57 m/s"}}
    held = fitted(fitting, asking(series, [CONSTANT | {"launch": launch | {"free": []}}]))
    assert "launch-held" in codes(held["models"][0])
    free = fitted(fitting, asking(series, [CONSTANT | {"launch": launch}]))
    assert "launch-held" not in codes(free["models"][0])
    light = example()
    light["arrow"]["mass"] = "200 gr"
    assert "light-arrow" in codes(fitted(fitting, light))


def test_the_reply_is_as_documented(fitting: FlaskClient) -> None:
    edge = Edge.of(Registry.discover(), Limits())
    document = openapi.document([fit.resource(edge)], edge.limits, {})
    schema = {
        **document["components"]["schemas"]["FlightFitReply"],
        "components": document["components"],
    }
    asked = example()
    asked["models"].append({"label": "both layers", "drag": {"model": "transition"}})
    found = fitted(fitting, asked)
    assert found["models"][3]["failed"]["code"] == "cannot-be-fitted"
    jsonschema.validate(found, schema, jsonschema.Draft202012Validator)
    wanted = {"$ref": "#/components/schemas/FitRequest", "components": document["components"]}
    table = {"reynolds": [2e4, 3e4], "coefficient": [2, 2]}
    drag = {"model": "table", "parameters": table, "free": ["coefficient[1]"]}
    jsonschema.validate(
        asked | {"models": [{"drag": drag}]}, wanted, jsonschema.Draft202012Validator
    )
    for stranger in ("coefficient[01]", "model[0]"):
        with pytest.raises(jsonschema.ValidationError):
            drag["free"] = [stranger]
            jsonschema.validate(
                asked | {"models": [{"drag": drag}]}, wanted, jsonschema.Draft202012Validator
            )


def test_the_same_request_gives_the_same_bytes(fitting: FlaskClient) -> None:
    first = fitting.post("/v1/fit", json=example()).get_data()
    assert client_of().open("/v1/fit", method="QUERY", json=example()).get_data() == first


def test_the_last_bits_of_a_machine_do_not_matter(fitting: FlaskClient) -> None:
    """What was measured changes by 1e-13 of itself, as rounding does on the way: the same bytes."""
    asked = example()
    asked["models"].append(asked["models"][0] | {"label": "the same again"})
    first = fitting.post("/v1/fit", json=asked).get_data()
    for name, value in (("speeds", "speed"), ("times", "time")):
        for row in asked["series"][0][name]:
            number, unit = row[value].split()
            row[value] = f"{float(number) * (1 + 1e-13)!r} {unit}"
    assert "000000" in asked["series"][0]["speeds"][0]["speed"]
    assert fitting.post("/v1/fit", json=asked).get_data() == first
    # Without laminar flow the blend is the constant law: three are equal, in the request's order.
    ranked = json.loads(first)["ranking"]
    assert [line["model"] for line in ranked] == [0, 1, 3, 2]
    assert [line["difference"] for line in ranked[:3]] == [0.0, 0.0, 0.0]
