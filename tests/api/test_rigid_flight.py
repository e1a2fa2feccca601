"""POST /v1/rigid-flight at the edge: the reply's shape, signs and sums, notes, refusals."""

import copy
import csv
import io
import json
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from flask import Flask
from flask.testing import FlaskClient

from arrowloft.api import openapi, problems
from arrowloft.api.resource import Edge, Limits
from arrowloft.api.rigid import rigid_flight
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
PATH = "/v1/rigid-flight"
EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
_ASKED = json.loads((EXAMPLES / "rigid-flight.request.json").read_text())
ONE_PART: Body = {"mass": "2.3 g", "position": "28 mm"}


@pytest.fixture(scope="module")
def rigid() -> FlaskClient:
    """A client of this resource alone."""
    app = Flask("rigid")
    rigid_flight.resource(Edge.of(Registry.discover(), Limits())).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture
def asked() -> Body:
    """A valid request without wind, scatter and further distances, to be changed at will."""
    body = copy.deepcopy(_ASKED)
    for name in ("wind", "scatter", "distances", "release"):
        del body[name]
    body["drag"] = {"model": "constant", "parameters": {"coefficient": 1.8}}
    return body


def flown(rigid: FlaskClient, asked: Body, **changes: Any) -> Any:
    reply = rigid.post(PATH, json=asked | changes)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def refused(
    rigid: FlaskClient, asked: Body, code: str = "invalid-request", **changes: Any
) -> list[tuple[str, str]]:
    reply = rigid.post(PATH, json=asked | changes)
    assert reply.status_code == 422, reply.get_data(as_text=True)
    found = reply.get_json()
    assert found["type"] == f"/problems/{code}"
    return [(fault["pointer"], fault["detail"]) for fault in found["errors"]]


def codes(found: Any) -> list[str]:
    return [note["code"] for note in found["notes"]]


def test_the_example_is_answered_as_documented(rigid: FlaskClient) -> None:
    edge = Edge.of(Registry.discover(), Limits())
    described = openapi.document([rigid_flight.resource(edge)], Limits(), {})
    schema = {
        "$ref": "#/components/schemas/RigidFlightReply",
        "components": described["components"],
    }
    first, again = (rigid.open(PATH, method=way, json=_ASKED) for way in ("POST", "QUERY"))
    assert first.status_code == 200 and first.data == again.data
    found = first.get_json()
    jsonschema.validate(found, schema)
    assert [row["distance"] for row in found["rows"]] == [50.0, 20.0, 70.0]
    assert len(found["points"]) == 11
    assert found["units"]["angle_rate"] == "rad/s" and found["units"]["inertia"] == "g cm2"
    bare = {name: value for name, value in _ASKED.items() if name not in ("scatter", "release")}
    short = rigid.post(PATH, json=bare | {"target": "3 m", "distances": ["4 m"]}).get_json()
    jsonschema.validate(short, schema)
    assert short["oscillation"]["flown"] is None
    assert "group_up" not in short["rows"][0]


def test_signs_are_those_of_the_description(rigid: FlaskClient, asked: Body) -> None:
    """Tip up and tip right are positive, and send the arrow up and right."""
    for release, name, sign in (
        ({"pitch": "2 deg"}, "release_up", 1),
        ({"pitch": "-2 deg"}, "release_up", -1),
        ({"pitch_rate": "0.5 rad/s"}, "release_up", 1),
        ({"yaw": "2 deg"}, "release_right", 1),
        ({"yaw": "-2 deg"}, "release_right", -1),
        ({"yaw_rate": "30 deg/s"}, "release_right", 1),
    ):
        found = flown(rigid, asked, release=release)
        assert sign * found["rows"][0][name] > 5.0, release
        if "pitch" in release:
            assert sign * found["points"][0]["pitch"] == pytest.approx(2.0, abs=1e-3)
        if "yaw" in release:
            assert sign * found["points"][0]["yaw"] == pytest.approx(2.0, abs=1e-2)
    spun = flown(rigid, asked, release={"spin": "-600 rpm"})
    assert spun["points"][0]["spin"] == pytest.approx(-20 * np.pi, abs=1e-4)
    assert spun["points"][-1]["spin"] > 100.0  # the offset of the vanes is positive
    assert spun["spin"]["at_target"] == spun["points"][-1]["spin"] < spun["spin"]["terminal"]


def test_a_clean_release_shifts_only_with_the_path(rigid: FlaskClient, asked: Body) -> None:
    found = flown(rigid, asked)
    row = found["rows"][0]
    assert row["release_up"] == row["release_right"] == 0.0
    assert 5.0 < row["shift_up"] < 60.0
    assert found["points"][0]["angle"] == 0.0
    assert "rigid-path-bends" in codes(found)


def test_the_swing_as_foretold_and_as_flown(rigid: FlaskClient, asked: Body) -> None:
    found = flown(rigid, asked, release={"pitch": "0.3 deg"}, target="70 m")
    linear, seen = found["oscillation"]["linear"], found["oscillation"]["flown"]
    for name in ("frequency", "length"):
        assert seen[name] == pytest.approx(linear[name], rel=0.03)
    assert seen["damping_ratio"] == pytest.approx(linear["damping_ratio"], rel=0.2)
    for swing in (linear, seen):
        speed = found["points"][0]["speed"]
        assert swing["frequency"] * swing["length"] == pytest.approx(speed, rel=1e-5)
        assert swing["to_third"] / swing["to_e_fold"] == pytest.approx(np.log(3.0), rel=1e-5)


def test_a_group_has_its_causes(rigid: FlaskClient, asked: Body) -> None:
    scatter = {"pitch_rate": "0.1 rad/s", "yaw": "0.4 deg"}
    found = flown(rigid, asked, scatter=scatter, distances=["18 m", "70 m"])
    for row in found["rows"]:
        assert row["group_up"] == pytest.approx(np.hypot(*row["up_by"][0::2]), rel=0.02)
        assert row["right_by"][0] == row["right_by"][3] == row["up_by"][3] == 0.0
        assert row["up_by"][2] > row["right_by"][2] and row["right_by"][1] > row["up_by"][1]
        assert 0.0 <= row["bend"] < 0.1
    near, far = found["rows"][1], found["rows"][2]
    assert far["group_up"] > 2.0 * near["group_up"]
    assert "rigid-scatter-not-linear" not in codes(found)
    wide = flown(rigid, asked, scatter={"pitch_rate": "1.5 rad/s"})
    assert wide["rows"][0]["bend"] > 0.1
    assert "rigid-scatter-not-linear" in codes(wide)


def test_parts_or_an_estimate(rigid: FlaskClient, asked: Body) -> None:
    """The parts that the estimate stands for give the same flight."""
    body = {"vanes": asked["body"]["vanes"]}
    estimated = flown(rigid, asked, body=body)["body"]
    assert estimated["estimated"] is True
    mass = 388 * 0.06479891
    assert estimated["nock_mass"] == pytest.approx(0.06 * mass, abs=1e-4)
    point, nock = estimated["point_mass"], estimated["nock_mass"]
    parts = [
        {"mass": f"{nock} g", "position": "0 mm"},
        {"mass": f"{mass - point - nock:.6f} g", "position": "13.95 in", "length": "27.9 in"},
        {"mass": f"{point} g", "position": "27.9 in", "radius": f"{2.85 / 2**0.5} mm"},
    ]
    given = flown(rigid, asked, body=body | {"parts": parts})
    assert given["body"]["estimated"] is False and given["body"]["point_mass"] is None
    for name in ("transverse_inertia", "axial_inertia"):
        assert given["body"][name] == pytest.approx(estimated[name], rel=1e-5)
    assert "rigid-inertia-estimated" not in codes(given)
    known = flown(rigid, asked, body=body | {"point_mass": "8 g"})
    assert known["body"]["point_mass"] == 8.0
    assert known["body"]["transverse_inertia"] > estimated["transverse_inertia"]
    assert known["oscillation"]["linear"]["frequency"] < 3.4


def test_margins_shrink_with_the_angle(rigid: FlaskClient, asked: Body) -> None:
    found = flown(rigid, asked)["aerodynamics"]
    margins = [row["static_margin"] for row in found["margins"]]
    assert margins == sorted(margins, reverse=True) and margins[-1] > 0.0
    assert found["margins"][0]["share"] == pytest.approx(margins[0] / (27.9 * 25.4), rel=1e-5)
    assert found["cross_flow"] == 1.1
    linear = flown(rigid, asked, body=asked["body"] | {"cross_flow": 0})["aerodynamics"]
    assert linear["cross_flow"] == 0.0
    assert {row["static_margin"] for row in linear["margins"]} == {margins[0]}


def test_the_shaft_s_cross_flow_decides_what_a_wide_swing_does(
    rigid: FlaskClient, asked: Body
) -> None:
    release = {"pitch_rate": "1 rad/s"}
    without, usual, much = (
        flown(rigid, asked, release=release, body=asked["body"] | {"cross_flow": size})
        for size in (0.0, 1.1, 2.0)
    )
    shifts = [found["rows"][0]["release_up"] for found in (without, usual, much)]
    assert shifts == sorted(shifts) and shifts[1] > 1.1 * shifts[0]
    assert flown(rigid, asked, release=release)["rows"] == usual["rows"]
    assert "rigid-cross-flow" in codes(usual)
    body = asked["body"]
    ((where, _),) = refused(rigid, asked, body=body | {"cross_flow": 2.5})
    assert where == "/body/cross_flow"


def test_wind_moves_the_hit_from_the_point_mass_s_drift(rigid: FlaskClient, asked: Body) -> None:
    """The note names what a clean release is shifted by; from the right the air pushes left."""
    assert "rigid-wind" not in codes(flown(rigid, asked))
    wind, release = {"speed": "4 m/s", "from": "90 deg"}, {"yaw": "2 deg"}
    found = flown(rigid, asked, wind=wind, release=release)
    row = found["rows"][0]
    (message,) = (note["message"] for note in found["notes"] if note["code"] == "rigid-wind")
    aside = row["shift_right"] - row["release_right"]
    clean = flown(rigid, asked, wind=wind)["rows"][0]
    assert clean["shift_right"] == pytest.approx(aside, abs=2e-3) and aside < -5.0
    assert f"by {-aside:.3g} mm to the left" in message


def test_masses_that_no_arrow_has(rigid: FlaskClient, asked: Body) -> None:
    assert "rigid-unlikely-masses" not in codes(flown(rigid, asked))
    heavy = flown(rigid, asked, body=asked["body"] | {"point_mass": "7.2 g"})
    (message,) = (
        note["message"] for note in heavy["notes"] if note["code"] == "rigid-unlikely-masses"
    )
    assert f"{heavy['body']['nock_mass']:.3g} g" in message


def test_points_by_step_and_as_csv(rigid: FlaskClient, asked: Body) -> None:
    del asked["samples"]
    assert len(flown(rigid, asked)["points"]) == 101
    found = flown(rigid, asked, step="10 m")["points"]
    assert [round(point["distance"], 3) for point in found[1:-1]] == [10.0, 20.0, 30.0, 40.0]
    text = rigid.post(PATH, json=asked | {"step": "10 m"}, headers={"Accept": "text/csv"})
    rows = list(csv.DictReader(io.StringIO(text.get_data(as_text=True))))
    assert float(rows[2]["angle (deg)"]) == pytest.approx(found[2]["angle"])
    assert float(rows[2]["spin (rad/s)"]) == pytest.approx(found[2]["spin"])


def test_settling_follows_the_angle_asked_for(rigid: FlaskClient, asked: Body) -> None:
    asked |= {"release": {"pitch": "3 deg"}, "target": "90 m"}
    found = flown(rigid, asked)["settling"]
    assert found["settled_angle"] == 0.5
    assert found["greatest_angle"] == pytest.approx(3.0, abs=0.1)
    assert found["third"] > found["e_fold"] > found["at"]
    rough = flown(rigid, asked, settled_angle="2 deg")["settling"]
    assert rough["settled_angle"] == 2.0 and rough["settled"] < found["e_fold"]
    fine = flown(rigid, asked, settled_angle="0.01 deg")["settling"]
    assert fine["settled"] is None
    for target in ("60 m", "74 m"):
        nearer = flown(rigid, asked, target=target)["settling"]
        assert nearer["e_fold"] == pytest.approx(found["e_fold"], abs=0.3)


def test_notes_say_how_rough_it_is(rigid: FlaskClient, asked: Body) -> None:
    found = flown(rigid, asked)
    assert found["notes"][0]["code"] == "rigid-derived" and "30 %" in found["notes"][0]["message"]
    message = {note["code"]: note["message"] for note in found["notes"]}
    assert "flexing" in message["rigid-left-out"]
    assert "KAKEN 18K03943" in message["rigid-boundary-layer"]
    assert {"rigid-offset-drag", "rigid-drag-rise", "rigid-inertia-estimated"} <= set(message)
    assert "rigid-wide-angle" not in message
    assert "rigid-wide-angle" not in codes(flown(rigid, asked, release={"yaw": "8 deg"}))
    straight = asked["body"]["vanes"] | {"offset": "0 deg"}
    still = flown(
        rigid, asked, body={"vanes": straight}, release={"yaw": "20 deg", "spin": "0 rpm"}
    )
    assert "rigid-offset-drag" not in codes(still) and "rigid-wide-angle" in codes(still)
    assert still["spin"]["at_target"] == pytest.approx(0.0, abs=1e-5)
    assert still["spin"]["terminal"] == 0.0


@pytest.mark.parametrize(
    ("changes", "pointer", "words"),
    [
        ({"release": {"pitch": "40 deg"}}, "/release/pitch", "outside"),
        ({"release": {"roll": "1 deg"}}, "/release/roll", "not a member"),
        ({"release": {"pitch_rate": "3 deg"}}, "/release/pitch_rate", "deg/s"),
        ({"scatter": {"pitch": "-1 deg"}}, "/scatter/pitch", "0 deg"),
        ({"scatter": {}}, "/scatter", "Nothing scatters"),
        ({"scatter": {"pitch": "0 deg"}}, "/scatter", "Nothing scatters"),
        ({"step": "1 m"}, "/samples", "either"),
        ({"distances": [f"{d} m" for d in range(10, 21)]}, "/distances", "1 to 10"),
        ({"target": "0.5 m"}, "/target", "outside"),
        ({"target": "1 m"}, "/target", "Too near"),
        ({"distances": ["30 m", "1.1 m"]}, "/distances/1", "Too near"),
        ({"settled_angle": "0 deg"}, "/settled_angle", "outside"),
    ],
)
def test_members_out_of_place(
    rigid: FlaskClient, asked: Body, changes: Body, pointer: str, words: str
) -> None:
    faults = refused(rigid, asked, **changes)
    assert faults[0][0] == pointer and words in faults[0][1]


def test_a_body_that_cannot_be(rigid: FlaskClient, asked: Body) -> None:
    vanes = asked["body"]["vanes"]

    def fault(**body: Any) -> tuple[str, str]:
        (found,) = refused(rigid, asked, body={"vanes": vanes} | body)
        return found

    assert fault(vanes=vanes | {"count": 2})[0] == "/body/vanes/count"
    assert fault(vanes=vanes | {"position": "700 mm"})[0] == "/body/vanes/position"
    assert fault(point_mass="20 g")[0] == "/body/point_mass"
    assert fault(point_mass="1 g")[0] == "/body/point_mass"
    assert fault(point_mass="8 g", parts=[ONE_PART])[0] == "/body/point_mass"
    pointer, detail = fault(parts=[ONE_PART])
    assert pointer == "/body/parts" and "weigh 2.3 g" in detail and "25.14 g" in detail
    pointer, detail = fault(parts=[{"mass": "388 gr", "position": "300 mm"}])
    assert pointer == "/body/parts" and "balance 300 mm" in detail
    arrow = dict(asked["arrow"])
    del arrow["length"], arrow["balance_point"]
    missing = refused(rigid, asked, arrow=arrow)
    assert [where for where, _ in missing] == ["/arrow/length", "/arrow/balance_point"]
    top_heavy = asked["arrow"] | {"balance_point": "27 in"}
    refusal = refused(rigid, asked, arrow=top_heavy, body={"vanes": vanes})
    assert refusal[0][0] == "/arrow/balance_point" and "body.parts" in refusal[0][1]


def test_flights_that_cannot_be_followed(rigid: FlaskClient, asked: Body) -> None:
    code = "cannot-be-followed"
    small = asked["body"]["vanes"] | {"length": "5 mm", "height": "1 mm"}
    ((where, detail),) = refused(rigid, asked, code, body={"vanes": small})
    assert where == "/body/vanes" and "larger vanes" in detail
    ((where, detail),) = refused(rigid, asked, code, release={"pitch_rate": "-30 rad/s"})
    assert where == "/release" and "45 deg" in detail and "angles and rates" in detail
    storm = {"speed": "40 m/s", "from": "90 deg"}
    slow = {"launch": {"model": "measured", "parameters": {"speed": "35 m/s"}}, "target": "10 m"}
    ((where, detail),) = refused(rigid, asked, code, **slow, wind=storm)
    assert where == "/wind" and "less wind" in detail
    ((where, detail),) = refused(rigid, asked, code, scatter={"yaw": "30 deg"})
    assert where == "/scatter" and "less scatter" in detail


def test_flights_too_long_to_compute_say_what_makes_them_so(
    rigid: FlaskClient, asked: Body
) -> None:
    code = "cannot-be-followed"
    kites = {"vanes": asked["body"]["vanes"] | {"count": 6, "length": "200 mm", "height": "50 mm"}}
    assert flown(rigid, asked, body=kites)["spin"]["at_target"] > 50.0
    many = {"distances": [f"{d} m" for d in range(190, 200)], "scatter": {"yaw": "1 deg"}}
    faults = refused(rigid, asked, code, body=kites, target="200 m", **many)
    assert [where for where, _ in faults] == ["/body/vanes/height", "/body/vanes/length"]
    assert "lower or shorter vanes" in faults[0][1] and "no scatter" in faults[0][1]
    arrow = asked["arrow"] | {"mass": "25 g", "length": "700 mm", "balance_point": "400 mm"}
    wide = [
        {"mass": "12.5 g", "position": "200 mm", "radius": "50 mm"},
        {"mass": "12.5 g", "position": "600 mm", "radius": "50 mm"},
    ]
    top = {"vanes": asked["body"]["vanes"] | {"offset": "0 deg"}, "parts": wide}
    spun = {"body": top, "arrow": arrow, "target": "150 m"}
    ((where, detail),) = refused(rigid, asked, code, release={"spin": "5000 rad/s"}, **spun)
    assert where == "/release/spin" and "top" in detail


def test_a_swing_that_grows_has_no_distance_to_shrink(rigid: FlaskClient, asked: Body) -> None:
    """Drag so great that the arrow slows down faster than its swing dies down."""
    tiny = asked["body"]["vanes"] | {"length": "14 mm", "height": "2.5 mm", "position": "0 mm"}
    drag = {"model": "constant", "parameters": {"coefficient": 20.0}}
    found = flown(rigid, asked, body={"vanes": tiny}, drag=drag, target="30 m")
    linear = found["oscillation"]["linear"]
    assert linear["damping_ratio"] < 0.0
    assert linear["to_third"] is None and linear["to_e_fold"] is None


def test_beyond_reach_names_the_distance(rigid: FlaskClient, asked: Body) -> None:
    ((where, detail),) = refused(rigid, asked, "beyond-reach", distances=["20 m", "900 m"])
    assert where == "/distances/1" and "reaches" in detail
    ((where, _),) = refused(rigid, asked, "beyond-reach", target="900 m")
    assert where == "/target"


def test_a_rigid_arrow_that_falls_short(rigid: FlaskClient, asked: Body) -> None:
    """A point mass just reaches it, an arrow loosed askew does not."""
    asked |= {"launch": {"model": "measured", "parameters": {"speed": "40 m/s"}}}
    ((_, detail),) = refused(rigid, asked, "beyond-reach", target="300 m")
    farthest = float(detail.split("reaches ")[1].split()[0])
    changes = {"distances": [f"{farthest - 0.3} m"], "release": {"yaw_rate": "8 rad/s"}}
    ((where, detail),) = refused(rigid, asked, "cannot-be-followed", **changes)
    assert where == "/distances/0" and "falls short" in detail


def test_a_step_that_makes_too_many_points(asked: Body) -> None:
    app = Flask("few")
    edge = Edge.of(Registry.discover(), Limits(samples=20))
    rigid_flight.resource(edge).install(app)
    problems.install(app)
    del asked["samples"]
    ((where, detail),) = refused(app.test_client(), asked, step="1 m")
    assert where == "/step" and "at most 20" in detail


def test_every_model_flies(rigid: FlaskClient, asked: Body) -> None:
    """Each built-in drag law takes an angle beside its airspeeds, in many lanes."""
    for drag in (
        {"model": "none"},
        {"model": "component", "parameters": {"vane_length": "46 mm", "vane_height": "10 mm"}},
        {"model": "transition"},
    ):
        found = flown(rigid, asked, drag=drag, scatter={"pitch": "0.2 deg"})
        assert found["rows"][0]["group_up"] > 0.0
