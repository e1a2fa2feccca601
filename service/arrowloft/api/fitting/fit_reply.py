"""What a fit says, in the caller's units."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from arrowloft import units as table
from arrowloft.api.fitting.attempts import Attempt
from arrowloft.api.fitting.candidates import Candidate
from arrowloft.api.fitting.fit_notes import notes_of_fit, stretched
from arrowloft.api.fitting.fit_reply_schemas import RESIDUALS
from arrowloft.api.fitting.measured import Measured
from arrowloft.api.fitting.unknowns import Unknown, together
from arrowloft.api.replies import Column, ReplyUnits, significant, sources_reply
from arrowloft.core.arrays import Array
from arrowloft.core.fitting.coefficients import coefficients
from arrowloft.core.fitting.fit import Fit
from arrowloft.core.fitting.likelihood import Ranking
from arrowloft.core.fitting.predictions import Predictions
from arrowloft.core.fitting.series import Series

_DIGITS = 9
_POINTS = 5
"""Reynolds numbers at which the drag coefficients are told."""


def models_reply(
    attempts: Sequence[Attempt], ranked: Ranking, predictions: Predictions, units: ReplyUnits
) -> list[dict[str, Any]]:
    """One for each candidate, in their order."""
    ranks = iter(np.argsort(ranked.order).tolist())
    flown = [item.fit.reynolds for item in attempts if item.fit is not None]
    reynolds = np.geomspace(min(low for low, _ in flown), max(high for _, high in flown), _POINTS)
    found = []
    for item in attempts:
        if item.fit is None:
            assert item.problem is not None
            failed = {"code": item.problem.code, "detail": item.problem.detail}
            found.append({"label": item.candidate.label, "failed": failed})
            continue
        body = {"label": item.candidate.label, "rank": next(ranks) + 1}
        found.append(body | _fitted(item.candidate, item.fit, predictions, reynolds, units))
    return found


def ranking_reply(attempts: Sequence[Attempt], ranked: Ranking) -> list[dict[str, Any]]:
    """The fitted candidates, the best first."""
    fitted = [(index, item) for index, item in enumerate(attempts) if item.fit is not None]
    lines = []
    for place in ranked.order:
        index, item = fitted[place]
        assert item.fit is not None
        lines.append(
            {
                "model": index,
                "label": item.candidate.label,
                "unknowns": len(item.candidate.unknowns),
                "chi_square": significant(item.fit.likelihood.chi_square),
                "difference": significant(float(ranked.difference[place])),
                "weight": significant(float(ranked.weight[place])),
            }
        )
    return lines


def series_reply(series: Sequence[Measured], units: ReplyUnits) -> list[dict[str, Any]]:
    """Each series as it was taken."""
    return [
        {
            **({"name": item.asked["name"]} if "name" in item.asked else {}),
            "values": sum(item.series.counts()),
            "density": units.value(item.air.density, "density"),
            "viscosity": units.value(item.air.viscosity, "viscosity"),
            "launch_forward": units.value(item.series.shot.launch_forward, "length"),
            "tip_lead": units.value(item.series.shot.tip_lead, "length"),
        }
        for item in series
    ]


def _fitted(
    candidate: Candidate, fit: Fit, predictions: Predictions, reynolds: Array, units: ReplyUnits
) -> dict[str, Any]:
    judged = fit.likelihood
    models = {"drag": candidate.registry.get("drag", candidate.drag.name)}
    if candidate.launch is not None:
        models["launch"] = candidate.registry.get("launch", candidate.launch.name)  # type: ignore[assignment]
    return {
        "parameters": _parameters(candidate.unknowns, fit, units),
        "correlations": {
            "names": [_name(item) for item in candidate.unknowns],
            "matrix": [[_maybe(value, 6) for value in row] for row in fit.correlations],
        },
        "chi_square": significant(judged.chi_square),
        "degrees_of_freedom": judged.degrees,
        "chance": _maybe(judged.chance, 4),
        "log_likelihood": significant(judged.log_likelihood, _DIGITS),
        "aic": significant(judged.aic, _DIGITS),
        "aicc": _maybe(judged.aicc, _DIGITS),
        "bic": significant(judged.bic, _DIGITS),
        "coefficients": _coefficients(candidate, fit, reynolds),
        "residuals": _residuals(fit, predictions, units),
        **{
            kind: {
                "model": model.name,
                "version": model.version,
                "sources": sources_reply(model.sources),
            }
            for kind, model in models.items()
        },
        "evaluations": fit.evaluations,
        "notes": [
            {"code": note.code, "message": note.message} for note in notes_of_fit(candidate, fit)
        ],
    }


def _parameters(unknowns: Sequence[Unknown], fit: Fit, units: ReplyUnits) -> list[dict[str, Any]]:
    found = []
    for index, item in enumerate(unknowns):
        unit = units.chosen.get(item.dimension, "")
        uncertainty = float(fit.uncertainties[index])
        body: dict[str, Any] = {"of": item.of, "name": item.name}
        if item.element is not None:
            body["element"] = item.element
        if item.of == "series":
            body["series"] = list(item.series)
        body |= {
            "unit": unit,
            "start": significant(_in_unit(item.start, item, unit), _DIGITS),
            "value": significant(_in_unit(float(fit.values[index]), item, unit), _DIGITS),
            "standard_uncertainty": _maybe(_span(uncertainty, item, unit), 4),
        }
        if stretched(fit):
            scaled = uncertainty * fit.likelihood.stretch
            body["scaled_uncertainty"] = _maybe(_span(scaled, item, unit), 4)
        if fit.at_low[index] or fit.at_high[index]:
            body["at_bound"] = "low" if fit.at_low[index] else "high"
        found.append(body)
    return found


def _in_unit(si: float, item: Unknown, unit: str) -> float:
    return table.from_si(si, item.dimension, unit)


def _span(si: float, item: Unknown, unit: str) -> float:
    """A difference of two values in the unit, whose zero does not count."""
    return _in_unit(si, item, unit) - _in_unit(0.0, item, unit)


def _name(item: Unknown) -> str:
    element = "" if item.element is None else f"[{item.element}]"
    if item.of == "series":
        return f"{item.name}({', '.join(str(index) for index in item.series)})"
    return f"{item.of}.{item.name}{element}"


def _maybe(value: float, digits: int) -> float | None:
    """A figure to some digits; null where there is none."""
    return significant(float(value), digits) if np.isfinite(value) else None


def _coefficients(candidate: Candidate, fit: Fit, reynolds: Array) -> list[dict[str, Any]]:
    first = candidate.series[0]
    found = coefficients(
        fit, candidate, together(candidate.unknowns), first.arrow, first.air, reynolds
    )
    return [
        {
            "reynolds": significant(at),
            "coefficient": significant(value),
            "standard_uncertainty": _maybe(uncertainty, 4),
        }
        for at, value, uncertainty in zip(
            found.reynolds, found.coefficient, found.uncertainty, strict=True
        )
    ]


def _residuals(fit: Fit, predictions: Predictions, units: ReplyUnits) -> dict[str, Any]:
    """Kind of row -> its rows, over all series."""
    place = np.concatenate([_places(item, index) for index, item in enumerate(predictions.series)])
    found = {}
    for kind, (name, dimension) in enumerate(RESIDUALS.items()):
        rows = np.flatnonzero(place[:, 0] == kind)
        if not rows.size:
            continue
        observed, predicted = predictions.observed[rows], fit.predicted[rows]
        uncertainty = predictions.uncertainty[rows]
        found[name] = units.json_rows(
            [
                Column("series", "number", place[rows, 1], whole=True),
                Column("index", "number", place[rows, 2], whole=True),
                Column("observed", dimension, observed),
                Column("predicted", dimension, predicted),
                Column("residual", dimension, observed - predicted),
                Column("uncertainty", dimension, uncertainty),
                Column("in_uncertainties", "number", (observed - predicted) / uncertainty),
            ]
        )
    return found


def _places(series: Series, index: int) -> Array:
    """Kind, series and position in its list of each row, (rows, 3)."""
    counts = series.counts()
    within = [np.arange(count, dtype=float) for count in counts]
    within[-1] = np.flatnonzero(np.isfinite(series.track.right)).astype(float)
    kinds = np.repeat(np.arange(len(counts), dtype=float), counts)
    return np.column_stack((kinds, np.full(kinds.size, float(index)), np.concatenate(within)))
