"""The picture of an error budget: every share as a bar and in words, and the group's rest."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from clearance_setups import shot_of
from pictured import Pictured

from arrowloft import units
from arrowloft.api.chances.budget_members import CLICK
from arrowloft.api.chances.budget_members import INPUTS as TAKEN
from arrowloft.core.archer.groups import Group
from arrowloft.core.chances.budget_inputs import click_input, usual_inputs
from arrowloft.core.chances.budget_scene import Scene
from arrowloft.core.chances.error_budget import error_budget, explained
from arrowloft.pictures import error_budget as pictures
from arrowloft.pictures.error_budget_words import INPUTS, scatter
from arrowloft.pictures.quantities import Quantities

SI = {
    "distance": "m",
    "length": "m",
    "angle": "rad",
    "speed": "m/s",
    "mass": "kg",
    "temperature": "K",
    "pressure": "Pa",
}
GIVEN = {"speed": 0.3, "roll": 0.02, "aim_up": 8e-4, "aim_right": 8e-4, "range": 0.8}
GROUP = Group(distance=40.0, vertical=0.06, sideways=0.07)


def scene(
    distances: Any = (20.0, 50.0), group: Group | None = GROUP, given: Any = None, **changes: Any
) -> Scene:
    """A budget of some inputs beside a group."""
    shot = shot_of()
    inputs = usual_inputs(shot, 0.8, None)
    given = GIVEN if given is None else given
    inputs = {name: replace(one, scatter=given.get(name)) for name, one in inputs.items()}
    budget = error_budget(shot, np.array(distances), inputs | changes)
    beside = None if group is None else explained(budget, group)
    return Scene(budget=budget, shot=shot, group=group, beside=beside, cautions=("Take care.",))


def drawn(shown: Scene, **chosen: str) -> Pictured:
    picture = Pictured(pictures.picture(shown, {**SI, **chosen}, "svg"))
    picture.check_sound()
    return picture


def wide(picture: Pictured, name: str, place: int) -> float:
    """Width of a bar, per cent of its panel."""
    panel = np.ptp(picture.sheet(f"panel-{place}")[:, 0])
    return float(100.0 * np.ptp(picture.sheet(name)[:, 0]) / panel)


def test_every_share_is_a_bar_from_nought() -> None:
    shown = scene()
    picture, budget = drawn(shown), shown.budget
    seen = 0
    for place in range(2):
        left = picture.sheet(f"panel-{place}")[:, 0].min()
        for of, name in enumerate(budget.names):
            share = budget.share[of, place]
            bar = f"bar-{place}-{name}"
            if np.isfinite(share) and share >= 0.005:
                assert wide(picture, bar, place) == pytest.approx(100.0 * share, abs=1e-3)
                assert picture.sheet(bar)[:, 0].min() == pytest.approx(left, abs=1e-3)
                seen += 1
            else:
                assert bar not in picture.names()
    assert seen >= 8


def test_bars_are_in_order_and_stand_beside_their_words() -> None:
    shown = scene()
    picture, budget = drawn(shown), shown.budget
    places = {text: y for text, _, y in picture.placed()}
    order = np.argsort(-np.nan_to_num(budget.share[:, 0]), kind="stable")
    heights = []
    for of in order[: int((budget.share[:, 0] >= 0.005).sum())]:
        name = budget.names[of]
        bar = picture.sheet(f"bar-0-{name}")[:, 1]
        heights.append(bar.mean())
        share = f"{100 * budget.share[of, 0]:.1f}".removesuffix(".0")
        words = [y for text, y in places.items() if text.startswith(f"{share} % {INPUTS[name][0]}")]
        assert min(abs(y - bar.mean()) for y in words) < 9.0
    assert heights == sorted(heights)


def test_values_are_told_in_the_readers_units() -> None:
    shown = scene()
    picture, budget = drawn(shown, length="mm", speed="ft/s"), shown.budget
    of = budget.names.index("speed")
    speed = units.from_si(0.3, "speed", "ft/s")
    up = 1e3 * budget.sd_up[of, 1]
    share = f"{100 * budget.share[of, 1]:.1f}".removesuffix(".0")
    words = " ".join(picture.description.split())
    assert f"{share} % launch speed, {speed:.3g} ft/s: {up:.3g} mm up." in words
    total = 1e3 * budget.total_up[1]
    assert f"50 m: all inputs together make {total:.3g} mm up and down" in picture.words


def test_the_group_is_a_bar_of_what_is_explained_and_the_rest() -> None:
    shown = scene()
    picture, beside = drawn(shown), shown.beside
    assert beside is not None
    for place in range(2):
        share = 100.0 * beside.share[place]
        assert 5.0 < share < 95.0
        assert wide(picture, f"explained-{place}", place) == pytest.approx(share, abs=1e-3)
        rest = picture.sheet(f"unexplained-{place}")[:, 0]
        assert rest.max() == pytest.approx(picture.sheet(f"panel-{place}")[:, 0].max(), abs=1e-2)
        assert wide(picture, f"unexplained-{place}", place) == pytest.approx(100 - share, abs=1e-3)
        assert f"{100 - share:.1f}".removesuffix(".0") + " % of it unexplained" in picture.words
    assert picture.style("unexplained-0", "stroke-dasharray")
    assert "url(#" in (picture.style("explained-0", "fill") or "")


def test_without_a_group_nothing_is_said_of_one() -> None:
    picture = drawn(scene(group=None))
    assert "group" not in picture.words.replace("whole group", "")
    assert not any(name.startswith(("explained", "unexplained")) for name in picture.names())


def test_what_moves_the_whole_group_is_hatched_the_other_way() -> None:
    picture = drawn(scene())
    fills = {picture.style(f"bar-1-{name}", "fill") for name in ("aim_up", "aim_right", "roll")}
    assert len(fills) == 1
    assert picture.style("bar-1-range", "fill") not in fills
    assert "moves the whole group" in picture.words
    alone = drawn(scene(given={"speed": 0.3}))
    assert "moves the whole group" not in alone.words


def test_small_shares_stand_in_one_line_and_missing_ones_are_named() -> None:
    shown = scene(given={**GIVEN, "temperature": 0.1, "pressure": 10.0})
    picture = drawn(shown)
    assert "below 0.5 % each: temperature of the air, pressure of the air" in picture.words
    assert "No scatter was given for: mass of the arrow, drag of the arrow" in picture.words
    assert "temperature of the air, 0.1 K" in picture.description


@pytest.mark.parametrize("given", [{}, {"roll": 0.0}, {"speed": 0.3}])
def test_few_inputs_and_none_are_drawn(given: dict[str, float]) -> None:
    for group in (None, GROUP):
        picture = drawn(scene(given=given, group=group))
        assert "20 m: all inputs together make" in picture.words


def test_of_many_distances_the_ends_and_some_between_are_drawn() -> None:
    shown = scene(distances=np.linspace(60.0, 20.0, 9))
    picture = drawn(shown)
    titles = [text for text, _, _ in picture.placed() if "all inputs together" in text]
    assert [title.split(":")[0] for title in titles] == ["20 m", "35 m", "45 m", "60 m"]
    assert "Drawn are 4 of 9 distances." in picture.words


def test_a_share_that_is_not_known_has_words_and_no_bar() -> None:
    budget = scene().budget
    of = budget.names.index("range")
    lost = {name: getattr(budget, name).copy() for name in ("up", "sd_up", "sd_right", "share")}
    for values in lost.values():
        values[of, 1] = np.nan
    picture = drawn(replace(scene(), budget=replace(budget, **lost)))
    assert "distance of the target, 0.8 m: not known" in picture.words
    assert "bar-1-range" not in picture.names() and "bar-0-range" in picture.names()


def test_a_click_is_told_as_one() -> None:
    picture = drawn(scene(click=click_input(0.8, 2e-4)))
    assert "rounding to whole clicks, half a click either way" in picture.description


def test_every_input_that_is_taken_has_its_words_and_dimension() -> None:
    assert set(INPUTS) == {*TAKEN, CLICK}
    for name, taken in TAKEN.items():
        assert INPUTS[name][1] == taken.dimension


def test_a_difference_of_temperatures_begins_at_nought_in_every_unit() -> None:
    figures = Quantities({"temperature": "degF"})
    assert scatter("temperature", 5.0, figures) == "9 degF"
    assert scatter("drag", 0.03, figures) == "3 % of it"


@pytest.mark.parametrize("form", ["svg", "pdf"])
def test_the_same_scene_gives_the_same_bytes(form: Any) -> None:
    one = pictures.picture(scene(), SI, form)
    assert one == pictures.picture(scene(), SI, form)
    assert one != pictures.picture(scene(given={"speed": 0.2}), SI, form)
