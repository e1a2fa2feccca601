"""What a sweep counts and says: zeros beyond reach, flights not followed, notes, what is common."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
import swept as requests
from flask import Flask
from flask.testing import FlaskClient
from swept import gridded, normal, sampled, values

from arrowloft import study
from arrowloft.api import problems
from arrowloft.api.resource import Edge, Limits
from arrowloft.api.sweeping import sweep
from arrowloft.core.flight import reach as reach_module
from arrowloft.plugin import DragModel, ParameterError, Source, parameter
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
PATH = "/v1/sweep"


@pytest.fixture
def client() -> FlaskClient:
    return requests.client()


def swept(client: FlaskClient, asked: Body) -> Any:
    reply = client.post(PATH, json=asked)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def told(found: Body) -> dict[str, str]:
    return {note["code"]: note["message"] for note in found["notes"]}


@pytest.mark.parametrize("quantities", [["travel", "speed"], ["speed", "travel"]])
def test_a_zero_beyond_reach_is_counted_and_takes_the_travel_alone(
    client: FlaskClient, quantities: list[str]
) -> None:
    zeros = values("/sight/zero_distance", "20 m", "400 m")
    asked = sampled(
        vary=[zeros, normal("/arrow/mass", "19 g", "0.1 g")],
        samples=50,
        distances=["20 m"],
        quantities=quantities,
        rows=True,
    )
    found = swept(client, asked)
    assert found["summary"]["arrived"] == [50, 50]
    assert found["summary"]["travel.mean"][1] is None and found["summary"]["speed.mean"][1] > 50
    assert found["columns"]["travel"][50:] == [None] * 50
    assert None not in found["columns"]["travel"][:50] + found["columns"]["speed"]
    assert found["sizes"]["zero_beyond_reach"] == 50 and found["sizes"]["beyond_reach"] == 0
    assert told(found)["zero-beyond-reach"].startswith("In 50 of 100 set-ups the sight's zero")
    without = swept(client, asked | {"quantities": ["speed"]})
    assert "zero-beyond-reach" not in told(without)


def test_a_flight_that_nothing_follows_is_null_counted_and_said(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Near its reach the weak one's launch angles are searched for, here in vain."""
    monkeypatch.setattr(
        reach_module, "_ranges", lambda shot, angle, *_: np.full(angle.size, np.nan)
    )
    speeds = values("/launch/parameters/speed", "56 m/s", "31 m/s", "10 m/s")
    near = f"{REACH_OF_31} m"
    found = swept(client, gridded(speeds, distances=[near]))
    assert [value is None for value in found["columns"]["speed"]] == [False, True, True]
    assert found["sizes"]["not_followed"] == 1 and found["sizes"]["beyond_reach"] == 1
    assert told(found)["flights-not-followed"].startswith("In 1 of 3 points the flight cannot")
    assert told(found)["beyond-reach"].startswith("In 1 of 3 points")


REACH_OF_31 = 89.6


def test_where_nothing_arrives_there_is_no_solution(client: FlaskClient) -> None:
    found = swept(client, gridded(values("/arrow/mass", "18 g"), distances=["900 m"]))
    assert "solution" not in found and found["sizes"]["beyond_reach"] == 1


def test_how_well_and_how_fast_the_flights_were(client: FlaskClient) -> None:
    asked = gridded(values("/launch/parameters/speed", "50 m/s", "60 m/s"), units={"speed": "m/s"})
    found = swept(client, asked)
    solution = found["solution"]
    assert solution["greatest_airspeed"] == pytest.approx(60.0, abs=1e-6)
    assert solution["least_airspeed"] == pytest.approx(min(found["columns"]["speed"]), abs=0.05)
    assert 0.0 < solution["error_estimate"] < 1e-6
    assert "error_estimate" not in found and "request_digest" not in found


def test_air_and_gravity_are_said_as_far_as_they_are_common(client: FlaskClient) -> None:
    plain = swept(client, gridded(values("/slope", "1 deg", "2 deg")))
    table = gridded()
    del table["vary"], table["quantities"]
    marks = client.post("/v1/mark-table", json=table).get_json()
    assert plain["air"] == marks["air"] and plain["gravity"] == marks["gravity"]
    warm = swept(client, gridded(values("/air/temperature", "10 degC", "20 degC")))
    assert warm["air"] == {n: marks["air"][n] for n in ("pressure", "relative_humidity")}
    far = swept(client, gridded(values("/site/latitude", "10 deg", "60 deg")))
    assert far["air"] == marks["air"] and "gravity" not in far


def test_a_note_with_figures_of_one_block_says_so(client: FlaskClient) -> None:
    """Its figures are those of 1.3 in the first block and of 1.0 in the second."""
    drag = {"model": "transition"}
    asked = sampled(
        vary=[values("/drag/parameters/laminar", 1.3, 1.0), normal("/arrow/mass", "19 g", "0.1 g")],
        samples=4096,
        distances=["20 m"],
        quantities=["time"],
        drag=drag,
    )
    several = told(swept(client, asked))
    (code,) = [name for name, message in several.items() if "drag coefficient may be" in message]
    assert several[code].startswith("In some of the set-ups, for example: ")
    single = gridded(values("/drag/parameters/laminar", 1.0, 1.3), drag=drag, distances=["20 m"])
    assert "from 1 to 2.6" in told(swept(client, single))[code]
    assert not told(swept(client, single))[code].startswith("In some")


@dataclass(frozen=True, kw_only=True)
class Picky(DragModel):
    """A width that must not be greater than another."""

    name = "picky"
    version = "1"
    sources = (Source("Invented for this test", standing="derived"),)
    default_uncertainty = 0.1

    width: float = parameter("Width.", "length", default=8e-3, low=1e-3, high=2e-2)
    most: float = parameter("Most.", "length", default=9e-3, low=1e-3, high=2e-2)

    def __post_init__(self) -> None:
        if self.width > self.most:
            raise ParameterError("width", "must not exceed most")

    def drag_area(self, flow: Any, arrow: Any) -> Any:
        return np.full(flow.airspeed.shape, self.width**2)


def test_what_a_plugin_refuses_is_named_with_parameter_value_and_model() -> None:
    found = Registry.discover()
    registry = Registry.of(Picky, found.get("launch", "measured"))
    app = Flask("picky")
    sweep.resource(Edge.of(registry, Limits())).install(app)
    problems.install(app)
    varied = values("/drag/parameters/width", "8 mm", "8.5 mm", "12 mm", "13 mm")
    asked = gridded(varied, drag={"model": "picky"})
    reply = app.test_client().post(PATH, json=asked).get_json()
    assert reply["errors"] == [{"pointer": "/vary/0", "detail": reply["detail"]}]
    assert reply["detail"].startswith("In 2 of 4 set-ups, such as width 12 mm, the drag model")
    assert reply["detail"].endswith("'picky' refuses width: must not exceed most.")


@pytest.mark.parametrize("samples", [700])
def test_drawn_elements_of_a_drag_s_list_go_in_small_blocks(samples: int) -> None:
    curve = {"reynolds": [8000, 15000, 30000], "coefficient": [1.6, 2.0, 2.4]}
    asked = sampled(
        vary=[normal("/drag/parameters/coefficient/1", 2.0, 0.05)],
        drag={"model": "table", "parameters": curve},
        samples=samples,
        distances=["30 m"],
        quantities=["time"],
    )
    found = study.sweep(asked)
    assert found.about["sizes"]["block"] == 300
    order = np.argsort(found.columns["/drag/parameters/coefficient/1"])
    assert (np.diff(found.columns["time"][order]) > -1e-9).all()
