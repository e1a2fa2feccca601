"""The picture of a calibration: marks before and after, ends beside them, nothing lost."""

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from calibration_setups import ends, marks, plain_shot, prior, sight
from pictured import SVG, XLINK, Pictured, Scale

from arrowloft.core.archer.groups import Group
from arrowloft.core.learning.calibration_scene import CalibrationScene, calibration_scene
from arrowloft.core.learning.observations import SpeedReading
from arrowloft.core.learning.range_session import Aims, learn, range_session
from arrowloft.core.sight.marks import mark_table
from arrowloft.pictures import calibration

SI = {"distance": "m", "length": "m", "speed": "m/s", "mass": "kg", "angle": "rad"}
SHOT, SIGHT = plain_shot(), sight(zero_distance=18.0)
GROUP = Group(distance=30.0, vertical=0.03, sideways=0.03, arrows=24)
DISTANCE = np.array([20.0, 40.0, 60.0])
HEIGHTS = {18.0: 0.003, 40.0: 0.05, 60.0: 0.12}


def scene(
    heights: dict[float, float] = HEIGHTS,
    names: Any = (),
    distances: np.ndarray = DISTANCE,
    *,
    predicted: bool = True,
    readings: int = 0,
) -> CalibrationScene:
    """Arrows shot with predicted marks that came to these heights, {distance: m}."""
    observations = ends(SHOT, marks(SHOT, SIGHT, list(heights)), list(heights.values()))
    observations += [SpeedReading(shot=SHOT, distance=30.0, speed=80.0, uncertainty=0.5)] * readings
    aims = Aims(
        distances=distances,
        tolerance=1e-3 * distances,
        confidence=0.95,
        butts=np.array([20.0, 40.0, 60.0]),
        arrows=6,
    )
    session = range_session(learn(SHOT, SIGHT, prior(), observations, group=GROUP), aims)
    named = [*names, *[("", False)] * (len(observations) - len(names))]
    return calibration_scene(SHOT, SIGHT, aims, session, observations, named, predicted=predicted)


def drawn(shown: CalibrationScene, **chosen: str) -> Pictured:
    picture = Pictured(calibration.picture(shown, {**SI, **chosen}, "svg"))
    picture.check_sound()
    return picture


def scale(picture: Pictured, shown: CalibrationScene) -> Scale:
    """Of the travels, by the zero and the farthest corrected mark."""
    sheet = np.array([picture.marks("zero-mark")[0], picture.sheet("travel")[-1]])
    far = shown.curve.table.distance[-1], shown.curve.travel[-1]
    return Scale(sheet, np.array([(18.0, 0.0), far]))


def heights(picture: Pictured, shown: CalibrationScene) -> Scale:
    """Of the heights beside the corrected mark."""
    zero, far = picture.sheet("off-zero")[0], picture.sheet("predicted-off")[-1]
    assert shown.predicted is not None
    curve = shown.curve
    off = (shown.predicted.travel[-1] - curve.travel[-1]) * curve.rise[-1]
    left = picture.sheet("predicted-off")[0]
    near, last = curve.table.distance[[0, -1]]
    start = last - (far[0] - zero[0]) * (last - near) / (far[0] - left[0])
    return Scale(np.array([zero, far]), np.array([(start, 0.0), (last, off)]))


def test_marks_before_and_after_stand_where_they_are() -> None:
    shown = scene()
    picture = drawn(shown)
    read = scale(picture, shown)
    table = mark_table(SHOT, SIGHT, DISTANCE)
    before = read(picture.sheet("predicted"))
    assert np.interp(DISTANCE, *before.T) == pytest.approx(table.travel, abs=2e-6)
    told = np.column_stack((DISTANCE, shown.session.marks.travel))
    assert read(picture.marks("travel-rows")) == pytest.approx(told, abs=1e-6)
    band = read(picture.sheet("travel-band"))
    last = band[np.isclose(band[:, 0], 60.0, atol=1e-3), 1]
    assert np.ptp(last) == pytest.approx(2 * shown.session.marks.uncertainty[-1], rel=1e-3)
    assert picture.style("predicted", "stroke-dasharray")
    assert not picture.style("travel", "stroke-dasharray")


def test_ends_stand_at_the_marks_that_would_have_centred_them() -> None:
    shown = scene()
    picture = drawn(shown)
    read, table = scale(picture, shown), mark_table(SHOT, SIGHT, np.array(list(HEIGHTS)))
    for place, (distance, up) in enumerate(HEIGHTS.items()):
        [point] = read(picture.marks(f"mark-{place}"))
        # To bring arrows down that came high, the pin goes up by their height over the rise.
        wanted = table.travel[place] - up / (table.rise_per_tangent[place] / SIGHT.radius)
        assert point == pytest.approx((distance, wanted), abs=1.5e-5)


def test_beside_the_corrected_mark_ends_and_bars_are_what_the_fit_leaves_over() -> None:
    shown = scene()
    picture = drawn(shown)
    read = heights(picture, shown)
    expected = shown.session.expected
    for place, (distance, up) in enumerate(HEIGHTS.items()):
        [point] = read(picture.marks(f"off-{place}"))
        assert point == pytest.approx((distance, up - expected.value[place]), abs=1e-5)
        bar = read(picture.sheet(f"off-{place}-bar"))[:, 1]
        assert np.ptp(bar) == pytest.approx(2 * expected.deviation[place], rel=1e-3)
    high = read(picture.sheet("tolerance-high"))
    assert high[-1] == pytest.approx((60.0, 0.06), abs=1e-5)
    assert high[0, 0] == pytest.approx(20.0, abs=1e-3)  # none is told nearer
    assert "tolerance, 0.06 m either way" in picture.words


def test_an_end_in_its_own_wind_and_slope_is_held_against_the_set_ups_marks() -> None:
    uphill = plain_shot(slope=0.5)
    table, own = mark_table(SHOT, SIGHT, DISTANCE[-1:]), mark_table(uphill, SIGHT, DISTANCE[-1:])
    zero = mark_table(SHOT, SIGHT, np.array([18.0])).launch_angle[0]
    travel = SIGHT.radius * (np.tan(own.launch_angle[0]) - np.tan(zero))
    assert abs(travel - table.travel[0]) > 1e-3
    observations = ends(uphill, {60.0: travel}, 0.0)
    aims = Aims(
        distances=DISTANCE,
        tolerance=1e-3 * DISTANCE,
        confidence=0.95,
        butts=DISTANCE,
        arrows=6,
    )
    session = range_session(learn(SHOT, SIGHT, prior(), observations, group=GROUP), aims)
    shown = calibration_scene(
        SHOT, SIGHT, aims, session, observations, [("", True)], predicted=True
    )
    assert shown.ends[0].travel == pytest.approx(table.travel[0], abs=1e-5)
    assert "Diamonds: proven marks" in drawn(shown).words


def test_a_slip_that_was_set_aside_is_at_the_edge_and_flattens_nothing() -> None:
    shown = scene({**HEIGHTS, 50.0: -3.0}, [("", False)] * 3 + [("slip", False)])
    assert [end.status for end in shown.ends] == ["used"] * 3 + ["set-aside"]
    picture = drawn(shown)
    assert {"off-3-beyond", "off-0"} <= picture.names() and "off-3" not in picture.names()
    panel = np.ptp(picture.sheet("off-panel")[:, 1])
    assert np.ptp(picture.sheet("off-band")[:, 1]) > 0.1 * panel
    edge = picture.sheet("off-panel")[:, 1].max()
    assert picture.marks("off-3-beyond")[0, 1] == pytest.approx(edge, abs=1e-3)
    assert sample_of(picture, "slip") == mark_of(picture, "off-3-beyond")
    assert sample_of(picture, "arrows") == mark_of(picture, "off-0")
    assert "at 50 m, set aside" in picture.words and "slip: -" in picture.description


def mark_of(picture: Pictured, name: str) -> tuple[list[int], bool]:
    """How many corners a mark's shapes have, and whether it is filled with ink."""
    uses = list(picture.group(name).iter(f"{SVG}use"))
    drawn_as = {str(use.get(XLINK)).removeprefix("#") for use in uses}
    every = [one for one in picture.root.iter(f"{SVG}path") if one.get("id") in drawn_as]
    [style] = {str(use.get("style")) for use in uses}
    return [len(re.findall("[MLC]", one.get("d", ""))) for one in every], "#ffffff" not in style


def sample_of(picture: Pictured, name: str) -> tuple[list[int], bool]:
    """The same of the mark before a name beside the panel of heights."""
    at = next((x, y) for text, x, y in picture.placed() if text == name)
    samples = [one for one in picture.names() if re.fullmatch(r"off-label-\d+-sample", one)]
    marked = [one for one in samples if picture.marks(one).size]
    nearest = min(marked, key=lambda one: abs(picture.marks(one)[0, 1] - at[1]))
    return mark_of(picture, nearest)


def test_a_mark_that_is_crossed_or_open_is_so_beside_its_name() -> None:
    shown = scene({**HEIGHTS, 50.0: 0.09}, [("", False)] * 3 + [("slip", False)])
    for status, crossed in (("set-aside", True), ("in-doubt", False), ("used", False)):
        ends_ = (*shown.ends[:3], replace(shown.ends[3], status=status, off=0.0))
        picture = drawn(replace(shown, ends=ends_))
        shape, filled = sample_of(picture, "slip")
        assert (shape, filled) == mark_of(picture, "off-3") and filled == (status == "used")
        crosses = [one for one in picture.names() if one.endswith("sample-cross")]
        assert ("off-3-aside" in picture.names()) is bool(crosses) is crossed


def test_all_marks_of_a_usual_table_have_a_label_and_of_more_it_is_said() -> None:
    picture = drawn(scene(distances=np.arange(20.0, 81.0, 10.0)))
    assert all(f"{way} m: " in picture.words for way in range(20, 81, 10))
    assert "Not all" not in picture.words
    more = drawn(scene(distances=np.arange(20.0, 81.0, 5.0)))
    for said in (more.words, more.description):
        assert "Not all marks have a label: 7 of 13 do." in said


STRANGE = ("$\\frac{1}$ <b>bold</b> &amp; more", "</desc><script>", "Läufer \u76f4\uffff -->")


def test_names_are_taken_as_they_are() -> None:
    picture = drawn(scene(names=[(name, False) for name in STRANGE]))
    for name in STRANGE[:2]:
        assert name in picture.description
        assert all(word in picture.words for word in name.split())
    assert "\u76f4\ufffd" in picture.description and "are boxes" in picture.words


def test_what_was_found_and_what_comes_next_is_told() -> None:
    shown = scene(readings=2)
    picture = drawn(shown)
    fit = shown.session.judged.calibration
    assert f"Found: launch speed {fit.values[0]:.3g} m/s ±" in picture.words
    assert "Not drawn, but counted in: 2 measured speeds." in picture.words
    advice = shown.session.advice
    assert advice.done and "Every mark asked for is now within" in picture.description
    early = scene({}, readings=1)
    [first, *_] = early.session.advice.plan
    at = early.aims.butts[first.index]
    assert f"Next: {first.arrows} arrows at {at:.0f} m." in drawn(early).words


def test_without_a_launch_model_there_is_no_mark_from_before() -> None:
    picture = drawn(scene(predicted=False))
    assert not {"predicted", "predicted-off"} & picture.names()
    assert "launched at" not in picture.words and "predicted" not in picture.words


def test_an_end_where_the_set_up_does_not_come_is_left_out_of_the_marks() -> None:
    near = plain_shot(launch_forward=0.0, tip_lead=0.0)
    observations = ends(near, {0.9: 0.0, 40.0: marks(SHOT, SIGHT, [40.0])[40.0]}, [0.0, 0.01])
    aims = Aims(
        distances=DISTANCE, tolerance=1e-3 * DISTANCE, confidence=0.95, butts=DISTANCE, arrows=6
    )
    session = range_session(learn(SHOT, SIGHT, prior(), observations, group=GROUP), aims)
    shown = calibration_scene(
        SHOT, SIGHT, aims, session, observations, [("", False)] * 2, predicted=True
    )
    assert np.isnan(shown.ends[0].travel) and np.isfinite(shown.ends[1].travel)
    picture = drawn(shown)
    assert "mark-0" not in picture.names() and {"mark-1", "off-0"} <= picture.names()


@pytest.mark.parametrize(
    ("heights_", "distances"),
    [
        ({}, [18.0]),
        ({18.0: 0.0}, [18.0]),
        (HEIGHTS, [60.0, 20.0, 60.0]),
        (HEIGHTS, np.linspace(10.0, 80.0, 1000)),
        ({15.0 + at: 0.001 * at for at in range(30)}, [50.0]),
    ],
    ids=["nothing seen", "the zero alone", "unsorted", "many rows", "many ends"],
)
def test_every_session_is_drawn(heights_: dict[float, float], distances: Any) -> None:
    shown = scene(heights_, distances=np.array(distances, dtype=float))
    picture = drawn(shown)
    assert {"travel-panel", "off-panel"} <= picture.names()
    assert len([one for one in picture.names() if one.startswith("off-label")]) <= 24
    if not heights_:
        assert "No arrows were shot yet." in picture.words
    if len(heights_) == 30:
        assert "Of 30 ends, the 6 that lie farthest off" in picture.words
        assert all(f"off-{place}" in picture.names() for place in range(30))


def test_the_same_scene_gives_the_same_bytes() -> None:
    first = calibration.picture(scene(), SI, "pdf")
    assert calibration.picture(scene(), SI, "pdf") == first
    assert calibration.picture(scene(readings=1), SI, "pdf") != first
