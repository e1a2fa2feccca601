"""The picture of a comparison: curves where the data put them, every lane named, nothing lost."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from pictured import Pictured, Scale

from arrowloft import units
from arrowloft.core.comparing.scene import Curve, Law, Scene
from arrowloft.pictures import comparison
from arrowloft.pictures.comparison_words import title

DISTANCE = np.linspace(20.0, 70.0, 11)
NAN = float("nan")
SI = {"distance": "m", "length": "m", "speed": "m/s", "mass": "kg"}


def curve(fall: float, index: int, **changes: Any) -> Curve:
    """A lane that is `fall` lower at 70 m, and less with the cube of the distance."""
    up = -fall * (DISTANCE / 70.0) ** 3
    given = {"launch": 0, "drag": index, "distance": DISTANCE, "up": up, "right": 0.0 * up}
    return Curve(**{**given, "parts": {"height": NAN}, "left": False, **changes})


def law(value: float) -> Law:
    reynolds = np.linspace(16e3, 22e3, 61)
    coefficient = value * (reynolds / 2e4) ** -0.5
    return Law(reynolds=reynolds, coefficient=coefficient, flown=(18e3, 20e3))


def scene(falls: Any = (0.0, 0.05, 0.12, -0.03), **changes: Any) -> Scene:
    """Drag models side by side, the first of them the baseline."""
    given: dict[str, Any] = {
        "distance": DISTANCE,
        "launches": ("rated",),
        "drags": tuple(f"drag {index}" for index in range(len(falls))),
        "curves": tuple(curve(fall, index) for index, fall in enumerate(falls)),
        "baseline": 0,
        "laws": tuple(law(1.9 + fall) for fall in falls),
        "height": 0.06,
        "clicks": None,
        "speeds": (57.0,) * len(falls),
        "arrow_mass": 0.0192,
        "wind_speed": 0.0,
    }
    return Scene(**{**given, **changes})


def drawn(shown: Scene, **chosen: str) -> Pictured:
    picture = Pictured(comparison.picture(shown, {**SI, **chosen}, "svg"))
    picture.check_sound()
    return picture


def scale(picture: Pictured, shown: Scene, way: str = "up") -> Scale:
    """By the baseline's ends and the farthest point of another lane."""
    base = picture.sheet(f"{way}-{shown.baseline}")
    far = max(range(len(shown.curves)), key=lambda i: abs(getattr(shown.curves[i], way)[-1]))
    end = picture.sheet(f"{way}-{far}")[-1]
    data = np.array([(20.0, 0.0), (70.0, getattr(shown.curves[far], way)[-1])])
    return Scale(np.array([base[0], end]), data)


def test_every_curve_stands_where_its_impacts_are() -> None:
    shown = scene()
    picture = drawn(shown)
    read = scale(picture, shown)
    for index, one in enumerate(shown.curves):
        points = read(picture.sheet(f"up-{index}"))
        assert points == pytest.approx(np.column_stack((one.distance, one.up)), abs=1e-6)
    marks = read(picture.marks("up-2-rows"))
    assert np.interp(marks[:, 0], DISTANCE, shown.curves[2].up) == pytest.approx(marks[:, 1])
    assert set(np.round(marks[:, 0], 3)) <= set(DISTANCE)


def test_the_tolerance_is_a_band_about_the_baseline() -> None:
    shown = scene()
    picture = drawn(shown)
    band = scale(picture, shown)(picture.sheet("tolerance"))[:, 1]
    assert (band.min(), band.max()) == pytest.approx((-0.06, 0.06), abs=1e-6)
    assert "tolerance, 0.06 m lower" in picture.words
    assert "tolerance" not in drawn(scene(height=None)).names()


def test_units_are_the_readers() -> None:
    chosen = {"distance": "yd", "length": "in"}
    picture = drawn(scene(), **chosen)
    assert "distance (yd)" in picture.words and "baseline's (in)" in picture.words
    inches = units.from_si(0.12, "length", "in")
    assert f"-{inches:.3g} in at 76.6 yd" in picture.words


def test_where_a_lane_parts_it_has_a_mark_on_its_curve() -> None:
    curves = scene().curves
    parts = {"height": 55.0, "clicks": 31.0}
    shown = scene(curves=(*curves[:2], replace(curves[2], parts=parts), curves[3]), clicks=1.0)
    picture = drawn(shown)
    read = scale(picture, shown)
    for kind, way in parts.items():
        [place] = read(picture.marks(f"parts-{kind}-2"))
        assert place == pytest.approx((way, np.interp(way, DISTANCE, curves[2].up)), abs=1e-6)
    assert "parts at 55 m by height," in picture.words and "31 m by clicks" in picture.words
    assert "never parts" in picture.words
    assert "Rings: where a lane first differs" in picture.words
    assert not any(name.startswith("parts-") for name in drawn(scene()).names())


def test_drag_laws_stand_over_reynolds_number_and_what_is_flown_is_bold() -> None:
    shown = scene()
    picture = drawn(shown)
    first, last = picture.sheet("law-0"), picture.sheet("law-2")
    data = np.array([(16.0, shown.laws[0].coefficient[0]), (22.0, shown.laws[2].coefficient[-1])])
    read = Scale(np.array([first[0], last[-1]]), data)
    for index, one in enumerate(shown.laws):
        points = read(picture.sheet(f"law-{index}"))
        expected = np.column_stack((one.reynolds / 1e3, one.coefficient))
        assert points == pytest.approx(expected, abs=1e-5)
        flown = read(picture.sheet(f"law-{index}-flown"))
        assert (flown[0, 0], flown[-1, 0]) == pytest.approx((18.0, 20.0))
        widths = [picture.style(f"law-{index}{name}", "stroke-width") for name in ("", "-flown")]
        assert float(widths[1] or 0) > 3 * float(widths[0] or 9)


def test_what_a_law_does_where_nothing_flies_squeezes_nothing() -> None:
    wild = law(1.9)
    steep = np.where(wild.reynolds < 17e3, 80.0, wild.coefficient)
    calm, other = (
        drawn(scene(laws=(replace(wild, coefficient=c), *(law(2.0),) * 3)))
        for c in (wild.coefficient, steep)
    )
    assert np.ptp(other.sheet("law-0-flown")[:, 1]) > 0.5 * np.ptp(calm.sheet("law-0-flown")[:, 1])


def test_a_lane_that_falls_short_ends_where_it_ends() -> None:
    one = scene().curves[2]
    shown = scene(
        curves=(*scene().curves[:2], replace(one, up=np.where(DISTANCE > 50, NAN, one.up)))
    )
    picture = drawn(replace(shown, drags=shown.drags[:3], laws=shown.laws[:3]))
    points = picture.sheet("up-2")
    assert np.isfinite(points).all() and len(points) == 7
    assert "m at 50 m, the last it reaches" in picture.words


def test_a_lane_that_never_arrives_is_named_as_not_drawn() -> None:
    one = replace(scene().curves[2], up=DISTANCE * NAN, right=DISTANCE * NAN)
    shown = scene(curves=(*scene().curves[:2], one, scene().curves[3]))
    shown = replace(shown, laws=(*shown.laws[:2], replace(law(3.0), flown=(NAN, NAN)), law(1.8)))
    picture = drawn(shown)
    assert "Not drawn, as no arrow arrives: “drag 2”." in picture.words
    assert "never flown" in picture.words
    assert "drag 2: nowhere" in picture.description


# The first is no formula: it would be refused as one.
STRANGE = ("$\\frac{1}$ <b>bold</b> &amp; more", "Läufer Ω Ж — é", "\u76f4\uffff", "-->")


def test_a_lane_that_is_not_to_be_trusted_says_so() -> None:
    curves = scene().curves
    picture = drawn(scene(curves=(*curves[:3], replace(curves[3], left=True))))
    assert picture.description.count("beyond what its models are trusted for") == 1
    assert "beyond what its models" in picture.words.replace("; beyond", " beyond")
    base = drawn(scene(curves=(replace(curves[0], left=True), *curves[1:])))
    assert "the baseline; beyond what its" in base.words


def test_labels_are_taken_as_they_are() -> None:
    picture = drawn(scene(drags=STRANGE))
    for label in STRANGE[:2]:
        assert label in picture.description
        assert all(word in picture.words for word in label.split())
    assert "\u76f4\ufffd" in picture.description
    assert "\u25a1\u25a1" in picture.words and "lacks are boxes" in picture.words


def test_all_of_a_long_label_is_there_and_no_two_lines_touch() -> None:
    labels = tuple(f"{index}" + "w" * 59 for index in range(8))
    picture = drawn(scene(tuple(0.001 * i for i in range(8)), drags=labels))
    words = picture.words.replace(" ", "")
    assert all(label in words for label in labels)
    assert all(label in picture.description for label in labels)
    places = sorted((y, x) for _, x, y in picture.placed() if x > 450)
    apart = np.diff([y for y, _ in places])
    assert apart.min() > 8.5


def test_of_many_lanes_the_extremes_are_named_and_the_rest_are_there() -> None:
    falls = (0.0, *(0.01 * (index - 20) for index in range(40)))
    picture = drawn(scene(falls))
    named = {name for name in picture.names() if name.startswith("up-label-") and name[-2:] == "-0"}
    assert len(named) == 7 + 2  # the tolerance's edges with them
    assert len(picture.paths("up-others")) == 41 - 7
    for label in ("drag 0", "drag 1", "drag 2", "drag 3", "drag 38", "drag 39", "drag 40"):
        assert label in picture.words
    assert "drag 25" not in picture.words and "drag 25" in picture.description
    assert "Of 41 lanes, the baseline and those that end highest and lowest" in picture.words


def test_lanes_are_told_apart_without_colour() -> None:
    falls = tuple(0.02 * index for index in range(8))
    picture = drawn(scene(falls))
    dashes = [picture.style(f"up-{index}", "stroke-dasharray") for index in range(1, 8)]
    assert len(set(dashes)) == 7


def test_of_several_launches_marks_tell_launch_and_dashes_drag() -> None:
    curves = tuple(
        curve(0.01 * (3 * launch + drag), drag, launch=launch)
        for launch in range(2)
        for drag in range(3)
    )
    shown = scene((0.0,) * 3, curves=curves, launches=("slow", "fast"), speeds=(55.0, 57.0) * 3)
    picture = drawn(shown)
    assert "The same shot with 2 launch and 3 drag models" in picture.words
    assert "fast, drag 2" in picture.words and "launched at 55 to 57 m/s" in picture.words
    dash = [picture.style(f"up-{index}", "stroke-dasharray") for index in range(6)]
    assert dash[1] == dash[4] and dash[2] == dash[5] and dash[1] != dash[2]
    shapes = [
        len(picture.group(f"up-{index}-rows").findall(".//*[@d]")[0].get("d", "").split())
        for index in (1, 2, 4, 5)
    ]
    assert shapes[0] == shapes[1] != shapes[2] == shapes[3]


def test_aside_is_drawn_where_wind_sets_lanes_apart() -> None:
    assert "right-panel" not in drawn(scene()).names()
    curves = tuple(replace(one, right=0.4 * one.up) for one in scene().curves)
    shown = scene(curves=curves, wind_speed=5.0)
    picture = drawn(shown)
    read = scale(picture, shown, "right")
    points = read(picture.sheet("right-1"))
    assert points == pytest.approx(np.column_stack((DISTANCE, curves[1].right)), abs=1e-6)
    assert "in a wind of 5 m/s" in picture.words
    wide = tuple(replace(one, parts={"height": NAN, "right": 55.0}) for one in curves[1:])
    parted = drawn(scene(curves=(curves[0], *wide), wind_speed=5.0, aside=0.01))
    [place] = scale(parted, scene(curves=curves), "right")(parted.marks("parts-right-2"))
    assert place == pytest.approx((55.0, np.interp(55.0, DISTANCE, curves[2].right)), abs=1e-6)
    assert "parts at 55 m sideways" in parted.words
    assert "open squares: by more than 0.01 m to either side" in parted.words
    tiny = tuple(replace(one, right=0.01 * one.up) for one in scene().curves)
    assert "right-panel" not in drawn(scene(curves=tiny, wind_speed=5.0)).names()


def test_all_within_the_tolerance_is_said_and_does_not_flatten_the_curves() -> None:
    shown = scene((0.0, 1e-4, 2e-3))
    picture = drawn(shown)
    assert (
        "No lane hits farther above or below the baseline than the tolerance of 0.06 m."
        in picture.words
    )
    panel = np.ptp(picture.sheet("up-panel")[:, 1])
    assert np.ptp(picture.sheet("up-2")[:, 1]) > 0.7 * panel


@pytest.mark.parametrize("falls", [(0.0,), (0.0, 0.0), (0.0, 1e-12), (0.0, 30.0)])
def test_one_lane_equal_lanes_and_huge_ones_are_drawn(falls: tuple[float, ...]) -> None:
    picture = drawn(scene(falls))
    assert picture.sheet("up-0")[:, 1].std() == pytest.approx(0.0, abs=1e-6)
    if len(falls) == 1:
        assert "with nothing beside them" in picture.words and "tolerance" not in picture.words


def test_at_one_distance_impacts_are_marks() -> None:
    at = np.array([50.0])
    curves = tuple(
        replace(one, distance=at, up=one.up[-1:], right=at * 0) for one in scene().curves
    )
    picture = drawn(scene(curves=curves, distance=at))
    heights = [float(picture.marks(f"up-{index}-rows")[0, 1]) for index in range(4)]
    assert np.argsort(heights).tolist() == [3, 0, 1, 2]  # downward on the sheet


def test_drag_that_is_zero_is_drawn() -> None:
    nothing = replace(law(1.0), coefficient=np.zeros(61))
    drawn(scene((0.0,), laws=(nothing,)))


def test_the_same_scene_gives_the_same_bytes() -> None:
    assert comparison.picture(scene(), SI, "svg") == comparison.picture(scene(), SI, "svg")
    assert comparison.picture(scene(), SI, "svg") != comparison.picture(
        scene(height=0.05), SI, "svg"
    )


@pytest.mark.parametrize(
    ("launches", "repeated", "told"),
    [
        (1, (False, True), "The same shot with 4 drags"),
        (1, (False, False), "The same shot with 4 drag models"),
        (2, (False, True), "The same shot with 2 launch models and 4 drags"),
        (2, (True, False), "The same shot with 2 launches and 4 drag models"),
    ],
)
def test_models_that_repeat_are_not_counted_as_models(
    launches: int, repeated: tuple[bool, bool], told: str
) -> None:
    shown = scene(launches=("slow", "fast")[:launches], repeated=repeated)
    assert title(shown) == told
