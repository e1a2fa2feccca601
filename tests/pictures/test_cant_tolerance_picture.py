"""The picture of the roll tolerance: rolls and shifts where the figures put them."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from cant_setups import shot_of, vacuum
from pictured import Pictured, Scale

from arrowloft.core.level.cant import Allowance
from arrowloft.core.level.cant_scene import CantScene, cant_scene
from arrowloft.pictures import cant_tolerance

SI = {"distance": "m", "length": "m", "speed": "m/s", "mass": "kg", "angle": "rad"}
DISTANCE = np.array([20.0, 40.0, 70.0])
CANTS = np.radians([-3.0, -1.0, 1.0, 3.0])
WINDY = {"wind_speed": 8.0, "wind_from": 1.0}


def scene(
    distances: Any = DISTANCE,
    cants: Any = CANTS,
    allowance: Allowance = Allowance(radius=0.05),  # noqa: B008 it is frozen
    *,
    live: tuple[float, float] | None = None,
    roll_scatter: float | None = None,
    **changes: Any,
) -> CantScene:
    shot = shot_of(**changes)
    near, rolls = np.array(distances, dtype=float), np.array(cants, dtype=float)
    return cant_scene(shot, near, rolls, allowance, live=live, roll_scatter=roll_scatter)


def drawn(shown: CantScene, **chosen: str) -> Pictured:
    picture = Pictured(cant_tolerance.picture(shown, {**SI, **chosen}, "svg"))
    picture.check_sound()
    return picture


def rolls(picture: Pictured, shown: CantScene) -> Scale:
    """Scale of the first panel, by the level line and the farthest roll to the right."""
    level, far = picture.sheet("level")[0], picture.sheet("max-right")[-1]
    near = picture.sheet("max-left")[-1]
    x = shown.curve.distance
    unit = (x[-1] - x[0]) / (far[0] - picture.sheet("allowed")[:, 0].min())
    start = x[-1] - (far[0] - level[0]) * unit
    most = shown.curve.max_cant_right[-1]
    read = Scale(np.array([level, far]), np.array([(start, 0.0), (x[-1], most)]))
    assert read(near)[1] == pytest.approx(-shown.curve.max_cant_left[-1], abs=1e-5)
    return read


def test_without_drag_the_largest_roll_is_the_closed_form() -> None:
    shown = scene(
        np.linspace(30.0, 70.0, 5), drag=vacuum, peep_height=0.0, launch_forward=0.0, tip_lead=0.0
    )
    picture = drawn(shown)
    points = rolls(picture, shown)(picture.sheet("max-right"))
    points = points[points[:, 0] > 40.0]  # nearer ones are above the panel
    angle = 0.5 * np.arcsin(9.80665 * points[:, 0] / 57.0**2)
    drop = points[:, 0] * np.tan(angle)
    assert points[:, 1] == pytest.approx(2.0 * np.arcsin(0.05 / (2.0 * drop)), abs=1e-5)
    assert len(points) > 20


def test_shifts_stand_where_the_rolled_arrows_hit() -> None:
    shown = scene(**WINDY)
    picture = drawn(shown)
    for way in ("right", "up"):
        zero = picture.sheet(f"{way}-zero")[0, 1]
        shifts = getattr(shown.curve, way)
        sheets = [zero - picture.sheet(f"{way}-{index}")[:, 1] for index in range(4)]
        unit = sheets[3][-1] / shifts[-1, 3]
        for index in range(4):
            assert sheets[index] / unit == pytest.approx(shifts[:, index], abs=1e-5)
        if way == "right":
            allowed = zero - picture.sheet("allowance-right")[:, 1]
            assert allowed / unit == pytest.approx(shown.curve.allowance, abs=1e-5)


def test_mirror_images_are_one_curve_in_height_and_two_sideways() -> None:
    picture = drawn(scene(), angle="deg")
    assert {"right-0", "right-1", "right-2", "right-3", "up-0", "up-1"} <= picture.names()
    assert not {"up-2", "up-3"} & picture.names()
    assert "3 deg either way: -" in picture.words
    assert "3 deg right: +" in picture.words and "3 deg left: -" in picture.words
    assert "either way: " not in drawn(scene(**WINDY), angle="deg").words


def test_a_reading_and_the_usual_roll_are_in_view() -> None:
    roll = math.radians(-6.0)
    shown = scene(live=(55.0, roll), roll_scatter=math.radians(1.2))
    picture = drawn(shown, angle="deg")
    read = rolls(picture, shown)
    assert read(picture.marks("live"))[0] == pytest.approx((55.0, roll), abs=1e-3)
    usual = [read(picture.sheet(f"usual-{side}"))[0, 1] for side in ("right", "left")]
    assert np.degrees(usual) == pytest.approx([1.2, -1.2], abs=1e-3)
    assert "reading of 6 deg to the left at 55 m, outside the allowance" in picture.description
    mild = drawn(scene(live=(55.0, math.radians(0.5))), angle="deg")
    assert "0.5 deg to the right at 55 m, within the allowance" in mild.description
    assert not {"live", "usual-left"} & drawn(scene()).names()


def test_where_no_roll_leaves_the_allowance_it_is_said() -> None:
    shown = scene([5.0, 20.0, 70.0])
    assert np.isnan(shown.curve.max_cant[0]) and np.isfinite(shown.curve.max_cant[-1])
    picture = drawn(shown, angle="deg")
    assert "5 m: no roll leaves it" in picture.words
    none = float(shown.curve.distance[np.isnan(shown.curve.max_cant)].max())
    assert f"Up to about {none:.3g} m no roll up to 45 deg leaves" in picture.words
    all_of_them = drawn(scene(allowance=Allowance(radius=20.0)), angle="deg")
    assert "at any of these distances" in all_of_them.words
    assert "Up to about" not in drawn(scene(), angle="deg").words


def test_sides_that_differ_are_told_apart() -> None:
    whole = scene(**WINDY)
    curve = replace(whole.curve, max_cant_left=0.7 * whole.curve.max_cant_right)
    picture = drawn(replace(whole, curve=curve))
    right, left = curve.max_cant_right[-1], curve.max_cant_left[-1]
    text = f"{right:.3g} rad right, {left:.3g} rad left"
    assert f"70 m: {text}" in picture.words
    assert f"the right at most {right:.3g} rad, to the left at most" in picture.description
    rolls(picture, replace(whole, curve=curve))
    for sign, judged in ((1.0, "within"), (-1.0, "outside")):
        leaning = replace(whole, curve=curve, live=(70.0, 0.85 * sign * float(right)))
        assert f"{judged} the allowance" in drawn(leaning).description


def test_an_allowance_that_grows_is_a_line_that_rises() -> None:
    shown = scene(allowance=Allowance(angle=1e-3))
    picture = drawn(shown)
    zero = picture.sheet("right-zero")[0, 1]
    allowed = zero - picture.sheet("allowance-right")[:, 1]
    assert allowed[0] / allowed[-1] == pytest.approx(20.0 / 70.0, rel=1e-3)
    assert "0.02 to 0.07 m" in picture.words and "allowance, 0.07 m at 70 m" in picture.words


@pytest.mark.parametrize(
    "given",
    [
        {"distances": [40.0]},
        {"distances": [], "live": (30.0, 0.0)},
        {"distances": [40.0], "cants": [0.0]},
        {"distances": [60.0, 20.0, 60.0], "cants": [0.02, 0.02]},
        {"distances": np.linspace(3.0, 80.0, 1000), "cants": [0.1]},
        {"cants": np.radians(np.arange(-10.0, 11.0))},
    ],
    ids=["one", "live", "level", "twice", "many rows", "many cants"],
)
def test_every_table_is_drawn(given: dict[str, Any]) -> None:
    picture = drawn(scene(**given), angle="deg")
    assert {"roll-panel", "right-panel", "up-panel"} <= picture.names()
    if len(given.get("cants", ())) == 21:
        assert len(picture.paths("right-others")) == 21 - 6
        assert "10 deg right: +" in picture.words and "5 deg right: +" not in picture.words
        assert "Canted 5 deg right: +" in picture.description


def test_the_same_scene_gives_the_same_bytes() -> None:
    first = cant_tolerance.picture(scene(), SI, "svg")
    assert cant_tolerance.picture(scene(), SI, "svg") == first
    assert cant_tolerance.picture(scene(live=(40.0, 0.0)), SI, "svg") != first


def test_the_rolls_of_seven_distances_have_a_label_and_of_more_it_is_said() -> None:
    picture = drawn(scene(np.arange(20.0, 81.0, 10.0)))
    assert all(f"{way} m: at most" in picture.words for way in range(20, 81, 10))
    assert "Not all" not in picture.words
    more = drawn(scene(np.arange(20.0, 81.0, 5.0)))
    for said in (more.words, more.description):
        assert "Not all distances have a label: 7 of 13 do." in said
