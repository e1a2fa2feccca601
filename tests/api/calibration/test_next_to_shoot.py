"""What to shoot next, how many arrows, and when to stop."""

from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from calibration_requests import (
    MARKS,
    PRIORS,
    ZERO,
    chronograph,
    codes,
    end,
    proven,
    reply,
    session,
    sound,
)

from arrowloft.api.learning.calibration_notes import _not_enough
from arrowloft.api.learning.calibration_reply import next_reply
from arrowloft.api.replies import ReplyUnits
from arrowloft.core.learning.next_shots import Advice

VAGUE = {**PRIORS, "speed": "3 m/s", "drag": 0.3}
NAMED = {"distances": ["18 m", "30 m", "50 m"], "arrows": 4}


def advice(*seen, priors=VAGUE, **changes):
    return reply(session(*seen, priors=priors, **changes))["next"]


def butts(found):
    return [choice["distance"] for choice in found["choices"]]


def test_the_distances_named_are_looked_at_in_their_order():
    found = advice(next={**NAMED, "distances": ["50 m", "18 m", "30 m"]})
    assert butts(found) == [50, 18, 30]
    assert found["distance"] in (18, 30, 50)


@pytest.mark.parametrize(
    ("unit", "longest", "expected"),
    [
        ("m", "32 m", [10, 15, 20, 25, 30, 32]),
        ("m", "30 m", [10, 15, 20, 25, 30]),
        ("m", "8 m", [8]),
        ("m", "10 m", [10]),
        ("yd", "30 yd", [10, 15, 20, 25, 30]),
        ("yd", "25 m", [10, 15, 20, 25, 27.340332]),
    ],
)
def test_up_to_the_longest_butt(unit, longest, expected):
    found = advice(next={"longest": longest}, units={"distance": unit})
    assert butts(found) == pytest.approx(expected, abs=1e-5)


def test_no_more_than_forty_butts_up_to_the_longest():
    found = butts(advice(next={"longest": "380 m"}))
    assert len(found) <= 40
    assert found[0] == 10 and found[-1] == 380
    steps = {round(b - a, 6) for a, b in pairwise(found[:-1])}
    assert steps == {10.0}  # 5 m would make 75 of them


def test_left_out_the_distances_of_the_marks_are_looked_at():
    body = session(priors=VAGUE, distances=["50 m", "18 m", "50 m", "30 m"])
    del body["next"]
    assert butts(reply(body)["next"]) == [18, 30, 50]
    body["distances"] = {"from": "20 m", "to": "99 m", "step": "0.5 m"}
    found = butts(reply(body)["next"])
    assert len(found) == 40 and (found[0], found[-1]) == (20, 99)


def test_the_next_end_is_the_first_of_the_plan():
    found = advice()
    assert found["done"] is False
    first = found["plan"][0]
    assert (found["distance"], found["arrows"]) == (first["distance"], first["arrows"])
    assert found["plan_arrows"] == sum(stop["arrows"] for stop in found["plan"])
    assert all(stop["distance"] in MARKS for stop in found["plan"])
    # A full end leaves what the choices say, and the nearest of those as good is taken.
    left = {choice["distance"]: choice["doubt"] for choice in found["choices"]}
    assert first["doubt"] == left[first["distance"]]
    falls = {d: found["doubt"] ** 2 - doubt**2 for d, doubt in left.items()}
    best = max(falls.values())
    assert first["distance"] == min(d for d, fall in falls.items() if fall >= 0.95 * best)
    doubts = [found["doubt"], *(stop["doubt"] for stop in found["plan"])]
    assert doubts == sorted(doubts, reverse=True)


def test_only_where_the_butt_is_sure_to_be_hit():
    """95 % of arrows within half a metre up and down, by what is known of mark and scatter."""
    priors = {**VAGUE, "zero": "5 mm"}
    found = reply(session(priors=priors))
    expected = {
        row["distance"]: 2.0 * (row["height_uncertainty"] ** 2 + row["distance"] ** 2) ** 0.5 <= 500
        for row in found["rows"]  # one arrow scatters by 1 mrad
    }
    choices = found["next"]["choices"]
    assert {choice["distance"]: choice["safe"] for choice in choices} == expected
    assert set(expected.values()) == {True, False}
    assert expected[found["next"]["distance"]]
    best = min(choices, key=lambda choice: choice["doubt"])
    assert not best["safe"]
    assert "start-near" in codes(found)
    assert "start-near" not in codes(reply(session(priors=PRIORS)))


@pytest.mark.parametrize("arrows", [1, 3, 30])
def test_no_end_has_more_arrows_than_asked(arrows):
    found = advice(next={**NAMED, "arrows": arrows})
    assert all(1 <= stop["arrows"] <= arrows for stop in found["plan"])
    assert all(stop["arrows"] == arrows for stop in found["plan"][:-1])


def test_six_arrows_unless_said():
    assert advice(next={})["plan"][0]["arrows"] == 6


def shot_by_advice(most):
    """Ends of the truth where the advice says, until it says stop; a group known for sure."""
    seen = [chronograph(3.0, "0.3 m/s")]
    group = {"distance": "18 m", "vertical": "12 mm", "arrows": 10_000}
    for _ in range(most):
        found = reply(session(*seen, priors=VAGUE, group=group))
        if found["next"]["done"]:
            break
        seen.append(end(found["next"]["distance"], arrows=found["next"]["arrows"]))
    return found, len(seen) - 1


def test_shooting_by_the_advice_leads_to_a_stop():
    found, ends = shot_by_advice(12)
    assert 1 <= ends < 12
    assert found["next"] | {"choices": []} == {
        "done": True,
        "doubt": found["next"]["doubt"],
        "distance": None,
        "arrows": None,
        "plan": [],
        "plan_arrows": 0,
        "enough": True,
        "choices": [],
    }
    assert all(row["chance"] >= 0.95 for row in found["rows"])


def test_done_is_every_chance_at_the_confidence():
    done = []
    for seen in ((), (end(ZERO),), (end(ZERO), end(60.0)), (proven(50.0, uncertainty="5 mm"),)):
        for confidence in (0.5, 0.9, 0.999):
            found = reply(session(*seen, chronograph(3.0), confidence=confidence))
            least = min(row["chance"] for row in found["rows"])
            assert found["next"]["done"] == (least >= confidence)
            done.append(found["next"]["done"])
    assert {True, False} == set(done)


def test_a_plan_that_leads_nowhere_says_so():
    tight = {"height": "0.1 mm"}
    found = advice(tolerance=tight, next={"distances": ["18 m"], "arrows": 3})
    assert found["enough"] is False and found["done"] is False
    assert [stop["distance"] for stop in found["plan"]] == [18] * len(found["plan"])


def test_a_tolerance_grows_with_the_distance_where_it_is_said_where():
    constant = reply(sound(tolerance={"height": "3 cm"}))["rows"]
    assert [row["tolerance"] for row in constant] == [30] * len(MARKS)
    grown = reply(sound(tolerance={"height": "3 cm", "at": "30 m"}))["rows"]
    assert [row["tolerance"] for row in grown] == pytest.approx(MARKS)
    body = sound()
    del body["tolerance"]
    usual = reply(body)["rows"]
    assert [row["tolerance"] for row in usual] == pytest.approx(
        [10 * d / 9.144 for d in MARKS], abs=1e-3
    )


def test_doubt_is_the_root_of_the_mean_square_over_the_tolerance():
    found = reply(session(end(ZERO), priors=VAGUE))
    shares = [row["height_uncertainty"] / row["tolerance"] for row in found["rows"]]
    mean = sum(share**2 for share in shares) / len(shares)
    assert found["next"]["doubt"] == pytest.approx(mean**0.5, rel=1e-3)


def test_after_the_end_that_was_advised_the_doubt_is_as_foretold():
    """With a group known for sure, at the mark that is expected to be right."""
    group = {"distance": "18 m", "vertical": "18 mm", "arrows": 10_000}
    before = reply(session(priors=VAGUE, group=group))
    first = before["next"]["plan"][0]
    row = next(row for row in before["rows"] if row["distance"] == first["distance"])
    seen = {
        "distance": f"{first['distance']} m",
        "mark": {"travel": f"{row['travel']!r} mm"},
        "up": "0 mm",
        "arrows": first["arrows"],
    }
    after = reply(session(seen, priors=VAGUE, group=group))
    assert after["next"]["doubt"] == pytest.approx(first["doubt"], rel=2e-3)


def test_butts_of_which_nothing_is_known_are_null_and_make_no_plan():
    """So near the reach that no response is known: no number, no note of a plan, no failure."""
    advice = Advice(
        done=False,
        doubt=2.0,
        choices=np.array([np.nan]),
        safe=np.array([False]),
        plan=(),
        enough=False,
    )
    aims = SimpleNamespace(butts=np.array([50.0]), arrows=6)
    found = next_reply(SimpleNamespace(advice=advice), aims, ReplyUnits({"distance": "m"}))
    assert found["choices"] == [{"distance": 50.0, "doubt": None, "safe": False}]
    assert (found["distance"], found["plan"], found["enough"]) == (None, [], False)
    assert _not_enough(SimpleNamespace(advice=advice)) == []
