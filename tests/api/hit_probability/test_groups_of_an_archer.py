"""The archer's group: its forms, what few arrows leave open, how it grows."""

import math
import statistics

import pytest
from hit_requests import PLACE, replied, row, rows, share_of, within
from scipy.stats import chi2

from arrowloft.core.archer.groups import largest_spread, spread_degrees

IMPACTS = [
    {"up": "12 mm", "right": "-30 mm"},
    {"up": "-25 mm", "right": "4 mm"},
    {"up": "31 mm", "right": "18 mm"},
    {"up": "2 mm", "right": "26 mm"},
]
UP, RIGHT = (12, -25, 31, 2), (-30, 4, 18, 26)
C4 = {4: 0.9213, 5: 0.9400, 10: 0.9727}
"""Mean standard deviation of n arrows over the true one, n - 1 in its denominator.
Source: tables of control charts, ASTM Manual 7 (from memory), four places."""


def test_impacts_have_deviations_with_one_arrow_less(ask, plain):
    found = replied(ask, plain, group={"distance": "30 m", "impacts": IMPACTS})
    group = found["group"]
    assert group["vertical"] == pytest.approx(statistics.stdev(UP), abs=1e-3)
    assert group["sideways"] == pytest.approx(statistics.stdev(RIGHT), abs=1e-3)
    assert group["arrows"] == 4
    (at,) = found["rows"]
    assert at["sd_up"] == pytest.approx(statistics.stdev(UP) / C4[4], rel=1e-4)
    assert at["sd_right"] == pytest.approx(statistics.stdev(RIGHT) / C4[4], rel=1e-4)


def test_impacts_count_from_any_point(ask, plain):
    """The middle of the group is taken as where it is aimed."""
    moved = [
        {"up": f"{up + 70} mm", "right": f"{right - 200} mm"}
        for up, right in zip(UP, RIGHT, strict=True)
    ]
    one = replied(ask, plain, group={"distance": "30 m", "impacts": IMPACTS})
    other = replied(ask, plain, group={"distance": "30 m", "impacts": moved})
    assert one == other


@pytest.mark.parametrize("arrows", C4)
def test_deviations_of_few_arrows_are_widened(ask, plain, arrows):
    found = replied(ask, plain, group=plain["group"] | {"arrows": arrows})
    assert found["group"]["few_arrows_factor"] == pytest.approx(1 / C4[arrows], rel=1e-4)
    assert found["group"]["vertical"] == 20
    assert found["rows"][0]["sd_up"] == pytest.approx(20 / C4[arrows], rel=1e-4)


def test_deviations_of_unsaid_arrows_are_taken_as_they_are(ask, plain):
    found = replied(ask, plain)
    assert found["group"] == {
        "distance": 30,
        "vertical": 20,
        "sideways": 20,
        "relative_uncertainty": None,
        "arrows": None,
        "few_arrows_factor": 1,
    }
    (at,) = found["rows"]
    assert at["sd_up"] == 20
    assert at["low"] is at["high"] is None


def test_a_diameter_allows_for_its_arrows_already(ask, plain):
    group = {"distance": "30 m", "diameter": "9 cm", "arrows": 12}
    found = replied(ask, plain, group=group)
    deviation = 90 / largest_spread(12)
    assert found["group"]["few_arrows_factor"] == 1
    assert found["rows"][0]["sd_right"] == pytest.approx(deviation, abs=1e-3)
    assert found["rows"][0]["probability"] == pytest.approx(within(50, deviation), abs=PLACE)


def true_ends(deviation, degrees):
    """Between these it lies with 90 %: those that 5 % and 95 % of chi squared give."""
    return (deviation * math.sqrt(degrees / chi2.ppf(x, degrees)) for x in (0.05, 0.95))


def test_the_interval_of_deviations_is_one_an_axis(ask, plain):
    """A rectangle holds a product of normals; what either axis changes adds in quadrature."""
    group = {"distance": "30 m", "vertical": "20 mm", "sideways": "40 mm", "arrows": 10}
    zone = {"height": "10 cm", "width": "16 cm", "shape": "rectangle"}
    found = row(ask, plain, group=group, zone=zone)
    tall, wide = (
        [
            math.erf(half / end / math.sqrt(2))
            for end in (deviation / C4[10], *true_ends(deviation, 9))
        ]
        for half, deviation in ((50, 20), (80, 40))
    )
    assert found["probability"] == pytest.approx(tall[0] * wide[0], abs=2e-5)
    for end, name, sign in ((1, "low", -1), (2, "high", 1)):
        change = math.hypot((tall[end] - tall[0]) * wide[0], (wide[end] - wide[0]) * tall[0])
        assert found[name] == pytest.approx(tall[0] * wide[0] + sign * change, abs=2e-5)


def test_the_interval_of_a_diameter_is_one_for_both_axes(ask, plain):
    reply = replied(ask, plain, group={"distance": "30 m", "diameter": "8 cm", "arrows": 10})
    [found], deviation = reply["rows"], reply["group"]["vertical"]
    wide, narrow = true_ends(deviation, spread_degrees(10))
    assert found["low"] == pytest.approx(within(50, wide), abs=2e-5)
    assert found["high"] == pytest.approx(within(50, narrow), abs=2e-5)
    assert found["low"] < found["probability"] < found["high"]


def test_more_arrows_leave_less_open(ask, plain):
    few, many = (row(ask, plain, group=plain["group"] | {"arrows": n}) for n in (6, 600))
    assert many["high"] - many["low"] < 0.2 * (few["high"] - few["low"])


@pytest.mark.parametrize("growth", [0.5, 1.0, 1.4, 3.0])
def test_a_group_grows_with_a_power_of_the_distance(ask, plain, growth):
    near, own, far = rows(ask, plain, growth=growth, distances=["15 m", "30 m", "60 m"])
    assert near["sd_up"] == pytest.approx(20 * 0.5**growth, abs=1e-3)
    assert own["sd_up"] == 20
    assert far["sd_right"] == pytest.approx(20 * 2.0**growth, abs=1e-3)


def test_growth_left_out_is_in_proportion(ask, plain):
    distances = ["12 m", "47 m"]
    left_out = rows(ask, plain, distances=distances)
    assert left_out == rows(ask, plain, distances=distances, growth=1)


def test_uneven_speed_is_in_the_group_where_it_was_shot(ask, plain):
    """There the scatter is the group's; farther on the speed's part outgrows the rest."""
    errors = {"speed": "0.5 m/s"}
    own, far = rows(ask, plain, errors=errors, distances=["30 m", "60 m"])
    assert own["sd_up"] == pytest.approx(20, abs=2e-3)
    assert own["sd_right"] == pytest.approx(20, abs=2e-3)
    assert far["sd_up"] > 41 > 40.01 > far["sd_right"]
    assert share_of(far, "speed") > share_of(own, "speed") > 0
    named = rows(ask, plain, errors=errors, distances=["30 m", "60 m"], in_group=["speed"])
    assert named == [own, far]


def test_what_is_not_in_the_group_comes_on_top(ask, plain):
    errors = {"speed": "0.5 m/s"}
    inside = row(ask, plain, errors=errors)
    beside = row(ask, plain, errors=errors, in_group=[])
    part = share_of(inside, "speed") * 2 * 20**2
    assert beside["sd_up"] ** 2 == pytest.approx(20**2 + part, rel=1e-4)
    assert beside["probability"] < inside["probability"]


def test_a_rolled_bow_may_be_in_the_group_too(ask, plain):
    errors = {"roll": "1 deg"}
    beside = row(ask, plain, errors=errors)
    inside = row(ask, plain, errors=errors, in_group=["roll"])
    assert beside["sd_right"] > 21
    assert inside["sd_right"] == pytest.approx(20, abs=2e-3)


@pytest.mark.parametrize("name", ["wind_along", "wind_across"])
def test_wind_may_be_in_the_group_too(ask, plain, name):
    errors = {name: "1 m/s"}
    beside, inside = (row(ask, plain, errors=errors, in_group=said) for said in ([], [name]))
    assert inside["sd_right"] == pytest.approx(20, abs=2e-3)
    assert inside["sd_up"] == pytest.approx(20, abs=2e-3)
    assert inside["probability"] >= beside["probability"]
    assert share_of(inside, "group") < 1 or name == "wind_along"


def test_an_error_in_the_group_that_is_not_given_changes_nothing(ask, plain):
    one = replied(ask, plain, in_group=["speed", "roll"])
    assert one == replied(ask, plain, in_group=[])


def test_twice_the_same_error_is_that_error(ask, plain):
    errors = {"speed": "0.5 m/s"}
    twice = row(ask, plain, errors=errors, in_group=["speed", "speed"])
    assert twice == row(ask, plain, errors=errors)


def test_a_group_smaller_than_its_errors_is_left_nothing(ask, plain):
    errors = {"speed": "5 m/s"}
    group = {"distance": "30 m", "vertical": "2 mm", "sideways": "20 mm"}
    found = row(ask, plain, errors=errors, group=group, in_group=["speed"])
    assert found["sd_up"] > 10
    assert found["sd_right"] == pytest.approx(20, abs=0.01)
