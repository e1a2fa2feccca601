"""What a fit says, in the caller's units."""

from collections.abc import Sequence
from math import floor, log10
from typing import Any

import numpy as np

from arrowloft import units as table
from arrowloft.api.fitting.attempts import Attempt
from arrowloft.api.fitting.candidates import Candidate
from arrowloft.api.fitting.fit_notes import notes_of_fit, stretched
from arrowloft.api.fitting.fit_reply_schemas import RESIDUALS
from arrowloft.api.fitting.measured import Measured
from arrowloft.api.fitting.told_for import drag_of
from arrowloft.api.fitting.unknowns import Unknown
from arrowloft.api.parameters import AnyModel, as_request
from arrowloft.api.replies import Column, ReplyUnits, significant, sources_reply
from arrowloft.core.arrays import Array
from arrowloft.core.fitting.fit import Fit
from arrowloft.core.fitting.likelihood import FINEST, Ranking
from arrowloft.core.fitting.predictions import Predictions
from arrowloft.core.fitting.series import Series

_DIGITS = 9
_FIGURES = 8
"""Significant digits of criteria; a fit is the same to more of them on any machine."""
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
                "unknowns": item.fit.found,
                "chi_square": _sum(item.fit.likelihood.chi_square, 7),
                "difference": _sum(float(ranked.difference[place]), 7),
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
    models: dict[str, AnyModel] = {"drag": candidate.registry.get("drag", candidate.drag.name)}
    if candidate.launch is not None:
        models["launch"] = candidate.registry.get("launch", candidate.launch.name)
    return {
        "parameters": _parameters(candidate.unknowns, fit, units),
        "correlations": {
            "names": [_name(item) for item in candidate.unknowns],
            "matrix": [[_share(value) for value in row] for row in fit.correlations],
        },
        "chi_square": _sum(judged.chi_square, 7),
        "degrees_of_freedom": judged.degrees,
        "chance": _maybe(judged.chance, 4),
        "log_likelihood": _sum(judged.log_likelihood),
        "aic": _sum(judged.aic),
        "aicc": _sum(judged.aicc) if np.isfinite(judged.aicc) else None,
        "bic": _sum(judged.bic),
        "coefficients": _coefficients(candidate, fit, reynolds),
        "residuals": _residuals(fit, predictions, units),
        **{
            kind: {
                "model": model.name,
                "version": model.version,
                "sources": sources_reply(model.sources),
                "parameters": _whole(candidate, kind, fit),
            }
            for kind, model in models.items()
        },
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
            "start": _in_unit(item.start, item, unit),
            "value": _in_unit(_told(fit, index), item, unit),
            "standard_uncertainty": _maybe(_span(uncertainty, item, unit), 4),
        }
        if stretched(fit):
            scaled = uncertainty * fit.likelihood.stretch
            body["scaled_uncertainty"] = _maybe(_span(scaled, item, unit), 4)
        if fit.at_low[index] or fit.at_high[index]:
            body["at_bound"] = "low" if fit.at_low[index] else "high"
        found.append(body)
    return found


def _told(fit: Fit, index: int) -> float:
    """A fitted value, SI, to a ten-thousandth of its uncertainty and no more than nine digits.

    What a fit leaves undone lies far below that, so that the figure is the same on any machine.
    """
    value, uncertainty = float(fit.values[index]), float(fit.uncertainties[index])
    if not np.isfinite(uncertainty) or uncertainty <= 0.0:
        return significant(value, _DIGITS)
    return significant(round(value, 4 - floor(log10(uncertainty))), _DIGITS)


def _whole(candidate: Candidate, kind: str, fit: Fit) -> dict[str, Any]:
    """All parameters of a model as a request writes them: given, fitted and by default."""
    fitted = candidate.drag if kind == "drag" else candidate.launch
    assert fitted is not None
    model = candidate.registry.get(fitted.kind, fitted.name)
    point = np.array([_told(fit, index) for index in range(fit.values.size)])
    given = candidate.parameters(kind, point)
    return {
        name: as_request(item, given.get(name, item.default))
        for name, item in model.parameters().items()
        if given.get(name, item.default) is not None
    }


def _in_unit(si: float, item: Unknown, unit: str) -> float:
    return significant(table.from_si(si, item.dimension, unit), _DIGITS)


def _span(si: float, item: Unknown, unit: str) -> float:
    """A difference of two values in the unit, whose zero does not count."""
    zero = table.from_si(0.0, item.dimension, unit)
    return table.from_si(si, item.dimension, unit) - zero


def _name(item: Unknown) -> str:
    element = "" if item.element is None else f"[{item.element}]"
    if item.of == "series":
        return f"{item.name}({', '.join(str(index) for index in item.series)})"
    return f"{item.of}.{item.name}{element}"


def _sum(value: float, digits: int = _FIGURES) -> float:
    """A sum over residuals or a criterion, none of which is told below `FINEST`."""
    return significant(round(value / FINEST) * FINEST, digits)


def _share(value: float) -> float | None:
    """A correlation to four decimals; null where there is none."""
    return round(float(value), 4) + 0.0 if np.isfinite(value) else None


def _maybe(value: float, digits: int) -> float | None:
    """A figure to some digits; null where there is none."""
    return significant(float(value), digits) if np.isfinite(value) else None


def _coefficients(candidate: Candidate, fit: Fit, reynolds: Array) -> list[dict[str, Any]]:
    found = drag_of(candidate, fit, reynolds)
    return [
        {
            "reynolds": significant(at, 6),
            "coefficient": significant(value, 6),
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
