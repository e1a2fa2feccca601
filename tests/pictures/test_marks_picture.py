"""The picture of sight marks: marks and bands where the figures put them, nothing lost."""

from dataclasses import replace

import numpy as np
import pytest
from calibration_setups import plain_shot, sight, vacuum
from pictured import Pictured, Scale

from arrowloft import units
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.marks_scene import MarksScene, marks_scene
from arrowloft.core.sight.sight import Scale as Reading
from arrowloft.core.sight.sight import Sight, Thread
from arrowloft.pictures import marks

SI = {"distance": "m", "length": "m", "speed": "m/s", "mass": "kg", "angle": "rad"}
DISTANCE = np.array([18.0, 30.0, 50.0, 70.0])
CLICKED = sight(
    zero_distance=18.0,
    elevation=Thread(travel_per_turn=1.2e-3, clicks_per_turn=12),
    scale=Reading(reading_at_zero=20.0, travel_per_unit=5e-3),
)
DOUBTS = {"speed_uncertainty": 0.5, "drag_uncertainty": 0.2}


def scene(
    distances: np.ndarray = DISTANCE,
    by: Sight = CLICKED,
    shot: Shot | None = None,
    doubts: dict[str, float] = DOUBTS,
) -> MarksScene:
    shot = shot or plain_shot()
    return marks_scene(shot, by, mark_table(shot, by, distances, **doubts), **doubts)


def drawn(shown: MarksScene, **chosen: str) -> Pictured:
    picture = Pictured(marks.picture(shown, {**SI, **chosen}, "svg"))
    picture.check_sound()
    return picture


def scale(picture: Pictured, shown: MarksScene) -> Scale:
    """By the zero and the farthest mark."""
    sheet = np.array([picture.marks("zero-mark")[0], picture.sheet("travel")[-1]])
    far = shown.curve.distance[-1], shown.curve.travel[-1]
    return Scale(sheet, np.array([(shown.sight.zero_distance, 0.0), far]))


def test_without_drag_the_curve_is_the_closed_form() -> None:
    shot = plain_shot(drag=vacuum, peep_height=0.0, launch_forward=0.0, tip_lead=0.0)
    shown = scene(shot=shot)
    points = scale(drawn(shown), shown)(drawn(shown).sheet("travel"))
    # sin(2 a) = g d / v^2 for a target at the eye's height
    angle = 0.5 * np.arcsin(9.80665 * np.append(points[:, 0], 18.0) / 84.0**2)
    travel = 0.86 * (np.tan(angle[:-1]) - np.tan(angle[-1]))
    assert points[:, 1] == pytest.approx(travel, abs=2e-7)
    assert len(points) > 50


def test_marks_band_pins_and_zero_stand_where_they_are() -> None:
    shown = scene(by=replace(CLICKED, pins=(25.0, 40.0)))
    picture = drawn(shown)
    read = scale(picture, shown)
    told = np.column_stack((shown.table.distance, shown.table.travel))
    assert read(picture.marks("travel-rows")) == pytest.approx(told, abs=1e-6)
    band = read(picture.sheet("travel-band"))
    last = band[np.isclose(band[:, 0], 70.0, atol=1e-3), 1]
    doubt = shown.table.travel_uncertainty[-1]
    assert doubt > 1e-4
    assert np.ptp(last) == pytest.approx(2 * doubt, rel=1e-3)
    pins = read(picture.marks("pins"))
    table = mark_table(shown.shot, CLICKED, np.array([25.0, 40.0]))
    assert pins == pytest.approx(np.column_stack((table.distance, table.travel)), abs=1e-5)
    assert "Open diamonds: fixed pins" in picture.words and "pins" not in drawn(scene()).names()


def test_each_mark_is_named_with_its_doubt_clicks_and_reading() -> None:
    shown = scene()
    picture = drawn(shown, length="mm")
    table = shown.table
    assert table.clicks is not None and table.reading is not None
    for row in range(1, 4):
        travel = units.from_si(float(table.travel[row]), "length", "mm")
        assert f"{table.distance[row]:.0f} m: +{travel:.3g} mm" in picture.words
        setting = f"+{table.clicks[row]:.0f} clicks, reading {table.reading[row]:.4g}"
        assert setting in picture.words and setting in picture.description
    assert "18 m: the zero" in picture.words
    assert "launch speed ± 0.5 m/s and drag ± 20 %" in picture.description.replace("  ", " ")


def test_of_a_sight_with_turns_alone_turns_are_told() -> None:
    bare = replace(CLICKED, elevation=Thread(travel_per_turn=1.2e-3), scale=None)
    shown = scene(by=bare)
    picture = drawn(shown)
    assert shown.table.turns is not None
    assert f"{shown.table.turns[-1]:.4g} turns" in picture.words
    assert "click" not in picture.description and "half-click" not in picture.names()
    plain = drawn(scene(by=sight(zero_distance=18.0)))
    assert "turn" not in plain.description


def test_heights_are_the_uncertainty_at_the_target_and_half_a_click() -> None:
    shown = scene()
    picture = drawn(shown)
    zero = picture.sheet("height-zero")[0, 1]
    doubt, click = (zero - picture.sheet(name)[-1, 1] for name in ("height-doubt", "half-click"))
    assert shown.table.click_shift is not None
    half = 0.5 * 1e-4 / 0.86 * shown.table.rise_per_tangent[-1]
    assert np.abs(shown.table.click_shift).max() <= half
    assert click / doubt == pytest.approx(half / shown.table.height_uncertainty[-1], rel=1e-4)
    assert f"{half:.3g} m at 70 m" in picture.words


def test_what_is_certain_has_no_band_and_says_so() -> None:
    shown = scene(by=sight(zero_distance=18.0), doubts={})
    picture = drawn(shown)
    assert not {"travel-band", "height-panel"} & picture.names()
    assert "count as exact here" in picture.words and "±" not in picture.words


def test_units_are_the_readers() -> None:
    picture = drawn(scene(), distance="yd", length="in")
    assert "distance (yd)" in picture.words and "down (in)" in picture.words
    assert "76.6 yd: +" in picture.words


@pytest.mark.parametrize(
    "distances",
    [
        [18.0],
        [70.0],
        [50.0, 20.0, 50.0, 35.0],
        np.linspace(5.0, 100.0, 1000),
        [18.0, 18.0],
    ],
    ids=["the zero alone", "one", "unsorted", "many", "twice"],
)
def test_every_table_is_drawn(distances: list[float]) -> None:
    shown = scene(np.array(distances))
    picture = drawn(shown)
    far = float(np.max(distances))
    if far > 18.0:
        read = scale(picture, shown)
        row = int(np.argmax(distances))
        point = read(picture.sheet("travel"))[-1]
        assert point == pytest.approx((far, shown.table.travel[row]), abs=1e-6)
        assert f"{far:.3g} m: +" in picture.words
    assert len([t for t, _, _ in picture.placed() if "m: " in t]) <= 8
    rows = picture.marks("travel-rows")
    assert len(rows) <= 25 and len(np.unique(rows, axis=0)) == len(rows)


def test_a_zero_between_the_distances_has_marks_on_either_side() -> None:
    shown = scene(np.array([25.0, 30.0, 60.0]), replace(CLICKED, zero_distance=40.0))
    picture = drawn(shown)
    assert "30 m: -" in picture.words and "60 m: +" in picture.words


def test_the_same_scene_gives_the_same_bytes() -> None:
    first = marks.picture(scene(), SI, "pdf")
    assert marks.picture(scene(), SI, "pdf") == first
    assert marks.picture(scene(doubts={}), SI, "pdf") != first


def test_of_many_marks_those_at_round_distances_have_a_label() -> None:
    rows = units.to_si(np.arange(101, 1101, 1) / 10.0, "distance", "yd")
    picture = drawn(scene(rows), distance="yd")
    for way in ("10.1", "20", "40", "60", "80", "100", "110"):
        assert f"{way} yd: " in picture.words
    for said in (picture.words, picture.description):
        assert "Not all marks have a label: 7 of 1000 do." in said
