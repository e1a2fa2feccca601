"""What a comparison's picture says, beside what it shows and to those who cannot see it."""

import numpy as np

from arrowloft.core.arrays import Array, Mask
from arrowloft.core.comparing.scene import Curve, Law, Scene
from arrowloft.pictures.quantities import Quantities, boxed, digits, readable, signed

CAUTION = (
    "These are answers of models, not measurements: prove a mark by shooting it where every arrow "
    "comes down safely."
)

_KNOWN = 1e-6
"""Impacts are known so well, m."""


def title(scene: Scene) -> str:
    """What differs."""
    launches, drags = len(scene.launches), len(scene.drags)
    if launches == drags == 1:
        return "One launch model and one drag model, with nothing beside them"
    if launches == 1:
        return f"The same shot with {_count(drags, 'drag', scene.repeated[1])}"
    if drags == 1:
        return f"The same shot with {_count(launches, 'launch', scene.repeated[0])}"
    if not any(scene.repeated):
        return f"The same shot with {launches} launch and {drags} drag models"
    some = (_count(launches, "launch", scene.repeated[0]), _count(drags, "drag", scene.repeated[1]))
    return f"The same shot with {some[0]} and {some[1]}"


def _count(count: int, kind: str, repeated: bool) -> str:
    """So many models; of one with several sets of parameters, what they give."""
    plural = {"launch": "launches", "drag": "drags"}[kind]
    return f"{count} {plural if repeated else f'{kind} models'}"


def label(scene: Scene, curve: Curve) -> str:
    """A lane by what sets it apart."""
    launch, drag = scene.launches[curve.launch], scene.drags[curve.drag]
    if len(scene.launches) == 1:
        return drag
    return launch if len(scene.drags) == 1 else f"{launch}, {drag}"


def subtitle(scene: Scene, figures: Quantities) -> list[str]:
    """The shot, and what is kept."""
    speeds = figures.span(min(scene.speeds), max(scene.speeds), "speed")
    wind = f", in a wind of {figures.text(scene.wind_speed, 'speed')}" if scene.wind_speed else ""
    base = label(scene, scene.curves[scene.baseline])
    return [
        f"Arrow of {figures.text(scene.arrow_mass, 'mass')}, launched at {speeds}{wind}. Every "
        f"arrow is shot with the mark of “{base}”, the baseline, at each distance."
    ]


def last(curve: Curve, values: Array) -> int | None:
    """The farthest point of a curve that has a value; None: it has none."""
    known = np.flatnonzero(np.isfinite(values))
    return int(known[-1]) if known.size else None


def ending(scene: Scene, curve: Curve, values: Array, figures: Quantities, *, parts: bool) -> str:
    """How far off a lane is at its end, and where it parts."""
    at = last(curve, values)
    if at is None:
        return "nowhere"
    known = round(float(values[at]) / _KNOWN) * _KNOWN
    off = signed(float(figures.read(known, "length")))
    way = figures.text(float(curve.distance[at]), "distance")
    short = ", the last it reaches" if curve.distance[at] < scene.distance[-1] else ""
    said = f"{off} {figures.chosen['length']} at {way}{short}"
    return f"{said}; {parting(scene, curve, figures)}{trust(curve)}" if parts else said


def trust(curve: Curve) -> str:
    """What is said of a lane that left a range in which its models may be trusted."""
    return "; beyond what its models are trusted for" if curve.left else ""


def parting(scene: Scene, curve: Curve, figures: Quantities) -> str:
    """Where a lane parts from the baseline."""
    several = len(tolerances(scene, figures)) > 1
    names = {"height": " by height", "right": " sideways", "clicks": " by clicks"}
    names = names if several else {}
    found = [
        f"{figures.text(way, 'distance')}{names.get(kind, '')}"
        for kind, way in curve.parts.items()
        if np.isfinite(way)
    ]
    return f"parts at {', '.join(found)}" if found else "never parts"


def of_law(law: Law) -> str:
    """Least and greatest coefficient flown."""
    some = flown(law)
    if not some.any():
        return "never flown"
    low, high = float(law.coefficient[some].min()), float(law.coefficient[some].max())
    first, second = digits(low, 4), digits(high, 4)
    return first if first == second else f"{first} to {second} as flown"


def flown(law: Law) -> Mask:
    """Which points of a law were flown and have a value."""
    low, high = law.flown
    close = 1e-9 * high
    found: Mask = (
        (law.reynolds >= low - close)
        & (law.reynolds <= high + close)
        & np.isfinite(law.coefficient)
    )
    return found


def tolerances(scene: Scene, figures: Quantities) -> list[str]:
    """The tolerances, each in words."""
    found = []
    if scene.height is not None:
        found.append(f"{figures.text(scene.height, 'length')} of height")
    if scene.aside is not None:
        found.append(f"{figures.text(scene.aside, 'length')} to either side")
    if scene.clicks is not None:
        found.append(f"{digits(scene.clicks)} click{'' if scene.clicks == 1.0 else 's'}")
    return found


def captions(scene: Scene, figures: Quantities, named: int, within: bool) -> list[str]:
    """What stands under the picture.

    named: lanes that have a name.  within: no impact is farther off than the tolerance.
    """
    said = _parted(scene, figures)
    if within and scene.height is not None and len(scene.curves) > 1:
        said.append(
            "No lane hits farther above or below the baseline than the tolerance of "
            f"{figures.text(scene.height, 'length')}."
        )
    if named < len(scene.curves):
        said.append(
            f"Of {len(scene.curves)} lanes, the baseline and those that end highest and lowest "
            "are named; the others are thin lines."
        )
    missing = [curve for curve in scene.curves if last(curve, curve.up) is None]
    if missing:
        some = ", ".join(f"“{label(scene, curve)}”" for curve in missing[:6])
        more = f" and {len(missing) - 6} more" if len(missing) > 6 else ""
        said.append(f"Not drawn, as no arrow arrives: {some}{more}.")
    return [*said, *boxed((*scene.launches, *scene.drags)), CAUTION]


def _parted(scene: Scene, figures: Quantities) -> list[str]:
    """What the marks of partings mean, where there are any."""
    if not any(np.isfinite(list(curve.parts.values())).any() for curve in scene.curves):
        return []
    every = (
        ("rings", scene.height),
        ("open squares", scene.aside),
        ("open diamonds", scene.clicks),
    )
    shapes = [shape for shape, tolerance in every if tolerance is not None]
    first, *others = [
        f"{shape}: {{}}by more than {text}"
        for shape, text in zip(shapes, tolerances(scene, figures), strict=True)
    ]
    first = first.format("where a lane first differs from the baseline ")
    text = "; ".join([first, *(other.format("") for other in others)])
    return [f"{text[:1].upper()}{text[1:]}."]


def described(scene: Scene, figures: Quantities, said: list[str]) -> str:
    """The picture in words; said: the captions."""
    lanes = []
    for index, curve in enumerate(scene.curves):
        name = label(scene, curve)
        if index == scene.baseline:
            lanes.append(f"{name}: the baseline{trust(curve)}.")
        else:
            lanes.append(f"{name}: {ending(scene, curve, curve.up, figures, parts=True)}.")
    laws = [
        f"Drag coefficient of {name}: {of_law(law)}."
        for name, law in zip(scene.drags, scene.laws, strict=True)
    ]
    head = "Height of the impact over distance, and drag coefficient over Reynolds number."
    text = " ".join([head, *subtitle(scene, figures), *lanes, *laws, *said])
    return readable(text)
