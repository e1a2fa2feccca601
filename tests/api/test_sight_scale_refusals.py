"""Printed scales that cannot be: what is refused, where the problem points, what it says to do."""

from typing import Any

import pytest
from flask.testing import FlaskClient
from scale_requests import Body, Sheets, client_of, edge_of, plain, posted, refusal, worked

SLOW: Body = {"model": "measured", "parameters": {"speed": "20 m/s"}}


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return client_of(edge_of(Sheets()))


def refused(client: FlaskClient, pointer: str, *words: str, **changes: Any) -> Body:
    """The refusal of the plain request so changed, which points there and says these words."""
    problem = refusal(client, plain(**changes))
    assert [fault["pointer"] for fault in problem["errors"]] == [pointer], problem
    for word in words:
        assert word in problem["errors"][0]["detail"]
    return problem


def mark(distance: str, travel: str) -> Body:
    return {"distance": distance, "travel": travel}


@pytest.mark.parametrize(
    "pointer, changes",
    [
        ("/distances", {"distances": ["20 yd"]}),
        ("/distances", {"distances": {"from": "20 yd", "to": "20.5 yd", "step": "1 yd"}}),
        ("/distances/2", {"distances": ["20 yd", "30 yd", "20 yd"]}),
        ("/distances/1", {"distances": ["20.0005 m", "20 m", "30 m"]}),
        ("/distances/step", {"distances": {"from": "20 m", "to": "60 m", "step": "5 cm"}}),
        ("/number_every", {"number_every": 0}),
        ("/farther", {"farther": "left"}),
        ("/numbers", {"numbers": "up"}),
        ("/magnification", {"magnification": 0.05}),
        ("/magnification", {"magnification": 11}),
        ("/label", {"label": "  "}),
        ("/marks", {"marks": []}),
        ("/marks/0/travel", {"marks": [mark("30 yd", "2 m")]}),
        ("/marks/1/distance", {"marks": [mark("30 yd", "4 mm"), mark("30 yd", "5 mm")]}),
        ("/marks/2/travel", {"marks": [
            mark("30 yd", "4 mm"), mark("40 yd", "9 mm"), mark("50 yd", "9 mm")]}),
        ("/scales", {"scales": []}),
        ("/scales", {"scales": [{"label": str(i)} for i in range(5)]}),
        ("/scales/0/label", {"scales": [{"air": {"temperature": "0 degC"}}]}),
        ("/scales/0/sight", {"scales": [{"label": "a", "sight": {"radius": "30 in"}}]}),
        ("/scales/1/marks/1/travel", {"scales": [{"label": "a"}, {"label": "b", "marks": [
            mark("40 yd", "9.5 mm"), mark("41 yd", "9.4 mm")]}]}),
        ("/marks/1/travel", {"scales": [{"label": "a"}], "marks": [
            mark("40 yd", "9.5 mm"), mark("41 yd", "9.4 mm")]}),
        ("/marks/1/distance", {"scales": [{"label": "a"}], "marks": [
            mark("41 yd", "9.5 mm"), mark("40 yd", "9.4 mm")]}),
        ("/marks/0/distance", {"distances": ["20 m", "30 m"], "scales": [{"label": "a"}],
            "marks": [mark("600 m", "90 mm")]}),
        ("/marks/1/travel", {"distances": ["40 yd", "50 yd"], "marks": [
            mark("8 yd", "1 mm"), mark("14 yd", "-0.5 mm"), mark("50 yd", "15 mm")]}),
        ("/label", {"label": "a", "scales": [{"label": "a"}]}),
        ("/sheet/paper", {"sheet": {"paper": "a3"}}),
        ("/sheet/date", {"sheet": {"date": "d" * 41}}),
        ("/sheet/title", {"sheet": {"title": ""}}),
        ("/sheet/code", {"sheet": {"code": "yes"}}),
        ("/card/distances", {"card": {}}),
        ("/card/distances", {"card": {"distances": ["20 yd"] * 26}}),
        ("/card/scale", {"card": {"distances": ["20 yd"], "scale": 1}}),
        ("/card/scale", {"card": {"distances": ["20 yd"], "scale": 4}}),
        ("/card/scale", {"card": {"distances": ["20 yd"], "scale": "Mark"}}),
        ("/card/scale", {"card": {"distances": ["20 yd"], "scale": True}}),
        ("/card/wind/from", {"card": {"distances": ["20 yd"], "wind": {"speed": "3 m/s"}}}),
        ("/card/allowance/diameter", {"card": {"distances": ["20 yd"], "allowance": {}}}),
    ],
)  # fmt: skip
def test_what_is_refused(client: FlaskClient, pointer: str, changes: Body) -> None:
    refused(client, pointer, **changes)


def test_a_label_given_twice_is_named_at_both(client: FlaskClient) -> None:
    scales = [{"label": "warm"}, {"label": "cold"}, {"label": "warm"}]
    problem = refusal(client, plain(scales=scales))
    assert [f["pointer"] for f in problem["errors"]] == ["/scales/0/label", "/scales/2/label"]
    assert 'called "warm"' in problem["errors"][0]["detail"]


def test_a_scale_that_is_not_there_is_told_with_those_that_are(client: FlaskClient) -> None:
    body = worked()
    body["card"]["scale"] = "Spring"
    assert '"Summer, proven", "Winter"' in refusal(client, body)["detail"]


# --- marks that turn back ----------------------------------------------------------------


def test_marks_that_turn_back_are_told_with_where(client: FlaskClient) -> None:
    near = {"from": "8 yd", "to": "40 yd", "step": "2 yd"}
    problem = refused(client, "/distances/from", "turn back at 13.", "yd", distances=near)
    assert "Begin farther out" in problem["detail"]
    turning = [mark("8 yd", "1 mm"), mark("14 yd", "-0.5 mm"), mark("30 yd", "4 mm")]
    refused(client, "/distances/from", distances=near, marks=turning)
    listed = ["40 yd", "8 yd", "30 yd", "12 yd"]
    refused(client, "/distances/1", distances=listed)
    refused(client, "/distances/0", "still go back at 10 yd", distances=["7 yd", "10 yd"])
    posted(client, plain(distances=near | {"from": "14 yd"}))


def test_only_the_scale_that_turns_back_is_blamed(client: FlaskClient) -> None:
    """A peep farther above the arrow's line turns farther out."""
    near = {"from": "15 yd", "to": "40 yd", "step": "1 yd"}
    high = plain()["bow"] | {"peep_height": "9 in"}
    words = ('Scale "b": the marks turn back at 1', "yd")
    scales = [{"label": "a"}, {"label": "b", "bow": high}]
    problem = refused(client, "/distances/from", *words, distances=near, scales=scales)
    assert problem["detail"].startswith(words[0])


def test_marks_that_bend_the_scale_back_are_blamed(client: FlaskClient) -> None:
    marks = [mark("30 yd", "6.6 mm"), mark("36 yd", "6.9 mm")]
    refused(client, "/marks", "turns back near 3", marks=marks)
    scales = [{"label": "a"}, {"label": "b", "marks": marks}]
    refused(client, "/scales/1/marks", 'Scale "b": through these marks', scales=scales)
    carried = {"marks": marks, "scales": [{"label": "a"}]}
    refused(client, "/marks", 'Scale "a": through these marks', **carried)


# --- room --------------------------------------------------------------------------------


def test_a_strip_longer_than_the_paper_says_how_long_and_where_to_end(client: FlaskClient) -> None:
    far = {"from": "20 yd", "to": "100 yd", "step": "2 yd"}
    problem = refused(
        client, "/distances/to", "A4 paper takes 205 mm", distances=far, magnification=5
    )
    words = problem["detail"].split()
    length = float(words[words.index("is") + 1])
    end = words[words.index("at") + 1]
    fits = plain(distances=far | {"to": f"{end} yd"}, magnification=5)
    (scale,) = posted(client, fits)["scales"]
    assert scale["length"] <= 205
    longer = far | {"to": f"{float(end) + 2:g} yd"}
    refused(client, "/distances/to", distances=longer, magnification=5)
    (whole,) = posted(client, plain(distances=far))["scales"]
    assert length == pytest.approx(5 * whole["length"], abs=6e-3)


def test_where_the_other_paper_takes_it_that_is_said(client: FlaskClient) -> None:
    body = {"distances": ["20 yd", "70 yd", "68 yd"], "magnification": 7.5}
    (scale,) = posted(client, plain(**body))["scales"]
    assert 187.5 < scale["length"] < 205
    told = "or print on A4 paper"
    refused(client, "/distances/1", told, **body, sheet={"paper": "letter"})
    assert posted(client, plain(**body))["sheet"] == {"paper": "a4", "longest": 205, "code": True}


def test_ticks_that_are_farther_apart_than_the_paper(client: FlaskClient) -> None:
    refused(
        client,
        "/distances/1",
        "put the ticks closer together",
        distances=["20 yd", "70 yd"],
        magnification=10,
    )


# --- flights -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "pointer, changes",
    [
        ("/distances/1", {"distances": ["20 m", "600 m"]}),
        ("/distances/to", {"distances": {"from": "20 m", "to": "600 m", "step": "20 m"}}),
        ("/marks/1/distance", {"distances": ["20 m", "30 m"], "marks": [
            mark("20 m", "0 mm"), mark("600 m", "200 mm")]}),
        ("/card/distances/1", {"distances": ["20 m", "30 m"], "card": {
            "distances": ["20 m", "600 m"]}}),
        ("/distances/1", {"distances": ["20 m", "60 m"], "scales": [
            {"label": "a"}, {"label": "b", "launch": SLOW}]}),
        ("/scales/1/marks/0/distance", {"distances": ["20 m", "30 m"], "scales": [
            {"label": "a"}, {"label": "b", "launch": SLOW, "marks": [mark("60 m", "90 mm")]}]}),
    ],
)  # fmt: skip
def test_what_is_beyond_reach(client: FlaskClient, pointer: str, changes: Body) -> None:
    problem = refused(client, pointer, "beyond reach", **changes)
    assert problem["type"] == "/problems/beyond-reach"
    assert problem["farthest"] > 20


def test_a_zero_beyond_reach(client: FlaskClient) -> None:
    body = plain(distances=["20 m", "30 m"])
    body["sight"]["zero_distance"] = "600 m"
    assert refusal(client, body)["errors"][0]["pointer"] == "/sight/zero_distance"


@pytest.mark.parametrize(
    "scale, pointer",
    [
        ({"launch": {"model": "measured", "parameters": {"speed": "1 m/s"}}}, "/scales/1/launch"),
        ({"arrow": {"mass": "400 gr"}}, "/scales/1/arrow/shaft_diameter"),
        ({"drag": {"model": "constant"}}, "/scales/1/drag/parameters/coefficient"),
        ({"air": {"pressure": "992"}}, "/scales/1/air/pressure"),
    ],
)
def test_faults_of_a_scale_point_into_it(client: FlaskClient, scale: Body, pointer: str) -> None:
    body = plain(scales=[{"label": "a"}, {"label": "b", **scale}])
    assert refusal(client, body)["errors"][0]["pointer"].startswith(pointer)


def test_the_set_up_itself_is_refused_as_anywhere(client: FlaskClient) -> None:
    body = plain(scales=[{"label": "a"}, {"label": "b"}], launch=SLOW, distances=["20 m", "600 m"])
    problem = refusal(client, body)
    assert problem["errors"][0]["pointer"] == "/distances/1"
    assert problem["detail"].startswith('Scale "a": this distance is beyond reach')
