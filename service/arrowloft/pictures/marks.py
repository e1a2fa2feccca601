"""The picture of sight marks: travel over distance, and how sure the marks are."""

from collections.abc import Mapping

from arrowloft.core.sight.marks_scene import MarksScene
from arrowloft.pictures import marks_words as words
from arrowloft.pictures.frame import Form
from arrowloft.pictures.marks_panels import Heights, Travels
from arrowloft.pictures.quantities import Quantities
from arrowloft.pictures.stacked import Panel, stacked


def picture(scene: MarksScene, chosen: Mapping[str, str], form: Form) -> bytes:
    """The scene as a picture.

    chosen: unit of each dimension; those of distance, length, speed, mass and angle are used.
    """
    figures = Quantities(chosen)
    travels = Travels.of(scene, figures)
    panels = [Panel("travel-panel", "Travel of the pin", travels.height, travels)]
    heights = Heights.of(scene, figures)
    if heights is not None:
        title = "What that is as height at the target"
        panels.append(Panel("height-panel", title, heights.height, heights))
    said = words.captions(scene, figures)
    return stacked(
        "mark-table",
        words.TITLE,
        words.subtitle(scene, figures),
        panels,
        said,
        words.described(scene, figures, said),
        form,
    )
