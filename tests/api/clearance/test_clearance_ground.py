"""POST /v1/clearance: the lane, the ground and the sight's housing."""

import math

import pytest
from clearance_requests import codes, obstacle, replied


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
