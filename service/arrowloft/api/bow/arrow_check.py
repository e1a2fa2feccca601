"""POST /v1/arrow-check: least mass, balance, energy on the way, deflection in either standard."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from flask import Response, request
from marshmallow import ValidationError

from arrowloft.api import reading, replies
from arrowloft.api.blame import solving
from arrowloft.api.bow.check_members import (
    CHECK_REPLY,
    ROWS,
    check_lengths,
    check_members,
    rigidity_of,
)
from arrowloft.api.bow.check_notes import (
    MAKERS_CHARTS,
    arrival_notes,
    balance_notes,
    deflection_notes,
    mass_notes,
)
from arrowloft.api.distances import pointer
from arrowloft.api.replies import JSON, ReplyUnits
from arrowloft.api.reply_schemas import reply_schema
from arrowloft.api.resource import FLIGHT_PROBLEMS, Edge, Resource
from arrowloft.api.setup import Setup, resolve
from arrowloft.api.shared import request_schema
from arrowloft.api.tables import columns
from arrowloft.core.bow.arrow_check import (
    Arrivals,
    Carried,
    MassCheck,
    arrivals,
    front_of_centre,
    mass_check,
)
from arrowloft.core.bow.deflection import (
    BEYOND_SAG,
    LONG_SPAN,
    SHORT_SPAN,
    Standard,
    deflection,
    pounds,
)
from arrowloft.core.setup.equipment import LEAST_MASS_PER_DRAW_WEIGHT, Arrow
from arrowloft.plugin import Note


def resource(edge: Edge) -> Resource:
    """The resource."""
    schema = request_schema(
        "ArrowCheckRequest",
        edge.models,
        check_members(edge.limits.distances),
        drag_required=False,
        sight=False,
    )

    def view() -> Response:
        replies.negotiate(request, JSON)
        body = reading.read_object(request, edge.limits)
        asked = schema.read(body)
        check_lengths(asked)
        if "distances" in asked and "drag" not in asked:
            fault = "Energy at distances needs the drag: choose a drag model."
            raise ValidationError({"drag": [fault]})
        setup = resolve(asked, edge.registry)
        mass, notes = _mass(setup, asked)
        balance, more = _balance(setup.arrow, asked.get("shaft_length"), setup.units)
        notes += more
        own: dict[str, Any] = {"mass": mass, "balance": balance, "at_launch": _at_launch(setup)}
        if "spine" in asked:
            own["spine"], more = _deflection(asked, setup.units)
            notes += more
        found = _arrivals(setup, asked, body) if "distances" in asked else None
        notes += arrival_notes(found)
        if found is not None:
            own["rows"] = setup.units.json_rows(columns(found, ROWS))
            own["solution"] = replies.solution(setup.units, found.airspeed_range, angle=found.error)
            notes += setup.flown_notes(found.airspeed_range)
        return replies.json_reply(setup.reply(own, [*notes, MAKERS_CHARTS]))

    return Resource(
        path="/v1/arrow-check",
        name="arrow_check",
        summary="Mass, balance, energy and deflection of an arrow",
        description="Holds the arrow's mass against the draw weight, gives its FOC, its energy and "
        "momentum at the bow and, where `distances` and `drag` are given, on the way, and "
        "converts a shaft's deflection between the two standards. It recommends nothing: the "
        "makers' charts decide. A `sight` may stand in the request and plays no part.",
        view=view,
        request=schema,
        reply=reply_schema("ArrowCheckReply", CHECK_REPLY, drag_required=False),
        problems=FLIGHT_PROBLEMS,
    )


def _mass(setup: Setup, asked: Mapping[str, Any]) -> tuple[dict[str, Any], list[Note]]:
    """What MassCheckReply documents, and its notes; the set-up notes an unknown draw weight."""
    least = asked.get("least_mass_per_draw_weight", LEAST_MASS_PER_DRAW_WEIGHT)
    weight = _draw_weight(setup)
    check = None if weight is None else mass_check(float(setup.arrow.mass), weight, least)
    value = setup.units.value
    found = {
        "draw_weight": None if weight is None else value(weight, "force"),
        "least_per_draw_weight": value(least, "mass_per_force"),
        **_checked(check, setup.units),
    }
    return found, mass_notes(check, least)


def _checked(check: MassCheck | None, units: ReplyUnits) -> dict[str, Any]:
    if check is None:
        return dict.fromkeys(("per_draw_weight", "least_mass", "margin", "below_least"))
    return {
        "per_draw_weight": units.value(check.per_draw_weight, "mass_per_force"),
        "least_mass": units.value(check.least, "mass"),
        "margin": units.value(check.margin, "mass"),
        "below_least": check.light,
    }


def _draw_weight(setup: Setup) -> float | None:
    """The bow's draw weight, or the launch model's greatest force where that is more, N.

    A model that knows the force curve cautions by it, so the check must not say less.
    """
    known = [] if setup.bow.draw_weight is None else [float(setup.bow.draw_weight)]
    if "peak_force" in setup.launched.figures:
        known.append(float(setup.launched.figures["peak_force"][0]))
    return max(known, default=None)


def _balance(
    arrow: Arrow, shaft: float | None, units: ReplyUnits
) -> tuple[dict[str, Any], list[Note]]:
    """What ArrowBalanceReply documents, and its notes."""
    balance = arrow.balance_point
    foc = whole = ahead = None
    if balance is not None and shaft is not None:
        foc, ahead = float(front_of_centre(balance, shaft)), float(balance - 0.5 * shaft)
    if balance is not None and arrow.length is not None:
        whole = float(front_of_centre(balance, arrow.length))
    found = {
        "foc": None if foc is None else units.value(foc, "number"),
        "ahead_of_middle": None if ahead is None else units.value(ahead, "length"),
        "foc_whole_length": None if whole is None else units.value(whole, "number"),
    }
    return found, balance_notes(foc, whole, None if balance is None else float(balance))


def _at_launch(setup: Setup) -> dict[str, float]:
    """What LaunchEnergyReply documents."""
    value, speed, doubt = setup.units.value, setup.speed, setup.speed_uncertainty
    carried = Carried.of(float(setup.arrow.mass), speed, doubt)
    return {
        "speed": value(speed, "speed"),
        "speed_uncertainty": value(doubt, "speed"),
        "energy": value(carried.energy, "energy"),
        "energy_uncertainty": value(carried.energy_uncertainty, "energy"),
        "momentum": value(carried.momentum, "momentum"),
        "momentum_uncertainty": value(carried.momentum_uncertainty, "momentum"),
    }


def _arrivals(setup: Setup, asked: Mapping[str, Any], body: dict[str, Any]) -> Arrivals:
    with solving(setup.units, lambda lane: pointer(body, lane)):
        return arrivals(
            setup.shot(asked),
            np.array(asked["distances"]),
            speed_uncertainty=setup.speed_uncertainty,
            drag_uncertainty=setup.drag_uncertainty,
        )


def _deflection(asked: Mapping[str, Any], units: ReplyUnits) -> tuple[dict[str, Any], list[Note]]:
    """What DeflectionReply documents, and its notes."""
    stiff = rigidity_of(asked["spine"])
    length = asked.get("shaft_length", asked["arrow"].get("length"))
    long, short = _sag(stiff, LONG_SPAN), _sag(stiff, SHORT_SPAN)
    found = {
        "rigidity": units.value(stiff, "stiffness"),
        "deflection_28_inch": None if long is None else units.value(long, "length"),
        "deflection_26_inch": None if short is None else units.value(short, "length"),
        "pounds": None if short is None else units.value(float(pounds(stiff)), "number"),
    }
    return found, deflection_notes(asked["spine"], stiff, length, units)


def _sag(stiff: float, under: Standard) -> float | None:
    """Deflection under a standard, m; None where a beam would be bent too far to be one."""
    found = float(deflection(stiff, under))
    return found if found <= BEYOND_SAG * under.span else None
