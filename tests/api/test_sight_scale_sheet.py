"""What a printed sheet carries beside its scales: the card, the code, cautions."""

import json
from typing import Any

import pytest
from flask import Flask
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
    worked,
)

from arrowloft.api.canonical import canonical
from arrowloft.api.level import cant_tolerance
from arrowloft.api.sight import wind
from arrowloft.core.sight.printed import PrintedSheet

MARKS = [
    {"distance": "24 yd", "travel": "1.7 mm"},
    {"distance": "60 yd", "travel": "20.4 mm"},
]
CARD: Body = {
    "distances": ["60 yd", "20 yd", "33 yd"],
    "wind": {"speed": "4 m/s", "from": "60 deg"},
    "allowance": {"diameter": "25 cm"},
}


@pytest.fixture(scope="module")
def sheets() -> Sheets:
    return Sheets()


@pytest.fixture(scope="module")
def client(sheets: Sheets) -> FlaskClient:
    edge = edge_of(sheets)
    client = client_of(edge)
    for module in (wind, cant_tolerance):
        module.resource(edge).install(client.application)
    return client


def drawn(client: FlaskClient, sheets: Sheets, body: Body) -> PrintedSheet:
    response = client.post(PATH, json=body, headers={"Accept": "application/pdf"})
    assert response.status_code == 200, response.get_data(as_text=True)
    assert sheets.sheet is not None
    return sheets.sheet


def notes(client: FlaskClient, **changes: Any) -> list[Body]:
    return list(posted(client, plain(**changes))["notes"])


# --- the card ----------------------------------------------------------------------------


def test_a_card_says_what_the_other_resources_say(client: FlaskClient) -> None:
    found = posted(client, plain(card=CARD))["card"]
    shared = plain(distances=CARD["distances"])
    marks = posted(client, shared, "/v1/mark-table")["rows"]
    asked = shared | {"speeds": ["4 m/s"], "directions": ["60 deg"]}
    drifts = posted(client, asked, "/v1/wind")["rows"]
    asked = shared | {"allowance": CARD["allowance"]}
    rolls = posted(client, asked, "/v1/cant-tolerance")["rows"]
    for row, mark, drift, roll in zip(found["rows"], marks, drifts, rolls, strict=True):
        assert row["distance"] == mark["distance"]
        assert (row["travel"], row["clicks"]) == (mark["travel"], mark["clicks"])
        assert row["drift"] == drift["drift"] != 0
        assert row["windage_clicks"] == drift["windage_clicks"]
        assert row["greatest_roll"] == roll["max_cant"]
        assert type(row["clicks"]) is type(row["windage_clicks"]) is int
    assert found["wind"]["from"] == 60
    assert found["wind"]["speed"] == pytest.approx(4 / 0.3048, abs=1e-5)
    assert (found["allowance"], found["roll_tried"]) == (250, 45)


def test_its_marks_are_the_scales_through_proven_ones(client: FlaskClient) -> None:
    body = plain(marks=MARKS, card={"distances": {"from": "20 yd", "to": "70 yd", "step": "10 yd"}})
    body["sight"]["scale"] = {"reading": 20, "travel_per_unit": "5 mm", "increases": "down"}
    found = posted(client, body)
    ticks = {row["distance"]: row["travel"] for row in found["scales"][0]["ticks"]}
    for row in found["card"]["rows"]:
        assert row["travel"] == pytest.approx(ticks[row["distance"]], abs=1.1e-3)
        assert row["clicks"] == pytest.approx(row["travel"] / 0.125, abs=0.51)
        assert row["reading"] == pytest.approx(20 + row["travel"] / 5, abs=1e-3)
    assert found["card"]["rows"][4]["travel"] == 20.4


def test_a_card_has_the_columns_that_were_asked_for(client: FlaskClient, sheets: Sheets) -> None:
    body = plain(card={"distances": ["20 yd", "40 yd"]})
    body["sight"] = {"radius": "32.5 in"}
    card = posted(client, body)["card"]
    assert card.keys() == {"label", "rows"}
    assert card["rows"][0].keys() == {"distance", "travel"}
    printed = drawn(client, sheets, body).card
    assert printed is not None and printed.drift is None and printed.allowance is None


@pytest.mark.parametrize("chosen, label", [(None, "a"), (1, "b"), (1.0, "b"), ("b", "b"), (0, "a")])
def test_a_card_is_of_the_scale_chosen(
    client: FlaskClient, sheets: Sheets, chosen: Any, label: str
) -> None:
    cold = {"temperature": "-20 degC"}
    body = plain(scales=[{"label": "a"}, {"label": "b", "air": cold}])
    body["card"] = CARD | ({} if chosen is None else {"scale": chosen})
    found = posted(client, body)["card"]
    assert found["label"] == label
    wanted = plain(card=CARD, **({"air": plain()["air"] | cold} if label == "b" else {}))
    assert found["rows"] == posted(client, wanted)["card"]["rows"]
    printed = drawn(client, sheets, body).card
    assert printed is not None and printed.label == label
    assert 1e3 * printed.travel[0] == pytest.approx(found["rows"][0]["travel"], abs=6e-4)
    assert printed.wind_speed == 4 and printed.allowance == 0.25


def test_a_roll_that_never_matters_is_null(client: FlaskClient) -> None:
    card = {"distances": ["20 yd"], "allowance": {"diameter": "2 m"}}
    assert posted(client, plain(card=card))["card"]["rows"][0]["greatest_roll"] is None


def test_the_cards_flights_count_in_the_solution(client: FlaskClient) -> None:
    bare, full = posted(client, plain()), posted(client, plain(card=CARD))
    assert "position_error" not in bare["solution"]
    assert 0 < full["solution"]["position_error"] < 1e-3
    assert full["solution"]["greatest_airspeed"] > bare["solution"]["greatest_airspeed"] + 5


# --- the code ----------------------------------------------------------------------------


def test_the_code_holds_the_request_in_its_one_form(client: FlaskClient, sheets: Sheets) -> None:
    body = worked()
    sheet = drawn(client, sheets, body)
    assert sheet.request is not None
    assert sheet.request.encode() == canonical(body)
    again = posted(client, json.loads(sheet.request))
    assert again == posted(client, body)
    assert again["sheet"]["code"] is True


def test_no_code_where_none_is_wanted(client: FlaskClient, sheets: Sheets) -> None:
    body = plain(sheet={"code": False})
    assert drawn(client, sheets, body).request is None
    found = posted(client, body)
    assert found["sheet"]["code"] is False
    assert "request-too-long-for-code" not in codes(found["notes"])


@pytest.mark.parametrize("more, fits", [(0, True), (1, False)])
def test_a_code_holds_so_many_bytes(
    client: FlaskClient, sheets: Sheets, more: int, fits: bool
) -> None:
    """2953 of them: level L of the largest QR code (ISO/IEC 18004, table of capacities)."""
    title = "T" + "é" * 20
    body = plain(distances=[f"{20 + i / 10} yd" for i in range(180)], sheet={"title": title})
    room = 2953 + more - len(canonical(body))
    assert room >= 0
    for index in range(1, 180):
        pad = min(room, 12)
        body["distances"][index] = body["distances"][index].replace(" ", "0" * pad + " ")
        room -= pad
    assert room == 0 and len(canonical(body)) == 2953 + more
    assert (drawn(client, sheets, body).request is not None) is fits
    found = posted(client, body)
    assert found["sheet"]["code"] is fits
    assert ("request-too-long-for-code" in codes(found["notes"])) is not fits


def test_the_service_draws_it_at_true_size(app: Flask) -> None:
    service = app.test_client()
    for media, begins in (("image/svg+xml", b"<?xml"), ("application/pdf", b"%PDF")):
        sheet, again = (
            service.post(PATH, json=worked(), headers={"Accept": media}) for _ in range(2)
        )
        assert (sheet.status_code, sheet.mimetype) == (200, media)
        assert sheet.data.startswith(begins) and sheet.data == again.data
    (scale, _) = posted(service, worked())["scales"]
    drawn = service.post(PATH, json=worked(), headers={"Accept": "image/svg+xml"}).text
    assert "Summer, proven" in drawn and f"{scale['length']:.2f} mm" in drawn


# --- cautions ----------------------------------------------------------------------------


def test_every_sheet_says_how_to_print_and_to_prove_it(client: FlaskClient, sheets: Sheets) -> None:
    found = posted(client, plain())["notes"]
    assert "100 %" in message(found, "print-at-full-size")
    said = " ".join(drawn(client, sheets, plain()).said)
    for code in ("prove-marks", "aim-not-safety"):
        assert message(found, code) in said
    assert "near to far" in said


def test_crowded_ticks_are_named(client: FlaskClient, sheets: Sheets) -> None:
    fine = {"from": "20 yd", "to": "70 yd", "step": "1 yd"}
    told = message(notes(client, distances=fine), "ticks-crowded")
    assert told.startswith("Between 20 yd and 35 yd ")
    assert told in drawn(client, sheets, plain(distances=fine)).said
    for changes in ({"distances": fine, "magnification": 2}, {}):
        assert "ticks-crowded" not in codes(notes(client, **changes))


def test_numbers_that_are_long_in_their_unit_are_a_note(client: FlaskClient) -> None:
    body = plain()
    body["units"]["distance"] = "m"
    assert "numbers-not-round" in codes(posted(client, body)["notes"])
    assert "numbers-not-round" not in codes(notes(client))


def test_an_arrow_that_hits_into_the_wind_is_a_note(client: FlaskClient) -> None:
    blowing = {"wind": {"speed": "4 m/s", "from": "90 deg"}}
    assert "weathervane" in codes(notes(client, **blowing))
    assert "weathervane" not in codes(notes(client, distances=["50 yd", "70 yd"], **blowing))
    found = posted(client, plain(scales=[{"label": "a"}, {"label": "b", **blowing}]))
    assert message(found["notes"], "weathervane").startswith('Scale "b": the arrow turns')


def test_notes_of_several_scales_say_whose_they_are(client: FlaskClient, sheets: Sheets) -> None:
    body = plain(scales=[{"label": "a"}, {"label": "b", "marks": MARKS}])
    found = posted(client, body)
    assert message(found["notes"], "correction-held").startswith('Scale "b": no mark')
    assert message(found["notes"], "correction-held") in drawn(client, sheets, body).said
    assert message(found["scales"][1]["notes"], "correction-held").startswith("No mark")
    assert "correction-held" not in codes(found["scales"][0]["notes"])


def test_an_arrow_that_may_harm_the_bow_is_said_on_the_sheet(
    client: FlaskClient, sheets: Sheets
) -> None:
    body = plain()
    body["arrow"]["mass"] = "200 gr"
    body["launch"] = {"model": "measured", "parameters": {"speed": "300 ft/s"}}
    assert "lighter than 5 grains" in drawn(client, sheets, body).said[0]
    scales = [{"label": "a"}, {"label": "b", "arrow": body["arrow"]}]
    told = drawn(client, sheets, plain(scales=scales)).said
    assert any(text.startswith('Scale "b": the arrow is lighter') for text in told)
