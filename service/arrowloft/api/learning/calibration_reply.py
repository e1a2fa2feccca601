"""What a calibration found, in the caller's units."""

import math
from typing import Any

import numpy as np

from arrowloft.api.learning.calibration_reply_schemas import CALIBRATION_COLUMNS
from arrowloft.api.replies import Column, ReplyUnits, significant
from arrowloft.core.arrays import Array
from arrowloft.core.learning.calibration import Calibration
from arrowloft.core.learning.misfit import Judged
from arrowloft.core.learning.range_session import Aims, RangeSession
from arrowloft.core.learning.separation import Separation
from arrowloft.core.learning.unknowns import NAMES
from arrowloft.core.sight.marks import MarkTable
from arrowloft.core.sight.sight import Sight

LEARNED, PARTLY = 0.5, 0.1
"""Shares of the prior variance taken away from which on an unknown counts as learned, and as
partly so."""

_MANY = 1e6
"""Degrees of freedom from which on Student's distribution is the normal one."""

_DIMENSIONS = ("speed", "number", "length", "length", "length", "length")


def status_of(fit: Calibration) -> list[str]:
    """Of each unknown: learned, partly, prior or fixed."""

    def word(share: float, uncertainty: float) -> str:
        if uncertainty == 0.0:
            return "fixed"
        return "learned" if share >= LEARNED else "partly" if share >= PARTLY else "prior"

    return [word(*pair) for pair in zip(fit.learned, fit.prior.uncertainties, strict=True)]


def parameters_reply(fit: Calibration, units: ReplyUnits) -> list[dict[str, Any]]:
    """Each unknown, before and after."""
    start = np.zeros(len(NAMES))
    before, doubt_before = fit.prior.values(start), fit.prior.rates(start)
    return [
        {
            "name": name,
            "unit": units.chosen.get(dimension, ""),
            "value": units.value(fit.values[i], dimension),
            "standard_uncertainty": units.value(fit.uncertainties[i], dimension),
            "prior": units.value(before[i], dimension),
            "prior_uncertainty": units.value(doubt_before[i], dimension),
            "learned": significant(float(fit.learned[i]), 4),
            "status": status,
        }
        for i, (name, dimension, status) in enumerate(
            zip(NAMES, _DIMENSIONS, status_of(fit), strict=True)
        )
    ]


def correlations_reply(fit: Calibration) -> dict[str, Any]:
    """Correlations of the unknowns that are not fixed."""
    free = np.flatnonzero(fit.prior.uncertainties > 0.0)
    matrix = fit.correlations[np.ix_(free, free)]
    return {
        "names": [NAMES[index] for index in free],
        "matrix": [[significant(float(value), 4) for value in row] for row in matrix],
    }


def fit_reply(judged: Judged, loss: str) -> dict[str, Any]:
    """How well it fits."""
    return {
        "loss": loss,
        "values": judged.goodness.degrees,
        "chi_square": significant(judged.goodness.chi_square, 5),
        "chance": significant(judged.goodness.chance, 4),
        "inflation": significant(judged.calibration.inflation, 4),
        "evaluations": judged.calibration.evaluations,
    }


def separation_reply(session: RangeSession, aims: Aims, units: ReplyUnits) -> dict[str, Any]:
    """What the observations by themselves say of speed and drag."""
    apart = session.separation
    would = []
    for prospect in session.prospects:
        left: dict[str, Any] = {"what": prospect.kind}
        if prospect.index is not None:
            left["distance"] = units.value(aims.butts[prospect.index], "distance")
        if prospect.kind == "arrows":
            left["arrows"] = aims.arrows
        would.append({**left, **_told(prospect.then), "enough": prospect.then.told})
    return {
        **_told(apart),
        "correlation": _or_null(apart.correlation),
        "told_apart": apart.told,
        "would_tell": would,
    }


def _told(apart: Separation) -> dict[str, Any]:
    return {
        "speed_uncertainty": _or_null(apart.speed),
        "drag_uncertainty": _or_null(apart.drag),
    }


def _or_null(value: float) -> float | None:
    return significant(value, 4) if math.isfinite(value) else None


def next_reply(session: RangeSession, aims: Aims, units: ReplyUnits) -> dict[str, Any]:
    """What to shoot next."""
    advice = session.advice

    def distance(index: int) -> float:
        return units.value(aims.butts[index], "distance")

    plan = [
        {
            "distance": distance(end.index),
            "arrows": end.arrows,
            "doubt": significant(end.doubt, 4),
        }
        for end in advice.plan
    ]
    return {
        "done": advice.done,
        "doubt": significant(advice.doubt, 4),
        "distance": plan[0]["distance"] if plan else None,
        "arrows": plan[0]["arrows"] if plan else None,
        "plan": plan,
        "plan_arrows": advice.arrows,
        "enough": advice.enough,
        "choices": [
            {
                "distance": distance(index),
                "doubt": _or_null(float(doubt)),
                "safe": bool(advice.safe[index]),
            }
            for index, doubt in enumerate(advice.choices)
        ],
    }


def _click_shift(session: RangeSession, sight: Sight) -> Array | None:
    """Height of the impact that rounding to whole clicks adds, (rows,), m."""
    marks, clicks = session.marks, session.marks.setting.clicks
    if sight.elevation is None or clicks is None:
        return None
    return np.asarray((sight.elevation.travel_of(clicks) - marks.travel) * marks.rise)


def corrected_columns(
    session: RangeSession, aims: Aims, predicted: MarkTable | None, sight: Sight
) -> list[Column]:
    """The corrected marks as columns."""
    marks = session.marks
    values: dict[str, Any] = {
        "distance": aims.distances,
        "travel": marks.travel,
        "travel_uncertainty": marks.uncertainty,
        "height_uncertainty": marks.height_uncertainty,
        "tolerance": aims.tolerance,
        "chance": marks.chance(aims.tolerance),
        "degrees_of_freedom": np.where(marks.degrees < _MANY, marks.degrees, np.nan),
        "turns": marks.setting.turns,
        "clicks": marks.setting.clicks,
        "reading": marks.setting.reading,
        "click_shift": _click_shift(session, sight),
        "launch_angle": marks.table.launch_angle,
        "speed": marks.table.speed,
    }
    if predicted is not None:
        values["predicted_travel"] = predicted.travel
        values["predicted_up"] = (predicted.travel - marks.travel) * marks.rise
    return [
        Column(head.name, head.dimension, values[head.name], head.whole, head.nullable)
        for head in CALIBRATION_COLUMNS
        if values.get(head.name) is not None
    ]
