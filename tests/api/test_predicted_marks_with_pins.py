"""Predicted marks of a calibration on a sight that has fixed pins beside its moving one."""

import pytest
from calibration_requests import MARKS, ZERO, end, metres, refusal, reply, rows, session, setup

PINS = ["25 m", "45 m", "65 m"]
CLICK = 0.125  # mm: 1.25 mm a turn, 10 clicks


def by_predicted(distance, pins=PINS, **more):
    """A session whose last end was shot with a predicted mark."""
    landed = {"distance": f"{distance} m", "up": "-30 mm", "arrows": 6, **more}
    return with_pins(session(end(ZERO), end(50.0), landed), pins)


def with_pins(body, pins=PINS):
    if pins:
        body["sight"]["pins"] = pins
    return body


@pytest.mark.parametrize("distances", [MARKS, MARKS[:1], [55.0, 20.0]])
def test_each_row_has_the_mark_predicted_for_its_own_distance(distances):
    body = session(end(ZERO), end(50.0), distances=metres(distances))
    found = reply(with_pins(body))["rows"]
    stated = rows(setup(), distances)
    assert [row["distance"] for row in found] == distances
    assert [row["predicted_travel"] for row in found] == [row["travel"] for row in stated]
    # Slower than stated: the predicted marks of all but the nearest would shoot low.
    for row in found:
        if row["distance"] > 40.0:
            assert row["predicted_up"] < -5.0
            assert row["travel"] > row["predicted_travel"]


def test_pins_change_nothing_of_the_marks():
    """But for the last digits: more flights are solved at once."""
    plain, pinned = reply(by_predicted(40, pins=[])), reply(by_predicted(40))
    for before, now in zip(plain["rows"], pinned["rows"], strict=True):
        assert now == pytest.approx(before, rel=1e-4, abs=2e-3)
    before, now = (item["observations"][2] for item in (plain, pinned))
    assert now["travel"] == before["travel"]
    assert now["expected_up"] == pytest.approx(before["expected_up"], abs=2e-3)


@pytest.mark.parametrize("mark", [None, 60.0])
def test_an_end_shot_with_a_predicted_mark_stood_at_its_nearest_click(mark):
    """At its own distance, or at that for another."""
    more = {} if mark is None else {"mark": {"predicted_for": f"{mark} m"}}
    found = reply(by_predicted(40, **more))["observations"][2]
    (row,) = rows(setup(), [mark or 40.0])
    assert found["travel"] == pytest.approx(CLICK * round(row["travel"] / CLICK), abs=1e-9)
    assert found["travel"] != row["travel"]


@pytest.mark.parametrize("place", [0, 2])
@pytest.mark.parametrize("predicted", [False, True, None])
def test_a_pin_beyond_reach_is_blamed_itself(place, predicted):
    """Whether or not an end was shot with a predicted mark; None: nothing is predicted."""
    pins = list(PINS)
    pins[place] = "900 m"
    body = by_predicted(40, pins) if predicted else with_pins(session(end(ZERO), end(50.0)), pins)
    if predicted is None:
        del body["launch"]
        body["priors"] = {**body["priors"], "speed": "20 m/s"}
    ((pointer, detail),) = refusal(body)
    assert pointer == f"/sight/pins/{place}"
    assert "beyond reach" in detail


def test_a_predicted_mark_beyond_reach_is_blamed_on_its_own_distance():
    body = by_predicted(40, mark={"predicted_for": "900 m"})
    assert [where for where, _ in refusal(body)] == ["/observations/2/mark/predicted_for"]


def test_a_row_beyond_reach_is_blamed_on_itself():
    body = by_predicted(40)
    body["distances"] = metres([20.0, 900.0])
    body["next"] = {"distances": metres([20.0])}
    assert [where for where, _ in refusal(body)] == ["/distances/1"]
