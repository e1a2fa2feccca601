"""What is off at a shot: each error by itself, all together, and what each has to do with it."""

import pytest
from hit_requests import ONE_BY_ONE, PLACE, causes, replied, row, rows, share_of, within

MOVEMENT = ["movement_along", "movement_across"]
WIND = {"wind": {"speed": "3 m/s", "from": "90 deg"}}


def test_without_errors_the_group_is_all_there_is(ask, plain):
    found = row(ask, plain)
    gain = 1 - found["probability"]
    assert found["causes"] == [{"cause": "group", "share": 1, "gain": pytest.approx(gain)}]
    assert row(ask, plain, errors={}) == found


@pytest.mark.parametrize(("name", "errors"), ONE_BY_ONE.items(), ids=ONE_BY_ONE)
def test_each_error_is_a_cause_by_its_name(ask, plain, name, errors):
    found = row(ask, plain, errors=errors, in_group=[])
    assert causes(found) == ["group", name]
    assert share_of(found, "group") + share_of(found, name) == pytest.approx(1, abs=2e-6)
    assert share_of(found, name) > 1e-4
    alone = row(ask, plain)
    assert found["probability"] < alone["probability"]
    assert found["causes"][1]["gain"] > 0
    variance = found["sd_up"] ** 2 + found["sd_right"] ** 2
    assert share_of(found, "group") == pytest.approx(2 * 20**2 / variance, rel=2e-4)


@pytest.mark.parametrize("name", ["speed", "range", "wind_along", "mark"])
def test_some_errors_are_of_height_alone(ask, plain, name):
    found = row(ask, plain, errors=ONE_BY_ONE[name], in_group=[])
    assert found["sd_right"] == pytest.approx(20, abs=1e-3)
    assert found["sd_up"] > 20.01


@pytest.mark.parametrize("name", ["roll", "wind_across"])
def test_some_errors_are_sideways_for_the_most_part(ask, plain, name):
    found = row(ask, plain, errors=ONE_BY_ONE[name])
    assert found["sd_right"] > 20.01
    assert found["sd_up"] - 20 < 0.1 * (found["sd_right"] - 20)


def test_an_error_of_nothing_is_no_cause(ask, plain):
    nothing = {
        "speed": "0 m/s",
        "roll": "0 deg",
        "range": "0 m",
        "range_share": 0,
        "wind_along": "0 m/s",
        "wind_across": "0 m/s",
        "mark": [{"distance": "30 m", "height": "0 mm"}],
    }
    assert row(ask, plain, errors=nothing) == row(ask, plain)


def test_all_errors_together(ask, asked):
    for found in rows(ask, asked):
        assert causes(found) == ["group", *ONE_BY_ONE, *MOVEMENT]
        shares = [cause["share"] for cause in found["causes"]]
        assert sum(shares) == pytest.approx(1, abs=1e-5)
        assert min(shares) > 0
        assert found["low"] <= found["probability"] <= found["high"]
        assert found["error"] < 4e-4


def test_a_guess_is_off_by_meters_and_by_a_share_of_them(ask, plain):
    """Both at once as the root of their squares."""
    share = row(ask, plain, errors={"range_share": 0.1})
    assert share == row(ask, plain, errors={"range": "3 m"})
    both = row(ask, plain, errors={"range": "4 m", "range_share": 0.1})
    assert both == row(ask, plain, errors={"range": "5 m"})


def test_a_doubtful_mark_adds_its_height(ask, plain):
    found = row(ask, plain, errors={"mark": [{"distance": "30 m", "height": "15 mm"}]})
    assert found["sd_up"] == pytest.approx(25, rel=1e-3)
    assert share_of(found, "mark") == pytest.approx(15**2 / (25**2 + 20**2), rel=1e-3)


def test_marks_are_angles_between_and_beyond(ask, plain):
    """1 mrad at 20 m and 2 mrad at 40 m: 1.5 between, and no more or less outside."""
    plain["group"]["vertical"] = "1 mm"
    marks = [{"distance": "20 m", "height": "20 mm"}, {"distance": "40 m", "height": "80 mm"}]
    asked = {"errors": {"mark": marks}, "distances": ["10 m", "30 m", "50 m"], "growth": 1}
    found = rows(ask, plain, **asked)
    own = [1 / 3, 1, 5 / 3]
    doubts = [(one["sd_up"] ** 2 - sd**2) ** 0.5 for one, sd in zip(found, own, strict=True)]
    assert doubts == pytest.approx([10, 45, 100], rel=5e-3)
    marks.reverse()
    assert rows(ask, plain, **asked) == found


class TestMovement:
    """Of the target while the arrow flies."""

    def test_to_the_right_the_arrow_strikes_left(self, ask, plain):
        still = row(ask, plain)
        found = row(ask, plain, errors={"movement": {"speed": "0.1 m/s", "towards": "90 deg"}})
        assert found["right"] == pytest.approx(-100 * still["time"], abs=2e-3)
        assert found["up"] == pytest.approx(0, abs=1e-3)
        assert causes(found) == ["group"]
        assert found["probability"] < still["probability"]

    def test_to_the_left_it_is_the_mirror(self, ask, plain):
        right, left = (
            row(ask, plain, errors={"movement": {"speed": "0.1 m/s", "towards": towards}})
            for towards in ("90 deg", "-90 deg")
        )
        assert left["right"] == pytest.approx(-right["right"], abs=2e-3)
        assert left["probability"] == pytest.approx(right["probability"], abs=2e-6)

    def test_away_the_arrow_strikes_low_and_toward_high(self, ask, plain):
        away, toward = (
            row(ask, plain, errors={"movement": {"speed": "2 m/s", "towards": towards}})
            for towards in ("0 deg", "180 deg")
        )
        assert away["up"] < -1
        assert toward["up"] > 1
        assert away["right"] == pytest.approx(0, abs=1e-3)

    def test_it_may_begin_late_or_too_late(self, ask, plain):
        time = row(ask, plain)["time"]
        movement = {"speed": "0.1 m/s", "towards": "90 deg"}
        late = row(ask, plain, errors={"movement": movement | {"delay": f"{time / 2} s"}})
        assert late["right"] == pytest.approx(-50 * time, abs=2e-3)
        too_late = row(ask, plain, errors={"movement": movement | {"delay": "3 s"}})
        assert too_late == row(ask, plain)

    def test_anywhere_it_scatters_along_and_across(self, ask, plain):
        found = row(ask, plain, errors={"movement": {"scatter": "0.1 m/s"}})
        assert causes(found) == ["group", *MOVEMENT]
        aside = (20**2 + (100 * found["time"]) ** 2) ** 0.5
        assert found["sd_right"] == pytest.approx(aside, rel=1e-4)
        assert found["right"] == pytest.approx(0, abs=1e-3)
        assert share_of(found, "movement_across") > 100 * share_of(found, "movement_along") > 0


class TestWind:
    """Whether the archer allows for the wind that is known."""

    def test_allowed_for_it_moves_no_impact(self, ask, plain):
        found = row(ask, plain, **WIND)
        assert (found["up"], found["right"]) == pytest.approx((0, 0), abs=1e-3)
        assert row(ask, plain, **WIND, wind_allowed_for=True) == found

    def test_not_allowed_for_the_impact_is_off_by_the_drift(self, ask, plain, client):
        distances = {"distances": ["40 m", "70 m"]}
        found = rows(ask, plain, **WIND, **distances, wind_allowed_for=False)
        setup = ("bow", "arrow", "launch", "drag", "air", "site", "units")
        body = {name: plain[name] for name in setup} | WIND | distances
        body["sight"] = {"radius": "33 in", "zero_distance": "20 m"}
        marks = client.post("/v1/mark-table", json=body).get_json()["rows"]
        for one, mark in zip(found, marks, strict=True):
            assert one["right"] == pytest.approx(mark["drift"], abs=2e-3)
            assert one["up"] == pytest.approx(0, abs=1e-3)
        assert found[1]["right"] < -20

    def test_without_wind_it_makes_no_difference(self, ask, plain):
        assert replied(ask, plain, wind_allowed_for=False) == replied(ask, plain)


def test_a_gain_is_what_the_probability_would_rise_by(ask, plain):
    """Of a cause of nearly normal effect: as without it."""
    errors = {"wind_across": "2 m/s", "mark": [{"distance": "60 m", "height": "4 cm"}]}
    asked = {"distances": ["60 m"], "zone": {"diameter": "20 cm"}}
    found = row(ask, plain, **asked, errors=errors)
    for at, name in enumerate(errors, start=1):
        rest = {other: errors[other] for other in errors if other != name}
        without = row(ask, plain, **asked, errors=rest)
        gain = without["probability"] - found["probability"]
        assert gain > 0.003
        assert found["causes"][at]["gain"] == pytest.approx(gain, rel=0.02)
    # Without the group only the errors are left, which are all but independent.
    assert found["causes"][0]["gain"] <= 1 - found["probability"]


def test_sums_of_variances_are_a_wider_group(ask, plain):
    """A mark's doubt of the group's own size, sideways and up alike by another group."""
    errors = {"mark": [{"distance": "30 m", "height": "20 mm"}]}
    found = row(ask, plain, errors=errors)
    group = {"distance": "30 m", "vertical": f"{20 * 2**0.5} mm", "sideways": "20 mm"}
    wider = row(ask, plain, group=group)
    assert found["probability"] == pytest.approx(wider["probability"], abs=1e-4)
    assert found["probability"] < within(50, 20) - 10 * PLACE
