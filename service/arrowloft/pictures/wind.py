"""The picture of the wind's effect: a fan of drifts over distance, and the change of height."""

from collections.abc import Mapping

import numpy as np

from arrowloft.core.sight.wind_scene import WindScene
from arrowloft.pictures import wind_words as words
from arrowloft.pictures.frame import Form
from arrowloft.pictures.quantities import Quantities
from arrowloft.pictures.stacked import Panel, stacked
from arrowloft.pictures.wind_panels import Fan

_MATTERS = 0.005
"""Change of height, m, from which on it is drawn."""


def picture(scene: WindScene, chosen: Mapping[str, str], form: Form) -> bytes:
    """The scene as a picture.

    chosen: unit of each dimension; those of distance, length, angle, speed and mass are used.
    """
    figures = Quantities(chosen)
    fan = Fan.of(scene, figures, "drift")
    panels = [Panel("drift-panel", "Drift with the still-air mark", fan.height, fan)]
    if float(np.nanmax(np.abs(scene.up), initial=0.0)) >= _MATTERS:
        up = Fan.of(scene, figures, "up")
        title = "Change of height with the still-air mark"
        panels.append(Panel("up-panel", title, up.height, up))
    said = words.captions(scene, figures, drawn_up=len(panels) > 1)
    return stacked(
        "wind",
        words.title(scene),
        words.subtitle(scene, figures),
        panels,
        said,
        words.described(scene, figures, said),
        form,
    )
