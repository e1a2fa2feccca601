"""GET /v1/units: the units that requests take, and what each is worth."""

from typing import Any

from flask import Response, request
from marshmallow import fields

from arrowloft import units
from arrowloft.api import replies
from arrowloft.api.replies import JSON
from arrowloft.api.resource import Resource
from arrowloft.api.schemas import Strict


class UnitList(Strict):
    """Every dimension with its units."""

    dimensions = fields.Dict(
        required=True,
        metadata={
            "description": "Dimension, then symbol of a unit: SI value = value x factor + offset.",
            "additionalProperties": {
                "type": "object",
                "additionalProperties": {
                    "type": "object",
                    "properties": {"factor": {"type": "number"}, "offset": {"type": "number"}},
                    "required": ["factor", "offset"],
                    "additionalProperties": False,
                },
            },
        },
    )
    defaults = fields.Dict(
        required=True,
        metadata={
            "description": "Dimension, then the unit of replies to requests that choose none.",
            "additionalProperties": {"type": "string"},
        },
    )


def resource() -> Resource:
    """The resource."""

    def view() -> Response:
        replies.negotiate(request, JSON)
        return replies.json_reply({"dimensions": _dimensions(), "defaults": dict(units.DEFAULTS)})

    return Resource(
        path="/v1/units",
        name="units",
        summary="The units of requests and replies",
        description="Lists the units of each dimension and what they are worth in SI units.",
        view=view,
        reply=UnitList(),
    )


def _dimensions() -> dict[str, Any]:
    return {
        dimension: {
            symbol: {"factor": unit.factor, "offset": unit.offset} for symbol, unit in known.items()
        }
        for dimension, known in units.DIMENSIONS.items()
        if dimension != "number"
    }
