"""What /v1/arrow-check takes beside the shared members, and what it gives."""

from collections.abc import Mapping
from functools import partial
from typing import Any, cast

from marshmallow import ValidationError

from arrowloft import units
from arrowloft.api.distances import Distances
from arrowloft.api.fields import Choice, Number, Part, Quantity
from arrowloft.api.reply_schemas import SolutionReply, flag, many, nullable, number, part, quantity
from arrowloft.api.schemas import Member, Strict
from arrowloft.api.tables import Head, row_schema
from arrowloft.core.bow.deflection import (
    BEYOND_SAG,
    LONG_SPAN,
    SHORT_SPAN,
    Standard,
    rigidity,
    rigidity_of_pounds,
)

STANDARDS: dict[str, Standard] = {"28-inch": LONG_SPAN, "26-inch": SHORT_SPAN}

_PER_POUND = units.to_si(1.0, "mass_per_force", "gr/lbf")
_ONE_FORM = (
    "Give the deflection in one form: `deflection` with `standard`, or with `span` and `load`, "
    "or `pounds` alone."
)

_maybe = partial(Head, nullable=True)

ROWS: tuple[Head, ...] = (
    Head("distance", "distance", "Distance of the aim point."),
    Head("time", "time", "Launch to arrival of the tip."),
    Head("speed", "speed", "Speed at arrival."),
    _maybe("speed_uncertainty", "speed", "Its standard uncertainty; null close to the reach."),
    Head("energy", "energy", "Kinetic energy at arrival."),
    _maybe(
        "energy_uncertainty",
        "energy",
        "Its standard uncertainty, from launch speed and drag; null close to the reach.",
    ),
    Head(
        "energy_lost",
        "number",
        "Share of the energy at launch that was lost on the way; negative where the arrow gains, "
        "as it does falling steeply.",
    ),
    _maybe("energy_lost_uncertainty", "number", "Its standard uncertainty; null as above."),
    Head("momentum", "momentum", "Momentum at arrival."),
    _maybe("momentum_uncertainty", "momentum", "Its standard uncertainty; null as above."),
    Head("momentum_lost", "number", "Share of the momentum at launch that was lost on the way."),
)


class _OneForm(Strict):
    """How far the shaft bends: under a standard, under any span and load, or in pounds."""

    def check(self, data: dict[str, Any]) -> None:
        """One form, and a beam that is still one."""
        forms = ({"deflection", "standard"}, {"deflection", "span", "load"}, {"pounds"})
        if data.keys() not in forms:
            raise ValidationError(_ONE_FORM)
        if "deflection" in data and data["deflection"] > BEYOND_SAG * under_of(data).span:
            raise ValidationError(
                "The shaft sinks by more than 0.24 of the span, where it slips through between its "
                "supports: use a lighter load or a shorter span, or correct the unit.",
                "deflection",
            )


_DEFLECTION_MEMBERS: dict[str, Member] = {
    "standard": Choice(
        tuple(STANDARDS),
        "28-inch: a span of 28 in, a load of 1.94 lbf. 26-inch: a span of 26 in, a load of 2 lbf.",
    ),
    "span": Quantity(
        "length",
        "Between the supports, in place of a standard.",
        example="28 in",
        low=0.2,
        high=1.0,
    ),
    "load": Quantity(
        "force",
        "Load in the middle of the span, in place of a standard.",
        example="1.94 lbf",
        low=0.5,
        high=50.0,
    ),
    "deflection": Quantity(
        "length",
        "How far the middle of the shaft sinks under the load; a shaft that its maker marks 400 "
        "sinks 0.400 in under the 28-inch standard (common practice).",
        example="0.402 in",
        low=1e-4,
        high=0.25,
    ),
    "pounds": Number(
        "The trade's figure in pounds: 26 in divided by the deflection under the 26-inch standard.",
        low=5,
        high=500,
    ),
}
Deflection = cast(
    type[Strict], _OneForm.from_dict(cast(Any, _DEFLECTION_MEMBERS), name="Deflection")
)


def under_of(asked: Mapping[str, Any]) -> Standard:
    """Span and load of a request's `deflection` member."""
    if "pounds" in asked:
        return SHORT_SPAN
    if "standard" in asked:
        return STANDARDS[asked["standard"]]
    return Standard(span=asked["span"], load=asked["load"])


def rigidity_of(asked: Mapping[str, Any]) -> float:
    """Flexural rigidity of a request's `deflection` member, N m2."""
    if "pounds" in asked:
        return float(rigidity_of_pounds(asked["pounds"]))
    return float(rigidity(under_of(asked), asked["deflection"]))


def check_members(most: int) -> dict[str, Member]:
    """The request's own members; most: distances."""
    return {
        "least_mass_per_draw_weight": Quantity(
            "mass_per_force",
            "Least mass of the arrow per peak draw weight; left out, 5 grains per pound (common "
            "practice). The bow maker's own least goes before it.",
            example="6 gr/lbf",
            low=_PER_POUND,
            high=20.0 * _PER_POUND,
        ),
        "shaft_length": Quantity(
            "length",
            "Nock throat to the end of the shaft, point excluded: the length that the trade's FOC "
            "is counted on.",
            example="27.25 in",
            low=0.2,
            high=1.5,
        ),
        "distances": Distances(
            most,
            "Distances at which energy and momentum are asked for: a list in any order, or a "
            "range. They need `drag`; `slope` and `wind` act on them alone.",
        ),
        "spine": Part(Deflection(), "The shaft's static spine, its deflection, to be converted."),
    }


def check_lengths(asked: Mapping[str, Any]) -> None:
    """Raise ValidationError where the shaft's length does not fit the arrow."""
    shaft, arrow = asked.get("shaft_length"), asked["arrow"]
    if shaft is None:
        return
    if shaft > arrow.get("length", shaft):
        fault = (
            "The shaft is longer than the arrow: give nock throat to the end of the shaft here, "
            "to the end of the point in arrow.length."
        )
        raise ValidationError({"shaft_length": [fault]})
    if arrow.get("balance_point", 0.0) > shaft:
        fault = "The balance point lies beyond the end of the shaft: correct one of the two."
        raise ValidationError({"shaft_length": [fault]})


class MassCheckReply(Strict):
    """The arrow's mass beside the least one; null where the draw weight is not known."""

    draw_weight = nullable(
        quantity(
            "force",
            "Peak draw weight that it is checked against: bow.draw_weight, or the greatest force "
            "that the launch model knows where that is more.",
        )
    )
    per_draw_weight = nullable(quantity("mass_per_force", "Mass per draw weight."))
    least_per_draw_weight = quantity("mass_per_force", "Least mass per draw weight.")
    least_mass = nullable(quantity("mass", "Least mass for this draw weight."))
    margin = nullable(quantity("mass", "Mass less least mass; negative where it is too light."))
    below_least = nullable(flag("Whether the arrow is lighter than the least mass."))


class ArrowBalanceReply(Strict):
    """Where the arrow balances; null where a length is not known."""

    foc = nullable(
        number(
            "FOC by the trade's definition, in percent: 100 (B - L/2) / L, B nock throat to "
            "balance point, L nock throat to the end of the shaft."
        )
    )
    ahead_of_middle = nullable(
        quantity("length", "Balance point ahead of the middle of the shaft, B - L/2.")
    )
    foc_whole_length = nullable(
        number("The same on the whole arrow, point included, in percent: no figure of the trade.")
    )


class LaunchEnergyReply(Strict):
    """The arrow as it leaves the string."""

    speed = quantity("speed", "Speed.")
    speed_uncertainty = quantity("speed", "Its standard uncertainty.")
    energy = quantity("energy", "Kinetic energy.")
    energy_uncertainty = quantity("energy", "Its standard uncertainty, the mass being exact.")
    momentum = quantity("momentum", "Momentum.")
    momentum_uncertainty = quantity("momentum", "Its standard uncertainty, the mass being exact.")


class DeflectionReply(Strict):
    """The shaft's stiffness in every form; null where a beam would be bent too far."""

    rigidity = quantity("stiffness", "Flexural rigidity EI.")
    deflection_28_inch = nullable(
        quantity("length", "Deflection over a span of 28 in under 1.94 lbf.")
    )
    deflection_26_inch = nullable(
        quantity("length", "Deflection over a span of 26 in under 2 lbf.")
    )
    pounds = nullable(number("The trade's figure in pounds: 26 in over that deflection."))


CHECK_REPLY: dict[str, Any] = {
    "mass": part(MassCheckReply(), "Mass and draw weight."),
    "balance": part(ArrowBalanceReply(), "Balance."),
    "at_launch": part(LaunchEnergyReply(), "Energy and momentum at the bow."),
    "rows": many(
        row_schema("ArrivalRow", ROWS),
        "One row a distance, in the order asked for.",
        required=False,
    ),
    "spine": part(DeflectionReply(), "The static spine, where given.", required=False),
    "solution": part(
        SolutionReply(), "How the flights were solved, where distances are given.", required=False
    ),
}
