"""Forms, methods and headers of replies."""

import csv
import io
import math
from typing import Any

import pytest
from flask.testing import FlaskClient

Body = dict[str, Any]
PATH = "/v1/mark-table"


def post(client: FlaskClient, body: Body, accept: str | None) -> Any:
    headers = {} if accept is None else {"Accept": accept}
    return client.post(PATH, json=body, headers=headers)


@pytest.mark.parametrize(
    ("accept", "form"),
    [
        (None, "application/json"),
        ("", "application/json"),
        ("*/*", "application/json"),
        ("application/*", "application/json"),
        ("application/json", "application/json"),
        ("APPLICATION/JSON", "application/json"),
        ("text/csv", "text/csv"),
        ("text/*", "text/csv"),
        ("text/csv, application/json;q=0.9", "text/csv"),
        ("text/csv;q=0.8, application/json;q=0.9", "application/json"),
        ("text/html, */*;q=0.1", "application/json"),
        ("application/json;q=0, */*", "text/csv"),
        ("text/html, text/csv;q=0.1", "text/csv"),
    ],
)
def test_the_form_most_accepted_is_sent(
    client: FlaskClient, body: Body, accept: str | None, form: str
) -> None:
    reply = post(client, body, accept)
    assert reply.status_code == 200
    assert reply.mimetype == form
    assert reply.headers["Vary"] == "Accept"


@pytest.mark.parametrize(
    "accept", ["text/html", "image/png", "garbage", "application/json;q=0", "*/*;q=0"]
)
def test_an_impossible_accept_is_406(client: FlaskClient, body: Body, accept: str) -> None:
    reply = post(client, body, accept)
    assert reply.status_code == 406
    assert reply.content_type == "application/problem+json"
    assert "text/csv" in reply.get_json()["detail"]


@pytest.mark.parametrize("path", ["/v1/models", "/v1/models/drag/constant"])
def test_an_impossible_accept_of_what_exists_is_406(client: FlaskClient, path: str) -> None:
    assert client.get(path, headers={"Accept": "text/csv"}).status_code == 406
    assert client.get(path).status_code == 200


def test_csv_holds_what_json_holds(client: FlaskClient, body: Body) -> None:
    rows = post(client, body, "application/json").get_json()["rows"]
    reply = post(client, body, "text/csv")
    assert reply.content_type == "text/csv; charset=utf-8; header=present"
    assert reply.text.count("\r\n") == len(rows) + 1
    heading, *lines = csv.reader(io.StringIO(reply.text, newline=""))
    assert heading[:3] == ["distance (yd)", "launch_angle (deg)", "travel (mm)"]
    assert [name.split(" (")[0] for name in heading] == list(rows[0])
    for line, row in zip(lines, rows, strict=True):
        assert [float(cell) for cell in line] == list(row.values())


def test_a_trajectory_comes_as_csv(client: FlaskClient, body: Body) -> None:
    del body["sight"], body["distances"]
    body |= {"target": "40 yd", "samples": 5}
    reply = client.post("/v1/trajectory", json=body, headers={"Accept": "text/csv"})
    heading, *lines = csv.reader(io.StringIO(reply.text, newline=""))
    assert heading[0] == "distance (yd)"
    assert len(lines) == 5


@pytest.mark.parametrize("path", [PATH, "/v1/trajectory", "/v1/launch-speed"])
def test_query_answers_as_post_does(client: FlaskClient, body: Body, path: str) -> None:
    if path != PATH:
        del body["sight"], body["distances"]
    if path == "/v1/trajectory":
        body["target"] = "40 yd"
    if path == "/v1/launch-speed":
        del body["wind"], body["slope"]
    post = client.post(path, json=body)
    query = client.open(path, method="QUERY", json=body)
    assert post.status_code == query.status_code == 200
    assert post.data == query.data
    assert query.headers["Accept-Query"] == "application/json"


def test_the_same_request_gives_the_same_bytes(client: FlaskClient, body: Body) -> None:
    first = client.post(PATH, json=body).data
    reordered = dict(reversed(list(body.items())))
    assert client.post(PATH, json=body).data == first
    assert client.post(PATH, json=reordered).data == first


@pytest.mark.parametrize("path", ["/", "/healthz", "/v1/models", "/openapi.json", "/nope", PATH])
def test_every_reply_is_guarded(client: FlaskClient, path: str) -> None:
    reply = client.get(path)
    assert reply.headers["X-Content-Type-Options"] == "nosniff"
    assert "default-src 'none'" in reply.headers["Content-Security-Policy"]
    assert "Server" not in reply.headers


def test_head_and_options(client: FlaskClient) -> None:
    head = client.head("/v1/models")
    assert head.status_code == 200
    assert head.data == b""
    options = client.options(PATH).headers
    assert options["Allow"] == "OPTIONS, POST, QUERY"
    assert options["Accept-Query"] == "application/json"
    assert "Accept-Query" not in client.options("/healthz").headers


def test_the_entrance_points_on(client: FlaskClient) -> None:
    entrance = client.get("/").get_json()
    assert client.get(entrance["document"]).status_code == 200
    assert client.get(entrance["models"]).status_code == 200


def test_replies_follow_the_chosen_units(client: FlaskClient, body: Body) -> None:
    body["units"] = {}
    plain = client.post(PATH, json=body).get_json()
    body["units"] = {"distance": "ft", "angle": "mrad", "length": "in", "speed": "km/h"}
    chosen = client.post(PATH, json=body).get_json()
    assert plain["units"]["length"] == "mm"
    assert chosen["units"]["length"] == "in"
    for one, other in zip(plain["rows"], chosen["rows"], strict=True):
        assert other["distance"] == pytest.approx(one["distance"] / 0.3048, abs=1e-5)
        assert other["travel"] == pytest.approx(one["travel"] / 25.4, abs=1e-4)
        assert other["speed"] == pytest.approx(one["speed"] * 3.6, abs=1e-3)
        assert other["launch_angle"] == pytest.approx(
            math.radians(one["launch_angle"]) * 1000, abs=1e-4
        )
        assert other["clicks"] == one["clicks"]
        assert other["reading"] == pytest.approx(one["reading"], abs=1e-6)


def codes(client: FlaskClient, body: Body, path: str = PATH) -> set[str]:
    return {note["code"] for note in client.post(path, json=body).get_json()["notes"]}


def test_assumptions_are_told(client: FlaskClient, body: Body) -> None:
    told = codes(client, body)
    assert "aim-not-safety" in told
    assumed = {
        "air-assumed",
        "gravity-standard",
        "launch-forward-assumed",
        "tip-lead-assumed",
        "zero-assumed",
    }
    assert not told & (assumed | {"light-arrow"})
    del body["air"], body["site"], body["arrow"]["balance_point"], body["sight"]["zero_distance"]
    assert assumed <= codes(client, body)
    body["bow"]["launch_forward"], body["arrow"]["tip_lead"] = "0.9 m", "0.3 m"
    assert not {"launch-forward-assumed", "tip-lead-assumed"} & codes(client, body)


def test_a_light_arrow_is_cautioned_below_five_grains_a_pound(
    client: FlaskClient, body: Body
) -> None:
    """Five grains of arrow for each pound of draw weight: common practice, no source."""
    body["bow"]["draw_weight"] = "60 lbf"
    body["arrow"]["mass"] = "300 gr"
    assert "light-arrow" not in codes(client, body)
    body["arrow"]["mass"] = "299.9 gr"
    assert "light-arrow" in codes(client, body)


def test_the_air_and_gravity_follow_the_site(client: FlaskClient, body: Body) -> None:
    """Standard atmosphere at 1000 m: 281.65 K and 898.8 hPa (published, ISO 2533)."""
    del body["air"]
    body["site"] = {"altitude": "1000 m", "latitude": "45 deg"}
    reply = client.post(PATH, json=body).get_json()
    assert reply["air"]["temperature"] == pytest.approx(281.65 - 273.15, abs=0.01)
    assert reply["air"]["pressure"] == pytest.approx(898.8, abs=0.1)
    # Normal gravity at 45 degrees falls by 3.086e-6 a metre (derived from 9.80619777).
    assert reply["gravity"] == pytest.approx(9.80619777 - 3.086e-3, abs=2e-6)


def test_energy_and_momentum_at_launch(client: FlaskClient, body: Body) -> None:
    """400 gr at 300 ft/s carry 108.36028 J (derived from the exact factors)."""
    del body["sight"], body["distances"], body["wind"], body["slope"], body["drag"]
    body["arrow"]["mass"] = "400 gr"
    parameters = {"stored_energy": "108.36028 J", "efficiency": 1}
    body["launch"] = {"model": "energy", "parameters": parameters}
    reply = client.post("/v1/launch-speed", json=body).get_json()
    assert reply["speed"] == pytest.approx(300.0, abs=1e-4)
    assert reply["launch"]["speed"] == reply["speed"]
    assert reply["energy"] == pytest.approx(108.36028, abs=1e-4)
    assert reply["momentum"] == pytest.approx(400 * 64.79891e-6 * 91.44, abs=1e-6)
    assert "drag" not in reply
