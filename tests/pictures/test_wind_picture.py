"""The picture of the wind's effect: drifts where the figures put them, every wind told."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from calibration_setups import plain_shot, sight
from pictured import Pictured, Scale

from arrowloft.core.sight.sight import Sight, Thread
from arrowloft.core.sight.wind_scene import WindScene, wind_scene
from arrowloft.core.sight.wind_table import wind_table
from arrowloft.pictures import wind

SI = {"distance": "m", "length": "m", "speed": "m/s", "mass": "kg", "angle": "rad"}
DISTANCE = (20.0, 40.0, 70.0)
SIDES = tuple(np.radians([0.0, 90.0, 180.0, 270.0]))


def scene(
    distances: Any = DISTANCE,
    speeds: Any = (2.0, 5.0),
    directions: Any = SIDES,
    by: Sight | None = None,
) -> WindScene:
    given = tuple(np.array(values, dtype=float) for values in (distances, speeds, directions))
    shot = plain_shot()
    return wind_scene(shot, wind_table(shot, *given, by), *given[1:], by)


def drawn(shown: WindScene, **chosen: str) -> Pictured:
    picture = Pictured(wind.picture(shown, {**SI, **chosen}, "svg"))
    picture.check_sound()
    return picture


def scale(picture: Pictured, shown: WindScene, way: str, far: int) -> Scale:
    """By the ends of the curve of a wind that does much."""
    values = getattr(shown, way)[far]
    sheet = picture.sheet(f"{way}-{far}")[[0, -1]]
    return Scale(sheet, np.column_stack((shown.distance, values))[[0, -1]])


def test_every_curve_stands_where_its_arrows_hit() -> None:
    shown = scene()
    picture = drawn(shown)
    for way, far in (("drift", 5), ("up", 4)):
        read = scale(picture, shown, way, far)
        zero = read(picture.sheet(f"{way}-zero"))[:, 1]
        assert zero == pytest.approx([0.0, 0.0], abs=1e-6)
        seen = 0
        for index, values in enumerate(getattr(shown, way)):
            if f"{way}-{index}" not in picture.names():
                assert values == pytest.approx(0.0, abs=1e-6)
                continue
            seen += 1
            points = read(picture.sheet(f"{way}-{index}"))
            assert points == pytest.approx(np.column_stack((shown.distance, values)), abs=1e-5)
            rows = read(picture.marks(f"{way}-{index}-rows"))
            table = getattr(shown.table, way).reshape(3, 8)[:, index]
            assert rows == pytest.approx(np.column_stack((DISTANCE, table)), abs=1e-5)
        assert seen >= 5


def test_between_the_distances_asked_for_curves_are_flights_too() -> None:
    shown = scene((20.0, 80.0), (5.0,), (math.pi / 2,))
    between = np.array([30.0, 45.0, 60.0])
    table = wind_table(plain_shot(), between, np.array([5.0]), np.array([math.pi / 2]))
    found = np.interp(between, shown.distance, shown.drift[0])
    assert found == pytest.approx(table.drift, abs=1e-3 * np.abs(table.drift).max())
    assert shown.asked.tolist() == [20.0, 80.0]


def test_winds_are_named_by_speed_and_side_with_what_they_do() -> None:
    picture = drawn(scene(directions=(*SIDES, 0.5)), angle="deg", length="mm")
    table = scene().table
    drift = 1e3 * table.drift.reshape(3, 8)[-1]
    assert f"{drift[5]:.3g} mm at 70 m" in picture.words
    for name in ("5 m/s from the right", "2 m/s from the left", "5 m/s from 28.6 deg"):
        assert name in picture.words and name in picture.description
    assert "from ahead" in picture.words and "from behind" in picture.words
    assert "Directions: clockwise from the target" in picture.words
    assert "clockwise" not in drawn(scene(), angle="deg").words


def test_lines_tell_directions_and_marks_tell_speeds() -> None:
    picture = drawn(scene())
    dashes = [picture.style(f"drift-{index}", "stroke-dasharray") for index in (1, 5, 3, 7)]
    assert dashes[0] == dashes[1] != dashes[2] == dashes[3]

    def shape(index: int) -> int:
        return len(picture.group(f"drift-{index}-rows").findall(".//*[@d]")[0].get("d", ""))

    assert shape(1) == shape(3) != shape(5) == shape(7)
    one = drawn(scene(speeds=(1.0, 3.0, 5.0), directions=(math.pi / 2,)))
    assert len({one.style(f"drift-{index}", "stroke-dasharray") for index in range(3)}) == 3


def test_winds_that_do_nothing_this_way_share_a_label() -> None:
    picture = drawn(scene())
    words = picture.words
    both = "2 m/s from ahead, 2 m/s from behind, 5 m/s from ahead and 5 m/s from behind"
    assert both.replace(" ", "") in words.replace(" ", "") and words.count("no drift") == 1


def test_clicks_of_windage_are_told_where_the_sight_has_them() -> None:
    thread = Thread(travel_per_turn=0.7e-3, clicks_per_turn=14)
    shown = scene(by=sight(windage=thread))
    assert shown.table.windage_clicks is not None
    clicks = shown.table.windage_clicks.reshape(3, 8)[-1]
    assert clicks[5] < 0.0 < clicks[7]
    words = drawn(shown).words
    assert f"windage {-clicks[5]:.0f} clicks left" in words
    assert f"windage {clicks[7]:.0f} clicks right" in words
    assert "click" not in drawn(scene()).description


def test_height_is_drawn_where_it_matters() -> None:
    assert "up-panel" in drawn(scene()).names()
    mild = drawn(scene(speeds=(0.2,)), length="mm")
    assert "up-panel" not in mild.names()
    most = 1e3 * np.abs(scene(speeds=(0.2,)).up).max()
    assert f"changes by {most:.3g} mm at most: it is not drawn" in mild.words


def test_arrows_that_come_down_upwind_are_explained() -> None:
    shown = scene((8.0, 40.0), (8.0,), (math.pi / 2,))
    assert shown.drift[0, 0] > 1e-3 > 0.0 > shown.drift[0, -1]
    assert "side that the wind comes from" in drawn(shown).words
    assert "side that the wind comes from" not in drawn(scene((40.0, 70.0))).words


def test_upwind_is_the_side_that_a_wind_comes_from() -> None:
    whole = scene((40.0, 70.0), (0.0, 5.0))
    drift = np.full_like(whole.drift, 0.2)
    found = replace(whole, drift=drift).upwind
    # In still air, then in a wind from ahead, the right, behind and the left: to the right is up.
    told = [0.0, 0.0, 0.0, 0.0, 0.0, 0.2, 0.0, -0.2]
    assert found == pytest.approx(np.repeat([told], found.shape[1], axis=0).T, abs=1e-15)
    drift[5, 0] = np.nan
    assert np.isnan(replace(whole, drift=drift).upwind[5, 0])


def test_a_wind_whose_arrows_fall_short_ends_where_it_ends() -> None:
    whole = scene()
    drift, up = whole.drift.copy(), whole.up.copy()
    drift[4, whole.distance > 50.0] = up[4, whole.distance > 50.0] = np.nan
    drift[0], up[0] = np.nan, np.nan
    shown = replace(whole, drift=drift, up=up)
    picture = drawn(shown)
    points = picture.sheet("up-4")
    assert np.isfinite(points).all() and len(points) == (whole.distance <= 50.0).sum()
    assert "the last it reaches" in picture.words
    assert "Not drawn, as no arrow arrives: 2 m/s from ahead." in picture.words
    assert "2 m/s from ahead: to the right its arrows never arrive" in picture.description


@pytest.mark.parametrize(
    "given",
    [
        {"distances": (40.0,)},
        {"speeds": (0.0,), "directions": (0.0,)},
        {"distances": (60.0, 20.0, 60.0)},
        {"distances": np.linspace(10.0, 80.0, 1000), "directions": (math.pi / 2,)},
        {"speeds": np.arange(20.0), "directions": np.radians(np.arange(0.0, 360.0, 10.0))},
    ],
    ids=["one", "calm", "unsorted", "many rows", "many winds"],
)
def test_every_table_is_drawn(given: dict[str, Any]) -> None:
    shown = scene(**given)
    picture = drawn(shown, angle="deg")
    assert "drift-panel" in picture.names()
    rows = [one for one in picture.names() if one.endswith("-rows")]
    assert all(len(picture.marks(name)) <= 25 for name in rows)
    if shown.speed.size == 720:
        assert "Of 720 winds, those that end farthest" in picture.words
        assert len([name for name in rows if name.startswith("drift")]) == 7
        assert len(picture.paths("drift-others")) == 720 - 7
    if not shown.speed.any():
        assert "no wind" in picture.words


def test_the_same_scene_gives_the_same_bytes() -> None:
    first = wind.picture(scene(), SI, "svg")
    assert wind.picture(scene(), SI, "svg") == first
    assert wind.picture(scene(speeds=(2.0, 6.0)), SI, "svg") != first
