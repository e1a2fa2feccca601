"""The picture of a calibration: marks before and after, and what the ends say of them."""

from collections.abc import Mapping

from arrowloft.core.learning.calibration_scene import CalibrationScene
from arrowloft.pictures import calibration_words as words
from arrowloft.pictures.calibration_panels import Corrected, Off
from arrowloft.pictures.frame import Form
from arrowloft.pictures.quantities import Quantities
from arrowloft.pictures.stacked import Panel, stacked


def picture(scene: CalibrationScene, chosen: Mapping[str, str], form: Form) -> bytes:
    """The scene as a picture.

    chosen: unit of each dimension; those of distance, length, speed, mass and angle are used.
    """
    figures = Quantities(chosen)
    corrected, off = Corrected.of(scene, figures), Off.of(scene, figures)
    said = words.captions(scene, figures, off.named)
    return stacked(
        "calibration",
        words.TITLE,
        words.subtitle(scene, figures),
        [
            Panel("travel-panel", "Travel of the pin", corrected.height, corrected),
            Panel("off-panel", "Height at the target, the corrected mark held", off.height, off),
        ],
        said,
        words.described(scene, figures, said),
        form,
    )
