"""Notes of a probability of a hit: each appears exactly where it should."""

import pytest
from hit_requests import ONE_BY_ONE, codes, replied

BARE = ["hit-not-licence", "group-arrows-unsaid", "range-day-group", "marks-exact"]
"""A zone, standard deviations of nobody knows how many arrows, no errors."""

FEW, CORRECTED = "group-from-few-arrows", "group-unbiased"
SPREAD, UNSAID = "group-from-spread", "group-arrows-unsaid"
FACE = {"zone": None, "face": {"diameter": "40 cm"}}
MARKS = {"mark": [{"distance": "30 m", "height": "1 cm"}]}
IMPACTS = [{"up": f"{n * n} mm", "right": f"{5 * n} mm"} for n in range(13)]
BREEZE = {"wind": {"speed": "2 m/s", "from": "90 deg"}}
SURE = {"probability": 0.9}


def own(ask, body, **changes):
    """Codes of this resource's own notes, in their order."""
    found = codes(replied(ask, body, **changes))
    shared = ("air", "aim", "launch", "site", "drag", "boundary")
    return [code for code in found if not code.startswith(shared)]


def message(ask, body, code, **changes):
    (said,) = (n["message"] for n in replied(ask, body, **changes)["notes"] if n["code"] == code)
    return said


def test_a_bare_request(ask, plain):
    assert own(ask, plain) == BARE


def test_the_general_caution_is_there_as_well(ask, plain):
    assert "aim-not-safety" in codes(replied(ask, plain))


def test_a_face_needs_no_word_on_living_things(ask, plain):
    assert own(ask, plain, **FACE) == BARE[1:]


@pytest.mark.parametrize(
    ("group", "said"),
    [
        ({"vertical": "20 mm"}, [UNSAID]),
        ({"vertical": "20 mm", "arrows": 12}, [FEW, CORRECTED]),
        ({"vertical": "20 mm", "arrows": 13}, [CORRECTED]),
        ({"diameter": "8 cm", "arrows": 20}, [FEW, SPREAD]),
        ({"diameter": "8 cm", "arrows": 21}, [SPREAD]),
        ({"impacts": IMPACTS[:12]}, [FEW, CORRECTED]),
        ({"impacts": IMPACTS}, [CORRECTED]),
    ],
)
def test_what_the_group_rests_on(ask, plain, group, said):
    noted = own(ask, plain, group={"distance": "30 m"} | group)
    assert noted == [BARE[0], *said, *BARE[2:]]


CASES = {
    "hit-row-unknown": (
        {"errors": {"range": "5 m"}, "distances": ["10 m", "40 m"]},
        {"errors": {"range": "5 m"}, "distances": ["40 m"]},
    ),
    "probability-rough": (
        {"errors": {"range": "5 m"}, "distances": ["15 m"]},
        {"errors": {"range": "1 m"}, "distances": ["15 m"]},
    ),
    "group-smaller-than-errors": (
        {"errors": {"speed": "2 m/s"}},
        {"errors": {"speed": "2 m/s"}, "in_group": []},
    ),
    "never-likely-enough": (
        {"farthest": SURE | {"nearest": "60 m"}},
        {"farthest": SURE},
    ),
    "wind-not-allowed-for": (
        BREEZE | {"wind_allowed_for": False},
        BREEZE | {"wind_allowed_for": True},
    ),
    "marks-exact": (
        {"errors": {"range": "1 m"}},
        {"errors": MARKS},
    ),
}


@pytest.mark.parametrize(("code", "case"), CASES.items(), ids=CASES)
def test_each_note_where_it_should_be_and_nowhere_else(ask, plain, code, case):
    there, elsewhere = (own(ask, plain, **changes) for changes in case)
    assert there.count(code) == 1
    assert code not in elsewhere


def test_a_calm_needs_no_allowance(ask, plain):
    assert own(ask, plain, wind_allowed_for=False) == BARE
    calm = {"wind": {"speed": "0 m/s", "from": "90 deg"}}
    assert own(ask, plain, **calm, wind_allowed_for=False) == BARE


def test_errors_not_in_the_group_do_not_drain_it(ask, plain):
    """Only speed is taken to have been at work in it."""
    assert "group-smaller-than-errors" not in own(ask, plain, errors={"roll": "3 deg"})
    drained = own(ask, plain, errors={"roll": "3 deg"}, in_group=["roll"])
    assert "group-smaller-than-errors" in drained


def test_a_face_of_own_rings_may_stand_for_anything(ask, plain):
    own_rings = {"face": {"rings": [{"diameter": "20 cm", "points": 5}]}, "zone": None}
    assert own(ask, plain, **own_rings) == BARE


@pytest.mark.parametrize("name", ["roll", "wind_along", "wind_across"])
def test_errors_that_any_group_holds_beside_it(ask, plain, name):
    """Said where the archer does not say whether they were at work in it, and by name."""
    code, errors = "errors-beside-group", ONE_BY_ONE[name]
    assert name in message(ask, plain, code, errors=errors | ONE_BY_ONE["range"])
    assert "range" not in message(ask, plain, code, errors=errors | ONE_BY_ONE["range"])
    for said in ([], ["speed"], [name]):
        assert code not in own(ask, plain, errors=errors, in_group=said)


def test_nothing_beside_the_group_needs_no_word(ask, plain):
    for errors in (ONE_BY_ONE["speed"], ONE_BY_ONE["range"], {"roll": "0 deg"}, {}):
        assert "errors-beside-group" not in own(ask, plain, errors=errors)


def test_the_worst_stand_first(ask, plain):
    noted = own(
        ask,
        plain,
        errors={"range": "5 m", "speed": "4 m/s", "wind_across": "1 m/s"},
        distances=["10 m", "15 m"],
        farthest=SURE | {"nearest": "30 m"},
        wind_allowed_for=False,
        **BREEZE,
    )
    assert noted == [
        "hit-not-licence",
        "hit-row-unknown",
        "probability-rough",
        "group-smaller-than-errors",
        "group-arrows-unsaid",
        "never-likely-enough",
        "wind-not-allowed-for",
        "errors-beside-group",
        "range-day-group",
        "marks-exact",
    ]


def test_the_licence_defers_to_those_who_decide(ask, plain):
    said = message(ask, plain, "hit-not-licence")
    assert "no licence to shoot" in said
    for authority in ("law and licence", "local law", "ground's rules", "licensed practice"):
        assert authority in said


def test_the_correction_is_stated_with_its_figures(ask, plain):
    said = message(ask, plain, CORRECTED, group=plain["group"] | {"arrows": 5})
    # 1 / 0.9400, as tables of control charts have it.
    assert "5 arrows" in said
    assert "1.064" in said
    diameter = {"distance": "30 m", "diameter": "8 cm", "arrows": 6}
    assert "6 arrows" in message(ask, plain, SPREAD, group=diameter)
