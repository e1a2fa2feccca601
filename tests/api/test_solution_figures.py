"""How well flights were solved and how fast they were: the `solution` of every computation."""

import math
from typing import Any

import pytest
from flask.testing import FlaskClient

Body = dict[str, Any]
FAR = "60 m"
SPEED = 80.0
SET_UP: Body = {
    "bow": {"peep_height": "112 mm", "draw_length": "710 mm", "brace_height": "165 mm"},
    "arrow": {
        "mass": "25 g",
        "shaft_diameter": "5.7 mm",
        "length": "710 mm",
        "balance_point": "400 mm",
    },
    "launch": {"model": "measured", "parameters": {"speed": f"{SPEED} m/s"}},
    "drag": {"model": "constant", "parameters": {"coefficient": 2}},
    "units": {"distance": "m", "length": "m", "angle": "rad", "speed": "m/s"},
}
SIGHT: Body = {"sight": {"radius": "820 mm", "zero_distance": "20 m"}}
ROWS: Body = {"distances": ["20 m", "45 m", FAR]}
STILL: dict[str, Body] = {
    "mark-table": SIGHT | ROWS,
    "trajectory": {"target": FAR},
    "cant-tolerance": {"allowance": {"diameter": "20 cm"}} | ROWS,
    "clearance": {
        "target": FAR,
        "obstacles": [{"name": "branch", "distance": "50 m", "bottom": "2 m"}],
    },
    "sight-travel": {
        "window": {"nearest": "20 m", "farthest": FAR},
        "search": {"nearest": "10 m", "farthest": FAR},
    }
    | SIGHT
    | ROWS,
    "slopes": {"slopes": ["0 deg"]} | ROWS,
    "wind": {"speeds": ["0 m/s"]} | ROWS,
    "setup-change": {"second": {"slope": "0 deg"}} | SIGHT | ROWS,
    "calibration": {"observations": [], "next": {"distances": [FAR]}} | SIGHT | ROWS,
    "sight-shift": {"landed": {"up": "0 cm"}, "distance": FAR} | SIGHT,
}
ERRORS = {
    "mark-table": {"error_estimate"},
    "trajectory": {"error_estimate"},
    "cant-tolerance": {"position_error"},
    "clearance": {"position_error"},
    "sight-travel": {"error_estimate"},
    "slopes": {"error_estimate", "position_error"},
    "wind": {"error_estimate", "position_error"},
    "setup-change": {"error_estimate", "position_error"},
    "calibration": {"error_estimate"},
    "sight-shift": {"error_estimate", "position_error"},
}
LIMITS = {"error_estimate": 1e-6, "position_error": 1e-4}
"""What a small error is, rad and m: a micrometre a metre, and less than the eye sees."""


def answer(client: FlaskClient, path: str, *parts: Body) -> Body:
    body = {name: value for part in (SET_UP, *parts) for name, value in part.items()}
    reply = client.post(f"/v1/{path}", json=body)
    assert reply.status_code == 200, reply.text
    found: Body = reply.get_json()
    return found


def spread(reply: Body) -> tuple[float, float]:
    """Least and greatest airspeed."""
    return reply["solution"]["least_airspeed"], reply["solution"]["greatest_airspeed"]


def hull(*spreads: tuple[float, float]) -> tuple[float, float]:
    return min(low for low, _ in spreads), max(high for _, high in spreads)


@pytest.fixture(scope="module")
def arrival(client: FlaskClient) -> float:
    """Speed of the tip's arrival at the farthest distance, still air, m/s."""
    return float(answer(client, "mark-table", STILL["mark-table"])["rows"][-1]["speed"])


@pytest.mark.parametrize("path", STILL)
def test_airspeeds_run_from_the_launch_to_the_farthest_arrival(
    client: FlaskClient, arrival: float, path: str
) -> None:
    """Still and level: drag slows the arrow all along its way, which ends at one distance."""
    least, greatest = spread(answer(client, path, STILL[path]))
    assert greatest == pytest.approx(SPEED, abs=1e-5)
    # The nock passes a plane most of a metre after the tip, and drag takes 0.1 m/s for it.
    assert arrival - 0.1 < least <= arrival + 1e-5


@pytest.mark.parametrize("path", STILL)
def test_errors_are_told_and_small(client: FlaskClient, path: str) -> None:
    windy: Body = {"wind": {"speed": "3 m/s", "from": "60 deg"}}
    if path == "wind":
        windy = {"speeds": ["3 m/s"]}
    solution = answer(client, path, STILL[path], {} if path == "sight-travel" else windy)[
        "solution"
    ]
    assert solution.keys() - {"least_airspeed", "greatest_airspeed"} == ERRORS[path]
    for name in ERRORS[path]:
        assert 0.0 < solution[name] < LIMITS[name]


def test_a_loosed_path_has_an_error_of_position(client: FlaskClient) -> None:
    solution = answer(client, "trajectory", {"launch_angle": "0.02 rad", "end": FAR})["solution"]
    assert 0.0 < solution["position_error"] < LIMITS["position_error"]
    assert "error_estimate" not in solution


@pytest.mark.parametrize("path", ["slopes", "wind", "setup-change"])
def test_the_same_aims_have_the_same_error(client: FlaskClient, path: str) -> None:
    """Still and level they all aim as the mark table does, at its distances."""
    one, other = (
        answer(client, name, STILL[name], SIGHT)["solution"] for name in (path, "mark-table")
    )
    assert one["error_estimate"] == pytest.approx(other["error_estimate"], rel=0.05)


@pytest.mark.parametrize("shift", ["6 mm", "-6 mm"])
def test_sight_travel_counts_the_marks_its_window_shows(client: FlaskClient, shift: str) -> None:
    """The rows end at 25 m and the search at 120 m: what fits, before or now, ends between."""
    asked: Body = {
        "distances": ["20 m", "25 m"],
        "window": {"up": "15 mm", "down": "15 mm"},
        "shifts": [{"length": shift}],
        "search": {"nearest": "10 m", "farthest": "120 m"},
    }
    reply = answer(client, "sight-travel", SIGHT, asked)
    before, now = (reply[name][-1]["to"] for name in ("fits_before", "fits_now"))
    assert (before < now) is (shift == "6 mm")
    end = max(before, now)
    assert 40.0 < end < 100.0
    around: Body = {"distances": [f"{0.9 * end} m", f"{1.02 * end} m"]}
    near, beyond = (row["speed"] for row in answer(client, "mark-table", SIGHT, around)["rows"])
    assert beyond < spread(reply)[0] < near


@pytest.mark.parametrize("path", ["mark-table", "trajectory", "clearance", "wind", "slopes"])
def test_airspeeds_have_the_wind_in_them(client: FlaskClient, arrival: float, path: str) -> None:
    """Into the wind, launched at a small angle: v0 + w; before it, v - w at arrival."""
    for comes_from, sign in (("0 deg", 1.0), ("180 deg", -1.0)):
        windy: Body = {"wind": {"speed": "5 m/s", "from": comes_from}}
        if path == "wind":
            windy = {"speeds": ["5 m/s"], "directions": [comes_from]}
        least, greatest = spread(answer(client, path, STILL[path], windy))
        if path == "wind" and sign < 0.0:
            # Beside each wind the still air is flown, for its marks.
            assert greatest == pytest.approx(SPEED, abs=1e-5)
        else:
            assert greatest == pytest.approx(SPEED + sign * 5.0, abs=0.02)
        if sign < 0.0:
            assert arrival - 5.1 < least < arrival - 4.0
        elif path == "wind":
            assert least <= arrival + 1e-5


@pytest.mark.parametrize("path", ["slopes", "cant-tolerance", "mark-table"])
def test_a_fall_down_a_hill_is_in_the_range(client: FlaskClient, path: str) -> None:
    """In a vacuum, down 60 degrees, by energy: v^2 = v0^2 + 2 g h after a fall of h."""
    hill: Body = {"slopes": ["-60 deg"]} if path == "slopes" else {"slope": "-60 deg"}
    reply = answer(client, path, STILL[path], hill, {"drag": {"model": "none"}})
    least, greatest = spread(reply)
    # It starts up to a metre ahead of the eye, and ends with tip or nock at the target.
    shortest, longest = (
        math.sqrt(SPEED**2 + 2.0 * reply["gravity"] * way * math.sin(math.radians(60)))
        for way in (58.0, 61.0)
    )
    assert shortest < greatest < longest
    assert least == pytest.approx(SPEED, abs=1e-5)


# --- change of set-up ------------------------------------------------------------------------


@pytest.mark.parametrize("speed", [60.0, 95.0])
def test_a_change_has_the_airspeeds_of_both(client: FlaskClient, speed: float) -> None:
    second: Body = {"launch": {"model": "measured", "parameters": {"speed": f"{speed} m/s"}}}
    reply = answer(client, "setup-change", STILL["setup-change"], {"second": second})
    alone = [
        spread(answer(client, "mark-table", STILL["mark-table"], part)) for part in ({}, second)
    ]
    low, high = hull(*alone)
    assert high == pytest.approx(max(SPEED, speed))
    least, greatest = spread(reply)
    assert greatest == pytest.approx(high, abs=1e-5)
    # With the first's mark the second flies on a path of its own, hardly longer.
    assert low - 0.1 < least <= low + 1e-5
    rows = reply["rows"]
    assert least <= min(min(row["speed"], row["new_speed"]) for row in rows) + 1e-5


@pytest.mark.parametrize("coarser", ["first", "second"])
def test_a_change_tells_the_worse_error_of_both(client: FlaskClient, coarser: str) -> None:
    """A bow so slow that it lobs is solved less well than one that shoots flat."""
    slow: Body = {"launch": {"model": "measured", "parameters": {"speed": "26 m/s"}}}
    flat: Body = {"launch": SET_UP["launch"]}
    table, worst = STILL["mark-table"], {}
    for name, part in (("slow", slow), ("flat", flat)):
        worst[name] = answer(client, "mark-table", table, part)["solution"]["error_estimate"]
    assert worst["slow"] > 2.0 * worst["flat"]
    first, second = (slow, flat) if coarser == "first" else (flat, slow)
    reply = answer(client, "setup-change", STILL["setup-change"], first, {"second": second})
    assert reply["solution"]["error_estimate"] == pytest.approx(worst["slow"], rel=0.02)


# --- cant tolerance --------------------------------------------------------------------------

LEVEL: Body = {"level": {"second_axis": "1 deg", "slopes": ["-60 deg"]}}


@pytest.mark.parametrize("distance", ["15 m", "150 m"])
def test_cant_figures_are_those_of_all_its_parts(client: FlaskClient, distance: str) -> None:
    """Table, level and live reading, each asked for alone, and all of them at once."""
    allowance: Body = {"allowance": {"diameter": "20 cm"}}
    live: Body = {"live": {"roll": "2 deg", "distance": distance}}
    parts: list[Body] = [ROWS, ROWS | LEVEL, live]
    alone = [answer(client, "cant-tolerance", allowance, part) for part in parts]
    whole = answer(client, "cant-tolerance", allowance, ROWS, LEVEL, live)
    assert spread(whole) == hull(*(spread(one) for one in alone))
    errors = [one["solution"]["position_error"] for one in alone]
    assert whole["solution"]["position_error"] == max(errors)
    # Each part matters: it has an end of the range to itself.
    table, level, reading = (spread(one) for one in alone)
    assert level[1] > max(table[1], reading[1])
    assert (reading[0] < table[0]) is (distance == "150 m")
    assert (errors[2] > errors[0]) is (distance == "150 m")
