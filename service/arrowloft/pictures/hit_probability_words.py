"""What a picture of hits says, beside what it shows and to those who cannot see it."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.chances.hit_probability import CONFIDENCE, HitProbability
from arrowloft.core.chances.hit_scene import Scene
from arrowloft.core.chances.zones import Face, Zone
from arrowloft.pictures.quantities import Quantities, digits

CAUSES: Mapping[str, str] = MappingProxyType(
    {
        "group": "your own scatter",
        "speed": "uneven launch speed",
        "roll": "a rolled bow",
        "range": "a wrong guess of the distance",
        "wind_along": "a wrong guess of the wind along",
        "wind_across": "a wrong guess of the wind across",
        "mark": "marks not quite known",
        "movement_along": "the target moves along",
        "movement_across": "the target moves across",
    }
)
"""Causes in words."""

_SURE = f"{100.0 * CONFIDENCE:.0f} %"

_COSTS = 5e-3
"""Gain from which on it is said."""


def title(scene: Scene) -> str:
    """What is drawn."""
    score = isinstance(scene.target, Face)
    return "How likely an arrow hits, and what it scores" if score else "How likely an arrow hits"


def target(scene: Scene, figures: Quantities) -> str:
    """What should be hit."""
    aim = scene.target
    if isinstance(aim, Face):
        return f"a face of {figures.text(2.0 * aim.radii[0], 'length')}, where a hit scores"
    wide, high = (figures.text(2.0 * one, "length") for one in (aim.half_width, aim.half_height))
    if aim.round and aim == Zone.circle(aim.half_height):
        return f"a circle of {high}"
    shape = "an ellipse" if aim.round else "a rectangle"
    return f"{shape}, {wide} wide and {high} high"


def subtitle(scene: Scene, figures: Quantities) -> list[str]:
    """The shot, the group and the target."""
    shot, group = scene.aiming.shot, scene.aiming.archer.group
    sizes = [figures.text(one, "length") for one in (group.vertical, group.sideways)]
    size = f"{sizes[0]} up and down and {sizes[1]} sideways" if sizes[0] != sizes[1] else sizes[0]
    rests = f", found from {group.arrows} arrows" if group.arrows else ""
    wind = float(shot.wind_speed)
    blows = f", in a wind of {figures.text(wind, 'speed')}" if wind else ""
    return [
        f"At {target(scene, figures)}, with an arrow of "
        f"{figures.text(float(shot.arrow.mass), 'mass')} launched at "
        f"{figures.text(float(shot.launch_speed), 'speed')}{blows}. The group's standard deviation "
        f"is {size} at {figures.text(group.distance, 'distance')}{rests}."
    ]


def percent(share: float) -> str:
    """A share as a percentage; ends are named only where they are reached."""
    value = 100.0 * share
    if 0.0 < value < 0.05:
        return "below 0.1 %"
    if 99.95 < value < 100.0:
        return "above 99.9 %"
    return f"{digits(float(f'{value:.1f}'))} %"


def exactly(share: float) -> str:
    """A share as the caller gave it."""
    return f"{digits(100.0 * share, 4)} %"


def known(values: Array) -> tuple[int, ...]:
    """Positions of the first and the last value that is known; none, one or two."""
    at = np.flatnonzero(np.isfinite(values))
    return tuple(sorted({int(at[0]), int(at[-1])})) if at.size else ()


def over(values: Array, found: HitProbability, figures: Quantities) -> str:
    """A share at the first and at the last distance at which it is known."""
    told = [
        f"{percent(float(values[at]))} at {figures.text(float(found.distance[at]), 'distance')}"
        for at in known(values)
    ]
    return ", ".join(told) if told else "not known"


def interval(found: HitProbability) -> str:
    """Where the last chance lies, as the group rests on few arrows."""
    at = known(found.low)
    if not at:
        return ""
    low, high = float(found.low[at[-1]]), float(found.high[at[-1]])
    return f"there, with {_SURE}, between {percent(low)} and {percent(high)}"


def scored(found: HitProbability, figures: Quantities) -> str:
    """Mean points at the first and the last distance."""
    assert found.score is not None and found.score_sd is not None
    told = [
        f"{digits(float(found.score[at]))} ± {digits(float(found.score_sd[at]), 2)} at "
        f"{figures.text(float(found.distance[at]), 'distance')}"
        for at in known(found.score)
    ]
    return ", ".join(told) if told else "not known"


def gained(gain: Array) -> str:
    """What a cause costs at the last distance."""
    at = known(gain)
    if not at or abs(float(gain[at[-1]])) < _COSTS:
        return ""
    value = float(gain[at[-1]])
    way = "more" if value > 0.0 else "fewer"
    return f"without it {percent(abs(value)).removesuffix(' %')} in 100 {way} hit there"


def farthest(scene: Scene, figures: Quantities) -> list[str]:
    """How far the probability wanted holds."""
    found, wanted = scene.farthest, scene.wanted
    if found is None or wanted is None:
        return []
    asked = exactly(wanted)
    if np.isnan(found.distance):
        return [f"Nowhere is {asked} reached: there is no sensible distance to name."]
    way = figures.text(found.distance, "distance")
    if found.whole:
        said = f"{asked} or more hit at every distance looked at, up to {way}."
    else:
        said = f"{asked} or more hit up to {way}."
    if np.isnan(found.surely):
        return [said]
    return [f"{said} Allowing for the few arrows of the group: {surely(scene, figures)}."]


def surely(scene: Scene, figures: Quantities) -> str:
    """The same for the low end of the interval."""
    assert scene.farthest is not None
    return f"surely up to {figures.text(scene.farthest.surely, 'distance')}"


def captions(scene: Scene, figures: Quantities) -> list[str]:
    """What stands under the picture."""
    found = scene.curve
    said = farthest(scene, figures)
    if np.isfinite(found.low).any():
        said.append(
            f"Hatched band: where the chance lies with {_SURE}, as the group rests on few arrows."
        )
    elif found.known.any():
        said.append("How many arrows the group rests on is not known: no band about the chance.")
    if not found.known.all():
        said.append(
            "Where a curve is missing, a guess within the errors has no mark, or its arrow does "
            "not arrive."
        )
    if np.nanmax(found.error, initial=0.0) > 1e-3:
        most = percent(float(np.nanmax(found.error)))
        said.append(f"Errors are so large that chances may be wrong by {most} at most.")
    said.append("Shares are parts of the variance of the impact, up and sideways together.")
    return [*said, *scene.cautions]


def described(scene: Scene, figures: Quantities, said: Sequence[str]) -> str:
    """The picture in words; said: the captions."""
    found = scene.curve
    rows = []
    for way in scene.asked:
        at = int(np.searchsorted(found.distance, way))
        rows.append(f"{figures.text(float(way), 'distance')}: {_row(found, at)}.")
    causes = [
        f"{CAUSES[name]}: {over(found.share[at], found, figures)}."
        for at, name in enumerate(found.causes)
    ]
    head = "Chance of a hit over distance, and what each cause has to do with the scatter."
    return " ".join([head, *subtitle(scene, figures), *rows, "Shares.", *causes, *said])


def _row(found: HitProbability, at: int) -> str:
    if not found.known[at]:
        return "not known"
    text = f"{percent(float(found.probability[at]))} hit"
    if np.isfinite(found.low[at]):
        low, high = percent(float(found.low[at])), percent(float(found.high[at]))
        text += f", between {low} and {high}"
    if found.score is not None:
        text += f", mean score {digits(float(found.score[at]))}"
    return text
