"""POST /v1/sweep at the edge: rows against the mark table's, closed forms, every pointer."""

import copy
import itertools
import math
from typing import Any

import numpy as np
import pytest
import swept as requests
from flask.testing import FlaskClient
from swept import gridded, normal, sampled, uniform, values

from arrowloft import study
from arrowloft.api.parameters import Chosen, ModelSchemas
from arrowloft.api.setup import resolve
from arrowloft.api.shared import request_schema
from arrowloft.api.sight.sights import sight_of
from arrowloft.core.sight.marks import mark_table as core_marks
from arrowloft.plugin.registry import Registry

PATH = "/v1/sweep"
Body = dict[str, Any]


@pytest.fixture
def client() -> FlaskClient:
    return requests.client()


def swept(client: FlaskClient, asked: Body) -> Any:
    reply = client.post(PATH, json=asked)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def with_value(asked: Body, pointer: str, value: Any) -> Body:
    """The request with one member replaced, as a caller without sweeps would write it."""
    changed = copy.deepcopy(asked)
    inner: Any = changed
    *way, last = pointer[1:].split("/")
    for step in way:
        inner = inner[int(step)] if isinstance(inner, list) else inner.setdefault(step, {})
    inner[int(last) if isinstance(inner, list) else last] = value
    return changed


def marks(client: FlaskClient, asked: Body) -> Any:
    body = {name: value for name, value in asked.items() if name not in ("vary", "quantities")}
    reply = client.post("/v1/mark-table", json=body)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()["rows"]


RATED = {"model": "rated", "parameters": {"rated_speed": "95 m/s"}}
READINGS = {"model": "measured", "parameters": {"readings": ["56 m/s", "57 m/s"]}}
TABLE = {
    "model": "table",
    "parameters": {"reynolds": [8000, 15000, 30000], "coefficient": [1.6, 2.0, 2.4]},
}


@pytest.mark.parametrize(
    ("pointer", "first", "second", "base"),
    [
        ("/arrow/mass", "18.2 g", "330 gr", {}),
        ("/arrow/shaft_diameter", "5 mm", "6 mm", {}),
        ("/arrow/balance_point", "400 mm", "440 mm", {}),
        ("/arrow/tip_lead", "200 mm", "300 mm", {}),
        ("/bow/peep_height", "100 mm", "125 mm", {}),
        ("/bow/draw_length", "27 in", "29 in", {}),
        ("/bow/draw_weight", "38 lbf", "44 lbf", {"launch": RATED}),
        ("/bow/launch_forward", "500 mm", "1 m", {}),
        ("/air/temperature", "-5 degC", "85 degF", {}),
        ("/air/relative_humidity", 0.1, 1, {}),
        ("/air/pressure", "985 hPa", "28 inHg", {}),
        ("/site/altitude", "0 m", "2500 m", {"air": {}}),
        ("/site/latitude", "0 deg", "70 deg", {}),
        ("/wind/speed", "0 m/s", "6 m/s", {"wind": {"speed": "1 m/s", "from": "70 deg"}}),
        ("/wind/from", "0 deg", "90 deg", {"wind": {"speed": "4 m/s", "from": "70 deg"}}),
        ("/slope", "-20 deg", "30 deg", {}),
        ("/sight/radius", "700 mm", "900 mm", {}),
        ("/sight/zero_distance", "20 m", "30 m", {}),
        ("/launch/parameters/speed", "50 m/s", "60 m/s", {}),
        ("/launch/parameters/gate_distance", "0 m", "3 m", {}),
        ("/launch/parameters/readings/1", "56.2 m/s", "58 m/s", {"launch": READINGS}),
        ("/launch/parameters/virtual_mass", "4 g", "7 g", {"launch": RATED}),
        ("/drag/parameters/coefficient", 1.5, 2.5, {}),
        ("/drag/parameters/coefficient/1", 1.9, 2.1, {"drag": TABLE}),
    ],
)
def test_each_kind_of_pointer_gives_the_mark_table_s_rows(
    client: FlaskClient, pointer: str, first: Any, second: Any, base: Body
) -> None:
    wanted = ["travel", "launch_angle", "time", "speed", "energy", "momentum", "apex_height",
              "apex_distance", "descent_angle", "drift"]  # fmt: skip
    asked = gridded(values(pointer, first, second), quantities=wanted, **base)
    found = swept(client, asked)["columns"]
    rows = [row for v in (first, second) for row in marks(client, with_value(asked, pointer, v))]
    assert found["distance"] == [50, 70, 50, 70]
    for name in wanted:
        # Half a step of what the reply resolves, and the table's own rows may be of a series.
        expected = [row[name] for row in rows]
        assert found[name] == pytest.approx(expected, rel=1e-6, abs=1.1e-3), name
    assert found["launch_angle"] != found["launch_angle"][2:] * 2 or pointer.startswith("/sight")


def test_unrounded_rows_are_the_core_s_mark_table_to_1e_9() -> None:
    """Each set-up by itself goes another way through edge and core: no lanes, no blocks."""
    wanted = ["launch_angle", "time", "speed", "travel", "energy", "drift"]
    wind = {"speed": "3 m/s", "from": "70 deg"}
    found = study.sweep(sampled(samples=5, quantities=wanted, wind=wind)).columns
    registry = Registry.discover()
    schema = request_schema("Alone", ModelSchemas.of(registry), {}, sight=True)
    shared = {n: v for n, v in sampled(wind=wind).items() if n in schema.load_fields}
    for row in range(0, 30, 2):
        asked = schema.read(copy.deepcopy(shared))
        asked["arrow"]["mass"] = float(found["/arrow/mass"][row])
        for kind, name in (("launch", "speed"), ("drag", "coefficient")):
            value = found[f"/{kind}/parameters/{name}"][row]
            asked[kind] = Chosen(kind, asked[kind].name, {name: float(value)})
        setup = resolve(asked, registry)
        table = core_marks(
            setup.shot(asked),
            sight_of(asked["sight"], 18.0),
            found["distance"][row : row + 2],
            speed_uncertainty=0.0,
            drag_uncertainty=0.0,
        )
        for name in wanted:
            assert found[name][row : row + 2] == pytest.approx(getattr(table, name), rel=1e-9), name


def test_without_drag_the_angle_of_each_speed_has_a_closed_form(client: FlaskClient) -> None:
    still = gridded(
        {"pointer": "/launch/parameters/speed", "range": {"from": "40 m/s", "to": "70 m/s",
                                                          "count": 7}},
        drag={"model": "none"},
        distances=["60 m"],
    )  # fmt: skip
    still["bow"] = {"peep_height": "0 mm", "launch_forward": "0 mm", "draw_weight": "40 lbf"}
    still["arrow"]["tip_lead"] = "0 mm"
    found = swept(client, still)["columns"]
    speeds = np.linspace(40.0, 70.0, 7)
    assert found["/launch/parameters/speed"] == pytest.approx(speeds, rel=1e-12)
    angle = np.degrees(0.5 * np.arcsin(9.80665 * 60.0 / speeds**2))
    assert found["launch_angle"] == pytest.approx(angle, abs=1e-6)


def test_a_grid_is_an_outer_product_in_the_order_given(client: FlaskClient) -> None:
    masses, coefficients = ["18 g", "19 g", "20 g"], [1.5, 2.5]
    varied = values("/arrow/mass", *masses), values("/drag/parameters/coefficient", *coefficients)
    found = swept(client, gridded(*varied))
    rows = list(itertools.product((18, 19, 20), coefficients, (50, 70)))
    names = ("/arrow/mass", "/drag/parameters/coefficient", "distance")
    assert list(zip(*(found["columns"][name] for name in names), strict=True)) == rows
    assert found["sizes"] == {
        "setups": 6, "grid_points": 6, "samples": 1, "distances": 2, "points": 12,
        "block": 4096 // 3, "beyond_reach": 0, "zero_beyond_reach": 0, "not_followed": 0,
    }  # fmt: skip
    assert "seed" not in found and "summary" not in found


def test_the_order_of_what_is_varied_changes_the_order_of_rows_alone(client: FlaskClient) -> None:
    asked = sampled(rows=True)
    tables = []
    for order in itertools.permutations(asked["vary"]):
        columns = swept(client, asked | {"vary": list(order)})["columns"]
        names = sorted(columns)
        assert list(columns)[:3] == [item["pointer"] for item in order]
        tables.append(sorted(zip(*(columns[name] for name in names), strict=True)))
    assert all(table == tables[0] for table in tables)


@pytest.mark.parametrize(
    ("pointer", "given", "base"),
    [
        ("/launch/parameters/readings/1", ("56.2 m/s", "57 m/s", "58 m/s"), {"launch": READINGS}),
        ("/drag/parameters/coefficient/1", (1.9, 2.1, 2.3), {"drag": TABLE}),
    ],
)
def test_models_that_take_no_lanes_stand_side_by_side_in_any_grid(
    client: FlaskClient, pointer: str, given: Any, base: Body
) -> None:
    inner = values("/arrow/mass", "18 g", "20 g"), values(pointer, *given)
    one = swept(client, gridded(*inner, **base))["columns"]
    other = swept(client, gridded(*inner[::-1], **base))["columns"]
    for name in ("launch_angle", "speed"):
        first = np.reshape(one[name], (2, 3, 2))
        assert np.array_equal(first.transpose(1, 0, 2), np.reshape(other[name], (3, 2, 2)))
        assert len(np.unique(first)) == 12


def test_several_parameters_of_such_a_model_make_a_grid_of_it(client: FlaskClient) -> None:
    first, second = "/launch/parameters/readings/0", "/launch/parameters/readings/1"
    speeds = ["55 m/s", "56 m/s"], ["56.2 m/s", "57 m/s", "58 m/s"]
    asked = gridded(
        values(first, *speeds[0]),
        values("/slope", "0 deg", "9 deg"),
        values(second, *speeds[1]),
        launch=READINGS,
        quantities=["launch_speed"],
    )
    found = np.reshape(swept(client, asked)["columns"]["launch_speed"], (2, 2, 3, 2))
    mean = np.add.outer([55.0, 56.0], [56.2, 57.0, 58.0]) / 2.0
    assert found == pytest.approx(np.broadcast_to(mean[:, None, :, None], found.shape))


def test_what_is_beyond_reach_is_null_counted_and_said(client: FlaskClient) -> None:
    found = swept(client, gridded(values("/launch/parameters/speed", "20 m/s", "56 m/s")))
    assert found["columns"]["speed"][:2] == [None, None]
    assert None not in found["columns"]["speed"][2:]
    assert found["sizes"]["beyond_reach"] == 2
    (note,) = [note for note in found["notes"] if note["code"] == "beyond-reach"]
    assert note["message"].startswith("In 2 of 4 points")


def test_ranges_left_are_counted(client: FlaskClient) -> None:
    """`rated` may be trusted for arrows of 250 to 750 gr."""
    masses = values("/arrow/mass", "200 gr", "240 gr", "300 gr", "700 gr")
    found = swept(client, gridded(masses, launch=RATED))
    (left,) = [item for item in found["outside_validity"] if item["quantity"] == "arrow_mass"]
    assert left == {"kind": "launch", "model": "rated", "quantity": "arrow_mass", "points": 4}
    (note,) = [n["message"] for n in found["notes"] if "arrow mass" in n["message"]]
    assert note.startswith("In 4 of 8 points the arrow mass")


@pytest.mark.parametrize(
    "varied",
    [
        values("/launch/parameters/speed", "40 m/s", "50 m/s", "60 m/s"),
        values("/arrow/shaft_diameter", "4 mm", "4.5 mm", "6 mm"),
        values("/drag/parameters/reynolds/0", 12000, 15000, 20000),
        values("/drag/parameters/coefficient/0", 1.6, 2.0, 9.5),
    ],
)
def test_flights_that_leave_a_drag_model_s_range_are_counted(
    client: FlaskClient, varied: Body
) -> None:
    """As many points as there are mark tables of one distance that say so."""
    curve = {"reynolds": [15500, 25000, 40000], "coefficient": [1.6, 2.0, 2.4]}
    asked = gridded(
        varied, drag={"model": "table", "parameters": curve}, distances=["20 m", "70 m"]
    )
    left = 0
    for value, distance in itertools.product(varied["values"], asked["distances"]):
        single = with_value(asked, varied["pointer"], value) | {"distances": [distance]}
        del single["vary"], single["quantities"], single["sight"]["zero_distance"]
        reply = client.post("/v1/mark-table", json=single).get_json()
        left += "drag-range-left" in {note["code"] for note in reply["notes"]}
    assert 0 < left < 6
    found = swept(client, asked)
    assert [item["points"] for item in found["outside_validity"]] == [left]


def test_what_some_set_up_gives_rise_to_is_said(client: FlaskClient) -> None:
    """A wind that a near arrow turns into, air beyond the formula's range: not in the base."""
    wind = {"speed": "0 m/s", "from": "90 deg"}
    found = swept(
        client,
        gridded(
            values("/wind/speed", "0 m/s", "5 m/s"),
            values("/air/temperature", "16 degC", "40 degC"),
            wind=wind,
            distances=["18 m"],
            quantities=["drift"],
        ),
    )
    codes = [note["code"] for note in found["notes"]]
    assert {"weathervane", "air-beyond-recommended-range"} <= set(codes)
    assert len(codes) == len(set(codes))
    plain = swept(client, gridded(values("/slope", "0 deg"), wind=wind, quantities=["drift"]))
    codes = [note["code"] for note in plain["notes"]]
    assert not {"weathervane", "air-beyond-recommended-range"} & set(codes)


@pytest.mark.parametrize("beyond", [False, True])
def test_what_a_drag_model_says_of_some_set_up_is_said(client: FlaskClient, beyond: bool) -> None:
    """Without drag `constant` says that it leaves the air out, within reach and beyond."""
    distances = ["400 m"] if beyond else ["30 m", "50 m"]
    for given, told in (((2.0, 0, 2.1), True), ((2.0, 2.1), False)):
        varied = values("/drag/parameters/coefficient", *given)
        found = swept(client, gridded(varied, distances=distances, quantities=["time"]))
        assert ("no-drag" in {note["code"] for note in found["notes"]}) is told


def test_light_arrows_are_counted_and_come_first(client: FlaskClient) -> None:
    """5 gr for each of 40 lbf are 200 gr."""
    found = swept(client, gridded(values("/arrow/mass", "199 gr", "201 gr", "150 gr")))
    assert found["notes"][0]["code"] == "light-arrow"
    assert found["notes"][0]["message"].startswith("In 2 of 3 set-ups")
    plain = swept(client, gridded(values("/arrow/mass", "201 gr")))
    assert "light-arrow" not in {note["code"] for note in plain["notes"]}


def test_a_standard_deviation_of_temperature_is_a_difference(client: FlaskClient) -> None:
    drawn = normal("/air/temperature", "60 degF", "9 degF")
    found = study.sweep(sampled(vary=[drawn], samples=4000, quantities=["time"]))
    assert np.std(found.columns["/air/temperature"]) == pytest.approx(5.0, rel=0.05)
    assert np.mean(found.columns["/air/temperature"]) == pytest.approx(288.7, abs=0.4)


def test_quantities_left_out_are_the_usual_ones(client: FlaskClient) -> None:
    asked = gridded(values("/arrow/mass", "18 g"))
    del asked["quantities"]
    usual = ["launch_angle", "time", "speed"]
    assert list(swept(client, asked)["columns"])[2:] == ["travel", *usual]
    del asked["sight"]
    assert list(swept(client, asked)["columns"])[2:] == usual


def test_a_zero_distance_left_out_is_the_nearest_and_said(client: FlaskClient) -> None:
    asked = gridded(values("/arrow/mass", "18 g"), sight={"radius": "880 mm"})
    found = swept(client, asked)
    assert "zero-assumed" in {note["code"] for note in found["notes"]}
    assert found["columns"]["travel"][0] == 0.0


def test_uniform_draws_stay_within_and_logarithms_are_normal(client: FlaskClient) -> None:
    log = {"pointer": "/arrow/mass",
           "distribution": {"log_normal": {"median": "19 g", "factor": 1.05}}}  # fmt: skip
    flat = uniform("/drag/parameters/coefficient", 1.7, 2.3)
    found = study.sweep(sampled(vary=[log, flat], samples=4000, quantities=["time"])).columns
    drag, mass = found["/drag/parameters/coefficient"], found["/arrow/mass"]
    assert drag.min() > 1.7 and drag.max() < 2.3 and np.ptp(drag) > 0.59
    assert np.std(np.log(mass)) == pytest.approx(math.log(1.05), rel=0.05)
    assert np.median(mass) == pytest.approx(0.019, rel=5e-3)
