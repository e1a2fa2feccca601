"""Printed scales over HTTP: ticks against the mark table, several scales, forms."""

import csv
import io
from itertools import pairwise
from typing import Any

import pytest
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator
from scale_requests import PATH, Body, Sheets, client_of, codes, edge_of, message, plain, posted
from scale_requests import worked as worked_request

from arrowloft.api import openapi
from arrowloft.api.resource import Edge, Limits
from arrowloft.api.sight import sight_scale
from arrowloft.plugin.registry import Registry

MARKS = [
    {"distance": "24 yd", "travel": "1.9 mm"},
    {"distance": "41 yd", "travel": "9.9 mm"},
    {"distance": "60 yd", "travel": "20.4 mm"},
]


@pytest.fixture(scope="module")
def sheets() -> Sheets:
    return Sheets()


@pytest.fixture(scope="module")
def edge(sheets: Sheets) -> Edge:
    return edge_of(sheets)


@pytest.fixture(scope="module")
def client(edge: Edge) -> FlaskClient:
    return client_of(edge)


def one(client: FlaskClient, **changes: Any) -> Body:
    """The only scale of a request."""
    (scale,) = posted(client, plain(**changes))["scales"]
    return dict(scale)


def ticks(scale: Body, name: str) -> list[float]:
    return [row[name] for row in scale["ticks"]]


def travels(client: FlaskClient, body: Body) -> list[float]:
    """What the mark table says."""
    names = ("bow", "arrow", "sight", "launch", "drag", "air", "site", "wind", "slope", "units")
    asked = {name: body[name] for name in (*names, "distances") if name in body}
    return [row["travel"] for row in posted(client, asked, "/v1/mark-table")["rows"]]


def test_the_example_is_answered_as_documented(edge: Edge, client: FlaskClient) -> None:
    document = openapi.document([sight_scale.resource(edge)], edge.limits, {})
    schemas = document["components"]["schemas"]
    body = worked_request()
    everything = body | {"card": body["card"] | {"scale": 0}, "number_every": 4, "numbers": "left"}
    for name, value in (
        ("SightScaleRequest", body),
        ("SightScaleRequest", everything),
        ("SightScaleReply", posted(client, body)),
        ("SightScaleReply", posted(client, plain(marks=MARKS))),
    ):
        schema = {"$ref": f"#/components/schemas/{name}", "components": {"schemas": schemas}}
        Draft202012Validator(schema).validate(value)


# --- ticks -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "changes",
    [{}, {"wind": {"speed": "5 m/s", "from": "20 deg"}, "slope": "25 deg"}],
    ids=["level", "slope"],
)
def test_positions_are_the_mark_tables_travel_times_the_magnification(
    client: FlaskClient, changes: Body
) -> None:
    body = plain(magnification=1.6, **changes)
    scale = one(client, magnification=1.6, **changes)
    wanted = travels(client, body)
    assert ticks(scale, "travel") == ticks(scale, "predicted_travel") == wanted
    assert ticks(scale, "position") == pytest.approx([1.6 * t for t in wanted], abs=1.4e-3)
    assert set(ticks(scale, "correction")) == {0}
    assert scale["length"] == pytest.approx(1.6 * (wanted[-1] - wanted[0]), abs=2e-3)
    gaps = [b - a for a, b in pairwise(wanted)]
    assert scale["least_gap"] == pytest.approx(1.6 * min(gaps), abs=2e-3)
    assert "marks" not in scale and scale["zero_travel"] == 0


def test_up_turns_the_strip_over_and_leaves_the_travel(client: FlaskClient) -> None:
    down, up = one(client), one(client, farther="up")
    assert one(client, farther="down") == down
    assert ticks(up, "position") == [-p for p in ticks(down, "position")]
    for name in ("travel", "distance", "numbered"):
        assert ticks(up, name) == ticks(down, name)
    assert (up["length"], up["least_gap"]) == (down["length"], down["least_gap"])


def test_a_list_in_any_order_is_a_scale_in_order(client: FlaskClient) -> None:
    listed = one(client, distances=["50 yd", "20 yd", "35 yd", "42 yd"])
    assert ticks(listed, "distance") == [20, 35, 42, 50]
    assert ticks(listed, "numbered") == [True] * 4
    assert ticks(
        one(client, distances=["50 yd", "20 yd", "35 yd"], number_every=2), "numbered"
    ) == [
        True,
        False,
        True,
    ]


@pytest.mark.parametrize(
    "distances, every, wanted",
    [
        ({"from": "18 yd", "to": "33 yd", "step": "1 yd"}, None, [20, 25, 30]),
        ({"from": "20 yd", "to": "60 yd", "step": "2 yd"}, None, [20, 30, 40, 50, 60]),
        ({"from": "20 yd", "to": "26 yd", "step": "1 yd"}, 2, [20, 22, 24, 26]),
        ({"from": "21 yd", "to": "23 yd", "step": "1 yd"}, 5, [21]),
    ],
)
def test_numbers_where_an_archer_expects_them(
    client: FlaskClient, distances: Body, every: int | None, wanted: list[float]
) -> None:
    more = {} if every is None else {"number_every": every}
    scale = one(client, distances=distances, **more)
    assert [row["distance"] for row in scale["ticks"] if row["numbered"]] == wanted


def test_the_zero_is_the_sights_or_the_nearest_tick(client: FlaskClient) -> None:
    body = plain()
    del body["sight"]["zero_distance"]
    found = posted(client, body | {"distances": ["50 yd", "24 yd"]})
    assert found["zero_distance"] == 24
    assert found["scales"][0]["ticks"][0]["position"] == 0
    assert "zero-assumed" in codes(found["notes"])


# --- several scales ----------------------------------------------------------------------


def test_a_scale_differs_by_what_is_given_piece_by_piece(client: FlaskClient) -> None:
    scales = [
        {"label": "as it is"},
        {"label": "cold", "air": {"temperature": "-15 degC"}},
        {"label": "up there", "site": {"altitude": "2000 m"}},
        {"label": "thick", "arrow": plain()["arrow"] | {"shaft_diameter": "7.5 mm"}},
    ]
    found = posted(client, plain(scales=scales))
    same, cold, high, thick = found["scales"]
    assert [scale["label"] for scale in found["scales"]] == [given["label"] for given in scales]
    assert ticks(same, "position") == ticks(one(client), "position")
    for name in ("launch", "drag", "air", "gravity"):
        assert same[name] == found[name]
    assert cold["air"]["temperature"] == -15
    assert cold["air"]["pressure"] == same["air"]["pressure"] == 992
    assert high["air"]["temperature"] == 18
    assert high["air"]["pressure"] == pytest.approx(795.0, abs=0.5)  # US 1976
    assert high["length"] < same["length"] < cold["length"] < thick["length"]


def test_each_scale_is_its_set_ups_own_mark_table(client: FlaskClient) -> None:
    launch = {"model": "measured", "parameters": {"speed": "255 ft/s"}}
    bow = plain()["bow"] | {"peep_height": "4.9 in"}
    scales = [{"label": "a"}, {"label": "b", "launch": launch, "bow": bow}]
    found = posted(client, plain(scales=scales))
    wanted = travels(client, plain(launch=launch, bow=bow))
    assert ticks(found["scales"][1], "travel") == wanted
    change = plain(distances=["20 yd"], second={"launch": launch, "bow": bow})
    (row,) = posted(client, change, "/v1/setup-change")["rows"]
    assert found["scales"][1]["zero_travel"] == row["new_travel"]


def test_another_arrow_is_noted_as_its_scales(client: FlaskClient) -> None:
    heavy = plain()["arrow"] | {"mass": "450 gr"}
    found = posted(client, plain(scales=[{"label": "a"}, {"label": "b", "arrow": heavy}]))
    first, second = found["scales"]
    for code in ("speed-not-adjusted", "arrow-must-suit-bow"):
        assert code in codes(second["notes"]) and code not in codes(first["notes"])
        assert message(found["notes"], code).startswith('Scale "b": ')
    light = plain()["arrow"] | {"mass": "200 gr"}
    found = posted(client, plain(scales=[{"label": "a"}, {"label": "b", "arrow": light}]))
    assert codes(found["notes"])[0] == "light-arrow"


# --- forms -------------------------------------------------------------------------------


def test_csv_is_one_line_a_tick(client: FlaskClient) -> None:
    response = client.post(PATH, json=worked_request(), headers={"Accept": "text/csv"})
    assert response.mimetype == "text/csv"
    head, *lines = csv.reader(io.StringIO(response.get_data(as_text=True)))
    assert head == [
        "scale",
        "distance (yd)",
        "travel (mm)",
        "predicted_travel (mm)",
        "correction (mm)",
        "position (mm)",
        "numbered",
    ]
    wanted = [
        [scale["label"], *(str(v) for v in list(row.values())[:-1]), str(row["numbered"]).lower()]
        for scale in posted(client, worked_request())["scales"]
        for row in scale["ticks"]
    ]
    assert lines == wanted


@pytest.mark.parametrize("media, form", [("image/svg+xml", "svg"), ("application/pdf", "pdf")])
def test_the_sheet_is_drawn_from_the_same_figures(
    client: FlaskClient, sheets: Sheets, media: str, form: str
) -> None:
    body = worked_request() | {"numbers": "left", "farther": "up", "magnification": 1.25}
    response = client.post(PATH, json=body, headers={"Accept": media})
    assert (response.status_code, response.mimetype, response.data) == (200, media, b"drawn")
    sheet = sheets.sheet
    assert sheet is not None and sheets.form == form and sheets.chosen["distance"] == "yd"
    found = posted(client, body)
    for strip, scale in zip(sheet.strips, found["scales"], strict=True):
        assert strip.label == scale["label"] and not strip.numbers_right
        assert 1e3 * strip.position == pytest.approx(ticks(scale, "position"), abs=6e-4)
        assert strip.distance / 0.9144 == pytest.approx(ticks(scale, "distance"), abs=1e-6)
        assert strip.numbered.tolist() == ticks(scale, "numbered")
    assert (sheet.title, sheet.date) == (body["sheet"]["title"], body["sheet"]["date"])
    assert sheet.paper == found["sheet"]["paper"] == "a4"


def test_without_what_draws_there_is_no_picture() -> None:
    bare = client_of(Edge.of(Registry.discover(), Limits()))
    response = bare.post(PATH, json=plain(), headers={"Accept": "application/pdf"})
    assert response.status_code == 406
