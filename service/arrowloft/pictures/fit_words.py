"""What a fit's picture says, beside what it shows and to those who cannot see it."""

from collections.abc import Sequence

import numpy as np

from arrowloft.core.fitting.scene import Fitted, Scene
from arrowloft.pictures.quantities import boxed, digits, readable

PLURAL = ("speeds", "times", "drops", "places along", "heights", "places aside")
SHAPES = (
    ("o", "circles"),
    ("s", "squares"),
    ("v", "triangles that point down"),
    (">", "triangles that point right"),
    ("^", "triangles that point up"),
    ("D", "diamonds"),
)
"""Kind of row -> what it is called; its mark, and what that is called."""

FILLS = (("full", "filled"), ("none", "open"), ("left", "half filled"), ("bottom", "filled below"))
"""Series -> how its marks are filled, and what that is called; no more are told apart."""

CAUTION = (
    "A model that fits is not thereby right, least of all beyond the Reynolds numbers flown: the "
    "ranking is among these models alone."
)


def title(scene: Scene) -> str:
    """What is drawn."""
    count = len(scene.fitted)
    return "How well the model fits" if count == 1 else f"How well {count} models fit"


def subtitle(scene: Scene) -> list[str]:
    """What was measured, and which model is the best."""
    rows, series = scene.rows.kind.size, len(scene.names)
    *first, last = [PLURAL[kind] for kind in np.unique(scene.rows.kind).tolist()]
    kinds = f"{', '.join(first)} and {last}" if first else last
    said = f"{rows} measured value{'' if rows == 1 else 's'} ({kinds})"
    said += f" of {series} series" if series > 1 else ""
    if len(scene.fitted) == 1:
        return [f"{said}."]
    best, second = scene.fitted[:2]
    close = f", closely followed by “{second.label}”" if second.weight > 0.3 * best.weight else ""
    return [
        f"{said}. By AIC, which sets fit against unknowns, the best is "
        f"“{best.label}”, of weight {_weight(best.weight)}{close}."
    ]


def judged(one: Fitted) -> list[str]:
    """Beside the residuals of one model."""
    unknowns = f"{one.unknowns} unknown{'' if one.unknowns == 1 else 's'} found"
    degrees = f"{one.degrees} degree{'' if one.degrees == 1 else 's'} of freedom"
    return [
        f"chi² {digits(one.chi_square)}, {degrees}",
        f"weight {_weight(one.weight)}, {unknowns}",
    ]


def of_drag(one: Fitted) -> str:
    """Its coefficients, and how well they are known."""
    values, doubts = one.drag.coefficient, one.drag.uncertainty
    said = _span(float(values.min()), float(values.max()), 4)
    if not np.isfinite(doubts).all():
        return f"{said}; uncertainty not known"
    if not doubts.any():
        return f"{said}; no parameter of it fitted"
    return f"{said}; ± {_span(float(doubts.min()), float(doubts.max()), 2)}"


def _span(low: float, high: float, count: int) -> str:
    first, last = digits(low, count), digits(high, count)
    return first if first == last else f"{first} to {last}"


def _weight(value: float) -> str:
    return "below 0.001" if value < 0.001 else f"{value:.3f}"


def captions(scene: Scene, panels: int, laws: int) -> list[str]:
    """What stands under the picture.  panels, laws: models of which each are drawn."""
    said = [
        "Bands about zero: one and two standard uncertainties of what was measured. Bands about "
        "drag coefficients: one standard uncertainty of the fit."
    ]
    kinds = np.unique(scene.rows.kind).tolist()
    if len(kinds) > 1:
        said.append(_listed([(SHAPES[kind][1], PLURAL[kind]) for kind in kinds]))
    if 1 < len(scene.names) <= len(FILLS):
        names = [name or f"series {index}" for index, name in enumerate(scene.names)]
        fills = [f"{fill} marks" for _, fill in FILLS]
        said.append(_listed(list(zip(fills, names, strict=False))))
    if panels < len(scene.fitted):
        some = f", and the drag of the best {laws}" if laws < len(scene.fitted) else ""
        said.append(f"Residuals of the best {panels} of {len(scene.fitted)} are drawn{some}.")
    if scene.failed:
        some = ", ".join(f"“{name}”" for name in scene.failed[:6])
        more = f" and {len(scene.failed) - 6} more" if len(scene.failed) > 6 else ""
        said.append(f"Could not be fitted: {some}{more}.")
    named = [one.label for one in scene.fitted] + [name for name in scene.names if name]
    return [*said, *boxed([*named, *scene.failed]), CAUTION]


def _listed(pairs: Sequence[tuple[str, str]]) -> str:
    text = "; ".join(f"{mark}: {name}" for mark, name in pairs)
    return f"{text[:1].upper()}{text[1:]}."


def described(scene: Scene, said: Sequence[str]) -> str:
    """The picture in words; said: the captions."""
    models = [
        f"{place + 1}. {one.label}: {', '.join(judged(one))}; largest residual "
        f"{digits(float(np.abs(one.residuals).max()))} standard uncertainties; drag coefficient "
        f"{of_drag(one)}."
        for place, one in enumerate(scene.fitted)
    ]
    head = "Residuals of the best models, and drag coefficient over Reynolds number."
    return readable(" ".join([head, *subtitle(scene), *models, *said]))
