"""POST /v1/clearance: what it answers."""

import math

import numpy as np
import pytest
from clearance_requests import codes, obstacle, replied

from arrowloft.api.path import passing
from arrowloft.core.flight.reach import BeyondReach

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
