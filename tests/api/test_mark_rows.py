"""Rows of a mark table against identities: what the columns must be to each other."""

import math
from typing import Any

import pytest
from flask.testing import FlaskClient

Body = dict[str, Any]


def table(client: FlaskClient, body: Body, **changes: Any) -> Any:
    reply = client.post("/v1/mark-table", json=body | changes)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def test_travel_follows_the_tangent_of_the_angle(client: FlaskClient, body: Body) -> None:
    """Travel from the zero = radius (tan a - tan a0), the sight's geometry (derived)."""
    found = table(client, body)
    zero = math.tan(math.radians(found["rows"][0]["launch_angle"]))
    assert found["zero_distance"] == 20.0
    assert found["rows"][0]["travel"] == 0.0
    for row in found["rows"]:
        tangent = math.tan(math.radians(row["launch_angle"]))
        assert row["travel"] == pytest.approx(32.5 * 25.4 * (tangent - zero), abs=2e-3)


def test_turns_clicks_and_readings_follow_travel(client: FlaskClient, body: Body) -> None:
    for row in table(client, body)["rows"]:
        assert row["turns"] == pytest.approx(row["travel"] / 1.25, abs=1e-3)
        assert row["clicks"] == pytest.approx(row["turns"] * 10, abs=0.51)
        assert row["windage_turns"] == pytest.approx(row["windage_travel"] / 0.8, abs=2e-3)
        assert row["windage_clicks"] == pytest.approx(row["windage_turns"] * 16, abs=0.51)
        assert row["reading"] == pytest.approx(20 + row["travel"] / 5, abs=1e-3)
        assert type(row["clicks"]) is type(row["windage_clicks"]) is int


def test_a_scale_runs_either_way(client: FlaskClient, body: Body) -> None:
    down = table(client, body)
    body["sight"]["scale"]["increases"] = "up"
    for one, other in zip(down["rows"], table(client, body)["rows"], strict=True):
        assert one["reading"] + other["reading"] == pytest.approx(40, abs=1e-5)


def test_what_the_sight_lacks_is_left_out(client: FlaskClient, body: Body) -> None:
    body["sight"] = {"radius": "32.5 in"}
    found = table(client, body)
    assert "pins" not in found
    assert not {"turns", "clicks", "click_shift", "reading"} & found["rows"][0].keys()
    assert not {"windage_turns", "windage_clicks"} & found["rows"][0].keys()


def test_pins_are_marks_counted_from_the_first(client: FlaskClient, body: Body) -> None:
    found = table(client, body, distances=["20 yd", "30 yd", "40 yd"])
    for pin, row in zip(found["pins"], found["rows"], strict=True):
        assert pin["distance"] == row["distance"]
        assert pin["travel"] == pytest.approx(row["travel"], abs=2e-3)
    travels = [pin["travel"] for pin in found["pins"]]
    assert [pin["gap"] for pin in found["pins"]] == pytest.approx(
        [0.0, travels[1], travels[2] - travels[1]], abs=2e-3
    )


def test_energy_and_momentum_follow_speed(client: FlaskClient, body: Body) -> None:
    mass = 388 * 64.79891e-6
    for row in table(client, body)["rows"]:
        speed = row["speed"] * 0.3048
        assert row["energy"] == pytest.approx(mass * speed**2 / 2, rel=1e-6)
        assert row["momentum"] == pytest.approx(mass * speed, rel=1e-6)


def test_wind_from_the_right_drifts_left(client: FlaskClient, body: Body) -> None:
    """Mirrored wind, mirrored drift; none along the line of sight (symmetry)."""

    def drift(blows_from: str) -> float:
        found = table(client, body, wind={"speed": "5 m/s", "from": blows_from}, distances=["70 m"])
        return float(found["rows"][0]["drift"])

    assert drift("90 deg") < -100
    assert drift("270 deg") == pytest.approx(-drift("90 deg"), abs=2e-3)
    assert drift("-90 deg") == pytest.approx(drift("270 deg"), abs=2e-3)
    assert drift("0 deg") == 0
    assert abs(drift("180 deg")) < 1e-3


def test_head_wind_slows_and_tail_wind_carries(client: FlaskClient, body: Body) -> None:
    def time(**changes: Any) -> float:
        return float(table(client, body, distances=["70 m"], **changes)["rows"][0]["time"])

    del body["wind"]
    still = time()
    assert time(wind={"speed": "0 m/s", "from": "10 deg"}) == still
    assert time(wind={"speed": "5 m/s", "from": "0 deg"}) > still
    assert time(wind={"speed": "5 m/s", "from": "180 deg"}) < still


def test_steep_shots_need_less_angle_either_way(client: FlaskClient, body: Body) -> None:
    def angle(slope: str) -> float:
        found = table(client, body, slope=slope, distances=["60 yd"])
        return float(found["rows"][0]["launch_angle"])

    assert angle("30 deg") < angle("0 deg")
    assert angle("-30 deg") < angle("0 deg")
    assert angle("30 deg") != angle("-30 deg")


def test_a_vacuum_meets_the_closed_form(client: FlaskClient, body: Body) -> None:
    """sin(2a + s) = sin s + g R cos^2 s / v^2 from the eye, without drag (exact, derived)."""
    body["bow"] = {"peep_height": "0 mm", "launch_forward": "0 mm"}
    body["arrow"] |= {"tip_lead": "0 mm"}
    body["drag"] = {"model": "none"}
    body["launch"] = {
        "model": "energy",
        "parameters": {"stored_energy": "100 J", "efficiency": 1},
    }
    body["units"] = {"angle": "rad", "speed": "m/s"}
    del body["wind"], body["site"]
    for slope in (0, 25, -40):
        found = table(client, body, slope=f"{slope} deg", distances=["90 m"])
        speed, s = found["launch"]["speed"], math.radians(slope)
        right = math.sin(s) + 9.80665 * 90 * math.cos(s) ** 2 / speed**2
        expected = (math.asin(right) - s) / 2
        assert found["rows"][0]["launch_angle"] == pytest.approx(expected, abs=2e-8)


def test_a_trajectory_arrives_where_the_table_says(client: FlaskClient, body: Body) -> None:
    row = table(client, body, distances=["50 yd"])["rows"][0]
    del body["sight"], body["distances"]
    path = client.post("/v1/trajectory", json=body | {"target": "50 yd", "samples": 50}).get_json()
    assert path["launch_angle"] == pytest.approx(row["launch_angle"], abs=2e-6)
    assert path["points"][-1]["time"] == pytest.approx(row["time"], abs=2e-6)
    assert path["points"][-1]["speed"] == pytest.approx(row["speed"], abs=1e-4)
    assert path["drift"] == pytest.approx(row["drift"], abs=2e-3)
    assert path["apex"]["height"] == pytest.approx(row["apex_height"], abs=2e-2)
    loosed = client.post(
        "/v1/trajectory",
        json=body | {"launch_angle": f"{path['launch_angle']} deg", "end": "50 yd", "samples": 50},
    ).get_json()
    assert loosed["points"][-1]["height"] == pytest.approx(path["points"][-1]["height"], abs=0.1)


def test_steps_of_a_path_are_even(client: FlaskClient, body: Body) -> None:
    del body["sight"], body["distances"]
    body |= {"target": "50 m", "step": "5 m", "units": {"distance": "m"}}
    points = client.post("/v1/trajectory", json=body).get_json()["points"]
    inner = [point["distance"] for point in points[1:-1]]
    assert inner == pytest.approx([5.0 * index for index in range(1, len(inner) + 1)], abs=1e-5)


def test_a_tip_that_points_upwind_is_explained(client: FlaskClient, body: Body) -> None:
    """At 5 m the arrow that turned into the wind has not been carried back over the middle."""
    for wind, distances, told in (
        ({"speed": "5 m/s", "from": "90 deg"}, ["5 m", "60 m"], True),
        ({"speed": "5 m/s", "from": "270 deg"}, ["5 m"], True),
        ({"speed": "5 m/s", "from": "90 deg"}, ["60 m"], False),
        ({"speed": "5 m/s", "from": "0 deg"}, ["5 m"], False),
    ):
        found = table(client, body, wind=wind, distances=distances)
        assert ("weathervane" in {note["code"] for note in found["notes"]}) is told, wind
