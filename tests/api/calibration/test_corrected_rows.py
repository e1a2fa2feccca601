"""Corrected marks: those of a mark table of the fitted set-up, with what is known of them."""

import csv
import io

import numpy as np
import pytest
from calibration_requests import (
    MARKS,
    PRIORS,
    RADIUS,
    ZERO,
    chronograph,
    end,
    fitted,
    pin_angle,
    proven,
    reply,
    rows,
    send,
    session,
    setup,
    sound,
)
from calibration_setups import coefficient
from scipy.stats import norm, t

from arrowloft.core.flight.impacts import impacts
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.shot import Shot

LOOSE = {**PRIORS, "peep_height": "3 mm", "radius": "2 mm"}


def off(**changes):
    """A session that moves every unknown."""
    seen = (end(ZERO, zero=0.4), end(50.0, off=1.0, zero=0.4), chronograph(3.0))
    return session(*seen, priors=LOOSE, **changes)


def of_fitted(values):
    """The stated set-up with fitted values put in."""
    asked = setup(
        launch={"model": "measured", "parameters": {"speed": f"{values['speed']!r} m/s"}},
        drag={"model": "constant", "parameters": {"coefficient": 1.9 * values["drag"]}},
    )
    asked["bow"]["peep_height"] = f"{values['peep_height']!r} mm"
    asked["sight"]["radius"] = f"{values['radius']!r} mm"
    return asked


def test_marks_are_those_of_the_fitted_set_up_and_the_zeros_error():
    found = reply(off())
    values = fitted(found)
    assert abs(values["zero"]) > 0.1 and abs(values["radius"] - RADIUS) > 0.01
    for row, plain in zip(found["rows"], rows(of_fitted(values), MARKS), strict=True):
        assert row["travel"] == pytest.approx(plain["travel"] + values["zero"], abs=3e-3)
        assert row["launch_angle"] == pytest.approx(plain["launch_angle"], abs=1e-7)
        assert row["speed"] == pytest.approx(plain["speed"], abs=3e-5)


def test_predicted_marks_are_the_tables():
    found = reply(off())
    plain = rows(setup(), MARKS)
    assert [row["predicted_travel"] for row in found["rows"]] == [row["travel"] for row in plain]
    assert found["zero_distance"] == ZERO


def fitted_shot(found):
    """The fitted set-up as the core's."""
    values, air = fitted(found), found["air"]
    state = Air(
        air["temperature"] + 273.15,
        100 * air["pressure"],
        air["relative_humidity"],
        air["density"],
        air["viscosity"],
        air["speed_of_sound"],
    )
    return Shot(
        launch_speed=values["speed"],
        arrow=Arrow(mass=0.025, shaft_diameter=0.0057),
        drag=coefficient(1.9 * values["drag"]),
        air=state,
        peep_height=1e-3 * values["peep_height"],
        launch_forward=0.9,
        tip_lead=0.31,
        gravity=found["gravity"],
        kinks=(),
    )


def test_predicted_marks_land_where_it_is_said():
    """The pin at the predicted mark, flown with the fitted set-up."""
    found = reply(off())
    values, by_distance = fitted(found), {row["distance"]: row for row in found["rows"]}
    zero_angle = by_distance[ZERO]["launch_angle"]
    scale = RADIUS / values["radius"]
    for distance in (30.0, 50.0, 70.0):
        row = by_distance[distance]
        pin = (row["predicted_travel"] - values["zero"]) * scale
        landed = impacts(
            fitted_shot(found), np.array([pin_angle(pin, zero_angle)]), np.array([distance])
        )
        assert abs(row["predicted_up"]) > 20
        # predicted_up follows the tangent of the rise: exact to its bend over the move.
        assert row["predicted_up"] == pytest.approx(1e3 * float(landed.up[0]), rel=2e-3)


def test_uncertainty_as_a_height_and_chance_within_the_tolerance():
    """Without an archer's scatter the chance is the normal's."""
    seen = [proven(d, uncertainty="8 mm") for d in (ZERO, 60.0)]
    for row in reply(session(*seen, priors=LOOSE))["rows"]:
        ratio = row["height_uncertainty"] / row["travel_uncertainty"]
        assert ratio == pytest.approx(1e3 * row["distance"] / RADIUS, rel=0.06)
        least = row["tolerance"] / row["height_uncertainty"]
        assert row["chance"] == pytest.approx(1 - 2 * norm.sf(least), abs=2e-4)


def test_chance_follows_students_t_where_the_scatter_is_vague():
    """Two arrows of a group: at the zero, whose error the zero's end alone tells, t of one."""
    none = dict.fromkeys(("peep_height", "radius", "windage"), "0 mm")
    priors = {"speed": "0 m/s", "drag": 0, **none, "zero": "50 mm"}
    group = {"distance": "18 m", "vertical": "40 mm", "arrows": 2}
    found = reply(session(end(ZERO, arrows=1), priors=priors, group=group))
    row = found["rows"][0]
    least = row["tolerance"] / row["height_uncertainty"]
    assert row["chance"] == pytest.approx(1 - 2 * t.sf(least, 1), abs=1e-3)
    assert row["chance"] < 1 - 2 * norm.sf(least) - 0.05


def test_the_sight_is_set_to_the_corrected_mark():
    for row in reply(off())["rows"]:
        assert row["turns"] == pytest.approx(row["travel"] / 1.25, abs=1e-3)
        assert row["clicks"] == pytest.approx(10 * row["turns"], abs=0.51)
        assert type(row["clicks"]) is int
        assert row["reading"] == pytest.approx(20 + row["travel"] / 5, abs=1e-3)
    bare = off(sight={"radius": "825 mm", "zero_distance": "18 m"})
    assert not {"turns", "clicks", "reading"} & reply(bare)["rows"][0].keys()


def test_a_table_of_comma_separated_values_has_the_same_rows():
    body = off()
    told = send(body, headers={"Accept": "text/csv"})
    assert told.status_code == 200 and told.mimetype == "text/csv"
    heading, *lines = csv.reader(io.StringIO(told.get_data(as_text=True)))
    named = [name.split(" ")[0] for name in heading]
    expected = reply(body)["rows"]
    assert named == list(expected[0])
    assert "travel (mm)" in heading and "distance (m)" in heading and "chance" in heading
    for line, row in zip(lines, expected, strict=True):
        assert [float(value) for value in line] == pytest.approx(list(row.values()))


SCALES = {"m": 1e-3, "cm": 0.1, "in": 1 / 25.4}


@pytest.mark.parametrize("unit", SCALES)
def test_units_change_no_number(unit):
    """The same lengths, written and asked for in another unit."""
    body = off()
    scale = SCALES[unit]

    def other(text):
        return f"{float(text.removesuffix(' mm')) * scale!r} {unit}"

    for seen in body["observations"][:2]:
        seen["mark"]["travel"] = other(seen["mark"]["travel"])
        seen["up"], seen["right"] = other(seen["up"]), other(seen["right"])
    body["group"]["vertical"] = other("18 mm")
    body["priors"] |= {"zero": other("0.5 mm"), "radius": other("2 mm")}
    body["units"] = {**body["units"], "length": unit, "distance": "yd", "speed": "ft/s"}
    found, expected = reply(body), reply(off())
    for row, plain in zip(found["rows"], expected["rows"], strict=True):
        assert row["distance"] == pytest.approx(plain["distance"] / 0.9144, abs=1e-5)
        assert row["speed"] == pytest.approx(plain["speed"] / 0.3048, abs=1e-4)
        for name in ("travel", "travel_uncertainty", "predicted_up", "tolerance"):
            assert row[name] == pytest.approx(plain[name] * scale, abs=3e-3 * scale)
        for name in ("chance", "turns", "reading"):
            assert row[name] == pytest.approx(plain[name], abs=3e-3)
    for now, then in zip(found["parameters"], expected["parameters"], strict=True):
        factor = {"mm": scale, "m/s": 1 / 0.3048, "": 1.0}[then["unit"]]
        for name in ("value", "standard_uncertainty", "prior", "prior_uncertainty"):
            assert now[name] == pytest.approx(then[name] * factor, rel=1e-4, abs=4e-5)
        assert now["status"] == then["status"]
    assert found["next"]["doubt"] == pytest.approx(expected["next"]["doubt"], rel=1e-3)


def test_the_same_request_has_the_same_bytes_and_query_answers_it():
    body = sound()
    first = send(body)
    assert first.status_code == 200
    assert first.data == send(body).data
    queried = send(body, method="QUERY")
    assert queried.data == first.data
    assert queried.headers["Accept-Query"] == "application/json"


def test_rows_come_in_the_order_asked_for():
    found = reply(sound(distances=["60 m", "18 m", "30 m"]))["rows"]
    assert [row["distance"] for row in found] == [60, 18, 30]
    ordered = reply(sound(distances=["18 m", "30 m", "60 m"]))["rows"]
    for row, same in zip(found, (ordered[2], ordered[0], ordered[1]), strict=True):
        assert row["travel"] == same["travel"]
        assert row["travel_uncertainty"] == pytest.approx(same["travel_uncertainty"], rel=1e-3)
