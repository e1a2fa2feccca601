"""Rows in JSON and CSV: their order, their units, and those that are not known."""

import csv
import io

import jsonschema
import pytest
from hit_requests import causes, codes, replied, row, rows

from arrowloft.api import openapi
from arrowloft.api.resource import Limits

INCH, YARD, FOOT = 25.4, 0.9144, 0.3048
UNKNOWN = {"errors": {"range": "5 m", "roll": "1 deg"}, "distances": ["10 m", "30 m", "8 m"]}
"""Guesses 10 m short: of the first and last distances nothing is known."""


def table(ask, body, **changes):
    body = {name: value for name, value in (body | changes).items() if value is not None}
    response = ask(body, headers={"Accept": "text/csv"})
    assert response.status_code == 200, response.text
    assert response.content_type.startswith("text/csv")
    return list(csv.reader(io.StringIO(response.text)))


@pytest.fixture
def valid(resource):
    """Holds a reply against the document."""
    document = openapi.document([resource], Limits(), {})
    schema = {
        **document["components"]["schemas"]["HitProbabilityReply"],
        "components": document["components"],
    }
    return lambda found: jsonschema.validate(found, schema, jsonschema.Draft202012Validator)


def test_rows_are_in_the_order_asked_for(ask, asked):
    asked["distances"] = ["40 yd", "15 yd", "40 yd", "22 m"]
    found = rows(ask, asked)
    assert [one["distance"] for one in found] == pytest.approx([40, 15, 40, 22 / YARD], abs=1e-5)
    assert found[0] == found[2]


def test_a_range_of_distances(ask, asked):
    asked["distances"] = {"from": "20 yd", "to": "30 yd", "step": "5 yd"}
    ranged = rows(ask, asked)
    assert rows(ask, asked, distances=["20 yd", "25 yd", "30 yd"]) == ranged


def test_a_row_does_not_depend_on_the_others(ask, asked):
    every = rows(ask, asked)
    assert row(ask, asked, distances=[asked["distances"][2]])["probability"] == pytest.approx(
        every[2]["probability"], abs=2e-6
    )


def test_other_units_of_the_reply_are_the_same_physics(ask, asked):
    face = {"zone": None, "face": {"diameter": "40 cm"}}
    mine = replied(ask, asked, **face)
    units = {"distance": "m", "length": "in", "time": "ms", "speed": "m/s"}
    other = replied(ask, asked, **face, units=units)
    assert other["units"]["length"] == "in"
    for one, two in zip(mine["rows"], other["rows"], strict=True):
        for name in ("up", "right", "sd_up", "sd_right"):
            assert two[name] == pytest.approx(one[name] / INCH, abs=1e-4)
        assert two["distance"] == pytest.approx(one["distance"] * YARD, abs=1e-5)
        assert two["time"] == pytest.approx(one["time"] * 1000, abs=1e-3)
        for name in ("probability", "error", "low", "high", "score", "inner_ten", "causes"):
            assert two[name] == one[name]
    assert other["farthest"]["distance"] == pytest.approx(
        mine["farthest"]["distance"] * YARD, abs=1e-5
    )
    assert other["farthest"]["surely"] == pytest.approx(mine["farthest"]["surely"] * YARD, abs=1e-5)
    assert other["farthest"]["looked_up_to"] == pytest.approx(60 * YARD, abs=1e-5)
    assert other["group"]["distance"] == pytest.approx(20 * YARD, abs=1e-5)
    assert other["group"]["vertical"] == pytest.approx(mine["group"]["vertical"] / INCH, abs=1e-4)


def test_other_units_of_the_request_are_the_same_physics(ask, plain):
    metric = plain | {
        "aimed_off": {"up": "25.4 mm", "right": "-5.08 cm"},
        "group": {"distance": "27.432 m", "impacts": [_at(0, 254), _at(25.4, 0), _at(50.8, 0)]},
        "errors": {
            "speed": "0.3048 m/s",
            "roll": "0.9 deg",
            "range": "1.8288 m",
            "wind_across": "0.9144 m/s",
            "mark": [{"distance": "18.288 m", "height": "12.7 mm"}],
            "movement": {"speed": "0.3048 m/s", "towards": "180 deg", "delay": "100 ms"},
        },
        "farthest": {"probability": 0.5, "nearest": "9.144 m", "up_to": "91.44 m"},
        "zone": {"width": "203.2 mm", "height": "25.4 cm"},
        "distances": ["27.432 m"],
    }
    imperial = plain | {
        "aimed_off": {"up": "1 in", "right": "-2 in"},
        "group": {
            "distance": "30 yd",
            "impacts": [
                {"up": "0 in", "right": "10 in"},
                {"up": "1 in", "right": "0 in"},
                {"up": "2 in", "right": "0 in"},
            ],
        },
        "errors": {
            "speed": "1 ft/s",
            "roll": "15.70796326794897 mrad",
            "range": "2 yd",
            "wind_across": "3 ft/s",
            "mark": [{"distance": "20 yd", "height": "0.5 in"}],
            "movement": {"speed": "1 ft/s", "towards": "180 deg", "delay": "0.1 s"},
        },
        "farthest": {"probability": 0.5, "nearest": "10 yd", "up_to": "100 yd"},
        "zone": {"width": "8 in", "height": "10 in"},
        "distances": ["90 ft"],
    }
    one, other = replied(ask, metric), replied(ask, imperial)
    for name in ("rows", "farthest", "group"):
        assert one[name] == other[name]


def _at(up, right):
    return {"up": f"{up} mm", "right": f"{right} mm"}


def test_every_form_is_as_documented(ask, asked, plain, valid):
    found = replied(ask, asked)
    assert "farthest" in found
    valid(found)
    valid(replied(ask, asked, zone=None, face={"diameter": "40 cm"}))
    valid(replied(ask, plain))
    unknown = replied(ask, plain, **UNKNOWN, farthest={"probability": 0.5, "up_to": "8 m"})
    assert unknown["farthest"]["distance"] is None
    valid(unknown)


def test_what_is_not_known_is_null(ask, plain):
    near, known, nearer = rows(ask, plain, **UNKNOWN, zone=None, face={"diameter": "40 cm"})
    for unknown in (near, nearer):
        assert unknown["distance"] in (10, 8)
        assert unknown["time"] > 0
        assert unknown["causes"] == []
        rest = {k: v for k, v in unknown.items() if k not in ("distance", "time", "causes")}
        assert set(rest.values()) == {None}
        assert rest.keys() | {"distance", "time", "causes"} == known.keys()
    assert 0 < known["probability"] < 1
    assert causes(known) == ["group", "roll", "range"]


def test_rows_may_all_be_unknown(ask, plain):
    found = replied(ask, plain, **(UNKNOWN | {"distances": ["10 m"]}))
    assert found["rows"][0]["probability"] is None
    assert found["solution"]["probability_error"] == 0


def test_a_guess_beyond_reach_is_not_known_either(ask, plain):
    errors = {"range_share": 0.2}
    assert row(ask, plain, errors=errors, distances=["300 m"])["probability"] is None
    assert row(ask, plain, errors=errors, distances=["200 m"])["probability"] is not None


def test_csv_says_what_json_says(ask, asked):
    lines = table(ask, asked)
    found = rows(ask, asked)
    assert lines[0] == [
        "distance (yd)",
        "probability",
        "error",
        "low",
        "high",
        "up (mm)",
        "right (mm)",
        "sd_up (mm)",
        "sd_right (mm)",
        "time (s)",
        *(f"share of {name}" for name in causes(found[0])),
        "notes",
    ]
    noted = " ".join(codes(replied(ask, asked)))
    assert {"hit-not-licence", "aim-not-safety"} <= set(noted.split())
    for line, one in zip(lines[1:], found, strict=True):
        figures = [value for name, value in one.items() if name != "causes"]
        shares = [cause["share"] for cause in one["causes"]]
        assert [float(cell) for cell in line[:-1]] == [*figures, *shares]
        assert line[-1] == noted


def test_csv_of_a_face_in_other_units(ask, asked):
    units = {"distance": "m", "length": "in", "time": "ms"}
    heads, *_ = table(ask, asked, zone=None, face={"diameter": "40 cm"}, units=units)
    assert heads[:15] == [
        "distance (m)",
        "probability",
        "error",
        "low",
        "high",
        "score",
        "score_error",
        "score_sd",
        "inner_ten",
        "up (in)",
        "right (in)",
        "sd_up (in)",
        "sd_right (in)",
        "time (ms)",
        "share of group",
    ]


@pytest.mark.parametrize("distances", [["10 m", "30 m"], ["30 m", "10 m"], ["10 m"]])
def test_csv_has_empty_cells_where_nothing_is_known(ask, plain, distances):
    heads, *lines = table(ask, plain, **(UNKNOWN | {"distances": distances}))
    assert heads[-4:] == ["share of group", "share of roll", "share of range", "notes"]
    assert {len(line) for line in lines} == {len(heads)}
    unknown = lines[distances.index("10 m")]
    told = [unknown[0], unknown[heads.index("time (s)")], unknown[-1]]
    assert [cell for cell in unknown if cell] == told
    assert "hit-row-unknown" in unknown[-1].split()


def test_query_answers_as_post(ask, asked):
    assert ask(asked, method="QUERY").get_json() == ask(asked).get_json()


def test_a_sight_may_stand_there_and_plays_no_part(ask, asked):
    sight = {"sight": {"radius": "33 in", "zero_distance": "20 yd"}}
    assert rows(ask, asked, **sight) == rows(ask, asked)


def test_a_slope_is_flown(ask, asked):
    """Over the same distance the arrow drops less from the line of sight: so does a wrong guess."""
    asked |= {"distances": ["45 yd"], "errors": {"range": "3 yd"}}
    level, steep = (row(ask, asked, slope=slope) for slope in ("0 deg", "-40 deg"))
    assert steep["sd_up"] < level["sd_up"] - 3
