"""The picture of the roll tolerance: how far a bow may roll, and what rolls do, over distance."""

from collections.abc import Mapping

from arrowloft.core.level.cant_scene import CantScene
from arrowloft.pictures import cant_tolerance_words as words
from arrowloft.pictures.cant_tolerance_panels import Rolls, Shifts
from arrowloft.pictures.frame import Form
from arrowloft.pictures.quantities import Quantities
from arrowloft.pictures.stacked import Panel, stacked


def picture(scene: CantScene, chosen: Mapping[str, str], form: Form) -> bytes:
    """The scene as a picture.

    chosen: unit of each dimension; those of distance, length, angle, speed and mass are used.
    """
    figures = Quantities(chosen)
    rolls = Rolls.of(scene, figures)
    aside, up = (Shifts.of(scene, figures, way) for way in ("right", "up"))
    said = words.captions(scene, figures)
    return stacked(
        "cant-tolerance",
        words.TITLE,
        words.subtitle(scene, figures),
        [
            Panel("roll-panel", "Roll that keeps the impact within the allowance", 3.1, rolls),
            Panel("right-panel", "Shift of the impact sideways", aside.height, aside),
            Panel("up-panel", "Shift of the impact in height", up.height, up),
        ],
        said,
        words.described(scene, figures, said),
        form,
    )
