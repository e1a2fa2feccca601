"""What a fit replies with, for the document."""

from typing import Any

from marshmallow import fields

from arrowloft.api.reply_schemas import (
    NoteReply,
    SourceReply,
    many,
    nullable,
    number,
    part,
    quantity,
    text,
    whole,
)
from arrowloft.api.schemas import Strict, strict

CRITERION = "aic"


class FittedParameter(Strict):
    """One unknown, fitted."""

    of = text("What it belongs to.", enum=["drag", "launch", "series"])
    name = text("Its name: a parameter of the model, or a member of the series.")
    element = whole("Its place in a list, from 0.", required=False)
    series = fields.List(
        fields.Integer(),
        required=False,
        metadata={"description": "Positions of the series that it counts for."},
    )
    unit = text("Unit of its figures; empty for a plain number.")
    start = number("Where the fit started.")
    value = number("Its fitted value.")
    standard_uncertainty = nullable(
        number("By the stated uncertainties of what was measured; null at a bound.")
    )
    scaled_uncertainty = nullable(
        number(
            "The same times sqrt(chi_square / degrees_of_freedom), where the residuals are clearly "
            "larger than the stated uncertainties allow.",
            required=False,
        )
    )
    at_bound = text(
        "Which of its declared bounds it came to rest at, or which edge of what the model takes; "
        "it is held there for the others, and does not count as an unknown.",
        required=False,
        enum=["low", "high"],
    )


class FitCorrelations(Strict):
    """Correlations of the unknowns."""

    names = fields.List(
        fields.String(),
        required=True,
        metadata={"description": "Rows and columns, in the order of `parameters`."},
    )
    matrix = fields.List(
        fields.List(fields.Float(allow_none=True)),
        required=True,
        metadata={"description": "Row by row; null for what is at a bound."},
    )


def _residual(dimension: str) -> Any:
    figures: dict[str, Any] = {
        "series": whole("Position of the series."),
        "index": whole("Position of the observation in its list."),
        "observed": quantity(dimension, "What was measured."),
        "predicted": quantity(dimension, "What the fit gives."),
        "residual": quantity(dimension, "Measured less fitted."),
        "uncertainty": quantity(dimension, "Standard uncertainty of what was measured."),
        "in_uncertainties": number("The residual in standard uncertainties."),
    }
    return strict(f"FitResidual{dimension.capitalize()}", figures)()


RESIDUALS = {
    "speed": "speed",
    "time": "time",
    "drop": "length",
    "distance": "distance",
    "height": "length",
    "right": "length",
}
"""Kind of row -> dimension of its figures."""

_ROWS = {dimension: _residual(dimension) for dimension in dict.fromkeys(RESIDUALS.values())}

_RESIDUAL_MEMBERS: dict[str, Any] = {
    kind: many(_ROWS[dimension], f"Of each measured {kind}.", required=False)
    for kind, dimension in RESIDUALS.items()
}
ResidualsReply = strict("ResidualsReply", _RESIDUAL_MEMBERS)


class CoefficientAt(Strict):
    """The fitted drag coefficient at one Reynolds number."""

    reynolds = number("Reynolds number on the shaft diameter.")
    coefficient = number(
        "Cd on the shaft cross-section, pi d^2 / 4, of the request's arrow in its air."
    )
    standard_uncertainty = nullable(
        number("By the fit's covariance; null where what counts is at a bound.")
    )


class FittedModelReply(Strict):
    """A model as fitted."""

    model = text("Its name.")
    version = text("Its version: it changes whenever an answer changes.")
    sources = many(SourceReply(), "Its sources.")
    parameters = fields.Dict(
        keys=fields.String(),
        required=True,
        metadata={
            "description": "All its parameters as a request writes them, those given, those fitted "
            "and the defaults: `model` and `parameters` together are the fitted model for any "
            "other request."
        },
    )


class FailedReply(Strict):
    """Why a model has no fit."""

    code = text("Code of the problem.")
    detail = text("What stands in the way, and what to do.")


_FIT: dict[str, Any] = {
    "label": text("The candidate's label, or the names of its models."),
    "failed": part(
        FailedReply(), "Why there is no fit; all that follows is left out then.", required=False
    ),
    "rank": whole("Its place in the ranking, from 1.", required=False),
    "parameters": many(FittedParameter(), "The unknowns, fitted.", required=False),
    "correlations": part(FitCorrelations(), "Correlations of the unknowns.", required=False),
    "chi_square": number("Sum of squared residuals in standard uncertainties.", required=False),
    "degrees_of_freedom": whole(
        "Measured values less unknowns, those at a bound not counted.", required=False
    ),
    "chance": nullable(
        number(
            "Chance of so large a chi-square where the model and the stated uncertainties are "
            "right; null without degrees of freedom.",
            required=False,
        )
    ),
    "log_likelihood": number(
        "ln L = -1/2 sum(r^2 + ln(2 pi sigma^2)), r the residuals in their standard "
        "uncertainties, sigma those in SI.",
        required=False,
    ),
    "aic": number(
        "Akaike's criterion, 2 k - 2 ln L with k unknowns, those at a bound not counted.",
        required=False,
    ),
    "aicc": nullable(
        number(
            "The same plus 2 k (k + 1) / (n - k - 1); null where n < k + 2. For information: that "
            "correction for few values n holds where their spread is itself estimated from the "
            "residuals, and here every uncertainty is given.",
            required=False,
        )
    ),
    "bic": number("Schwarz's criterion, k ln n - 2 ln L.", required=False),
    "coefficients": many(
        CoefficientAt(),
        "The fitted drag coefficient over the Reynolds numbers flown, the same for every model.",
        required=False,
    ),
    "residuals": part(ResidualsReply(), "What each measured value leaves.", required=False),
    "drag": part(FittedModelReply(), "The drag model.", required=False),
    "launch": part(FittedModelReply(), "The launch model, where one was given.", required=False),
    "notes": many(NoteReply(), "Cautions about this fit.", required=False),
}
FitOfModel = strict("FitOfModel", _FIT)


class FitRank(Strict):
    """One line of the ranking."""

    model = whole("Position of the model in the request.")
    label = text("Its label.")
    unknowns = whole("How many unknowns were found, those at a bound not counted.")
    chi_square = number("Its chi-square.")
    difference = number("Its AIC less the best one's, to 1e-6.")
    weight = number("Akaike weight: exp(-difference / 2), as a share of their sum.")


class SeriesReply(Strict):
    """One series as it was taken."""

    name = text("The name it was given.", required=False)
    values = whole("How many measured values it holds.")
    density = quantity("density", "Density of its air, CIPM-2007.")
    viscosity = quantity("viscosity", "Dynamic viscosity of its air.")
    launch_forward = quantity(
        "length", "Balance point ahead of the eye where the arrow leaves the string."
    )
    tip_lead = quantity("length", "Tip ahead of the balance point.")


FIT_REPLY: dict[str, Any] = {
    "criterion": text(
        "What the ranking goes by: always aic, which suits given uncertainties.",
        enum=[CRITERION],
    ),
    "ranking": many(FitRank(), "The models that were fitted, the best first."),
    "models": many(FitOfModel(), "One for each model, in the order asked for."),
    "series": many(SeriesReply(), "One for each series, in the order asked for."),
}
