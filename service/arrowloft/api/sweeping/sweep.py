"""POST /v1/sweep: grids and samples over any numbers of a set-up, as columns."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from flask import Response, request
from marshmallow import fields

from arrowloft import __version__
from arrowloft.api import reading, replies
from arrowloft.api.canonical import digest
from arrowloft.api.replies import CSV, JSON, ReplyUnits, significant, sources_reply
from arrowloft.api.reply_schemas import (
    NoteReply,
    ServiceReply,
    SolutionReply,
    SourceReply,
    UnitsReply,
    many,
    number,
    part,
    quantity,
    text,
    whole,
)
from arrowloft.api.resource import Edge, Resource
from arrowloft.api.schemas import Strict, strict
from arrowloft.api.sweeping import members
from arrowloft.api.sweeping.block import Sweep
from arrowloft.api.sweeping.forms import (
    ARROW,
    PARQUET,
    accepted,
    arrow_table,
    binary,
    converted,
    csv_text,
    json_columns,
    unit_of,
)
from arrowloft.api.sweeping.plan import plan_of
from arrowloft.api.sweeping.states import air_of, gravity_of
from arrowloft.api.sweeping.table import Table, computed
from arrowloft.api.sweeping.validity import Kind
from arrowloft.core.flight import work

WRITTEN = 2
"""Evaluations of a drag law in the time that a number of the reply takes: 0.1 to 0.3 us."""


class SizesReply(Strict):
    """What a sweep came to."""

    setups = whole("Set-ups: points of the grid times samples.")
    grid_points = whole("Points of the grid.")
    samples = whole("Draws at each point of the grid; 1 where nothing is drawn.")
    distances = whole("Distances that each set-up was aimed at.")
    points = whole("Rows: set-ups times distances.")
    block = whole(
        "Set-ups computed together. It follows from the request, so that the same one gives the "
        "same to the last bit, on whatever machine of a kind; in other blocks rows differ by "
        "rounding, 1e-10 of them at most."
    )
    beyond_reach = whole("Points whose distance is beyond reach.")
    zero_beyond_reach = whole("Set-ups whose zero distance is not reached: their travel is null.")
    not_followed = whole("Points whose flight could not be followed.")


class SweptAirReply(Strict):
    """The air, as far as it is that of all set-ups."""

    temperature = quantity("temperature", "Temperature.", required=False)
    pressure = quantity("pressure", "Pressure.", required=False)
    relative_humidity = number("Relative humidity, 0 to 1.", required=False)
    density = quantity("density", "Density, CIPM-2007.", required=False)
    viscosity = quantity("viscosity", "Dynamic viscosity.", required=False)
    speed_of_sound = quantity("speed", "Speed of sound.", required=False)


class SweptModelReply(Strict):
    """A model that the set-ups were computed with."""

    model = text("Name of the model.")
    version = text("Its version: it changes whenever an answer changes.")
    sources = many(SourceReply(), "The model's sources.")


class LeftReply(Strict):
    """A quantity that left the range in which a model may be trusted."""

    kind = text("Kind of the model.", enum=["drag", "launch"])
    model = text("The model.")
    quantity = text("The quantity, as the model's validity names it.")
    points = whole("In how many points.")


def _columns(description: str) -> fields.Dict:
    """Lists of equal length, by column."""
    value = fields.Float(allow_none=True, metadata={"description": "A value of one row."})
    inner = fields.List(value, metadata={"description": "One value a row."})
    return fields.Dict(
        keys=fields.String(),
        values=inner,
        required=False,
        metadata={"description": description},
    )


_REPLY: dict[str, Any] = {
    "columns": _columns(
        "Every row, one list a column: the varied members by their pointers, `sample` (the number "
        "of the draw), `distance`, and the quantities wanted. The first varied member changes "
        "slowest, then the draw, the distance fastest. null: not reached. Units as in `units`."
    ),
    "summary": _columns(
        "Of a sampled sweep, a row for each point of the grid and distance: `arrived` (samples "
        "that reach the distance; travel is of those that reach the zero distance too), and of "
        "each quantity, as in `speed.mean`, mean, standard_deviation and quantile_P for each "
        "probability P."
    ),
    "sizes": part(SizesReply(), "What the sweep came to."),
    "seed": fields.Integer(metadata={"description": "Seed of the draws."}),
    "outside_validity": many(
        LeftReply(), "What left the range in which its model may be trusted, as counts of points."
    ),
    "solution": part(
        SolutionReply(),
        "How well the flights were solved; left out where none arrived.",
        required=False,
    ),
    "launch": part(SweptModelReply(), "The launch model."),
    "drag": part(SweptModelReply(), "The drag model."),
    "air": part(SweptAirReply(), "The air, without what differs between set-ups."),
    "gravity": number(
        "Acceleration of free fall, m/s2; left out where it differs between set-ups.",
        required=False,
    ),
    "notes": many(NoteReply(), "Cautions and assumptions."),
    "units": part(UnitsReply(), "Unit of each dimension in this reply."),
    "service": part(ServiceReply(), "What computed it."),
}


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = members.schema(edge.models, edge.limits.distances)

    def view() -> Response:
        form = accepted(request)
        body = reading.read_object(request, edge.limits)
        plan = plan_of(schema, body, edge.limits.points)
        work.spend(plan.points * len(plan.quantities) * WRITTEN)
        table = computed(Sweep(plan, edge.registry))
        return _reply(table, form)

    return Resource(
        path="/v1/sweep",
        name="sweep",
        summary="Grids and samples over any numbers of a set-up",
        description="Aims many set-ups: every combination of the values of some members, or draws "
        "from their distributions at each, with quantiles of what comes of it. Two requests with "
        "the same seed draw the same, and in the same blocks are computed to the same bits.",
        view=view,
        request=schema,
        reply=strict("SweepReply", _REPLY)(),
        forms=(CSV, ARROW, PARQUET),
        problems=("model-cannot-answer", "outside-validity"),
    )


def said(table: Table) -> dict[str, Any]:
    """All that a reply says beside its columns."""
    plan, chosen = table.plan, ReplyUnits(table.plan.asked.get("units", {}))
    own: dict[str, Any] = {
        "sizes": {
            "setups": plan.grid.setups,
            "grid_points": plan.grid.points,
            "samples": plan.grid.samples,
            "distances": plan.distances.size,
            "points": plan.points,
            "block": plan.blocks.size,
            "beyond_reach": table.beyond,
            "zero_beyond_reach": table.zero_missed,
            "not_followed": table.unsolved,
        }
    }
    if plan.seed is not None:
        own["seed"] = plan.seed
    if table.airspeeds is not None:
        own["solution"] = replies.solution(chosen, table.airspeeds, angle=table.error)
    return own | {
        "outside_validity": [
            {"kind": o.kind, "model": o.model, "quantity": o.quantity, "points": o.points}
            for o in table.left
        ],
        "launch": _model(table, "launch"),
        "drag": _model(table, "drag"),
        **_common(table, chosen),
        "notes": [{"code": note.code, "message": note.message} for note in table.notes],
        "units": chosen.chosen,
        "service": {"name": "arrowloft", "version": __version__},
    }


_OF_AIR: Mapping[str, str] = {
    "temperature": "temperature",
    "pressure": "pressure",
    "relative_humidity": "number",
    "density": "density",
    "viscosity": "viscosity",
    "speed_of_sound": "speed",
}
"""Member of the air -> its dimension."""


def _common(table: Table, chosen: ReplyUnits) -> dict[str, Any]:
    """Air and gravity, as far as they are numbers and no lanes."""
    asked = table.plan.with_lanes(table.plan.lanes(0, 1))
    air, gravity = vars(air_of(asked, [])), gravity_of(asked)
    common = {n: chosen.value(air[n], d) for n, d in _OF_AIR.items() if np.ndim(air[n]) == 0}
    own: dict[str, Any] = {"air": common}
    if np.ndim(gravity) == 0:
        own["gravity"] = significant(float(gravity), 9)
    return own


def named(table: Table) -> dict[str, Any]:
    """What a form that holds no other says of its request."""
    return {"request": table.plan.body, "request_digest": digest(table.plan.body)}


def _model(table: Table, kind: Kind) -> dict[str, Any]:
    model = (table.sweep.drag if kind == "drag" else table.sweep.launch).model
    return {
        "model": model.name,
        "version": model.version,
        "sources": sources_reply(model.sources),
    }


def _reply(table: Table, form: str) -> Response:
    chosen, own = ReplyUnits(table.plan.asked.get("units", {})), said(table)
    if form == JSON:
        tables = {}
        if table.plan.rows:
            tables["columns"] = json_columns(chosen, table.rows)
        if table.plan.sampled:
            tables["summary"] = json_columns(chosen, table.summary)
        return replies.json_reply(tables | own, forms=4)
    if form == CSV:
        content_type = f"{CSV}; charset=utf-8; header=present"
        response = Response(csv_text(chosen, table.main), content_type=content_type)
    else:
        values = converted(chosen, table.main)
        symbols = [unit_of(chosen, one) for one in table.main]
        made = arrow_table(table.main, values, symbols, own | named(table))
        response = Response(binary(made, form), content_type=form)
    response.headers["Vary"] = "Accept"
    return response
