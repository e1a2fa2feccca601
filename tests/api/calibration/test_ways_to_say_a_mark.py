"""The same mark, however it is said; marks that the sight cannot show are refused."""

import pytest
from calibration_requests import (
    CERTAIN,
    PRIORS,
    STATED,
    chronograph,
    end,
    fitted,
    refusal,
    reply,
    rows,
    session,
    setup,
)

AT = 55.0
"""A click is 0.125 mm of travel, a unit of the scale 5 mm."""

WITHOUT_SCALE = {name: STATED["sight"][name] for name in ("radius", "zero_distance")}


def predicted():
    (row,) = rows(setup(), [AT])
    return row


def shot_with(mark, **changes):
    seen = {"distance": f"{AT!r} m", "up": "4 cm", "right": "1 cm", "arrows": 6}
    if mark is not None:
        seen["mark"] = mark
    return session(seen, chronograph(3.0), **changes)


def ways():
    clicks = predicted()["clicks"]
    return {
        "travel": {"travel": f"{0.125 * clicks!r} mm"},
        "turns": {"turns": clicks / 10},
        "clicks": {"clicks": clicks},
        "reading": {"reading": 20 + 0.125 * clicks / 5},
        "predicted_for": {"predicted_for": f"{AT!r} m"},
        "nothing": {},
        "left out": None,
        "windage alone": {"windage_clicks": 0},
    }


@pytest.mark.parametrize("way", ways())
def test_one_mark_has_one_reply(way):
    expected = reply(shot_with({"clicks": predicted()["clicks"]}))
    found = reply(shot_with(ways()[way]))
    assert found["rows"] == expected["rows"]
    assert found["observations"] == expected["observations"]
    assert found["observations"][0]["travel"] == 0.125 * predicted()["clicks"]


def test_without_clicks_a_predicted_mark_is_exact():
    sight = WITHOUT_SCALE | {"travel_per_turn": "1.25 mm"}
    found = reply(shot_with(None, sight=sight))["observations"][0]
    assert found["travel"] == predicted()["travel"]
    assert found["travel"] != 0.125 * predicted()["clicks"]


def test_a_pin_of_another_distance():
    """The 50 m pin at 55 m: the arrows are expected lower than with the mark of 55 m."""
    near = reply(shot_with({"predicted_for": "50 m"}, priors=CERTAIN))["observations"][0]
    own = reply(shot_with(None, priors=CERTAIN))["observations"][0]
    (row,) = rows(setup(), [50.0])
    assert near["travel"] == 0.125 * row["clicks"]
    assert near["expected_up"] < own["expected_up"] - 100


def test_readings_that_grow_as_the_pin_moves_up():
    scale = {"reading": 20, "travel_per_unit": "5 mm", "increases": "up"}
    sight = WITHOUT_SCALE | {"scale": scale}
    found = reply(shot_with({"reading": 18}, sight=sight))["observations"][0]
    assert found["travel"] == 10.0


def test_windage_is_said_in_travel_or_clicks():
    """0.8 mm a turn of 16 clicks; the pin 1 mm to the right sends arrows to the left."""
    said = {"travel": {"windage_travel": "1 mm"}, "clicks": {"windage_clicks": 20}}
    vague = {**PRIORS, "windage": "50 mm"}
    found = {name: reply(shot_with(mark, priors=vague)) for name, mark in said.items()}
    assert found["travel"]["rows"] == found["clicks"]["rows"]
    assert found["travel"]["observations"] == found["clicks"]["observations"]
    values = fitted(found["travel"])
    # Arrows 10 mm right with the pin 1 mm right: it needs more than that to be centred.
    centred = -1.0 - 10.0 * 825 / (AT * 1e3 - 700)
    assert values["windage"] == pytest.approx(centred, abs=0.005)


def test_a_mark_moves_the_pin_down_and_the_arrows_up():
    low = reply(session(end(40.0, off=0.0)))["observations"][0]
    high = reply(session(end(40.0, off=1.0)))["observations"][0]
    assert high["travel"] == pytest.approx(low["travel"] + 1.0, abs=2e-3)
    assert high["up"] > 40 and high["expected_up"] > low["expected_up"] + 40


LACKS = {
    "turns": ({"turns": 3}, "travel_per_turn", {}),
    "clicks of no thread": ({"clicks": 3}, "travel_per_turn", {}),
    "clicks of a thread": ({"clicks": 3}, "clicks_per_turn", {"travel_per_turn": "1 mm"}),
    "reading": ({"reading": 3}, "scale", {}),
    "windage_clicks of no thread": ({"windage_clicks": 3}, "windage_travel_per_turn", {}),
    "windage_clicks of a thread": (
        {"windage_clicks": 3},
        "windage_clicks_per_turn",
        {"windage_travel_per_turn": "1 mm"},
    ),
}


@pytest.mark.parametrize("case", LACKS)
def test_what_the_sight_lacks_is_asked_for(case):
    mark, missing, has = LACKS[case]
    name = next(iter(mark))
    seen = (end(40.0), end(60.0, mark=mark))
    ((pointer, detail),) = refusal(session(*seen, sight=WITHOUT_SCALE | has))
    assert pointer == f"/observations/1/mark/{name}"
    assert detail.endswith(f"give sight.{missing}.")


TOO_FAR = {
    "clicks": 4001,
    "turns": -400.1,
    "reading": 120.1,
    "windage_clicks": 2001,
}


@pytest.mark.parametrize("name", TOO_FAR)
def test_no_sight_travels_so_far(name):
    """0.5 m up or down and 0.1 m aside, whichever way it is said."""
    ((pointer, detail),) = refusal(session(end(40.0, mark={name: TOO_FAR[name]})))
    assert pointer == f"/observations/0/mark/{name}"
    assert "is most: check it" in detail
