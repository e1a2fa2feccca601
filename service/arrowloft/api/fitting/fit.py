"""POST /v1/fit: models fitted to measured flights, and ranked against each other."""

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from flask import Response, request

from arrowloft.api import reading, replies
from arrowloft.api.fitting.attempts import attempt, none_fitted
from arrowloft.api.fitting.candidates import Candidate
from arrowloft.api.fitting.fit_members import MOST_TOGETHER, MOST_UNKNOWNS, fit_members
from arrowloft.api.fitting.fit_notes import notes_of_all
from arrowloft.api.fitting.fit_reply import models_reply, ranking_reply, series_reply
from arrowloft.api.fitting.fit_reply_schemas import FIT_REPLY
from arrowloft.api.fitting.fit_scene import scene_of
from arrowloft.api.fitting.measured import Measured, measured
from arrowloft.api.picture_replies import SVG, svg_reply
from arrowloft.api.plain_replies import plain_reply
from arrowloft.api.problems import Fault, Problem
from arrowloft.api.replies import JSON, ReplyUnits
from arrowloft.api.reply_schemas import plain_reply_schema
from arrowloft.api.resource import Edge, Resource
from arrowloft.api.schemas import strict
from arrowloft.core.fitting.likelihood import ranking
from arrowloft.core.fitting.predictions import Predictions
from arrowloft.plugin.registry import Registry


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = strict("FitRequest", fit_members(edge.models, edge.limits))()
    drawn = edge.pictures.fit

    def view() -> Response:
        form = replies.negotiate(request, JSON, *((SVG,) if drawn else ()))
        asked = schema.read(reading.read_object(request, edge.limits.body))
        series = measured(asked, edge.limits.measurements)
        candidates = _candidates(asked, series, edge.registry)
        predictions = Predictions([item.series for item in series])
        attempts = [attempt(item, predictions, index) for index, item in enumerate(candidates)]
        fits = [item.fit for item in attempts if item.fit is not None]
        if not fits:
            raise none_fitted(attempts)
        ranked = ranking([fit.likelihood for fit in fits])
        units = ReplyUnits(asked.get("units", {}))
        if form == SVG and drawn is not None:
            return svg_reply(drawn(scene_of(attempts, ranked, predictions, series), units.chosen))
        own = {
            "criterion": ranked.criterion,
            "ranking": ranking_reply(attempts, ranked),
            "models": models_reply(attempts, ranked, predictions, units),
            "series": series_reply(series, units),
        }
        notes = notes_of_all(series, attempts, ranked)
        gravity = float(series[0].series.shot.gravity)
        return replies.json_reply(plain_reply(own, notes, gravity, units))

    return Resource(
        path="/v1/fit",
        name="fit",
        summary="Models fitted to measured flights",
        description="Takes speeds, times and drops at distances and tracked positions, each with "
        "its uncertainty and, by series, its own arrow, air, wind and launch, and fits models to "
        "all of them at once by least squares within the declared bounds. Any installed model "
        "can be fitted: `free` names the parameters that are found, else those the model declares "
        "free; each element of a list is an unknown. Speeds, times and drops are those of the "
        "moment when the tip passes the plane across the line of sight at the distance; the speed "
        "is the balance point's. Gives each model's parameters with their uncertainties, what "
        "the residuals say of it, its drag coefficient over the Reynolds numbers flown, and a "
        "ranking by Akaike's criterion. A model that cannot be fitted says why, and does not "
        f"hide the others. A model may have up to {MOST_UNKNOWNS} unknowns, all models together "
        f"{MOST_TOGETHER}. As image/svg+xml, a picture of residuals and drag coefficients.",
        view=view,
        request=schema,
        reply=plain_reply_schema("FlightFitReply", FIT_REPLY),
        forms=(SVG,),
        problems=(
            "model-cannot-answer",
            "outside-validity",
            "cannot-be-fitted",
        ),
    )


def _candidates(
    asked: Mapping[str, Any], series: Sequence[Measured], registry: Registry
) -> list[Candidate]:
    """The candidates; a Problem where one has too many unknowns."""
    found = [
        Candidate.of(registry, item, label, series)
        for item, label in zip(asked["models"], _labels(asked["models"]), strict=True)
    ]
    faults = []
    for index, item in enumerate(found):
        count = len(item.unknowns)
        if count > MOST_UNKNOWNS:
            detail = (
                f"{count} unknowns are too many: a model may have {MOST_UNKNOWNS}, those of the "
                "series included. Let fewer be free."
            )
            faults.append(Fault(f"/models/{index}", detail))
    every = sum(len(item.unknowns) for item in found)
    if not faults and every > MOST_TOGETHER:
        detail = (
            f"{every} unknowns of all models together are too many for one request, which takes "
            f"{MOST_TOGETHER}: ask for fewer models at once, with one of them in each request."
        )
        faults.append(Fault("/models", detail))
    if faults:
        raise Problem("invalid-request", faults[0].detail, faults)
    return found


def _labels(models: Sequence[Mapping[str, Any]]) -> list[str]:
    """Each candidate's label, or its models' names; equal ones are numbered."""
    plain = [item.get("label") or _names(item) for item in models]
    count, seen = Counter(plain), Counter[str]()
    labels = []
    for label in plain:
        seen[label] += 1
        labels.append(f"{label} ({seen[label]})" if count[label] > 1 else label)
    return labels


def _names(model: Mapping[str, Any]) -> str:
    drag, launch = model["drag"].name, model.get("launch")
    return drag if launch is None else f"{drag}, {launch.name}"
