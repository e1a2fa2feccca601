"""What /v1/hit-probability gives."""

from typing import Any

from marshmallow import fields

from arrowloft.api.archer.groups import GroupReply
from arrowloft.api.reply_schemas import (
    SolutionReply,
    flag,
    many,
    nullable,
    number,
    part,
    quantity,
    text,
)
from arrowloft.api.schemas import Strict
from arrowloft.core.chances.aim_errors import CAUSES
from arrowloft.core.chances.hit_probability import CONFIDENCE, GROUP

_NAMED = (GROUP, *CAUSES)


class CauseReply(Strict):
    """One cause at one distance."""

    cause = text("The cause; `group` is the archer's own scatter.", enum=list(_NAMED))
    share = number("Its part of the variance of the impact, up and right together.")
    gain = number("By how much the probability would rise without it; below 0 where it would fall.")


class HitRow(Strict):
    """The chances at one distance."""

    distance = quantity("distance", "True distance.")
    probability = nullable(
        number(
            "Of a hit; null, as is all that follows from it, where a guess within the errors has "
            "no mark or its arrow does not arrive."
        )
    )
    error = nullable(number("Estimated error of that from the computation, absolute."))
    low = nullable(
        number(
            f"The probability lies above this and below `high` with {CONFIDENCE:.0%}, as the group "
            "rests on so many arrows; null where their number is not known."
        )
    )
    high = nullable(number("See `low`."))
    score = nullable(number("Mean points of an arrow.", required=False))
    score_error = nullable(number("Estimated error of that.", required=False))
    score_sd = nullable(
        number(
            "Standard deviation of an arrow's points; that of n arrows together is sqrt(n) times "
            "as large.",
            required=False,
        )
    )
    inner_ten = nullable(number("Probability of the inner ten.", required=False))
    up = nullable(quantity("length", "Mean impact above the middle."))
    right = nullable(quantity("length", "Mean impact right of it."))
    sd_up = nullable(quantity("length", "Standard deviation of the impact up and down."))
    sd_right = nullable(quantity("length", "Standard deviation sideways."))
    time = quantity("time", "Launch to arrival.")
    causes = many(CauseReply(), "Every cause that scatters; empty where the row is null.")


class SensibleReply(Strict):
    """The farthest sensible distance."""

    probability = number("The probability asked for.")
    distance = nullable(
        quantity(
            "distance",
            "Farthest distance up to which every distance has it: beyond, it is smaller or not "
            "known. Null where it is so at the nearest already.",
        )
    )
    surely = nullable(
        quantity(
            "distance",
            "The same for the low end of the probability's interval, as the group rests on so many "
            "arrows; null where the nearest has it not, or their number is not known.",
        )
    )
    looked_up_to = quantity("distance", "Farthest distance that was looked at.")
    beyond = flag("Whether it holds all the way there, and perhaps farther.")


class HitGroupReply(GroupReply):
    """The group as it was taken."""

    few_arrows_factor = number(
        "Factor by which the standard deviations were multiplied, as those of few arrows are too "
        "small in the mean."
    )


class HitSolution(SolutionReply):
    """How well flights and chances were computed."""

    probability_error = number("Estimated error of any probability, absolute, at most.")


HIT_REPLY: dict[str, Any] = {
    "rows": many(HitRow(), "One row a distance, in the order asked for."),
    "farthest": fields.Nested(
        SensibleReply(), metadata={"description": "The farthest distance, where asked for."}
    ),
    "group": part(HitGroupReply(), "The group as it was taken."),
    "solution": part(HitSolution(), "How the flights were solved."),
}
