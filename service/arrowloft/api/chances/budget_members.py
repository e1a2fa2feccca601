"""What /v1/error-budget takes beside the shared members, and what it gives."""

from typing import Any, NamedTuple

from marshmallow import ValidationError, fields

from arrowloft import units
from arrowloft.api.archer.groups import GroupReply, group_member
from arrowloft.api.distances import Distances
from arrowloft.api.fields import Number, Part, Quantity
from arrowloft.api.replies import ReplyUnits
from arrowloft.api.reply_schemas import SolutionReply, many, nullable, number, part, quantity, text
from arrowloft.api.schemas import Member, Strict, strict
from arrowloft.api.wording import unit_of, written


class _Kind(NamedTuple):
    """One input: its dimension, what it is, an example and the largest scatter taken (SI)."""

    dimension: str
    description: str
    example: str
    most: float


INPUTS: dict[str, _Kind] = {
    "speed": _Kind("speed", "launch speed, from shot to shot", "0.5 ft/s", 20.0),
    "mass": _Kind("mass", "mass of the arrow, at the launch speed that follows", "2 gr", 0.02),
    "drag": _Kind("number", "drag area of the arrow, as a share of it", "", 0.5),
    "draw_length": _Kind(
        "length",
        "draw length, by the launch model; the pin moves from the eye as far",
        "3 mm",
        0.05,
    ),
    "peep_height": _Kind(
        "length", "height of the eye over the arrow's line, at peep or anchor", "1 mm", 0.05
    ),
    "anchor_sideways": _Kind(
        "length", "place of the eye to the right of the bow's plane", "0.5 mm", 0.05
    ),
    "torque": _Kind("angle", "arrow's line turned right of the line of sight", "0.05 deg", 0.2),
    "roll": _Kind("angle", "bow rolled, top limb to the right", "1 deg", 0.5),
    "aim_up": _Kind("angle", "line of sight held above the aim point", "0.05 deg", 0.1),
    "aim_right": _Kind("angle", "line of sight held right of it", "0.05 deg", 0.1),
    "range": _Kind("distance", "target farther than the mark is for", "1 yd", 50.0),
    "slope": _Kind("angle", "line of sight steeper than the mark is for", "1 deg", 0.3),
    "wind_along": _Kind("speed", "wind from behind, added to the set-up's", "1 m/s", 15.0),
    "wind_across": _Kind("speed", "wind from the left, added to the set-up's", "1 m/s", 15.0),
    "temperature": _Kind("temperature", "temperature of the air, as a difference", "3 degC", 20.0),
    "pressure": _Kind("pressure", "pressure of the air", "5 hPa", 10_000.0),
}
"""Inputs whose scatter a request may give, in the order of the reply."""

CLICK = "click"


class Difference(Quantity):
    """A difference of temperatures: a degree is a degree, wherever its scale begins."""

    def read(self, value: Any) -> float:
        """The difference in K of a string such as "3 degC"."""
        si = Quantity(self.dimension, example=self.example).read(value)
        off = si - self._zero(value)
        # Differences of the offsets' own rounding are no fault.
        if not self._least - 1e-9 <= off <= self._greatest + 1e-9:
            most = self._in_unit_of(value, self._greatest)
            raise ValidationError(f"Give a difference of 0 to {most}; {value} is outside.")
        return max(off, 0.0)

    def _zero(self, text: str) -> float:
        return units.DIMENSIONS[self.dimension][unit_of(text, self.dimension)].offset

    def _in_unit_of(self, text: str, si: float) -> str:
        unit = unit_of(text, self.dimension)
        return written(si + self._zero(text), self.dimension, unit)


def _member(kind: _Kind) -> Member:
    told = f"Standard deviation of: {kind.description}."
    if kind.dimension == "number":
        return Number(told, low=0.0, high=kind.most)
    of = Difference if kind.dimension == "temperature" else Quantity
    return of(kind.dimension, told, example=kind.example, low=0.0, high=kind.most)


Scatter = strict("Scatter", {name: _member(kind) for name, kind in INPUTS.items()})


def budget_members(most: int) -> dict[str, Member]:
    """The request's own members; most: distances."""
    return {
        "distances": Distances(
            most, "Distances of the marks: a list in any order, or a range.", required=True
        ),
        "scatter": Part(
            Scatter(),
            "How much each input varies, as standard deviations. Left out, an input has its shift "
            "but no share; the speed is then taken to vary by 0.2 %, and rounding to whole clicks "
            "is known.",
        ),
        "group": group_member(),
    }


def unit_of_input(name: str, chosen: ReplyUnits) -> tuple[str, float]:
    """The unit of an input in the reply, in words, and its worth in SI."""
    if name == CLICK:
        return "click", 1.0
    dimension = INPUTS[name].dimension
    if dimension == "number":
        return "share", 1.0
    symbol = chosen.chosen[dimension]
    return symbol, units.DIMENSIONS[dimension][symbol].factor


class BudgetInput(Strict):
    """One input at one distance."""

    input = text("The input.", enum=[*INPUTS, CLICK])
    unit = text(
        "Unit that the shift is for, and unit of the scatter: one of this reply's units, `share` "
        "(1 is the whole drag area) or `click`."
    )
    up_per_unit = nullable(
        number(
            "Shift of the impact upward for one unit, in units.length, in proportion to a small "
            "change; null where an arrow this close to its reach may not arrive."
        )
    )
    right_per_unit = nullable(number("The same to the right."))
    scatter = nullable(number("Standard deviation of the input; null where it is not known."))
    up = nullable(quantity("length", "Standard deviation up and down that it makes."))
    right = nullable(quantity("length", "Standard deviation sideways that it makes."))
    share = nullable(
        number("Share of the variance, up and sideways together, of all inputs of known scatter.")
    )
    rank = nullable(
        fields.Integer(
            required=True, metadata={"description": "1 for the largest share at this distance."}
        )
    )
    widens_group = fields.Boolean(
        required=True,
        metadata={
            "description": "Whether it varies from arrow to arrow; what stays as it is through an "
            "end moves the whole group."
        },
    )


class BudgetRow(Strict):
    """The budget at one distance."""

    distance = quantity("distance", "Distance of the mark.")
    up = quantity("length", "Standard deviation up and down of all inputs of known scatter.")
    right = quantity("length", "Standard deviation sideways of them.")
    group_up = quantity("length", "The archer's group here, up and down.", required=False)
    group_right = quantity("length", "The archer's group here, sideways.", required=False)
    explained = number(
        "Share of the group's variance that the inputs which vary from arrow to arrow make; more "
        "than 1 where they make more.",
        required=False,
    )
    unexplained = number("What is left of it; not below 0.", required=False)
    left_up = quantity("length", "Standard deviation left up and down.", required=False)
    left_right = quantity("length", "Standard deviation left sideways.", required=False)
    inputs = many(BudgetInput(), "Every input.")


class WorthFixing(Strict):
    """One input with its share over all distances."""

    input = text("The input.", enum=[*INPUTS, CLICK])
    share = number("Mean of its shares over the distances.")


class BudgetSolution(SolutionReply):
    """How well flights and shifts were computed."""

    shift_error = number("Estimated error of the shifts per unit, as a share of them, at most.")


BUDGET_REPLY: dict[str, Any] = {
    "rows": many(BudgetRow(), "One row a distance, in the order asked for."),
    "worth_fixing": many(WorthFixing(), "Inputs of known scatter, the largest share first."),
    "group": part(GroupReply(), "The group as it was taken.", required=False),
    "solution": part(BudgetSolution(), "How the flights were solved."),
}
