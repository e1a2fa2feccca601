"""Proven marks of printed scales: one scale's own, and the set-up's beside several scales."""

from typing import Any

import pytest
from flask.testing import FlaskClient
from scale_requests import (
    PATH,
    Body,
    Sheets,
    client_of,
    codes,
    edge_of,
    message,
    plain,
    posted,
    refusal,
    worked,
)

from arrowloft.core.sight.printed import PrintedSheet

MARKS = [
    {"distance": "24 yd", "travel": "1.9 mm"},
    {"distance": "41 yd", "travel": "9.9 mm"},
    {"distance": "60 yd", "travel": "20.4 mm"},
]
FAR = {"distance": "60 yd", "travel": "20.6 mm"}
COLD: Body = {"air": {"temperature": "-5 degC"}}


@pytest.fixture(scope="module")
def sheets() -> Sheets:
    return Sheets()


@pytest.fixture(scope="module")
def client(sheets: Sheets) -> FlaskClient:
    return client_of(edge_of(sheets))


def one(client: FlaskClient, **changes: Any) -> Body:
    """The only scale of a request."""
    (scale,) = posted(client, plain(**changes))["scales"]
    return dict(scale)


def ticks(scale: Body, name: str) -> list[float]:
    return [row[name] for row in scale["ticks"]]


def notes(client: FlaskClient, **changes: Any) -> list[Body]:
    return list(posted(client, plain(**changes))["notes"])


def drawn(client: FlaskClient, sheets: Sheets, body: Body) -> PrintedSheet:
    response = client.post(PATH, json=body, headers={"Accept": "application/pdf"})
    assert response.status_code == 200, response.get_data(as_text=True)
    assert sheets.sheet is not None
    return sheets.sheet


# --- one scale ---------------------------------------------------------------------------


def test_a_scale_goes_through_its_proven_marks(client: FlaskClient) -> None:
    at = ["20 yd", "24 yd", "30 yd", "41 yd", "50 yd", "60 yd", "70 yd"]
    scale, bare = one(client, distances=at, marks=MARKS, magnification=2), one(client, distances=at)
    rows = {row["distance"]: row for row in scale["ticks"]}
    for mark in scale["marks"]:
        row = rows[mark["distance"]]
        assert row["travel"] == mark["travel"]
        assert row["position"] == pytest.approx(2 * mark["travel"], abs=1e-9)
        assert mark["residual"] == 0
        assert mark["correction"] == pytest.approx(
            mark["travel"] - mark["predicted_travel"], abs=1e-9
        )
        assert row["predicted_travel"] == mark["predicted_travel"]
    assert [mark["travel"] for mark in scale["marks"]] == [1.9, 9.9, 20.4]
    assert ticks(scale, "predicted_travel") == ticks(bare, "travel")
    corrections = ticks(scale, "correction")
    assert corrections[0] == 0 and corrections[-2] == corrections[-1] != 0
    assert len(set(corrections[:6])) == 6
    assert scale["corrected_by"] == "own-marks"
    assert bare["corrected_by"] == "nothing"


def test_marks_as_predicted_change_nothing(client: FlaskClient) -> None:
    bare = one(client)
    marks = [
        {"distance": f"{row['distance']} yd", "travel": f"{row['travel']} mm"}
        for row in bare["ticks"][::8]
    ]
    scale = one(client, marks=marks)
    assert ticks(scale, "position") == pytest.approx(ticks(bare, "position"), abs=1.1e-3)
    assert ticks(scale, "predicted_travel") == ticks(bare, "predicted_travel")


@pytest.mark.parametrize("drag", ["none", "constant"])
def test_a_marks_prediction_is_as_uncertain_as_the_mark_table_says(
    client: FlaskClient, drag: str
) -> None:
    """By the speed alone without drag, by both with it."""
    readings = ["262 ft/s", "274 ft/s", "266 ft/s"]
    body = plain(launch={"model": "measured", "parameters": {"readings": readings}})
    if drag == "none":
        body["drag"] = {"model": "none"}
    (scale,) = posted(client, body | {"marks": MARKS})["scales"]
    table = posted(client, body | {"distances": ["24 yd", "41 yd", "60 yd"]}, "/v1/mark-table")
    wanted = [row["travel_uncertainty"] for row in table["rows"]]
    found = [mark["travel_uncertainty"] for mark in scale["marks"]]
    assert found == pytest.approx(wanted, abs=1.1e-3) and min(wanted) > 0.02


def test_one_far_mark_leaves_the_zero_where_it_is(client: FlaskClient) -> None:
    """The correction grows in a line from the zero distance to the mark."""
    scale = one(client, distances=["20 yd", "30 yd", "40 yd", "60 yd", "70 yd"], marks=[FAR])
    off = round(20.6 - ticks(scale, "predicted_travel")[3], 3)
    assert off == 0.586
    wanted = [0, off / 4, off / 2, off, off]
    assert ticks(scale, "correction") == pytest.approx(wanted, abs=6e-4)
    assert ticks(scale, "travel")[0] == ticks(scale, "position")[0] == 0
    assert "zero-mark-moved" not in codes(scale["notes"])


def test_the_zeros_own_mark_moves_it(client: FlaskClient) -> None:
    at = ["20 yd", "40 yd", "60 yd"]
    moved = [{"distance": "20 yd", "travel": "-0.4 mm"}, FAR]
    scale = one(client, distances=at, marks=moved)
    near, middle, far = ticks(scale, "correction")
    assert (near, ticks(scale, "travel")[0]) == (-0.4, -0.4)
    assert middle == pytest.approx((near + far) / 2, abs=1.1e-3)
    told = message(scale["notes"], "zero-mark-moved")
    assert "at 20 yd, is given 0.4 mm above the place" in told
    still = [{"distance": "20 yd", "travel": "0 mm"}, FAR]
    assert (
        one(client, distances=at, marks=still)["ticks"]
        == (one(client, distances=at, marks=[FAR])["ticks"])
    )
    assert "zero-mark-moved" not in codes(notes(client, marks=still))


@pytest.mark.parametrize(
    "distances, wanted",
    [
        (["18 yd", "50 yd"], "No mark is proven nearer than 20 yd: "),
        (["24 yd", "61 yd"], "No mark is proven farther than 60 yd: "),
        (["18 yd", "70 yd"], "No mark is proven nearer than 20 yd or farther than 60 yd: "),
        (["20 yd", "60 yd"], None),
    ],
)
def test_where_the_correction_is_held(
    client: FlaskClient, distances: list[str], wanted: str | None
) -> None:
    found = notes(client, distances=distances, marks=MARKS)
    assert ("correction-held" in codes(found)) is (wanted is not None)
    if wanted is not None:
        assert message(found, "correction-held").startswith(wanted)
        assert "the correction of the last one is held" in message(found, "correction-held")
    assert "correction-held" not in codes(notes(client, distances=distances))


def test_a_mark_far_from_its_prediction_is_a_note(client: FlaskClient) -> None:
    (mark,) = posted(client, plain(marks=[FAR]))["scales"][0]["marks"]
    room = 1 + 3 * mark["travel_uncertainty"]
    assert mark["travel_uncertainty"] > 0.1
    for off, noted in ((room - 0.01, False), (room + 0.01, True), (-room - 0.01, True)):
        marks = [{"distance": "60 yd", "travel": f"{mark['predicted_travel'] + off:.3f} mm"}]
        found = notes(client, marks=marks)
        assert ("mark-far-from-prediction" in codes(found)) is noted
        if noted:
            assert "those at 60 yd" in message(found, "mark-far-from-prediction")


# --- several scales ----------------------------------------------------------------------


def test_marks_of_the_set_up_correct_every_scale_by_as_much(client: FlaskClient) -> None:
    scales = [{"label": "warm"}, {"label": "cold", **COLD}]
    marked = posted(client, plain(marks=MARKS, scales=scales))
    bare = posted(client, plain(scales=scales))
    own = one(client, marks=MARKS)
    assert marked["marks"] == own["marks"]
    warm, cold = marked["scales"]
    assert warm["ticks"] == own["ticks"]
    assert ticks(cold, "correction") == ticks(own, "correction")
    assert ticks(cold, "predicted_travel") == ticks(bare["scales"][1], "travel")
    for scale, other in zip(marked["scales"], bare["scales"], strict=True):
        assert (scale["corrected_by"], other["corrected_by"]) == ("set-up-marks", "nothing")
        assert "marks" not in scale
    assert "marks" not in bare


def test_a_colder_scale_stays_longer_than_the_proven_one(client: FlaskClient) -> None:
    body = worked()
    assert "marks" in body and all("marks" not in scale for scale in body["scales"])
    summer, winter = posted(client, body)["scales"]
    assert [row["travel"] for row in summer["ticks"] if row["distance"] == 60] == [20.6]
    pairs = zip(ticks(summer, "travel")[1:], ticks(winter, "travel")[1:], strict=True)
    assert all(warm < cold for warm, cold in pairs)
    assert winter["length"] > summer["length"] + 0.1


def test_a_scale_with_marks_of_its_own_goes_through_those_alone(client: FlaskClient) -> None:
    scales = [{"label": "a", "marks": MARKS[:1]}, {"label": "b"}]
    own, carried = posted(client, plain(marks=MARKS, scales=scales))["scales"]
    assert own["ticks"] == one(client, marks=MARKS[:1])["ticks"]
    assert own["marks"] == one(client, marks=MARKS[:1])["marks"]
    assert carried["ticks"] == one(client, marks=MARKS)["ticks"]
    assert [one["corrected_by"] for one in (own, carried)] == ["own-marks", "set-up-marks"]


def test_the_set_up_that_was_proven_need_not_be_printed(client: FlaskClient) -> None:
    cold = plain(marks=[FAR], distances=["40 yd", "60 yd"], scales=[{"label": "cold", **COLD}])
    found = posted(client, cold)
    (row,) = found["marks"]
    assert (row["predicted_travel"], row["correction"]) == (20.014, 0.586)
    assert ticks(found["scales"][0], "correction") == [0.293, 0.586]
    # Its flights count: a mark farther out than any tick flies slower.
    near = plain(scales=[{"label": "a"}], distances=["20 yd", "30 yd"])
    slow = posted(client, near | {"marks": [FAR]})["solution"]["least_airspeed"]
    assert slow < posted(client, near)["solution"]["least_airspeed"] - 1


def test_the_card_is_corrected_as_its_scale(client: FlaskClient) -> None:
    body = worked()
    body["card"] |= {"scale": "Winter"}
    found = posted(client, body)
    travel = {row["distance"]: row["travel"] for row in found["scales"][1]["ticks"]}
    for row in found["card"]["rows"]:
        assert row["travel"] == pytest.approx(travel[row["distance"]], abs=1.1e-3)


def test_marks_carried_to_other_conditions_are_noted(client: FlaskClient, sheets: Sheets) -> None:
    body = plain(marks=[FAR], scales=[{"label": "a"}, {"label": "b", **COLD}])
    found = posted(client, body)
    told = message(found["notes"], "marks-carried-over")
    assert told.startswith('Scale "b": corrected by as much as') and "assumed" in told
    assert "marks-carried-over" in codes(found["scales"][1]["notes"])
    assert "marks-carried-over" not in codes(found["scales"][0]["notes"])
    sheet = drawn(client, sheets, body)
    assert told in sheet.said
    assert [strip.word for strip in sheet.strips] == ["", ""]


def test_notes_of_the_set_ups_marks_are_told_once(client: FlaskClient, sheets: Sheets) -> None:
    moved = [{"distance": "20 yd", "travel": "0.3 mm"}, {"distance": "60 yd", "travel": "23 mm"}]
    body = plain(marks=moved, scales=[{"label": "a"}, {"label": "b", **COLD}])
    found = posted(client, body)
    said = drawn(client, sheets, body).said
    for code in ("zero-mark-moved", "correction-held", "mark-far-from-prediction"):
        told = message(found["notes"], code)
        assert told in said and not told.startswith("Scale")
        assert all(code not in codes(scale["notes"]) for scale in found["scales"])
    own = [{"label": "a", "marks": [{"distance": "80 yd", "travel": "32 mm"}]}]
    assert "correction-held" not in codes(notes(client, marks=moved, scales=own))


def test_a_scale_that_nothing_proves_says_so_beside_one_that_is(
    client: FlaskClient, sheets: Sheets
) -> None:
    body = plain(scales=[{"label": "a", "marks": [FAR]}, {"label": "b", **COLD}])
    found = posted(client, body)
    assert [scale["corrected_by"] for scale in found["scales"]] == ["own-marks", "nothing"]
    told = message(found["notes"], "predicted-only")
    assert told.startswith('Scale "b": predicted only') and "at the top" in told
    sheet = drawn(client, sheets, body)
    assert told in sheet.said
    assert [strip.word for strip in sheet.strips] == ["", "predicted only"]
    none = plain(scales=[{"label": "a"}, {"label": "b", **COLD}])
    assert "predicted-only" not in codes(posted(client, none)["notes"])
    assert [strip.word for strip in drawn(client, sheets, none).strips] == ["", ""]


# --- what is off beyond belief -----------------------------------------------------------


@pytest.mark.parametrize(
    "travel, words",
    [
        ("20.6 cm", ("206 mm", "predicted 20.014 mm", "cm are given where mm")),
        ("2.06 mm", ("2.06 mm", "mm are given where cm")),
        ("-20.6 mm", ("-20.6 mm", "counted upwards")),
        ("32 mm", ("32 mm", "counted from another zero than 20 yd")),
        ("0.81 mm", ("mm are given where inches",)),
        ("19.6 in", ("497.84 mm", "inches are given where mm")),
    ],
)
def test_a_gross_misfit_is_refused_with_the_likely_slip(
    client: FlaskClient, travel: str, words: tuple[str, ...]
) -> None:
    given = {"distance": "60 yd", "travel": travel}
    marks = [{"distance": "40 yd", "travel": "9 mm"}, given]
    for body, pointer in (
        (plain(marks=marks), "/marks/1/travel"),
        (plain(marks=marks, scales=[{"label": "a"}]), "/marks/1/travel"),
        (plain(scales=[{"label": "a", "marks": marks}]), "/scales/0/marks/1/travel"),
    ):
        problem = refusal(client, body)
        assert [fault["pointer"] for fault in problem["errors"]] == [pointer]
        for word in words:
            assert word in problem["errors"][0]["detail"]


def off_by(client: FlaskClient, distance: str, share: float, length: float, **more: Any) -> Body:
    """A scale with one mark, off by a share of its predicted travel and a length, mm."""
    body = plain(distances=["20 yd", distance], **more)
    travel = posted(client, body)["scales"][0]["ticks"][1]["travel"] * (1 + share) + length
    return body | {"marks": [{"distance": distance, "travel": f"{travel:.3f} mm"}]}


@pytest.mark.parametrize("sign", [1, -1])
def test_how_far_off_is_refused(client: FlaskClient, sign: int) -> None:
    """Half the travel and 3 mm and five uncertainties: all of them."""
    posted(client, off_by(client, "60 yd", 0.49 * sign, 0))
    refusal(client, off_by(client, "60 yd", 0.51 * sign, 0))
    posted(client, off_by(client, "30 yd", 0, 2.9 * sign))
    refusal(client, off_by(client, "30 yd", 0, 3.1 * sign))
    readings = ["250 ft/s", "285 ft/s", "250 ft/s"]
    unsure = {"launch": {"model": "measured", "parameters": {"readings": readings}}}
    (mark,) = posted(client, off_by(client, "60 yd", 0, 1, **unsure))["scales"][0]["marks"]
    room = 5 * mark["travel_uncertainty"]
    assert 0.51 < room / mark["predicted_travel"] < 0.9
    posted(client, off_by(client, "60 yd", 0, sign * room * 0.99, **unsure))
    refusal(client, off_by(client, "60 yd", 0, sign * room * 1.01, **unsure))


def test_marks_that_moved_with_the_zero_are_no_misfit(client: FlaskClient) -> None:
    """As a calibration has them, where the sight was set anew."""
    moved = [
        {"distance": "20 yd", "travel": "8 mm"},
        {"distance": "24 yd", "travel": "9.6 mm"},
        {"distance": "60 yd", "travel": "28.2 mm"},
    ]
    found = notes(client, marks=moved)
    assert "zero-mark-moved" in codes(found)
    assert "mark-far-from-prediction" not in codes(found)
    assert refusal(client, plain(marks=moved[1:]))["errors"][0]["pointer"] == "/marks/0/travel"


# --- the document ------------------------------------------------------------------------


def test_a_marks_bounds_read_as_those_of_other_distances(app: Any) -> None:
    schemas = app.test_client().get("/openapi.json").get_json()["components"]["schemas"]
    said = schemas["ScaleMark"]["properties"]["distance"]["description"]
    assert said.endswith("(at least 1 m, at most 1000 m)")
