"""POST /v1/fit: models fitted to measured flights, and ranked against each other."""

from collections.abc import Mapping, Sequence
from typing import Any

from flask import Response, request

from arrowloft.api import reading, replies
from arrowloft.api.fitting.attempts import attempt, none_fitted
from arrowloft.api.fitting.candidates import Candidate
from arrowloft.api.fitting.fit_members import (
    MOST_PATHS,
    MOST_TOGETHER,
    MOST_UNKNOWNS,
    fit_schema,
    labels_of,
)
from arrowloft.api.fitting.fit_notes import notes_of_all
from arrowloft.api.fitting.fit_reply import models_reply, ranking_reply, series_reply
from arrowloft.api.fitting.fit_reply_schemas import CRITERION, FIT_REPLY
from arrowloft.api.fitting.fit_scene import scene_of
from arrowloft.api.fitting.measured import Measured, measured, of_request
from arrowloft.api.fitting.patience import Patience
from arrowloft.api.picture_replies import PICTURED, forms_of, picture_reply
from arrowloft.api.plain_replies import plain_reply
from arrowloft.api.problems import Fault, Problem
from arrowloft.api.replies import JSON, ReplyUnits
from arrowloft.api.reply_schemas import plain_reply_schema
from arrowloft.api.resource import Edge, Resource
from arrowloft.core.fitting.likelihood import ranking
from arrowloft.core.fitting.predictions import Predictions
from arrowloft.plugin.registry import Registry


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = fit_schema(edge.models, edge.limits)
    drawn = edge.pictures.fit

    def view() -> Response:
        form = replies.negotiate(request, JSON, *forms_of(drawn))
        asked = schema.read(reading.read_object(request, edge.limits))
        series = measured(asked, edge.limits.measurements)
        candidates = _candidates(asked, series, edge.registry)
        predictions = Predictions([item.series for item in series])
        _require_few_paths(candidates, predictions)
        patience = Patience(edge.limits.seconds, len(candidates))
        attempts = [
            attempt(item, predictions, index, patience) for index, item in enumerate(candidates)
        ]
        fits = [item.fit for item in attempts if item.fit is not None]
        if not fits:
            raise none_fitted(attempts)
        ranked = ranking([fit.likelihood for fit in fits])
        units = ReplyUnits(asked.get("units", {}))
        if form in PICTURED:
            scene = scene_of(attempts, ranked, predictions, series)
            return picture_reply(drawn, scene, units.chosen, form)
        own = {
            "criterion": CRITERION,
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
        "free; each element of a list is an unknown, and may be named alone. Speeds, times and "
        "drops are those of the moment when the tip passes the plane across the line of sight at "
        "the distance; the speed is the balance point's. Gives each model's parameters with their "
        "uncertainties, what the residuals say of it, its drag coefficient over the Reynolds "
        "numbers flown, and a ranking by Akaike's criterion AIC. A model that cannot be fitted "
        f"says why, and does not hide the others. A model may have up to {MOST_UNKNOWNS} unknowns, "
        f"all models together {MOST_TOGETHER}; and one for each model and its unknowns, times the "
        "series, those counted again that are aimed, and again where both positions and readings "
        f"at distances are given, may make {MOST_PATHS}. As image/svg+xml or "
        "application/pdf, a picture of residuals and drag coefficients.",
        view=view,
        request=schema,
        reply=plain_reply_schema("FlightFitReply", FIT_REPLY),
        forms=PICTURED,
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
    flown_by = of_request(asked)
    found = [
        Candidate.of(registry, item, label, series, flown_by)
        for item, label in zip(asked["models"], labels_of(asked["models"]), strict=True)
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


def _require_few_paths(candidates: Sequence[Candidate], predictions: Predictions) -> None:
    """A Problem where one evaluation of all candidates solves more paths than there is time for."""
    variants = sum(len(item.unknowns) + 1 for item in candidates)
    paths = variants * predictions.solved
    if paths > MOST_PATHS:
        detail = (
            f"The unknowns of all models, and one for each model, make {variants}; every one needs "
            f"{predictions.solved} flights (a series needs one for what is read at distances, one "
            f"for positions, and one where it is aimed). That is {paths} together, and one request "
            f"takes {MOST_PATHS}: ask for fewer models or series at once."
        )
        raise Problem("invalid-request", detail, (Fault("/models", detail),))
