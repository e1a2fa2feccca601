"""The picture of a comparison: impacts over distance, and the drag laws they come from."""

from collections.abc import Mapping

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.comparing.scene import Scene
from arrowloft.pictures import comparison_words as words
from arrowloft.pictures.comparison_panels import Impacts, Laws
from arrowloft.pictures.ends import named as named_ends
from arrowloft.pictures.frame import Form
from arrowloft.pictures.quantities import Quantities
from arrowloft.pictures.stacked import Panel, stacked

_ASIDE = 0.005
"""Difference aside, m, from which on it is drawn; less where a smaller tolerance is asked for."""


def picture(scene: Scene, chosen: Mapping[str, str], form: Form) -> bytes:
    """The scene as a picture.

    chosen: unit of each dimension; those of distance, length, speed and mass are used.
    """
    figures = Quantities(chosen)
    named = named_ends([_end(curve.up) for curve in scene.curves], scene.baseline)
    up = Impacts.of(scene, figures, named, "up")
    panels = [Panel("up-panel", "Height of the impact, the baseline's mark kept", up.height, up)]
    if _matters_aside(scene):
        aside = Impacts.of(scene, figures, named, "right")
        title = "The impact aside, no windage set"
        panels.append(Panel("right-panel", title, aside.height, aside))
    laws = Laws.of(scene, named_ends([_end(law.coefficient) for law in scene.laws]))
    title = "Drag coefficient on the shaft's cross-section; bold where it is flown"
    panels.append(Panel("drag-panel", title, laws.height, laws))
    said = words.captions(scene, figures, len(named), up.within)
    return stacked(
        "comparison",
        words.title(scene),
        words.subtitle(scene, figures),
        panels,
        said,
        words.described(scene, figures, said),
        form,
    )


def _end(values: Array) -> float:
    known = values[np.isfinite(values)]
    return float(known[-1]) if known.size else float("nan")


def _matters_aside(scene: Scene) -> bool:
    """Whether the wind sets lanes apart by as much as is looked for."""
    far = [float(np.nanmax(np.abs(c.right))) for c in scene.curves if np.isfinite(c.right).any()]
    least = min([_ASIDE, *(one for one in (scene.height, scene.aside) if one is not None)])
    return max(far, default=0.0) >= least
