"""The farthest sensible distance: a root of the probability, or a plain word that there is none."""

import math

import pytest
from hit_requests import codes, replied, row


def closed(probability, growth=1.0, radius=50, deviation=20, at=30):
    """Where a circle holds that share of a group that grows with a power of the distance."""
    return at * (radius / deviation / math.sqrt(-2 * math.log1p(-probability))) ** (1 / growth)


def farthest(ask, body, probability, **asked):
    changes = asked.pop("changes", {})
    found = replied(ask, body, farthest={"probability": probability} | asked, **changes)
    return found["farthest"], codes(found)


def test_it_is_left_out_where_it_is_not_asked_for(ask, plain):
    assert "farthest" not in replied(ask, plain)


@pytest.mark.parametrize("probability", [0.2, 0.5, 0.9, 0.99])
@pytest.mark.parametrize("growth", [1.0, 1.5])
def test_a_group_alone_has_a_closed_form(ask, plain, probability, growth):
    found, noted = farthest(ask, plain, probability, changes={"growth": growth})
    assert found["distance"] == pytest.approx(closed(probability, growth), rel=2e-5)
    assert found["probability"] == probability
    assert found["looked_up_to"] == 150
    assert found["beyond"] is False
    assert "never-likely-enough" not in noted


@pytest.mark.parametrize("probability", [0.3, 0.9, 0.999])
def test_there_the_probability_is_the_wanted_one(ask, asked, probability):
    found, _ = farthest(ask, asked, probability)
    del asked["farthest"]
    at, before, after = (
        row(ask, asked, distances=[f"{found['distance'] * part} yd"])["probability"]
        for part in (1, 0.99, 1.01)
    )
    assert at == pytest.approx(probability, abs=2e-5)
    assert before > probability > after


def test_on_a_face_a_hit_is_an_arrow_that_scores(ask, plain):
    face = {"diameter": "40 cm", "lowest": 6, "line_counts": False}
    found, _ = farthest(ask, plain, 0.8, changes={"face": face, "zone": None})
    assert found["distance"] == pytest.approx(closed(0.8, radius=100), rel=2e-5)


def test_none_where_the_nearest_is_too_far(ask, plain):
    found, noted = farthest(ask, plain, 0.9, nearest="40 m")
    assert closed(0.9) < 40
    assert found == {
        "probability": 0.9,
        "distance": None,
        "surely": None,
        "looked_up_to": 150,
        "beyond": False,
    }
    assert "never-likely-enough" in noted


def test_none_where_no_distance_is_known(ask, plain):
    """Guesses 10 m off: none nearer than 20 m has a mark two deviations short of it."""
    found, noted = farthest(ask, plain, 0.1, up_to="15 m", changes={"errors": {"range": "10 m"}})
    assert found["distance"] is None
    assert "never-likely-enough" in noted


def test_distances_too_near_for_any_guess_are_passed_over(ask, plain):
    changes = {"errors": {"range": "4 m"}, "zone": {"diameter": "40 cm"}}
    found, noted = farthest(ask, plain, 0.5, changes=changes)
    assert found["distance"] > 20
    assert "never-likely-enough" not in noted


def test_beyond_where_it_holds_all_the_way(ask, plain):
    found, noted = farthest(ask, plain, 0.9, up_to="25 m")
    assert closed(0.9) > 25
    assert found == {
        "probability": 0.9,
        "distance": 25,
        "surely": None,
        "looked_up_to": 25,
        "beyond": True,
    }
    assert "never-likely-enough" not in noted


@pytest.mark.parametrize("probability", [0.3, 0.8])
def test_surely_the_low_end_is_the_wanted_one(ask, asked, probability):
    """In the row of that distance, in the reply's unit."""
    found, _ = farthest(ask, asked, probability)
    del asked["farthest"]
    at = row(ask, asked, distances=[f"{found['surely']} yd"])
    assert found["surely"] < found["distance"]
    assert at["low"] == pytest.approx(probability, abs=1e-4)


def test_nothing_is_sure_of_few_arrows(ask, plain):
    """Two at the string, or nobody knows how many."""
    two = {"group": plain["group"] | {"arrows": 2}}
    found, noted = farthest(ask, plain, 0.9, nearest="15 m", changes=two)
    assert found["distance"] > 15
    assert found["surely"] is None
    assert "never-likely-enough" not in noted
    assert farthest(ask, plain, 0.9)[0]["surely"] is None


def test_a_doubtful_mark_between_two_good_ones_is_found(ask, plain):
    """One mark 60 cm off at 30 m, 3 mm at 29 m and 31 m."""
    marks = [
        {"distance": f"{at} m", "height": f"{height} mm"}
        for at, height in ((29, 3), (30, 600), (31, 3))
    ]
    fine = {"errors": {"mark": marks}, "group": plain["group"] | {"vertical": "5 mm"}}
    found, _ = farthest(ask, plain, 0.9, up_to="60 m", changes=fine)
    assert found["beyond"] is False
    assert 29 < found["distance"] < 29.5


def test_it_looks_no_farther_than_nine_tenths_of_the_reach(ask, plain):
    """Nearer to it a guess too far has no mark."""
    found, _ = farthest(ask, plain, 0.01, up_to="900 m", changes={"zone": {"diameter": "5 m"}})
    assert found["beyond"] is True
    assert found["distance"] == found["looked_up_to"] < 900
    response = ask(plain | {"distances": ["900 m"]})
    assert found["looked_up_to"] == pytest.approx(0.9 * response.get_json()["farthest"], rel=1e-5)


def test_it_ends_where_nothing_is_known_beyond(ask, plain):
    """A guess a fifth off: two deviations too far is 1.4 of the distance, which must have a mark.

    The search closes in on that in steps of 0.3 %.
    """
    changes = {"errors": {"range_share": 0.2}, "zone": {"diameter": "5 m"}}
    found, _ = farthest(ask, plain, 0.01, up_to="900 m", changes=changes)
    end = found["looked_up_to"] / 0.9 / 1.4
    assert 0.996 * end < found["distance"] <= end
    assert found["beyond"] is False


def test_the_distances_asked_for_do_not_matter(ask, plain):
    one, _ = farthest(ask, plain, 0.9)
    other, _ = farthest(ask, plain, 0.9, changes={"distances": ["70 m", "12 m"]})
    assert one == other


def test_nearest_and_up_to_have_their_defaults(ask, plain):
    left_out, _ = farthest(ask, plain, 0.9)
    assert farthest(ask, plain, 0.9, nearest="5 m", up_to="150 m")[0] == left_out


def test_what_is_said_of_the_flights_holds_for_the_farthest_too(ask, plain):
    """Its arrows are slower than those of the one row asked for."""
    near = replied(ask, plain, distances=["10 m"])["solution"]
    far = replied(ask, plain, distances=["10 m"], farthest={"probability": 0.02})["solution"]
    assert far["least_airspeed"] < 0.9 * near["least_airspeed"]
