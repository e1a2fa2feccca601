"""POST /v1/overshoot at the edge: figures that must agree with each other, and refusals."""

import copy
import itertools
import math
from typing import Any

import jsonschema
import pytest
from flask.testing import FlaskClient
from overshoot_requests import ASKED, Body, areas, client, codes, guidance, plain, reply

from arrowloft.api import openapi
from arrowloft.api.overshoot import overshoot
from arrowloft.api.resource import Edge, Limits
from arrowloft.plugin.registry import Registry

YARD = 0.9144


@pytest.fixture(scope="module")
def far() -> FlaskClient:
    return client()


@pytest.fixture
def asked() -> Body:
    return plain()


def refused(far: FlaskClient, asked: Body, **changes: Any) -> list[tuple[str, str]]:
    found = far.post("/v1/overshoot", json=asked | changes)
    assert found.status_code == 422, found.get_data(as_text=True)
    return [(fault["pointer"], fault["detail"]) for fault in found.get_json()["errors"]]


def test_in_a_vacuum_it_is_the_parabola_s(far: FlaskClient, asked: Body) -> None:
    """From height h: R = v/g sqrt(v2 + 2 g h), at tan a = v / sqrt(v2 + 2 g h) (mechanics)."""
    asked["bow"] |= {"peep_height": "0 mm", "launch_forward": "0 mm"}
    asked["arrow"]["tip_lead"] = "0 mm"
    asked["drag"] = {"model": "none"}
    asked["launch"]["parameters"] = {"speed": "60 m/s", "instrument_uncertainty": "0.5 m/s"}
    found = reply(far, asked, draw_angle="15 deg", terrain={"eye_height": "2 m"})
    v, g, h = 60.0, 9.80665, 2.0
    lift = math.sqrt(v * v + 2 * g * h)
    assert found["farthest"]["distance"] == pytest.approx(v * lift / g, abs=1e-3)
    assert found["farthest"]["elevation"] == pytest.approx(math.degrees(math.atan(v / lift)), 1e-3)
    v = 60.0 + 2 * found["launch"]["standard_uncertainty"]
    assert found["farthest"]["upper"] == pytest.approx(v * math.sqrt(v * v + 2 * g * h) / g, 1e-5)
    draw = found["releases"][-1]
    up, along = 60 * math.sin(math.radians(15)), 60 * math.cos(math.radians(15))
    time = (up + math.sqrt(up * up + 2 * g * h)) / g
    assert draw["kind"] == "draw"
    assert draw["time"] == pytest.approx(time, abs=1e-5)
    assert draw["distance"] == pytest.approx(along * time, abs=1e-3)
    assert draw["apex_height"] == pytest.approx(up * up / 2 / g, abs=1e-3)
    assert draw["speed"] == pytest.approx(math.sqrt(3600 + 2 * g * h), abs=1e-3)


def test_the_rows_stand_mark_releases_draw(far: FlaskClient, asked: Body) -> None:
    found = reply(far, asked, releases=["3 deg", "12 deg"], draw_angle="6 deg")
    rows, mark = found["releases"], found["target"]["elevation"]
    assert [row["kind"] for row in rows] == ["mark", "release", "release", "draw"]
    assert [row["high"] for row in rows] == pytest.approx([0, 3, 12, 6 - mark], abs=1e-6)
    for row in rows:
        assert row["elevation"] == pytest.approx(mark + row["high"], abs=1e-6)
        assert row["distance"] < found["farthest"]["distance"] < found["farthest"]["upper"]
        assert row["height"] == row["right"] == 0
    high = found["farthest"]["elevation"] - mark
    assert found["farthest"]["high"] == pytest.approx(high, abs=1e-6)
    assert rows[0]["distance"] > 50
    assert rows[0]["distance"] < rows[1]["distance"] < rows[2]["distance"]


def test_what_is_left_out_is_as_said(far: FlaskClient, asked: Body) -> None:
    del asked["releases"], asked["draw_angle"], asked["share"], asked["gross"]
    given = {
        "releases": ["5 deg", "10 deg", "20 deg"],
        "share": 0.999,
        "gross": {"high": "10 deg", "aside": "5 deg"},
        "terrain": {"eye_height": "1.6 m"},
    }
    short, long = reply(far, asked), reply(far, asked, **given)
    for name in ("farthest", "target", "releases", "areas", "guidance"):
        assert short[name] == long[name]


def test_an_arrow_loosed_at_the_least_angle_just_exceeds_the_quoted_distance(
    far: FlaskClient, asked: Body
) -> None:
    edge = [corner("110 m", "0 m"), corner("130 m", "-6 m"), corner("180 m", "1 m")]
    for terrain in ({"eye_height": "1.6 m"}, {"eye_height": "1.7 m", "heights": edge}):
        rows = reply(far, asked, terrain=terrain)["guidance"]
        angles = [row["least_high"] + step for row in rows for step in (-0.01, 1e-6)]
        releases = [f"{angle:.7f} deg" for angle in angles]
        landed = [
            row["distance"]
            for row in reply(far, asked, terrain=terrain, releases=releases)["releases"][1:5]
        ]
        for row, short, beyond in zip(rows, landed[::2], landed[1::2], strict=True):
            assert short < row["distance"] < beyond
            if terrain["eye_height"] == "1.6 m":  # behind the edge an arrow lands with a jump
                assert beyond == pytest.approx(row["distance"], abs=0.05)


def test_a_mark_that_lands_beyond_a_quoted_distance_needs_no_error(
    far: FlaskClient, asked: Body
) -> None:
    cliff = {"eye_height": "1.7 m", "heights": [corner("52 m", "0 m"), corner("53 m", "-40 m")]}
    found = reply(far, asked, terrain=cliff)
    assert found["releases"][0]["distance"] > 150 * YARD
    assert [row["least_high"] for row in found["guidance"]] == [0, 0]


@pytest.mark.parametrize(
    ("target", "style", "quoted"),
    [
        ("30 yd", "fingers", {"fingers-to-60-yd": 110 * YARD}),
        ("60 yd", "fingers", {"fingers-to-60-yd": 110 * YARD}),
        ("180 ft", "fingers", {"fingers-to-60-yd": 110 * YARD}),
        ("61 yd", "fingers", {"fingers-beyond-60-yd": 111 * YARD}),
        ("70 m", "release-aid", {"release-aid": 150 * YARD}),
        ("70 m", None, {"fingers-beyond-60-yd": 70 + 50 * YARD, "release-aid": 150 * YARD}),
    ],
)
def test_quoted_distances_fit_target_and_style(
    far: FlaskClient, asked: Body, target: str, style: str | None, quoted: dict[str, float]
) -> None:
    """110, 50 and 150 yd: a national body's rules of 2014 (quoted)."""
    body = asked | ({"style": style} if style else {})
    found = reply(far, body, target=target)
    rows = guidance(found)
    assert list(rows) == list(quoted)
    for code, way in quoted.items():
        assert rows[code]["distance"] == pytest.approx(way, abs=1e-5)
        beyond = found["farthest"]["distance"] - way
        assert rows[code]["farthest_beyond"] == pytest.approx(beyond, abs=2e-5)
        for kind in ("group", "gross"):
            area = areas(found).get(kind)
            inside = None if area is None else area["farthest"] <= way
            assert rows[code][f"{kind}_inside"] is inside


def test_a_slow_bow_never_exceeds_a_quoted_distance(far: FlaskClient, asked: Body) -> None:
    asked["launch"]["parameters"]["speed"] = "30 m/s"
    rows = guidance(reply(far, asked, target="20 m", releases=["1 deg"], draw_angle="3 deg"))
    assert rows["release-aid"]["farthest_beyond"] < 0
    assert rows["release-aid"]["least_high"] is None
    assert rows["release-aid"]["gross_inside"] is True


def test_areas_close_and_have_the_size_of_their_outline(far: FlaskClient, asked: Body) -> None:
    found = areas(reply(far, asked))
    assert list(found) == ["group", "gross"]
    for area in found.values():
        outline = [(corner["distance"], corner["right"]) for corner in area["outline"]]
        assert outline[0] == outline[-1]
        ways, rights = zip(*outline, strict=True)
        twice = sum(a[0] * b[1] - b[0] * a[1] for a, b in itertools.pairwise(outline))
        assert area["size"] == pytest.approx(abs(twice) / 2, abs=0.1)
        assert (area["nearest"], area["farthest"]) == (min(ways), max(ways))
        assert (area["leftmost"], area["rightmost"]) == (min(rights), max(rights))
        assert area["behind_target"] == pytest.approx(area["farthest"] - 50, abs=2e-6)
        assert area["leftmost"] == pytest.approx(-area["rightmost"], abs=1e-3)
    gross = found["gross"]
    assert gross["farthest"] == pytest.approx(reply(far, asked)["releases"][2]["distance"], abs=0.1)
    aside = gross["farthest"] * math.sin(math.radians(5))
    assert gross["rightmost"] == pytest.approx(aside, rel=0.01)


def test_gross_errors_are_low_ones_too(far: FlaskClient, asked: Body) -> None:
    """From the target's line on, beside the butt, which keeps half its width clear there."""
    gross = areas(reply(far, asked))["gross"]
    assert gross["nearest"] == 50
    on_the_line = [abs(row["right"]) for row in gross["outline"] if row["distance"] == 50]
    ends = [0.65, 0.65, 50 * math.tan(math.radians(5)), 50 * math.tan(math.radians(5))]
    assert sorted(on_the_line) == pytest.approx(ends, abs=1e-3)
    assert all(abs(row["right"]) > 0.64 for row in gross["outline"] if row["distance"] < 80)


def test_a_butt_wider_than_all_gross_errors_stops_them(far: FlaskClient, asked: Body) -> None:
    small = {"high": "1 deg", "aside": "1 deg"}
    found = reply(far, asked, butt={"width": "2 m", "height": "2 m"}, gross=small)
    assert "gross" not in areas(found)
    assert "overshoot-gross-stopped" in codes(found)
    assert guidance(found)["release-aid"]["gross_inside"] is None


def test_a_larger_share_covers_more_ground(far: FlaskClient, asked: Body) -> None:
    few, many = (areas(reply(far, asked, share=share))["group"] for share in (0.999, 0.99999))
    assert many["size"] > few["size"]
    assert many["farthest"] > few["farthest"]


def test_the_group_is_as_wide_as_its_scatter(far: FlaskClient, asked: Body) -> None:
    """The ellipse of a share p of arrows to come, of n = 3 degrees of freedom:

    k^2 = n ((1 - p)^(-2 / n) - 1), from the F distribution with 2 and n of them.
    """
    del asked["butt"]
    asked["group"]["arrows"] = 4
    found = reply(far, asked, share=0.9)
    group, landed = areas(found)["group"], found["releases"][0]["distance"]
    wide = math.sqrt(3 * (0.1 ** (-2 / 3) - 1)) * 0.16 / 50 * landed
    assert group["rightmost"] == pytest.approx(wide, rel=0.02)
    assert group["nearest"] < landed < group["farthest"]


def test_a_butt_that_is_larger_stops_more(far: FlaskClient, asked: Body) -> None:
    del asked["butt"]
    bare = areas(reply(far, asked))["group"]
    small = areas(reply(far, asked, butt={"width": "60 cm", "height": "60 cm"}))["group"]
    assert small["size"] < bare["size"]
    assert small["farthest"] == pytest.approx(bare["farthest"], abs=1e-3)
    large = reply(far, asked, butt={"width": "5 m", "height": "5 m"})
    assert "group" not in areas(large)
    assert "overshoot-group-stopped" in codes(large)
    assert guidance(large)["release-aid"]["group_inside"] is None


def test_a_tail_wind_carries_farther_and_a_cross_wind_aside(far: FlaskClient, asked: Body) -> None:
    still = reply(far, asked)["farthest"]
    tail = reply(far, asked, wind={"speed": "6 m/s", "from": "180 deg"})["farthest"]
    across = reply(far, asked, wind={"speed": "6 m/s", "from": "90 deg"})
    assert tail["distance"] > still["distance"] + 10
    assert still["right"] == 0
    assert across["farthest"]["right"] < -5
    assert across["releases"][3]["right"] < across["releases"][1]["right"] < 0


def test_rising_ground_shortens_and_falling_ground_lengthens(far: FlaskClient, asked: Body) -> None:
    def carry(height: str) -> float:
        heights = [{"distance": "150 m", "height": "0 m"}, {"distance": "260 m", "height": height}]
        found = reply(far, asked, terrain={"eye_height": "1.6 m", "heights": heights})
        return float(found["farthest"]["distance"])

    assert carry("30 m") < carry("0 m") - 5 < carry("-30 m") - 10


def test_the_ground_is_measured_from_the_archer_s_feet(far: FlaskClient, asked: Body) -> None:
    heights = [{"distance": "60 m", "height": "0 m"}, {"distance": "90 m", "height": "2.5 m"}]
    found = reply(far, asked, terrain={"eye_height": "1.5 m", "heights": heights})
    assert found["target"]["height"] == pytest.approx(1.5, abs=1e-6)
    assert found["releases"][2]["height"] == pytest.approx(2.5, abs=1e-6)


def test_a_slope_turns_the_mark_and_the_draw(far: FlaskClient, asked: Body) -> None:
    found = reply(far, asked, slope="6 deg", draw_angle="10 deg")
    assert found["target"]["distance"] == pytest.approx(50 * math.cos(math.radians(6)), abs=1e-6)
    mark = found["target"]
    assert mark["elevation"] == pytest.approx(6 + mark["launch_angle"], abs=1e-6)
    assert found["releases"][-1]["elevation"] == pytest.approx(16, abs=1e-6)


def test_a_release_high_into_a_cross_wind_lies_in_its_area(far: FlaskClient, asked: Body) -> None:
    wind, gross = {"speed": "10 m/s", "from": "90 deg"}, {"high": "60 deg", "aside": "1 deg"}
    found = reply(far, asked, wind=wind, gross=gross, releases=["60 deg"])
    gross_area, release = areas(found)["gross"], found["releases"][1]
    assert gross_area["leftmost"] < release["right"] < gross_area["rightmost"]
    corners = [(row["distance"], row["right"]) for row in gross_area["outline"]]
    x, y = release["distance"], release["right"]
    turns = {
        (u - s) * (y - t) > (w - t) * (x - s) for (s, t), (u, w) in itertools.pairwise(corners)
    }
    assert len(turns) == 1  # convex, and on one side of every edge


def test_units_of_the_reply(far: FlaskClient, asked: Body) -> None:
    plain = reply(far, asked)
    other = reply(far, asked, units={"distance": "yd", "ground_area": "yd2", "angle": "mrad"})
    assert other["farthest"]["distance"] * YARD == pytest.approx(
        plain["farthest"]["distance"], abs=1e-5
    )
    size = areas(plain)["gross"]["size"]
    assert areas(other)["gross"]["size"] * YARD**2 == pytest.approx(size, abs=0.2)


def test_the_reply_is_as_documented(far: FlaskClient, asked: Body) -> None:
    edge = Edge.of(Registry.discover(), Limits())
    document = openapi.document([overshoot.resource(edge)], edge.limits, {})
    schema = {
        **document["components"]["schemas"]["OvershootReply"],
        "components": document["components"],
    }
    bare = {k: v for k, v in asked.items() if k not in ("group", "share", "butt")}
    for body in (asked, copy.deepcopy(ASKED), bare):
        jsonschema.validate(reply(far, body), schema, jsonschema.Draft202012Validator)
    forms = document["paths"]["/v1/overshoot"]["post"]["responses"]["200"]["content"]
    assert list(forms) == ["application/json", "image/svg+xml", "application/pdf"]


def corner(distance: str, height: str) -> dict[str, str]:
    return {"distance": distance, "height": height}


@pytest.mark.parametrize(
    ("changes", "pointer", "word"),
    [
        ({"target": "900 m"}, "/target", "beyond reach"),
        ({"target": "1.1 m"}, "/target", "Too near"),
        ({"butt": {"width": "1 m"}}, "/butt/height", "needed"),
        ({"butt": {"width": "0 m", "height": "1 m"}}, "/butt/width", "outside"),
        ({"terrain": {}}, "/terrain/eye_height", "needed"),
        (
            {"terrain": {"eye_height": "1.6 m", "heights": [corner("50 m", "0 m")] * 2}},
            "/terrain/heights/1/distance",
            "in order",
        ),
        (
            {"terrain": {"eye_height": "1.6 m", "heights": [corner("40 m", "3 m")]}},
            "/terrain",
            "below the ground",
        ),
        (
            {
                "terrain": {
                    "eye_height": "1.6 m",
                    "heights": [corner("20 m", "3 m"), corner("40 m", "0 m")],
                }
            },
            "/terrain",
            "already",
        ),
        ({"slope": "-10 deg"}, "/slope", "give `terrain`"),
        ({"releases": []}, "/releases", "1 to 12"),
        ({"releases": ["-1 deg"]}, "/releases/0", "outside"),
        ({"releases": ["0 deg"]}, "/releases/0", "outside"),
        ({"slope": "20 deg", "releases": ["5 deg", "80 deg"]}, "/releases/1", "upright"),
        ({"slope": "20 deg", "draw_angle": "80 deg"}, "/draw_angle", "upright"),
        ({"share": 1}, "/share", "outside"),
        ({"gross": {"high": "0 deg"}}, "/gross/high", "outside"),
        ({"gross": {"sideways": "3 deg"}}, "/gross/sideways", "not a member"),
        ({"style": "thumb"}, "/style", "not one of the choices"),
    ],
)
def test_refusals(far: FlaskClient, asked: Body, changes: Body, pointer: str, word: str) -> None:
    [(where, detail)] = refused(far, asked, **changes)
    assert where == pointer
    assert word in detail


def test_a_sight_plays_no_part(far: FlaskClient, asked: Body) -> None:
    assert reply(far, asked, sight={"radius": "30 in"}) == reply(far, asked)


def test_a_share_needs_a_group(far: FlaskClient, asked: Body) -> None:
    del asked["group"]
    [(where, detail)] = refused(far, asked)
    assert where == "/share" and "`group`" in detail


def test_without_what_draws_there_is_no_picture(far: FlaskClient, asked: Body) -> None:
    found = far.post("/v1/overshoot", json=asked, headers={"Accept": "image/svg+xml"})
    assert found.status_code == 406
    assert "application/json" in found.get_json()["detail"]
