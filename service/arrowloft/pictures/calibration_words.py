"""What a calibration's picture says, beside what it shows and to those who cannot see it."""

from collections.abc import Sequence

import numpy as np

from arrowloft.core.learning.calibration_scene import CalibrationScene, SeenEnd
from arrowloft.core.learning.unknowns import DRAG, SPEED
from arrowloft.pictures.marks_words import mark_words, setting_words, travel_text
from arrowloft.pictures.over_distance import SAFELY, doubt_of, named_rows, shot_in_words, some_named
from arrowloft.pictures.quantities import Quantities, boxed, digits, readable, signed

TITLE = "Sight marks before and after the range"

SHAPES = {False: ("o", "circles"), True: ("D", "diamonds")}
"""Whether a mark is proven -> its shape and what that is called."""

_SAID = {"used": "", "in-doubt": ", in doubt", "set-aside": ", set aside"}
_KNOWN = 1e-7
"""Heights are known so well, m."""


def subtitle(scene: CalibrationScene, figures: Quantities) -> list[str]:
    """The shot, what was found of it, and what comes next."""
    fit, zero = scene.session.judged.calibration, scene.sight.zero_distance
    speed = figures.text(float(fit.values[SPEED]), "speed")
    drag = digits(float(fit.values[DRAG]))
    found = (
        f"Found: launch speed {speed} "
        f"{doubt_of(figures, float(fit.uncertainties[SPEED]), 'speed')}, drag {drag} times what "
        f"the model says, ± {digits(float(fit.uncertainties[DRAG]), 2)}."
    )
    count = f"Travel counts from where the pin stands at {figures.text(zero, 'distance')}, the zero"
    # Without a launch model the speed is a mere start of the search, and nobody's.
    shot = f"{shot_in_words(figures, scene.shot)}. " if scene.predicted is not None else ""
    return [
        f"{shot}{count}; it is positive where the pin moves down.",
        f"{found} {_next(scene, figures)}",
    ]


def _next(scene: CalibrationScene, figures: Quantities) -> str:
    advice = scene.session.advice
    sure = digits(100.0 * scene.aims.confidence)
    if advice.done:
        return f"Every mark asked for is now within its tolerance with a chance of {sure} %."
    if not advice.plan:
        return f"Not every mark asked for is within its tolerance with a chance of {sure} % yet."
    end = advice.plan[0]
    at = figures.text(float(scene.aims.butts[end.index]), "distance")
    some = f"{end.arrows} arrow{'' if end.arrows == 1 else 's'}"
    return f"Next: {some} at {at}."


def height_text(figures: Quantities, height: float) -> str:
    """A height and its unit, signed."""
    known = round(height / _KNOWN) * _KNOWN
    return f"{signed(float(figures.read(known, 'length')))} {figures.chosen['length']}"


def end_name(end: SeenEnd) -> str:
    """An end by its name, or by what it is."""
    return end.name or ("proven mark" if end.proven else "arrows")


def end_words(end: SeenEnd, figures: Quantities) -> str:
    """Where an end lies."""
    at = figures.text(end.distance, "distance")
    if not np.isfinite(end.off):
        return f"at {at}{_SAID[end.status]}: the fitted arrow never comes there"
    off = height_text(figures, end.off)
    return f"{off} {doubt_of(figures, end.deviation, 'length')} at {at}{_SAID[end.status]}"


def captions(scene: CalibrationScene, figures: Quantities, named: int) -> list[str]:
    """What stands under the picture.  named: ends that have a name in it."""
    said = [
        "Hatched bands: one standard uncertainty of the corrected mark either way. Below, 0 is "
        "the corrected mark: the higher a point, the higher these arrows came than it expects."
    ]
    marks = np.unique(scene.aims.distances)
    said += some_named(len(named_rows(figures, marks)), marks.size, "marks")
    ends = scene.ends
    if ends:
        kinds = [("arrows", False), ("proven marks", True)]
        shapes = [
            f"{SHAPES[proven][1]}: {what}"
            for what, proven in kinds
            if any(end.proven == proven for end in ends)
        ]
        told = "; ".join(shapes)
        told += "; bars: one standard uncertainty of their centre"
        if any(end.status == "set-aside" for end in ends):
            told += (
                "; crossed out, or a triangle at the edge beyond which it lies: set aside, as it "
                "does not fit the others"
            )
        if any(end.status == "in-doubt" for end in ends):
            told += "; open: in doubt, as these contradict each other"
        said.append(f"{told[:1].upper()}{told[1:]}.")
    else:
        said.append("No arrows were shot yet.")
    if named < len(ends):
        said.append(f"Of {len(ends)} ends, the {named} that lie farthest off have a label.")
    if scene.readings:
        some = f"{scene.readings} measured speed{'' if scene.readings == 1 else 's'}"
        said.append(f"Not drawn, but counted in: {some}.")
    return [*said, *boxed([end.name for end in ends]), f"Learned from few arrows. {SAFELY}"]


def described(scene: CalibrationScene, figures: Quantities, said: Sequence[str]) -> str:
    """The picture in words; said: the captions."""
    marks, distances = scene.session.marks, scene.aims.distances
    rising, first = np.unique(distances, return_index=True)
    chosen = named_rows(figures, rising)
    rows = []
    for row in (int(first[place]) for place in chosen):
        at, travel = float(distances[row]), float(marks.travel[row])
        doubt, setting = float(marks.uncertainty[row]), setting_words(marks.setting, row)
        text, more = mark_words(figures, at, travel, doubt, setting)
        before = ""
        if scene.predicted is not None:
            place = int(np.searchsorted(scene.curve.table.distance, at))
            before = f", before {travel_text(figures, float(scene.predicted.travel[place]))}"
        rows.append(f"{text}{before}{f', {more}' if more else ''}.")
    ends = [f"{end_name(end)}: {end_words(end, figures)}." for end in scene.ends]
    head = "Corrected travel of the pin over distance, and heights of the ends beside it."
    if len(chosen) < rising.size:
        head += f" {len(chosen)} of {rising.size} marks:"
    return readable(" ".join([head, *subtitle(scene, figures), *rows, *ends, *said]))
