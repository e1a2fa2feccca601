"""What a calibration refuses: where it points, and a sentence that says what to do."""

import copy
import json

import pytest
from calibration_requests import (
    CERTAIN,
    EXAMPLE,
    PATH,
    ZERO,
    chronograph,
    end,
    metres,
    proven,
    refusal,
    reply,
    send,
    service,
    session,
    true_travel,
)
from jsonschema import Draft202012Validator

from arrowloft.api import problems
from arrowloft.api.learning import calibration
from arrowloft.core.flight.reach import Unsolved
from arrowloft.core.learning.calibration import Unsettled

IT = "/observations/1"


def seen(**changes):
    """An end at 60 m with some members changed, others (None) taken away."""
    body = end(60.0) | changes
    return {name: value for name, value in body.items() if value is not None}


def bare(**members):
    return {"distance": "60 m", **members}


CLICKS = {"clicks": 3}
OBSERVATIONS = {
    "unknown member": (seen(upp="3 in"), "/upp", 'did you mean "up"'),
    "nothing seen": (bare(), "", "Say what was seen: where arrows landed"),
    "a mark alone": (bare(mark=CLICKS), "", "a measured `speed`"),
    "no distance": ({"up": "3 in"}, "/distance", "add it"),
    "no arrows' height": (bare(right="1 in"), "/up", "height of the arrows' centre"),
    "a count alone": (bare(arrows=3), "/up", "height of the arrows' centre"),
    "a text": ("3 in high", "", "an object in braces"),
    "null": (None, "", "null is no value"),
    "null inside": ({**seen(), "up": None}, "/up", "leave the member out"),
    "bare number": (seen(up=3), "/up", 'such as "3 in"'),
    "unit of an angle": (seen(up="3 deg"), "/up", "length"),
    "too high": (seen(up="6 m"), "/up", "Give -5 m to 5 m"),
    "boolean": (seen(arrows=True), "/arrows", "a plain number"),
    "no arrows": (seen(arrows=0), "/arrows", "Give 1 to 10000"),
    "less than none": (seen(arrows=-3), "/arrows", "-3 is outside"),
    "half an arrow": (seen(arrows=2.5), "/arrows", "a whole number"),
    "negative scatter": (seen(vertical="-3 cm"), "/vertical", "Give 0 cm"),
    "scatter of one": (seen(vertical="3 cm", arrows=1), "/arrows", "One arrow does not scatter"),
    "scatter of how many": (seen(vertical="3 cm", arrows=None), "/arrows", "how many arrows"),
    "two scatters": (seen(vertical="3 cm", diameter="3 cm"), "/vertical", "not both"),
    "sideways alone": (seen(sideways="3 cm"), "/vertical", "up and down too"),
    "wide count": (seen(diameter="9 cm", arrows=31), "/arrows", "2 to 30"),
    "two forms": (seen(impacts=[{"up": "1 cm"}]), "/up", "leave this out beside `impacts`"),
    "no impacts": (bare(impacts=[]), "/impacts", "give 1 to 60"),
    "many impacts": (bare(impacts=[{"up": "1 cm"}] * 61), "/impacts", "give 1 to 60"),
    "impact without up": (bare(impacts=[{"right": "1 cm"}]), "/impacts/0/up", "add it"),
    "some lack right": (
        bare(impacts=[{"up": "1 cm", "right": "0 cm"}, {"up": "1 cm"}]),
        "/impacts/1/right",
        "out of all",
    ),
    "two marks": (
        seen(mark={"travel": "3 mm", "clicks": 3}),
        "/mark/travel",
        "in one way, not in several: travel, clicks",
    ),
    "two windages": (
        seen(mark={"windage_travel": "1 mm", "windage_clicks": 3}),
        "/mark/windage_travel",
        "`windage_clicks`",
    ),
    "mark a text": (seen(mark="163"), "/mark", "an object in braces"),
    "clicks a text": (seen(mark={"clicks": "163"}), "/mark/clicks", "without quotes"),
    "far mark": (seen(mark={"travel": "60 cm"}), "/mark/travel", "Give -50 cm to 50 cm"),
    "proven where": (bare(proven=True), "/mark", "Say which mark is proven"),
    "proven empty": (bare(proven=True, mark={}), "/mark", "`predicted_for`"),
    "proven aside only": (
        bare(proven=True, mark={"windage_clicks": 1}),
        "/mark",
        "Say which mark is proven",
    ),
    "proven false": (bare(proven=False, mark=CLICKS), "/proven", "Give true, or leave it out"),
    "proven a text": (bare(proven="yes", mark=CLICKS), "/proven", "true or false"),
    "proven and up": (bare(proven=True, mark=CLICKS, up="0 mm"), "/up", "beside `proven`"),
    "speed and up": (bare(speed={"value": "80 m/s"}, up="0 mm"), "/up", "beside `speed`"),
    "speed and mark": (bare(speed={"value": "80 m/s"}, mark=CLICKS), "/mark", "beside `speed`"),
    "speed and proven": (
        bare(speed={"value": "80 m/s"}, proven=True),
        "/proven",
        "beside `speed`",
    ),
    "speed and uncertainty": (
        bare(speed={"value": "80 m/s"}, uncertainty="1 cm"),
        "/uncertainty",
        "beside `speed`",
    ),
    "speed a text": (bare(speed="80 m/s"), "/speed", "an object in braces"),
    "speed without value": (bare(speed={}), "/speed/value", "add it"),
    "speed of light": (bare(speed={"value": "900 ft/s"}), "/speed/value", "is outside"),
    "certain speed": (
        bare(speed={"value": "80 m/s", "uncertainty": "0 m/s"}),
        "/speed/uncertainty",
        "is outside",
    ),
    "certain centre": (seen(uncertainty="0 cm"), "/uncertainty", "Give 0.01 cm"),
    "steep": (seen(slope="70 deg"), "/slope", "-60 deg to 60 deg"),
    "wind from nowhere": (seen(wind={"speed": "3 m/s"}), "/wind/from", "add it"),
    "unknown air": (seen(air={"temp": "3 degC"}), "/air/temp", "did you mean"),
    "long name": (seen(name="n" * 61), "/name", "1 to 60"),
    "name of lines": (seen(name="a\nb"), "/name", "one line"),
    "too near": (seen(distance="1.2 m"), "/distance", "Too near"),
    "speed too near": (
        {"distance": "1.2 m", "speed": {"value": "80 m/s"}},
        "/distance",
        "reaching 1.31 m",
    ),
    "behind": (seen(distance="-60 m"), "/distance", "Give 1 m to 1000 m"),
}


@pytest.mark.parametrize("case", OBSERVATIONS)
def test_what_is_wrong_with_an_observation(case):
    wrong, where, words = OBSERVATIONS[case]
    ((pointer, detail),) = refusal(session(end(ZERO), wrong))
    assert pointer == IT + where
    assert words in detail
    assert detail[:1].isupper() or detail[0] in "\"'-" or detail.startswith("null")
    assert detail.endswith((".", "?"))


BEYOND = {
    "mark of the distance": ({"distance": "900 m", "up": "3 in"}, IT + "/distance"),
    "mark of another": (
        {**seen(), "mark": {"predicted_for": "900 m"}},
        IT + "/mark/predicted_for",
    ),
    "speed": ({"distance": "900 m", "speed": {"value": "50 m/s"}}, IT + "/distance"),
}


@pytest.mark.parametrize("case", BEYOND)
def test_observations_beyond_reach(case):
    wrong, pointer = BEYOND[case]
    response = send(session(end(ZERO), wrong))
    found = response.get_json()
    assert response.status_code == 422 and found["type"] == "/problems/beyond-reach"
    assert [fault["pointer"] for fault in found["errors"]] == [pointer]
    assert 200 < found["farthest"] < 900


def test_arrows_at_a_distance_that_the_mark_does_not_carry_to():
    ((pointer, detail),) = refusal(session(end(ZERO), seen(distance="900 m")))
    assert pointer == IT and "no arrow shot with this mark comes to this distance" in detail


@pytest.mark.parametrize("lost", [Unsettled, Unsolved])
def test_a_fit_that_leads_nowhere_is_the_observations_fault(monkeypatch, lost):
    """The set-up as stated was flown before: it is not the arrow's."""

    def learn(*_, **__):
        raise lost("nowhere")

    monkeypatch.setattr(calibration, "learn", learn)
    found = send(session(end(ZERO))).get_json()
    assert found["type"] == "/problems/cannot-be-fitted"
    ((pointer, detail),) = [(fault["pointer"], fault["detail"]) for fault in found["errors"]]
    assert pointer == "/observations"
    assert "marks, signs, units and distances" in detail


SIGHT = session()["sight"]
REQUESTS = {
    "distances": ({"distances": ["18 m", "900 m"]}, "/distances/1", "beyond reach"),
    "range": (
        {"distances": {"from": "20 m", "to": "900 m", "step": "80 m"}},
        "/distances/to",
        "beyond reach",
    ),
    "longest": ({"next": {"longest": "900 m"}}, "/next/longest", "beyond reach"),
    "butts": ({"next": {"distances": ["20 m", "900 m"]}}, "/next/distances/1", "beyond reach"),
    "near butt": ({"next": {"distances": ["20 m", "1.1 m"]}}, "/next/distances/1", "Too near"),
    "near row": ({"distances": ["1.1 m"]}, "/distances/0", "Too near"),
    "zero": ({"sight": SIGHT | {"zero_distance": "900 m"}}, "/sight/zero_distance", "beyond"),
    "near zero": ({"sight": SIGHT | {"zero_distance": "1.1 m"}}, "/sight/zero_distance", "Too"),
    "pins": ({"sight": SIGHT | {"pins": ["20 m", "900 m"]}}, "/sight/pins/1", "beyond reach"),
    "both": ({"next": {"longest": "70 m", "distances": ["20 m"]}}, "/next/longest", "either"),
    "no butts": ({"next": {"distances": []}}, "/next/distances", "give 1 to 40"),
    "many butts": ({"next": {"distances": ["20 m"] * 41}}, "/next/distances", "give 1 to 40"),
    "no arrows": ({"next": {"arrows": 0}}, "/next/arrows", "Give 1 to 30"),
    "negative prior": ({"priors": {"speed": "-1 m/s"}}, "/priors/speed", "Give 0 m/s"),
    "wild prior": ({"priors": {"speed": "60 m/s"}}, "/priors/speed", "to 50 m/s"),
    "prior in percent": ({"priors": {"drag": "10 %"}}, "/priors/drag", "without quotes"),
    "prior over one": ({"priors": {"drag": 10}}, "/priors/drag", "Give 0 to 1"),
    "unknown prior": ({"priors": {"zro": "1 mm"}}, "/priors/zro", 'did you mean "zero"'),
    "length as a number": ({"priors": {"zero": 3}}, "/priors/zero", 'such as "0.5 mm"'),
    "prior of metres": ({"priors": {"radius": "2 m"}}, "/priors/radius", "0 m to 0.1 m"),
    "prior null": ({"priors": None}, "/priors", "null is no value"),
    "confidence of 95": ({"confidence": 95}, "/confidence", "Give 0.5 to 0.999"),
    "confidence of 1": ({"confidence": 1}, "/confidence", "Give 0.5 to 0.999"),
    "confidence true": ({"confidence": True}, "/confidence", "a plain number"),
    "no tolerance": ({"tolerance": {}}, "/tolerance/height", "add it"),
    "tolerance of nothing": ({"tolerance": {"height": "0 mm"}}, "/tolerance/height", "Give 0.1"),
    "tolerance at": ({"tolerance": {"at": "10 m"}}, "/tolerance/height", "add it"),
    "tolerance a text": ({"tolerance": "1 cm"}, "/tolerance", "an object in braces"),
    "loss": ({"loss": "lasso"}, "/loss", "squares, huber, cauchy"),
    "observations an object": ({"observations": {}}, "/observations", "a list in brackets"),
    "too many": ({"observations": [bare(up="1 cm")] * 500}, "/observations", "give 0 to 100"),
    "member": ({"observation": []}, "/observation", 'did you mean "observations"'),
    "group of one": (
        {"group": {"distance": "18 m", "vertical": "1 cm", "arrows": 1}},
        "/group/arrows",
        "Give 2",
    ),
}


@pytest.mark.parametrize("case", REQUESTS)
def test_what_is_wrong_with_the_request(case):
    changes, where, words = REQUESTS[case]
    found = refusal(session(end(ZERO), **changes))
    assert [pointer for pointer, _ in found] == [where]
    assert words in found[0][1]


@pytest.mark.parametrize("name", ["observations", "distances", "sight", "bow", "arrow", "drag"])
def test_members_that_are_needed(name):
    body = session(end(ZERO))
    del body[name]
    assert refusal(body) == [(f"/{name}", "This member is needed: add it.")]


@pytest.mark.parametrize("changes", [{"sight": SIGHT | {"zero_distance": "1.1 m"}}, {}])
def test_without_a_launch_model_the_same_pointers(changes):
    body = session(proven(ZERO), **{"distances": ["20 m", "900 m"], "next": {}, **changes})
    del body["launch"], body["priors"]
    where = "/sight/zero_distance" if changes else "/distances/1"
    assert [pointer for pointer, _ in refusal(body)] == [where]


def test_every_fault_is_named_at_once():
    found = refusal(session(seen(up=3), seen(arrows=0), confidence=2))
    where = [pointer for pointer, _ in found]
    assert sorted(where) == ["/confidence", "/observations/0/up", "/observations/1/arrows"]


def test_ten_thousand_observations():
    body = session()
    body["observations"] = [bare(up="1 cm")] * 10_000
    response = send(body)
    assert response.status_code == 413
    assert "Send at most" in response.get_json()["detail"]


@pytest.mark.parametrize("value", ["NaN", "Infinity", "-Infinity"])
def test_what_json_does_not_know(value):
    text = json.dumps(session(seen(mark={"clicks": 163}))).replace("163", value)
    response = service().post(PATH, data=text, content_type="application/json")
    assert response.status_code == 400
    assert response.content_type == problems.MEDIA_TYPE
    (fault,) = response.get_json()["errors"]
    assert fault["pointer"] == "/observations/0/mark/clicks"


WORKS = {
    "nothing yet": [],
    "one for all unknowns": [seen()],
    "zero spread": [seen(vertical="0 mm"), seen(diameter="0 mm")],
    "one hole": [bare(impacts=[{"up": "1 cm", "right": "0 cm"}] * 6)],
    "the same one a hundred times": [bare(up="1 cm", arrows=3)] * 100,
    "ten thousand arrows": [seen(arrows=10_000)],
    "contradictory": [seen(up="10 cm"), seen(up="-10 cm")],
    "speed only": [chronograph(3.0)],
}


@pytest.mark.parametrize("case", WORKS)
def test_what_is_odd_but_answered(case):
    found = reply(session(*WORKS[case], priors={}))
    assert len(found["observations"]) == len(WORKS[case])
    assert all(row["travel_uncertainty"] > 0 for row in found["rows"])


@pytest.mark.parametrize(
    "priors",
    [
        CERTAIN,
        {"speed": "0 m/s", "zero": "0 mm"},
        {"speed": "50 m/s", "drag": 1, "peep_height": "0.1 m", "radius": "0.1 m"},
        {"zero": "50 mm", "windage": "50 mm"},
    ],
)
def test_priors_at_their_bounds(priors):
    found = reply(session(end(ZERO), end(60.0), priors=priors))
    fixed = {item["name"] for item in found["parameters"] if item["status"] == "fixed"}
    assert fixed == {name for name, size in priors.items() if str(size).split()[0] == "0"}
    assert set(found["correlations"]["names"]).isdisjoint(fixed)


def test_next_to_the_reach():
    """Where a slower arrow does not come so far the answer is still a number."""
    farthest = send(session(distances=["900 m"])).get_json()["farthest"]
    body = session(priors={"speed": "1 m/s"}, distances=metres([farthest - 0.02]))
    (row,) = reply(body)["rows"]
    assert row["height_uncertainty"] > 100


def test_replies_are_as_documented():
    """Against the schemas of the document, the worked example and odd sessions too."""
    schemas = service().get("/openapi.json").get_json()["components"]["schemas"]

    def validator(name):
        return Draft202012Validator(
            {"$ref": f"#/components/schemas/{name}", "components": {"schemas": schemas}}
        )

    asked, answered = validator("CalibrationRequest"), validator("CalibrationReply")
    without = session(proven(ZERO), proven(60.0), priors={})
    del without["launch"]
    bodies = [copy.deepcopy(EXAMPLE), without, session(end(60.0, up="3 m"))]
    bodies += [session(*some) for some in WORKS.values()]
    wrong_way = {"travel": f"-{true_travel(60.0)!r} mm"}
    bodies.append(session(*[end(d) for d in (ZERO, 30.0, 40.0)], seen(mark=wrong_way)))
    for body in bodies:
        asked.validate(body)
        answered.validate(reply(body))
