"""From fits to what their picture shows."""

from collections.abc import Sequence

import numpy as np

from arrowloft.api.fitting.attempts import Attempt
from arrowloft.api.fitting.measured import Measured
from arrowloft.api.fitting.told_for import drag_of
from arrowloft.core.fitting.likelihood import Ranking
from arrowloft.core.fitting.predictions import Predictions
from arrowloft.core.fitting.scene import Fitted, Scene, rows_of

_POINTS = 41
"""Reynolds numbers at which the drag coefficients are drawn."""


def scene_of(
    attempts: Sequence[Attempt],
    ranked: Ranking,
    predictions: Predictions,
    series: Sequence[Measured],
) -> Scene:
    """What is drawn of all attempts, at least one of which is a fit."""
    fits = [(item, item.fit) for item in attempts if item.fit is not None]
    flown = np.array([fit.reynolds for _, fit in fits])
    reynolds = np.linspace(flown.min(), flown.max(), _POINTS)
    fitted = []
    for place in ranked.order:
        item, fit = fits[place]
        judged = fit.likelihood
        fitted.append(
            Fitted(
                label=item.candidate.label,
                residuals=(predictions.observed - fit.predicted) / predictions.uncertainty,
                unknowns=fit.found,
                chi_square=judged.chi_square,
                degrees=judged.degrees,
                weight=float(ranked.weight[place]),
                drag=drag_of(item.candidate, fit, reynolds),
            )
        )
    return Scene(
        rows=rows_of(predictions.series),
        fitted=tuple(fitted),
        failed=tuple(item.candidate.label for item in attempts if item.fit is None),
        names=tuple(item.asked.get("name") for item in series),
    )
