"""What a picture of the roll tolerance says, and what it says to those who cannot see it."""

from collections.abc import Sequence

import numpy as np

from arrowloft.core.flight.motion import sideways
from arrowloft.core.level.cant_scene import CantScene
from arrowloft.core.level.roll_series import MOST_ROLL
from arrowloft.pictures.over_distance import listed, named_rows, shot_in_words, some_named
from arrowloft.pictures.quantities import Quantities, readable, signed

TITLE = "How level the bow must be held"

_KNOWN = 1e-7
"""Shifts are known so well, m."""


def subtitle(scene: CantScene, figures: Quantities) -> list[str]:
    """The shot, and what is allowed."""
    allowance = scene.curve.allowance
    allowed = figures.span(float(allowance[0]), float(allowance[-1]), "length")
    return [
        f"{shot_in_words(figures, scene.shot)}. The pin is held on the aim point while the bow is "
        f"rolled; the impact may be off by {allowed} from where a level bow's arrow hits."
    ]


def most_text(figures: Quantities, roll: float) -> str:
    """A largest roll, or that there is none."""
    return "no roll leaves it" if np.isnan(roll) else f"at most {figures.text(roll, 'angle')}"


def cant_name(figures: Quantities, cant: float, *, both: bool) -> str:
    """A cant in words; both: it stands for the same to the other side too."""
    if cant == 0.0:
        return "level"
    size = figures.text(abs(cant), "angle")
    return f"{size} {'either way' if both else 'right' if cant > 0.0 else 'left'}"


def shift_text(figures: Quantities, shift: float) -> str:
    """A shift and its unit, signed."""
    known = round(shift / _KNOWN) * _KNOWN
    return f"{signed(float(figures.read(known, 'length')))} {figures.chosen['length']}"


def captions(scene: CantScene, figures: Quantities) -> list[str]:
    """What stands under the picture."""
    said = [
        "Hatched: rolls that keep the impact within the allowance. Right and left: the way the "
        "top limb leans."
    ]
    said += _nowhere(scene, figures)
    count = len(named_rows(figures, scene.asked))
    said += some_named(count, scene.asked.size, "distances")
    if scene.roll_scatter is not None:
        usual = figures.text(scene.roll_scatter, "angle")
        said.append(f"Dash-dotted: the archer's usual roll, one standard deviation of {usual}.")
    if scene.live is not None:
        at, roll = scene.live
        lean = figures.text(abs(roll), "angle")
        way = "" if roll == 0.0 else " to the right" if roll > 0.0 else " to the left"
        inside = "within" if _inside(scene) else "outside"
        said.append(
            f"Star: the reading of {lean}{way} at {figures.text(at, 'distance')}, {inside} the "
            "allowance."
        )
    said += _missing(scene, figures)
    return [*said, "These are a model's answers: hold the bow level whatever they allow."]


def _nowhere(scene: CantScene, figures: Quantities) -> list[str]:
    """Where no roll leaves the allowance."""
    curve = scene.curve
    none = np.isnan(curve.max_cant)
    if not none.any():
        return []
    most = figures.text(MOST_ROLL, "angle")
    if none.all():
        return [f"No roll up to {most} leaves the allowance at any of these distances."]
    shown = figures.text(float(curve.distance[none].max()), "distance")
    return [f"Up to about {shown} no roll up to {most} leaves the allowance."]


def _inside(scene: CantScene) -> bool:
    assert scene.live is not None
    at, roll = scene.live
    curve = scene.curve
    side = curve.max_cant_left if roll < 0.0 else curve.max_cant_right
    most = float(side[int(np.searchsorted(curve.distance, at))])
    return bool(np.isnan(most) or abs(roll) <= most)


def _missing(scene: CantScene, figures: Quantities) -> list[str]:
    """Cants whose arrows never arrive at some distances."""
    curve = scene.curve
    gone = np.isnan(curve.right).any(axis=0)
    if not gone.any():
        return []
    some = listed([cant_name(figures, float(cant), both=False) for cant in curve.cants[gone]])
    return [f"Curves end where the canted bow's arrow never comes to the target: {some}."]


def described(scene: CantScene, figures: Quantities, said: Sequence[str]) -> str:
    """The picture in words; said: the captions."""
    curve = scene.curve
    chosen = named_rows(figures, scene.asked)
    rows = []
    for place in chosen:
        row = int(np.searchsorted(curve.distance, scene.asked[place]))
        at = figures.text(float(curve.distance[row]), "distance")
        if sideways(scene.shot):
            right, left = (
                most_text(figures, float(side[row]))
                for side in (curve.max_cant_right, curve.max_cant_left)
            )
            rows.append(f"{at}: to the right {right}, to the left {left}.")
        else:
            rows.append(f"{at}: {most_text(figures, float(curve.max_cant[row]))} either way.")
    far = figures.text(float(curve.distance[-1]), "distance")
    shifts = [
        f"Canted {cant_name(figures, float(cant), both=False)}: "
        f"{shift_text(figures, float(curve.right[-1, index]))} to the right and "
        f"{shift_text(figures, float(curve.up[-1, index]))} up at {far}."
        for index, cant in enumerate(curve.cants)
        if np.isfinite(curve.right[-1, index])
    ]
    head = "Largest roll of the bow over distance, and shifts of the impact by some cants."
    if len(chosen) < scene.asked.size:
        head += f" {len(chosen)} of {scene.asked.size} distances:"
    return readable(" ".join([head, *subtitle(scene, figures), *rows, *shifts, *said]))
