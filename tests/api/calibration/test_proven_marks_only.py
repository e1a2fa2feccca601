"""Proven marks without a chronograph: speed and drag, or that they cannot be told apart."""

import pytest
from calibration_requests import (
    PRIORS,
    TRUE_DRAG,
    TRUE_SPEED,
    ZERO,
    chronograph,
    codes,
    end,
    fitted,
    proven,
    refusal,
    reply,
    rows,
    session,
    setup,
    told,
    true_travel,
)

WITHOUT_SPEED = {name: PRIORS[name] for name in PRIORS if name != "speed"}
NEARLY_EXACT = {"uncertainty": "0.3 mm"}


def unknown(*seen, **changes):
    """A session without a launch model."""
    body = session(*seen, **{"priors": WITHOUT_SPEED, **changes})
    del body["launch"]
    return body


def doubts(found):
    return {item["name"]: item["standard_uncertainty"] for item in found["parameters"]}


def test_two_marks_tell_the_speed_and_lean_on_the_drag():
    found = reply(unknown(proven(ZERO), proven(60.0)))
    values, uncertainties = fitted(found), doubts(found)
    assert abs(values["speed"] - TRUE_SPEED) < 2 * uncertainties["speed"] < 8
    status = {item["name"]: item["status"] for item in found["parameters"]}
    assert (status["speed"], status["drag"]) == ("learned", "prior")
    apart = found["separation"]
    assert apart["told_apart"] is False
    assert apart["speed_uncertainty"] is apart["drag_uncertainty"] is apart["correlation"] is None
    assert "told apart" not in told(found, "speed-and-drag-not-told-apart")
    for code in ("launch-unknown", "fewer-values-than-unknowns"):
        assert code in codes(found)


def test_between_the_marks_the_marks_are_right_all_the_same():
    seen = (proven(ZERO), proven(60.0))
    for row in reply(unknown(*seen, distances=["30 m", "40 m", "50 m"]))["rows"]:
        off = abs(row["travel"] - true_travel(row["distance"]))
        assert off < 2 * row["travel_uncertainty"]
        assert row["height_uncertainty"] < row["tolerance"]


def test_what_would_tell_them_apart():
    found = reply(unknown(proven(ZERO), proven(60.0), next={"longest": "70 m", "arrows": 4}))
    reading, readings, arrows = found["separation"]["would_tell"]
    assert reading["what"] == "speed-reading" and "distance" not in reading
    assert (readings["what"], readings["distance"]) == ("two-speed-readings", 70)
    assert (arrows["what"], arrows["arrows"]) == ("arrows", 4)
    assert readings["drag_uncertainty"] < reading["drag_uncertainty"]
    assert reading["speed_uncertainty"] == pytest.approx(0.3048 / fitted(found)["speed"], rel=0.02)
    assert readings["enough"] is True
    # What was foretold, once it is seen: READING is a chronograph's 1 ft/s.
    seen = (proven(ZERO), proven(60.0), chronograph(1.4, "0.3048 m/s"))
    told_apart = reply(unknown(*seen))["separation"]
    assert told_apart["speed_uncertainty"] == pytest.approx(reading["speed_uncertainty"], rel=0.03)
    assert told_apart["drag_uncertainty"] == pytest.approx(reading["drag_uncertainty"], rel=0.1)


def test_many_exact_marks_tell_them_apart():
    """Marks known to a hair of a sight known to a hair: their bend is the drag's."""
    priors = {**WITHOUT_SPEED, "drag": 1, "zero": "0 mm"}
    distances = (30.0, 40.0, 50.0, 60.0, 70.0, 90.0)
    seen = [proven(d, **{"uncertainty": "1 mm"}) for d in distances]
    found = reply(unknown(*seen, priors=priors))
    assert found["separation"]["told_apart"] is True
    assert found["separation"]["would_tell"] == []
    assert fitted(found)["speed"] == pytest.approx(TRUE_SPEED, abs=0.2)
    assert fitted(found)["drag"] == pytest.approx(TRUE_DRAG, abs=0.05)
    assert "speed-and-drag-not-told-apart" not in codes(found)


def test_a_wide_prior_of_the_drag_leaves_both_open():
    narrow = doubts(reply(unknown(proven(ZERO), proven(60.0))))
    wide = doubts(reply(unknown(proven(ZERO), proven(60.0), priors={**WITHOUT_SPEED, "drag": 1})))
    assert wide["speed"] > 2 * narrow["speed"]


@pytest.mark.parametrize("speed", [45.0, 60.0, 100.0])
def test_bows_of_all_kinds(speed):
    """From the slowest to the fastest, from marks that their own tables give."""
    launch = {"model": "measured", "parameters": {"speed": f"{speed} m/s"}}
    seen = [
        {
            "distance": f"{row['distance']} m",
            "proven": True,
            "mark": {"travel": f"{row['travel']} mm"},
        }
        for row in rows(setup(launch=launch), [ZERO, 30.0, 50.0])
    ]
    found = reply(unknown(*seen))
    assert abs(fitted(found)["speed"] - speed) < 0.5 * doubts(found)["speed"]


def test_neither_predicted_marks_nor_columns_of_them():
    found = reply(unknown(proven(ZERO), proven(60.0)))
    assert not {"predicted_travel", "predicted_up"} & found["rows"][0].keys()
    assert found["launch"]["model"] == "unknown"
    assert found["launch"]["speed"] == 70.0
    assert found["launch"]["standard_uncertainty"] == 21.0


@pytest.mark.parametrize("mark", [None, {}, {"predicted_for": "40 m"}, {"windage_clicks": 2}])
def test_a_predicted_mark_needs_a_launch_model(mark):
    seen = end(40.0)
    seen = {**seen, "mark": mark}
    if mark is None:
        del seen["mark"]
    ((pointer, detail),) = refusal(unknown(proven(ZERO), seen))
    assert pointer == "/observations/1/mark"
    assert "(travel, turns, clicks or reading), or give `launch`" in detail


def test_every_predicted_mark_is_named():
    seen = {"distance": "40 m", "up": "1 cm"}
    found = refusal(unknown(seen, proven(60.0), seen))
    assert [pointer for pointer, _ in found] == ["/observations/0/mark", "/observations/2/mark"]


def test_nothing_seen_and_nothing_known():
    found = reply(unknown())
    assert fitted(found)["speed"] == 70.0
    assert found["next"]["done"] is False
    assert all(row["chance"] < 0.95 for row in found["rows"][1:])
