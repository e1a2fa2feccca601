"""The picture of hits: chances where they are, how far is sensible, and what costs them."""

from typing import Any

import numpy as np
import pytest
from clearance_setups import shot_of
from pictured import Pictured, Scale

from arrowloft.core.archer.groups import Group
from arrowloft.core.chances.aim_errors import CAUSES, AimErrors, Movement
from arrowloft.core.chances.hit_probability import GROUP, Aiming, Archer
from arrowloft.core.chances.hit_scene import Scene, curve_over
from arrowloft.core.chances.sensible_distance import Sensible
from arrowloft.core.chances.zones import Face, Zone
from arrowloft.pictures import hit_probability
from arrowloft.pictures import hit_probability_words as words

SI = {"distance": "m", "length": "m", "speed": "m/s", "mass": "kg"}
ASKED = np.array([12.0, 20.0, 40.0])
NAN = float("nan")


def scene(
    target: Any = None,
    asked: Any = ASKED,
    farthest: Sensible | None = None,
    wanted: float | None = None,
    arrows: int | None = 12,
    **errors: Any,
) -> Scene:
    """A group of 3 cm at 20 m, and what else is off."""
    aiming = Aiming(
        shot=shot_of(),
        archer=Archer(group=Group(distance=20.0, vertical=0.03, sideways=0.03, arrows=arrows)),
        errors=AimErrors(**errors),
    )
    target = target or Zone.circle(0.08)
    return Scene(
        asked=asked,
        curve=curve_over(aiming, target, asked, farthest),
        aiming=aiming,
        target=target,
        wanted=wanted,
        farthest=farthest,
        cautions=("No licence to shoot.",),
    )


def drawn(shown: Scene, **chosen: str) -> Pictured:
    picture = Pictured(hit_probability.picture(shown, {**SI, **chosen}, "svg"))
    picture.check_sound()
    return picture


def scale(picture: Pictured, shown: Scene) -> Scale:
    """By the ends of the chances' curve."""
    line, found = picture.sheet("chance"), shown.curve
    data = np.column_stack((found.distance, 100.0 * found.probability))
    return Scale(line[[0, -1]], data[[0, -1]])


def test_the_chance_is_drawn_between_the_distances_asked_for_as_well() -> None:
    shown = scene()
    picture, found = drawn(shown), shown.curve
    read = scale(picture, shown)
    points = read(picture.sheet("chance"))
    told = np.column_stack((found.distance, 100.0 * found.probability))
    assert len(points) > 20 and points == pytest.approx(told, abs=1e-3)
    marks = read(picture.marks("chance-rows"))
    assert marks[:, 0] == pytest.approx(ASKED, abs=1e-3)
    # The scale of the axis is that of per cent: a hundred is where the nearest chance is 1.
    panel = read(picture.sheet("chance-panel"))[:, 1]
    assert (panel.min(), panel.max()) == pytest.approx((0.0, 102.0), abs=0.01)


def test_few_arrows_make_a_band_and_an_unknown_number_none() -> None:
    shown = scene()
    picture = drawn(shown)
    band = scale(picture, shown)(picture.sheet("interval"))
    at = int(np.argmin(shown.curve.low))
    assert band[:, 1].min() == pytest.approx(100.0 * shown.curve.low[at], abs=1e-2)
    assert "Hatched band: where the chance lies with 90 %" in picture.words
    bare = drawn(scene(arrows=None))
    assert "interval" not in bare.names() and "no band about the chance" in bare.words


def test_the_farthest_sensible_distance_is_marked_where_the_curve_has_the_chance() -> None:
    plain = scene().curve
    way = float(np.interp(-0.9, -plain.probability, plain.distance))
    far = Sensible(distance=way, surely=way - 3.0, ends_at=60.0, whole=False)
    shown = scene(farthest=far, wanted=0.9)
    picture = drawn(shown)
    read = scale(picture, shown)
    assert read(picture.sheet("farthest"))[:, 0] == pytest.approx(way, abs=1e-3)
    assert read(picture.sheet("surely"))[:, 0] == pytest.approx(way - 3.0, abs=1e-3)
    assert read(picture.sheet("wanted"))[:, 1] == pytest.approx(90.0, abs=1e-3)
    assert f"90 % or more hit up to {way:.3g} m." in picture.words
    assert f"surely up to {way - 3:.3g} m" in picture.description
    none = drawn(scene())
    assert not none.names() & {"wanted", "farthest", "surely"} and "wanted" not in none.words


def test_beyond_the_distances_asked_for_the_curve_goes_on_to_the_farthest() -> None:
    far = Sensible(distance=55.0, surely=NAN, ends_at=55.0, whole=True)
    shown = scene(farthest=far, wanted=0.2)
    assert shown.curve.distance[-1] == 55.0
    picture = drawn(shown)
    assert "up to 55 m and perhaps farther" in picture.words
    assert "at every distance looked at, up to 55 m" in picture.words
    assert "surely" not in picture.names()


def test_a_probability_that_is_nowhere_reached_is_said() -> None:
    far = Sensible(distance=NAN, surely=NAN, ends_at=60.0, whole=False)
    picture = drawn(scene(farthest=far, wanted=0.9999))
    assert "Nowhere is 99.99 % reached" in picture.words
    assert not picture.names() & {"farthest", "surely"}


def test_a_face_adds_the_mean_score_and_the_inner_ten() -> None:
    shown = scene(Face.of_ten_rings(0.6))
    picture, found = drawn(shown), shown.curve
    assert found.score is not None and found.inner is not None
    chances = picture.sheet("chance-panel")[:, 1]
    ten = 102.0 * (chances.max() - picture.sheet("inner-ten")[:, 1]) / np.ptp(chances)
    assert ten == pytest.approx(100.0 * found.inner, abs=1e-2)
    line = picture.sheet("score")[:, 1]
    panel = picture.sheet("score-panel")[:, 1]
    points = 10.2 * (panel.max() - line) / np.ptp(panel)
    assert points == pytest.approx(found.score, abs=1e-3)
    assert f"{found.score[0]:.3g} ± {found.score_sd[0]:.2g} at 12 m" in picture.words  # type: ignore[index]
    assert "score" not in drawn(scene()).names()


def test_every_cause_has_its_share_in_a_line_of_its_own() -> None:
    errors = {
        "speed": 0.5,
        "roll": 0.03,
        "range": 1.0,
        "wind_along": 1.0,
        "wind_across": 1.0,
        "mark_distances": np.array([20.0]),
        "mark_angles": np.array([0.001]),
        "movement": Movement(scatter=0.3),
    }
    shown = scene(**errors)
    picture, found = drawn(shown), shown.curve
    assert found.causes == (GROUP, *CAUSES) == tuple(words.CAUSES)
    panel = picture.sheet("causes-panel")[:, 1]
    styles = set()
    for at, name in enumerate(found.causes):
        line = picture.sheet(f"cause-{at}")[:, 1]
        share = 102.0 * (panel.max() - line) / np.ptp(panel)
        assert share == pytest.approx(100.0 * found.share[at], abs=1e-2)
        told = words.over(found.share[at], found, words_figures())
        assert f"{words.CAUSES[name]}: {told}." in picture.description
        styles.add((picture.style(f"cause-{at}", "stroke-dasharray"), name == GROUP))
    assert len(styles) >= 8  # told apart without colour; marks differ as well


def words_figures() -> Any:
    from arrowloft.pictures.quantities import Quantities

    return Quantities(SI)


def test_what_a_cause_costs_is_said_at_the_far_end() -> None:
    shown = scene(range=3.0)
    gain = float(shown.curve.gain[1, -1])
    assert gain > 0.01
    text = f"without it {100 * gain:.1f}".rstrip("0").rstrip(".")
    assert f"{text} in 100 more hit there" in drawn(shown).words


def test_one_distance_is_marks() -> None:
    shown = scene(Face.of_ten_rings(0.6), asked=np.array([30.0]), range=1.0)
    picture = drawn(shown)
    [mark] = picture.marks("chance-rows")
    panel = picture.sheet("chance-panel")
    share = 102.0 * (panel[:, 1].max() - mark[1]) / np.ptp(panel[:, 1])
    assert share == pytest.approx(100.0 * shown.curve.probability[0], abs=1e-2)
    assert "interval" in picture.names()


def test_distances_that_a_label_names_lie_in_view_beside_one_distance_too() -> None:
    far = Sensible(distance=27.0, surely=21.0, ends_at=60.0, whole=False)
    shown = scene(asked=np.array([30.0]), farthest=far, wanted=0.5)
    picture = drawn(shown)
    assert {"farthest", "surely"} <= picture.names() and "surely up to 21 m" in picture.words
    sheet = [picture.sheet(name)[0, 0] for name in ("surely", "farthest", "chance")]
    panel = picture.sheet("chance-panel")[:, 0]
    assert panel.min() < sheet[0] < sheet[1] <= panel.max()
    [mark] = picture.marks("chance-rows")
    assert (mark[0] - sheet[0]) / (sheet[1] - sheet[0]) == pytest.approx(9.0 / 6.0, abs=1e-3)


@pytest.mark.parametrize("asked", [ASKED, ASKED[:1]])
def test_where_nothing_is_known_the_picture_says_so(asked: Any) -> None:
    shown = scene(asked=asked, range=12.0, target=Face.of_ten_rings(0.6))
    nothing = {
        name: np.full_like(np.asarray(value), np.nan)
        for name, value in vars(shown.curve).items()
        if isinstance(value, np.ndarray)
        and value.dtype == float
        and name not in ("distance", "time")
    }
    curve = type(shown.curve)(
        **{**vars(shown.curve), **nothing, "known": np.zeros(shown.curve.known.size, dtype=bool)}
    )
    picture = drawn(Scene(**{**vars(shown), "curve": curve}))
    assert "an arrow hits not known" in picture.words
    assert "Where a curve is missing" in picture.words
    assert f"{asked[0]:g} m: not known." in picture.description


def test_zones_are_told_by_their_shape() -> None:
    figures = words_figures()
    wide = Zone(half_height=0.1, half_width=0.2)
    assert words.target(scene(wide), figures) == "an ellipse, 0.4 m wide and 0.2 m high"
    box = Zone(half_height=0.1, half_width=0.1, round=False)
    assert words.target(scene(box), figures) == "a rectangle, 0.2 m wide and 0.2 m high"
    assert words.target(scene(), figures) == "a circle of 0.16 m"


@pytest.mark.parametrize("form", ["svg", "pdf"])
def test_the_same_scene_gives_the_same_bytes(form: Any) -> None:
    one = hit_probability.picture(scene(), SI, form)
    assert one == hit_probability.picture(scene(), SI, form)
    assert one != hit_probability.picture(scene(range=1.0), SI, form)
