"""The arrow and the air for which a fitted drag law is told."""

import numpy as np

from arrowloft.api.fitting.candidates import Candidate
from arrowloft.api.fitting.unknowns import together
from arrowloft.core.arrays import Array
from arrowloft.core.fitting.coefficients import Coefficients, coefficients
from arrowloft.core.fitting.fit import Fit
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import DragLaw, Flow
from arrowloft.plugin import CaseError, Note
from arrowloft.plugin.guard import ModelFault, guarded_law

_USUAL_SPEED = 60.0


def told_for(candidate: Candidate, law: DragLaw) -> tuple[Arrow, Air, tuple[Note, ...]]:
    """The request's arrow and air; where the law cannot be told for that arrow, a series' arrow.

    And the note that says so.
    """
    arrow, air = candidate.arrow, candidate.air
    if all(item.arrow == arrow for item in candidate.series):
        return arrow, air, ()
    flow = Flow(np.array([_USUAL_SPEED]), air.density, air.viscosity, air.speed_of_sound)
    try:
        law(flow, arrow)
    except (CaseError, ModelFault):
        message = (
            "The drag model cannot say what the request's arrow meets: `coefficients` and notes "
            "are those of the first series' arrow."
        )
        return candidate.series[0].arrow, air, (Note("coefficients-of-series", message),)
    return arrow, air, ()


def drag_of(candidate: Candidate, fit: Fit, reynolds: Array) -> Coefficients:
    """The fitted drag coefficients at Reynolds numbers."""
    arrow, air, _ = told_for(candidate, guarded_law(candidate.drag_at(fit.values)))
    return coefficients(fit, candidate, together(candidate.unknowns), arrow, air, reynolds)
