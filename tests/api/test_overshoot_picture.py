"""POST /v1/overshoot as a picture: sound SVG, and every element where the figures put it."""

import copy
import json
import re
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from flask import Flask
from flask.testing import FlaskClient

from arrowloft.api import problems
from arrowloft.api.overshoot import overshoot
from arrowloft.api.resource import Edge, Limits, Pictures
from arrowloft.pictures import overshoot as pictures
from arrowloft.plugin.registry import Registry

Body = dict[str, Any]
Points = np.ndarray[Any, Any]
EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
_ASKED = json.loads((EXAMPLES / "overshoot.request.json").read_text())
_SVG = "{http://www.w3.org/2000/svg}"
_XLINK = "{http://www.w3.org/1999/xlink}href"


@pytest.fixture(scope="module")
def drawing() -> FlaskClient:
    """A client of this resource alone, which draws."""
    app = Flask("overshoot")
    edge = Edge.of(Registry.discover(), Limits(), Pictures(overshoot=pictures.picture))
    overshoot.resource(edge).install(app)
    problems.install(app)
    return app.test_client()


@pytest.fixture
def asked() -> Body:
    return copy.deepcopy(_ASKED)


def post(drawing: FlaskClient, body: Body, accept: str = "image/svg+xml") -> Any:
    reply = drawing.post("/v1/overshoot", json=body, headers={"Accept": accept})
    assert reply.status_code == 200, reply.get_data(as_text=True)
    return reply


class Drawn:
    """A picture read back: points of its elements, measured along and across the range.

    Scale and origin are the picture's own: the shooting line and the scale bar.
    """

    def __init__(self, picture: bytes, bar: float) -> None:
        self.root = ET.fromstring(picture)
        ends = self.sheet("scale-bar")
        self.scale = bar / (ends[:, 0].max() - ends[:, 0].min())
        self.line = self.sheet("shooting-line")[0, 0]

    def group(self, name: str) -> ET.Element:
        [found] = [one for one in self.root.iter(f"{_SVG}g") if one.get("id") == name]
        return found

    def sheet(self, name: str) -> Points:
        """Points of an element's own path, or of its marker where it has no other."""
        group = self.group(name)
        [*paths] = (one.get("d", "") for one in group.findall(f"{_SVG}path"))
        if paths:
            numbers = re.findall(r"[ML] (-?[\d.e-]+) (-?[\d.e-]+)", paths[0])
            return np.array(numbers, dtype=float)
        uses = [(one.get("x"), one.get("y")) for one in group.iter(f"{_SVG}use")]
        return np.array(uses, dtype=float)

    def above(self, name: str) -> Points:
        """(points, 2): distance and right, for what is seen from above."""
        points = self.sheet(name)
        middle = self.sheet("target-plan")[:, 1].mean()
        return self.scale * (points - (self.line, middle))

    def aside(self, name: str) -> Points:
        """(points, 2): distance and height over the archer's ground, seen from the side."""
        points = self.sheet(name)
        foot = self.sheet("archer")[:, 1].max()
        return self.scale * (points - (self.line, foot)) * (1, -1)


@pytest.fixture(scope="module")
def both(drawing: FlaskClient) -> tuple[Any, Drawn]:
    """The worked example in figures and as a picture; its scale bar is 100 m long."""
    figures = post(drawing, _ASKED, "application/json").get_json()
    return figures, Drawn(post(drawing, _ASKED).data, 100.0)


CARRIES = (("farthest-carry", "distance"), ("farthest-upper", "upper"))

HALF_POINT = 0.4
"""m on the ground: a fifth of a point of the sheet; a marker's middle is rounded to less."""


def test_it_is_sound_svg_that_needs_nothing_from_elsewhere(
    drawing: FlaskClient, asked: Body
) -> None:
    reply = post(drawing, asked)
    assert reply.content_type == "image/svg+xml"
    assert reply.headers["Vary"] == "Accept"
    root = ET.fromstring(reply.data)
    assert root.tag == f"{_SVG}svg"
    assert root.get("viewBox") and root.get("role") == "img"
    for one in root.iter():
        assert one.tag.removeprefix(_SVG) in {
            *("svg", "title", "desc", "defs", "style", "g", "path", "use"),
            *("clipPath", "rect", "pattern"),
        }
        assert (one.get(_XLINK) or "#").startswith("#")
    outside = set(re.findall(r"https?://[^\"]+", reply.text))
    assert outside == {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}


def test_its_own_styles_and_nothing_else_are_allowed(drawing: FlaskClient, asked: Body) -> None:
    policy = post(drawing, asked).headers["Content-Security-Policy"]
    assert policy == "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"


def test_a_screen_reader_is_told_what_it_shows(both: tuple[Any, Drawn]) -> None:
    figures, drawn = both
    title, words = list(drawn.root)[:2]
    assert (title.tag, words.tag) == (f"{_SVG}title", f"{_SVG}desc")
    assert drawn.root.get("aria-labelledby") == f"{title.get('id')} {words.get('id')}"
    text = words.text or ""
    far, upper = (figures["farthest"][name] for name in ("distance", "upper"))
    assert f"Farthest straight ahead {far:.0f} m; {upper:.0f} m within the doubt" in text
    assert "at most" not in text
    assert "Arrow of 23.7 g at 82.6 m/s. Target 50 m away" in text  # 366 gr, 271 ft/s
    assert "ross errors to 10° high, 5° aside: land at" in text
    assert "quoted, release aid: 137 m".capitalize() in text
    for word in ("approves no ground", "governing body", "local law", "stick", "low shots"):
        assert word in text


def drawn_text(text: str) -> str:
    """The lines of text on the sheet, which the library writes beside their outlines."""
    return " ".join(re.findall(r"<!-- (.*?) -->", text))


def test_each_view_is_named(drawing: FlaskClient, asked: Body) -> None:
    said = drawn_text(post(drawing, asked).text)
    assert all(name in said for name in ("from above", "from the side", "closer"))


def test_the_foremost_cautions_stand_under_it(drawing: FlaskClient, asked: Body) -> None:
    """Each note as it is in the reply, wrapped, and read out too."""
    asked["bow"]["draw_weight"] = "80 lbf"
    everywhere = {"light-arrow", "overshoot-beyond-quoted", "overshoot-one-bow", "overshoot-sticks"}
    wide = {"width": "9 m", "height": "9 m"}
    for changes, codes in (
        ({}, set()),
        ({"butt": wide, "gross": {"high": "1 deg"}}, {"overshoot-group-stopped"}),
        ({"butt": wide, "gross": {"high": "1 deg", "aside": "1 deg"}}, {"overshoot-gross-stopped"}),
        ({"butt": None}, {"overshoot-nothing-stops"}),
        ({"slope": "4 deg"}, {"overshoot-butt-gap"}),
    ):
        body = {name: value for name, value in (asked | changes).items() if value is not None}
        figures = post(drawing, body, "application/json").get_json()
        notes = {note["code"]: note["message"] for note in figures["notes"]}
        picture = post(drawing, body)
        seen, read = drawn_text(picture.text), ET.fromstring(picture.data)[1].text or ""
        assert "This picture approves no ground: the governing body" in seen
        for code in everywhere | codes:
            assert notes[code] in seen and notes[code] in read
        assert notes["aim-not-safety"] not in seen


def test_the_clear_ground_behind_the_butt_is_named_where_it_has_room(
    drawing: FlaskClient, asked: Body
) -> None:
    picture = post(drawing, asked)
    drawn = Drawn(picture.data, 100.0)
    assert "stopped by the butt" in drawn_text(picture.text)
    drawn.group("closer-stopped")
    with pytest.raises(ValueError, match="unpack"):
        drawn.group("stopped")  # 1.3 m is less than a line of text on the plan
    asked |= {"butt": {"width": "16 m", "height": "8 m"}, "gross": {"aside": "20 deg"}}
    Drawn(post(drawing, asked).data, 100.0).group("stopped")
    asked["butt"] = {"width": "1.3 m", "height": "1.3 m"}
    for nothing in ({"gross": {"high": "70 deg"}}, {"butt": None}):
        body = {name: value for name, value in (asked | nothing).items() if value is not None}
        assert "stopped by the butt" not in drawn_text(post(drawing, body).text)


def test_what_points_down_is_said_to_be_below(drawing: FlaskClient, asked: Body) -> None:
    down = {"distance": "52 m", "height": "-22 m"}
    asked |= {"slope": "-20 deg", "draw_angle": "-2 deg"}
    asked["terrain"]["heights"] = [{"distance": "40 m", "height": "-17 m"}, down]
    text = ET.fromstring(post(drawing, asked).data)[1].text or ""
    assert re.search(r"aimed with the arrow 1[\d.]+° below level", text)
    assert re.search(r"at the draw, \d[\d.]*° below the mark", text)
    assert "-" not in text.replace("release-aid", "")


def test_the_same_request_gives_the_same_bytes(drawing: FlaskClient, asked: Body) -> None:
    first = post(drawing, asked).data
    assert post(drawing, dict(reversed(list(asked.items())))).data == first
    asked["target"] = "51 m"
    assert post(drawing, asked).data != first


def test_landings_stand_where_they_are(both: tuple[Any, Drawn]) -> None:
    figures, drawn = both
    landings = [*figures["releases"], figures["farthest"]]
    for index, landed in enumerate(landings):
        above = drawn.above(f"landing-{index}")[0]
        assert above == pytest.approx((landed["distance"], landed["right"]), abs=HALF_POINT)
        end = drawn.aside(f"arc-{index}")[-1]
        height = landed.get("height", 3.0)  # the farthest lands on the level behind
        assert end == pytest.approx((landed["distance"], height), abs=HALF_POINT)


def test_arcs_rise_as_high_as_they_are(both: tuple[Any, Drawn]) -> None:
    """The figures are the balance point's: the tip, 0.3 m ahead of it, may be so much higher."""
    figures, drawn = both
    for index, row in enumerate([*figures["releases"], figures["farthest"]]):
        arc = drawn.aside(f"arc-{index}")
        assert arc[:, 1].max() == pytest.approx(row["apex_height"] + 1.62, abs=HALF_POINT)
        top = arc[arc[:, 1].argmax(), 0]
        assert top == pytest.approx(row["apex_distance"], abs=0.02 * row["distance"] + 0.5)


def test_areas_are_the_outlines_to_scale(both: tuple[Any, Drawn]) -> None:
    figures, drawn = both
    for area in figures["areas"]:
        outline = np.array([(corner["distance"], corner["right"]) for corner in area["outline"]])
        seen = drawn.above(f"{area['kind']}-area")  # its last step closes it
        assert seen == pytest.approx(outline[:-1], abs=0.01)


def test_lines_stand_at_their_distances(both: tuple[Any, Drawn]) -> None:
    figures, drawn = both
    quoted = drawn.above("quoted-0")[:, 0]
    assert quoted == pytest.approx(figures["guidance"][0]["distance"], abs=0.01)
    for name, key in CARRIES:
        way, aside = drawn.above(name).T
        assert way == pytest.approx(figures["farthest"][key], abs=0.01)
        assert aside.mean() == pytest.approx(figures["farthest"]["right"], abs=0.01)
    assert drawn.above("target-plan")[:, 0] == pytest.approx(50.0, abs=0.01)
    wide = drawn.above("target-plan")[:, 1]
    assert wide.max() - wide.min() == pytest.approx(1.3, abs=0.01)
    high = drawn.aside("target-side")
    assert high[:, 1].max() - high[:, 1].min() == pytest.approx(1.3, abs=0.01)


def test_in_still_air_over_level_ground_carries_are_circles(
    drawing: FlaskClient, asked: Body
) -> None:
    del asked["wind"], asked["terrain"]
    figures = post(drawing, asked, "application/json").get_json()
    drawn = Drawn(post(drawing, asked).data, 100.0)
    for name, key in CARRIES:
        places = drawn.above(name)
        assert np.hypot(*places.T) == pytest.approx(figures["farthest"][key], abs=0.01)
        assert np.ptp(places[:, 1]) > 50


def test_the_ground_is_the_terrain(both: tuple[Any, Drawn]) -> None:
    _, drawn = both
    ground = drawn.aside("ground")
    assert ground[1:5] == pytest.approx(
        np.array([(0, 0), (60, 0.4), (140, -1.5), (260, 3)]), abs=0.01
    )


def test_the_closer_view_has_a_scale_of_its_own(both: tuple[Any, Drawn]) -> None:
    figures, drawn = both
    bar = drawn.sheet("closer-scale-bar")[:, 0]
    scale = 10.0 / (bar.max() - bar.min())
    group = drawn.sheet("closer-group-area") * scale
    area = figures["areas"][0]
    assert np.ptp(group[:, 0]) == pytest.approx(area["farthest"] - area["nearest"], abs=0.01)
    assert np.ptp(group[:, 1]) == pytest.approx(area["rightmost"] - area["leftmost"], abs=0.01)


def test_gross_errors_are_named_in_the_closer_view_too(drawing: FlaskClient, asked: Body) -> None:
    """Over a butt wider than all of them, where their ground begins; not where it stops all."""
    gross, group = "<!-- gross errors -->", "<!-- group, where it misses"
    for butt in ("1.3 m", "10 m"):
        asked["butt"]["width"] = butt
        assert gross in post(drawing, asked).text
    asked["gross"] = {"high": "0.1 deg"}
    text = post(drawing, asked).text
    assert group in text and gross not in text


def test_no_two_lines_or_areas_look_alike_without_colour(both: tuple[Any, Drawn]) -> None:
    _, drawn = both

    def dashes(name: str) -> str | None:
        path = drawn.group(name).find(f"{_SVG}path")
        assert path is not None
        found = re.search(r"stroke-dasharray: ([^;]+)", path.get("style", ""))
        return found and found[1]

    names = [f"arc-{index}" for index in range(6)] + ["quoted-0", "farthest-upper"]
    assert len({dashes(name) for name in names}) == len(names)
    assert len({hatching(drawn, f"{kind}-area") for kind in ("group", "gross")}) == 2


def hatching(drawn: Drawn, name: str) -> str:
    """The lines that an area is hatched with, whatever their colour."""
    path = drawn.group(name).find(f"{_SVG}path")
    assert path is not None
    found = re.search(r"fill: url\(#(\w+)\)", path.get("style", ""))
    assert found
    [pattern] = (one for one in drawn.root.iter(f"{_SVG}pattern") if one.get("id") == found[1])
    return "".join(one.get("d", "") for one in pattern.iter(f"{_SVG}path"))


@pytest.mark.parametrize(
    "changes",
    [
        {"target": "20 yd", "units": {"distance": "yd"}, "draw_angle": "60 deg"},
        {"butt": {"width": "9 m", "height": "9 m"}, "terrain": {"eye_height": "5 m"}},
        {"gross": {"high": "40 deg", "aside": "45 deg"}, "units": {"angle": "mrad"}},
        {"wind": {"speed": "15 m/s", "from": "0 deg"}, "releases": ["80 deg"]},
        {"units": {"distance": "mm"}, "target": "5 m", "draw_angle": "-40 deg"},
        {"slope": "30 deg", "releases": ["1 deg"] * 12},
    ],
)
def test_everything_stays_on_the_sheet(drawing: FlaskClient, asked: Body, changes: Body) -> None:
    root = ET.fromstring(post(drawing, asked | changes).data)
    width, height = (float(part) for part in root.get("viewBox", "").split()[2:])
    assert 600 < width < 1100 and 300 < height < 1500
    drawn = Drawn(ET.tostring(root), 1.0)
    names = [str(g.get("id")) for g in root.iter(f"{_SVG}g")]
    for name in (n for n in names if n.startswith(("arc-", "landing-", "target-", "group-"))):
        points = drawn.sheet(name)
        assert (points >= 0).all() and (points <= (width, height)).all()
    for one in root.iter(f"{_SVG}g"):
        place = re.match(r"translate\((\S+) (\S+)\)", one.get("transform", ""))
        if place:  # where a line of text begins
            assert 0 <= float(place[1]) < width and 0 < float(place[2]) < height
