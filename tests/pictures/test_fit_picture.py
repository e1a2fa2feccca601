"""The picture of fits: residuals where they are, bands as wide as they are, every model named."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from pictured import Pictured, Scale

from arrowloft import units
from arrowloft.core.fitting.coefficients import Coefficients
from arrowloft.core.fitting.scene import Fitted, Rows, Scene, rows_of
from arrowloft.core.fitting.series import Readings, Series, Track
from arrowloft.pictures import fit

NAN = float("nan")
SI = {"distance": "m", "time": "s"}
WAY = np.array([3.0, 20.0, 35.0, 50.0, 70.0])
REYNOLDS = np.linspace(18e3, 20.5e3, 41)


def fitted(place: int = 0, **changes: Any) -> Fitted:
    """A model with residuals that rise along the way."""
    given: dict[str, Any] = {
        "label": f"model {place}",
        "residuals": (1.0 + 0.3 * place) * np.linspace(-1.5, 1.8, 5),
        "unknowns": 2,
        "chi_square": 3.4 + place,
        "degrees": 3,
        "weight": 0.5**place,
        "drag": Coefficients(
            REYNOLDS, (1.9 + 0.2 * place) * (REYNOLDS / 2e4) ** -0.5, np.full(41, 0.03)
        ),
    }
    return Fitted(**{**given, **changes})


def scene(count: int = 3, **changes: Any) -> Scene:
    """Models fitted to five speeds."""
    rows = Rows(
        kind=np.zeros(5, dtype=np.intp),
        series=np.zeros(5, dtype=np.intp),
        distance=WAY,
        time=np.full(5, NAN),
    )
    models = tuple(fitted(place) for place in range(count))
    given = {"rows": rows, "fitted": models, "failed": (), "names": (None,)}
    return Scene(**{**given, **changes})


def drawn(shown: Scene, **chosen: str) -> Pictured:
    picture = Pictured(fit.picture(shown, {**SI, **chosen}, "svg"))
    picture.check_sound()
    return picture


def residuals(picture: Pictured, place: int = 0, kind: int = 0, series: int = 0) -> Any:
    """Marks, their height by the two bands: one and two standard uncertainties."""
    marks = picture.marks(f"residuals-{place}-{kind}-{series}")
    wide = picture.sheet(f"band-{place}-2")
    narrow = picture.sheet(f"band-{place}-1")
    assert np.ptp(wide[:, 1]) == pytest.approx(2.0 * np.ptp(narrow[:, 1]))
    zero = picture.sheet(f"zero-{place}")[0, 1]
    assert 0.5 * (wide[:, 1].min() + wide[:, 1].max()) == pytest.approx(zero)
    return marks[:, 0], (zero - marks[:, 1]) * 4.0 / np.ptp(wide[:, 1])


def test_residuals_stand_at_their_distances_in_their_uncertainties() -> None:
    shown = scene()
    picture = drawn(shown)
    for place, one in enumerate(shown.fitted):
        x, height = residuals(picture, place)
        assert height == pytest.approx(one.residuals, abs=0.01)
        assert (x - x[0]) / (x[-1] - x[0]) == pytest.approx((WAY - 3.0) / 67.0, abs=1e-6)
    assert "distance (m)" in picture.words


def test_panels_share_a_scale_unless_one_model_is_far_off() -> None:
    def bands(picture: Pictured) -> list[float]:
        return [float(np.ptp(picture.sheet(f"band-{p}-2")[:, 1])) for p in range(2)]

    near = bands(drawn(scene(2)))
    assert near[0] == pytest.approx(near[1])
    off = bands(drawn(scene(fitted=(fitted(), fitted(1, residuals=np.linspace(-40, 40, 5))))))
    assert off[0] == pytest.approx(near[0]) and off[1] < 0.1 * off[0]


def test_drag_stands_over_reynolds_number_with_a_band_of_one_uncertainty() -> None:
    shown = scene()
    picture = drawn(shown)
    ends = [
        (shown.fitted[p].drag.coefficient[at], REYNOLDS[at] / 1e3) for p, at in ((0, 0), (2, -1))
    ]
    sheet = np.array([picture.sheet("law-0")[0], picture.sheet("law-2")[-1]])
    read = Scale(sheet, np.array([(x, y) for y, x in ends]))
    for place, one in enumerate(shown.fitted):
        points = read(picture.sheet(f"law-{place}"))
        assert points == pytest.approx(
            np.column_stack((REYNOLDS / 1e3, one.drag.coefficient)), abs=1e-5
        )
        band = read(picture.sheet(f"doubt-{place}"))
        at_end = band[np.abs(band[:, 0] - 20.5) < 1e-6, 1]
        middle = one.drag.coefficient[-1]
        assert (at_end.min(), at_end.max()) == pytest.approx(
            (middle - 0.03, middle + 0.03), abs=1e-5
        )


def test_what_is_not_known_has_no_band_and_says_so() -> None:
    at_bound = replace(fitted().drag, uncertainty=np.full(41, NAN))
    given = replace(fitted(1).drag, uncertainty=np.zeros(41))
    picture = drawn(scene(fitted=(fitted(drag=at_bound), fitted(1, drag=given), fitted(2))))
    assert {n for n in picture.names() if n.startswith("doubt-")} == {"doubt-2"}
    assert "uncertainty not known" in picture.words
    assert "no parameter of it fitted" in picture.words


def test_every_model_is_named_and_judged() -> None:
    picture = drawn(scene(3, failed=("broken <one>",)))
    for place in range(3):
        assert f"{place + 1}. model {place}" in picture.words
        assert f"chi² {3.4 + place:g}, 3 degrees of freedom" in picture.words
        assert f"{place + 1}. model {place}: chi²" in picture.description
    assert "5 measured values (speeds). By AIC," in picture.words
    assert "the best is “model 0”, of weight 1.000, closely followed by" in picture.words
    far = drawn(scene(fitted=(fitted(), fitted(1, weight=0.1))))
    assert "of weight 1.000." in far.words
    assert "Could not be fitted: “broken <one>”." in picture.words
    alone = drawn(scene(1))
    assert "How well the model fits" in alone.words and "AIC" not in alone.words


def test_of_many_models_the_best_have_panels() -> None:
    picture = drawn(scene(10))
    assert {n for n in picture.names() if n.startswith("residuals-") and n.endswith("-0-0")} == {
        f"residuals-{place}-0-0" for place in range(3)
    }
    assert "law-7" in picture.names() and "law-8" not in picture.names()
    assert "Residuals of the best 3 of 10 are drawn, and the drag of the best 8." in picture.words
    assert "10. model 9" in picture.description


def several() -> Scene:
    """Two series: speeds and drops, and an arrow tracked."""
    first = Series(
        shot=None,  # type: ignore[arg-type]
        speeds=Readings(distance=WAY[:2], value=WAY[:2], uncertainty=WAY[:2]),
        drops=Readings(distance=WAY[2:4], value=WAY[:2], uncertainty=WAY[:2]),
    )
    time, right = np.array([0.1, 0.5]), np.array([NAN, 0.02])
    track = Track(
        time=time, distance=50 * time, height=time, right=right, uncertainty=np.full(2, 0.01)
    )
    rows = rows_of([first, Series(shot=None, track=track)])  # type: ignore[arg-type]
    count = rows.kind.size
    one = fitted(residuals=np.linspace(-2.0, 2.0, count))
    return scene(fitted=(one,), rows=rows, names=("gates", None))


def test_rows_stand_in_the_order_of_the_predictions() -> None:
    rows = several().rows
    assert rows.kind.tolist() == [0, 0, 2, 2, 3, 3, 4, 4, 5]
    assert rows.series.tolist() == [0] * 4 + [1] * 5
    assert rows.distance.tolist() == [3, 20, 35, 50, 5, 25, 5, 25, 25]
    assert rows.time[4:].tolist() == [0.1, 0.5, 0.1, 0.5, 0.5] and np.isnan(rows.time[:4]).all()


def test_kinds_have_marks_of_their_own_and_series_are_filled_or_not() -> None:
    shown = several()
    picture = drawn(shown)
    for kind, series in ((0, 0), (2, 0), (3, 1), (4, 1), (5, 1)):
        some = (shown.rows.kind == kind) & (shown.rows.series == series)
        _, height = residuals(picture, 0, kind, series)
        assert height == pytest.approx(shown.fitted[0].residuals[some], abs=0.01)
    shapes = [
        picture.group(f"residuals-0-{kind}-{series}").findall(".//*[@d]")[0].get("d")
        for kind, series in ((0, 0), (2, 0), (3, 1), (4, 1), (5, 1))
    ]
    assert len(set(shapes)) == 5
    assert "Circles: speeds; triangles that point down: drops; " in picture.words
    assert "Filled marks: gates; open marks: series 1." in picture.words
    open_mark = picture.group("residuals-0-4-1").findall(".//*[@d]")[0].get("style", "")
    assert "fill" not in open_mark or "fill-opacity: 0" in open_mark or "fill: none" in open_mark


def test_tracked_arrows_alone_are_drawn_over_time() -> None:
    shown = several()
    some = slice(4, None)
    rows = Rows(**{name: value[some] for name, value in vars(shown.rows).items()})
    one = fitted(residuals=np.linspace(-2.0, 2.0, 5))
    picture = drawn(scene(rows=rows, fitted=(one,)), time="ms")
    assert "time (ms)" in picture.words
    assert "distance (" not in picture.words
    x, _ = residuals(picture, 0, 3, 1 - 0)
    assert np.ptp(x) > 200


def test_units_are_the_readers() -> None:
    picture = drawn(scene(), distance="yd")
    labels = [text for text, _, _ in picture.placed()]
    assert "distance (yd)" in labels and "70" in labels
    assert units.from_si(70.0, "distance", "yd") > 76


def test_labels_are_taken_as_they_are() -> None:
    strange = "$\\frac{1}$ <b>&amp; Ж — é"
    shown = scene(fitted=(fitted(label=strange), fitted(1, label="w" * 60), fitted(2, label="直")))
    picture = drawn(shown)
    assert f"1. {strange}" in picture.words
    assert strange in picture.description and "3. 直" in picture.description
    assert "w" * 60 in picture.words.replace(" ", "")
    assert "lacks are boxes" in picture.words


@pytest.mark.parametrize("size", [0.0, 1e-9, 1e4])
def test_no_residuals_and_huge_ones_are_drawn(size: float) -> None:
    drawn(scene(fitted=(fitted(residuals=size * np.linspace(-1.0, 1.0, 5)),)))


def test_one_value_at_one_distance_is_drawn() -> None:
    rows = Rows(
        kind=np.zeros(1, dtype=np.intp),
        series=np.zeros(1, dtype=np.intp),
        distance=WAY[:1],
        time=np.array([NAN]),
    )
    picture = drawn(scene(rows=rows, fitted=(fitted(residuals=np.array([0.4])),)))
    assert "1 measured value (speeds)." in picture.words


def test_the_same_scene_gives_the_same_bytes() -> None:
    assert fit.picture(scene(), SI, "svg") == fit.picture(scene(), SI, "svg")
    assert fit.picture(scene(), SI, "svg") != fit.picture(scene(2), SI, "svg")
