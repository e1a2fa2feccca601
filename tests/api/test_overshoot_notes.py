"""POST /v1/overshoot: what it cautions of, and what it says it took."""

import copy

import pytest
from flask.testing import FlaskClient
from overshoot_requests import ASKED, Body, client, codes, guidance, plain, reply, said


@pytest.fixture(scope="module")
def far() -> FlaskClient:
    return client()


@pytest.fixture
def asked() -> Body:
    return plain()


def test_the_plain_statement_stands_foremost(far: FlaskClient, asked: Body) -> None:
    found = reply(far, asked)
    first = found["notes"][0]
    assert first["code"] == "overshoot-approves-no-ground"
    for word in ("low shots", "40 deg", "several hundred metres", "governing body", "insurer"):
        assert word in first["message"]
    assert "local law" in first["message"] and "approves no ground" in first["message"]
    assert {"overshoot-sticks", "overshoot-one-bow", "aim-not-safety"} <= set(codes(found))


@pytest.mark.parametrize(
    ("without", "code"),
    [
        ("butt", "overshoot-nothing-stops"),
        ("terrain", "overshoot-level-ground"),
        ("wind", "overshoot-still-air"),
        ("group", "overshoot-no-group"),
    ],
)
def test_what_was_assumed_is_noted(far: FlaskClient, without: str, code: str) -> None:
    body = copy.deepcopy(ASKED)
    assert code not in codes(reply(far, body))
    del body[without], body["share"]
    assert code in codes(reply(far, body))


def test_the_wind_given_is_noted_as_steady(far: FlaskClient, asked: Body) -> None:
    windy = {"speed": "3 m/s", "from": "10 deg"}
    assert "overshoot-steady-wind" in codes(reply(far, asked, wind=windy))
    assert "overshoot-still-air" in codes(reply(far, asked, wind=windy | {"speed": "0 m/s"}))


def test_arrows_beyond_a_quoted_distance_are_cautioned(far: FlaskClient, asked: Body) -> None:
    found = reply(far, asked)
    text = said(found, "overshoot-beyond-quoted")
    assert "gross errors" in text and "release-aid" in text and "the group" not in text
    assert "wrong releases" in text and "the draw" in text and "as aimed" not in text
    small = {"gross": {"high": "0.5 deg", "aside": "1 deg"}}
    still = said(reply(far, asked, **small), "overshoot-beyond-quoted")
    assert "wrong releases" in still and "gross errors" not in still
    drawn = reply(far, asked, **small, releases=["0.1 deg"])
    text = said(drawn, "overshoot-beyond-quoted")
    assert "the draw" in text and "wrong releases" not in text
    low = reply(far, asked, **small, releases=["0.1 deg"], draw_angle="1 deg")
    assert "overshoot-beyond-quoted" not in codes(low)
    for one, inside in ((found, False), (drawn, False), (low, True)):
        row = guidance(one)["release-aid"]
        assert row["releases_inside"] is inside
        landed = max(row["distance"] for row in one["releases"])
        assert inside is (landed <= row["distance"])


def test_what_was_taken_is_said(far: FlaskClient, asked: Body) -> None:
    asked |= {"units": {"length": "cm"}}
    given = reply(far, asked, gross={"high": "12 deg"}, share=0.99)
    assert given["taken"] == {
        "eye_height": 160.0,
        "gross": {"high": 12.0, "aside": 5.0},
        "share": 0.99,
        "butt": {"width": 130.0, "height": 130.0},
    }
    del asked["group"], asked["share"], asked["butt"], asked["gross"]
    bare = reply(far, asked, terrain={"eye_height": "1.7 m"})["taken"]
    assert bare == {"eye_height": 170.0, "gross": {"high": 10.0, "aside": 5.0}, "butt": None}


@pytest.mark.parametrize(
    ("slope", "height", "gap"),
    [("0 deg", "1.3 m", None), ("0 deg", "1.0 m", 1.1), ("4 deg", "1.3 m", 4.44)],
)
def test_a_butt_high_above_the_ground_is_cautioned(
    far: FlaskClient, asked: Body, slope: str, height: str, gap: float | None
) -> None:
    """50 m sin(slope) and the eye's height, less half of the butt's as it leans."""
    butt = {"width": "1.3 m", "height": height}
    found = reply(far, asked, slope=slope, butt=butt)
    assert ("overshoot-butt-gap" in codes(found)) is (gap is not None)
    if gap is not None:
        text = said(found, "overshoot-butt-gap")
        assert f"{gap:g} m above the ground" in text and "under it are not counted" in text
    del asked["butt"]
    assert "overshoot-butt-gap" not in codes(reply(far, asked, slope=slope))


def test_in_wind_the_farthest_is_said_to_be_straight_ahead(far: FlaskClient, asked: Body) -> None:
    wind = {"speed": "8 m/s", "from": "120 deg"}
    assert "straight ahead" in said(reply(far, asked, wind=wind), "overshoot-steady-wind")


def test_few_arrows_of_a_group_are_cautioned(far: FlaskClient, asked: Body) -> None:
    asked["group"]["arrows"] = 6
    assert "group-from-few-arrows" in codes(reply(far, asked))


def test_the_doubt_of_speed_and_drag_is_said_in_figures(far: FlaskClient, asked: Body) -> None:
    """With the farthest carry's own two figures."""
    found = reply(far, asked)
    text, carry = said(found, "overshoot-doubt"), found["farthest"]
    assert f"{carry['upper']:.3g} m" in text
    assert f"{100 * (carry['upper'] / carry['distance'] - 1):.0f} % farther" in text


def test_a_group_of_unsaid_arrows_is_noted(far: FlaskClient, asked: Body) -> None:
    assert "group-arrows-unsaid" not in codes(reply(far, asked))
    del asked["group"]["arrows"]
    assert "group-arrows-unsaid" in codes(reply(far, asked))
