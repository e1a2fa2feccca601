"""What /v1/sight-shift takes and gives beside the shared members."""

from typing import Any, cast

from arrowloft.api.archer.landed import check_landed, landed_members
from arrowloft.api.replies import ReplyUnits, significant
from arrowloft.api.reply_schemas import SolutionReply, flag, nullable, number, part, quantity, whole
from arrowloft.api.schemas import Strict
from arrowloft.core.archer.archer_scatter import ArcherScatter
from arrowloft.core.archer.landed import Landed
from arrowloft.core.archer.significance import MOST_MORE, POWER
from arrowloft.core.learning.sight_shift import AxisShift, Move, SightShift

_SHOWN = f"with a chance of {POWER:g}"


class _Landed(Strict):
    """Where arrows landed, in one form."""

    def check(self, data: dict[str, Any]) -> None:
        """One form or the other."""
        check_landed(data)


ShotGroup = cast(type[Strict], _Landed.from_dict(cast(Any, landed_members()), name="ShotGroup"))


class ShiftMove(Strict):
    """A move of the pin along one axis; positive: down, or to the right."""

    travel = quantity("length", "Travel of the pin that centres the group.")
    uncertainty = quantity("length", "Standard uncertainty of it, from the scatter.")
    turns = number("Turns of the screw that make it, not rounded.", required=False)
    clicks = whole("Whole clicks that come nearest to it.", required=False)
    clicks_uncertainty = number("Standard uncertainty in clicks.", required=False)
    remaining = quantity(
        "length", "Travel that whole clicks leave to do; 0 for a screw without clicks."
    )
    click_on_target = quantity(
        "length", "What one click moves the impact by at this distance.", required=False
    )


class AxisShiftReply(Strict):
    """One axis: the shift of the group's centre, whether it is real, and the move against it."""

    shift = quantity("length", "The centre from the aim point: up, or right, positive.")
    uncertainty = quantity("length", "Standard uncertainty of it, from the scatter.")
    degrees_of_freedom = number("Degrees of freedom of that.")
    t = number("The shift in standard uncertainties.")
    p_value = number("Chance of a centre so far off, or farther, with no shift of the sight.")
    real = flag(
        "Whether the shift is real: the p-value is at most 1 - confidence, or half of that where "
        "two axes are judged (Bonferroni)."
    )
    move = part(ShiftMove(), "The move of the pin that would undo the shift, real or not.")
    least_shift = quantity("length", f"Smallest shift that such a group shows {_SHOWN}.")
    least_travel = quantity("length", "The same as travel of the pin.")
    least_clicks = number("The same in clicks.", required=False)
    more_arrows = nullable(
        whole(
            "How many more arrows at this distance would tell a shift as large as this one "
            f"{_SHOWN}: 0 where it is real; null where {MOST_MORE} would not."
        )
    )
    click_arrows = nullable(
        whole(
            f"How many more would tell a shift of a single click {_SHOWN}; null where "
            f"{MOST_MORE} would not, or the screw has no clicks."
        )
    )


class ShiftTogether(Strict):
    """Both axes judged together."""

    p_value = number(
        "Chance of a group as unlikely, over both axes, with no shift: p q (1 - ln(p q)) of the "
        "p-values p and q of the axes; of the only axis, its own."
    )
    real = flag("Whether that is at most 1 - confidence.")


class MarksMove(Strict):
    """What every proven mark changes by, if the move is made; down positive."""

    travel = quantity("length", "Travel to add to every mark.")
    zero_turns = number("Turns at the zero distance, from its old mark.", required=False)
    zero_clicks = whole("Whole clicks at the zero distance, from its old mark.", required=False)
    zero_reading = number("Reading of the sight's scale at the zero distance.", required=False)
    reading_change = number("What to add to the scale's reading of every mark.", required=False)


class LandedReply(Strict):
    """The arrows as the computation took them."""

    arrows = whole("How many.")
    up = quantity("length", "Their centre above the aim point.")
    right = nullable(quantity("length", "Their centre to the right; null where not noted."))
    vertical = nullable(
        quantity("length", "Their own standard deviation up and down; null where not known.")
    )
    sideways = nullable(quantity("length", "The same sideways."))


class AxisScatter(Strict):
    """The archer's scatter along one axis."""

    angle = quantity("angle", "Standard deviation of the launch direction.")
    length = quantity("length", "The same of the impacts at this distance.")
    degrees_of_freedom = number("Degrees of freedom that it is known with.")


class ScatterReply(Strict):
    """The archer's scatter: the group known before, pooled with that of these arrows."""

    vertical = part(AxisScatter(), "Up and down.")
    sideways = part(AxisScatter(), "Sideways.")
    assumed = flag("Whether a usual scatter stands in for a group.")


SHIFT_REPLY: dict[str, Any] = {
    "distance": quantity("distance", "Distance at which the group was shot."),
    "confidence": number("Confidence from which a shift counts as real."),
    "vertical": part(AxisShiftReply(), "Up and down."),
    "sideways": part(AxisShiftReply(), "Sideways; where `right` was given.", required=False),
    "together": part(
        ShiftTogether(),
        "Both axes together. It may tell a shift that no axis tells by itself, and miss one that "
        "a single axis tells.",
    ),
    "marks_move": part(MarksMove(), "What every proven mark changes by, if the move is made."),
    "landed": part(LandedReply(), "The arrows as the computation took them."),
    "scatter": part(ScatterReply(), "The archer's scatter that they were judged by."),
    "solution": part(SolutionReply(), "How the flights were solved."),
}


def axis_reply(axis: AxisShift, units: ReplyUnits) -> dict[str, Any]:
    """One axis in the reply's units, as `AxisShiftReply` has it."""
    found, move = axis.evidence, axis.move
    own = {
        "shift": units.value(found.shift, "length"),
        "uncertainty": units.value(found.uncertainty, "length"),
        "degrees_of_freedom": significant(found.degrees, 4),
        "t": significant(found.statistic, 4),
        "p_value": significant(found.p_value, 4),
        "real": found.real,
        "move": _move(move, units),
        "least_shift": units.value(found.least, "length"),
        "least_travel": units.value(move.least, "length"),
    }
    if move.least_clicks is not None:
        own["least_clicks"] = significant(move.least_clicks, 4)
    return own | {"more_arrows": found.more_arrows, "click_arrows": move.click_arrows}


def _move(move: Move, units: ReplyUnits) -> dict[str, Any]:
    own: dict[str, Any] = {
        "travel": units.value(move.travel, "length"),
        "uncertainty": units.value(move.uncertainty, "length"),
    }
    if move.turns is not None:
        own["turns"] = units.value(move.turns, "number")
    if move.clicks is not None:
        assert move.clicks_uncertainty is not None
        own["clicks"] = move.clicks
        own["clicks_uncertainty"] = significant(move.clicks_uncertainty, 4)
    own["remaining"] = units.value(move.remaining, "length")
    if move.click is not None:
        own["click_on_target"] = units.value(move.click, "length")
    return own


def marks_reply(found: SightShift, units: ReplyUnits) -> dict[str, Any]:
    """What the marks change by, as `MarksMove` has it."""
    own: dict[str, Any] = {"travel": units.value(found.marks_move, "length")}
    zero = found.zero
    if zero.turns is not None:
        own["zero_turns"] = units.value(zero.turns, "number")
    if zero.clicks is not None:
        own["zero_clicks"] = int(zero.clicks)
    if zero.reading is not None:
        own["zero_reading"] = units.value(zero.reading, "number")
        own["reading_change"] = units.value(found.reading_change, "number")
    return own


def landed_reply(landed: Landed, units: ReplyUnits) -> dict[str, Any]:
    """The arrows in the reply's units, as `LandedReply` has them."""
    lengths = {name: getattr(landed, name) for name in ("up", "right", "vertical", "sideways")}
    return {"arrows": landed.arrows} | {
        name: None if m is None else units.value(m, "length") for name, m in lengths.items()
    }


def scatter_reply(scatter: ArcherScatter, distance: float, units: ReplyUnits) -> dict[str, Any]:
    """The scatter in the reply's units, as `ScatterReply` has it; its length at a distance, m."""
    axes = {
        name: {
            "angle": units.value(axis.deviation, "angle"),
            "length": units.value(axis.deviation * distance, "length"),
            "degrees_of_freedom": significant(axis.degrees, 4),
        }
        for name, axis in (("vertical", scatter.vertical), ("sideways", scatter.sideways))
    }
    return axes | {"assumed": scatter.assumed}
