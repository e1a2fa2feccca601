"""POST /v1/clearance: what it answers, and what it says of requests that do not fit."""

import copy
import json
import math
from pathlib import Path

import numpy as np
import pytest
from flask import Flask

from arrowloft.api import clearance, passing, problems
from arrowloft.api.resource import Edge, Limits
from arrowloft.core.reach import BeyondReach
from arrowloft.plugin import Registry

EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
EXAMPLE = json.loads((EXAMPLES / "clearance.request.json").read_text())


@pytest.fixture(scope="module")
def resource():
    return clearance.resource(Edge.of(Registry.discover(), Limits()))


@pytest.fixture(scope="module")
def ask(resource):
    app = Flask("clearance")
    resource.install(app)
    problems.install(app)
    client = app.test_client()
    return lambda body, **more: client.open(
        "/v1/clearance", **{"method": "POST", "json": body, **more}
    )


@pytest.fixture
def asked():
    return copy.deepcopy(EXAMPLE)


@pytest.fixture
def plain(asked):
    """The set-up and a target, and nothing in the way yet."""
    for name in ("obstacles", "ground", "group", "lane", "marks", "housing", "face_diameter"):
        del asked[name]
    del asked["search_to"]
    asked["units"] = {"distance": "m", "length": "m", "angle": "rad"}
    return asked


def replied(ask, body):
    response = ask(body)
    assert response.status_code == 200, response.text
    return response.get_json()


def obstacle(ask, body, **edges):
    body = {**body, "obstacles": [{"name": "it", "distance": "23 m", **edges}]}
    return replied(ask, body)["obstacles"][0]


def codes(reply):
    return [note["code"] for note in reply["notes"]]


# --- the example -------------------------------------------------------------------------


def test_the_reply_is_what_its_schema_says(ask, resource, asked):
    response = ask(asked)
    assert response.status_code == 200
    assert resource.reply.validate(response.get_json()) == {}
    assert ask(asked).data == response.data
    assert ask(asked, method="QUERY").data == response.data


def test_the_same_without_what_is_optional(ask, resource, plain):
    del plain["sight"], plain["vane_height"], plain["arrow"]["balance_point"]
    reply = replied(ask, {**plain, "obstacles": [{"name": "x", "distance": "9 m", "left": "0 m"}]})
    assert resource.reply.validate(reply) == {}
    assert {"shaft-only", "nock-unknown"} <= set(codes(reply))
    assert set(reply["obstacles"][0]["seen"]) == {"angle_above", "angle_right"}
    assert "above_pin" not in reply["apex"]
    assert "touch_chance" not in reply["obstacles"][0]
    assert not {"ground", "lane", "housing", "group"} & set(reply)


def test_cautions_are_on_every_reply(ask, plain):
    ground = {"eye_height": "1.6 m", "target_height": "1.2 m"}
    reply = replied(ask, {**plain, "ground": ground})
    assert {"clearance-limits", "touched-arrow", "aim-not-safety"} <= set(codes(reply))
    said = " ".join(note["message"] for note in reply["notes"])
    for word in ("twigs", "animals", "not listed", "anywhere", "rules of the ground"):
        assert word in said


def test_lengths_come_in_the_units_asked_for(ask, asked):
    first = replied(ask, asked)["obstacles"]
    asked["units"]["length"], asked["units"]["distance"] = "in", "yd"
    second = replied(ask, asked)["obstacles"]
    for one, other in zip(first, second, strict=True):
        assert other["margin"] * 2.54 == pytest.approx(one["margin"], abs=2e-4)
        assert other["distance"] * 0.9144 == pytest.approx(one["distance"], abs=2e-6)


# --- obstacles ---------------------------------------------------------------------------


def test_margin_and_envelope(ask, plain):
    """A branch over everything: from its bottom to the highest of the arrow, vanes included."""
    row = obstacle(ask, plain, bottom="0.6 m")
    assert row["margin"] == pytest.approx(0.6 - row["lowest_branch"], abs=2e-6)
    assert (row["clear"], row["nearest_edge"]) == (True, "bottom")
    assert (row["top"], row["left"], row["right"]) == (None, None, None)
    # In a vacuum nothing depends on the shaft but the envelope: half its diameter and a vane.
    plain["drag"] = {"model": "none"}
    spaces = []
    for shaft, vane in (("6 mm", "10 mm"), ("8 mm", "10 mm"), ("6 mm", "0 mm")):
        plain["arrow"]["shaft_diameter"], plain["vane_height"] = shaft, vane
        spaces.append(obstacle(ask, plain, bottom="0.6 m")["margin"])
    row = obstacle(ask, plain, bottom="0.6 m")
    assert spaces[0] - spaces[1] == pytest.approx(0.001, abs=2e-6)
    assert spaces[2] - spaces[0] == pytest.approx(0.010, abs=2e-6)
    # At its apex the arrow lies along the line of sight: tip and nock pass at one height.
    assert 0.6 - row["arrow_height"] - spaces[2] == pytest.approx(0.003, abs=1e-3)


def test_the_margin_changes_sign_at_the_lowest_branch(ask, plain):
    lowest = obstacle(ask, plain, bottom="0.6 m")["lowest_branch"]
    above = obstacle(ask, plain, bottom=f"{lowest + 2e-6:.6f} m")
    below = obstacle(ask, plain, bottom=f"{lowest - 2e-6:.6f} m")
    assert above["clear"] and above["margin"] > 0.0
    assert not below["clear"] and below["margin"] < 0.0
    body = {**plain, "obstacles": [{"name": "elm", "distance": "23 m", "bottom": "0 m"}]}
    note = next(n for n in replied(ask, body)["notes"] if n["code"] == "obstacle-touched")
    assert '"elm"' in note["message"]


def test_the_three_ways_to_give_an_edge_agree(ask, plain):
    """Down 9 degrees: a height over ground on the slope, an angle, a length."""
    plain["ground"] = {"eye_height": "1.6 m", "target_height": "1.1 m"}
    by_ground = obstacle(ask, plain, top_above_ground="0.9 m")
    # The ground lies 1.6 m to 1.1 m below the line of sight, vertically: at the point of
    # the plane 23 m along, derived in the vertical plane, x level and y up.
    slope, target = math.radians(-9.0), 44.0
    tilt = (target * math.sin(slope) - 1.1 + 1.6) / (target * math.cos(slope))
    matrix = [[math.cos(slope), math.sin(slope)], [-tilt, 1.0]]
    x, y = np.linalg.solve(matrix, [23.0, -1.6 + 0.9])
    n = -x * math.sin(slope) + y * math.cos(slope)
    assert by_ground["top"] == pytest.approx(n, abs=2e-6)
    by_length = obstacle(ask, plain, top=f"{n:.9f} m")
    by_angle = obstacle(ask, plain, top_angle=f"{math.atan2(n, 23.0):.12f} rad")
    for other in (by_length, by_angle):
        for name in ("top", "margin", "arrow_height", "clear_targets"):
            assert (
                other[name] == pytest.approx(by_ground[name], abs=2e-6)
                if name != ("clear_targets")
                else other[name] == by_ground[name]
            )


def test_mirrored_obstacle_and_wind(ask, plain):
    there = obstacle(ask, plain, bottom="0 m", left="-60 cm", right="-12 cm")
    plain["wind"]["from"] = "-60 deg"
    back = obstacle(ask, plain, bottom="0 m", left="12 cm", right="60 cm")
    assert back["margin"] == there["margin"]
    assert back["arrow_right"] == -there["arrow_right"] != 0.0
    assert (there["nearest_edge"], back["nearest_edge"]) == ("right", "left")


def test_in_a_cross_wind_the_nock_passes_downwind_of_the_tip(ask, plain):
    """The wind comes from the right: a trunk on the left has less room than the tip tells.

    The arrow lies along its airspeed, w / v to the right of its way, so that a length L
    behind the tip its end passes L w / v to the left.
    """
    plain["wind"] = {"speed": "5 m/s", "from": "90 deg"}
    plain["bow"]["launch_forward"], plain["arrow"]["tip_lead"] = "900 mm", "310 mm"
    left = [obstacle(ask, plain, right="-50 cm")]
    right = [obstacle(ask, plain, left="50 cm")]
    arrow = plain["arrow"]
    behind = float(arrow.pop("balance_point").split(" ")[0]) * 0.0254
    left.append(obstacle(ask, plain, right="-50 cm"))
    right.append(obstacle(ask, plain, left="50 cm"))
    assert left[0]["arrow_right"] == left[1]["arrow_right"] == right[0]["arrow_right"]
    # On the tip's side nothing depends on what lies behind.
    envelope = 0.5 * 5.7e-3 + 10e-3
    for row in right:
        assert row["margin"] == pytest.approx(0.5 - row["arrow_right"] - envelope, abs=2e-6)
    ways = [left[0]["arrow_right"] + 0.5 - envelope - row["margin"] for row in left]
    speed = 268.5 * 0.3048
    assert ways[0] == pytest.approx((behind + 0.31) * 5.0 / speed, rel=0.05)
    assert ways[1] == pytest.approx(0.31 * 5.0 / speed, rel=0.05)


def test_touch_chance_falls_as_the_branch_rises(ask, plain):
    plain["group"] = {"distance": "40 m", "vertical": "8 cm"}
    chances = [obstacle(ask, plain, bottom=b)["touch_chance"] for b in ("0 m", "0.4 m", "2 m")]
    assert chances[0] > 0.9 > chances[1] > 0.01 > chances[2]
    assert all(0.0 <= chance <= 1.0 for chance in chances)


def test_seen_over_the_sight(ask, plain):
    """The angle is the height over the distance; over the pin it is that, times the radius."""
    row = obstacle(ask, plain, bottom="0.6 m")
    assert row["seen"]["angle_above"] == pytest.approx(
        math.atan2(row["arrow_height"], 23.0), abs=1e-7
    )
    assert row["arrow_right"] < -1e-4
    assert row["seen"]["angle_right"] == pytest.approx(
        math.atan2(row["arrow_right"], 23.0), abs=1e-7
    )
    radius = 32 * 0.0254
    assert row["seen"]["above_pin"] == pytest.approx(radius * row["seen"]["angle_above"], rel=0.01)
    assert row["seen"]["right_of_pin"] == pytest.approx(
        radius * row["arrow_right"] / 23.0, rel=0.01, abs=2e-6
    )


def test_clear_targets_end_where_that_target_touches(ask, plain):
    row = obstacle(ask, plain, bottom="0.45 m")
    (span,) = row["clear_targets"]
    assert span["from"] == pytest.approx(23.023)
    assert row["searched"]["to"] == 88.0
    assert 44.0 < span["to"] < 88.0
    for shift, clear in ((-1e-3, True), (1e-3, False)):
        at = obstacle(ask, {**plain, "target": f"{span['to'] + shift} m"}, bottom="0.45 m")
        assert at["clear"] is clear


@pytest.mark.parametrize("target", ["44 m", "150 m", "360 m"])
def test_a_search_beyond_reach_ends_before_it(ask, plain, target):
    body = {**plain, "target": target, "search_to": "1000 m"}
    row = obstacle(ask, body, top="-1 m")
    assert 300.0 < row["searched"]["to"] < 700.0
    assert row["clear_targets"]


def test_a_search_that_is_refused_is_the_fault_of_what_asked_for_it(ask, plain, monkeypatch):
    near = [{"name": "twig", "distance": "0.9 m", "bottom": "2 m"}]
    body = {**plain, "obstacles": near}
    (error,) = ask({**body, "search_to": "1.1 m"}).get_json()["errors"]
    assert error["pointer"] == "/search_to"
    assert "Too near" in error["detail"]

    def refuse(*_, **__):
        raise BeyondReach(50.0, (0,))

    monkeypatch.setattr(passing, "clear_targets", refuse)
    for more, pointer in (({}, "/target"), ({"search_to": "80 m"}, "/search_to")):
        (error,) = ask({**body, **more}).get_json()["errors"]
        assert error["pointer"] == pointer


def test_twenty_obstacles_and_no_more(ask, plain):
    many = [{"name": f"n{i}", "distance": f"{i + 2} m", "right": "-1 m"} for i in range(20)]
    assert len(replied(ask, {**plain, "obstacles": many})["obstacles"]) == 20
    assert ask({**plain, "obstacles": [*many, many[0]]}).status_code == 422


def test_an_obstacle_that_many_arrows_would_touch_is_not_simply_clear(ask, plain):
    plain["group"] = {"distance": "40 m", "vertical": "8 cm", "sideways": "8 cm"}
    free = obstacle(ask, plain, bottom="3 m")["margin"]
    body = {**plain, "obstacles": [{"name": "twig", "distance": "23 m"}]}
    body["obstacles"][0]["bottom"] = f"{3.0 - free + 0.002} m"
    reply = replied(ask, body)
    row = reply["obstacles"][0]
    assert row["clear"] and 0.3 < row["touch_chance"] < 0.5
    told = {note["code"]: note["message"] for note in reply["notes"]}
    assert f'"twig" ({100 * row["touch_chance"]:.0f} %)' in told["touch-likely"]
    assert '"twig"' in told["margin-uncertain"]
    assert row["margin"] < 2 * row["height_uncertainty"]
    body["obstacles"][0]["bottom"] = "3 m"
    assert not {"touch-likely", "margin-uncertain"} & set(codes(replied(ask, body)))


def test_a_touched_obstacle_is_the_first_thing_said(ask, plain):
    body = {**plain, "obstacles": [{"name": "log", "distance": "23 m", "top": "1 m"}]}
    assert codes(replied(ask, body))[0] == "obstacle-touched"


def test_margins_without_a_group_are_those_of_one_arrow(ask, plain):
    body = {**plain, "obstacles": [{"name": "log", "distance": "23 m", "top": "-1 m"}]}
    assert "margins-of-one-arrow" in codes(replied(ask, body))


def test_aiming_off_is_asked_for_and_told(ask, plain):
    plain["wind"] = {"speed": "5 m/s", "from": "90 deg"}
    plain["obstacles"] = [{"name": "trunk", "distance": "43.9 m", "right": "-50 cm"}]
    straight, off = (replied(ask, {**plain, "aim_off": on}) for on in (False, True))
    assert "not-aimed-off" in codes(straight) and "not-aimed-off" not in codes(off)
    told = next(n["message"] for n in straight["notes"] if n["code"] == "not-aimed-off")
    assert "to the left" in told
    drift = straight["obstacles"][0]["arrow_right"]
    assert f"drifts {-drift:.2f}"[:-1] in told
    assert off["obstacles"][0]["arrow_right"] == pytest.approx(0.0, abs=2e-3)
    assert drift < -0.05
    problem = ask({**plain, "aim_off": "yes"}).get_json()
    assert problem["errors"][0]["pointer"] == "/aim_off"
    assert "true or false" in problem["detail"]


def test_a_target_on_the_ground_is_no_path_below_it(ask, plain):
    ground = {"eye_height": "1.6 m", "target_height": "0 m"}
    reply = replied(ask, {**plain, "ground": ground})
    assert reply["ground"]["below_ground"] is False
    assert "path-below-ground" not in codes(reply)


# --- lane, ground, housing -----------------------------------------------------------------


def test_the_lane_grows_with_the_share_and_meets_the_lowest_branch(ask, plain):
    plain["group"] = {"distance": "40 m", "vertical": "8 cm", "sideways": "4 cm"}
    plain["lane"] = {"distances": ["23 m"], "share": 0.6}
    plain["obstacles"] = [{"name": "it", "distance": "23 m", "bottom": "1 m"}]
    narrow = replied(ask, plain)
    plain["lane"]["share"] = 0.99
    wide = replied(ask, plain)
    (first,), (second,) = narrow["lane"]["rows"], wide["lane"]["rows"]
    assert second["top"] > first["top"] > first["bottom"] > second["bottom"]
    assert second["right"] > first["right"] > first["left"] > second["left"]
    for reply, row in ((narrow, first), (wide, second)):
        assert reply["obstacles"][0]["lowest_branch"] == row["top"]


def test_the_lane_ends_at_the_target_itself(ask, plain):
    plain["group"] = {"distance": "40 m", "vertical": "8 cm", "sideways": "4 cm"}
    plain["lane"] = {"distances": ["44 m"]}
    assert [row["distance"] for row in replied(ask, plain)["lane"]["rows"]] == [44.0]
    plain["lane"] = {"distances": ["43 m", "44.001 m"]}
    (error,) = ask(plain).get_json()["errors"]
    assert error["pointer"] == "/lane/distances/1"


def test_the_height_above_ground_is_the_tips(ask, plain):
    """Ground along the line of sight, h below it: n / cos(slope) + h, from x and y of a point.

    On the slope the wind turns the arrow out of its way, up or down: the nock passes at
    another height.
    """
    plain["wind"] = {"speed": "15 m/s", "from": "180 deg"}
    plain["slope"] = "-30 deg"
    plain["ground"] = {"eye_height": "1.6 m", "target_height": "1.6 m"}
    row = obstacle(ask, plain, bottom="9 m")
    height = 1.6 + row["arrow_height"] / math.cos(math.radians(30.0))
    assert row["arrow_above_ground"] == pytest.approx(height, abs=3e-6)
    envelope = 0.5 * 5.7e-3 + 10e-3
    nock = row["lowest_branch"] - envelope  # the lowest branch is over the highest of the arrow
    assert nock > row["arrow_height"] + 0.02


def test_the_path_over_the_ground_starts_where_the_tip_is_let_go(ask, plain):
    """On ground that falls away the arrow is lowest as it leaves the string."""
    plain["slope"] = "0 deg"
    plain["ground"] = {"eye_height": "1.6 m", "target_height": "4 m"}
    reply = replied(ask, plain)
    tip = reply["launch"]["launch_forward"] + reply["launch"]["tip_lead"]
    assert reply["ground"]["lowest_distance"] == pytest.approx(tip, abs=3e-6)


def test_the_envelope_is_taken_off_the_heights_above_ground(ask, plain):
    plain |= {"slope": "0 deg", "face_diameter": "80 cm"}
    plain["ground"] = {"eye_height": "1.6 m", "target_height": "1.3 m"}
    lows = []
    for vane in ("0 mm", "12 mm"):
        ground = replied(ask, {**plain, "vane_height": vane})["ground"]
        lows.append((ground["lowest_height"], ground["face"]["low_arrow"]["height"]))
    for bare, vaned in zip(*lows, strict=True):
        assert bare - vaned == pytest.approx(0.012, abs=2e-6)
    # The arrow that just reaches the lower edge is lowest there, half a shaft under it.
    assert lows[0][1] == pytest.approx(0.9 - 0.5 * 5.7e-3, abs=1e-3)


def test_the_path_below_the_face_is_the_aimed_arrows(ask, plain):
    """One that just reaches the lower edge comes below it: of that the reply has the lowest."""
    plain |= {"slope": "0 deg", "face_diameter": "80 cm"}
    plain["ground"] = {"eye_height": "1.6 m", "target_height": "1.3 m"}
    reply = replied(ask, plain)
    face = reply["ground"]["face"]
    assert face["low_arrow"]["height"] < face["lower_edge"] == pytest.approx(0.9, abs=1e-5)
    assert reply["ground"]["lowest_height"] > face["lower_edge"]
    assert face["path_below"] is None
    assert "path-below-face" not in codes(reply)


def test_ground_and_face_on_a_steep_slope(ask, plain):
    """Uphill 35 degrees, the target dug in: the face's foot is under the ground, and said so."""
    plain |= {"slope": "35 deg", "face_diameter": "80 cm"}
    plain["ground"] = {"eye_height": "1.6 m", "target_height": "0.35 m"}
    reply = replied(ask, plain)
    face = reply["ground"]["face"]
    assert face["below_ground"] and face["lower_edge"] < 0.0
    assert "face-below-ground" in codes(reply)
    assert not reply["ground"]["below_ground"]
    plain["ground"]["target_height"] = "1.3 m"
    reply = replied(ask, plain)
    assert not reply["ground"]["face"]["below_ground"]
    assert not {"face-below-ground", "path-below-ground"} & set(codes(reply))
    # No arrow can fall below the lower edge of the face before it, this high up.
    low = reply["ground"]["face"]["low_arrow"]
    assert low["height"] == pytest.approx(reply["ground"]["face"]["lower_edge"], abs=0.05)


def test_a_rise_in_the_way_of_path_and_of_low_arrows(ask, plain):
    plain |= {"slope": "-25 deg", "face_diameter": "80 cm"}
    rises = [{"distance": "36 m", "height": "80 cm"}]
    plain["ground"] = {"eye_height": "1.6 m", "target_height": "1 m", "rises": rises}
    reply = replied(ask, plain)
    assert "low-arrow-meets-ground" not in codes(reply)
    assert reply["ground"]["lowest_distance"] == pytest.approx(36.0, abs=0.5)
    assert "path-below-face" in codes(reply)
    below = reply["ground"]["face"]["path_below"]
    assert below["from"] < 36.0 < below["to"]
    rises[0]["height"] = "1.2 m"
    reply = replied(ask, plain)
    assert "low-arrow-meets-ground" in codes(reply)
    assert not reply["ground"]["below_ground"]
    rises[0]["height"] = "1.6 m"
    reply = replied(ask, plain)
    assert reply["ground"]["below_ground"] and reply["ground"]["lowest_height"] < 0.0
    assert "path-below-ground" in codes(reply)
    # The aimed arrow itself strikes: of the low one nothing is left to say.
    assert reply["ground"]["face"]["low_arrow"]["height"] < 0.0
    assert "low-arrow-meets-ground" not in codes(reply)


def test_housing_and_marks(ask, plain):
    plain["housing"] = {"below_pin": "30 mm"}
    plain["marks"] = {"from": "20 m", "to": "60 m", "step": "20 m"}
    reply = replied(ask, plain)
    rows = reply["housing"]["rows"]
    assert [row["distance"] for row in rows] == [20.0, 40.0, 60.0]
    assert rows[0]["housing_clearance"] > rows[1]["housing_clearance"]


def test_a_farther_housing_gives_the_fallen_arrow_more_room(ask, plain):
    """It falls 1/2 g cos(slope) t^2 until the nock passes, loosed with the nock at the string."""
    plain["marks"], plain["slope"] = ["40 m"], "-30 deg"
    plain["units"]["length"] = "mm"

    def room(**housing):
        body = {**plain, "housing": {"below_pin": "20 mm", "arrow_radius": "6 mm", **housing}}
        reply = replied(ask, body)
        return reply, reply["housing"]["rows"][0]["housing_clearance"]

    reply, near = room(ahead_of_eye="900 mm")
    _, far = room(ahead_of_eye="1900 mm")
    nock = reply["launch"]["launch_forward"] * 1e-3 - 15.7 * 0.0254
    speed = 268.5 * 0.3048
    pull = reply["gravity"] * math.cos(math.radians(30.0))
    falls = [0.5e3 * pull * ((ahead - nock) / speed) ** 2 for ahead in (0.9, 1.9)]
    assert near > 0.0
    assert far - near == pytest.approx(falls[1] - falls[0], rel=0.02)
    # Left out it is the sight's radius.
    _, left_out = room()
    assert left_out == room(ahead_of_eye="32 in")[1] < near


# --- how it was solved -----------------------------------------------------------------------


@pytest.fixture
def figures(ask, plain):
    """What `solution` says where something is asked for."""

    def solved(**asked_for):
        return replied(ask, {**plain, **asked_for})["solution"]

    return solved


def test_all_that_is_passed_counts_for_errors_and_airspeeds(figures):
    """The nock is followed past the target, where drag has slowed it further."""
    aimed = figures(housing={"below_pin": "30 mm"}, marks=["44 m"])
    group = {"distance": "40 m", "vertical": "8 cm", "sideways": "4 cm"}
    lane = figures(group=group, lane={"distances": ["44 m"]})
    ground = figures(ground={"eye_height": "1.6 m", "target_height": "1.3 m"})
    log = {"name": "log", "distance": "43.9 m", "top": "-1 m"}
    passed = figures(obstacles=[log])
    for one in (lane, ground, passed):
        assert one["position_error"] > aimed["position_error"] > 0.0
        assert one["least_airspeed"] < aimed["least_airspeed"]
        assert one["greatest_airspeed"] >= aimed["greatest_airspeed"]


def test_a_fall_past_the_target_counts_for_the_greatest_airspeed(figures, plain):
    """Steeply down in a vacuum the arrow gains speed until its nock has passed."""
    plain |= {"slope": "-60 deg", "drag": {"model": "none"}}
    aimed = figures(housing={"below_pin": "30 mm"}, marks=["44 m"])
    passed = figures(obstacles=[{"name": "log", "distance": "43.9 m", "top": "-1 m"}])
    assert passed["greatest_airspeed"] > aimed["greatest_airspeed"] + 1e-3


def test_the_error_of_the_search_counts(figures):
    """Near the reach the angle goes like a root, of which a series leaves more out."""
    log = [{"name": "log", "distance": "20 m", "top": "-1 m"}]
    near, far = (figures(obstacles=log, search_to=to) for to in ("45 m", "1000 m"))
    assert 1e-3 > far["position_error"] > 3.0 * near["position_error"] > 0.0


# --- requests that do not fit ----------------------------------------------------------------


def _set(path, value):
    def change(body):
        *way, last = path
        for step in way:
            body = body[step]
        if value is None:
            del body[last]
        else:
            body[last] = value

    return change


FIRST = ("obstacles", 0)
FAULTS = {
    "behind the eye": ((*FIRST, "distance"), "-3 m", "/obstacles/0/distance", "Give 0.3 m"),
    "beyond the target": ((*FIRST, "distance"), "45 m", "/obstacles/0/distance", "before the"),
    "at the target": ((*FIRST, "distance"), "44 m", "/obstacles/0/distance", "before the"),
    "left beyond right": ((*FIRST, "left"), "2 m", "/obstacles/0/left", "left of the right"),
    "bottom above top": ((*FIRST, "top"), "-5 m", "/obstacles/0/top", "must lie above"),
    "top at bottom": ((*FIRST, "top_angle"), "1.3 deg", "/obstacles/0/top_angle", "must lie above"),
    "twice": ((*FIRST, "bottom"), "1 m", "/obstacles/0/bottom_angle", "given twice"),
    "no edge": (FIRST, {"name": "x", "distance": "9 m"}, "/obstacles/0", "at least one edge"),
    "no name": ((*FIRST, "name"), None, "/obstacles/0/name", "add it"),
    "empty name": ((*FIRST, "name"), "  ", "/obstacles/0/name", "1 to 60"),
    "long name": ((*FIRST, "name"), "n" * 61, "/obstacles/0/name", "1 to 60"),
    "name of lines": ((*FIRST, "name"), "a\nb", "/obstacles/0/name", "one line"),
    "name a number": ((*FIRST, "name"), 7, "/obstacles/0/name", "in quotes"),
    "unknown edge": ((*FIRST, "botom"), "1 m", "/obstacles/0/botom", "did you mean"),
    "bare number": ((*FIRST, "left"), 0.4, "/obstacles/0/left", "a number and a unit"),
    "no ground": (("ground",), None, "/face_diameter", "add `ground`"),
    "no group": (("group",), None, "/lane", "add `group`"),
    "no sight": (("sight",), None, "/housing", "add `sight`"),
    "no marks": (("marks",), None, "/housing", "add `marks`"),
    "no housing": (("housing",), None, "/marks", "add `housing`"),
    "nothing to search": (("obstacles",), None, "/search_to", "add `obstacles`"),
    "short search": (("search_to",), "30 m", "/search_to", "beyond every obstacle"),
    "lane too long": (("lane", "distances"), ["50 m"], "/lane/distances/0", "ends at the target"),
    "far rise": (
        ("ground", "rises", 0, "distance"),
        "44 m",
        "/ground/rises/0/distance",
        "before the target",
    ),
    "upright": (("ground", "rises", 0, "height"), "150 m", "/ground/eye_height", "upright"),
    "beyond reach": (("target",), "900 m", "/target", "beyond reach"),
    "marks beyond reach": (("marks",), ["20 m", "900 m"], "/marks/1", "beyond reach"),
    "list": (("obstacles",), [], "/obstacles", "1 to 20"),
}


@pytest.mark.parametrize(("path", "value", "pointer", "words"), FAULTS.values(), ids=FAULTS.keys())
def test_what_does_not_fit_is_said_where_it_is(ask, asked, path, value, pointer, words):
    _set(path, value)(asked)
    response = ask(asked)
    assert response.status_code == 422
    assert response.content_type == problems.MEDIA_TYPE
    errors = response.get_json()["errors"]
    assert pointer in [error["pointer"] for error in errors]
    detail = next(error["detail"] for error in errors if error["pointer"] == pointer)
    assert words in detail
    assert detail.endswith((".", "?"))


def test_heights_above_ground_need_the_ground(ask, plain):
    plain["obstacles"] = [
        {"name": "a", "distance": "9 m", "top_above_ground": "1 m"},
        {"name": "b", "distance": "50 m", "top": "1 m"},
    ]
    errors = ask(plain).get_json()["errors"]
    assert [error["pointer"] for error in errors] == [
        "/obstacles/0/top_above_ground",
        "/obstacles/1/distance",
    ]


def test_nothing_asked_for(ask, plain):
    (error,) = ask(plain).get_json()["errors"]
    assert error["pointer"] == "/obstacles"
    assert "lane" in error["detail"]


def test_rises_come_in_order(ask, plain):
    rises = [{"distance": d, "height": "0 m"} for d in ("20 m", "10 m")]
    plain["ground"] = {"eye_height": "1.6 m", "target_height": "1.2 m", "rises": rises}
    (error,) = ask(plain).get_json()["errors"]
    assert error["pointer"] == "/ground/rises/1/distance"
