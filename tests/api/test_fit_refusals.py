"""POST /v1/fit: what it refuses, and how one bad model leaves the others alone."""

from typing import Any

import pytest
from fit_requests import CONSTANT, asking, client_of, flown, speeds
from flask.testing import FlaskClient
from reference_setups import coefficient

from arrowloft.api.resource import Limits
from arrowloft.core.setup.flow import cross_section

Body = dict[str, Any]
SEEN = speeds(flown(coefficient(2.0)))
TRANSITION = {"drag": {"model": "transition"}}


@pytest.fixture(scope="module")
def fitting() -> FlaskClient:
    return client_of()


def refused(fitting: FlaskClient, asked: Body, status: int = 422) -> list[tuple[str, str]]:
    reply = fitting.post("/v1/fit", json=asked)
    assert reply.status_code == status, reply.get_data(as_text=True)
    return [(fault["pointer"], fault["detail"]) for fault in reply.get_json()["errors"]]


def with_series(**members: Any) -> Body:
    return asking([{"speeds": SEEN} | members], [CONSTANT])


def with_drag(model: str, **members: Any) -> Body:
    return asking([{"speeds": SEEN}], [{"drag": {"model": model} | members}])


def one(**members: Any) -> list[Body]:
    return [SEEN[0] | members, *SEEN[1:]]


@pytest.mark.parametrize(
    ("asked", "pointer", "word"),
    [
        (with_drag("konstant"), "/models/0/drag/model", "did you mean"),
        (with_drag("constant", free=["coeff"]), "/models/0/drag/free/0", '"coefficient"'),
        (with_drag("component", free=["layer"]), "/models/0/drag/free/0", "a choice"),
        (with_drag("none", free=["drag"]), "/models/0/drag/free/0", "none to fit"),
        (
            with_drag("constant", parameters={"coefficient": 2}, free=["uncertainty"]),
            "/models/0/drag/free/0",
            "start from",
        ),
        (with_drag("constant", free="coefficient"), "/models/0/drag/free", "list"),
        (with_drag("constant", free=["coefficient"] * 2), "/models/0/drag/free", "once"),
        (with_drag("constant", free=[]), "/models/0/drag/parameters/coefficient", "free"),
        (with_drag("table"), "/models/0/drag/parameters/reynolds", "add it"),
        (with_drag("constant", fit=["coefficient"]), "/models/0/drag/fit", "not a member"),
        (with_drag("constant", coefficient=2.0), "/models/0/drag/coefficient", "`parameters`"),
        (
            with_drag("table", parameters={"reynolds": [1e4, 2e4]}),
            "/models/0/drag/parameters/coefficient",
            "4 values for 2",
        ),
        (
            with_drag("constant", parameters={"coefficient": 21}),
            "/models/0/drag/parameters/coefficient",
            "outside",
        ),
        (
            with_drag("transition", parameters={"laminar": 3.0, "turbulent": 2.0}),
            "/models/0/drag/parameters/turbulent",
            "exchange",
        ),
        (with_series(speeds=one(uncertainty="0 m/s")), "/series/0/speeds/0/uncertainty", "outside"),
        (with_series(speeds=one(uncertainty="-1 m/s")), "/series/0/speeds/0/uncertainty", ""),
        (with_series(speeds=one(speed="NaN m/s")), "/series/0/speeds/0/speed", ""),
        (with_series(speeds=one(speed="1 s")), "/series/0/speeds/0/speed", "speed"),
        (with_series(speeds=[]), "/series/0/speeds", "1 to"),
        (with_series(speed="57 m/s"), "/series/0/speed", "did you mean"),
        (with_series(free=["speed"]), "/series/0/free/0", "launch_speed"),
        (with_series(aimed_at="30 m", launch_angle="2 deg"), "/series/0/aimed_at", "leave out"),
        (with_series(aimed_at="30 m", free=["launch_angle"]), "/series/0/aimed_at", "leave out"),
        (asking([{"name": "x"}], [CONSTANT]), "/series/0", "at least one of speeds"),
        (asking([], [CONSTANT]), "/series", "1 to 10"),
        (asking([{"speeds": SEEN}] * 11, [CONSTANT]), "/series", "1 to 10"),
        (asking([{"speeds": SEEN}], []), "/models", "1 to 8"),
        (asking([{"speeds": SEEN}], [CONSTANT] * 9), "/models", "1 to 8"),
        (asking([{"speeds": SEEN}], [CONSTANT], sight={}), "/sight", "not a member"),
        (
            with_series(
                times=[{"distance": "5 m", "time": "-1 ms", "uncertainty": "1 ms"}],
            ),
            "/series/0/times",
            "clock",
        ),
    ],
)
def test_refusals(fitting: FlaskClient, asked: Body, pointer: str, word: str) -> None:
    [(where, detail)] = refused(fitting, asked)
    assert where == pointer
    assert word in detail


def test_too_many_observations_are_counted() -> None:
    [(where, detail)] = refused(client_of(limits=Limits(measurements=3)), with_series())
    assert where == "/series/0/speeds" and "1 to 3" in detail
    two = asking([{"speeds": SEEN[:2]}] * 2, [CONSTANT])
    [(where, detail)] = refused(client_of(limits=Limits(measurements=3)), two)
    assert where == "/series" and "4 observations" in detail and "at most 3" in detail


def test_too_many_unknowns_are_counted(fitting: FlaskClient) -> None:
    def table(count: int, label: int = 0) -> Body:
        knots = [2.0e4 + 10 * index for index in range(count)]
        return {
            "drag": {
                "model": "table",
                "parameters": {"reynolds": knots, "coefficient": [2] * count},
            },
            "label": f"{count} at {label}",
        }

    [(where, detail)] = refused(fitting, asking([{"speeds": SEEN}], [CONSTANT, table(20)]))
    assert where == "/models/1" and "21 unknowns" in detail
    [(where, detail)] = refused(
        fitting, asking([{"speeds": SEEN}], [table(15), table(15, 1), CONSTANT])
    )
    assert where == "/models" and "34 unknowns" in detail


def test_fewer_values_than_unknowns(fitting: FlaskClient) -> None:
    [(where, detail)] = refused(fitting, with_series(speeds=SEEN[:1]))
    assert where == "/models/0" and "1 measured value cannot tell 2 unknowns" in detail


def test_what_is_not_told_is_named(fitting: FlaskClient) -> None:
    [(where, detail)] = refused(fitting, asking([{"speeds": SEEN[:1] * 3}], [CONSTANT]))
    assert where == "/models/0"
    assert "`drag.coefficient` and `launch_speed` of series 0 in combination" in detail
    fast = speeds(flown(coefficient(2.0), 120.0))
    [(where, detail)] = refused(fitting, asking([{"speeds": fast}], [TRANSITION]))
    assert "do not tell `drag.laminar`, neither where the fit starts nor with" in detail
    assert "from 32 other values nothing better is found" in detail
    idle = with_series(launch_speed="57 m/s", free=["yaw"])
    [(where, detail)] = refused(fitting, idle)
    assert "`yaw` of series 0" in detail


def test_an_idle_launch_model_is_not_told(fitting: FlaskClient) -> None:
    launch = {"model": "energy", "parameters": {"stored_energy": "50 J", "virtual_mass": "5 g"}}
    asked = asking([{"speeds": SEEN, "launch_speed": "57 m/s"}], [CONSTANT | {"launch": launch}])
    [(_, detail)] = refused(fitting, asked)
    assert "`launch.stored_energy`" in detail


def test_a_bad_model_leaves_the_others_alone(fitting: FlaskClient) -> None:
    rated = {"model": "rated", "parameters": {"rated_speed": "60 m/s"}}
    models = [CONSTANT | {"launch": rated, "label": "rated"}, CONSTANT]
    fast = speeds(flown(coefficient(2.0), 120.0))
    asked = asking([{"speeds": fast}], [*models, TRANSITION])
    reply = fitting.post("/v1/fit", json=asked)
    found = reply.get_json()
    assert reply.status_code == 200
    assert [line["label"] for line in found["ranking"]] == ["constant"]
    first, second, third = found["models"]
    assert first["failed"]["code"] == "model-cannot-answer" and set(first) == {"label", "failed"}
    assert third["failed"]["code"] == "cannot-be-fitted"
    assert second["rank"] == 1 and found["ranking"][0]["model"] == 1
    assert "models-failed" in [note["code"] for note in found["notes"]]
    # Where no model is left, all of them say why.
    faults = refused(fitting, asked | {"models": [models[0], TRANSITION]})
    assert [where for where, _ in faults] == ["/bow/draw_length", "/models/1"]
    assert faults[0][1].startswith("rated: ") and faults[1][1].startswith("transition: ")


def test_a_launch_beyond_all_bows(fitting: FlaskClient) -> None:
    launch = {"model": "energy", "parameters": {"stored_energy": "900 J", "virtual_mass": "0 g"}}
    [(where, detail)] = refused(
        fitting, asking([{"speeds": SEEN}], [CONSTANT | {"launch": launch}])
    )
    assert where == "/models/0/launch" and "correct its parameters" in detail


def test_a_component_that_needs_the_length(fitting: FlaskClient) -> None:
    asked = asking([{"speeds": SEEN}], [{"drag": {"model": "component"}}])
    del asked["arrow"]["length"]
    [(where, _)] = refused(fitting, asked)
    assert where == "/arrow/length"


def test_an_arrow_that_never_arrives(fitting: FlaskClient) -> None:
    far = speeds([20.0, 20.0, 20.0], (5.0, 300.0, 900.0))
    asked = asking([{"speeds": far, "slope": "50 deg"}], [CONSTANT])
    assert [where for where, _ in refused(fitting, asked)] == ["/series/0/speeds/2"]


def test_an_aim_beyond_reach(fitting: FlaskClient) -> None:
    assert [where for where, _ in refused(fitting, with_series(aimed_at="900 m"))] == [
        "/series/0/aimed_at"
    ]
    [(where, detail)] = refused(fitting, with_series(aimed_at="1 m") | _forward("2 m"))
    assert where == "/series/0/aimed_at" and "Too near" in detail


def _forward(reach: str) -> Body:
    return {"bow": {"peep_height": "0 mm", "launch_forward": reach}}


def test_labels_tell_models_apart(fitting: FlaskClient) -> None:
    faults = refused(fitting, asking([{"speeds": SEEN}], [CONSTANT, TRANSITION, CONSTANT]))
    assert [where for where, _ in faults] == ["/models/0/label", "/models/2/label"]
    assert '2 models are called "constant": give each a label of its own' in faults[0][1]


def test_planes_that_the_tip_starts_beyond(fitting: FlaskClient) -> None:
    """The tip is 0.9 m ahead at the launch; a tenth of a metre more must be flown."""
    ahead = {"bow": {"peep_height": "0 mm", "launch_forward": "900 mm"}}
    for name, value in (("speeds", "speed"), ("times", "time"), ("drops", "drop")):
        unit = {"speed": "m/s", "time": "s", "drop": "m"}[value]
        row = {"distance": "0.99 m", value: f"1 {unit}", "uncertainty": f"0.1 {unit}"}
        asked = with_series(**{name: [*(SEEN if name == "speeds" else []), row]}) | ahead
        [(where, detail)] = refused(fitting, asked)
        assert where == f"/series/0/{name}/{4 if name == 'speeds' else 0}/distance"
        assert "nearest distance that can be fitted in this series is 1.000 m" in detail
    near = [*SEEN, SEEN[0] | {"distance": "1.01 m", "speed": "57 m/s"}]
    assert fitting.post("/v1/fit", json=with_series(speeds=near) | ahead).status_code == 200


def test_too_many_paths_are_counted(fitting: FlaskClient) -> None:
    """Eight models of two unknowns and one for each, aimed at in six series: 24 times 12."""
    models = [CONSTANT | {"label": str(index)} for index in range(8)]
    series = [{"speeds": SEEN, "aimed_at": "30 m"}] * 6
    [(where, detail)] = refused(fitting, asking(series, models))
    assert where == "/models"
    assert "make 24" in detail and "needs 12 flights" in detail and "288 together" in detail
    assert fitting.post("/v1/fit", json=asking(series[:5], models)).status_code == 200


@pytest.mark.parametrize(
    ("free", "place", "word"),
    [
        (["coefficient[3]"], 0, 'its last one is "coefficient[2]"'),
        (["coefficient", "coefficient[0]"], 1, "names all its elements"),
        (["coeficient[0]"], 0, 'did you mean "coefficient"'),
        (["uncertainty[0]"], 0, "is one number, no list"),
        (["coefficient[-1]"], 0, "is not a parameter"),
        (["coefficient[0]", "coefficient[0]"], None, "once"),
    ],
)
def test_elements_that_are_none(
    fitting: FlaskClient, free: list[str], place: int | None, word: str
) -> None:
    given = {"reynolds": [2.0e4, 2.1e4, 2.2e4], "coefficient": [1.5, 1.5, 1.5]}
    [(where, detail)] = refused(fitting, with_drag("table", parameters=given, free=free))
    assert where == "/models/0/drag/free" + ("" if place is None else f"/{place}")
    assert word in detail


def test_parameters_that_bound_each_other_are_refused(fitting: FlaskClient) -> None:
    """Drag that falls as layers turn turbulent wants `laminar` above `turbulent`."""

    def falling(flow: Any, arrow: Any) -> Any:
        return 4.0e4 / flow.reynolds(arrow.shaft_diameter) * cross_section(arrow)

    at = (5.0, 20.0, 40.0, 60.0, 80.0)
    seen = speeds(flown(falling, 57.0, at), at, "0.01 m/s")
    band = {"band_low": 15000, "band_high": 21000}
    asked = asking([{"speeds": seen}], [{"drag": {"model": "transition", "parameters": band}}])
    [(where, detail)] = refused(fitting, asked)
    assert where == "/models/0" and "beyond what the model takes" in detail
