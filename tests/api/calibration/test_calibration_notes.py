"""What a calibration has to say: each note where it belongs, and none of them without cause."""

import random

import pytest
from calibration_requests import (
    PRIORS,
    ZERO,
    chronograph,
    codes,
    end,
    proven,
    reply,
    session,
    sound,
    told,
    true_row,
    true_travel,
)

ALWAYS = ["prove-corrected-marks", "launch-gate-at-string", "aim-not-safety"]
EXACT = (chronograph(3.0), chronograph(60.0))


def uncertainty(found, name):
    (item,) = [item for item in found["parameters"] if item["name"] == name]
    return item["standard_uncertainty"]


def statuses(found):
    return [seen["status"] for seen in found["observations"]]


def test_nothing_is_said_of_a_sound_session():
    found = reply(sound())
    assert codes(found) == ALWAYS
    assert set(statuses(found)) == {"used"}
    assert all(seen["chance"] > 0.5 for seen in found["observations"])
    assert found["fit"]["inflation"] == 1.0
    assert found["separation"]["told_apart"] is True
    assert found["separation"]["would_tell"] == []


SLIPS = {
    "sign": (end(60.0, off=2.0, right="40 mm"), {"up": "-145 mm", "right": "-40 mm"}),
    "centimetres-for-inches": (end(60.0, off=3.0), {"up": f"{22 / 2.54:.4f} cm"}),
    "inches-for-centimetres": (end(60.0, off=1.2), {"up": "8.727 in"}),
    "yards-for-metres": (end(60.0), {"distance": "60 yd"}),
    "sign-of-mark": (end(22.0), {"mark": {"travel": f"-{true_travel(22.0)!r} mm"}}),
}
WORDS = {
    "sign": "up and down (and left and right) taken for each other",
    "centimetres-for-inches": "centimetres written for inches",
    "inches-for-centimetres": "inches written for centimetres",
    "yards-for-metres": "the distance in metres, not yards",
    "sign-of-mark": "the mark counted the wrong way",
    "feet-for-metres": "the speed in m/s, not ft/s",
}
SOUND = (end(ZERO), end(30.0), end(40.0), end(50.0), *EXACT)


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_set_aside_named_and_explained(slip):
    right, wrong = SLIPS[slip]
    if slip in ("sign", "inches-for-centimetres"):
        assert statuses(reply(session(*SOUND, right))) == ["used"] * 7
    found = reply(session(*SOUND, {**right, **wrong, "name": "the last"}))
    assert statuses(found) == ["used"] * 6 + ["set-aside"]
    assert slip in found["observations"][6]["explanations"]
    message = told(found, "observation-set-aside")
    assert message.startswith("/observations/6 ('the last') at ")
    assert WORDS[slip] in message and "Nothing else was seen" not in message
    without = reply(session(*SOUND))
    assert found["rows"] == without["rows"]
    assert codes(found)[0] == "observation-set-aside"


def test_a_speed_read_in_another_unit():
    value = true_row(3.0)["speed"]
    seen = {"distance": "3 m", "speed": {"value": f"{value!r} ft/s", "uncertainty": "0.1 m/s"}}
    found = reply(session(end(ZERO), end(40.0), end(60.0), seen))
    assert statuses(found) == ["used"] * 3 + ["set-aside"]
    assert WORDS["feet-for-metres"] in told(found, "observation-set-aside")


def test_what_no_slip_explains_is_to_be_checked():
    wrong = {"distance": "3 m", "speed": {"value": "70 m/s"}}
    found = reply(session(*SOUND, wrong))
    assert found["observations"][6]["explanations"] == []
    assert "Check what was written down: sign, unit, distance and mark." in told(
        found, "observation-set-aside"
    )


def test_a_single_gross_one_says_that_the_set_up_may_be_at_fault():
    found = reply(session(end(40.0, up="90 cm")))
    assert statuses(found) == ["set-aside"]
    message = told(found, "observation-set-aside")
    assert "the set-up itself may as well be at fault" in message
    assert [row["travel"] for row in found["rows"]] == [
        row["predicted_travel"] for row in found["rows"]
    ]


def test_one_in_doubt_where_the_others_are_too_few():
    """Two ends: one may not be set aside unless it is gross."""
    strict = {**PRIORS, "zero": "0.1 mm", "speed": "0.1 m/s", "drag": 0.01}
    seen = (chronograph(3.0, "2 m/s"), end(60.0, off=-0.8, arrows=30))
    launch = {"model": "measured", "parameters": {"speed": "80.6 m/s"}}
    drag = {"model": "constant", "parameters": {"coefficient": 1.9 * 1.13}}
    moved = [seen[0], {**seen[1], "mark": {"travel": f"{true_travel(60.0)!r} mm"}}]
    found = reply(session(*moved, priors=strict, launch=launch, drag=drag))
    assert statuses(found) == ["used", "in-doubt"]
    message = told(found, "observation-in-doubt")
    assert message.startswith("/observations/1 at 60 m does not fit")
    assert "give larger priors" in message


def test_two_that_contradict_each_other():
    high, low = (
        end(40.0, mark={"travel": f"{true_travel(40.0)!r} mm"}, up=up) for up in ("14 cm", "-14 cm")
    )
    found = reply(session(high, low, priors={**PRIORS, "zero": "20 mm"}))
    assert statuses(found) == ["in-doubt", "in-doubt"]
    message = told(found, "observations-contradict")
    assert "/observations/0 at 40 m, /observations/1 at 40 m" in message
    assert "poor-fit" not in codes(found)
    assert found["fit"]["inflation"] > 10
    alone = reply(session(high, {**low, "up": "14 cm"}, priors={**PRIORS, "zero": "20 mm"}))
    assert found["rows"][2]["travel_uncertainty"] > 3 * alone["rows"][2]["travel_uncertainty"]


def scattered(distance, seed, sigma=18.0, count=6):
    """Impacts, mm, whose standard deviations are sigma at 18 m exactly and centre is nought."""
    draw = random.Random(seed)
    places = [[draw.gauss(0, 1) for _ in range(count)] for _ in "ur"]
    for axis in places:
        mean = sum(axis) / count
        size = (sum((value - mean) ** 2 for value in axis) / (count - 1)) ** 0.5
        axis[:] = [(value - mean) / size * sigma * distance / 18 for value in axis]
    return [{"up": f"{u:.3f} mm", "right": f"{r:.3f} mm"} for u, r in zip(*places, strict=True)]


def impacts_at(distance, impacts, **more):
    mark = {"travel": f"{true_travel(distance)!r} mm"}
    return {"distance": f"{distance} m", "mark": mark, "impacts": impacts, **more}


def test_a_flyer_is_left_out_and_named_by_its_place():
    arrows = scattered(40.0, 3)
    arrows[2] = {"up": "-60 cm", "right": "1 cm"}
    found = reply(session(impacts_at(40.0, arrows, name="second end")))
    (seen,) = found["observations"]
    assert seen["flyers"] == [2] and seen["arrows"] == 5
    message = told(found, "flyer-left-out")
    assert message.startswith("Left out as a flyer,")
    assert message.endswith(": /observations/0/impacts/2.")
    sound_ones = [arrow for index, arrow in enumerate(arrows) if index != 2]
    without = reply(session(impacts_at(40.0, sound_ones)))
    assert found["rows"] == without["rows"]
    assert "flyer-left-out" not in codes(without)


def test_two_flyers():
    arrows = scattered(40.0, 4, count=9)
    arrows[0], arrows[7] = {"up": "90 cm", "right": "0 cm"}, {"up": "0 cm", "right": "-99 cm"}
    found = reply(session(impacts_at(40.0, arrows)))
    assert found["observations"][0]["flyers"] == [0, 7]


def test_an_end_in_another_unit_scatters_oddly():
    """Ten times as much as the archer's others: centimetres written for millimetres."""
    wide = [
        {name: value.replace("mm", "cm") for name, value in arrow.items()}
        for arrow in scattered(40.0, 5)
    ]
    sound_ones = [impacts_at(d, scattered(d, seed)) for d, seed in ((ZERO, 6), (60.0, 7))]
    found = reply(session(chronograph(3.0), *sound_ones, impacts_at(40.0, wide)))
    assert told(found, "scatter-odd").startswith("The arrows of /observations/3 scatter")
    assert found["observations"][1]["up_uncertainty"] == pytest.approx(18 / 6**0.5, rel=1e-3)
    assert "scatter-odd" not in codes(reply(session(*sound_ones)))


def test_one_hole_typed_many_times_scatters_oddly():
    hole = impacts_at(40.0, [{"up": "1 cm", "right": "1 cm"}] * 6)
    found = reply(session(impacts_at(ZERO, scattered(ZERO, 6)), hole))
    assert "The arrows of /observations/1" in told(found, "scatter-odd")


def test_a_poor_fit_of_which_no_one_stands_out():
    """Many ends, each twice as far off as it should be, one up, one down."""
    signs = (1, -1, 1, -1, -1, 1, -1, 1, 1, -1)
    seen = [end(40.0, up=f"{sign * 42} mm", right="0 mm") for sign in signs]
    found = reply(session(*seen, *EXACT))
    assert set(statuses(found)) == {"used"}
    assert "no single one stands out" in told(found, "poor-fit")
    assert found["fit"]["chance"] < 0.01 < 1 < found["fit"]["inflation"]
    # All of it is of the heights and the speeds; places to the side are as sure as before.
    assert found["fit"]["inflation"] == pytest.approx(
        found["fit"]["chi_square"] / (len(seen) + len(EXACT)), rel=1e-3
    )
    still = reply(session(*[end(40.0) for _ in signs], *EXACT))
    for name, surer in (("windage", False), ("speed", True)):
        before, after = (uncertainty(of, name) for of in (still, found))
        assert after == pytest.approx(before, rel=1e-2) if not surer else after > 1.5 * before


def test_far_from_what_was_said_before():
    priors = {**PRIORS, "speed": "0.3 m/s", "drag": 0.03}
    found = reply(session(*[proven(d) for d in (ZERO, 40.0, 60.0)], *EXACT, priors=priors))
    assert "speed" in told(found, "far-from-prior").split(":")[1]
    assert "larger `priors`" in told(found, "far-from-prior")


@pytest.mark.parametrize(
    ("seen", "words"),
    [
        ((proven(40.0),), "1 value was seen for 3 unknowns"),
        ((proven(40.0), proven(60.0)), "2 values were seen for 3 unknowns"),
        ((end(40.0, right="1 cm"),), "2 values were seen for 4 unknowns"),
    ],
)
def test_fewer_values_than_unknowns(seen, words):
    """Speed, drag and zero; windage too where a place to the side was noted."""
    assert told(reply(session(*seen)), "fewer-values-than-unknowns").startswith(words)


def test_enough_values():
    found = reply(session(proven(ZERO), proven(40.0), proven(60.0)))
    assert "fewer-values-than-unknowns" not in codes(found)


def test_what_stayed_at_its_prior():
    found = reply(session(proven(60.0), priors={**PRIORS, "peep_height": "3 mm"}))
    message = told(found, "stayed-at-prior")
    assert "peep_height" in message and "windage" in message and "radius" not in message
    status = {item["name"]: item["status"] for item in found["parameters"]}
    assert status["peep_height"] == status["windage"] == "prior"
    assert status["radius"] == "fixed"
    drag = next(item for item in found["parameters"] if item["name"] == "drag")
    assert drag["learned"] == pytest.approx(
        1 - (drag["standard_uncertainty"] / drag["prior_uncertainty"] / drag["value"]) ** 2,
        abs=2e-3,
    )


def test_an_end_within_its_own_scatter_is_no_cause_to_nudge():
    near = end(60.0, up="3 cm", right="2 cm", mark={"travel": f"{true_travel(60.0)!r} mm"})
    message = told(reply(session(*EXACT, near)), "within-scatter")
    assert message.startswith("/observations/2 at 60 m lies no farther off")
    far = {**near, "up": "20 cm"}
    assert "within-scatter" not in codes(reply(session(*EXACT, far)))
    aside = {**near, "right": "20 cm"}
    assert "within-scatter" not in codes(reply(session(*EXACT, aside)))
    # Only the last end is about to be nudged by.
    assert "within-scatter" not in codes(reply(session(*EXACT, near, proven(60.0))))


def test_what_was_assumed_is_said():
    body = session({"distance": "40 m", "up": "1 cm"})
    for name in ("group", "priors", "tolerance"):
        del body[name]
    del body["sight"]["zero_distance"]
    found = codes(reply(body))
    for code in (
        "scatter-assumed",
        "priors-assumed",
        "tolerance-assumed",
        "zero-assumed",
        "arrows-assumed",
    ):
        assert code in found
    assert not {"scatter-assumed", "priors-assumed", "tolerance-assumed"} & set(
        codes(reply(sound()))
    )


def test_what_a_proven_mark_rests_on_is_told_where_it_was_assumed():
    found = reply(session(proven(40.0), end(60.0), proven(50.0, uncertainty="1 cm")))
    message = told(found, "proven-by-six-assumed")
    assert "6 arrows (/observations/0)" in message
    six = reply(session(proven(40.0, arrows=6), end(60.0), proven(50.0, uncertainty="1 cm")))
    assert six["rows"] == found["rows"]
    assert "proven-by-six-assumed" not in codes(six)


def test_butts_too_far_for_what_is_known_are_not_advised():
    """Without a launch model or any arrow, far marks are anyone's guess."""
    body = session(next={"distances": ["18 m", "30 m", "60 m"]}, distances=["18 m", "60 m"])
    body.pop("launch")
    body["priors"] = {name: told for name, told in body["priors"].items() if name != "speed"}
    found = reply(body)
    assert [butt["safe"] for butt in found["next"]["choices"]] == [True, True, False]
    assert found["next"]["distance"] == 30.0
    message = told(found, "start-near")
    assert message.startswith("From 60 m on") and "nearer ones first" in message
    known = reply(session(end(ZERO), chronograph(3.0)))
    assert "start-near" not in codes(known)


def test_a_plan_that_does_not_lead_there_says_so():
    body = session(next={"distances": ["18 m"]}, tolerance={"height": "2 mm"})
    found = reply(body)
    assert found["next"]["enough"] is False
    assert told(found, "plan-not-enough").startswith(f"Even {found['next']['plan_arrows']} more")


def test_nothing_is_learned_where_all_is_held_fixed():
    names = ("speed", "drag", "peep_height", "radius", "zero", "windage")
    fixed = {name: 0 if name == "drag" else "0 mm" for name in names} | {"speed": "0 m/s"}
    assert "nothing-to-learn" in codes(reply(session(end(60.0), priors=fixed)))
    assert "nothing-to-learn" not in codes(reply(session(end(60.0))))


def test_assumed_priors_are_told_in_the_callers_unit():
    body = session(proven(40.0), priors={"speed": "1 m/s", "radius": "1 mm"})
    message = told(reply(body), "priors-assumed")
    assert "peep_height 3 mm, zero 1 mm, windage 5 mm" in message
    body["units"]["length"] = "in"
    assert "zero 0.0394 in" in told(reply(body), "priors-assumed")


def test_a_group_of_few_arrows():
    group = {"distance": "18 m", "diameter": "6 cm", "arrows": 4}
    assert "4 arrows" in told(reply(sound(group=group)), "group-from-few-arrows")


@pytest.mark.parametrize("loss", ["huber", "cauchy"])
def test_a_robust_loss_changes_nothing_where_all_is_well(loss):
    plain, found = reply(sound()), reply(sound(loss=loss))
    assert found["fit"]["loss"] == loss
    for row, same in zip(found["rows"], plain["rows"], strict=True):
        assert row["travel"] == pytest.approx(same["travel"], abs=0.02)
