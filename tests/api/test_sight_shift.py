"""The resource for a re-mounted sight: forms, verdicts, cautions, refusals; the pin loosed again.

Its own app, as any one resource can be served by itself.
"""

import copy
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from flask import Flask
from flask.testing import FlaskClient
from scipy import stats

from arrowloft.api import problems
from arrowloft.api.flight import trajectory
from arrowloft.api.learning import sight_shift
from arrowloft.api.resource import Edge, Limits
from arrowloft.api.sight import mark_table
from arrowloft.core.archer.archer_scatter import USUAL
from arrowloft.core.archer.groups import largest_spread
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
WORKED = json.loads((EXAMPLES / "sight-shift.request.json").read_text())
RADIUS = 33 * 25.4
YARDS = 20 * 914.4
UP = [61.0, 38.0, 74.0, 45.0, 52.0, 29.0]
RIGHT = [-14.0, 22.0, 9.0, -6.0, 31.0, 4.0]


@pytest.fixture(scope="module")
def resource() -> Any:
    return sight_shift.resource(Edge.of(Registry.discover(), Limits()))


@pytest.fixture(scope="module")
def client(resource: Any) -> FlaskClient:
    app = Flask("shift")
    edge = Edge.of(Registry.discover(), Limits())
    for item in (resource, mark_table.resource(edge), trajectory.resource(edge)):
        item.install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture
def body() -> Body:
    return copy.deepcopy(WORKED)


def without(body: Body, *names: str) -> Body:
    return {name: value for name, value in body.items() if name not in names}


def asked(client: FlaskClient, body: Body, **changes: Any) -> Any:
    reply = client.post("/v1/sight-shift", json=body | changes)
    assert reply.status_code == 200, reply.get_json()
    return reply.get_json()


def refused(client: FlaskClient, body: Body, **changes: Any) -> dict[str, str]:
    reply = client.post("/v1/sight-shift", json=body | changes)
    assert reply.status_code == 422, reply.get_json()
    faults = {fault["pointer"]: fault["detail"] for fault in reply.get_json()["errors"]}
    for sentence in faults.values():
        assert sentence[0].isupper() or sentence[0] in "\"'"
        assert sentence.endswith((".", "?"))
    return faults


def codes(found: Any) -> list[str]:
    return [note["code"] for note in found["notes"]]


def said(found: Any, code: str) -> str:
    """What the notes of one code say, one after the other."""
    return " | ".join(note["message"] for note in found["notes"] if note["code"] == code)


def test_the_worked_request_answers_as_documented(client: FlaskClient, resource: Any) -> None:
    found = asked(client, WORKED)
    assert resource.reply.validate(found) == {}
    assert found["distance"] == 20.0
    assert found["landed"]["arrows"] == 6
    assert found["vertical"]["real"] is True and found["sideways"]["real"] is False
    assert codes(found)[:3] == ["shift-real", "shift-within-scatter", "marks-move-together"]
    assert asked(client, WORKED) == found


def test_the_arrows_are_taken_as_they_landed(client: FlaskClient) -> None:
    landed = asked(client, WORKED)["landed"]
    assert landed["up"] == pytest.approx(np.mean(UP), abs=1e-3)
    assert landed["right"] == pytest.approx(np.mean(RIGHT), abs=1e-3)
    assert landed["vertical"] == pytest.approx(np.std(UP, ddof=1), abs=1e-3)
    assert landed["sideways"] == pytest.approx(np.std(RIGHT, ddof=1), abs=1e-3)


def test_figures_follow_from_arrows_and_group_by_hand(client: FlaskClient) -> None:
    """Pooled scatter at 20 yd, t, two-sided p, and the pin along the line of sight."""
    found = asked(client, WORKED)
    for name, places, known in (("vertical", UP, 48.0), ("sideways", RIGHT, 41.0)):
        axis = found[name]
        pooled = math.sqrt((23 * (known / 2) ** 2 + 5 * np.var(places, ddof=1)) / 28)
        t = np.mean(places) / (pooled / math.sqrt(6))
        assert found["scatter"][name]["length"] == pytest.approx(pooled, abs=1e-3)
        assert found["scatter"][name]["degrees_of_freedom"] == axis["degrees_of_freedom"] == 28
        assert axis["shift"] == pytest.approx(np.mean(places), abs=1e-3)
        assert axis["uncertainty"] == pytest.approx(pooled / math.sqrt(6), abs=1e-3)
        assert axis["t"] == pytest.approx(t, rel=1e-3)
        assert axis["p_value"] == pytest.approx(2 * stats.t.sf(abs(t), 28), rel=1e-2)
        assert axis["real"] == (axis["p_value"] <= 0.025)
        sign = -1 if name == "vertical" else 1
        about = sign * axis["shift"] * RADIUS / YARDS
        assert axis["move"]["travel"] == pytest.approx(about, rel=0.01)
    both = [found[name]["p_value"] for name in ("vertical", "sideways")]
    expected = stats.combine_pvalues(both, method="fisher").pvalue
    assert found["together"]["p_value"] == pytest.approx(expected, rel=1e-3)
    assert found["confidence"] == 0.95


def test_loosed_with_the_shifted_pin_the_arrow_meets_the_centre(
    client: FlaskClient, body: Body
) -> None:
    """tan(a') = tan(a) - travel / radius: the path at that angle ends at the centre's height."""
    body["arrow"]["tip_lead"] = "0 mm"  # a path is the balance point's
    body["units"] |= {"angle": "rad"}
    for up in ("49.8333 mm", "-40 cm"):
        found = asked(client, body, landed={"up": up}, distance="30 yd")
        shared = without(body, "landed", "group", "confidence")
        table = client.post("/v1/mark-table", json=shared | {"distances": ["30 yd"]}).get_json()
        mark = table["rows"][0]["launch_angle"]
        angle = math.atan(math.tan(mark) - found["vertical"]["move"]["travel"] / RADIUS)
        loosed = without(shared, "sight") | {"launch_angle": f"{angle:.9f} rad", "end": "30 yd"}
        reply = client.post("/v1/trajectory", json=loosed)
        assert reply.status_code == 200, reply.get_json()
        end = reply.get_json()["points"][-1]
        assert end["distance"] == pytest.approx(30.0, abs=1e-5)
        # Travel is written to a micrometre, which is 0.03 mm at 30 yd.
        assert end["height"] == pytest.approx(found["vertical"]["shift"], abs=0.05)


def test_marks_move_by_what_the_pin_does(client: FlaskClient, body: Body) -> None:
    found = asked(client, body)
    move, marks = found["vertical"]["move"], found["marks_move"]
    assert marks["travel"] == move["travel"]
    assert marks["zero_clicks"] == move["clicks"]
    assert marks["zero_turns"] == move["turns"]
    assert marks["zero_reading"] == pytest.approx(20 + move["travel"] / 4, abs=1e-3)
    assert marks["reading_change"] == pytest.approx(move["travel"] / 4, abs=1e-3)
    body["sight"] = {"radius": "33 in", "zero_distance": "20 yd"}
    bare = asked(client, body)
    assert bare["marks_move"] == {"travel": move["travel"]}
    assert set(bare["vertical"]["move"]) == {"travel", "uncertainty", "remaining"}
    assert bare["vertical"]["click_arrows"] is None
    assert "least_clicks" not in bare["vertical"]


def test_clicks_are_whole_and_say_what_they_leave(client: FlaskClient) -> None:
    found = asked(client, WORKED)
    for name, click in (("vertical", 0.1), ("sideways", 0.1)):
        move = found[name]["move"]
        assert move["clicks"] == round(move["travel"] / click)
        assert move["clicks"] * click + move["remaining"] == pytest.approx(move["travel"], abs=2e-3)
        assert move["clicks_uncertainty"] == pytest.approx(move["uncertainty"] / click, abs=0.02)
        assert found[name]["least_clicks"] == pytest.approx(
            found[name]["least_travel"] / click, abs=0.02
        )


def test_the_distance_is_the_zero_unless_it_is_said(client: FlaskClient, body: Body) -> None:
    assert asked(client, body, distance="20 yd") == asked(client, body)
    assert asked(client, body, distance="35 yd")["distance"] == 35.0
    body["sight"].pop("zero_distance")
    found = asked(client, body, distance="20 yd")
    assert found == asked(client, WORKED)
    assert "sight.zero_distance" in refused(client, body)["/distance"]


# Forms of what landed

CENTRE: Body = {"up": "30 mm", "right": "-20 mm", "arrows": 6}


def test_a_centre_with_deviations_is_the_arrows_themselves(client: FlaskClient) -> None:
    """The centre and spread of the worked arrows, to a nanometre: nothing else is different."""
    written = {
        "up": np.mean(UP),
        "right": np.mean(RIGHT),
        "vertical": np.std(UP, ddof=1),
        "sideways": np.std(RIGHT, ddof=1),
    }
    landed = {name: f"{value:.9f} mm" for name, value in written.items()} | {"arrows": 6}
    assert asked(client, WORKED, landed=landed) == asked(client, WORKED)


def test_a_deviation_up_and_down_holds_sideways_too(client: FlaskClient) -> None:
    one = asked(client, WORKED, landed=CENTRE | {"vertical": "25 mm"})
    both = asked(client, WORKED, landed=CENTRE | {"vertical": "25 mm", "sideways": "25 mm"})
    assert one == both


def test_a_diameter_is_a_deviation_by_its_number_of_arrows(client: FlaskClient) -> None:
    found = asked(client, WORKED, landed=CENTRE | {"diameter": "90 mm"})
    for axis in ("vertical", "sideways"):
        assert found["landed"][axis] == pytest.approx(90 / largest_spread(6), abs=1e-3)


def test_a_centre_alone_is_judged_by_the_group(client: FlaskClient) -> None:
    found = asked(client, WORKED, landed=CENTRE)
    assert found["landed"]["vertical"] is found["landed"]["sideways"] is None
    assert found["scatter"]["vertical"]["length"] == pytest.approx(24, abs=1e-3)
    assert found["vertical"]["degrees_of_freedom"] == 23
    assert "arrows-assumed" not in codes(found)


def test_one_arrow_is_assumed_and_said(client: FlaskClient) -> None:
    found = asked(client, WORKED, landed=without(CENTRE, "arrows"))
    assert found["landed"]["arrows"] == 1
    assert "arrows-assumed" in codes(found)
    assert "arrows-assumed" not in codes(asked(client, WORKED))


def test_height_alone(client: FlaskClient) -> None:
    landed = {"impacts": [{"up": f"{up} mm"} for up in UP]}
    found = asked(client, WORKED, landed=landed)
    assert "sideways" not in found
    assert found["landed"]["right"] is found["landed"]["sideways"] is None
    assert "sideways-not-judged" in codes(found)
    assert found["together"]["p_value"] == found["vertical"]["p_value"]
    assert codes(found).count("shift-real") == 1


def test_a_scatter_that_is_assumed_is_said(client: FlaskClient, body: Body) -> None:
    body.pop("group")
    found = asked(client, body, landed={"up": "3 in"})
    assert found["scatter"]["assumed"] is True
    assert found["scatter"]["vertical"]["length"] == pytest.approx(USUAL * YARDS, abs=1e-3)
    note = said(found, "scatter-assumed")
    assert "1.5 mrad" in note and "9 cm at 60 m" in note and "`group`" in note
    assert "scatter-assumed" not in codes(asked(client, WORKED))


@pytest.mark.parametrize(
    "landed",
    [
        {"impacts": [{"up": "30 mm", "right": "10 mm"}] * 5},
        CENTRE | {"diameter": "0 mm"},
        CENTRE | {"vertical": "0 mm"},
    ],
)
def test_arrows_in_one_hole_are_no_proof(client: FlaskClient, body: Body, landed: Body) -> None:
    """Their scatter is none, the archer's is not."""
    for given in (body, without(body, "group")):
        found = asked(client, given, landed=landed)
        for axis in ("vertical", "sideways"):
            assert found["landed"][axis] == 0.0
            assert found[axis]["uncertainty"] > 0.0
            assert 0.0 < found[axis]["p_value"] < 1.0


# Words


def test_verdicts_say_what_to_do(client: FlaskClient) -> None:
    found = asked(client, WORKED)
    real = said(found, "shift-real")
    assert real.startswith("Up and down: the arrows' centre is 49.8 mm high, more than")
    assert real.endswith("Move the pin 2.29 mm up, 23 clicks.")
    left = said(found, "shift-within-scatter")
    assert left.startswith("Sideways: the arrows' centre is 7.67 mm to the right, within")
    assert "leave the sight" in left
    assert f"{found['sideways']['more_arrows']} more arrows at this distance" in left


def test_verdicts_of_the_other_sides(client: FlaskClient) -> None:
    landed = {"up": "-90 mm", "right": "-80 mm", "arrows": 12}
    found = asked(client, WORKED, landed=landed)
    real = said(found, "shift-real")
    assert "mm low" in real and "mm down" in real
    assert "mm to the left, more" in real and "mm to the left, 37 clicks" in real
    assert "fewer than 0.01 %" in real
    assert "shift-within-scatter" not in codes(found)


def test_within_scatter_the_sight_is_left(client: FlaskClient) -> None:
    found = asked(client, WORKED, landed={"up": "1 mm", "right": "-1 mm", "arrows": 3})
    left = said(found, "shift-within-scatter")
    assert left.count("leave the sight") == 2
    assert left.count("Even 200 more arrows") == 2
    assert found["vertical"]["more_arrows"] is found["sideways"]["more_arrows"] is None
    assert "marks-move-together" not in codes(found)


def test_one_more_arrow_is_one(client: FlaskClient, body: Body) -> None:
    body.pop("group")
    found = asked(client, body, landed={"up": "72 mm"})
    assert found["vertical"]["more_arrows"] == 1
    assert " 1 more arrow at" in said(found, "shift-within-scatter")


def test_less_than_half_a_click_is_nothing_to_turn(client: FlaskClient, body: Body) -> None:
    body["sight"] |= {"travel_per_turn": "6 mm", "clicks_per_turn": 1}
    found = asked(client, body)
    assert found["vertical"]["real"] is True and found["vertical"]["move"]["clicks"] == 0
    assert "nothing to turn" in said(found, "shift-real")


def test_both_together_may_be_real_where_neither_is(client: FlaskClient) -> None:
    landed = {"up": "22 mm", "right": "19 mm", "arrows": 6}
    found = asked(client, WORKED, landed=landed)
    assert found["vertical"]["real"] is found["sideways"]["real"] is False
    assert found["together"]["real"] is True
    assert "make both moves" in said(found, "shift-real-together")
    assert "leave the sight" not in said(found, "shift-within-scatter")
    assert "marks-move-together" in codes(found)
    surer = asked(client, WORKED, landed=landed, confidence=0.995)
    assert surer["together"]["real"] is False
    assert "shift-real-together" not in codes(surer)


def test_a_slip_of_the_unit_is_suspected(client: FlaskClient) -> None:
    found = asked(client, WORKED, landed={"up": "60 cm", "arrows": 6})
    assert "check the places and their units" in said(found, "shift-large")
    assert "shift-large" not in codes(asked(client, WORKED))


def test_drift_is_said_to_be_cancelled(client: FlaskClient) -> None:
    wind = {"speed": "5 m/s", "from": "90 deg"}
    found = asked(client, WORKED, wind=wind, distance="60 yd")
    note = said(found, "drift-cancelled")
    assert "to the left" in note and "take it off `right`" in note
    shared = without(WORKED, "landed", "group", "confidence")
    rows = {"wind": wind, "distances": ["60 yd"]}
    drift = client.post("/v1/mark-table", json=shared | rows).get_json()["rows"][0]["drift"]
    assert f"drift {abs(drift):.3g} mm" in note
    assert "drift-cancelled" not in codes(asked(client, WORKED))


def test_a_group_of_few_arrows_is_noted(client: FlaskClient) -> None:
    group = {"distance": "20 yd", "diameter": "9 cm", "arrows": 5}
    assert "group-from-few-arrows" in codes(asked(client, WORKED, group=group))


def test_replies_are_in_the_units_asked_for(client: FlaskClient, body: Body) -> None:
    body["units"] = {"length": "in", "distance": "m"}
    mm, inches = asked(client, WORKED), asked(client, body)
    assert inches["distance"] == pytest.approx(18.288)
    for name in ("shift", "uncertainty", "least_shift", "least_travel"):
        assert inches["vertical"][name] * 25.4 == pytest.approx(mm["vertical"][name], abs=2e-3)
    for name in ("t", "p_value", "more_arrows", "least_clicks"):
        assert inches["vertical"][name] == mm["vertical"][name]
    assert "in high" in said(inches, "shift-real")


def test_only_json(client: FlaskClient, body: Body) -> None:
    reply = client.post("/v1/sight-shift", json=body, headers={"Accept": "text/csv"})
    assert reply.status_code == 406
    assert client.open("/v1/sight-shift", method="QUERY", json=body).get_json() == asked(
        client, body
    )


REFUSED: list[tuple[Body, str, str]] = [
    ({"landed": {}}, "/landed", "give either `impacts`"),
    ({"landed": {"right": "1 cm"}}, "/landed/up", "height of the arrows' centre"),
    ({"landed": {"impacts": [{"up": "1 cm"}, {"up": "4 deg"}]}}, "/landed/impacts/1/up", "length"),
    (
        {"landed": {"impacts": [{"up": "1 cm", "right": "1 cm"}, {"up": "1 cm"}]}},
        "/landed/impacts/1/right",
        "Other arrows have `right`",
    ),
    ({"landed": {"up": "5 m"}, "distance": "2 m"}, "/landed/up", "its unit and its sign"),
    (
        {"landed": {"impacts": [{"up": "5 m"}]}, "distance": "2 m"},
        "/landed/impacts",
        "its unit and its sign",
    ),
    ({"confidence": 0.49}, "/confidence", "0.5 to 0.999"),
    ({"confidence": 1}, "/confidence", "0.5 to 0.999"),
    ({"confidence": "95 %"}, "/confidence", "plain number"),
    ({"group": {"distance": "20 yd"}}, "/group", "one form"),
    ({"distance": "900 yd"}, "/distance", "beyond reach"),
    ({"distance": "1.2 m"}, "/distance", "Too near"),
    ({"sight": {"radius": "33 in", "zero_distance": "900 yd"}}, "/sight/zero_distance", "beyond"),
    ({"distances": ["20 yd"]}, "/distances", '"distance"'),
]


@pytest.mark.parametrize(("changes", "pointer", "words"), REFUSED)
def test_refusals_say_what_to_do(
    client: FlaskClient, body: Body, changes: Body, pointer: str, words: str
) -> None:
    faults = refused(client, body, **changes)
    assert list(faults) == [pointer]
    assert words in faults[pointer]


@pytest.mark.parametrize("name", ["landed", "sight"])
def test_what_is_needed(client: FlaskClient, body: Body, name: str) -> None:
    assert "needed" in refused(client, without(body, name))[f"/{name}"]


@pytest.mark.parametrize(
    ("landed", "arrows"),
    [
        ({"impacts": [{"up": "1 cm", "right": "1 cm"}]}, 1),
        ({"impacts": [{"up": "1 cm", "right": "1 cm"}] * 60}, 60),
        ({"up": "-5 m", "right": "5 m"}, 1),
        (CENTRE | {"arrows": 10000, "vertical": "2 m"}, 10000),
        (CENTRE | {"arrows": 30, "diameter": "10 m"}, 30),
        (CENTRE | {"arrows": 2, "diameter": "1 cm"}, 2),
    ],
)
def test_bounds_are_inclusive(client: FlaskClient, landed: Body, arrows: int) -> None:
    for confidence in (0.5, 0.999):
        found = asked(client, WORKED, landed=landed, confidence=confidence)
        assert found["landed"]["arrows"] == arrows


# --- what was written down wrongly -----------------------------------------------------------

GROUP: Body = {"distance": "20 yd", "vertical": "25 mm", "arrows": 20}


def listed(*heights: float) -> Body:
    return {"impacts": [{"up": f"{height} mm"} for height in heights]}


def test_a_flyer_is_left_out_and_named(client: FlaskClient, body: Body) -> None:
    sound = asked(client, body, group=GROUP, landed=listed(30, 20, 25, 10))
    found = asked(client, body, group=GROUP, landed=listed(30, 20, 25, 10, 2000))
    assert "/landed/impacts/4" in said(found, "flyer-left-out")
    assert found["vertical"] == sound["vertical"]
    assert "flyer-left-out" not in codes(sound)


@pytest.mark.parametrize("diameter", ["0 mm", "3 m"])
def test_a_scatter_that_is_not_this_archers_does_not_count(
    client: FlaskClient, body: Body, diameter: str
) -> None:
    centre = {"up": "30 mm", "arrows": 6}
    found = asked(client, body, group=GROUP, landed=centre | {"diameter": diameter})
    assert "scatter-odd" in codes(found)
    plain = asked(client, body, group=GROUP, landed=centre)
    assert found["vertical"] == plain["vertical"]
    assert "scatter-odd" not in codes(plain)


def test_a_centred_group_is_said_to_be_so(client: FlaskClient, body: Body) -> None:
    found = asked(client, body, group=GROUP, landed={"up": "0 cm", "arrows": 6})
    assert said(found, "shift-within-scatter").endswith("the arrows are centred; leave the sight.")


def test_large_figures_are_plain_numbers(client: FlaskClient, body: Body) -> None:
    found = asked(client, body, group=GROUP, landed={"up": "500 cm", "arrows": 6})
    assert "centre is 5000 mm high" in said(found, "shift-real")
    wide = asked(client, body, group=GROUP, landed={"up": "0.1 mm", "arrows": 2})
    assert "100 % of such groups" in said(wide, "shift-within-scatter")
