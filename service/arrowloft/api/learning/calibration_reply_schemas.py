"""What a calibration replies with, for the document."""

from typing import Any

from marshmallow import fields

from arrowloft.api.reply_schemas import (
    SolutionReply,
    flag,
    many,
    nullable,
    number,
    part,
    quantity,
    text,
    whole,
)
from arrowloft.api.schemas import Strict
from arrowloft.api.tables import Head, row_schema


class LearnedParameter(Strict):
    """One unknown: what is known of it now, and what was before."""

    name = text("speed, drag, peep_height, radius, zero or windage.")
    unit = text("Unit of its figures; empty for a plain number.")
    value = number("Its fitted value. drag: factor on the drag area.")
    standard_uncertainty = number("Standard uncertainty of that.")
    prior = number("Its value before the observations.")
    prior_uncertainty = number("Standard uncertainty of that; 0: held fixed.")
    learned = number(
        "Share of its variance that the observations took away: 1 is learned, 0 stayed at its "
        "prior."
    )
    status = text(
        "The same in a word: learned (at least half), partly (at least a tenth), prior, or fixed.",
        enum=["learned", "partly", "prior", "fixed"],
    )


class CorrelationsReply(Strict):
    """Correlations of the fitted unknowns."""

    names = fields.List(
        fields.String(), required=True, metadata={"description": "Rows and columns of the matrix."}
    )
    matrix = fields.List(
        fields.List(fields.Float()), required=True, metadata={"description": "Row by row."}
    )


class FitReply(Strict):
    """How well the fit fits."""

    loss = text("How residuals counted.")
    values = whole("Values fitted: heights, places to the side, speeds.")
    chi_square = number("Sum of squares in standard uncertainties, the prior's part included.")
    chance = number("Chance of so large a sum where all is well: very small says something is off.")
    inflation = number(
        "Largest factor on the variances of what was seen, where it contradicts itself or fits "
        "worse than it should; else 1."
    )
    evaluations = whole("How often the flights were computed.")


class MoveReply(Strict):
    """A move of the pin."""

    travel = quantity("length", "Travel, down or right positive.")
    uncertainty = nullable(
        quantity("length", "Standard uncertainty of it; null where none is computed.")
    )
    turns = number("Turns of the screw.", required=False)
    clicks = whole("Whole clicks.", required=False)


class AxisCorrection(Strict):
    """What one end asks for, up and down or to the side."""

    nudge = nullable(
        part(
            MoveReply(),
            "The move that would centre this end by itself; null where no place was noted.",
        )
    )
    beyond_scatter = flag(
        "Whether the end is farther off than the archer's own scatter explains (5 %). Where it "
        "is not, nudging by it chases noise."
    )
    move = nullable(
        part(
            MoveReply(),
            "The move from the mark that was shot to the one that everything seen so far asks for; "
            "null where the distance is beyond reach, and where no place to the side was noted.",
        )
    )


class CorrectionReply(Strict):
    """What one end asks for."""

    elevation = part(AxisCorrection(), "Up and down; the pin down is positive.")
    windage = part(AxisCorrection(), "To the side; the pin right is positive.")


class ObservationReply(Strict):
    """One observation, and how it fits the others."""

    name = text("The name it was given.", required=False)
    kind = text("arrows, proven or speed.", enum=["arrows", "proven", "speed"])
    distance = quantity("distance", "Its distance.")
    status = text(
        "used; set-aside: it does not fit and was left out; in-doubt: it, or one of several that "
        "are in doubt together, does not fit, and it was used.",
        enum=["used", "set-aside", "in-doubt"],
    )
    arrows = whole("How many arrows were counted.", required=False)
    flyers = fields.List(
        fields.Integer(),
        required=False,
        metadata={"description": "Positions in `impacts` of arrows left out as flyers."},
    )
    travel = quantity(
        "length", "Travel of the pin from the zero mark, as it was shot.", required=False
    )
    up = quantity("length", "Height of the centre.", required=False)
    expected_up = nullable(
        quantity(
            "length", "Height that the fit expects; null: no arrow comes there.", required=False
        )
    )
    up_uncertainty = quantity("length", "Standard uncertainty of the centre.", required=False)
    right = quantity("length", "Place to the right, where it was noted.", required=False)
    expected_right = nullable(
        quantity("length", "Place that the fit expects; null as above.", required=False)
    )
    right_uncertainty = quantity("length", "Standard uncertainty of that.", required=False)
    speed = quantity("speed", "Speed that was read.", required=False)
    expected_speed = nullable(
        quantity("speed", "Speed that the fit expects; null as above.", required=False)
    )
    speed_uncertainty = quantity("speed", "Standard uncertainty of the reading.", required=False)
    off = nullable(
        number(
            "How far it is from what all the others foretell, in standard uncertainties; null: "
            "farther than can be computed."
        )
    )
    chance = number("Chance of being so far off where all is well.")
    explanations = fields.List(
        fields.String(),
        required=False,
        metadata={
            "description": "Where it does not fit: slips that would explain it, likeliest first. "
            "sign: up for down, and left for right where that was noted; up-for-down; "
            "left-for-right; sign-of-mark; one unit for another, such as inches-for-centimetres; "
            "yards-for-metres of the distance; feet-for-metres of a speed."
        },
    )
    correction = part(CorrectionReply(), "What this end asks for.", required=False)


class WouldTell(Strict):
    """What would tell speed and drag apart."""

    what = text(
        "speed-reading: a chronograph near the bow; two-speed-readings: there and at the distance; "
        "arrows: an end at the distance.",
        enum=["speed-reading", "two-speed-readings", "arrows"],
    )
    distance = quantity("distance", "Where.", required=False)
    arrows = whole("How many.", required=False)
    speed_uncertainty = nullable(
        number("What is left then of the speed's uncertainty, as a share; null: it is not told.")
    )
    drag_uncertainty = nullable(number("What is left of the drag's, as a share; null as above."))
    enough = flag("Whether the two are told apart then.")


class SeparationReply(Strict):
    """What the observations by themselves say of speed and drag, without their priors."""

    speed_uncertainty = nullable(
        number("Standard uncertainty of the speed, as a share; null: they do not tell.")
    )
    drag_uncertainty = nullable(
        number("Standard uncertainty of the drag, as a share; null: they do not tell.")
    )
    correlation = nullable(number("Correlation of the two; null where either is not told."))
    told_apart = flag("Whether they tell the speed to 2 % and the drag to 15 %.")
    would_tell = many(WouldTell(), "What would tell them apart, where they do not.")


class PlannedEnd(Strict):
    """One end of the plan."""

    distance = quantity("distance", "Where to shoot it.")
    arrows = whole("How many arrows.")
    doubt = number("What is left after it of `next.doubt`.")


class ButtReply(Strict):
    """One butt that can be shot."""

    distance = quantity("distance", "Its distance.")
    doubt = nullable(
        number(
            "What a full end there would leave of `next.doubt`; null: too near the reach to tell."
        )
    )
    safe = flag(
        "Whether 95 % of arrows shot there with the mark as it is known now land within half a "
        "metre of the aim point, up and down; where not, no end is advised there."
    )


class NextReply(Strict):
    """What to shoot next."""

    done = flag("Whether every mark is inside its tolerance with the confidence: stop.")
    doubt = number(
        "Root of the mean over the marks of variance over tolerance squared: 0.5 is good for 95 %."
    )
    distance = nullable(quantity("distance", "Where to shoot next; null where done."))
    arrows = nullable(whole("How many arrows there; null where done."))
    plan = many(PlannedEnd(), "That end and those after it, as far as can be foreseen.")
    plan_arrows = whole("Arrows of the whole plan.")
    enough = flag("Whether the plan makes every mark sure; else it goes on beyond what is listed.")
    choices = many(ButtReply(), "Every butt looked at.")


CALIBRATION_COLUMNS: tuple[Head, ...] = (
    Head("distance", "distance", "Distance of the mark."),
    Head(
        "predicted_travel",
        "length",
        "The mark before the range, from the zero mark; left out without a launch model.",
        optional=True,
    ),
    Head(
        "predicted_up",
        "length",
        "Where arrows shot with that mark are now expected to land, up positive.",
        optional=True,
    ),
    Head(
        "travel",
        "length",
        "The corrected mark: travel of the pin from where it stands now at the zero mark, down "
        "positive.",
    ),
    Head("travel_uncertainty", "length", "Standard uncertainty of the corrected mark."),
    Head("height_uncertainty", "length", "The same as a height of the impact."),
    Head("tolerance", "length", "Height that the impact may be off."),
    Head(
        "chance",
        "number",
        "Chance that the mark is within the tolerance: Student's t of the tolerance over the "
        "uncertainty of the height.",
    ),
    Head(
        "degrees_of_freedom",
        "number",
        "Degrees of freedom of that, as the archer's scatter is known from few arrows; null: so "
        "many that it is the normal distribution.",
        nullable=True,
    ),
    Head("turns", "number", "Turns of the screw to the corrected mark.", optional=True),
    Head("clicks", "number", "Whole clicks to it.", whole=True, optional=True),
    Head(
        "click_shift",
        "length",
        "Shift of the impact, up positive, by rounding to whole clicks; `chance` is of the mark "
        "itself, not rounded.",
        optional=True,
    ),
    Head("reading", "number", "Reading of the sight's scale at it.", optional=True),
    Head("launch_angle", "angle", "Arrow's line above the line of sight, as fitted."),
    Head("speed", "speed", "Speed at arrival, as fitted."),
)

CALIBRATION_REPLY: dict[str, Any] = {
    "zero_distance": quantity("distance", "Distance that travel counts from."),
    "parameters": many(LearnedParameter(), "The unknowns, fitted."),
    "correlations": part(CorrelationsReply(), "Of those that were not fixed."),
    "fit": part(FitReply(), "How well it fits."),
    "separation": part(SeparationReply(), "Speed against drag."),
    "observations": many(ObservationReply(), "One for each given, in their order."),
    "rows": many(
        row_schema("CalibrationRow", CALIBRATION_COLUMNS), "One row a mark, in the order asked for."
    ),
    "next": part(NextReply(), "What to shoot next, and whether to stop."),
    "solution": part(SolutionReply(), "How the flights were solved."),
}
