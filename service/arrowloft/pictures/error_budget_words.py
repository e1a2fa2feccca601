"""What a picture of an error budget says, beside what it shows and to those who cannot see it."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from arrowloft.core.chances.budget_scene import Scene
from arrowloft.core.chances.error_budget import Explained
from arrowloft.pictures.quantities import Quantities, digits

INPUTS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "speed": ("launch speed", "speed"),
        "mass": ("mass of the arrow", "mass"),
        "drag": ("drag of the arrow", "number"),
        "draw_length": ("draw length", "length"),
        "peep_height": ("height of the eye over the arrow", "length"),
        "anchor_sideways": ("anchor sideways", "length"),
        "torque": ("arrow's line turned", "angle"),
        "roll": ("bow rolled", "angle"),
        "aim_up": ("aim held high or low", "angle"),
        "aim_right": ("aim held aside", "angle"),
        "range": ("distance of the target", "distance"),
        "slope": ("slope of the line of sight", "angle"),
        "wind_along": ("wind along", "speed"),
        "wind_across": ("wind across", "speed"),
        "temperature": ("temperature of the air", "temperature"),
        "pressure": ("pressure of the air", "pressure"),
        "click": ("rounding to whole clicks", ""),
    }
)
"""Inputs in words, and the dimension of their scatter; a click has none."""

_SMALL = 0.05
"""A way on the target less than this share of the other is not named beside it."""

_KNOWN = 1e-5
"""Ways on the target are told to this, m."""


def title(scene: Scene) -> str:
    """What is drawn."""
    if scene.group is None:
        return "What each input adds to the scatter"
    return "What each input adds to the scatter, and what of the group it explains"


def subtitle(scene: Scene, figures: Quantities) -> list[str]:
    """The shot, and what is counted."""
    shot, group = scene.shot, scene.group
    text = (
        f"Arrow of {figures.text(float(shot.arrow.mass), 'mass')}, launched at "
        f"{figures.text(float(shot.launch_speed), 'speed')}."
    )
    if group is not None:
        sizes = _sizes(group.vertical, group.sideways, figures)
        way = figures.text(group.distance, "distance")
        text += f" The group's standard deviation is {sizes}, at {way}."
    return [f"{text} Each input is off by its own standard deviation; the sight keeps its mark."]


def _sizes(up: float, aside: float, figures: Quantities) -> str:
    return f"{_way(up, figures)} up and down, {_way(aside, figures)} sideways"


def _way(metres: float, figures: Quantities) -> str:
    return figures.text(round(metres / _KNOWN) * _KNOWN, "length")


def percent(share: float) -> str:
    """A share as a percentage."""
    value = 100.0 * share
    return "below 0.1 %" if 0.0 < value < 0.05 else f"{digits(float(f'{value:.1f}'))} %"


def scatter(name: str, value: float, figures: Quantities) -> str:
    """How much an input varies."""
    dimension = INPUTS[name][1]
    if not dimension:
        return "half a click either way"
    if dimension == "number":
        return f"{digits(100.0 * value)} % of it"
    # A difference: a temperature's scale may begin anywhere.
    off = float(figures.read(value, dimension) - figures.read(0.0, dimension))
    return f"{digits(off)} {figures.chosen[dimension]}"


def moved(up: float, aside: float, figures: Quantities) -> str:
    """How far an input scatters arrows on the target."""
    told = [
        f"{_way(value, figures)} {way}"
        for value, way, other in ((up, "up", aside), (aside, "aside", up))
        if value > _SMALL * other
    ]
    return ", ".join(told) or "nothing"


def of_input(scene: Scene, of: int, at: int, figures: Quantities) -> str:
    """One input at one distance."""
    budget = scene.budget
    name = budget.names[of]
    said = f"{INPUTS[name][0]}, {scatter(name, float(budget.scatter[of]), figures)}"
    share = float(budget.share[of, at])
    if np.isnan(share):
        return f"{said}: not known, so near to the reach"
    up, aside = float(budget.sd_up[of, at]), float(budget.sd_right[of, at])
    return f"{percent(share)} {said}: {moved(up, aside, figures)}"


def smaller(scene: Scene, some: Sequence[int], share: float) -> str:
    """Inputs of small shares, in one line."""
    names = ", ".join(INPUTS[scene.budget.names[of]][0] for of in some)
    return f"below {percent(share)} each: {names}"


def total(scene: Scene, at: int, figures: Quantities) -> str:
    """All inputs together at one distance."""
    budget = scene.budget
    way = figures.text(float(budget.distance[at]), "distance")
    sizes = _sizes(float(budget.total_up[at]), float(budget.total_right[at]), figures)
    return f"{way}: all inputs together make {sizes}"


def of_group(beside: Explained, at: int, figures: Quantities) -> tuple[str, str]:
    """The group at one distance: what of it is explained, and what is left."""
    size = _sizes(float(beside.up[at]), float(beside.right[at]), figures)
    share = float(beside.share[at])
    left = moved(float(beside.left_up[at]), float(beside.left_right[at]), figures)
    return (
        f"{percent(share)} of the group ({size}) explained",
        f"{percent(1.0 - share)} of it unexplained: {left}",
    )


def captions(scene: Scene, figures: Quantities, shown: Sequence[int]) -> list[str]:
    """What stands under the picture.  shown: rows that are drawn."""
    budget = scene.budget
    said = []
    known = np.isfinite(budget.scatter)
    if known.any():
        text = "Bars: parts of the variance of all inputs of known scatter, up and sideways."
        if (known & ~budget.widens).any():
            text += (
                " Hatched upward, what varies from arrow to arrow; hatched downward, what stays "
                "as it is through an end and moves the whole group."
            )
        said.append(text)
    if scene.beside is not None:
        said.append(
            "The last bar of a distance is the group itself: hatched, what the inputs that vary "
            "from arrow to arrow explain of its variance; blank, the unexplained rest."
        )
    missing = [INPUTS[n][0] for n, has in zip(budget.names, known, strict=True) if not has]
    if missing:
        said.append(f"No scatter was given for: {', '.join(missing)}.")
    if len(shown) < budget.distance.size:
        said.append(f"Drawn are {len(shown)} of {budget.distance.size} distances.")
    return [*said, *scene.cautions]


def described(scene: Scene, figures: Quantities, shown: Sequence[int], said: Sequence[str]) -> str:
    """The picture in words; shown: rows that are drawn.  said: the captions."""
    budget = scene.budget
    told = []
    for at in shown:
        told.append(f"{total(scene, at, figures)}.")
        known = np.flatnonzero(np.isfinite(budget.scatter))
        order = sorted(known, key=lambda of: -float(np.nan_to_num(budget.share[of, at])))
        told += [f"{of_input(scene, int(of), at, figures)}." for of in order]
        if scene.beside is not None:
            told += [f"{one}." for one in of_group(scene.beside, at, figures)]
    head = "Shares of the scatter by input, as bars, for each distance."
    return " ".join([head, *subtitle(scene, figures), *told, *said])
