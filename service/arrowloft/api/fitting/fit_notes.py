"""What is said about fits: what was assumed, what does not suit, what cannot be told apart."""

from collections.abc import Sequence

import numpy as np

from arrowloft.api.fitting.attempts import Attempt
from arrowloft.api.fitting.candidates import Candidate
from arrowloft.api.fitting.measured import Measured
from arrowloft.api.fitting.told_for import told_for
from arrowloft.core.fitting.fit import Fit
from arrowloft.core.fitting.likelihood import Ranking
from arrowloft.core.setup.flow import Flow
from arrowloft.plugin import Note
from arrowloft.plugin.guard import guarded_drag_notes, guarded_law

UNLIKELY = 0.01
"""Chance of a chi-square below which the stated uncertainties are too small for the residuals."""

_TOO_GOOD = 0.99
"""Chance above which they look too large."""

_ALIKE = 2.0
"""Difference of the criterion below which two models are not told apart (common practice)."""


def stretched(fit: Fit) -> bool:
    """Whether the residuals are clearly larger than the stated uncertainties allow."""
    return fit.likelihood.degrees > 0 and fit.likelihood.chance < UNLIKELY


def notes_of_fit(candidate: Candidate, fit: Fit) -> list[Note]:
    """Cautions about one fit."""
    return [
        *_scatter(fit),
        *_bounds(candidate, fit),
        *_weak(candidate, fit),
        *_held(candidate),
        *_flown(candidate, fit),
    ]


def _scatter(fit: Fit) -> list[Note]:
    found = fit.likelihood
    if stretched(fit):
        message = (
            f"The residuals are {found.stretch:.3g} times what the stated uncertainties allow: the "
            "model does not suit, or the uncertainties are too small. `scaled_uncertainty` allows "
            "for that as if it were the latter."
        )
        return [Note("residuals-too-large", message)]
    if found.degrees > 0 and found.chance > _TOO_GOOD:
        message = (
            "The residuals are smaller than the stated uncertainties make likely: those may be too "
            "large, and the uncertainties of the parameters with them."
        )
        return [Note("residuals-too-small", message)]
    if found.degrees == 0:
        message = (
            "As many unknowns were found as there are measured values: any model of that many "
            "fits, and nothing says whether this one is right."
        )
        return [Note("nothing-to-spare", message)]
    return []


def _bounds(candidate: Candidate, fit: Fit) -> list[Note]:
    stuck = [
        item.words
        for item, bound in zip(candidate.unknowns, fit.at_low | fit.at_high, strict=True)
        if bound
    ]
    if not stuck:
        return []
    message = (
        f"At a bound of what is allowed: {', '.join(stuck)}. It is held there for the others, "
        "whose uncertainties leave it out, and not counted as an unknown; a model that is driven "
        "to its bounds rarely suits."
    )
    return [Note("at-bound", message)]


def _weak(candidate: Candidate, fit: Fit) -> list[Note]:
    with np.errstate(invalid="ignore"):
        weak = fit.uncertainties > fit.size
    names = [item.words for item, so in zip(candidate.unknowns, weak, strict=True) if so]
    if not names:
        return []
    message = (
        f"Hardly told, less sure than it is large: {', '.join(names)}. Its uncertainty is that of "
        "a straight line through a bent relation, and says little more than that."
    )
    return [Note("hardly-told", message)]


def _held(candidate: Candidate) -> list[Note]:
    if candidate.launch is None or candidate.launch.free:
        return []
    start = np.array([item.start for item in candidate.unknowns])
    if len(candidate.own_speeds(start)) == len(candidate.series):
        return []
    message = (
        "The launch model was taken as it stands, its own uncertainty left out: let one of its "
        "parameters be free, or leave `launch` out, to have the launch speed fitted."
    )
    return [Note("launch-held", message)]


def _flown(candidate: Candidate, fit: Fit) -> tuple[Note, ...]:
    """What the drag model says of the Reynolds numbers flown, for the request's arrow and air."""
    model = candidate.drag_at(fit.values)
    arrow, air, notes = told_for(candidate, guarded_law(model))
    airspeed = np.array(fit.reynolds) * air.viscosity / (air.density * arrow.shaft_diameter)
    flow = Flow(airspeed, air.density, air.viscosity, air.speed_of_sound)
    return (*guarded_drag_notes(model, flow, arrow), *notes)


def notes_of_all(
    series: Sequence[Measured], attempts: Sequence[Attempt], ranked: Ranking
) -> list[Note]:
    """Notes about the whole: the ranking, the failed models, what was assumed."""
    notes = [*_alike(attempts, ranked), *_failed(attempts), *_level(series)]
    own = {note.code: note for item in series for note in item.notes}
    return [*notes, *own.values()]


def _alike(attempts: Sequence[Attempt], ranked: Ranking) -> list[Note]:
    labels = [item.candidate.label for item in attempts if item.fit is not None]
    near = [index for index in ranked.order if ranked.difference[index] < _ALIKE]
    if len(near) < 2:
        return []
    names = ", ".join(labels[index] for index in near)
    message = (
        f"The data do not tell these models apart, the best first: {names}. Their criterion "
        f"differs by less than {_ALIKE:g}; measure where they differ."
    )
    return [Note("models-alike", message)]


def _failed(attempts: Sequence[Attempt]) -> list[Note]:
    failed = [item.candidate.label for item in attempts if item.fit is None]
    if not failed:
        return []
    message = f"Not fitted, and left out of the ranking: {', '.join(failed)}; `failed` says why."
    return [Note("models-failed", message)]


def _level(series: Sequence[Measured]) -> list[Note]:
    assumed = [
        str(index)
        for index, item in enumerate(series)
        if not ({"launch_angle", "aimed_at"} & item.asked.keys() or "launch_angle" in item.free)
    ]
    if not assumed:
        return []
    message = (
        f"The arrow's line is taken to lie along the line of sight in series {', '.join(assumed)}. "
        "An arrow that is aimed rises first: give `aimed_at` or `launch_angle`, as beyond some 20 "
        "m the fall of a level shot adds to its speed."
    )
    return [Note("launch-level", message)]
