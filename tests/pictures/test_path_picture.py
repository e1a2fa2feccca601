"""Pictures of a path: arrow, ground and obstacles where they are, and every margin in words."""

import re
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from clearance_setups import ENVELOPE, NOCK_LEAD, TARGET, patch, shot_of
from pictured import Pictured, Points, Scale

from arrowloft.core.archer.groups import Group
from arrowloft.core.flight.scene import Flown
from arrowloft.core.path.clearance import Loosed
from arrowloft.core.path.ground import Ground
from arrowloft.core.path.patches import EDGES, Patches
from arrowloft.core.path.scene import Passed, Scene, UnderHousing, ground_line, way
from arrowloft.pictures import path

SI = {"distance": "m", "length": "m", "angle": "rad", "speed": "m/s", "mass": "kg"}
GROUP = Group(distance=30.0, vertical=0.04, sideways=0.03)


def scene(
    *edges: dict[str, float],
    at: Any = (),
    names: Any = None,
    group: Group | None = None,
    wind: float = 0.0,
    **changes: Any,
) -> Scene:
    """An arrow's way past patches of these edges at these distances."""
    shot = shot_of(wind_speed=wind, wind_from=np.radians(90.0))
    loosed = Loosed.at(shot, TARGET, NOCK_LEAD)
    every = [patch(**one) for one in edges]
    patches = Patches(
        **{side: np.array([float(getattr(one, side)[0]) for one in every]) for side in EDGES}
    )
    names = names or [f"thing {index}" for index in range(len(edges))]
    found = way(loosed, ENVELOPE, group, 0.9, names, np.array(at, dtype=float), patches)
    given: dict[str, Any] = {
        "flown": found.flown,
        "band": found.band,
        "lane": found.lane,
        "share": 0.9,
        "envelope": ENVELOPE,
        "passed": found.passed,
        "ground": None,
        "face": None,
        "housing": None,
        "alarms": (),
        "cautions": (),
    }
    return Scene(**{**given, **changes})


def drawn(shown: Scene, **chosen: str) -> Pictured:
    picture = Pictured(path.clearance(shown, {**SI, **chosen}, "svg"))
    picture.check_sound()
    return picture


def scale(picture: Pictured, shown: Flown, kind: str = "side") -> Scale:
    """By the eye and a far end of the path; from above, by its own end."""
    eye, line = picture.marks(f"{kind}-eye")[0], picture.sheet(f"{kind}-path")
    values = shown.right if kind == "above" else shown.up
    at = int(np.argmax(np.abs(values)))
    data = np.array([(0.0, 0.0), (shown.distance[at], values[at])])
    return Scale(np.array([eye, line[at]]), data)


def read(picture: Pictured, shown: Scene, name: str) -> Points:
    kind = name.split("-")[0]
    return scale(picture, shown.flown, kind)(picture.sheet(name))


def test_the_path_and_all_that_the_arrow_takes_up_stand_over_the_line_of_sight() -> None:
    shown = scene(at=())
    picture = drawn(shown)
    points = read(picture, shown, "side-path")
    assert points == pytest.approx(
        np.column_stack((shown.flown.distance, shown.flown.up)), abs=1e-5
    )
    band = scale(picture, shown.flown)(picture.sheet("side-band") + picture.marks("side-band"))
    assert (band[:, 1].min(), band[:, 1].max()) == pytest.approx(
        (shown.band.bottom.min(), shown.band.top.max()), abs=1e-5
    )
    sight = read(picture, shown, "side-sight")[:, 1]
    assert sight == pytest.approx(0.0, abs=1e-6)
    assert "lane" not in picture.words and "side-lane-top" not in picture.names()


def test_the_apex_is_marked_and_told() -> None:
    shown = scene()
    picture = drawn(shown, length="cm")
    [place] = scale(picture, shown.flown)(picture.marks("apex"))
    flown = shown.flown
    assert place == pytest.approx((flown.apex_distance, flown.apex_height), abs=1e-5)
    said = (
        f"{100 * flown.apex_height:.3g} cm over the line of sight, at {flown.apex_distance:.3g} m"
    )
    assert said in picture.words and said in picture.description


def test_how_much_heights_are_stretched_is_said_truly() -> None:
    shown = scene()
    picture = drawn(shown)
    factor = scale(picture, shown.flown).factor
    times = abs(factor[0] / factor[1])
    assert f"From the side: heights drawn {times:.2g} times as large" in picture.words


def test_an_obstacle_is_drawn_from_edge_to_edge_at_its_distance() -> None:
    shown = scene({"bottom": 0.9, "top": 1.2, "left": -0.1, "right": 0.1}, at=[21.0])
    picture = drawn(shown)
    points = read(picture, shown, "side-obstacle-0")
    assert (points[:, 1].min(), points[:, 1].max()) == pytest.approx((0.9, 1.2), abs=1e-4)
    assert points[:, 0].mean() == pytest.approx(21.0, abs=0.2)
    assert len(points) <= 5  # no pointed end
    assert "goes on beyond" not in picture.words


def test_an_unbounded_edge_runs_to_a_point_at_the_end_of_the_view() -> None:
    shown = scene({"bottom": 0.9}, {"top": -0.3}, at=[21.0, 40.0])
    picture = drawn(shown)
    panel = scale(picture, shown.flown)(picture.sheet("side-panel"))[:, 1]
    up, down = (read(picture, shown, f"side-obstacle-{index}") for index in range(2))
    tip = up[np.argmax(up[:, 1])]
    assert tip[0] == pytest.approx(21.0, abs=1e-3) and (up[:, 1] == tip[1]).sum() == 1
    assert up[:, 1].min() == pytest.approx(0.9, abs=1e-4)
    assert down[:, 1].min() == pytest.approx(panel.min(), abs=1e-4)
    assert down[:, 1].max() == pytest.approx(-0.3, abs=1e-4)
    assert "An outline with a pointed end goes on beyond the view." in picture.words


def test_margins_are_told_in_words_and_shown_without_colour() -> None:
    peak = scene().flown.apex_height
    shown = scene({"bottom": peak + 0.2}, {"bottom": peak - 0.1}, at=[28.0, 28.0])
    picture = drawn(shown, length="cm")
    clear, touched = (one.margin for one in shown.passed)
    assert clear > 0.0 > touched
    assert f"28 m: clear by {100 * clear:.3g} cm, below it" in picture.words
    assert f"28 m: touches by {-100 * touched:.3g} cm" in picture.words
    assert "side-obstacle-1-touched" in picture.names()
    assert "side-obstacle-0-touched" not in picture.names()
    widths = [float(picture.style(f"side-obstacle-{i}", "stroke-width") or 0) for i in (0, 1)]
    assert widths[1] > 1.5 * widths[0]
    fills = [picture.style(f"side-obstacle-{i}", "fill") or "" for i in (0, 1)]
    assert all("url(#" in fill for fill in fills) and fills[0] != fills[1]
    [cross] = scale(picture, shown.flown)(picture.marks("side-obstacle-1-touched"))
    assert cross == pytest.approx((28.0, shown.passed[1].up), abs=1e-3)


def test_what_stands_beside_the_path_is_not_drawn_as_if_in_its_way() -> None:
    shown = scene({"right": -0.4}, {"right": 0.4}, at=[20.0, 30.0], wind=3.0)
    picture = drawn(shown)
    dashes = [picture.style(f"side-obstacle-{i}", "stroke-dasharray") for i in (0, 1)]
    assert dashes[0] and not dashes[1]
    assert picture.style("side-obstacle-0", "fill") == "none"
    assert "Dashed outlines without hatching lie beside the path" in picture.words
    above = read(picture, shown, "above-obstacle-0")
    assert above[:, 1].max() == pytest.approx(-0.4, abs=1e-3)
    assert not picture.style("above-obstacle-0", "stroke-dasharray")


def test_a_view_from_above_is_there_where_wind_or_edges_aside_matter() -> None:
    assert "above-panel" not in drawn(scene({"bottom": 1.0}, at=[20.0])).names()
    assert "above-panel" in drawn(scene({"left": 1.0}, at=[20.0])).names()
    shown = scene(wind=5.0)
    picture = drawn(shown)
    points = read(picture, shown, "above-path")
    assert points[:, 1] == pytest.approx(shown.flown.right, abs=1e-5)
    assert shown.flown.drift < 0.0  # wind from the right: to the left, and up on the sheet
    assert picture.sheet("above-path")[-1, 1] < picture.marks("above-eye")[0, 1]
    assert f"its tip comes {-shown.flown.drift:.3g} m to the left" in picture.words


def test_with_a_group_the_lane_and_the_chance_are_there() -> None:
    peak = scene().flown.apex_height
    shown = scene({"bottom": peak + 0.06}, {"bottom": peak + 2.0}, at=[28.0, 28.5], group=GROUP)
    picture = drawn(shown)
    assert shown.lane is not None
    for side in ("bottom", "top"):
        lane = read(picture, shown, f"side-lane-{side}")[:, 1]
        assert lane == pytest.approx(getattr(shown.lane, side), abs=1e-4)
    assert "lane for 90 % of your arrows" in picture.words
    chance = shown.passed[0].chance
    assert 0.02 < chance < 0.9 and f"{100 * chance:.0f} % of your arrows" in picture.words
    assert "fewer than one in 200 touch" in picture.words


def test_the_ground_has_a_view_of_its_own_where_it_lies_far_below() -> None:
    flat = Ground.under(0.0, TARGET, 1.6, 1.2, ((30.0, 0.3),))
    shown = scene(ground=ground_line(flat), face=0.3)
    picture = drawn(shown)
    points = read(picture, shown, "ground-ground")
    assert points[0] == pytest.approx((0.0, -1.6), abs=1e-3)
    assert np.interp(30.0, *points.T) == pytest.approx(-1.6 + 0.4 * 30 / TARGET + 0.3, abs=1e-3)
    assert np.interp(TARGET, *points.T) == pytest.approx(-1.2, abs=1e-3)
    face = read(picture, shown, "side-face")
    assert sorted(face[:, 1]) == pytest.approx((-0.3, 0.3), abs=1e-4)
    assert face[:, 0] == pytest.approx(TARGET, abs=1e-3)


def test_ground_that_is_in_view_needs_no_second_view() -> None:
    low = Ground.under(0.0, TARGET, 0.2, 0.2)
    tall = scene({"top": -0.21}, at=[30.0], ground=ground_line(low))
    picture = drawn(tall)
    assert "ground-panel" not in picture.names()
    assert read(picture, tall, "side-ground")[:, 1] == pytest.approx(-0.2, abs=1e-3)
    assert "the ground" in picture.words


def test_ground_on_a_slope_is_told_from_the_line_of_sight() -> None:
    slope = 0.3
    found = ground_line(Ground.under(slope, TARGET, 1.6, 1.6))
    # Parallel to the line of sight, and 1.6 m below it, vertically.
    assert found[1] == pytest.approx(-1.6 * np.cos(slope), abs=1e-9)
    assert found[0][0] == 0.0 and found[0][-1] == pytest.approx(1.02 * TARGET)


HOUSING = UnderHousing(
    distance=np.array([20.0, 50.0, 80.0]),
    clearance=np.array([0.03, 0.01, -0.012]),
    farthest=66.0,
    always=False,
)


def test_marks_under_the_housing_stand_at_their_room() -> None:
    picture = drawn(scene(housing=HOUSING), length="mm")
    free, meets = picture.marks("housing-free"), picture.marks("housing-meets-at")
    zero = picture.sheet("housing-zero")[0, 1]
    across = (free[1, 0] - free[0, 0]) / 30.0
    room = (free[0, 1] - zero) / 30.0
    assert (free[1, 1] - zero) / room == pytest.approx(10.0, abs=0.01)
    assert (meets[0, 1] - zero) / room == pytest.approx(-12.0, abs=0.01)
    limit = picture.sheet("housing-farthest")[0, 0]
    assert (limit - free[0, 0]) / across == pytest.approx(46.0, abs=0.01)
    assert "80 m: meets it by 12 mm" in picture.words
    assert "at marks up to 66 m, and meets it beyond." in picture.description
    always = replace(HOUSING, farthest=float("nan"), always=True)
    assert "meets the sight's housing at every mark" in drawn(scene(housing=always)).words


def test_what_must_not_be_shot_is_said_over_the_picture() -> None:
    picture = drawn(scene(alarms=("Do not shoot this.",), cautions=("Look first.",)))
    places = {text: y for text, _, y in picture.placed()}
    assert places["Do not shoot this."] < picture.sheet("side-panel")[:, 1].min()
    assert places["Look first."] > picture.sheet("side-panel")[:, 1].max()


STRANGE = ["$\\frac{1}$ <b>bold</b> &amp; more", "\u76f4\uffff", "-->", "w" * 60]


def test_names_are_taken_as_they_are() -> None:
    edges = [{"bottom": 1.0 + index} for index in range(4)]
    picture = drawn(scene(*edges, at=[10.0, 20.0, 30.0, 40.0], names=STRANGE))
    assert STRANGE[0] in picture.description and "\u76f4\ufffd" in picture.description
    words = picture.words.replace(" ", "")
    assert "<b>bold</b>" in words and "w" * 60 in words and "\u25a1" in words


def number_boxes(picture: Pictured, kind: str) -> list[Points]:
    """Frames of the numbers over a view: corners, on the sheet."""
    names = sorted(one for one in picture.names() if re.fullmatch(rf"{kind}-.*-number", one))
    return [picture.sheet(name) for name in names]


@pytest.mark.parametrize(
    ("at", "boxes"), [(np.linspace(3.0, 50.0, 20), 20), (np.linspace(20.0, 21.9, 20), 0)]
)
def test_twenty_obstacles_have_numbers_and_names_apart(at: Any, boxes: int) -> None:
    edges = [{"bottom": 1.0 + 0.05 * index, "left": -1.0} for index in range(20)]
    shown = scene(*edges, at=at, ground=(np.array([0.0, TARGET]), np.array([-2.0, -1.0])))
    picture = drawn(shown)
    assert all(f"{index + 1} thing {index}" in picture.words for index in range(20))
    for kind in ("side", "above"):
        frames = number_boxes(picture, kind)
        assert len(frames) == boxes or (not boxes and 3 < len(frames) < 20)
        ends = [(*one.min(axis=0), *one.max(axis=0)) for one in frames]
        for (a, b, c, d), (e, f, g, h) in combinations(ends, 2):
            assert c < e or g < a or d < f or h < b
        panel = picture.sheet(f"{kind}-panel")[:, 1].min()
        assert all(panel - 72 * 0.9 < top and low < panel for _, top, _, low in ends)
    sides = sorted(y for text, x, y in picture.placed() if x > 450)
    assert np.diff(sides).min() > 8.5


def test_numbers_take_nothing_of_a_view() -> None:
    edges = [{"bottom": 1.0, "left": -0.4}] * 20
    shown = scene(*edges, at=np.linspace(20.0, 21.9, 20), wind=8.0)
    picture = drawn(shown)
    for kind, sides in (("side", ("bottom", "top")), ("above", ("left", "right"))):
        ends = [getattr(shown.band, side) for side in sides] + [[1.0 if kind == "side" else -0.4]]
        low, high = (f(np.concatenate([*ends, [0.0]])) for f in (np.min, np.max))
        seen = np.sort(read(picture, shown, f"{kind}-panel")[:, 1])[[0, -1]]
        more = 0.06 * (high - low)
        assert seen == pytest.approx((low - more, high + more), abs=0.01 * (high - low))


def test_numbers_at_one_distance_stand_beside_each_other_led_to_it() -> None:
    shown = scene(*({"bottom": 1.0 + index} for index in range(4)), at=[20.0] * 4)
    picture = drawn(shown)
    middles = [0.5 * (one.min(axis=0) + one.max(axis=0)) for one in number_boxes(picture, "side")]
    assert np.diff([x for x, _ in middles]).min() > 8.0
    for index in range(4):
        foot = read(picture, shown, f"side-obstacle-{index}-number-leaders")
        assert foot[-1, 0] == pytest.approx(20.0, abs=1e-3)


def test_an_obstacle_far_out_of_view_is_named_and_said_to_be_outside() -> None:
    shown = scene({"top": -40.0}, {"bottom": 1.0}, at=[20.0, 25.0])
    picture = drawn(shown, length="mm")
    assert "side-obstacle-0" not in picture.names()
    assert "(outside this view)" in " ".join(picture.words.split())
    margin = shown.passed[0].margin
    assert f"clear by {margin:.3g} m" in picture.words  # not 40,000 mm


def flight(**changes: Any) -> Flown:
    return replace(scene().flown, **changes)


def test_a_flight_alone_is_drawn_without_what_is_not_known() -> None:
    shown = flight()
    picture = Pictured(path.trajectory(shown, SI, "svg"))
    picture.check_sound()
    points = scale(picture, shown)(picture.sheet("side-path"))
    assert points == pytest.approx(np.column_stack((shown.distance, shown.up)), abs=1e-5)
    assert not picture.names() & {"side-band", "side-face", "above-panel"}
    assert f"The path of an arrow to {TARGET:g} m" in picture.words
    assert f"falling by {-shown.descent_angle:.3g} rad" in picture.words


def test_a_flight_without_a_target_is_named_by_its_angle() -> None:
    shown = flight(target=None, launch_angle=0.05)
    picture = Pictured(path.trajectory(shown, SI, "svg"))
    assert "loosed at 0.05 rad" in picture.words and "side-aim" not in picture.names()


def test_a_path_that_rises_to_its_end_has_no_apex() -> None:
    shown = flight(descent_angle=0.1)
    picture = Pictured(path.trajectory(shown, SI, "svg"))
    assert "highest point, at the end" in picture.words and "apex" not in picture.words
    assert "rising by 0.1 rad" in picture.words


def test_high_paths_are_told_in_the_unit_of_distances() -> None:
    shown = flight()
    high = replace(shown, up=100.0 * shown.up, apex_height=100.0 * shown.apex_height)
    picture = Pictured(path.trajectory(high, {**SI, "length": "mm"}, "svg"))
    assert "over the line of sight (m)" in picture.words
    assert f"{high.apex_height:.3g} m over" in picture.words


@pytest.mark.parametrize("form", ["svg", "pdf"])
def test_the_same_scene_gives_the_same_bytes(form: Any) -> None:
    one = path.clearance(scene({"bottom": 1.0}, at=[20.0]), SI, form)
    assert one == path.clearance(scene({"bottom": 1.0}, at=[20.0]), SI, form)
    assert one != path.clearance(scene({"bottom": 1.1}, at=[20.0]), SI, form)


def test_an_obstacle_nearer_than_the_arrows_start_is_drawn_too() -> None:
    shown = scene({"left": 0.2}, at=[0.3])
    passed: Passed = shown.passed[0]
    assert passed.margin > 0.0 and shown.flown.distance[0] > 0.3
    assert "1 thing 0" in drawn(shown).words
