"""Observations of a known truth, made by other endpoints, give that truth back."""

import math

import pytest
from calibration_requests import (
    MARKS,
    PRIORS,
    RADIUS,
    TRUE_DRAG,
    TRUE_SPEED,
    UNITS,
    ZERO,
    chronograph,
    end,
    fitted,
    metres,
    proven,
    reply,
    rise,
    rows,
    session,
    setup,
    true_travel,
    truth,
)

SURE = {"uncertainty": "0.5 mm"}
VAGUE = {**PRIORS, "speed": "5 m/s", "drag": 0.5, "zero": "3 mm"}


def test_marks_and_two_speeds_of_the_truth():
    seen = [proven(d, zero=0.7, **SURE) for d in (ZERO, 40.0, 70.0)]
    seen += [chronograph(3.0, "0.02 m/s"), chronograph(60.0, "0.02 m/s")]
    found = reply(session(*seen, priors=VAGUE))
    values = fitted(found)
    assert values["speed"] == pytest.approx(TRUE_SPEED, abs=0.02)
    assert values["drag"] == pytest.approx(TRUE_DRAG, abs=0.01)
    assert values["zero"] == pytest.approx(0.7, abs=0.03)
    for row in found["rows"]:
        assert row["travel"] == pytest.approx(true_travel(row["distance"]) + 0.7, abs=0.01)
        assert row["travel_uncertainty"] < 0.05
    assert all(seen["status"] == "used" for seen in found["observations"])
    assert {item["status"] for item in found["parameters"][:2]} == {"learned"}


def landed_of_the_truth(distances):
    """(mark, up) of the true arrows, mm, loosed at the stated set-up's launch angles.

    /v1/setup-change says where these land; the mark is the true sight's for that angle.
    """
    second = {name: truth()[name] for name in ("launch", "drag")}
    asked = {**setup(), "second": second, "distances": metres([ZERO, *distances])}
    first, *changed = reply(asked, "/v1/setup-change")["rows"]
    zero = math.tan(first["new_launch_angle"])
    return [(RADIUS * (math.tan(row["launch_angle"]) - zero), row["up"]) for row in changed]


def shots(distances):
    seen = []
    for distance, (mark, up) in zip(distances, landed_of_the_truth(distances), strict=True):
        body = {"distance": f"{distance!r} m", "up": f"{up!r} mm", "arrows": 6, **SURE}
        seen.append({**body, "mark": {"travel": f"{mark!r} mm"}})
    return seen


def test_where_the_arrows_of_the_stated_marks_landed():
    distances = [ZERO, 40.0, 70.0]
    seen = shots(distances)
    assert float(seen[-1]["up"].removesuffix(" mm")) < -150
    found = reply(session(*seen, chronograph(3.0, "0.02 m/s"), priors=VAGUE))
    values = fitted(found)
    assert values["speed"] == pytest.approx(TRUE_SPEED, abs=0.03)
    assert values["drag"] == pytest.approx(TRUE_DRAG, abs=0.02)
    assert values["zero"] == pytest.approx(0.0, abs=0.03)
    for seen_, distance in zip(found["observations"], distances, strict=False):
        elevation = seen_["correction"]["elevation"]
        assert elevation["beyond_scatter"] is True
        assert seen_["travel"] + elevation["move"]["travel"] == pytest.approx(
            true_travel(distance), abs=0.02
        )
        # The nudge takes the lever as it is at the mark: the bend of the path is left.
        assert elevation["nudge"]["travel"] == pytest.approx(
            elevation["move"]["travel"], rel=0.02, abs=0.02
        )


def test_one_group_moves_the_sight_half_way_where_both_are_as_sure():
    """One end as sure as the zero was before: the move is half the nudge."""
    zero = f"{18 / rise(ZERO) / 6**0.5!r} mm"
    seen = end(ZERO, mark={"travel": "0 mm"}, up="2 cm")
    group = {"distance": f"{ZERO} m", "vertical": "18 mm", "arrows": 10_000}
    none = {**dict.fromkeys(PRIORS, "0 mm"), "speed": "0 m/s", "drag": 0, "zero": zero}
    (found,) = reply(session(seen, priors=none, group=group))["observations"]
    elevation = found["correction"]["elevation"]
    ratio = elevation["move"]["travel"] / elevation["nudge"]["travel"]
    assert ratio == pytest.approx(0.5, abs=0.02)
    assert elevation["move"]["uncertainty"] == pytest.approx(
        elevation["nudge"]["uncertainty"] / math.sqrt(2), rel=0.03
    )


def test_moves_are_told_in_turns_and_clicks():
    (seen,) = reply(session(end(40.0, off=2.0, right="-30 mm")))["observations"]
    for side, turn, clicks in (("elevation", 1.25, 10), ("windage", 0.8, 16)):
        for name in ("nudge", "move"):
            move = seen["correction"][side][name]
            assert move["turns"] == pytest.approx(move["travel"] / turn, abs=1e-3)
            assert move["clicks"] == pytest.approx(clicks * move["turns"], abs=0.51)
    # Too high: the pin goes up; too far left: the pin goes left.
    assert seen["correction"]["elevation"]["nudge"]["travel"] < -1.9
    assert seen["correction"]["windage"]["nudge"]["travel"] < 0


def test_the_same_from_yards_feet_and_clicks_within_their_rounding():
    """Marks in whole clicks of the truth, an 18 m zero told in yards."""
    seen = []
    for distance in (ZERO, 40.0, 60.0):
        (row,) = rows(truth(), [distance])
        body = {"distance": f"{distance / 0.9144!r} yd", "mark": {"clicks": row["clicks"]}}
        seen.append({**body, "proven": True, "uncertainty": "2 mm"})
    speed = {"distance": "3 m", "speed": {"value": f"{TRUE_SPEED / 0.3048!r} ft/s"}}
    speed["speed"]["uncertainty"] = "0.1 ft/s"
    units = {**UNITS, "distance": "yd", "speed": "ft/s"}
    found = reply(session(*seen, speed, priors=VAGUE, units=units))
    marks = [row["travel"] for row in found["rows"]]
    assert marks == pytest.approx([true_travel(d) for d in MARKS], abs=0.125)
    assert [row["distance"] * 0.9144 for row in found["rows"]] == pytest.approx(MARKS, abs=1e-4)
