"""Each way to say what was seen, and the conditions in which it was."""

import numpy as np
import pytest
from calibration_requests import (
    CERTAIN,
    STATED,
    ZERO,
    chronograph,
    codes,
    end,
    fitted,
    proven,
    reply,
    rows,
    session,
    setup,
    told,
    true_row,
    true_travel,
)

UP = [12.0, -30.0, 25.0, -3.0]
RIGHT = [8.0, -11.0, 20.0, -9.0]


def at_40(**seen):
    return {"distance": "40 m", "mark": {"travel": f"{true_travel(40.0)!r} mm"}, **seen}


def mm(value):
    return f"{value!r} mm"


def test_impacts_are_their_centre_number_and_scatter():
    impacts = [{"up": mm(u), "right": mm(r)} for u, r in zip(UP, RIGHT, strict=True)]
    one_by_one = reply(session(at_40(impacts=impacts)))
    centre = {
        "up": mm(float(np.mean(UP))),
        "right": mm(float(np.mean(RIGHT))),
        "arrows": 4,
        "vertical": mm(float(np.std(UP, ddof=1))),
        "sideways": mm(float(np.std(RIGHT, ddof=1))),
    }
    together = reply(session(at_40(**centre)))
    assert one_by_one["rows"] == together["rows"]
    (found,) = one_by_one["observations"]
    assert found["flyers"] == [] and found["arrows"] == 4
    assert found["up"] == 1.0 and found["right"] == 2.0
    del found["flyers"]
    assert [found] == together["observations"]


def test_sideways_left_out_is_as_up_and_down():
    said = {"up": "1 cm", "right": "1 cm", "arrows": 5, "vertical": "4 cm"}
    assert reply(session(at_40(**said))) == reply(session(at_40(**said, sideways="4 cm")))


def test_a_diameter_is_a_standard_deviation_of_fewer_arrows():
    """2.7933 standard deviations are the mean diameter of four arrows (groups.py)."""
    said = {"up": "1 cm", "right": "0 cm", "arrows": 4}
    group = {"distance": "40 m", "vertical": "40 mm", "arrows": 2}
    deviation = {"vertical": mm(100 / 2.7933)}
    wide = reply(session(at_40(**said, diameter="10 cm"), group=group))
    same = reply(session(at_40(**said, **deviation), group=group))
    (found,), (expected,) = wide["observations"], same["observations"]
    # The group counts one of four or so degrees of freedom: its share differs a little.
    assert found["up_uncertainty"] == pytest.approx(expected["up_uncertainty"], rel=0.02)
    alone = reply(session(at_40(**said), group=group))["observations"][0]
    assert alone["up_uncertainty"] == pytest.approx(40 / 2, abs=1e-3)


def test_plainly_three_inches_high_is_one_arrow():
    said = at_40(up="3 in")
    plain = reply(session(said))
    counted = reply(session({**said, "arrows": 1}))
    assert plain["rows"] == counted["rows"]
    assert "arrows-assumed" in codes(plain) and "arrows-assumed" not in codes(counted)
    (found,) = plain["observations"]
    assert found["up"] == 76.2 and "right" not in found and "flyers" not in found
    assert found["up_uncertainty"] == pytest.approx(18 * 40 / 18, abs=1e-3)
    assert found["correction"]["windage"]["nudge"] is None


def test_more_arrows_say_more():
    doubts = [
        reply(session(at_40(up="1 cm", arrows=n)))["observations"][0]["up_uncertainty"]
        for n in (1, 4, 16)
    ]
    assert doubts == pytest.approx([40.0, 20.0, 10.0], abs=1e-3)


def test_a_proven_mark_is_six_arrows_on_the_aim_point():
    assumed = reply(session(proven(40.0)))
    assert assumed["observations"][0]["kind"] == "proven"
    assert assumed["observations"][0]["arrows"] == 6
    said = reply(session(at_40(up="0 mm", arrows=6)))
    assert assumed["rows"] == said["rows"]
    more = reply(session(proven(40.0, arrows=24)))["observations"][0]
    assert more["up_uncertainty"] == pytest.approx(40 / 24**0.5, abs=1e-3)


def test_an_uncertainty_stands_in_place_of_the_scatter():
    (found,) = reply(session(at_40(up="1 cm", arrows=3, uncertainty="7 mm")))["observations"]
    assert found["up_uncertainty"] == 7.0


def test_a_speed_at_a_distance():
    """Near the bow it tells the speed, far away the drag by the loss on the way."""
    found = reply(session(chronograph(3.0, "0.01 m/s"), chronograph(70.0, "0.01 m/s")))
    values = fitted(found)
    assert values["speed"] == pytest.approx(80.6, abs=0.02)
    assert values["drag"] == pytest.approx(1.13, abs=5e-3)
    near, far = found["observations"]
    for seen, distance in ((near, 3.0), (far, 70.0)):
        assert seen["kind"] == "speed"
        assert seen["speed"] == true_row(distance)["speed"]
        assert seen["speed_uncertainty"] == 0.01
        assert seen["expected_speed"] == pytest.approx(seen["speed"], abs=0.01)
        assert "correction" not in seen and "up" not in seen


def test_a_speed_of_no_stated_uncertainty():
    """A chronograph's 1 ft/s and 0.2 % from shot to shot."""
    (found,) = reply(session({"distance": "3 m", "speed": {"value": "80 m/s"}}))["observations"]
    assert found["speed_uncertainty"] == pytest.approx(np.hypot(0.3048, 0.16), abs=1e-4)


def test_a_name_is_repeated():
    found = reply(session(end(40.0, name="it's the first"), end(60.0)))["observations"]
    assert found[0]["name"] == "it's the first"
    assert "name" not in found[1]


CONDITIONS = {
    "slope": {"slope": "25 deg"},
    "wind": {"wind": {"speed": "6 m/s", "from": "200 deg"}},
    "temperature": {"air": {"temperature": "-5 degC"}},
    "pressure": {"air": {"pressure": "850 hPa"}},
    "humidity": {"air": {"relative_humidity": 1.0, "temperature": "35 degC"}},
    "latitude": {"site": {"latitude": "0 deg"}},
}


def right_of(row):
    return f"{row['drift']!r} mm"


@pytest.mark.parametrize("name", CONDITIONS)
def test_conditions_of_an_observation_are_its_own(name):
    """The mark that the stated set-up asks for there centres its arrows there.

    Travel counts from the zero mark of the set-up's own conditions.
    """
    own = CONDITIONS[name]
    there = setup(**{key: {**STATED.get(key, {}), **own[key]} for key in own if key != "slope"})
    there |= {"slope": own["slope"]} if "slope" in own else {}
    (row,) = rows(there, [60.0])
    (home,) = rows(setup(), [ZERO])
    pin = 825 * (np.tan(row["launch_angle"]) - np.tan(home["launch_angle"]))
    seen = {
        "distance": "60 m",
        "mark": {"travel": f"{float(pin)!r} mm"},
        "up": "0 mm",
        "right": right_of(row),
        "arrows": 6,
        **own,
    }
    (said,) = reply(session(seen, priors=CERTAIN))["observations"]
    assert said["expected_up"] == pytest.approx(0.0, abs=0.02)
    assert said["expected_right"] == pytest.approx(row["drift"], abs=0.02)
    for key in own:
        del seen[key]
    (elsewhere,) = reply(session(seen, priors=CERTAIN))["observations"]
    assert abs(elsewhere["expected_up"]) > 1


def test_another_altitude_drops_the_set_ups_pressure():
    """Its barometer stood elsewhere: the standard atmosphere's pressure there is taken."""
    site = {"site": {"altitude": "2000 m"}}

    def expected(**conditions):
        body = session(end(60.0, **conditions), priors=CERTAIN)
        return reply(body)["observations"][0]["expected_up"]

    thin = expected(**site)
    assert thin == pytest.approx(expected(air={"pressure": "794.952 hPa"}, **site), abs=0.01)
    assert thin > expected(air={"pressure": "900 hPa"}, **site) + 1
    assert expected(site={"altitude": "0 m"}, air={"pressure": "1000 hPa"}) < thin - 5


def test_without_a_group_a_usual_scatter_is_assumed():
    body = session(at_40(up="1 cm"))
    del body["group"]
    found = reply(body)
    assert "1.5 mrad" in told(found, "scatter-assumed")
    assert "scatter-assumed" not in codes(reply(session(at_40(up="1 cm"))))


@pytest.mark.parametrize("up", [-100.0, 10.0, 200.0])
def test_an_assumed_scatter_learns_from_how_far_off_arrows_are(up):
    """Nothing else being unknown, one arrow is one degree of freedom beside the usual four."""
    body = session(at_40(up=mm(up)), priors=CERTAIN)
    del body["group"]
    (learned,) = reply(body)["observations"]
    off = (up - learned["expected_up"]) / 60.0
    expected = 60.0 * ((4.0 + off**2) / 5.0) ** 0.5
    assert learned["up_uncertainty"] == pytest.approx(expected, abs=2e-3)


def test_what_arrows_leave_unlearned_of_the_set_up_tells_no_scatter():
    """The zero follows a lone arrow wherever it lies: nothing is left to tell the scatter by."""
    body = session(at_40(up="1 cm"), priors={**CERTAIN, "zero": "50 mm"})
    del body["group"]
    (seen,) = reply(body)["observations"]
    assert seen["up_uncertainty"] == pytest.approx(60.0, abs=0.05)
    # That of an archer whose group is known stays what it is.
    (seen,) = reply(session(at_40(up="7 cm"), priors=CERTAIN))["observations"]
    assert seen["up_uncertainty"] == pytest.approx(40.0, abs=1e-3)
